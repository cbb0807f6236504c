// Draws the charts of a page after the page itself is there: as wide as their places, by day or by night.

const places = [...document.querySelectorAll("[data-chart]")];
const dark = matchMedia("(prefers-color-scheme: dark)");
const shown = new Map();
const NARROWEST_PX = 280;
const WIDEST_PX = 1400;
const REDRAW_AFTER_MS = 250;
const AGAIN_MS = 300_000;
let code;
let timer;

async function reason(answer) {
  if (answer.status === 401) return "Sign in again to see the chart.";
  const words = await answer.text();
  return answer.status === 503 && !words.startsWith("<") ? words : "It could not be drawn now.";
}

function loadCode(address) {
  code ??= import(address).catch(async () => {
    code = undefined;
    throw new Error(await reason(await fetch(address)));
  });
  return code;
}

async function draw(place, { anew = false } = {}) {
  const width = Math.round(Math.min(Math.max(place.clientWidth, NARROWEST_PX), WIDEST_PX));
  const was = shown.get(place);
  const look = `${width} ${dark.matches}`;
  if (!anew && was?.look === look) return;
  const address = new URL(place.dataset.chart, location.href);
  address.searchParams.set("width", width);
  if (dark.matches) address.searchParams.set("dark", "1");
  try {
    const [answer] = await Promise.all([fetch(address), loadCode(place.dataset.code)]);
    if (!answer.ok) throw new Error(await reason(answer));
    const spec = await answer.json();
    const frame = document.createElement("div");
    place.replaceChildren(frame);
    was?.drawn?.finalize?.();
    shown.set(place, { look, drawn: await globalThis.baskline_charts.draw(frame, spec) });
    place.dataset.drawn = look;
  } catch (error) {
    const words = document.createElement("p");
    words.className = "chart-words";
    words.textContent = `No chart: ${error.message || "it could not be drawn now."} The table below has the numbers.`;
    place.replaceChildren(words);
    shown.delete(place);
  }
}

async function drawAll(options) {
  for (const place of places) await draw(place, options);
}

function soon() {
  clearTimeout(timer);
  timer = setTimeout(drawAll, REDRAW_AFTER_MS);
}

addEventListener("resize", soon);
dark.addEventListener("change", soon);
// A day that is not over grows.
if (places.some((place) => "growing" in place.dataset)) setInterval(() => drawAll({ anew: true }), AGAIN_MS);
requestAnimationFrame(() => setTimeout(drawAll));
