// Of shots that look alike one is kept with one press: the others are unticked,
// which leaves them stored and in no entry.
for (const burst of document.querySelectorAll("[data-burst]")) {
  const boxes = [...burst.querySelectorAll("input[name=photo]")];
  const tick = (keep) => {
    for (const box of boxes) box.checked = keep === null || box === keep;
  };
  for (const [n, box] of boxes.entries()) {
    const button = made("Keep this one", () => tick(box));
    button.setAttribute("aria-label", `Keep this one: shot ${n + 1} of ${boxes.length}`);
    box.closest("li").append(button);
  }
  burst.append(made("Keep all", () => tick(null)));
}

function made(text, act) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "act plain";
  button.textContent = text;
  button.addEventListener("click", act);
  return button;
}
