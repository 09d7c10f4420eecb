// Marking, cropping and turning a photo, with a finger, a mouse or keys. What is
// set is a layer over the photo; it goes to the server as JSON in the form's
// field "layer". Places are measured in ten-thousandths of the turned photo.
const full = 10000;
const most = 40;
const least = full / 20; // of a crop's edge
const names = { arrow: "Arrow", ring: "Ring", text: "Text" };

const form = document.querySelector("[data-marking]");
const board = form.querySelector("[data-board]");
const list = form.querySelector("[data-list]");
const field = form.elements.layer;
const said = form.querySelector("[data-said]");

let layer = JSON.parse(field.value);
let chosen = -1;
let draft = null; // the mark or crop being drawn
let sent = false;
const begun = field.value;
const before = []; // earlier states, as JSON

const tool = () => form.elements.tool.value;
const clamp = (n, low, high) => Math.round(Math.min(high, Math.max(low, n)));
const say = (text) => (said.textContent = text);
const whole = (crop) => (crop.w ? crop : { x: 0, y: 0, w: full, h: full });

function keep() {
  before.push(JSON.stringify(layer));
  if (before.length > 100) before.shift();
}

// --- Drawing -----------------------------------------------------------------

function shape(name, attributes, ...inside) {
  const node = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  node.append(...inside);
  return node;
}

// size is that of the turned photo, its long edge being 1,000.
function size() {
  const w = Number(form.dataset.width);
  const h = Number(form.dataset.height);
  const scale = 1000 / Math.max(w, h);
  const upright = { w: w * scale, h: h * scale };
  return layer.turn % 2 ? { w: upright.h, h: upright.w, upright } : { w: upright.w, h: upright.h, upright };
}

function picture({ w, h, upright }) {
  const turns = ["", `translate(${w} 0) rotate(90)`, `translate(${w} ${h}) rotate(180)`, `translate(0 ${h}) rotate(270)`];
  return shape("image", { href: form.dataset.photo, width: upright.w, height: upright.h, preserveAspectRatio: "none", transform: turns[layer.turn] });
}

function arrowPath(x, y, x2, y2) {
  const head = Math.min(40, Math.hypot(x2 - x, y2 - y) * 0.6);
  const back = Math.atan2(y - y2, x - x2);
  const side = (turn) => `${x2 + head * Math.cos(back + turn)} ${y2 + head * Math.sin(back + turn)}`;
  return `M${x} ${y}L${x2} ${y2}M${side(0.5)}L${x2} ${y2}L${side(-0.5)}`;
}

function ringPath(x, y, x2, y2) {
  const rx = Math.abs(x2 - x) / 2;
  const ry = Math.abs(y2 - y) / 2;
  return `M${Math.min(x, x2)} ${(y + y2) / 2}a${rx} ${ry} 0 1 0 ${2 * rx} 0a${rx} ${ry} 0 1 0 ${-2 * rx} 0z`;
}

// wrapped breaks words into lines as the server does.
function wrapped(text) {
  const lines = [];
  let line = "";
  for (let word of text.split(/\s+/).filter(Boolean)) {
    if (line && line.length + 1 + word.length > 22) {
      lines.push(line);
      line = "";
    }
    for (; word.length > 22; word = word.slice(22)) lines.push(word.slice(0, 22));
    line += (line ? " " : "") + word;
  }
  return line ? [...lines, line] : lines;
}

