"""A table of the spots as they are now, and above it what happens, line by line."""

from collections.abc import Sequence
from types import TracebackType
from typing import Final, Self
from zoneinfo import ZoneInfo

from rich.console import Console, Group
from rich.live import Live
from rich.table import Table
from rich.text import Text

from baskline.measured_words import measured
from baskline.printing import folded, say
from baskline.wording import clock_time
from calibrate.errors import KeeperError
from exposure.events import Event
from exposure.place import Place
from ingest.config import Config
from ingest.mqtt.payloads import BoardState, SpotState

# Words and a sign each, so that no colour is needed to tell them apart.
PLACE_WORDS: Final = {
    Place.IN_BAND: "= in band",
    Place.UNDER_BAND: "v under band",
    Place.ABOVE_BAND: "^ above band",
    Place.OVER_CEILING: "! over ceiling",
    Place.DARK: ". dark",
    Place.UNKNOWN: "? not known",
}
_LINE_EVERY_MS: Final = 2 * 3_600_000
# Of an accelerated day, more often than an eye can follow only costs time.
_TABLE_EVERY_MS: Final = 4 * 60_000
_COLUMNS: Final = ("spot", "UVI", "band", "ceiling", "is", "dose UVI·h", "seen")
# What a narrow terminal holds of them.
_NARROW_COLUMNS: Final = ("spot", "UVI", "is")
_WIDE: Final = 80
# "10:38  TODAY  " stands before the words.
_HANG: Final = 14


class LiveTable:
    """An audience for people.  On a terminal the table stays in place; piped, a line comes now and then."""

    def __init__(
        self,
        config: Config,
        console: Console,
        *,
        table_every_ms: int = _TABLE_EVERY_MS,
        line_every_ms: int = _LINE_EVERY_MS,
    ) -> None:
        """`table_every_ms` on a terminal, `line_every_ms` when piped, both in the room's time."""
        self._config = config
        self._console = console
        self._zone = ZoneInfo(config.bridge.time_zone)
        self._states: dict[str, SpotState] = {}
        self._last_spot = list(config.spots)[-1]
        self._now_ms = 0
        self._shown_ms = 0
        self._every_ms = table_every_ms if console.is_terminal else line_every_ms
        self._live = Live(console=console, auto_refresh=False, transient=True)

    def __enter__(self) -> Self:
        if self._console.is_terminal:
            self._live.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._live.stop()

    def happening(self, at_ms: int, sentence: str) -> None:
        """Say what is done to the room, which no sensor is told."""
        self._say(at_ms, f"       ({sentence})")

    def trouble(self, error: KeeperError) -> None:
        """Say what is in the way of telling the broker."""
        say(self._console, str(error))

    def event(self, event: Event) -> None:
        """Say how an event has changed."""
        if event.closed_ms is not None and event.closed_ms != event.opened_ms:
            self._say(event.closed_ms, f"over   {event.subject}: {event.closing}")
        else:
            self._say(event.opened_ms, f"{event.severity.value.upper():6} {event.subject}: {event.sentence}")

    def open_events(self, events: Sequence[Event], now_ms: int) -> None:  # noqa: ARG002 - told by `event`
        """Take the time; each spot names its own open events."""
        self._now_ms = now_ms

    def spot(self, state: SpotState) -> None:
        """Show how a spot is."""
        self._states[state.spot] = state
        if state.spot == self._last_spot:
            self._refresh()

    def board(self, state: BoardState) -> None:
        """Boards show by their spots."""

    def _say(self, at_ms: int, words: str) -> None:
        say(self._console, f"{clock_time(at_ms, self._zone)}  {words}", hang=_HANG)

    def _refresh(self) -> None:
        if self._now_ms - self._shown_ms < self._every_ms:
            return
        if all(state.at_ms is None for state in self._states.values()):
            return  # nothing has come yet
        self._shown_ms = self._now_ms
        if self._console.is_terminal:
            self._live.update(self._table(), refresh=True)
        else:
            spots = (
                f"{key} {'-' if state.uvi is None else f'{state.uvi:.1f}'} {_plain(state.place)}"
                for key, state in self._states.items()
            )
            self._say(self._now_ms, f"       {', '.join(spots)}")

    def _table(self) -> Group:
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
        names = _COLUMNS if self._console.width >= _WIDE else _NARROW_COLUMNS
        for name in names:
            right = name not in ("spot", "band", "is")
            table.add_column(name, justify="right" if right else "left", no_wrap=True)
        for state in self._states.values():
            cells = self._cells(state)
            table.add_row(*(cells[name] for name in names))
        heading = f"{clock_time(self._now_ms, self._zone)}  each spot now, and the day so far; ± is k = 2"
        return Group(Text(), Text(folded(heading, self._console.width)), table)

    def _cells(self, state: SpotState) -> dict[str, str]:
        return {
            "spot": self._config.spots[state.spot].label,
            "UVI": measured(state.uvi, state.u_uvi) if state.uvi is not None else "-",
            "band": f"{state.band_low_uvi:g} to {state.band_high_uvi:g}",
            "ceiling": f"{state.ceiling_uvi:g}",
            "is": PLACE_WORDS[state.place],
            "dose UVI·h": "-" if state.dose_uvi_h is None else f"{state.dose_uvi_h:.1f}",
            "seen": f"{100 * state.coverage:.0f} %",
        }


def _plain(place: Place) -> str:
    return PLACE_WORDS[place].partition(" ")[2]
