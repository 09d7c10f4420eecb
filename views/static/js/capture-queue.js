// Shows what waits on this phone, what is going, what is safe and what was
// refused, and keeps sending until nothing waits.
const store = self.farbayStore;
const send = self.farbaySend;

export const count = (n, one, many) => `${n} ${n === 1 ? one : many}`;

const pictures = new Map(); // photo id -> address of its small picture
export function picture(photo) {
  if (photo.small && !pictures.has(photo.id)) pictures.set(photo.id, URL.createObjectURL(photo.small));
  return pictures.get(photo.id) ?? "";
}
function dropPicture(id) {
  const address = pictures.get(id);
  if (address) URL.revokeObjectURL(address);
  pictures.delete(id);
}

// element makes one with text and attributes.
export function element(name, fields = {}, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(fields)) {
    if (key === "class") made.className = value;
    else if (key in made) made[key] = value;
    else made.setAttribute(key, value);
  }
  made.append(...inside);
  return made;
}

// list brings the children of a list in line with items: one child for each, by
// id, in order; what is there already stays, with its focus.
export function list(parent, items, make, fill) {
  const have = new Map([...parent.children].map((child) => [child.dataset.id, child]));
  let before = null;
  for (const item of items) {
    let child = have.get(item.id);
    if (!child) {
      child = make(item);
      child.dataset.id = item.id;
    }
    have.delete(item.id);
    const at = before ? before.nextElementSibling : parent.firstElementChild;
    if (at !== child) parent.insertBefore(child, at);
    fill(child, item);
    before = child;
  }
  for (const child of have.values()) child.remove();
}

const set = (node, text) => {
  if (node.textContent !== text) node.textContent = text;
};