function drawn(mark, number, s) {
  const [x, y, x2, y2] = [(mark.x * s.w) / full, (mark.y * s.h) / full, (mark.x2 * s.w) / full, (mark.y2 * s.h) / full];
  const group = shape("g", {});
  if (mark.shape !== "text") {
    const d = mark.shape === "arrow" ? arrowPath(x, y, x2, y2) : ringPath(x, y, x2, y2);
    group.append(shape("path", { class: "under", d }), shape("path", { d, class: number - 1 === chosen ? "chosen" : "" }), shape("path", { d, class: "hit" }));
  }
  const left = mark.shape === "ring" ? Math.min(x, x2) : x;
  const anchor = left > s.w * 0.6 ? "end" : "start";
  const lines = mark.shape === "text" ? wrapped(mark.text || "Text") : number && layer.marks.length > 1 ? [String(number)] : [];
  const top = mark.shape === "ring" ? Math.min(y, y2) : y;
  const words = shape("text", { x: left, y: top, "text-anchor": anchor }, ...lines.map((line, i) => shape("tspan", { x: left, ...(i && { dy: "1.1em" }) }, line)));
  group.append(words);
  if (number) group.addEventListener("pointerdown", () => (touched = number - 1));
  return group;
}

// handles are what a chosen mark is moved by: both ends, or a text's place.
function handles(mark, s, scale) {
  const ends = mark.shape === "text" ? [["x", "y"]] : [["x", "y"], ["x2", "y2"]];
  return ends.map(([kx, ky]) => {
    const dot = shape("circle", { class: "handle", cx: (mark[kx] * s.w) / full, cy: (mark[ky] * s.h) / full, r: 13 * scale });
    dot.addEventListener("pointerdown", () => (grip = [kx, ky]));
    return dot;
  });
}

let touched = -1; // the mark under the pointer as it went down
let grip = null; // the end of the chosen mark under it

function draw() {
  const s = size();
  const svg = shape("svg", { class: "marks", viewBox: `0 0 ${s.w} ${s.h}`, width: Math.round(s.w * 2), height: Math.round(s.h * 2), "aria-hidden": "true", focusable: "false" }, picture(s));
  const cut = draft?.crop ?? layer.crop;
  if (cut.w || tool() === "crop") {
    const c = whole(cut);
    const [x, y, w, h] = [(c.x * s.w) / full, (c.y * s.h) / full, (c.w * s.w) / full, (c.h * s.h) / full];
    const box = `M${x} ${y}h${w}v${h}h${-w}z`;
    svg.append(shape("path", { class: "cut", "fill-rule": "evenodd", d: `M0 0h${s.w}v${s.h}h${-s.w}z${box}` }), shape("path", { class: "edge under", d: box }), shape("path", { class: "edge", d: box }));
  }
  layer.marks.forEach((mark, i) => svg.append(drawn(mark, i + 1, s)));
  if (draft?.mark) svg.append(drawn(draft.mark, 0, s));
  board.replaceChildren(svg);
  const shownWidth = svg.getBoundingClientRect().width || s.w;
  if (chosen >= 0 && tool() !== "crop") svg.append(...handles(layer.marks[chosen], s, s.w / shownWidth));
  board.setAttribute("aria-label", `${form.dataset.alt}. ${layer.marks.length} marks.${chosen >= 0 ? ` ${names[layer.marks[chosen].shape]} ${chosen + 1} is chosen.` : ""}`);
  field.value = JSON.stringify(layer);
}

// --- The list of marks --------------------------------------------------------

function showList() {
  form.querySelector("[data-none]").hidden = layer.marks.length > 0;
  list.replaceChildren(
    ...layer.marks.map((mark, i) => {
      const item = document.createElement("li");
      item.classList.toggle("chosen", i === chosen);
      const row = document.createElement("div");
      row.className = "row";
      const label = document.createElement("label");
      label.append(mark.shape === "text" ? "Text: the words" : `${names[mark.shape]}: what does it show?`);
      const words = document.createElement("input");
      words.type = "text";
      words.maxLength = 80;
      words.value = mark.text;
      words.required = mark.shape === "text";
      words.autocomplete = "off";
      let fresh = true;
      words.addEventListener("focus", () => (fresh = true));
      words.addEventListener("input", () => {
        if (fresh) keep();
        fresh = false;
        mark.text = words.value;
        draw();
      });
      label.append(words);
      row.append(label, key("Choose", `Choose ${names[mark.shape]} ${i + 1}`, () => choose(i, true)), key("Delete", `Delete ${names[mark.shape]} ${i + 1}`, () => drop(i)));
      item.append(row);
      return item;
    }),
  );
}

