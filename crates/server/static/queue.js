// What was done at the bench and waits for the network: readings and photographs in one order. The commands stand in
// localStorage, the bytes of a photograph under the same key in IndexedDB. An item leaves the queue only when the server took
// it, or refused it and the person has seen why; its key makes sure that it is taken once.
const QUEUE = "halfdrop.queue";
// Where people sign in, an item waits for who did it: nobody's readings go out under another name.
const here = document.body.dataset.who;
// "taken" (with the receipt) and "changed".
export const news = new EventTarget();
const tell = (what, detail) => news.dispatchEvent(new CustomEvent(what, { detail }));

// Not crypto.randomUUID, which a page without https does not have.
export const newKey = () => [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
const keyOf = (item) => (item.command ?? item.photo).key;
const all = () => JSON.parse(localStorage.getItem(QUEUE) || "[]");
const keep = (items) => localStorage.setItem(QUEUE, JSON.stringify(items));
const isOwn = (item) => !item.who || item.who === here;
// What waits and is of who works here.
export const waiting = () => all().filter(isOwn);

let sending = false, signedOut = false;
export const isSending = () => sending;
// Who must sign in before what waits can go.
export const missed = () => (waiting().length ? signedOut && here : all().find((item) => !isOwn(item))?.who);

// ---- the bytes of photographs
const pictures = (mode, work) => new Promise((resolve, reject) => {
  const opening = indexedDB.open("halfdrop", 1);
  opening.onupgradeneeded = () => opening.result.createObjectStore("pictures");
  opening.onerror = () => reject(opening.error);
  opening.onsuccess = () => {
    const change = opening.result.transaction("pictures", mode, { durability: "strict" });
    const asked = work(change.objectStore("pictures"));
    change.oncomplete = () => { opening.result.close(); resolve(asked.result); };
    change.onabort = () => { opening.result.close(); reject(change.error); };
  };
});
export const keepPicture = (key, file) => pictures("readwrite", (store) => store.put(file, key));
export const picture = (key) => pictures("readonly", (store) => store.get(key));

export function add(item) {
  keep([...all(), here ? { ...item, who: here } : item]);
  tell("changed");
}

function drop(item) {
  keep(all().filter((other) => keyOf(other) !== keyOf(item)));
  if (item.photo) pictures("readwrite", (store) => store.delete(keyOf(item))).catch(() => {});
}

// The person has read why it was refused.
export function dismiss() {
  waiting().filter((item) => item.refused).forEach(drop);
  tell("changed");
}

function refuse(item, reason) {
  keep(all().map((other) => (keyOf(other) === keyOf(item) ? { ...other, refused: reason } : other)));
}

async function post(item) {
  if (item.command) {
    return fetch("/api/v1/commands", {
      method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(item.command),
    });
  }
  const file = await picture(item.photo.key), form = new FormData();
  if (!file) return null;
  for (const [name, value] of Object.entries(item.photo)) form.append(name, value);
  form.append("file", file, file.name);
  return fetch("/files", { method: "POST", headers: { accept: "application/json" }, body: form });
}

export async function send() {
  if (sending) return;
  sending = true;
  try {
    // A refusal stays at the head until it is dismissed: nothing after it is sent.
    for (let item = waiting()[0]; item && !item.refused; item = waiting()[0]) {
      const answer = await post(item);
      if (!answer) { refuse(item, document.querySelector("#refused")?.dataset.lost ?? ""); break; }
      signedOut = answer.status === 401;
      if (answer.ok) {
        const receipt = await answer.json();
        drop(item);
        tell("taken", receipt);
      } else if ([400, 403, 404, 409, 413, 422].includes(answer.status)) {
        let reason = await answer.text();
        try { reason = JSON.parse(reason).error; } catch { /* plain text */ }
        refuse(item, reason);
      } else break;
    }
  } catch { /* the network is away, or the answer was cut off: sent again with the same key */ } finally { sending = false; }
  tell("changed");
}
