"""The dose, the lamp and the calibration at the end of a day."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from exposure.bands import Band
from exposure.day_end import day_end
from exposure.days import day_bounds
from exposure.dose_verdict import DoseState, dose_verdict
from exposure.events import EventKind, Severity
from exposure.findings import Finding, NotSo, settle, still_standing
from exposure.lamp_days import LampDay
from exposure.lamp_findings import lamp_findings
from exposure.lamps import lamp_report
from exposure.profile import day_profile
from exposure.rules import RuleSettings
from tests.exposure.series import samples_of

BAND = Band(1.0, 2.6, 2.9)
FIRST = date(2024, 3, 1)
RULES = RuleSettings(lit_from_minute=480, lit_until_minute=1200)
PLAIN = RuleSettings()


def day(number=0, *, uvi=2.0, hours=12.0, seen=lambda minute: minute >= 0, u_uvi=0.1, flags=0):
    """Return the profile of a day lit from 08:00 for `hours`, sampled by the minute where it was seen."""
    bounds = day_bounds(FIRST + timedelta(days=number), "UTC")
    minute = np.arange(1441)
    level = np.where((minute >= 480) & (minute < 480 + 60 * hours), uvi, 0.0)
    kept = seen(minute)
    at_ms = bounds.start_ms + minute[kept] * 60_000
    return day_profile(samples_of(at_ms, level[kept], u_uvi, flags), BAND, bounds, max_gap_s=150)


USUAL = [day(n, uvi=uvi) for n, uvi in enumerate([2.0, 2.05, 1.95, 2.02, 1.98, 2.01, 2.0, 1.99])]


# Dose


def test_a_day_like_the_others_is_usual():
    verdict = dose_verdict(day(8), USUAL, RULES)
    assert verdict.state == DoseState.USUAL
    assert verdict.probability > 0.99
    assert verdict.light_coverage == 1.0


def test_half_a_day_of_light_is_little_and_says_beside_what():
    verdict = dose_verdict(day(8, hours=5), USUAL, RULES)
    assert verdict.state == DoseState.LOW
    assert verdict.sentence.startswith(
        "little dose, 10.0 ± 4.8 UVI·h (k = 2) under 14.4, where 24.0 is usual"
    )
    assert verdict.evidence["probability"] > 0.99
    assert verdict.evidence["date"] == "2024-03-09"


def test_twice_the_light_is_much():
    assert dose_verdict(day(8, uvi=4.0), USUAL, RULES).state == DoseState.HIGH


@pytest.mark.parametrize("rules", [RULES, PLAIN])
def test_what_was_not_seen_may_have_been_light_so_little_cannot_be_told(rules):
    half_seen = day(8, seen=lambda minute: minute < 780)
    verdict = dose_verdict(half_seen, USUAL, rules)
    assert verdict.state == DoseState.CANNOT_TELL
    assert "% of its light was seen" in verdict.sentence
    assert verdict.probability is None


def test_a_gap_in_the_night_hides_no_light_of_a_known_photoperiod():
    verdict = dose_verdict(day(8, hours=5, seen=lambda minute: minute > 300), USUAL, RULES)
    assert verdict.state == DoseState.LOW
    assert verdict.light_coverage == 1.0


def test_much_can_be_told_of_half_a_day():
    half_seen = day(8, uvi=8.0, seen=lambda minute: minute < 900)
    assert dose_verdict(half_seen, USUAL, RULES).state == DoseState.HIGH


def test_a_limit_that_the_keeper_typed_counts_by_the_doses_own_uncertainty():
    rules = replace(RULES, dose_low_uvi_h=23.0)
    assert dose_verdict(day(8, uvi=1.9), USUAL, rules).state == DoseState.USUAL  # 22.8 ± 2.4
    assert dose_verdict(day(8, uvi=1.9, u_uvi=0.003), USUAL, rules).state == DoseState.LOW
    assert dose_verdict(day(0, uvi=1.0), [], replace(RULES, dose_low_uvi_h=20.0)).state == DoseState.LOW


def test_without_days_to_compare_with_it_cannot_be_told():
    verdict = dose_verdict(day(3), USUAL[:3], RULES)
    assert verdict.state == DoseState.CANNOT_TELL
    assert "too few days" in verdict.sentence


def test_a_saturated_day_is_never_little():
    from calibrate.samples import Flag

    assert dose_verdict(day(8, hours=5, flags=Flag.SATURATED), USUAL, RULES).state == DoseState.CANNOT_TELL


def test_a_spot_that_is_dark_on_all_days_is_not_told_of_its_noise():
    dark = [day(n, uvi=0.0) for n in range(8)]
    assert dose_verdict(day(8, uvi=0.003), dark, RULES).state == DoseState.USUAL


def test_dose_events_open_at_the_end_of_the_day_and_close_with_the_first_day_that_is_not_so():
    low = day_end("rock", day(8, hours=5), USUAL, RULES, [])
    (event,) = low.events
    assert (event.kind, event.subject) == (EventKind.DOSE_LOW, "rock")
    assert event.opened_ms == day(8).bounds.end_ms
    unknown = day_end("rock", day(9, seen=lambda minute: minute < 500), USUAL, RULES, [event])
    assert unknown.events == ()
    (closed,) = day_end("rock", day(10), USUAL, RULES, [event]).events
    assert closed.identity == event.identity
    assert closed.closed_ms == day(10).bounds.end_ms


# Lamps


def days_of(levels, *, ramps=None, first=FIRST):
    ramps = [5.0] * len(levels) if ramps is None else ramps
    return [
        LampDay(first + timedelta(days=n), 1.0, 12.0, 1, float(level), 0.1, ramp)
        for n, (level, ramp) in enumerate(zip(levels, ramps, strict=True))
    ]


def found(levels, opened=(), **more):
    days = days_of(levels, **more)
    return lamp_findings(lamp_report(days, BAND), days, PLAIN, opened)


def noisy(levels, seed=0, scatter=0.01):
    return np.asarray(levels) * np.exp(np.random.default_rng(seed).normal(0, scatter, len(levels)))


def opened(kind, finding, on):
    (event,) = settle("rock", day_bounds(on, "UTC").end_ms, {kind: finding}, [])
    return event


def test_a_lamp_that_fades_out_of_its_band_within_weeks_is_told_with_its_dates():
    finding = found(noisy(1.35 * 0.98 ** (np.arange(65) / 7)))[EventKind.LAMP_FADING]
    assert isinstance(finding, Finding)
    assert finding.severity == Severity.NOTE
    assert finding.evidence["limit"] == "low"
    assert finding.evidence["earliest"] <= finding.evidence["expected"]
    assert finding.sentence.startswith("the lamp fades by 1.9 % a week (1.6 to 2.2)")


def test_a_lamp_that_leaves_its_band_within_two_weeks_is_for_today():
    finding = found(noisy(1.3 * 0.98 ** (np.arange(85) / 7)))[EventKind.LAMP_FADING]
    assert finding.severity == Severity.TODAY


def test_a_lamp_that_fades_far_above_the_foot_of_its_band_is_not_told_yet():
    assert isinstance(found(noisy(2.5 * 0.99 ** (np.arange(60) / 7)))[EventKind.LAMP_FADING], NotSo)


def test_a_rising_lamp_is_told_before_it_leaves_its_band():
    finding = found(noisy(2.0 * 1.02 ** (np.arange(80) / 7)))[EventKind.LAMP_RISING]
    assert isinstance(finding, Finding)
    assert finding.evidence["limit"] == "high"
    assert "leave the band upwards" in finding.sentence


def test_a_steady_lamp_is_not_told():
    assert all(isinstance(each, NotSo) for each in found(noisy(np.full(120, 1.6))).values())


def test_a_burning_in_lamp_gets_no_verdict_and_leaves_open_events_alone():
    assert EventKind.LAMP_FADING not in found(noisy(np.full(5, 1.6)))


def test_a_changed_lamp_closes_what_was_told_of_the_old_one():
    finding = found(noisy(1.5 * 0.98 ** (np.arange(90) / 7)))[EventKind.LAMP_FADING]
    event = opened(EventKind.LAMP_FADING, finding, FIRST + timedelta(days=89))
    later = found(noisy(np.full(4, 2.0)), [event], first=FIRST + timedelta(days=95))
    assert later[EventKind.LAMP_FADING] == NotSo("the lamp was changed since")


def test_a_step_is_told_once_and_for_three_weeks():
    levels = noisy(np.concatenate([np.full(40, 2.0), np.full(60, 1.6)]))
    first = {n: found(levels[:n]).get(EventKind.LEVEL_STEPPED) for n in range(40, 100)}
    told = [n for n, finding in first.items() if isinstance(finding, Finding)]
    assert 43 <= told[0] <= 48
    assert told[-1] <= 63
    finding = first[told[0]]
    assert finding.sentence.startswith("the level fell by 2")
    event = opened(EventKind.LEVEL_STEPPED, finding, FIRST + timedelta(days=told[0]))
    for n in range(told[0] + 1, told[-1] + 1):  # the same one, though its day may be found a little elsewhere
        again = found(levels[:n], [event])[EventKind.LEVEL_STEPPED]
        assert settle("rock", event.opened_ms + n, {EventKind.LEVEL_STEPPED: again}, [event]) == []


def test_two_slow_mornings_are_told_and_a_quick_one_ends_it():
    ramps = [8.0] * 20 + [25.0] * 4
    levels = noisy(np.full(24, 1.6))
    assert isinstance(found(levels[:21], ramps=ramps[:21])[EventKind.LAMP_WARMS_UP_SLOWLY], NotSo)
    finding = found(levels[:22], ramps=ramps[:22])[EventKind.LAMP_WARMS_UP_SLOWLY]
    assert finding.sentence == "the lamp takes 25 min to come up to strength, where 8 min are usual"
    event = opened(EventKind.LAMP_WARMS_UP_SLOWLY, finding, FIRST + timedelta(days=21))
    still = found(levels, [event], ramps=ramps)[EventKind.LAMP_WARMS_UP_SLOWLY]
    assert isinstance(still, Finding)
    over = found(levels, [event], ramps=[*ramps[:-1], 9.0])[EventKind.LAMP_WARMS_UP_SLOWLY]
    assert over == NotSo("up to strength within 9 min")


def test_a_day_whose_morning_was_not_seen_says_nothing_of_slowness():
    assert EventKind.LAMP_WARMS_UP_SLOWLY not in found(np.full(20, 1.6), ramps=[8.0] * 19 + [None])


# Calibration, and how findings become events


def test_a_calibration_is_due_a_month_before_its_end_until_it_is_renewed_or_ended():
    ends = FIRST + timedelta(days=40)
    assert day_end("rock", day(9), USUAL, RULES, [], calibration_ends=ends).events == ()
    (event,) = day_end("rock", day(10), USUAL, RULES, [], calibration_ends=ends).events
    assert event.kind == EventKind.CALIBRATION_DUE
    assert event.sentence == "the calibration ends on 2024-04-10, in 30 days"
    assert day_end("rock", day(11), USUAL, RULES, [event], calibration_ends=ends).events == ()
    renewed = day_end("rock", day(11), USUAL, RULES, [event], calibration_ends=ends + timedelta(days=365))
    assert [each.closing for each in renewed.events] == ["there is a newer calibration"]
    ended = day_end("rock", day(41), USUAL, RULES, [event], calibration_ends=ends)
    assert [each.closing for each in ended.events] == ["the calibration has ended"]


def test_a_finding_that_becomes_graver_is_the_same_event_to_be_seen_anew():
    (event,) = settle("rock", 1, {EventKind.LAMP_FADING: Finding("slowly", {}, Severity.NOTE)}, [])
    seen = event.acknowledged(2)
    assert settle("rock", 3, {EventKind.LAMP_FADING: Finding("slowly", {}, Severity.NOTE)}, [seen]) == []
    (graver,) = settle("rock", 4, {EventKind.LAMP_FADING: Finding("soon", {}, Severity.TODAY)}, [seen])
    assert (graver.identity, graver.opened_ms) == (event.identity, event.opened_ms)
    assert (graver.severity, graver.acknowledged_ms) == (Severity.TODAY, None)
    assert settle("rock", 5, {EventKind.LAMP_FADING: Finding("later", {}, Severity.NOTE)}, [graver]) == []


def test_another_cause_of_the_same_kind_is_another_event():
    (event,) = settle("rock", 1, {EventKind.LEVEL_STEPPED: Finding("a", {}, about="2024-03-01")}, [])
    closed, fresh = settle(
        "rock", 2, {EventKind.LEVEL_STEPPED: Finding("b", {}, about="2024-03-20")}, [event]
    )
    assert (closed.identity, closed.closed_ms) == (event.identity, 2)
    assert fresh.is_open


def test_what_was_not_judged_and_what_is_another_spots_stays_as_it_is():
    (event,) = settle("rock", 1, {EventKind.DOSE_LOW: Finding("a", {})}, [])
    assert settle("rock", 2, {}, [event]) == []
    assert settle("cave", 2, {EventKind.DOSE_LOW: NotSo("b")}, [event]) == []


def test_what_stood_and_was_closed_by_hand_is_told_again_only_graver_or_after_it_has_gone():
    def judged(number, stood, **how):
        return day_end("rock", day(number, **how), USUAL, RULES, [], stood=stood)

    first = judged(8, {}, hours=5)
    assert [event.kind for event in first.events] == [EventKind.DOSE_LOW]
    again = judged(9, first.standing, hours=5)  # nothing is open: somebody closed it
    assert again.events == ()
    assert again.standing == first.standing
    unknown = judged(10, again.standing, seen=lambda minute: minute < 500)
    assert unknown.standing == again.standing
    gone = judged(11, unknown.standing)
    assert EventKind.DOSE_LOW not in gone.standing
    assert [event.kind for event in judged(12, gone.standing, hours=5).events] == [EventKind.DOSE_LOW]


def test_what_grows_graver_than_it_ever_stood_is_told_though_it_was_closed_by_hand():
    kind = EventKind.LAMP_FADING
    note, today = Finding("a", {}, Severity.NOTE), Finding("b", {}, Severity.TODAY)
    stood = still_standing({kind: note})
    assert settle("rock", 1, {kind: note}, [], stood) == []
    (event,) = settle("rock", 2, {kind: today}, [], stood)
    assert event.severity is Severity.TODAY
    stood = still_standing({kind: today}, stood)
    stood = still_standing({kind: note}, stood)
    assert settle("rock", 3, {kind: today}, [], stood) == []
    other = Finding("c", {}, Severity.NOTE, about="another")
    assert len(settle("rock", 4, {kind: other}, [], stood)) == 1
