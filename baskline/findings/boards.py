"""Whether the boards are heard, by the daemon or on the ports, and say what their calibrations need."""

from collections.abc import Iterator
from typing import Final

from baskline.findings.finding import Finding, utc
from baskline.ports import ports_of
from calibrate.calibration_file import read_calibration
from calibrate.errors import KeeperError
from firmware_host.clock import SystemClock
from ingest.config import BoardConfig, Config
from ingest.store.store import Store
from ingest.survey import survey

# The daemon writes what it hears every few seconds, at the latest once a minute.
_RECENT_MS: Final = 120_000


def boards_in_store(config: Config) -> Iterator[Finding]:
    """The daemon holds the ports, so it is asked, through the store, what it hears."""
    now_ms = SystemClock().moment().wall_ms
    with Store.open(config.bridge.store, read_only=True) as store:
        known = {board.board: board for board in store.boards.all()}
    for configured in config.boards.values():
        board = known.get(configured.identity)
        if board is None or board.last_seen_ms is None:
            yield _unheard(configured.identity, configured.label)
        elif now_ms - board.last_seen_ms > _recent_ms(configured):
            yield Finding(
                "board",
                configured.identity,
                False,
                f"last heard {utc(board.last_seen_ms)}",
                "Check its plug and cable, and whether its light is on",
            )
        else:
            yield Finding("board", configured.identity, True, f"the daemon hears it on {board.port}")


def _recent_ms(board: BoardConfig) -> int:
    """Return how long ago a board that is well may have been heard last."""
    return max(_RECENT_MS, round(2000 * (board.silent_after_s or 0)))


def _unheard(identity: str, label: str) -> Finding:
    return Finding(
        "board",
        identity,
        False,
        f"not heard ({label})",
        "Plug it in with a data cable; `baskline boards` shows what the ports say",
    )


def boards_on_ports(config: Config, seconds: float) -> Iterator[Finding]:
    """Listen on the ports for `seconds` at most."""
    clock = SystemClock()
    bus_troubles: list[KeeperError] = []
    with ports_of(config, clock, bus_troubles.append) as find_ports:
        found = survey(find_ports, config, clock, listen_s=seconds)
    for trouble in bus_troubles:
        yield Finding("port", trouble.where, False, trouble.what, trouble.remedy)
    for problem in found.problems:
        yield Finding("port", problem.port, False, problem.error.what, problem.error.remedy)
    for configured in config.boards.values():
        board = found.boards.get(configured.identity)
        if board is None:
            yield _unheard(configured.identity, configured.label)
            continue
        yield Finding("board", configured.identity, True, f"heard on {board.port}")
        if board.latest:
            yield from _channels(config, configured.identity, set(board.latest))


def _channels(config: Config, identity: str, reported: set[str]) -> Iterator[Finding]:
    """Compare what calibrations need with what the board reports."""
    for key, spot in config.spots.items():
        if config.boards[spot.board].identity != identity or spot.calibration is None:
            continue
        try:
            needs = read_calibration(spot.calibration).needs
        except KeeperError:
            continue  # said already
        missing = [name for name in needs if name not in reported and f"{spot.sensor}.{name}" not in reported]
        if missing:
            yield Finding(
                "channels",
                key,
                False,
                f"its calibration needs {', '.join(missing)}, and board {identity} reports "
                f"{', '.join(sorted(reported))}",
                f"Set [spot.{key}] sensor to the right sensor of the board, or calibrate with its channels",
            )
