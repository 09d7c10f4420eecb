// The capture page: build and stage chosen once, photos taken or chosen, a line,
// post. Everything is kept on the phone first, as it is made, so that a closed
// tab or a dead battery loses nothing.
import { count, element, list, picture, startQueue } from "asset:js/capture-queue.js";

const store = self.farbayStore;
const root = document.querySelector("[data-capture]");
const find = (name) => root.querySelector(`[data-${name}]`);
const form = find("form");
const build = form.elements.build;
const stage = form.elements.stage;
const text = form.elements.text;
const said = find("said");
let page = null; // what the server last said of person and builds
let draft = null;
let photos = [];
let most = 60;

root.hidden = false;
const queue = startQueue(root, take);
begin();

async function begin() {
  watchWorker();
  draft = await store.draft({ kind: "progress", audience: "shop only" });
  text.value = draft.text;
  check("kind", draft.kind);
  check("audience", draft.audience);
  form.elements.split.checked = (await store.known("split")) !== false;
  const known = await store.known("page");
  if (known && !page) await take(known);
  // Without a link, or signed out, the queue says so; the page works with what
  // it knows.
  await self.farbaySend.who().then(take, () => page || say("This phone does not know the builds yet. Please open this page once with a link, signed in."));
  showWhere();
  showPhotos();
}

function say(sentence, wrong = true) {
  said.textContent = sentence;
  said.hidden = !sentence;
  said.classList.toggle("no", wrong);
}

// take takes over what the server says.
async function take(now) {
  if (page && JSON.stringify(page) === JSON.stringify(now)) return;
  page = now;
  most = page.most_photos;
  const asked = new URLSearchParams(location.search);
  const where = asked.has("build") ? { build: asked.get("build"), stage: asked.get("stage") } : (await store.known("where")) ?? {};
  const chosen = build.value || where.build;
  build.replaceChildren(new Option("Choose the build", ""), ...[...page.builds].sort((a, b) => Boolean(b.mine) - Boolean(a.mine))
    .map((one) => new Option(one.nickname + (one.truck ? `, ${one.truck}` : ""), one.id)));
  build.value = page.builds.some((one) => one.id === chosen) ? chosen : page.builds.length === 1 ? page.builds[0].id : "";
  offerStages(stage.value || where.stage);
  showWhere();
}

const theBuild = () => page?.builds.find((one) => one.id === build.value);
const theStage = () => theBuild()?.stages.find((one) => one.id === stage.value);

function offerStages(chosen) {
  const stages = theBuild()?.stages ?? [];
  const open = stages.filter((one) => one.under_way);
  const group = (label, some) => {
    const made = element("optgroup", { label }, ...some.map((one) => new Option(one.name, one.id)));
    return some.length > 0 ? [made] : [];
  };
  stage.replaceChildren(new Option("Choose the stage", ""), ...group("Under way", open), ...group("Other stages", stages.filter((one) => !one.under_way)));
  stage.value = stages.some((one) => one.id === chosen) ? chosen : open.length === 1 ? open[0].id : "";
}

function showWhere() {
  const whole = theBuild() && theStage();
  find("where-shown").hidden = !whole;
  if (!whole) {
    find("where-fields").hidden = false;
    return;
  }
  find("where-build").textContent = theBuild().nickname;
  find("where-stage").textContent = theStage().name;
}

async function remember() {
  showWhere();
  if (theBuild() && theStage()) {
    say("");
    await store.know("where", { build: build.value, stage: stage.value });
    if (document.activeElement !== build && document.activeElement !== stage) find("where-fields").hidden = true;
  }
}
build.addEventListener("change", () => {
  offerStages("");
  remember();
});
stage.addEventListener("change", async () => {
  await remember();
  if (!theStage()) return;
  find("where-fields").hidden = true;
  find("where-change").focus();
});
find("where-change").addEventListener("click", () => {
  find("where-fields").hidden = false;
  build.focus();
});

function check(name, value) {
  for (const radio of form.elements[name]) radio.checked = radio.value === value;
  showKind();
}
function showKind() {
  const word = (name) => form.elements[name].value;
  find("kind-shown").textContent = `${word("kind")}, ${word("audience")}`;
}

// Whether photos go to the stage of their time is asked once a phone.
form.elements.split.addEventListener("change", () => store.know("split", form.elements.split.checked));

// What is typed is kept as it is typed.
let typing = 0;
form.addEventListener("input", (event) => {
  if (!["text", "kind", "audience"].includes(event.target.name)) return;
  showKind();
  clearTimeout(typing);
  typing = setTimeout(keepTyped, 300);
});
const typed = () => ({ text: text.value, kind: form.elements.kind.value, audience: form.elements.audience.value });
const keepTyped = () => draft && store.changeEntry(draft.id, typed()).catch((error) => say(
  `${noRoom(error, "keep what you typed")}, so it is only on this page. Please leave the page open until what waits here has gone.`));
// noRoom begins a sentence about something that the phone did not store.
function noRoom(error, what) {
  return error?.name === "QuotaExceededError" ? "This phone has no more room" : `This phone could not ${what}`;
}
addEventListener("pagehide", keepTyped);

for (const input of root.querySelectorAll("input[type=file]")) {
  input.addEventListener("change", async () => {
    const files = [...input.files];
    await keepFiles(files);
    input.value = "";
  });
}

