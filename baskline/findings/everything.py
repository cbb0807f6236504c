"""What `baskline check` looks at, one part after the other."""

from collections.abc import Generator, Iterator
from pathlib import Path
from typing import Final

from baskline.findings.boards import boards_in_store, boards_on_ports
from baskline.findings.clock import clock
from baskline.findings.connections import broker, mirror, page
from baskline.findings.finding import Finding, counted, utc
from baskline.findings.places import animals, calibrations
from calibrate.errors import KeeperError
from firmware_host.clock import SystemClock
from ingest.config import Config, ConfigError, load_config
from ingest.store.lock import is_held
from ingest.store.store import Store

# As the demo's own configuration calls it.
_INVENTED: Final = ("demo", "invented-room")


def look_at_everything(path: Path, seconds: float) -> Iterator[Finding]:
    """Yield what is found, part by part, listening to the boards for `seconds` at most."""
    try:
        config = load_config(path)
    except ConfigError as error:
        for problem in error.problems:
            subject = f"{path}, {problem.place}" if problem.place else str(path)
            yield Finding("configuration", subject, False, problem.what, problem.remedy)
        return
    found = f"{counted(len(config.boards), 'board')}, {counted(len(config.spots), 'spot')}"
    bare = "" if config.spots else "Nothing is watched yet: `baskline init` adds boards and spots"
    yield Finding("configuration", str(path), True, found, bare)
    if (config.bridge.site, config.bridge.name) == _INVENTED:
        yield Finding(
            "room",
            config.bridge.name,
            True,
            "the invented room of `baskline demo`, not yours",
            "Its boards are there only while the demo runs, and its calibrations grow old, so much is to be"
            " mended here that needs no mending; `baskline init` sets up a room of your own",
        )
    yield from animals(config)
    yield from calibrations(config)
    running = yield from _store(config)
    if running:
        yield from boards_in_store(config)
    else:
        yield from boards_on_ports(config, seconds)
    yield from broker(config)
    yield from mirror(config)
    yield from page(config)


def _store(config: Config) -> Generator[Finding, None, bool]:
    """Look at the store; return (to `yield from`) whether a daemon is writing to it."""
    path, now_ms = config.bridge.store, SystemClock().moment().wall_ms
    if not path.exists():
        if path.parent.is_dir():
            yield Finding("store", str(path), True, "not there yet; `baskline run` makes it")
        else:
            yield Finding("store", str(path), False, f"there is no folder {path.parent}", "Make the folder")
        yield from clock(now_ms, None)
        return False
    try:
        with Store.open(path, read_only=True) as store:
            last_ms = store.readings.last_utc_ms_any()
            waiting = store.outbox.size()
    except KeeperError as error:
        yield Finding("store", str(path), False, error.what, error.remedy)
        return False
    running = is_held(path)
    newest = "no reading yet" if last_ms is None else f"newest reading {utc(last_ms)}"
    yield Finding(
        "store", str(path), True, f"{newest}; the daemon is {'running' if running else 'not running'}"
    )
    yield from clock(now_ms, last_ms)
    if waiting:
        yield Finding("outbox", str(path), True, f"{counted(waiting, 'message')} for the broker")
    return running