function key(text, label, act) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "act plain";
  button.textContent = text;
  button.setAttribute("aria-label", label);
  button.addEventListener("click", act);
  return button;
}

function show() {
  if (chosen >= layer.marks.length) chosen = -1;
  draw();
  showList();
}

function choose(i, focus) {
  chosen = i;
  if (tool() === "crop") form.elements.tool.value = layer.marks[i].shape;
  show();
  say(`${names[layer.marks[i].shape]} ${i + 1} is chosen. Arrow keys move it, with Shift its end.`);
  if (focus) board.focus();
}

function drop(i) {
  keep();
  const [gone] = layer.marks.splice(i, 1);
  chosen = -1;
  show();
  say(`${names[gone.shape]} deleted.`);
  board.focus();
}

function add(mark) {
  if (layer.marks.length >= most) return say(`A photo takes at most ${most} marks. Please delete one first.`);
  keep();
  layer.marks.push(mark);
  chosen = layer.marks.length - 1;
  show();
  say(`${names[mark.shape]} ${layer.marks.length} is there. Say in words what it shows.`);
  if (mark.shape === "text") list.lastElementChild.querySelector("input").focus();
}

// --- Finger and mouse ----------------------------------------------------------

function place(event) {
  const area = board.firstElementChild.getBoundingClientRect();
  return { x: clamp(((event.clientX - area.left) / area.width) * full, 0, full), y: clamp(((event.clientY - area.top) / area.height) * full, 0, full) };
}

const far = (a, b) => Math.hypot(a.x - b.x, a.y - b.y) > full / 50;

function box(a, b) {
  return { x: Math.min(a.x, b.x), y: Math.min(a.y, b.y), w: Math.abs(a.x - b.x), h: Math.abs(a.y - b.y) };
}

let start = null;

board.addEventListener("pointerdown", (event) => {
  if (!event.isPrimary || event.button !== 0) return;
  board.setPointerCapture(event.pointerId);
  start = { ...place(event), touched, grip };
  touched = -1;
  grip = null;
  if (start.grip) keep();
});

board.addEventListener("pointermove", (event) => {
  if (!start || !event.isPrimary) return;
  const at = place(event);
  if (start.grip) {
    const mark = layer.marks[chosen];
    [mark[start.grip[0]], mark[start.grip[1]]] = [at.x, at.y];
    if (mark.shape === "text") [mark.x2, mark.y2] = [at.x, at.y];
  } else if (tool() === "crop") draft = { crop: box(start, at) };
  else if (tool() !== "text") draft = { mark: { shape: tool(), x: start.x, y: start.y, x2: at.x, y2: at.y, text: "" } };
  draw();
});

board.addEventListener("pointerup", (event) => {
  if (!start || !event.isPrimary) return;
  const from = start;
  const at = place(event);
  start = null;
  draft = null;
  if (from.grip) show();
  else if (tool() === "crop") crop(box(from, at));
  else if (!far(from, at) && from.touched >= 0) choose(from.touched);
  else if (tool() === "text") add({ shape: "text", x: at.x, y: at.y, x2: at.x, y2: at.y, text: "" });
  else if (far(from, at)) add({ shape: tool(), x: from.x, y: from.y, x2: at.x, y2: at.y, text: "" });
  else {
    draw();
    say(tool() === "arrow" ? "Draw from where the arrow begins to what it points at." : "Draw from one corner of the ring to the other.");
  }
});

board.addEventListener("pointercancel", () => {
  start = null;
  draft = null;
  draw();
});

function crop(to) {
  if (to.w < least || to.h < least) {
    draw();
    return say("Draw a larger part: at least a twentieth of each edge.");
  }
  keep();
  layer.crop = to.w === full && to.h === full ? { x: 0, y: 0, w: 0, h: 0 } : to;
  draw();
  say(`The part shown is ${Math.round(to.w / 100)} % of the width and ${Math.round(to.h / 100)} % of the height.`);
}

