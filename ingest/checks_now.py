"""A spot check made now: the readings of the settle time, by a daemon that runs or one for the time being."""

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass

from firmware_host.clock import Clock
from ingest.checking import CheckError
from ingest.config import Config
from ingest.spot_levels import NO_LEVELS, Levels, SpotLevels, joined_in_time
from ingest.store.lock import is_held

_LOOK_S = 0.25
_STALE_MS = 120_000
_FEWEST = 2


@dataclass(frozen=True, slots=True)
class Settle:
    """How long the mean is, and how long to wait for it at most."""

    window_s: float
    patience_s: float = 120.0


def levels_now(
    config: Config, spot: str, clock: Clock, settle: Settle, waiting: Callable[[str], None]
) -> Levels:
    """Return the spot's levels of the last `window_s`; `waiting` is told why it takes a while."""
    configured = config.spots[spot]
    board = config.boards[configured.board]
    with ExitStack() as stack:
        running = is_held(config.bridge.store)
        if not running:
            from ingest.temporary_daemon import running_daemon  # the whole daemon: the page never needs it

            waiting("baskline is not running: this command reads the boards itself for a moment")
            stack.enter_context(running_daemon(config, clock))
        levels = stack.enter_context(SpotLevels(config.bridge.store, board.identity, configured.sensor))
        found = levels.latest(settle.window_s) if running else NO_LEVELS
        if len(found) and clock.moment().wall_ms - int(found.utc_ms[-1]) > _STALE_MS:
            found = NO_LEVELS
        began_ms = clock.moment().mono_ms
        while len(found) < _FEWEST or _span_s(found) < settle.window_s * (1 - 1.5 / len(found)):
            if clock.moment().mono_ms - began_ms > 1000 * (settle.patience_s + settle.window_s):
                raise CheckError(
                    f"{len(found)} readings in {settle.patience_s + settle.window_s:.0f} s are too few",
                    where=f"board {configured.board} ({board.label})",
                    remedy="Check its plug and cable, and `baskline check`",
                )
            clock.wait_s(_LOOK_S)
            found = joined_in_time(found, levels.new())
        return found.since(int(found.utc_ms[-1]) - round(1000 * settle.window_s)).faultless()


def _span_s(levels: Levels) -> float:
    return (int(levels.utc_ms[-1]) - int(levels.utc_ms[0])) / 1000
