// What the bench page must do by itself: the number pad, the echo of a reading, the countdowns, the readings that wait for
// the network, and the news of other tablets. Without this file every page can still be read and used.
import { add, dismiss, isSending, missed, newKey, news, send, waiting } from "/look/queue.js";

const $ = (selector, within = document) => (selector ? within.querySelector(selector) : null);
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
const read = (form, button) => {
  const payload = {}, fields = new FormData(form);
  if (button?.name) fields.set(button.name, button.value);
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
  const value = $("input.reading", form), command = read(form, button), plain = $("input[name='p.s.value']", form), unit = $("input[name=unit]", form);
  // A number takes the unit of its place; one that was typed with a unit keeps it.
  const [, number, own] = (plain && unit && typed(plain)) ?? [];
  if (number) command.payload.value = `${number.replace(",", ".")} ${own || unit.value}`;
  try { add({ command, label: form.dataset.label || command.kind }); } catch { form.submit(); return; }
  // A button may lead elsewhere: to the reading after a refill.
  if (button?.name === "back") history.replaceState(null, "", button.value);
  else if (value && location.search) history.replaceState(null, "", location.pathname);
  form.querySelectorAll("button").forEach((button) => { button.disabled = true; });
  form.dataset.sent = "";
  acted = form.closest(".ticks") ? ".ticks button" : null;
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
  const step = steps[0], was = form.hasAttribute("data-burette") && typed($("input.reading", form))?.[1].replace(",", ".");
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
  const facts = $("#echo").dataset;
  for (const name of ["end", "far", "light", "heavy", "least"]) delete facts[name];
  facts.wanted = step.wanted;
  if (step.timed && button?.dataset.then === undefined && was) facts.least = was;
  $(".timers", form).hidden = !step.timed;
  echo();
  field.focus({ preventScroll: true });
}

// ---- the number pad and the echo
const typed = (field) => /^\s*([-+]?\d*[.,]?\d*)\s*([A-Za-z]*)\s*$/.exec(field.value);
const fill = (words, places) => Object.entries(places).reduce((text, [name, value]) => text.replaceAll(`{${name}}`, value), words);

function echo() {
  const field = $("input.reading"), place = $("#echo");
  if (!field || !place) return;
  const facts = place.dataset, [, written, unit] = typed(field) ?? [], text = (written ?? "").replace(",", "."), value = Number(text);
  field.classList.toggle("long", field.value.length > 6);
  const isNumber = text !== "" && Number.isFinite(value), usual = !unit || unit === field.form.dataset.unit;
  if (!isNumber || !usual) place.replaceChildren();
  else if (field.form.hasAttribute("data-burette")) drawScale(place, text, value);
  else if (field.form.dataset.unit === "g") drawDisplay(place, text);
  else place.replaceChildren();
  const said = $("#said");
  if (said) said.textContent = isNumber && usual ? doubt(field, facts, text, value) : "";
}

// What is odd about a reading that could still be right: nothing of it keeps it from being taken.
function doubt(field, facts, text, value) {
  const few = (text.split(".")[1] || "").length < Number(facts.wanted);
  if (!field.form.hasAttribute("data-burette")) {
    if (field.form.dataset.unit !== "g") return "";
    if (few) return fill(facts.fewMass, { n: facts.wanted });
    return facts.light && (value < Number(facts.light) || value > Number(facts.heavy)) ? fill(facts.weigh, { from: facts.light, to: facts.heavy }) : "";
  }
  const end = Number(facts.end), off = value - end, far = facts.end && !document.body.classList.contains("blind") && Math.abs(off) > Number(facts.far);
  const was = far && slip(text, (other) => Math.abs(other - end) <= Number(facts.far));
  const perhaps = was ? ` ${fill(was.swapped ? facts.swapped : facts.was, { value: was.text })}` : "";
  if (value < 0 || value > Number(facts.capacity)) return facts.outside + perhaps;
  if (facts.least && value < Number(facts.least)) return fill(facts.below, { least: facts.least }) + perhaps;
  if (far) return fill(off > 0 ? facts.above : facts.under, { by: Math.abs(off).toFixed(2), end: end.toFixed(2) }) + perhaps;
  return few ? fill(facts.few, { n: facts.wanted }) : "";
}

