// A photo that is still being made is asked for now and then, and shown when it
// is there. A video's page is loaded again, to play it. A server that no longer
// says when to come back (Retry-After) has nothing to show, such as of a video
// without a preview; then there is no asking on.
const first = 3000; // milliseconds
const longest = 60000;

export function watchPending(root) {
  for (const blank of root.querySelectorAll("[data-pending]")) {
    if (blank.dataset.watched) continue;
    blank.dataset.watched = "yes";
    ask(blank, first);
  }
}

function ask(blank, wait) {
  setTimeout(async () => {
    if (!blank.isConnected) return;
    if (document.hidden) return ask(blank, wait);
    let there = false;
    let never = false;
    try {
      const answer = await fetch(blank.dataset.pending, { credentials: "same-origin" });
      there = answer.ok && !answer.redirected;
      never = answer.status === 404 && !answer.headers.has("Retry-After");
    } catch {
      // No connection; the next try may have one.
    }
    if ("reload" in blank.dataset && (there || never)) return location.reload();
    if (never) {
      blank.textContent = "Please load this page again to see what became of this one.";
      return;
    }
    if (!there) return ask(blank, Math.min(wait * 1.6, longest));
    const image = document.createElement("img");
    image.alt = blank.dataset.alt || "Photo";
    image.src = blank.dataset.pending;
    blank.replaceWith(image);
  }, wait);
}

watchPending(document);
