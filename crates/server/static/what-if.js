// The sliders of "what if": a slider and its field follow each other, and the result is asked for at every move. Without
// this file the form is sent instead. Nothing that is asked here is recorded.
const number = (text) => Number(text.trim().replace(",", ".").replace("\u2212", "-"));
let waiting, running;

const partner = (field) => {
  const name = field.name, other = field.type === "range" ? name.slice(1) : `s${name}`;
  return [...field.form.elements].find((element) => element.name === other);
};

async function ask(form) {
  running?.abort();
  running = new AbortController();
  const place = (name) => form.querySelector(`[data-is="${name}"]`);
  // The fields alone: a slider may stand beside what was recorded by less than a step.
  const asked = new URLSearchParams([...new FormData(form)].filter(([name]) => !/^s[vu]\./.test(name)));
  try {
    const answer = await fetch(`${form.dataset.ask}?${asked}`, { signal: running.signal });
    const said = await answer.json();
    place("fault").textContent = answer.ok ? "" : said.error;
    if (!answer.ok) return;
    for (const [name, text] of Object.entries(said.shown)) place(name).textContent = text;
  } catch { /* a newer question is on its way, or there is no network: the numbers stay */ }
}

document.addEventListener("input", (event) => {
  const field = event.target, form = field.closest("form.what-if");
  if (!form) return;
  const other = partner(field);
  if (field.type === "range") other.value = Number(field.value).toFixed(Number(other.dataset.decimals));
  else if (field.value.trim() === "") other.value = other.dataset.now;
  else if (Number.isFinite(number(field.value))) other.value = number(field.value);
  clearTimeout(waiting);
  waiting = setTimeout(() => ask(form), 80);
});

document.addEventListener("click", (event) => {
  const link = event.target.closest("a[data-reset]"), form = link?.closest("form.what-if");
  if (!form) return;
  event.preventDefault();
  for (const field of form.elements) {
    if (field.type === "range") field.value = field.dataset.now;
    else if (field.dataset.decimals) field.value = "";
  }
  ask(form);
});
