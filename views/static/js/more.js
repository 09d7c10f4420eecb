// Older entries come in below without leaving the page. Without this script the
// same link leads to a page with them. Photos still being made are asked for
// until they are there.
import { watchPending } from "asset:js/pending.js";

document.addEventListener("click", async (event) => {
  const link = event.target.closest?.("a[data-more]");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey || event.button !== 0) return;
  event.preventDefault();
  if (link.getAttribute("aria-disabled")) return;
  link.setAttribute("aria-disabled", "true");
  try {
    const answer = await fetch(link.href, { headers: { "X-Piece": "1" }, credentials: "same-origin" });
    if (!answer.ok || answer.redirected) throw new Error(`answer ${answer.status}`);
    const box = document.createElement("template");
    box.innerHTML = await answer.text();
    const first = box.content.querySelector("article a, a");
    const from = link.closest(".older");
    joinRun(from, box.content);
    watchPending(from.parentElement);
    from.remove();
    first?.focus({ preventScroll: true });
  } catch {
    // The page itself can still be had the plain way.
    location.assign(link.href);
  }
});

// joinRun puts the new entries before the old link's place. When they begin in
// the stage the last ones ended in, they go on in that run.
function joinRun(from, content) {
  const last = from.previousElementSibling;
  const next = content.querySelector(".run");
  const stage = (run) => run?.querySelector("h3 a")?.getAttribute("href");
  if (last?.classList.contains("run") && next && stage(last) === stage(next)) {
    next.querySelector("h3").remove();
    last.append(...next.childNodes);
    next.remove();
  }
  from.before(content);
}
