"""How long a page takes until something of it is seen, and what memory its process takes.

Chromium loads each page with nothing kept from before, from `baskline serve` on the demo's room with its
eight weeks, in the environment that the daemon gives its page.  Charts, which are asked for after that, are
kept from coming until all pages were painted: so no load waits for the charts of the one before.
Target: first paint within 300 ms, with nothing else running.
"""

# ruff: noqa: T201 - a benchmark prints what it measured

import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

from playwright.sync_api import Browser, expect, sync_playwright

from baskline.page.keeping import FEW_ARENAS
from baskline.scenario import build, give_past
from firmware_host.clock import SystemClock
from ingest.config import load_config
from ingest.store.store import Store
from tests.bench.bench_daemon import memory_mb
from tests.brokers import free_port

PAGES = {"overview": "/", "spot": "/spots/fern", "lamps": "/lamps", "events": "/events", "checks": "/checks"}
ROUNDS = 7
TARGET_MS = 300
CLOCK = SystemClock()
_FIRST_PAINT = """() => new Promise((found) => new PerformanceObserver((list) => {
  for (const entry of list.getEntries()) if (entry.name === 'first-contentful-paint') found(entry.startTime);
}).observe({ type: 'paint', buffered: true }))"""


def main() -> None:
    """Print the first paint of each page, and the memory before and after charts were drawn."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        sys.exit("chromium is not installed: sudo apt-get install chromium")
    with TemporaryDirectory() as name, sync_playwright() as playwright:
        config_file = room(Path(name))
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        paint_ms(browser, "about:blank")  # the browser's own beginning is not the page's
        with served(config_file) as (server, url):
            print(f"waiting for the processor       {os.getloadavg()[0]:4.1f} of {os.cpu_count()} cores")
            print(f"memory when nobody has looked   {memory_mb(server.pid)[0]:4.0f} MB")
            for title, path in PAGES.items():
                painted_ms = [paint_ms(browser, url + path) for _ in range(ROUNDS)]
                first, worst = painted_ms[0], max(painted_ms)
                print(
                    f"{title:9} first paint {median(painted_ms):5.0f} ms, median of {ROUNDS};"
                    f" the very first {first:.0f}, the worst {worst:.0f}; target {TARGET_MS}"
                )
            print(f"memory before charts            {memory_mb(server.pid)[0]:4.0f} MB")
            began_ms = CLOCK.moment().mono_ms
            draw_charts(browser, f"{url}/spots/fern")
            print(
                f"a spot's three charts drawn     {CLOCK.moment().mono_ms - began_ms:4.0f} ms, code made anew"
            )
            print(f"memory after charts             {memory_mb(server.pid)[0]:4.0f} MB")
        browser.close()


def room(folder: Path) -> Path:
    """Write the demo's room with its weeks; return its configuration."""
    scenario = build(folder)
    with Store.open(load_config(scenario.config_file).bridge.store) as store:
        give_past(store, scenario, until_ms=scenario.day.start_ms + 15 * 3_600_000)
    return scenario.config_file


@contextmanager
def served(config_file: Path) -> Iterator[tuple[subprocess.Popen[bytes], str]]:
    """Serve a room; yield the process and its address."""
    port = free_port()
    program = "from baskline.app import main; main()"
    server = subprocess.Popen(
        [sys.executable, "-c", program, "serve", "-c", str(config_file), "--port", str(port)],
        env={**os.environ, **FEW_ARENAS, "PYTHONPATH": str(Path(__file__).parents[2])},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )
    try:
        assert server.stderr is not None
        server.stderr.readline()  # it says where it serves when it listens
        yield server, f"http://127.0.0.1:{port}"
    finally:
        server.send_signal(signal.SIGTERM)
        server.communicate()


def paint_ms(browser: Browser, address: str) -> float:
    """Return when the first of a page was painted, after its load began."""
    with browser.new_context() as context:
        page = context.new_page()
        page.route("**/charts/**", lambda route: route.abort())
        page.goto(address, wait_until="commit")
        return 0.0 if address == "about:blank" else float(page.evaluate(_FIRST_PAINT))


def draw_charts(browser: Browser, address: str) -> None:
    """Look at a page until all its charts are drawn."""
    with browser.new_context() as context:
        page = context.new_page()
        page.goto(address)
        charts = page.locator("[data-chart]")
        expect(page.locator("[data-drawn] canvas")).to_have_count(charts.count(), timeout=120_000)


if __name__ == "__main__":
    main()
