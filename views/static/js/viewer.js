// The viewer: arrow keys and swipes go to the neighbours, Enter, a double tap or
// a click shows the photo larger. Without it the links below do the same.
import "asset:js/pending.js";

const viewer = document.querySelector("[data-viewer]");
const box = viewer.querySelector(".stagebox");
const go = (rel) => viewer.querySelector(`a[rel="${rel}"]`)?.click();
viewer.querySelector("[data-hint]").hidden = !box;

addEventListener("keydown", (event) => {
  if (event.altKey || event.ctrlKey || event.metaKey) return;
  if (event.target.closest?.("video")) return; // there the arrows seek
  const near = box?.classList.contains("near");
  if (event.key === "Escape" && near) zoom(false);
  else if (event.key === "ArrowLeft" && !near) go("prev");
  else if (event.key === "ArrowRight" && !near) go("next");
  else if (event.key === "Enter" && event.target === box) zoom(!near);
});

function zoom(near, x = 0.5, y = 0.5) {
  const image = box.querySelector("img:not(.pre)");
  box.classList.toggle("near", near);
  if (near) image.sizes = "2048px";
  box.scrollLeft = image.clientWidth * x - box.clientWidth / 2;
  box.scrollTop = image.clientHeight * y - box.clientHeight / 2;
}

// With two fingers the whole page is made larger; a swipe then moves about in it.
const pinched = () => (window.visualViewport?.scale ?? 1) > 1.01;

if (box) {
  window.visualViewport?.addEventListener("resize", () => box.classList.toggle("pinched", pinched()));
  box.addEventListener("dblclick", (event) => {
    const area = box.querySelector("img:not(.pre)").getBoundingClientRect();
    zoom(!box.classList.contains("near"), (event.clientX - area.left) / area.width, (event.clientY - area.top) / area.height);
  });
  let start = null;
  box.addEventListener("pointerdown", (event) => {
    start = event.isPrimary ? { x: event.clientX, y: event.clientY } : null;
  });
  box.addEventListener("pointerup", (event) => {
    if (!start || box.classList.contains("near") || pinched()) return;
    const dx = event.clientX - start.x;
    const dy = event.clientY - start.y;
    start = null;
    if (Math.abs(dx) > 50 && Math.abs(dx) > 2 * Math.abs(dy)) go(dx < 0 ? "next" : "prev");
  });
  box.querySelector("img:not(.pre)").draggable = false;
}