export function startQueue(root, tellPage) {
  const said = root.querySelector("[data-queue-said]");
  const way = root.querySelector("[data-queue-way]");
  const section = root.querySelector("[data-queue]");
  const entriesList = root.querySelector("[data-queue-list]");
  let going = null; // {entry, photo, part}
  let end = { kind: "done" };
  let running = false;
  let again = false; // something came while a pass was running
  let failures = 0;
  let timer = 0;

  // go starts sending now, or sees to it that the pass that runs is followed by
  // another.
  async function go() {
    clearTimeout(timer);
    if (running) {
      again = true;
      return;
    }
    running = true;
    try {
      do {
        again = false;
        end = await send.pass((now) => {
          if (now && going?.photo === now.photo && now.part > going.part) failures = 0; // it moves: the link is worth asking soon
          going = now;
          soon();
        });
        if (end.page) tellPage(end.page);
      } while (again);
    } catch (error) {
      // The phone's own store failed: no room, or a browser that closes it.
      end = { kind: "phone", sentence: error?.name === "QuotaExceededError" ? "This phone has no more room." : `This phone's store did not answer (${error?.message || error}).` };
    } finally {
      running = false;
      going = null;
    }
    failures = ["link", "server", "phone"].includes(end.kind) ? failures + 1 : 0;
    if (failures > 0) timer = setTimeout(go, Math.max(1000 * (end.wait ?? 0), Math.min(2000 * 2 ** (failures - 1), 60_000)));
    soon();
  }
  const wake = () => {
    failures = 0;
    send.nudge();
    go();
  };
  addEventListener("online", wake);
  addEventListener("pageshow", (event) => event.persisted && wake());
  document.addEventListener("visibilitychange", () => document.hidden || wake());
  addEventListener("farbay-changed", soon);

  // soon shows anew, but not more often than eyes can follow.
  let shown = 0;
  function soon() {
    shown ||= setTimeout(() => {
      shown = 0;
      show();
    }, 60);
  }

  async function show() {
    const entries = (await store.entries()).filter((entry) => entry.state !== "draft").reverse();
    section.hidden = entries.length === 0;
    say(entries);
    list(entriesList, entries, makeEntry, fillEntry);
    const alive = new Set(entries.flatMap((entry) => entry.photos.map((photo) => photo.id)));
    for (const id of pictures.keys()) if (!alive.has(id) && !document.querySelector(`[data-photos] [data-id="${id}"]`)) dropPicture(id);
  }

  function say(entries) {
    const waiting = entries.filter((entry) => entry.state === "waiting");
    const photos = waiting.flatMap((entry) => entry.photos);
    const left = photos.filter((photo) => photo.state === "waiting").length;
    const what = left > 0 ? count(left, "photo", "photos") : count(waiting.length, "entry", "entries");
    const wait = `${what} ${left === 1 || (left === 0 && waiting.length === 1) ? "waits" : "wait"} on this phone`;
    let text = "Nothing waits on this phone.";
    let act = "";
    if (waiting.length > 0) {
      const names = [...new Set(waiting.map((entry) => entry.personName))].join(" and ");
      text = {
        done: `${wait}.`,
        link: `There is no link to the shop just now. ${wait} and ${left === 1 ? "goes" : "go"} by ${left === 1 ? "itself" : "themselves"} when there is one.`,
        server: `${end.sentence || "The server could not take it just now."} ${wait}; it is tried again by itself.`,
        phone: `${end.sentence} ${wait}; it is tried again by itself. Please make room and leave this page open.`,
        "signed out": `You are signed out. Sign in again; nothing is lost. ${wait}.`,
        other: `${wait}, taken by ${names}. They go when ${names} ${names.includes(" and ") ? "sign" : "signs"} in on this phone; nothing goes in another name.`,
      }[end.kind] ?? `${wait}.`;
      act = { link: "now", server: "now", phone: "now", "signed out": "sign in" }[end.kind] ?? "";
      if (going || running) {
        text = photos.length > 0 ? `On the way: ${photos.length - left} of ${count(photos.length, "photo is", "photos are")} safe with the shop.` : "On the way.";
        act = "";
      }
    } else if (entries.some((entry) => entry.state === "refused" || entry.photos.some((photo) => photo.state === "refused"))) {
      text = "Something was not taken; see below why.";
    } else if (end.kind === "signed out") {
      text = "You are signed out. Sign in again to go on; what you take here is kept.";
      act = "sign in";
    }
    set(said, text);
    const want = { now: "Try now", "sign in": "Sign in" }[act] ?? "";
    if (way.dataset.act !== act) {
      way.dataset.act = act;
      way.replaceChildren();
      if (act === "now") way.append(element("button", { type: "button", class: "act plain", onclick: wake }, want));
      if (act === "sign in") way.append(element("a", { class: "act plain", href: "/sign-in?next=/capture" }, want));
    }
  }

  function makeEntry() {
    return element("li", { class: "queued" },
      element("p", { class: "queued-head" }, element("b"), element("span", { class: "soft small" })),
      element("p", { class: "said queued-text" }), element("p", { class: "queued-state" }),
      element("progress", { max: 1, value: 0 }), element("ol", { class: "smalls" }), element("ul", { class: "refusals" }), element("div", { class: "acts" }));
  }

  function fillEntry(item, entry) {
    const [head, text, state, progress, smalls, refusals, acts] = item.children;
    set(head.firstChild, `${entry.buildName}, ${entry.stageName}`);
    set(head.lastChild, `${entry.kind}, ${entry.audience}${end.page && entry.person !== end.page.person ? `, by ${entry.personName}` : ""}`);
    set(text, entry.text);
    text.hidden = !entry.text;
    const safe = entry.photos.filter((photo) => photo.state === "safe").length;
    const refused = entry.photos.filter((photo) => photo.state === "refused");
    const part = going?.entry === entry.id ? going.part : 0;
    const all = entry.photos.length;
    item.classList.toggle("done", entry.state === "posted" && refused.length === 0);
    item.classList.toggle("bad", entry.state === "refused" || (entry.state === "posted" && refused.length > 0));
    let sentence = all > 0 ? `${safe} of ${count(all, "photo is", "photos are")} safe.` : "It waits to be posted.";
    if (entry.state === "waiting" && all > 0 && safe + refused.length === all) sentence = "Its photos are safe; the entry itself is next.";
    if (entry.state === "posted") {
      sentence = entry.said ? `Posted. ${entry.said}` : all > 0 ? `Posted with ${count(safe, "photo", "photos")}.` : "Posted.";
      if (refused.length > 0) sentence += ` ${count(refused.length, "file was", "files were")} not taken:`;
    }
    if (entry.state === "refused") sentence = `Not posted: ${entry.why}`;
    set(state, sentence);
    progress.hidden = entry.state !== "waiting" || all === 0;
    progress.max = Math.max(all, 1);
    progress.value = safe + refused.length + part;
    progress.setAttribute("aria-label", `Photos of ${entry.buildName} that are safe`);
    smalls.hidden = entry.state === "posted" || all === 0;
    list(smalls, smalls.hidden ? [] : entry.photos, makeSmall, (tile, photo) => fillSmall(tile, photo, entry));
    list(refusals, refused, (photo) => makeRefusal(entry, photo), (line, photo) => set(line.firstChild, `${photo.name}: ${photo.why}`));
    refusals.hidden = refused.length === 0;
    fillActs(acts, entry);
  }

  function makeSmall(photo) {
    return element("li", {}, element("img", { alt: "", width: 72, height: 72 }), element("span"));
  }

  function fillSmall(tile, photo, entry) {
    const now = going?.photo === photo.id;
    tile.className = now ? "going" : photo.state;
    const address = picture(photo);
    if (address && tile.firstChild.src !== address) tile.firstChild.src = address;
    tile.firstChild.classList.toggle("none", !address);
    const words = { safe: photo.duplicate ? "had it" : "safe", waiting: entry.state === "refused" ? "kept" : "waits", refused: "refused" };
    set(tile.lastChild, now ? `${Math.min(99, Math.floor(100 * going.part))} %` : words[photo.state]);
  }

  function makeRefusal(entry, photo) {
    const resend = async () => {
      await store.changePhoto(photo.id, { state: "waiting", why: "", url: "" });
      await store.changeEntry(entry.id, { state: "waiting", why: "" });
      wake();
    };
    return element("li", {}, element("p"), element("div", { class: "acts" },
      element("button", { type: "button", class: "act plain", onclick: resend, "aria-label": `Send again: ${photo.name}` }, "Send again"),
      element("button", { type: "button", class: "act plain", onclick: () => store.removePhoto(photo.id), "aria-label": `Remove: ${photo.name}` }, "Remove")));
  }

  function fillActs(acts, entry) {
    const key = `${entry.state} ${entry.url ?? ""}`;
    if (acts.dataset.key === key) return;
    acts.dataset.key = key;
    acts.replaceChildren();
    const button = (text, onclick) => acts.append(element("button", { type: "button", class: "act plain", onclick }, text));
    const resend = async () => {
      await store.changeEntry(entry.id, { state: "waiting", why: "" });
      wake();
    };
    const remove = () => {
      acts.replaceChildren(element("p", {}, "It would be gone from this phone. What is safe with the shop stays there."));
      button("Yes, remove it", () => store.removeEntry(entry.id));
      button("Keep it", () => {
        delete acts.dataset.key;
        fillActs(acts, entry);
      });
      acts.querySelector("button").focus();
    };
    if (entry.state === "posted") {
      acts.append(element("a", { class: "way", href: entry.url }, "See the entry"));
      button("Take off this list", () => store.removeEntry(entry.id));
    }
    if (entry.state === "refused") button("Send again", resend);
    if (entry.state === "refused" || entry.state === "waiting") button("Remove it", remove);
  }

  // What has long been posted need not be looked at for ever.
  async function tidy() {
    const posted = (await store.entries()).filter((entry) => entry.state === "posted" && entry.photos.every((photo) => photo.state === "safe"));
    for (const entry of posted.slice(0, -3)) await store.removeEntry(entry.id);
  }

  tidy().then(show);
  go();
  return { go: wake };
}