// keepFiles puts files into the phone's store, one by one, and says of those it
// could not why, before anything is lost.
async function keepFiles(files) {
  say("");
  const room = most - photos.length;
  const notes = [];
  if (files.length > room) notes.push(`At most ${most} photos go with one entry; ${count(files.length - Math.max(room, 0), "photo was", "photos were")} left out. Please post these first.`);
  let some = files.slice(0, Math.max(room, 0));
  for (const file of some) {
    const limit = file.type.startsWith("video/") ? page?.most_bytes.video : page?.most_bytes.photo;
    if (!limit || file.size <= limit) continue;
    some = some.filter((one) => one !== file);
    notes.push(`${file.name} has more than ${Math.floor(limit / 1e6)} MB and was left out.`);
  }
  const bytes = some.reduce((sum, file) => sum + file.size, 0);
  const { quota, usage } = (await navigator.storage?.estimate?.()) ?? {};
  if (quota && bytes > quota - usage) {
    say(`This phone has room for ${megabytes(quota - usage)} MB more, and these need ${megabytes(bytes)} MB. Nothing was taken over; please choose fewer, or wait until what is here has gone.`);
    return;
  }
  let kept = 0;
  for (const file of some) {
    try {
      const photo = await store.addPhoto(draft.id, file);
      kept++;
      showSmall(photo, file);
    } catch (error) {
      notes.push(`${noRoom(error, "keep the file")}: ${count(kept, "photo is", "photos are")} kept, ${file.name} and those after it are not. Please keep ${some.length - kept === 1 ? "it" : "them"} on the phone, and send what is here first.`);
      break;
    }
  }
  navigator.storage?.persist?.();
  say(notes.join(" "));
  await showPhotos();
}
const megabytes = (bytes) => Math.max(0, bytes / 1e6).toFixed(bytes < 1e7 ? 1 : 0);

// showSmall makes a small picture for the list, one after the other, as a phone
// has little memory. What cannot be drawn has none.
let drawing = Promise.resolve();
function showSmall(photo, file) {
  drawing = drawing.then(async () => {
    try {
      const whole = await createImageBitmap(file, { resizeWidth: 144, resizeQuality: "medium" });
      const canvas = element("canvas", { width: whole.width, height: whole.height });
      canvas.getContext("2d").drawImage(whole, 0, 0);
      whole.close();
      const small = await new Promise((made) => canvas.toBlob(made, "image/jpeg", 0.7));
      await store.changePhoto(photo.id, { small });
      await showPhotos();
    } catch {
      // A video, or a kind of image that this browser does not draw.
    }
  });
}

let shownPhotos = 0;
async function showPhotos() {
  const entry = (await store.entries()).find((one) => one.id === draft.id);
  photos = entry?.state === "draft" ? entry.photos : [];
  list(find("photos"), photos, (photo) => element("li", {}, element("img", { alt: "", width: 96, height: 96 }),
    element("button", { type: "button", onclick: () => takeOut(photo), "aria-label": `Take out ${photo.name}` }, "Take out")),
  (tile, photo) => {
    const address = picture(photo);
    if (address && tile.firstChild.src !== address) tile.firstChild.src = address;
    tile.firstChild.classList.toggle("none", !address);
  });
  const grown = photos.length > shownPhotos;
  shownPhotos = photos.length;
  find("photos").hidden = photos.length === 0;
  if (grown) find("photos").scrollLeft = find("photos").scrollWidth; // the newest in sight
  find("photos-said").textContent = photos.length > 0 ? `${count(photos.length, "photo is", "photos are")} kept on this phone.` : "";
  find("post").textContent = photos.length > 0 ? `Post ${count(photos.length, "photo", "photos")}` : "Post it";
}

async function takeOut(photo) {
  await store.removePhoto(photo.id);
  await showPhotos();
  find("photos-said").textContent = `${photo.name} was taken out. ${find("photos-said").textContent}`;
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  clearTimeout(typing);
  if (!page) return say("This phone does not know the builds yet. Please open this page once with a link, signed in.");
  if (!theBuild() || !theStage()) {
    find("where-fields").hidden = false;
    (theBuild() ? stage : build).focus();
    return say("Please choose the build and the stage first.");
  }
  await showPhotos();
  if (photos.length === 0 && !text.value.trim()) return say("Please take a photo or write a line first.");
  let posted;
  try {
    posted = await store.queue(draft.id, {
      ...typed(), split: form.elements.split.checked, person: page.person, personName: page.name,
      build: build.value, buildName: theBuild().nickname, stage: stage.value, stageName: theStage().name,
    });
  } catch (error) {
    return say(`${noRoom(error, "put this into the queue")}, so it is not posted. All of it is still on this page; please let what waits here go first, and post it again.`);
  }
  say(posted ? `Kept. ${count(photos.length, "photo goes", "photos go")} as soon as there is a link; you can walk away.` : "This was posted from another tab.", !posted);
  draft = await store.draft({ kind: "progress", audience: "shop only" });
  text.value = draft.text;
  check("kind", "progress");
  check("audience", "shop only");
  await showPhotos();
  find("now").scrollIntoView({ block: "start" });
  queue.go();
  register();
});

// watchWorker keeps the page on the phone, where the browser can do that.
async function watchWorker() {
  if (!("serviceWorker" in navigator)) {
    find("offline").textContent = isSecureContext ? "This browser cannot keep the page; leave it open until all is sent."
      : "This address is without https, so the page does not open without a link; what is kept here stays.";
    return;
  }
  try {
    await navigator.serviceWorker.register("/sw.js");
    const ready = await navigator.serviceWorker.ready;
    ready.active.postMessage("keep");
    root.dataset.offline = "ready";
  } catch (error) {
    if (navigator.onLine) find("offline").textContent = "The page could not be kept on this phone; leave it open until all is sent.";
  }
}

// register asks the browser to wake the worker when there is a link again, also
// when the page is closed; only some can.
async function register() {
  try {
    const ready = await navigator.serviceWorker?.ready;
    await ready?.sync?.register("farbay-capture");
  } catch {
    // Not allowed here; the page sends when it is open.
  }
}
