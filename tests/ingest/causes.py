"""A cause for each kind of event: what has to happen in a room, and what ends it again."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path
from types import MappingProxyType
from typing import Final, Protocol, TypeAlias

from calibrate.calibration import Calibration
from calibrate.samples import Flag
from exposure.events import EventKind
from firmware_host.messages import Mark
from firmware_host.simulated.board import SimulatedBoard
from firmware_host.wire import encode_reading
from ingest.checking import RunningValue, compare
from ingest.event_record import EventMessage
from ingest.nightly import AFTER_START_MS
from ingest.store.lamp_changes import LampChangeKind
from ingest.store.store import Store
from tests.ingest.nights import DAY_MS, MIDNIGHT_MS, Uvi, at_once, begin, readings, room, with_past
from tests.ingest.rig import CONFIG, TODAY, Board, Rig, calibration, config

LIT_BY_DAY: Final = 'lit_from = "08:00"\nlit_until = "20:00"\n'
LIT_LATER: Final = 'lit_from = "14:00"\nlit_until = "20:00"\n'
NO_CHECKS: Final = {"check_every_days": 0.0}
HOUR_S: Final = 3_600.0

Rules: TypeAlias = Mapping[str, float]
USUAL: Final[Rules] = MappingProxyType({})


class Cause(Protocol):
    """Something that happens in a room, and ends."""

    def __call__(self, folder: Path, message: EventMessage | None, rules: Rules = USUAL) -> Rig:
        """Live through it in a folder, judged by these rules; return the rig, its run ended."""


def rules_text(rules: Rules) -> str:
    """Return how the configuration says it of the spot."""
    return f"rules = {{ {', '.join(f'{key} = {value:g}' for key, value in rules.items())} }}\n"


class FaultyClockBoard(SimulatedBoard):
    """A board whose own time leaps when told to."""

    leap_ms = 0

    def _board_ms(self, now_ms: float) -> int:
        return super()._board_ms(now_ms) + self.leap_ms

    def _measure(self, at_ms: float) -> None:
        super()._measure(at_ms)
        reading = self._ring.pop()
        self._ring.append(reading._replace(board_ms=reading.board_ms + self.leap_ms))
        self._outgoing[-1] = encode_reading(self._ring[-1])


class Heated(Board):
    """A board whose thermometer shows what it is told."""

    temperature_c = 25.0

    def _channels(self, at_ms: float) -> dict[str, float]:
        seen = super()._channels(at_ms)
        return {**seen, "temperature_c": self.temperature_c} if "temperature_c" in seen else seen


def started(
    folder: Path,
    message: EventMessage | None,
    rules: Rules,
    *,
    text: str = "",
    board: Board | None = None,
    calibrations: dict[str, Calibration] | None = None,
    uvi: float | Callable[[float], float] = 1.8,
) -> Rig:
    """Return a room at noon, with its board plugged in and one reading each ten seconds."""
    rig = Rig(
        folder / "s.db",
        board or Board(cadence_ms=10_000, uvi=uvi),
        settings=config(CONFIG + text + rules_text(rules)),
        calibrations=calibrations,
        event_message=message,
    )
    rig.start()
    rig.plug("rock-1")
    return rig


def by_uvi(wrong: float, *, wrong_h: float, right: float = 1.8, text: str = "") -> Cause:
    """The UVI is wrong for some hours, and then right."""

    def cause(folder: Path, message: EventMessage | None, rules: Rules = USUAL) -> Rig:
        rig = started(folder, message, rules, text=text, uvi=wrong)
        rig.run(wrong_h * HOUR_S, step_ms=10_000)
        rig.boards["rock-1"].uvi = right
        rig.run(HOUR_S, step_ms=10_000)
        rig.finish()
        return rig

    return cause


def by_flicker(folder: Path, message: EventMessage | None, rules: Rules = USUAL) -> Rig:
    """Each other minute it is dark, and then it burns on, a little unsteady."""

    def uvi(at_ms: float) -> float:
        minute = (at_ms - 10_000_000) // 60_000
        return 0.0 if minute < 15 and minute % 2 else 1.8 + minute % 5 * 0.02

    rig = started(folder, message, rules, uvi=uvi)
    rig.run(1.5 * HOUR_S, step_ms=10_000)
    rig.finish()
    return rig


def by_the_same_value(folder: Path, message: EventMessage | None, rules: Rules = USUAL) -> Rig:
    rig = started(folder, message, rules, board=Board(cadence_ms=30_000))
    rig.run(6.2 * HOUR_S, step_ms=30_000)
    rig.boards["rock-1"].uvi = 1.85
    rig.run(60, step_ms=30_000)
    rig.finish()
    return rig


def by_marks(marks: Mark) -> Cause:
    """The sensor says that something is wrong with it, for twenty minutes."""

    def cause(folder: Path, message: EventMessage | None, rules: Rules = USUAL) -> Rig:
        rig = started(folder, message, rules)
        for now in (marks, Mark(0)):
            rig.boards["rock-1"].marks = now
            rig.run(1_200, step_ms=10_000)
        rig.finish()
        return rig

    return cause


def by_heat(folder: Path, message: EventMessage | None, rules: Rules = USUAL) -> Rig:
    board = Heated(cadence_ms=10_000)
    rig = started(folder, message, rules, board=board)
    for board.temperature_c in (75.0, 25.0):
        rig.run(1_200, step_ms=10_000)
    rig.finish()
    return rig


def by_calibration(before: Calibration | None) -> Cause:
    """The spot's calibration will not do; half an hour later the keeper makes a new one."""

    def cause(folder: Path, message: EventMessage | None, rules: Rules = USUAL) -> Rig:
        rig = started(folder, message, rules, calibrations={} if before is None else {"ledge": before})
        rig.run(1_800, step_ms=10_000)
        rig.finish()
        rig.calibrations = {"ledge": calibration()}
        rig.start()
        rig.run(1_800, step_ms=10_000)
        rig.finish()
        return rig

    return cause


