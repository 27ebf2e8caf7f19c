// A photograph is too large for the queue that waits for the network, so it says when it was not sent.
document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (!form.matches("form.photo")) return;
  event.preventDefault();
  const said = form.querySelector("[role=alert]"), button = form.querySelector("button");
  button.disabled = true;
  said.hidden = true;
  try {
    const answer = await fetch("/files", { method: "POST", body: new FormData(form) });
    if (answer.ok) { location.reload(); return; }
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    said.textContent = page.querySelector(".notice")?.textContent || answer.statusText;
  } catch { said.textContent = form.dataset.needs; }
  said.hidden = false;
  button.disabled = false;
});
