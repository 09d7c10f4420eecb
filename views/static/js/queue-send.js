// Sends what waits on this phone: entry by entry, photo by photo, in order, over
// the tus protocol, and after the photos the entry itself. Whatever breaks off is
// gone on with later from where it was; sending something twice changes nothing,
// as entries bring their identifier and photos are known by their bytes. A plain
// script, as pages and the service worker share it.
self.farbaySend = (() => {
  const store = self.farbayStore;
  const stalled = 60_000; // milliseconds without a byte, after which a connection is given up
  const answered = 30_000; // to answer a small question

  // Why a pass ends before everything is sent.
  class Stop extends Error {
    constructor(kind, sentence = "", wait = 0) {
      super(sentence || kind);
      Object.assign(this, { kind, sentence, wait });
    }
  }
  // What the server will not take, however often it is sent.
  class Refused extends Error {}

  const read = (text) => {
    try {
      return JSON.parse(text);
    } catch {
      return null; // no answer of ours
    }
  };
  // stopFor tells from a failed answer what to do next. It returns nothing for
  // answers that are refusals.
  const stopFor = (status, said, retryAfter) => {
    if (status === 401) return new Stop("signed out");
    if (status === 409 && said?.code === "conflict") return new Stop("asks who", said.error);
    if (status === 429 || status >= 500) return new Stop("server", said?.error ?? "", Number(retryAfter) || 0);
    // Without a sentence it is about the protocol: another request was faster, or
    // bytes were lost on the way.
    if (!said?.error) return new Stop("link");
    return null;
  };

  const ask = async (path, options = {}) => {
    let answer, text;
    try {
      answer = await fetch(path, {
        credentials: "same-origin", cache: "no-store", redirect: "error", signal: AbortSignal.timeout(answered), ...options,
        headers: { Accept: "application/json", ...options.headers },
      });
      text = await answer.text();
    } catch {
      throw new Stop("link");
    }
    const said = read(text);
    if (answer.ok && said) return said;
    throw stopFor(answer.status, said, answer.headers.get("Retry-After")) ?? new Refused(said.error);
  };

  // who asks whose session this is, and keeps what the page needs to know.
  const who = async () => {
    const page = await ask("/capture/data");
    await store.know("page", page);
    return page;
  };

  // The upload under way: when it last moved, and how to give it up.
  let current = null;
  // nudge gives up an upload that stands still, as when the phone has just got
  // another link: the old connection may never say that it is dead.
  const nudge = () => {
    if (current && performance.now() - current.last > 5000) current.give();
  };

  // upload sends one photo and returns what became of it.
  const upload = async (entry, photo, progress) => {
    const blob = await store.blob(photo.id);
    if (!blob) throw new Refused("The phone no longer has this photo; please choose it again.");
    let underWay;
    return new Promise((resolve, reject) => {
      const watch = (wait) => {
        clearTimeout(current?.timer);
        current = { last: performance.now(), give, timer: setTimeout(give, wait) };
      };
      const give = () => {
        underWay.abort();
        reject(new Stop("link"));
      };
      underWay = new tus.Upload(blob, {
        endpoint: `${location.origin}/builds/${entry.build}/uploads`,
        uploadUrl: photo.url ? new URL(photo.url, location.origin).href : null,
        retryDelays: null, // the whole queue waits, not one photo
        storeFingerprintForResuming: false,
        metadata: { filename: photo.name, filetype: photo.type, person: entry.person },
        headers: { Accept: "application/json" },
        ...(typeof XMLHttpRequest === "undefined" ? { httpStack: new FetchStack() } : {}),
        onUploadUrlAvailable: () => store.changePhoto(photo.id, { url: underWay.url }),
        onProgress: (sent, size) => {
          // What counts as sent may still be in the phone's buffers, and a video
          // takes the shop a while to put away.
          watch(sent < size ? stalled : stalled + Math.min(size, 4e6) / 20 + size / 20_000);
          progress(sent / size);
        },
        onSuccess: ({ lastResponse }) => {
          const id = lastResponse.getHeader("Photo-Id");
          if (!id) return reject(new Stop("server"));
          resolve({ photo: id, thumb: lastResponse.getHeader("Photo-Thumb"), duplicate: lastResponse.getHeader("Photo-Duplicate") === "yes" });
        },
        onError: (error) => {
          const answer = error.originalResponse;
          const status = answer?.getStatus() ?? 0;
          if (!status) return reject(new Stop("link"));
          const said = read(answer.getBody());
          reject(stopFor(status, said, answer.getHeader("Retry-After")) ?? new Refused(said.error));
        },
      });
      watch(stalled);
      underWay.start();
    }).finally(() => {
      clearTimeout(current?.timer);
      current = null;
    });
  };

  const post = (entry, photos) => {
    const form = new URLSearchParams({
      id: entry.id, person: entry.person, stage: entry.stage, kind: entry.kind, audience: entry.audience, text: entry.text,
      split: entry.split === false ? "no" : "yes",
    });
    for (const photo of photos) form.append("photo", photo.photo);
    return ask(`/builds/${entry.build}/capture`, { method: "POST", body: form });
  };

  const sendEntry = async (entry, progress) => {
    for (const photo of entry.photos) {
      if (photo.state !== "waiting") continue;
      progress({ entry: entry.id, photo: photo.id, part: 0 });
      try {
        await store.safe(photo.id, await upload(entry, photo, (part) => progress({ entry: entry.id, photo: photo.id, part })));
      } catch (error) {
        if (!(error instanceof Refused)) throw error;
        await store.changePhoto(photo.id, { state: "refused", why: error.message, url: "" });
      }
    }
    const now = (await store.entries()).find((one) => one.id === entry.id);
    if (now?.state !== "waiting") return; // removed meanwhile
    if (now.photos.some((photo) => photo.state === "waiting")) throw new Stop("again");
    const safe = now.photos.filter((photo) => photo.state === "safe");
    try {
      if (now.photos.length > 0 && safe.length === 0 && !now.text.trim()) throw new Refused("None of its photos was taken, so nothing was posted.");
      const answer = await post(now, safe);
      await store.changeEntry(entry.id, { state: "posted", url: answer.url, why: "", said: answer.said ?? "" });
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      await store.changeEntry(entry.id, { state: "refused", why: error.message });
    }
  };

  // pass sends all it can and returns how it ended: "done", "link" (there is
  // none, or it broke off), "server" (with its sentence), "signed out", or
  // "other" when what waits is somebody else's.
  const pass = async (progress = () => {}) => {
    let page = null;
    let done = new Set();
    try {
      for (;;) {
        const waiting = (await store.entries()).filter((entry) => entry.state === "waiting");
        if (waiting.length === 0) return { kind: "done", page };
        page ??= await who();
        const mine = waiting.filter((entry) => entry.person === page.person);
        if (mine.length === 0) return { kind: "other", page };
        try {
          await sendEntry(mine[0], progress);
        } catch (error) {
          if (error.kind === "again") continue;
          if (error.kind !== "asks who") throw error;
          // Either somebody else has signed in meanwhile, or it is refused.
          page = await who();
          if (page.person !== mine[0].person || done.has(mine[0].id)) {
            if (page.person === mine[0].person) await store.changeEntry(mine[0].id, { state: "refused", why: error.sentence });
            continue;
          }
          done.add(mine[0].id);
        }
      }
    } catch (error) {
      if (error instanceof Stop) return { kind: error.kind, sentence: error.sentence, wait: error.wait, page };
      if (error instanceof Refused) return { kind: "server", sentence: error.message, page };
      throw error;
    } finally {
      progress(null);
    }
  };

  // One tab or worker of this phone sends at a time; the next goes on when it is
  // closed. Without locks (no https) the server sees to it that nothing doubles.
  const alone = (work) => (navigator.locks ? navigator.locks.request("farbay-capture", work) : work());

  return { who, nudge, pass: (progress) => alone(() => pass(progress)) };

  // FetchStack lets tus-js-client send from a service worker, which has no
  // XMLHttpRequest.
  function FetchStack() {
    this.getName = () => "fetch";
    this.createRequest = (method, url) => {
      const headers = {};
      const ending = new AbortController();
      return {
        getMethod: () => method, getURL: () => url, getHeader: (name) => headers[name], setProgressHandler() {},
        setHeader: (name, value) => { headers[name] = value; },
        getUnderlyingObject: () => null,
        abort: async () => ending.abort(),
        async send(body) {
          const answer = await fetch(url, { method, headers, body, signal: ending.signal, credentials: "same-origin", redirect: "error" });
          const text = await answer.text();
          return { getStatus: () => answer.status, getHeader: (name) => answer.headers.get(name) ?? undefined, getBody: () => text, getUnderlyingObject: () => answer };
        },
      };
    };
  }
})();