def by_cable(folder: Path, message: EventMessage | None, rules: Rules = USUAL) -> Rig:
    rig = started(folder, message, rules)
    rig.run(60, step_ms=1_000)
    rig.unplug("rock-1")
    rig.run(120, step_ms=1_000)
    rig.plug("rock-1")
    rig.run(60, step_ms=1_000)
    rig.finish()
    return rig


def by_restarts(folder: Path, message: EventMessage | None, rules: Rules = USUAL) -> Rig:
    """Once by itself, and three times with its link, as when its power fails."""
    rig = started(folder, message, rules)
    rig.run(30, step_ms=1_000)
    rig.boards["rock-1"].simulated.start(rig.now_ms)
    rig.run(30, step_ms=1_000)
    for _ in range(3):
        rig.unplug("rock-1")
        rig.run(5, step_ms=1_000)
        rig.plug("rock-1")
        rig.run(30, step_ms=1_000)
    rig.run(1.1 * HOUR_S, step_ms=10_000)
    rig.finish()
    return rig


def by_leaps(folder: Path, message: EventMessage | None, rules: Rules = USUAL) -> Rig:
    board = Board(cadence_ms=10_000)
    leaping = FaultyClockBoard(board.simulated.model, board.simulated._channels_at, seed=1)
    board.simulated = leaping
    rig = started(folder, message, rules, board=board)
    for _ in range(3):
        rig.run(300, step_ms=1_000)
        leaping.leap_ms += 1_000_000
    rig.run(1.2 * HOUR_S, step_ms=2_500)
    rig.finish()
    return rig


def by_check(folder: Path, message: EventMessage | None, rules: Rules = USUAL) -> Rig:
    """The meter shows something else; then, the sensor cleaned, the same."""
    rig = started(folder, message, rules)
    rig.run(30, step_ms=1_000)
    for reference_uvi in (3.0, 1.8):
        add_check(rig, reference_uvi)
        rig.run(15, step_ms=1_000)
    rig.finish()
    return rig


def by_no_check(folder: Path, message: EventMessage | None, rules: Rules = USUAL) -> Rig:
    """Nobody comes with the meter for weeks; then somebody does."""
    old = replace(calibration(), made_on=TODAY - timedelta(days=19))
    rig = started(folder, message, rules, calibrations={"ledge": old})
    rig.run(AFTER_START_MS / 1000 + 20, step_ms=10_000)
    add_check(rig, 1.8, old)
    rig.run(15, step_ms=1_000)
    rig.finish()
    return rig


def add_check(rig: Rig, reference_uvi: float, by: Calibration | None = None) -> None:
    at_ms = rig.clock.moment().wall_ms
    running = RunningValue(at_ms - 60_000, at_ms, 1.8, 0.05, 0.01, 60, Flag(0), steady=True)
    with Store.open(rig.store_path) as store:
        store.checks.add(compare("ledge", running, by or calibration(), reference_uvi, None, 0.1))


