// Looks whether a check is done, and then shows its result.

const place = document.querySelector("[data-waiting]");
const LOOK_MS = 1_000;

async function look() {
  try {
    const answer = await fetch(place.dataset.waiting);
    if (answer.ok && (await answer.json()).done) {
      const address = new URL(location.href);
      address.hash = "result";
      history.replaceState(null, "", address);
      location.reload();
      return;
    }
  } catch {
    // The network may be away for a moment.
  }
  setTimeout(look, LOOK_MS);
}

setTimeout(look, LOOK_MS);