// The slip of the hand or the eye that would explain it: two neighbouring digits swapped, a whole millilitre
// or ten of them off, the point in another place.
function slip(text, fits) {
  const decimals = (text.split(".")[1] || "").length, value = Number(text);
  for (const by of [1, -1, 10, -10]) if (fits(value + by)) return { text: (value + by).toFixed(decimals) };
  for (let i = 0; i < text.length; i++) {
    const next = text[i + 1] === "." ? i + 2 : i + 1;
    if (!/\d/.test(text[i]) || !/\d/.test(text[next] ?? "")) continue;
    const all = [...text];
    [all[i], all[next]] = [all[next], all[i]];
    if (fits(Number(all.join("")))) return { text: all.join(""), swapped: true };
  }
  for (const places of [1, 2, -1, -2]) if (fits(value * 10 ** places)) return { text: (value * 10 ** places).toFixed(Math.max(0, decimals - places)) };
  return null;
}

// The display of the balance: a decimal that is missing stays open.
function drawDisplay(place, text) {
  const missing = Math.max(0, Number(place.dataset.wanted) - (text.split(".")[1] || "").length);
  const point = missing && !text.includes(".") ? "." : "";
  place.innerHTML = `<div class="display" role="img" aria-label="${fill(place.dataset.mass, { value: text })}"><span>${text}${point}</span><span class="open">${"_".repeat(missing)}</span> g</div>`;
}

// The scale around the reading, drawn in the pixels of its place so that no number on it gets small.
function drawScale(place, text, value) {
  const step = Number(place.dataset.division), most = Number(place.dataset.capacity), major = Number(place.dataset.majors);
  const width = place.clientWidth, height = place.clientHeight;
  if (!step || !width || !height) { place.replaceChildren(); return; }
  const span = step * Math.min(12, Math.floor((height - 16) / 20)), top = value - span * .55, y = (reading) => 8 + (reading - top) / span * (height - 16);
  const wall = 54, right = width - 10, low = y(value), deep = Math.min(30, height / 9);
  const marks = [];
  for (let i = Math.ceil(top / step); i * step <= top + span; i++) {
    const at = i * step;
    if (at < -1e-9 || at > most + 1e-9) continue;
    const whole = Math.abs(at / major - Math.round(at / major)) < 1e-6, half = Math.abs(at / (major / 2) - Math.round(at / (major / 2))) < 1e-6;
    marks.push(`<line class="mark" x1="${wall}" x2="${wall + (right - wall) * (whole ? .5 : half ? .36 : .24)}" y1="${y(at)}" y2="${y(at)}"/>`,
      `<text class="${whole ? "" : "quiet"}" x="${wall - 8}" y="${y(at) + 5}" text-anchor="end" font-size="13"${whole ? " font-weight='700'" : ""}>${at.toFixed(place.dataset.decimals)}</text>`);
  }
  place.innerHTML = `<svg viewBox="0 0 ${width} ${height}" width="${width}" height="${height}" role="img" aria-label="${fill(place.dataset.words, { value: text })}">
    <rect class="glass" x="${wall}" y="4" width="${right - wall}" height="${height - 8}" rx="9"/><rect class="liquid" x="${wall + 1}" y="${low}" width="${right - wall - 2}" height="${Math.max(0, height - 5 - low)}"/>
    <rect class="card" x="${wall + 1}" y="${low + 2}" width="${right - wall - 2}" height="8"/>${marks.join("")}
    <path class="meniscus" d="M${wall + 1} ${low - deep} Q ${(wall + right) / 2} ${low + deep} ${right - 1} ${low - deep}"/><line class="eye" x1="${wall}" x2="${width - 2}" y1="${low}" y2="${low}"/></svg>`;
}
addEventListener("resize", () => echo());

document.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  const field = $("input.reading");
  if (field && button.dataset.key !== undefined) {
    field.value = button.dataset.key === "back" ? field.value.slice(0, -1) : field.value + button.dataset.key;
    echo();
  } else if (field && button.dataset.step) {
    const digits = (button.dataset.step.split(".")[1] || "").length, now = (typed(field)?.[1] ?? "").replace(",", ".");
    const decimals = Math.max(digits, (now.split(".")[1] || "").length, Number($("#echo")?.dataset.wanted || 0));
    field.value = (Number(now || 0) + Number(button.dataset.step)).toFixed(decimals);
    echo();
  } else if (button.id === "blind") {
    localStorage.setItem("halfdrop.blind", document.body.classList.contains("blind") ? "" : "1");
    blind();
  } else if (button.dataset.seconds) { counting.set(nameOf(button), Date.now() + 1000 * Number(button.dataset.seconds)); count(); }
  else if (button.id === "dismiss") { dismiss(); send().then(() => refresh()); }
});
document.addEventListener("input", (event) => { if (event.target.matches("input.reading")) echo(); });
// A key that is held down presses a button once.
document.addEventListener("keydown", (event) => { if (event.key === "Enter" && event.repeat && event.target.matches("button")) event.preventDefault(); });

