// Two photos over one another: a range field, and a finger or mouse on the
// photos, move the edge between them. Without it they stand one below the other.
const box = document.querySelector("[data-compare]");
const sides = [...box.querySelectorAll("[data-side]")];

if (sides.length === 2) {
  const range = box.querySelector("input[type=range]");
  const ratios = sides.map((side) => {
    const image = side.querySelector("img:not(.pre)");
    return image.width && image.height ? Number(image.getAttribute("width")) / Number(image.getAttribute("height")) : 1.5;
  });
  // One frame holds both whole: as wide as the wider, as high as the higher, as
  // far as the window goes.
  box.style.setProperty("--frame", String(Math.sqrt(ratios[0] * ratios[1])));
  const edge = document.createElement("div");
  edge.className = "edge";
  sides[1].after(edge);
  box.classList.add("live");
  box.querySelector("[data-slide]").hidden = false;

  const show = () => {
    box.style.setProperty("--cut", `${range.value}%`);
    range.setAttribute("aria-valuetext", `${range.value} % the earlier photo, ${100 - range.value} % the later one`);
  };
  range.addEventListener("input", show);
  show();

  const slide = (event) => {
    const area = sides[0].getBoundingClientRect();
    range.value = String(Math.round(((event.clientX - area.left) / area.width) * 100));
    show();
  };
  let held = false;
  for (const side of sides) {
    for (const image of side.querySelectorAll("img")) image.draggable = false;
    side.addEventListener("pointerdown", (event) => {
      if (!event.isPrimary || event.button !== 0) return;
      held = true;
      side.setPointerCapture(event.pointerId);
      slide(event);
    });
    side.addEventListener("pointermove", (event) => held && event.isPrimary && slide(event));
    for (const end of ["pointerup", "pointercancel"]) side.addEventListener(end, () => (held = false));
  }
}
