"""A spot check: the spot's running value beside a reference reading, and what a series of checks says."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np

from calibrate.budget import budget
from calibrate.calibration import Calibration
from calibrate.control_chart import ControlChart, chart_of_checks
from calibrate.errors import KeeperError
from calibrate.points import ReferenceMeter
from calibrate.samples import VALUELESS, Flag
from calibrate.spot_check import Change, Moved, Verdict, spot_check, verdict_of, what_moved
from exposure.days import day_bounds
from ingest.spot_levels import Levels
from ingest.steadiness import BLOCKS, steadiness
from ingest.store.checks import CheckRecord

DAY_MS = 86_400_000
CHECK_EVERY_DAYS = 7
"""The careful measure weekly: common practice, no source."""

OVERDUE_AFTER_DAYS = 1
"""A keeper who checks on Saturdays may do it on Sunday once."""

PLACEMENT_RELATIVE = 0.03
"""How well a hand-held meter shares the place of a mounted sensor, as a share of the reading (k = 1).
Judgement."""

_LEAST_UVI = 0.1


class CheckError(KeeperError):
    """A check that cannot be made now."""


@dataclass(frozen=True, slots=True)
class RunningValue:
    """A spot's mean over [from_ms, at_ms]: `u_random_uvi` is what of `u_uvi` (k = 1) is by chance."""

    from_ms: int
    at_ms: int
    uvi: float
    u_uvi: float
    u_random_uvi: float
    n: int
    flags: Flag
    steady: bool


def running_value(
    levels: Levels, calibration: Calibration, *, lamp_kind: str, age_days: float
) -> RunningValue:
    """Return the mean of a spot over its levels (n > 0 readings of one sensor).

    What errs anew with each reading shrinks with their number; what they have in common does not.
    """
    converted = calibration.convert(
        {name: levels.of(name) for name in levels.channels},
        levels.marks,
        lamp_kind=lamp_kind,
        age_days=age_days,
    )
    flags = Flag(int(np.bitwise_or.reduce(converted.flags)))
    good = np.isfinite(converted.uvi)
    if not good.any():
        why = ", ".join(flag.name.lower() for flag in flags & VALUELESS if flag.name is not None)
        raise CheckError(f"the spot has no UVI now: {why}", remedy="See `baskline check`")
    uvi = converted.uvi[good]
    means = {
        name: float(np.mean(levels.of(name)[good]))
        for name in calibration.needs
        if np.isfinite(levels.of(name)[good]).all()
    }
    rows = budget(calibration, means, lamp_kind=lamp_kind, age_days=age_days).rows
    common = sqrt(sum(row.u_uvi**2 for row in rows if row.common))
    by_noise = sqrt(sum(row.u_uvi**2 for row in rows if not row.common) / len(uvi))
    seen = steadiness(uvi[:, np.newaxis], np.zeros(1)) if len(uvi) >= 2 * BLOCKS else None
    random = by_noise if seen is None else max(by_noise, float(seen.u_mean[0]))
    return RunningValue(
        int(levels.utc_ms[0]),
        int(levels.utc_ms[-1]),
        float(uvi.mean()),
        hypot(common, random),
        random,
        len(uvi),
        flags,
        seen is None or seen.steady,
    )


