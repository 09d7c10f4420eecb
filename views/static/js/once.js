// A form is sent once: after the first submit its buttons rest, so that a
// double tap sends nothing twice. Coming back to the page wakes them.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (event.defaultPrevented || form.method !== "post") return;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
  // After this event, or the pressed button's name would not be sent.
  queueMicrotask(() => {
    for (const button of form.querySelectorAll("button")) button.setAttribute("aria-disabled", "true");
    event.submitter?.classList.add("working");
  });
});

addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-sent]")) {
    delete form.dataset.sent;
    for (const button of form.querySelectorAll("button[aria-disabled]")) {
      button.removeAttribute("aria-disabled");
      button.classList.remove("working");
    }
  }
});
