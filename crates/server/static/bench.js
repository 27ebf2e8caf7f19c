// What the bench page must do by itself: the number pad, the echo of a reading, the countdowns, the readings that wait for
// the network, and the news of other tablets. Without this file every page can still be read and used.
import { add, dismiss, isSending, missed, newKey, news, send, waiting } from "/look/queue.js";

const $ = (selector, within = document) => within.querySelector(selector);
// What the page was drawn for, and what was told while something was sent.
let seen = 0, told = 0;

news.addEventListener("taken", ({ detail: receipt }) => {
  const at = new Date().toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
  const place = $("#saved");
  if (place) { place.textContent = `${place.dataset.taken} ${at}`; place.className = "saved"; }
  // The news of what this page itself sent does not draw it once more.
  seen = Math.max(seen, ...receipt.events.map((event) => event.number));
  if (!waiting().length) refresh();
});
news.addEventListener("changed", () => {
  show();
  if (told > seen && isIdle()) refresh();
});

function show() {
  const items = waiting(), who = missed(), box = $("#refused"), aside = $("#queued"), place = $("#saved") ?? aside;
  if (place && aside && (items.length || who)) {
    place.textContent = who ? aside.dataset.missed.replaceAll("{who}", who) : aside.dataset.waiting.replace("{n}", items.length);
    place.className = "waiting";
    place.hidden = false;
  } else if (aside) aside.hidden = true;
  document.documentElement.classList.toggle("offline", items.length > 0 && !navigator.onLine);
  if (!box) return;
  const refused = items.find((item) => item.refused);
  box.hidden = !refused;
  if (refused) $("p", box).textContent = `${refused.label}: ${refused.refused}`;
}

// ---- forms that are commands
const read = (form) => {
  const payload = {}, fields = new FormData(form);
  for (const [name, value] of fields) {
    if (!name.startsWith("p.") || value === "") continue;
    const [, type, ...path] = name.split(".");
    let at = payload;
    for (const part of path.slice(0, -1)) at = at[part] ??= {};
    const unit = fields.get(`unit.${name}`), alone = unit && /^[-+]?\d+([.,]\d+)?$/.test(value.trim());
    at[path.at(-1)] = type === "n" ? Number(value) : type === "b" ? value === "true" : type === "j" ? JSON.parse(value)
      : alone ? `${value.trim().replace(",", ".")} ${unit}` : value;
  }
  const command = { on: fields.get("on"), kind: fields.get("kind"), payload, key: newKey(), at: new Date().toISOString() };
  if (fields.get("expects")) command.expects = Number(fields.get("expects"));
  return command;
};

document.addEventListener("submit", (event) => {
  const form = event.target, button = event.submitter;
  // What needs the passphrase is not kept in the browser, and what no bench shows is not waited for: they go as they are.
  if (!form.matches("#bench form.command") || $("input[type=password]", form)) return;
  event.preventDefault();
  const value = $("input.reading", form);
  if (value && !/^[-+]?\d+([.,]\d+)?$/.test(value.value.trim())) { value.focus(); return; }
  const command = read(form), plain = $("input[name='p.s.value']", form), unit = $("input[name=unit]", form);
  if (plain && unit && /^[-+]?\d+([.,]\d+)?$/.test(plain.value.trim())) command.payload.value = `${plain.value.trim().replace(",", ".")} ${unit.value}`;
  try { add({ command, label: form.dataset.label || command.kind }); } catch { form.submit(); return; }
  // A button may lead elsewhere: to the reading after a refill.
  if (button?.name === "back") history.replaceState(null, "", button.value);
  else if (value && location.search) history.replaceState(null, "", location.pathname);
  form.querySelectorAll("button").forEach((button) => { button.disabled = true; });
  const around = form.closest("details");
  if (around) around.open = false;
  next(form, button);
  send();
});