// Earlier titres stay hidden until they are shown again, whatever is drawn anew meanwhile.
function blind() {
  const button = $("#blind"), on = Boolean(button && localStorage.getItem("halfdrop.blind"));
  document.body.classList.toggle("blind", on);
  button?.setAttribute("aria-pressed", on);
  echo();
}

// ---- the countdowns, which run on when the page is drawn anew; a new reading begins its own
const counting = new Map();
const nameOf = (button) => `${$("#asked")?.textContent} ${button.dataset.seconds}`;
function count() {
  for (const button of document.querySelectorAll("button[data-seconds]")) {
    const ends = counting.get(nameOf(button)), left = Math.ceil((ends - Date.now()) / 1000);
    button.dataset.words ??= button.textContent;
    button.disabled = left > 0;
    button.classList.toggle("counting", left > -4);
    button.textContent = !(left > -4) ? button.dataset.words : left > 0 ? `${left} s` : `✓ ${button.dataset.done}`;
  }
}
setInterval(count, 200);

// ---- news of other tablets
// A key that is pressed while the page is drawn anew would be lost: the page waits until the finger is up.
let pressed = 0;
addEventListener("pointerdown", () => { pressed = Date.now(); }, true);
for (const up of ["pointerup", "pointercancel"]) addEventListener(up, () => setTimeout(() => { pressed = 0; }), true);
const fingerUp = async () => { while (Date.now() - pressed < 1000) await new Promise((then) => setTimeout(then, 10)); };

// What the page does by itself with what was drawn: the run at hand is in sight, the echo, the countdowns, what is hidden.
function drawn() {
  const table = $(".of-runs"), cell = table && $("td.asked", table);
  if (table) table.scrollLeft = cell ? cell.offsetLeft + cell.offsetWidth - table.clientWidth : table.scrollWidth;
  count();
  blind();
}

let turn = 0, acted = null;
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
    if (/class="bench[ "]/.test(text) !== Boolean($(".bench", place))) { location.reload(); return; }
    seen = Math.max(seen, told);
    const typed = $("input.reading")?.value, asked = $("#asked")?.textContent, active = document.activeElement;
    const title = (details) => $("summary", details).textContent;
    // What a person has opened stays open, and what is being written there is not wiped out by news.
    const open = [...place.querySelectorAll("details[open]")];
    const written = [...place.querySelectorAll("form:not([data-sent]) input")].filter((field) =>
      !field.matches(".reading, [type=hidden], [type=file], [type=checkbox], [type=radio]") && field.value !== field.defaultValue);
    place.innerHTML = text;
    place.dataset.version = answer.headers.get("x-version");
    for (const details of open) {
      const fresh = [...place.querySelectorAll("details")].find((other) => title(other) === title(details));
      if (fresh && $("form", details)) fresh.replaceWith(details);
      else if (fresh) fresh.open = true;
    }
    let at = active;
    for (const field of written.filter((one) => !place.contains(one))) {
      const fresh = [...place.querySelectorAll("input")].find((other) => other.name === field.name && other.form?.dataset.label === field.form.dataset.label);
      if (fresh) fresh.value = field.value;
      if (fresh && field === active) at = fresh;
    }
    if (typed && $("#asked")?.textContent === asked) $("input.reading").value = typed;
    drawn();
    news.dispatchEvent(new CustomEvent("changed"));
    (place.contains(at) ? at : $(acted) ?? $("input.reading") ?? $("[data-next]", place))?.focus({ preventScroll: true });
    acted = null;
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
addEventListener("online", send);
setInterval(() => { if (waiting().length) send(); }, 4000);
show(); drawn(); send();
if (document.activeElement === document.body) $("#bench [data-next]")?.focus({ preventScroll: true });
