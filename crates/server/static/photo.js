// A photograph of a reading goes through the same queue as the reading, and shows itself while it waits.
import { add, keepPicture, newKey, news, picture, send, waiting } from "/look/queue.js";

const form = () => document.querySelector("form.photo");

document.addEventListener("submit", async (event) => {
  if (!event.target.matches("form.photo")) return;
  event.preventDefault();
  const own = event.target, button = own.querySelector("button"), said = own.querySelector("[role=alert]");
  const { on, about, file: field } = own.elements, file = field.files[0];
  said.hidden = file.size <= Number(own.dataset.most);
  if (!said.hidden) { said.textContent = own.dataset.tooLarge; return; }
  button.disabled = true;
  const key = newKey(), of = about.selectedOptions[0].textContent;
  const label = own.dataset.label.replace("{of}", of).replace("{name}", file.name);
  try {
    await keepPicture(key, file);
    add({ photo: { key, at: new Date().toISOString(), on: on.value, about: about.value }, label });
  } catch {
    // This browser keeps nothing: the form goes as it is, and the browser says if it did not arrive.
    own.submit();
    return;
  }
  own.reset();
  own.closest("details").open = false;
  button.disabled = false;
  send();
});

// The pictures that wait, and the readings that wait as what a picture may be of.
let shown = "";
async function draw() {
  const own = form();
  if (!own) return;
  const { on, about } = own.elements, items = waiting();
  for (const { command, label } of items) {
    if (command?.kind !== "reading-taken" || command.on !== on.value || !command.payload.run) continue;
    const value = `${command.payload.run} ${command.payload.reading}`;
    if ([...about.options].some((option) => option.value === value)) continue;
    about.prepend(new Option(label, value));
    if (!own.closest("details").open) about.selectedIndex = 0;
  }
  const place = document.querySelector("#pictures-waiting");
  const mine = items.filter((item) => item.photo?.on === on.value), now = JSON.stringify(mine);
  // Drawn anew only if something changed, or if the page was.
  if (now === shown && place.childElementCount === mine.length) return;
  shown = now;
  const figures = await Promise.all(mine.map(async (item) => {
    const figure = document.createElement("figure"), words = document.createElement("figcaption"), state = document.createElement("span");
    words.append(item.label, document.createElement("br"), state);
    state.className = "waiting";
    state.textContent = item.refused ?? place.dataset.waits;
    const file = await picture(item.photo.key).catch(() => null);
    if (file) {
      const image = new Image(180, 135);
      image.alt = item.label;
      image.src = URL.createObjectURL(file);
      image.onload = () => URL.revokeObjectURL(image.src);
      figure.append(image);
    }
    figure.append(words);
    return figure;
  }));
  if (now === shown) place.replaceChildren(...figures);
}
news.addEventListener("changed", draw);
draw();
