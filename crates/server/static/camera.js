// A live view through the camera, where the browser can read codes by itself (a secure connection, and a browser that has
// it). Everywhere else the photograph does the same.
const look = document.querySelector("#look"), video = document.querySelector("#viewfinder");
const choose = (text) => {
  const field = document.querySelector(".find input[name=id]");
  field.value = text;
  field.closest(".row").querySelector("button[type=submit]").click();
};

const photo = document.querySelector(".find input[type=file]");
photo?.addEventListener("change", () => {
  // A chosen picture is read at once.
  if (photo.files.length) photo.closest("label").nextElementSibling.click();
});
document.querySelector(".find input[name=id]")?.addEventListener("keydown", (event) => {
  // Enter chooses the thing and does not send the whole form.
  if (event.key === "Enter") { event.preventDefault(); if (event.target.value.trim()) choose(event.target.value); }
});

if (look && "BarcodeDetector" in window && navigator.mediaDevices?.getUserMedia) {
  const codes = await window.BarcodeDetector.getSupportedFormats().catch(() => []);
  if (codes.includes("qr_code")) look.hidden = false;
}

let stream, words;
function stop() {
  stream?.getTracks().forEach((track) => track.stop());
  stream = undefined;
  video.hidden = true;
  look.textContent = words;
}
look?.addEventListener("click", async () => {
  words ??= look.textContent;
  if (stream) { stop(); return; }
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
  } catch { look.hidden = true; return; }
  look.textContent = look.dataset.stop;
  video.hidden = false;
  video.srcObject = stream;
  await video.play();
  const detector = new window.BarcodeDetector({ formats: ["qr_code"] });
  const timer = setInterval(async () => {
    if (!stream) { clearInterval(timer); return; }
    const seen = await detector.detect(video).catch(() => []);
    if (stream && seen.length) { clearInterval(timer); stop(); choose(seen[0].rawValue); }
  }, 200);
});
