// Puts the pieces that the bridge sends into their places, and says loudly when it sends nothing any more.

const SILENT_AFTER_MS = 25_000;
const glance = document.querySelector("[data-level]");
const lost = document.querySelector("[data-lost]");
const places = new Map(
  [...document.querySelectorAll("[data-live]")].map((place) => [place.dataset.live, place]),
);
let heardAt = performance.now();
let failed = false;
let troubled = false;
const roomName = document.title.split(" · ").at(-1);

function look() {
  const isLost = failed || performance.now() - heardAt > SILENT_AFTER_MS;
  if (lost.hidden === isLost) lost.hidden = !isLost;
  document.body.classList.toggle("is-lost", isLost || troubled);
}

function take(pieces) {
  for (const [name, piece] of Object.entries(pieces)) {
    if (name === "level" && glance) glance.className = `glance is-${piece}`;
    else if (places.has(name)) places.get(name).innerHTML = piece;
    if (name === "trouble") troubled = piece !== "";
    if (name === "sentence" && glance) document.title = `${places.get(name).textContent.trim()} · ${roomName}`;
  }
}

function listen() {
  const source = new EventSource("/live");
  source.addEventListener("pieces", (event) => {
    heardAt = performance.now();
    failed = false;
    take(JSON.parse(event.data));
    look();
  });
  source.addEventListener("error", () => {
    failed = true;
    look();
    // The browser tries again by itself, unless it was refused; then the session may have ended.
    if (source.readyState === EventSource.CLOSED) setTimeout(listen, 5_000);
  });
}

setInterval(look, 2_000);
listen();
