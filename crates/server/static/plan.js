// A plan follows its choices: what was changed is asked anew, and the plan is drawn in place with what U was before.
const form = document.querySelector("form.plan"), made = document.querySelector("#made");
let turn = 0;
form.addEventListener("change", async () => {
  if (!form.checkValidity()) return;
  const own = ++turn, at = `/plan?${new URLSearchParams(new FormData(form))}`;
  const before = made.querySelector("[data-is=u]")?.textContent;
  made.setAttribute("aria-busy", "true");
  try {
    const page = new DOMParser().parseFromString(await (await fetch(at)).text(), "text/html");
    if (own !== turn) return;
    made.replaceChildren(...page.querySelector("#made").childNodes);
    history.replaceState(null, "", at);
    const was = made.querySelector("#was"), now = made.querySelector("[data-is=u]")?.textContent;
    if (was && before && before !== now) was.textContent = ` · ${was.dataset.was.replace("{u}", before)}`;
  } catch { /* the network is away; the button asks again */ }
  made.removeAttribute("aria-busy");
});
