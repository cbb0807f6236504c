"""Whether a day gave too little or too much, or whether that cannot be told."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from exposure.days import HOUR_MS, local_time_ms
from exposure.events import EventKind, EvidenceValue
from exposure.findings import Finding, Findings, NotSo
from exposure.normal import normal_cdf
from exposure.profile import DayProfile
from exposure.rules import RuleSettings
from exposure.usual import LEAST_COVERAGE, USUAL_DAYS, Usual, usual_of

# Nobody's days are alike to better than this: it keeps a very regular spot from being told of trifles.
_LEAST_SCATTER_PART: Final = 0.05
# Nor does the little that a dark spot gives mean anything.
_LEAST_DOUBT_UVI_H: Final = 0.1


class DoseState(StrEnum):
    """What can be said of a day's dose."""

    LOW = "low"
    HIGH = "high"
    USUAL = "usual"
    CANNOT_TELL = "cannot_tell"


@dataclass(frozen=True, slots=True)
class DoseVerdict:
    """What can be said of a day's dose, and why.

    `probability` is that of the dose being what `state` says (under the least, over the greatest, or
    between), None where it cannot be told.  `light_coverage` is the part of the day's light that was seen.
    """

    state: DoseState
    sentence: str
    light_coverage: float
    probability: float | None
    evidence: dict[str, EvidenceValue]


def dose_verdict(profile: DayProfile, before: Sequence[DayProfile], settings: RuleSettings) -> DoseVerdict:
    """Return the verdict on a day.

    Parameters
    ----------
    profile
        The day, when it is over.
    before
        The days before it, in order; the last 30 tell what is usual.
    settings
        `dose_…`, `k`, and the photoperiod where there is one.

    Notes
    -----
    The true dose lies between what was seen and that plus the unseen hours of light at the day's mean, or
    its usual mean if that is more.  Too little is said only if even the upper of these is too little, too
    much only if the lower one is too much: by k standard uncertainties if the keeper has typed a limit; by
    k times the scatter of the usual days if not, because what the calibration gets wrong it gets wrong on
    all days alike.
    """
    usual_days = [each for each in before[-USUAL_DAYS:] if each.coverage >= LEAST_COVERAGE]
    usual = usual_of([each.dose_uvi_h for each in usual_days])
    low_uvi_h, high_uvi_h = _limits(usual, settings)
    coverage, unseen_hours = _light_seen(profile, settings)
    evidence: dict[str, EvidenceValue] = {
        "date": profile.bounds.date.isoformat(),
        "dose_uvi_h": profile.dose_uvi_h,
        "u_dose_uvi_h": profile.u_dose_uvi_h,
        "usual_uvi_h": usual.median if usual else None,
        "least_uvi_h": low_uvi_h,
        "greatest_uvi_h": high_uvi_h,
        "light_coverage": round(coverage, 3),
    }

    def verdict(state: DoseState, words: str, probability: float | None = None) -> DoseVerdict:
        return DoseVerdict(state, words, coverage, probability, {**evidence, "probability": probability})

    if profile.dose_uvi_h is None or profile.u_dose_uvi_h is None:
        return verdict(DoseState.CANNOT_TELL, "cannot tell the day's dose: nothing of it was seen")
    if low_uvi_h is None and high_uvi_h is None:
        return verdict(
            DoseState.CANNOT_TELL, "cannot tell whether the day's dose is usual: too few days were seen well"
        )
    seen_uvi_h = profile.dose_uvi_h
    mean_uvi = max([each.mean_uvi_lit or 0.0 for each in (*usual_days[-7:], profile)])
    most_uvi_h = seen_uvi_h + unseen_hours * mean_uvi
    u_low, u_high = _doubts(profile.u_dose_uvi_h, usual, settings)
    text = _dose_text(profile, settings)

    if high_uvi_h is not None and seen_uvi_h - settings.k * u_high > high_uvi_h:
        words = f"much dose, {text} over {high_uvi_h:.1f}{_of_usual(usual, settings.dose_high_uvi_h)}"
        return verdict(DoseState.HIGH, words, _probability((seen_uvi_h - high_uvi_h) / u_high))
    if low_uvi_h is not None and not profile.at_least and most_uvi_h + settings.k * u_low < low_uvi_h:
        words = f"little dose, {text} under {low_uvi_h:.1f}{_of_usual(usual, settings.dose_low_uvi_h)}"
        return verdict(DoseState.LOW, words, _probability((low_uvi_h - most_uvi_h) / u_low))
    if coverage < settings.dose_coverage:
        return verdict(
            DoseState.CANNOT_TELL,
            f"cannot tell the day's dose: at least {text}, but only {100 * coverage:.0f} % of its light "
            "was seen",
        )
    if profile.at_least and low_uvi_h is not None and most_uvi_h < low_uvi_h:
        return verdict(
            DoseState.CANNOT_TELL, f"cannot tell the day's dose: at least {text}, with the sensor at its top"
        )
    within = 1.0
    if low_uvi_h is not None:
        within -= _probability((low_uvi_h - most_uvi_h) / u_low)
    if high_uvi_h is not None:
        within -= _probability((seen_uvi_h - high_uvi_h) / u_high)
    return verdict(DoseState.USUAL, f"dose {text}", max(0.0, within))