// The page goes on at once, with or without network, from one reading of a run to the next: what is typed while the last one
// is on its way stands.
function next(form, button) {
  if (!form.dataset.steps || waiting().some((item) => item.refused)) return;
  const steps = button?.dataset.then ? JSON.parse(button.dataset.then) : JSON.parse(form.dataset.steps).slice(1);
  if (!steps.length) return;
  const step = steps[0];
  form.dataset.steps = JSON.stringify(steps);
  form.dataset.unit = step.unit;
  form.toggleAttribute("data-burette", step.burette);
  form.dataset.label = step.title;
  $("input[name='p.s.reading']", form).value = step.slot;
  $("input[name=unit]", form).value = step.unit;
  $(".unit", form).textContent = step.unit;
  $("#asked").textContent = step.title;
  $("#advice").textContent = step.advice;
  const field = $("input.reading", form);
  field.value = "";
  field.setAttribute("aria-label", step.title);
  form.querySelectorAll("button").forEach((button) => { button.disabled = false; });
  const refill = $(".refill", form);
  if (refill) refill.hidden = true;
  for (const name of ["end", "within"]) delete $("#echo").dataset[name];
  echo();
  field.focus({ preventScroll: true });
}

// ---- the number pad and the echo
function echo() {
  const field = $("input.reading"), place = $("#echo");
  if (!field || !place) return;
  const unit = field.form.dataset.unit, hint = $("#decimals");
  for (const words of [hint, $("#far")]) if (words) words.hidden = true;
  if (!field.form.hasAttribute("data-burette")) { place.textContent = unit === "g" ? place.dataset.hint : ""; return; }
  const step = Number(place.dataset.division), most = Number(place.dataset.capacity), key = (place.dataset.majors || "1").split(" ");
  const text = field.value.trim().replace(",", "."), value = Number(text);
  if (text === "" || !Number.isFinite(value) || !step) { place.innerHTML = ""; return; }
  const major = Number(key[0]), span = step * 12, top = value - span * .55, height = 300, scale = height / span;
  const y = (reading) => 10 + (reading - top) * scale;
  const marks = [];
  for (let i = Math.ceil(top / step); i * step <= top + span; i++) {
    const at = i * step;
    if (at < -1e-9 || at > most + 1e-9) continue;
    const whole = Math.abs(at / major - Math.round(at / major)) < 1e-6, half = Math.abs(at / (major / 2) - Math.round(at / (major / 2))) < 1e-6;
    marks.push(`<line class="mark" x1="60" x2="${whole ? 132 : half ? 110 : 94}" y1="${y(at)}" y2="${y(at)}"/>`,
      `<text class="${whole ? "" : "quiet"}" x="52" y="${y(at) + 5}" text-anchor="end" font-size="14"${whole ? " font-weight='700'" : ""}>${at.toFixed(place.dataset.decimals)}</text>`);
  }
  const low = y(value), wrong = value < 0 || value > most;
  place.innerHTML = `<svg viewBox="0 0 220 320" role="img" aria-label="${place.dataset.words.replace("{value}", text)}">
    <rect class="glass" x="60" y="10" width="150" height="${height}" rx="9"/><rect class="liquid" x="61" y="${low}" width="148" height="${Math.max(0, 309 - low)}"/>
    <rect class="card" x="61" y="${low + 2}" width="148" height="10"/>${marks.join("")}
    <path class="meniscus" d="M61 ${low - 30} Q 135 ${low + 30} 209 ${low - 30}"/><line class="eye" x1="60" x2="218" y1="${low}" y2="${low}"/></svg>
    ${wrong ? `<p class="accent">${place.dataset.outside}</p>` : ""}`;
  const far = $("#far");
  if (far) far.hidden = Math.abs(value - Number(place.dataset.end)) <= Number(place.dataset.within);
  const decimals = (text.split(".")[1] || "").length;
  if (hint) hint.hidden = decimals >= Number(place.dataset.wanted);
}

