// What waits on this phone, in its IndexedDB: entries with their photos, in
// order, until the shop has them. Nothing leaves it before the server has said
// that it is safe. A plain script, as pages and the service worker share it.
//
//   entries  {id, n, person, personName, build, buildName, stage, stageName,
//             text, kind, audience, split, state, why, url, said}
//            state: draft, waiting, posted, refused; n counts up, in order
//   photos   {id, entry, place, name, type, size, small, state, why, url, photo, duplicate}
//            state: waiting, safe, refused; url: of the upload; photo: the server's id
//   blobs    the photo's bytes, by its id, until it is safe or removed
//   known    "page": what the server last said; "where": build and stage chosen
self.farbayStore = (() => {
  const opening = () => idb.openDB("farbay-capture", 1, {
    upgrade(db) {
      db.createObjectStore("entries", { keyPath: "id" });
      db.createObjectStore("photos", { keyPath: "id" }).createIndex("entry", "entry");
      db.createObjectStore("blobs");
      db.createObjectStore("known");
    },
    // A page of another version wants in: let it, and open anew when asked next.
    blocking() {
      opened?.then((db) => db.close());
      opened = null;
    },
    terminated() {
      opened = null;
    },
  });
  let opened = null;
  const db = () => (opened ??= opening());
  const all = ["entries", "photos", "blobs"];
  // What is shown as kept must be on the disk, not in some buffer.
  const strict = { durability: "strict" };
  const news = "BroadcastChannel" in self ? new BroadcastChannel("farbay-capture") : null;
  const tell = () => {
    news?.postMessage("changed");
    self.dispatchEvent(new Event("farbay-changed"));
  };
  news?.addEventListener("message", () => self.dispatchEvent(new Event("farbay-changed")));

  // 32 characters of 0-9 and a-f, as the server takes them for an entry.
  const newID = () => [...crypto.getRandomValues(new Uint8Array(16))].map((b) => b.toString(16).padStart(2, "0")).join("");

  const write = async (stores, work) => {
    const tx = (await db()).transaction(stores, "readwrite", strict);
    try {
      const [result] = await Promise.all([work(tx), tx.done]);
      return result;
    } catch (error) {
      const why = tx.error ?? error; // a full phone fails the whole, and its parts only because of that
      try {
        tx.abort(); // all is kept or nothing
      } catch {
        // It is undone already.
      }
      throw why;
    } finally {
      tell();
    }
  };
  const change = (store, id, fields) => write([store], async (tx) => {
    const was = await tx.objectStore(store).get(id);
    if (was) await tx.objectStore(store).put({ ...was, ...fields });
    return Boolean(was);
  });

  return {
    newID,
    known: async (name) => (await db()).get("known", name),
    know: async (name, value) => (await db()).put("known", value, name),
    forget: async () => (await db()).clear("known"),

    // entries returns all of them in order, each with its photos in order.
    async entries() {
      const tx = (await db()).transaction(["entries", "photos"]);
      const [entries, photos] = await Promise.all([tx.objectStore("entries").getAll(), tx.objectStore("photos").getAll()]);
      photos.sort((a, b) => a.place - b.place);
      for (const entry of entries) entry.photos = photos.filter((photo) => photo.entry === entry.id);
      return entries.sort((a, b) => a.n - b.n);
    },
    // draft returns the entry being made, beginning one if there is none.
    draft: (begin) => write(["entries"], async (tx) => {
      const store = tx.objectStore("entries");
      const entries = await store.getAll();
      const there = entries.find((entry) => entry.state === "draft");
      if (there) return there;
      const entry = { id: newID(), n: 0, state: "draft", text: "", ...begin };
      await store.put(entry);
      return entry;
    }),
    changeEntry: (id, fields) => change("entries", id, fields),
    changePhoto: (id, fields) => change("photos", id, fields),
    // queue gives a draft its turn after all others.
    queue: (id, fields) => write(["entries"], async (tx) => {
      const store = tx.objectStore("entries");
      const entries = await store.getAll();
      const entry = entries.find((one) => one.id === id && one.state === "draft");
      if (!entry) return false; // another tab was faster
      const n = 1 + Math.max(0, ...entries.map((one) => one.n));
      await store.put({ ...entry, ...fields, n, state: "waiting" });
      return true;
    }),
    // addPhoto keeps one file at the end of an entry; it is all there or not.
    addPhoto: (entry, file) => write(["photos", "blobs"], async (tx) => {
      const others = await tx.objectStore("photos").index("entry").getAll(entry);
      const photo = {
        id: newID(), entry, place: 1 + Math.max(0, ...others.map((one) => one.place)),
        name: file.name, type: file.type, size: file.size, state: "waiting",
      };
      await Promise.all([tx.objectStore("blobs").put(file, photo.id), tx.objectStore("photos").put(photo)]);
      return photo;
    }),
    blob: async (id) => (await db()).get("blobs", id),
    // safe notes that the server has a photo; its bytes can go.
    safe: (id, fields) => write(["photos", "blobs"], async (tx) => {
      const was = await tx.objectStore("photos").get(id);
      if (was) await tx.objectStore("photos").put({ ...was, ...fields, state: "safe", why: "" });
      await tx.objectStore("blobs").delete(id);
    }),
    removePhoto: (id) => write(["photos", "blobs"], (tx) => Promise.all([tx.objectStore("photos").delete(id), tx.objectStore("blobs").delete(id)])),
    removeEntry: (id) => write(all, async (tx) => {
      const ids = await tx.objectStore("photos").index("entry").getAllKeys(id);
      await Promise.all([tx.objectStore("entries").delete(id),
        ...ids.flatMap((photo) => [tx.objectStore("photos").delete(photo), tx.objectStore("blobs").delete(photo)])]);
    }),
  };
})();
