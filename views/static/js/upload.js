// Photos are sent one by one as soon as they are chosen, each with its own
// progress. A bad one spoils no other and can be tried again alone. What arrived
// goes with the form as photo=ID and caption_ID, in the order shown.
const together = 2; // photos on their way at the same time

for (const root of document.querySelectorAll("[data-upload]")) start(root);

function start(root) {
  const input = root.querySelector("input[type=file]");
  const list = root.querySelector("[data-sending]");
  const said = root.querySelector("[data-said]");
  const form = root.closest("form");
  const most = Number(root.dataset.most);
  const waiting = [];
  let running = 0;

  // From here on the files go by themselves, not with the form.
  input.removeAttribute("name");
  input.addEventListener("change", () => {
    const files = [...input.files];
    input.value = "";
    const room = most - list.children.length;
    for (const file of files.slice(0, room)) add(file);
    tell(files.length > room ? `At most ${most} photos go with one entry; ${count(files.length - Math.max(room, 0), "photo was", "photos were")} left out.` : "");
    next();
  });
  form?.addEventListener("submit", (event) => {
    if (running === 0 && waiting.length === 0) return;
    event.preventDefault();
    tell("Some photos are still on their way. Please press again when they are there, or take them out.");
    said.scrollIntoView({ block: "nearest" });
  }, true);
  addEventListener("beforeunload", (event) => {
    if (running > 0 || waiting.length > 0) event.preventDefault();
  });

  function add(file) {
    const item = document.createElement("li");
    const url = URL.createObjectURL(file);
    item.innerHTML = `<img alt=""><div><b data-name></b> <span data-state></span><progress max="100" value="0"></progress></div>
<label data-caption-label hidden>Caption <input type="text" maxlength="300" autocomplete="off"></label>
<div class="row"><button type="button" data-act="up">Earlier</button><button type="button" data-act="down">Later</button><button type="button" data-act="again" hidden>Try again</button><button type="button" data-act="out">Take out</button></div>`;
    const image = item.querySelector("img");
    image.addEventListener("load", () => URL.revokeObjectURL(url), { once: true });
    image.src = url;
    item.querySelector("[data-name]").textContent = file.name;
    for (const button of item.querySelectorAll("button")) button.setAttribute("aria-label", `${button.textContent}: ${file.name}`);
    item.querySelector("progress").setAttribute("aria-label", file.name);
    item.addEventListener("click", (event) => act(item, event.target.dataset?.act));
    item.job = { file, request: null };
    list.append(item);
    queue(item);
  }

  function act(item, what) {
    if (what === "up" && item.previousElementSibling) item.previousElementSibling.before(item);
    if (what === "down" && item.nextElementSibling) item.nextElementSibling.after(item);
    if (what === "again") { queue(item); next(); }
    if (what === "out") {
      const at = waiting.indexOf(item);
      if (at >= 0) waiting.splice(at, 1);
      item.job.request?.abort();
      item.remove();
      tell(`${item.job.file.name} was taken out.`);
      return;
    }
    if (what === "up" || what === "down") {
      item.querySelector(`[data-act=${what}]`).focus();
      tell(`${item.job.file.name} is number ${[...list.children].indexOf(item) + 1} now.`);
    }
  }

  function queue(item) {
    item.className = "";
    item.querySelector("[data-act=again]").hidden = true;
    item.querySelector("progress").hidden = false;
    item.querySelector("progress").value = 0;
    state(item, "waits its turn");
    waiting.push(item);
  }

  function next() {
    while (running < together && waiting.length > 0) send(waiting.shift());
    if (running === 0 && waiting.length === 0 && list.children.length > 0) {
      const bad = list.querySelectorAll(".bad").length;
      tell(bad > 0 ? `${count(bad, "photo has", "photos have")} not arrived; the others are safe.` : `${count(list.querySelectorAll(".done").length, "photo is", "photos are")} safe with the shop.`);
    }
  }

  function send(item) {
    running += 1;
    const request = new XMLHttpRequest();
    item.job.request = request;
    const body = new FormData();
    body.append("photos", item.job.file, item.job.file.name);
    request.open("POST", root.dataset.upload);
    request.setRequestHeader("Accept", "application/json");
    request.responseType = "json";
    request.upload.addEventListener("progress", (event) => {
      if (!event.lengthComputable) return;
      const share = Math.floor((100 * event.loaded) / event.total);
      item.querySelector("progress").value = share;
      state(item, share < 100 ? `on its way, ${share} %` : "being put away");
    });
    request.addEventListener("load", () => arrived(item, request));
    request.addEventListener("error", () => failed(item, "The connection broke off."));
    request.addEventListener("timeout", () => failed(item, "The connection broke off."));
    request.addEventListener("loadend", () => {
      running -= 1;
      item.job.request = null;
      next();
    });
    state(item, "on its way");
    request.send(body);
  }

  function arrived(item, request) {
    const answer = request.response;
    const photo = answer?.photos?.[0];
    if (request.status === 401 || request.status === 403) return failed(item, "You are signed out. Sign in again in another window, then try again here.");
    if (photo?.error || !photo?.id) return failed(item, photo?.error || answer?.error || "The server could not take it.");
    const before = (form ?? root).querySelector(`input[name=photo][value="${CSS.escape(photo.id)}"]`);
    if (before) {
      before.checked = true;
      failed(item, "This photo is in the entry already.", false);
      item.className = "twice";
      return;
    }
    item.className = "done";
    item.querySelector("progress").hidden = true;
    state(item, photo.duplicate ? "was here already, kept once" : "safe");
    const hidden = document.createElement("input");
    hidden.type = "hidden";
    hidden.name = "photo";
    hidden.value = photo.id;
    item.append(hidden);
    const label = item.querySelector("[data-caption-label]");
    label.hidden = false;
    label.querySelector("input").name = `caption_${photo.id}`;
  }

  function failed(item, why, again = true) {
    item.className = "bad";
    item.querySelector("progress").hidden = true;
    item.querySelector("[data-act=again]").hidden = !again;
    state(item, why);
  }

  function state(item, text) {
    item.querySelector("[data-state]").textContent = text;
  }

  function tell(text) {
    said.textContent = text;
  }

  function count(n, one, many) {
    return `${n} ${n === 1 ? one : many}`;
  }
}