// --- Keys ------------------------------------------------------------------------

const steps = { ArrowLeft: [-100, 0], ArrowRight: [100, 0], ArrowUp: [0, -100], ArrowDown: [0, 100] };

board.addEventListener("keydown", (event) => {
  if (event.altKey) return;
  if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "z") undo();
  else if (event.ctrlKey || event.metaKey) return;
  else if (event.key === "Enter" && tool() !== "crop") addInTheMiddle();
  else if ((event.key === "Delete" || event.key === "Backspace") && chosen >= 0) drop(chosen);
  else if (steps[event.key] && tool() === "crop") moveCrop(...steps[event.key], event.shiftKey);
  else if (steps[event.key] && chosen >= 0) move(...steps[event.key], event.shiftKey, event.repeat);
  else return;
  event.preventDefault();
});

function addInTheMiddle() {
  const c = whole(layer.crop);
  const at = (x, y) => [Math.round(c.x + c.w * x), Math.round(c.y + c.h * y)];
  const [[x, y], [x2, y2]] = { arrow: [at(0.35, 0.65), at(0.5, 0.5)], ring: [at(0.4, 0.4), at(0.6, 0.6)], text: [at(0.4, 0.5), at(0.4, 0.5)] }[tool()];
  add({ shape: tool(), x, y, x2, y2, text: "" });
}

function move(dx, dy, end, again) {
  if (!again) keep();
  const mark = layer.marks[chosen];
  const ends = mark.shape !== "text" && end ? [["x2", "y2"]] : [["x", "y"], ["x2", "y2"]];
  if (ends.some(([kx, ky]) => mark[kx] + dx < 0 || mark[kx] + dx > full || mark[ky] + dy < 0 || mark[ky] + dy > full)) return;
  for (const [kx, ky] of ends) {
    mark[kx] += dx;
    mark[ky] += dy;
  }
  draw();
}

function moveCrop(dx, dy, sized) {
  const c = { ...whole(layer.crop) };
  if (sized) {
    c.w = clamp(c.w + dx, least, full - c.x);
    c.h = clamp(c.h + dy, least, full - c.y);
  } else {
    c.x = clamp(c.x + dx, 0, full - c.w);
    c.y = clamp(c.y + dy, 0, full - c.h);
  }
  crop(c);
}

// --- The keys below the photo ------------------------------------------------------

function undo() {
  const last = before.pop();
  if (!last) return say("There is nothing to undo.");
  layer = JSON.parse(last);
  chosen = -1;
  show();
  say("Undone.");
}

// turnRight turns by a quarter clockwise, and with the photo all that lies on it.
function turnRight() {
  layer.turn = (layer.turn + 1) % 4;
  for (const m of layer.marks) {
    [m.x, m.y] = [full - m.y, m.x];
    [m.x2, m.y2] = [full - m.y2, m.x2];
  }
  const c = layer.crop;
  if (c.w) layer.crop = { x: full - c.y - c.h, y: c.x, w: c.h, h: c.w };
}

function turn(times) {
  keep();
  for (let i = 0; i < times; i++) turnRight();
  draw();
  say(times === 1 ? "Turned right." : "Turned left.");
}

form.querySelector("[data-undo]").addEventListener("click", undo);
form.querySelector("[data-right]").addEventListener("click", () => turn(1));
form.querySelector("[data-left]").addEventListener("click", () => turn(3));
form.querySelector("[data-uncrop]").addEventListener("click", () => crop({ x: 0, y: 0, w: full, h: full }));
for (const radio of form.elements.tool) radio.addEventListener("change", draw);
addEventListener("resize", draw);

form.addEventListener("submit", () => (sent = true));
addEventListener("pageshow", () => (sent = false));
addEventListener("beforeunload", (event) => {
  if (!sent && field.value !== begun) event.preventDefault();
});

form.hidden = false;
show();