document.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  const field = $("input.reading");
  if (field && button.dataset.key !== undefined) {
    field.value = button.dataset.key === "back" ? field.value.slice(0, -1) : field.value + button.dataset.key;
    echo();
  } else if (field && button.dataset.step) {
    const digits = (button.dataset.step.split(".")[1] || "").length, now = field.value.replace(",", ".");
    const decimals = Math.max(digits, (now.split(".")[1] || "").length, Number($("#echo")?.dataset.wanted || 0));
    field.value = (Number(now || 0) + Number(button.dataset.step)).toFixed(decimals);
    echo();
  } else if (button.id === "blind") {
    const on = document.body.classList.toggle("blind");
    button.setAttribute("aria-pressed", on);
    localStorage.setItem("halfdrop.blind", on ? "1" : "");
  } else if (button.dataset.seconds) count(button);
  else if (button.id === "dismiss") { dismiss(); send().then(() => refresh()); }
});
document.addEventListener("input", (event) => { if (event.target.matches("input.reading")) echo(); });

function count(button) {
  const words = button.textContent, ends = Date.now() + 1000 * Number(button.dataset.seconds);
  button.disabled = true;
  const timer = setInterval(() => {
    const left = Math.ceil((ends - Date.now()) / 1000);
    button.textContent = left > 0 ? `${left} s` : button.dataset.done;
    if (left <= 0) { clearInterval(timer); setTimeout(() => { button.textContent = words; button.disabled = false; }, 4000); }
  }, 200);
}

// ---- news of other tablets
// A key that is pressed while the page is drawn anew would be lost: the page waits until the finger is up.
let pressed = 0;
addEventListener("pointerdown", () => { pressed = Date.now(); }, true);
for (const up of ["pointerup", "pointercancel"]) addEventListener(up, () => setTimeout(() => { pressed = 0; }), true);
const fingerUp = async () => { while (Date.now() - pressed < 1000) await new Promise((then) => setTimeout(then, 10)); };

let turn = 0;
async function refresh() {
  const place = $("#bench"), own = ++turn;
  if (!place) return;
  try {
    const answer = await fetch(location.pathname + location.search, { headers: { "x-part": "bench" } });
    if (!answer.ok) return;
    const text = await answer.text();
    await fingerUp();
    if (own !== turn) return;
    // Closed or open again: another page, with another head.
    if (text.includes('class="bench"') !== Boolean($(".bench", place))) { location.reload(); return; }
    seen = Math.max(seen, told);
    const typed = $("input.reading")?.value, asked = $("#asked")?.textContent, active = document.activeElement;
    const title = (details) => $("summary", details).textContent;
    // What a person has opened stays open, and what is being written there is not wiped out by news.
    const open = [...place.querySelectorAll("details[open]")];
    place.innerHTML = text;
    place.dataset.version = answer.headers.get("x-version");
    for (const details of open) {
      const fresh = [...place.querySelectorAll("details")].find((other) => title(other) === title(details));
      if (fresh && $("form", details)) fresh.replaceWith(details);
      else if (fresh) fresh.open = true;
    }
    if (typed && $("#asked")?.textContent === asked) $("input.reading").value = typed;
    echo();
    news.dispatchEvent(new CustomEvent("changed"));
    (place.contains(active) ? active : $("input.reading"))?.focus({ preventScroll: true });
  } catch { /* the network is away; the page stays as it is */ }
}
const about = document.body.dataset.about;
const isIdle = () => !isSending() && !waiting().length;
if (about && "EventSource" in window) {
  const line = new EventSource(`/live?about=${encodeURIComponent(about)}`);
  line.onmessage = ({ data }) => {
    told = Number(data) || seen + 1;
    if (told > seen && isIdle()) refresh();
  };
  // The line is open, perhaps again: what came since the page was drawn is made good.
  line.addEventListener("version", ({ data }) => { if (Number(data) > Number($("#bench")?.dataset.version) && isIdle()) refresh(); });
}
if (localStorage.getItem("halfdrop.blind") && $("#blind")) $("#blind").click();
addEventListener("online", send);
setInterval(() => { if (waiting().length) send(); }, 4000);
show(); echo(); send();
