"""The end of a spot's day: what is to be told of its dose, its lamp and its calibration."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from exposure.dose_verdict import DoseVerdict, dose_findings, dose_verdict
from exposure.events import Event, EventKind
from exposure.findings import (
    NOTHING_STOOD,
    Finding,
    Findings,
    NotSo,
    Standing,
    corrected,
    settle,
    still_standing,
)
from exposure.lamp_days import LampDay
from exposure.lamp_findings import lamp_findings
from exposure.lamps import LampReport
from exposure.profile import DayProfile
from exposure.rules import RuleSettings


@dataclass(frozen=True, slots=True)
class DayEnd:
    """What the end of a day brings: the events that change, the verdict on the dose, and what is so now.

    `corrected`: of a day that is judged anew, open events that go on and now know better what they say.
    """

    events: tuple[Event, ...]
    dose: DoseVerdict
    standing: Mapping[EventKind, Standing]
    corrected: tuple[Event, ...] = ()


def day_end(
    spot: str,
    profile: DayProfile,
    before: Sequence[DayProfile],
    settings: RuleSettings,
    open_events: Sequence[Event],
    *,
    lamp_days: Sequence[LampDay] = (),
    report: LampReport | None = None,
    calibration_ends: date | None = None,
    stood: Mapping[EventKind, Standing] = NOTHING_STOOD,
    anew_ms: int | None = None,
) -> DayEnd:
    """Judge a day that is over.

    Parameters
    ----------
    profile, before
        The day, and the days before it in order (30 are enough).
    open_events
        The spot's open events in their latest version; only those that change come back.
    lamp_days, report
        The lamp's days since it was last changed, this one the last, and the report on them.
    calibration_ends
        The day after which the sensor's calibration is out of date; None without one.
    stood
        The `standing` of the day before, or of the same day where it is judged anew.
    anew_ms
        When the day is judged anew, for readings of it that came late: what changes by that changes then.

    Notes
    -----
    The same days give the same events, whenever they are judged: nothing is remembered but what is open and
    what stood.
    """
    verdict = dose_verdict(profile, before, settings)
    found = {
        **dose_findings(verdict),
        **(lamp_findings(report, lamp_days, settings, open_events, stood) if report is not None else {}),
        **_calibration_findings(calibration_ends, profile.bounds.date, settings),
    }
    end_ms = profile.bounds.end_ms
    events = settle(spot, end_ms if anew_ms is None else anew_ms, found, open_events, stood)
    known_better = [] if anew_ms is None else corrected(spot, end_ms, found, open_events, events)
    return DayEnd(tuple(events), verdict, still_standing(found, stood), tuple(known_better))


def _calibration_findings(ends: date | None, today: date, settings: RuleSettings) -> Findings:
    if ends is None:
        return {EventKind.CALIBRATION_DUE: NotSo("there is no calibration")}
    left_days = (ends - today).days
    if left_days < 0:
        return {EventKind.CALIBRATION_DUE: NotSo("the calibration has ended")}
    if left_days > settings.calibration_notice_days:
        return {EventKind.CALIBRATION_DUE: NotSo("there is a newer calibration")}
    return {
        EventKind.CALIBRATION_DUE: Finding(
            f"the calibration ends on {ends.isoformat()}, in {left_days} days",
            {"ends": ends.isoformat(), "left_days": left_days},
        )
    }