def dose_findings(verdict: DoseVerdict) -> Findings:
    """Return the events' findings of a verdict; none where it cannot be told."""
    if verdict.state is DoseState.CANNOT_TELL:
        return {}
    states = {EventKind.DOSE_LOW: DoseState.LOW, EventKind.DOSE_HIGH: DoseState.HIGH}
    return {
        kind: Finding(verdict.sentence, verdict.evidence)
        if verdict.state is state
        else NotSo(f"a day that is not so, {verdict.sentence}")
        for kind, state in states.items()
    }


def _limits(usual: Usual | None, settings: RuleSettings) -> tuple[float | None, float | None]:
    low_uvi_h, high_uvi_h = settings.dose_low_uvi_h, settings.dose_high_uvi_h
    if usual is not None:
        low_uvi_h = settings.dose_low_part * usual.median if low_uvi_h is None else low_uvi_h
        high_uvi_h = settings.dose_high_part * usual.median if high_uvi_h is None else high_uvi_h
    return low_uvi_h, high_uvi_h


def _doubts(u_dose_uvi_h: float, usual: Usual | None, settings: RuleSettings) -> tuple[float, float]:
    """Return by what a dose is in doubt against the least and against the greatest."""
    usual_u = _LEAST_DOUBT_UVI_H
    if usual is not None:
        usual_u = max(usual_u, usual.scatter, _LEAST_SCATTER_PART * usual.median)
    typed_u = max(u_dose_uvi_h, 1e-9)
    return (
        usual_u if settings.dose_low_uvi_h is None else typed_u,
        usual_u if settings.dose_high_uvi_h is None else typed_u,
    )


def _light_seen(profile: DayProfile, settings: RuleSettings) -> tuple[float, float]:
    """Return which part of the time for light was seen, and how many hours of it were not."""
    bounds, spans = profile.bounds, [(profile.bounds.start_ms, profile.bounds.end_ms)]
    if settings.lit_from_minute is not None and settings.lit_until_minute is not None:
        first_ms, last_ms = (
            local_time_ms(bounds.date, minute, bounds.time_zone)
            for minute in (settings.lit_from_minute, settings.lit_until_minute)
        )
        over_midnight = last_ms < first_ms
        spans = (
            [(bounds.start_ms, last_ms), (first_ms, bounds.end_ms)]
            if over_midnight
            else [(first_ms, last_ms)]
        )
    whole_ms = sum(end_ms - start_ms for start_ms, end_ms in spans)
    unseen_ms = sum(
        max(0, min(gap.end_ms, end_ms) - max(gap.start_ms, start_ms))
        for gap in profile.gaps
        for start_ms, end_ms in spans
    )
    return (1 - unseen_ms / whole_ms if whole_ms else 1.0), unseen_ms / HOUR_MS


def _dose_text(profile: DayProfile, settings: RuleSettings) -> str:
    assert profile.dose_uvi_h is not None
    assert profile.u_dose_uvi_h is not None
    return f"{profile.dose_uvi_h:.1f} ± {settings.k * profile.u_dose_uvi_h:.1f} UVI·h (k = {settings.k:g})"


def _of_usual(usual: Usual | None, typed: float | None) -> str:
    return "" if usual is None or typed is not None else f", where {usual.median:.1f} is usual"


def _probability(z: float) -> float:
    return round(float(normal_cdf(np.array([z]))[0]), 4)