def compare(
    spot: str,
    running: RunningValue,
    calibration: Calibration,
    reference_uvi: float,
    meter: ReferenceMeter | None,
    resolution_uvi: float,
) -> CheckRecord:
    """Return the check of a running value by a reading; `meter` None: the one it was calibrated with."""
    if running.uvi < _LEAST_UVI or reference_uvi < _LEAST_UVI:
        raise CheckError(
            f"the spot reads UVI {running.uvi:.2f} and the meter {reference_uvi:g}: too little to compare",
            where=spot,
            remedy="Check when the lamp is on and warm, with the sensor uncovered",
        )
    parts = calibration.uncertainty
    known = ReferenceMeter(parts.reference_relative, parts.reference_uvi, resolution_uvi)
    used = known if meter is None else meter
    u_repeat = PLACEMENT_RELATIVE * reference_uvi
    found = spot_check(
        running.uvi,
        running.u_uvi,
        reference_uvi,
        used,
        u_repeat_uvi=u_repeat,
        calibrated_with_it=parts if meter is None else None,
    )
    return CheckRecord(
        spot=spot,
        from_ms=running.from_ms,
        at_ms=running.at_ms,
        reference_uvi=reference_uvi,
        u_reading_uvi=hypot(used.u_resolution_uvi, u_repeat),
        u_meter_uvi=hypot(used.u_relative * reference_uvi, used.u_zero_uvi),
        same_meter=meter is None,
        uvi=running.uvi,
        u_uvi=running.u_uvi,
        u_random_uvi=running.u_random_uvi,
        n=running.n,
        flags=int(running.flags),
        calibration=calibration.identity,
        ratio=found.ratio,
        u_ratio=found.u_ratio,
        e_n=found.e_n,
    )


@dataclass(frozen=True, slots=True)
class Series:
    """What the checks of a spot's present calibration say together.

    `checks` in time order, without withdrawn ones.  `moved` is what has changed from the first to the last
    of them, None with fewer than two; `light` and `sensor` are by how much, last over first, the sensor
    relative to the meter.
    """

    checks: tuple[CheckRecord, ...]
    chart: ControlChart | None
    moved: Moved | None
    light: float | None
    sensor: float | None


def series_of(checks: Sequence[CheckRecord], calibration: str) -> Series:
    """Return the series of the checks that were made with one calibration."""
    counted = tuple(check for check in checks if not check.withdrawn and check.calibration == calibration)
    if not counted:
        return Series((), None, None, None, None)
    chart = chart_of_checks(
        np.array([check.ratio for check in counted]), np.array([check.u_ratio for check in counted])
    )
    if len(counted) < 2:
        return Series(counted, chart, None, None, None)
    first, last = counted[0], counted[-1]
    running = Change(
        last.uvi / first.uvi, hypot(first.u_random_uvi / first.uvi, last.u_random_uvi / last.uvi)
    )
    reference = Change(
        last.reference_uvi / first.reference_uvi,
        hypot(first.u_reading_uvi / first.reference_uvi, last.u_reading_uvi / last.reference_uvi),
    )
    return Series(
        counted, chart, what_moved(running, reference), reference.ratio, running.ratio / reference.ratio
    )


def calibrated_ms(calibration: Calibration, time_zone: str) -> int:
    """Return when a calibration was made: the beginning of that day."""
    return day_bounds(calibration.made_on, time_zone).start_ms


@dataclass(frozen=True, slots=True)
class CheckState:
    """Where a spot stands with its checks.

    `due_ms` is None where none is asked for; `verdict` is the last one's, None before the first.
    """

    due_ms: int | None
    overdue: bool
    verdict: Verdict | None
    last: CheckRecord | None


def check_state(
    checks: Sequence[CheckRecord],
    calibration: Calibration,
    calibrated_ms: int,
    now_ms: int,
    every_days: float = CHECK_EVERY_DAYS,
) -> CheckState:
    """Return when the next check is due, and what the last one said.

    A new calibration counts as a check: it was compared with the meter at `calibrated_ms`.  `every_days` 0
    asks for none.
    """
    counted = [c for c in checks if not c.withdrawn and c.calibration == calibration.identity]
    last = counted[-1] if counted else None
    due_ms = None
    if every_days:
        due_ms = max(calibrated_ms, 0 if last is None else last.at_ms) + round(every_days * DAY_MS)
    return CheckState(
        due_ms,
        overdue=due_ms is not None and now_ms > due_ms + OVERDUE_AFTER_DAYS * DAY_MS,
        verdict=None if last is None else verdict_of(last.e_n),
        last=last,
    )