@dataclass(frozen=True)
class Weeks:
    """A lamp's level on each day, 0 being the day that is judged; and what happens after that night.

    `change`: the keeper changes the lamp.  `recalibrate`: and calibrates anew.
    """

    level: Callable[[int], float]
    days: int = 40
    calibration: Calibration | None = None
    change: bool = False
    recalibrate: bool = False
    warm_up_min: Uvi = at_once

    def __call__(self, folder: Path, message: EventMessage | None, rules: Rules = USUAL) -> Rig:
        """See `Cause`."""
        rig = room(folder, CONFIG + rules_text({**NO_CHECKS, **rules}), event_message=message)
        if self.calibration is not None:
            rig.calibrations = {"ledge": self.calibration}
        with_past(rig, self.level, days=self.days, warm_up_min=self.warm_up_min)
        begin(rig)
        rig.run(2_700, step_ms=15_000)
        rig.finish()
        self._next_day(rig)
        return rig

    def _next_day(self, rig: Rig) -> None:
        now_ms = rig.clock.moment().wall_ms
        with Store.open(rig.store_path) as store:
            if self.change:
                day = TODAY + timedelta(days=1)
                store.lamp_changes.add("tube", day, LampChangeKind.LAMP, "a new one", MIDNIGHT_MS)
            store.begin_run(rig.clock.moment())
            ends_ms = MIDNIGHT_MS + DAY_MS
            day_after = readings(self.level, now_ms, ends_ms, boot=2, warm_up_min=self.warm_up_min)
            store.readings.append([day_after])
        rig.unplug("rock-1")
        rig.clock.advance_ms(DAY_MS)
        if self.recalibrate:
            rig.calibrations = {"ledge": calibration()}
        rig.start()
        rig.run(AFTER_START_MS / 1000 + 60, step_ms=15_000)
        rig.finish()


OTHER_LAMP: Final = replace(calibration(), lamp_kind="mercury-vapour")
ENDED: Final = replace(calibration(), made_on=TODAY - timedelta(days=800))
ENDS_SOON: Final = replace(calibration(), made_on=TODAY - timedelta(days=340))

CAUSES: Final[Mapping[EventKind, Cause]] = {
    EventKind.OVER_CEILING: by_uvi(5.0, wrong_h=0.1),
    EventKind.ABOVE_BAND: by_uvi(3.2, wrong_h=0.6),
    EventKind.UNDER_BAND: by_uvi(0.4, wrong_h=1.2),
    EventKind.BACK_IN_BAND: by_uvi(5.0, wrong_h=0.1),
    EventKind.DOSE_LOW: Weeks(lambda day: 0.5 if day == 0 else 1.8),
    EventKind.DOSE_HIGH: Weeks(lambda day: 3.6 if day == 0 else 1.8),
    EventKind.LAMP_OFF_BY_DAY: by_uvi(0.0, wrong_h=0.4, text=LIT_BY_DAY),
    EventKind.LAMP_ON_AT_NIGHT: by_uvi(1.8, wrong_h=0.4, right=0.0, text=LIT_LATER),
    EventKind.LAMP_FLICKERS: by_flicker,
    EventKind.LAMP_WARMS_UP_SLOWLY: Weeks(
        lambda _day: 1.8, warm_up_min=lambda day: 40.0 if day in (-1, 0) else 5.0
    ),
    EventKind.LAMP_RISING: Weeks(lambda day: 2.3 * 1.02 ** (day / 7), days=60, change=True),
    EventKind.LAMP_FADING: Weeks(lambda day: 1.15 * 0.98 ** (day / 7), days=60, change=True),
    EventKind.LEVEL_STEPPED: Weeks(lambda day: 1.8 if day < -5 else 1.4, days=60, change=True),
    EventKind.SENSOR_STUCK: by_the_same_value,
    EventKind.SENSOR_SATURATED: by_marks(Mark.SATURATED),
    EventKind.SENSOR_TEMPERATURE: by_heat,
    EventKind.SENSOR_NEGATIVE: by_uvi(-0.5, wrong_h=0.4),
    EventKind.SENSOR_WITHOUT_VALUE: by_marks(Mark.FAULT),
    EventKind.CALIBRATION_MISSING: by_calibration(None),
    EventKind.CALIBRATION_OTHER_LAMP: by_calibration(OTHER_LAMP),
    EventKind.CALIBRATION_DUE: Weeks(lambda _day: 1.8, calibration=ENDS_SOON, recalibrate=True),
    EventKind.CALIBRATION_ENDED: by_calibration(ENDED),
    EventKind.CHECK_OVERDUE: by_no_check,
    EventKind.CHECK_OUT: by_check,
    EventKind.BOARD_SILENT: by_cable,
    EventKind.BOARD_RESTARTING: by_restarts,
    EventKind.BOARD_CLOCK_WRONG: by_leaps,
}
"""One for each kind."""
