"""Above the band, the lamp's times, flicker, a stuck sensor, and what flags say, each by a cause."""

from datetime import date

import numpy as np
import pytest

from calibrate.samples import Flag
from exposure.bands import Band
from exposure.days import local_time_ms
from exposure.events import EventKind, Severity
from exposure.rules import RuleSettings
from exposure.watch import SpotWatch
from exposure.watch_parts import part_of
from tests.exposure.series import T0_MS, every, samples_of

BAND = Band(1.0, 2.0, 2.6)
MINUTE_MS = 60_000
BY_CLOCK = RuleSettings(lit_from_minute=8 * 60, lit_until_minute=20 * 60, time_zone="Europe/Berlin")
MIDNIGHT_MS = local_time_ms(date(2024, 6, 10), 0, "Europe/Berlin")


def stretches(*parts, start_ms=T0_MS, u_uvi=0.1, noise=0.0, flags=0):
    uvi = np.concatenate([np.full(round(minutes * 6), float(level)) for minutes, level in parts])
    uvi = uvi + np.random.default_rng(1).normal(0, noise, len(uvi))
    return every(10, uvi, u_uvi, flags, start_ms=start_ms)


RULES = RuleSettings()


def watch(band=BAND, rules=RULES, **more):
    return SpotWatch("rock", band, rules, **more)


def kinds(events):
    return [(event.kind, event.is_open) for event in events]


# Far over the ceiling, and above the band


def test_twice_the_ceiling_is_an_event_after_twenty_seconds():
    (event,) = watch().observe(stretches((10, 1.5), (0.5, 5.6)))
    assert (event.kind, event.severity) == (EventKind.OVER_CEILING, Severity.NOW)
    assert event.sentence == "far above the ceiling, 5.6 ± 0.2 over 2.6 (k = 2)"
    assert event.evidence["certainty"] == "far"
    assert event.evidence["held_s"] == 20.0


def test_half_an_hour_really_above_the_band_is_an_event_for_today():
    changed = watch().observe(stretches((10, 1.5), (40, 2.4), (10, 1.5)))
    assert kinds(changed) == [
        (EventKind.ABOVE_BAND, True),
        (EventKind.ABOVE_BAND, False),
        (EventKind.BACK_IN_BAND, False),
    ]
    opened = changed[0]
    assert opened.severity == Severity.TODAY
    assert opened.opened_ms == T0_MS + 40 * MINUTE_MS
    assert opened.sentence == "above the band, 2.4 ± 0.2 over 2 (k = 2)"
    assert changed[1].evidence["highest_uvi"] == 2.4


def test_above_the_band_day_after_day_is_one_event():
    day = ((60, 2.4), (60, 0.0))
    changed = watch().observe(stretches(*day * 3, (20, 1.5), (20, 1.5), noise=0.01))
    assert kinds(changed)[:2] == [(EventKind.ABOVE_BAND, True), (EventKind.ABOVE_BAND, False)]
    assert changed[0].opened_ms == T0_MS + 30 * MINUTE_MS


def test_over_the_ceiling_is_not_also_above_the_band():
    changed = watch().observe(stretches((40, 2.4), (60, 3.2), (60, 2.4)))
    assert kinds(changed) == [
        (EventKind.ABOVE_BAND, True),
        (EventKind.OVER_CEILING, True),
        (EventKind.ABOVE_BAND, False),
        (EventKind.OVER_CEILING, False),
        (EventKind.ABOVE_BAND, True),
    ]
    assert changed[2].closing.startswith("over the ceiling now")


def test_where_the_band_reaches_up_to_the_ceiling_there_is_nothing_between():
    assert watch(Band(1.0, 2.6, 2.6)).observe(stretches((300, 2.55), noise=0.01)) == []


# The lamp by the clock


def test_a_lamp_that_goes_out_by_day_is_missed_and_closes_the_event_when_it_is_back():
    day = stretches((480, 0), (300, 1.5), (60, 0), (360, 1.5), (240, 0), start_ms=MIDNIGHT_MS, noise=0.01)
    changed = watch(rules=BY_CLOCK).observe(day)
    assert kinds(changed) == [(EventKind.LAMP_OFF_BY_DAY, True), (EventKind.LAMP_OFF_BY_DAY, False)]
    assert changed[0].opened_ms == MIDNIGHT_MS + (780 + 20) * MINUTE_MS
    assert changed[1].closing == "the lamp is lit"


def test_a_lamp_that_burns_into_the_night_is_told_until_it_is_off():
    day = stretches((480, 0), (840, 1.5), (120, 0), start_ms=MIDNIGHT_MS, noise=0.01)
    changed = watch(rules=BY_CLOCK).observe(day)
    assert kinds(changed) == [(EventKind.LAMP_ON_AT_NIGHT, True), (EventKind.LAMP_ON_AT_NIGHT, False)]
    assert changed[0].opened_ms == MIDNIGHT_MS + (1200 + 20) * MINUTE_MS
    assert changed[1].closing == "the lamp is off"


def test_a_timer_a_quarter_of_an_hour_off_is_no_event():
    day = stretches((495, 0), (720, 1.5), (225, 0), start_ms=MIDNIGHT_MS, noise=0.01)
    assert watch(rules=BY_CLOCK).observe(day) == []


def test_without_a_photoperiod_darkness_and_light_are_nobodys_fault():
    assert watch().observe(stretches((480, 0), (840, 1.5), (120, 0), noise=0.01)) == []


def test_a_retreat_whose_band_begins_at_zero_is_not_watched_for_too_little_but_for_its_lamp():
    changed = watch(Band(0.0, 0.7, 1.4), BY_CLOCK).observe(stretches((1440, 0), start_ms=MIDNIGHT_MS))
    assert kinds(changed) == [(EventKind.LAMP_OFF_BY_DAY, True), (EventKind.LAMP_OFF_BY_DAY, False)]


# Flicker


def test_four_returns_from_dark_in_an_hour_are_flicker_and_an_hour_without_ends_it():
    changed = watch().observe(stretches((60, 1.5), *[(5, 0), (5, 1.5)] * 5, (90, 1.5), noise=0.01))
    assert kinds(changed) == [(EventKind.LAMP_FLICKERS, True), (EventKind.LAMP_FLICKERS, False)]
    opened, closed = changed
    assert opened.sentence == "the lamp went off and came back 4 times within 30 min"
    assert closed.evidence["times_more"] == 1
    assert closed.closed_ms == T0_MS + (60 + 45 + 60) * MINUTE_MS + 10_000
    assert closed.closing == "did not happen again for 60 min"


def test_a_keeper_who_switches_the_lamp_three_times_in_an_hour_is_no_flicker():
    assert watch().observe(stretches((60, 1.5), *[(5, 0), (15, 1.5)] * 3, (90, 1.5), noise=0.01)) == []


def test_a_weak_lamp_whose_noise_reaches_the_dark_level_does_not_flicker():
    assert watch(Band(0.0, 0.7, 1.4)).observe(stretches((600, 0.15), noise=0.04)) == []


def test_what_happens_while_the_board_is_silent_is_not_counted_as_flicker():
    parts = [stretches((5, 1.5), (5, 0), start_ms=T0_MS + n * 15 * MINUTE_MS) for n in range(8)]
    spot = watch()
    assert [event for part in parts for event in spot.observe(part)] == []


# A stuck sensor


def test_six_hours_of_one_value_to_the_last_digit_are_a_stuck_sensor():
    changed = watch().observe(stretches((400, 1.5), (1, 1.51)))
    assert kinds(changed) == [(EventKind.SENSOR_STUCK, True), (EventKind.SENSOR_STUCK, False)]
    assert changed[0].opened_ms == T0_MS + 360 * MINUTE_MS
    assert changed[0].sentence == "the sensor says 1.50 to the last digit for 6.0 h now"
    assert changed[1].closing == "the value moves again"


def test_the_same_dark_all_night_is_not_stuck():
    assert watch().observe(stretches((800, 0.0))) == []


def test_a_coarse_sensor_that_moves_now_and_then_is_not_stuck():
    assert watch().observe(stretches(*[(300, 1.5), (1, 1.53)] * 4)) == []


# What flags say


@pytest.mark.parametrize(
    ("flag", "kind"),
    [
        (Flag.SATURATED, EventKind.SENSOR_SATURATED),
        (Flag.TEMPERATURE, EventKind.SENSOR_TEMPERATURE),
        (Flag.NEGATIVE, EventKind.SENSOR_NEGATIVE),
        (Flag.MISSING, EventKind.SENSOR_WITHOUT_VALUE),
        (Flag.SENSOR_FAULT, EventKind.SENSOR_WITHOUT_VALUE),
        (Flag.UNCALIBRATED, EventKind.CALIBRATION_MISSING),
        (Flag.OTHER_LAMP_KIND, EventKind.CALIBRATION_OTHER_LAMP),
        (Flag.STALE_CALIBRATION, EventKind.CALIBRATION_ENDED),
    ],
)
def test_a_flag_that_stays_for_a_quarter_of_an_hour_is_an_event_until_it_is_gone_for_as_long(flag, kind):
    spot = watch()
    (opened,) = spot.observe(stretches((20, 1.5), flags=flag, noise=0.01))
    assert opened.kind == kind
    assert opened.opened_ms == T0_MS + 15 * MINUTE_MS
    assert opened.evidence["flags"] == flag.name.lower()
    (closed,) = spot.observe(stretches((20, 1.5), start_ms=T0_MS + 20 * MINUTE_MS, noise=0.01))
    assert closed.identity == opened.identity
    assert closed.closed_ms == T0_MS + 35 * MINUTE_MS


def test_a_flag_that_comes_and_goes_is_no_event():
    flags = np.tile(np.repeat([int(Flag.TEMPERATURE), 0], 60), 20)
    assert (
        watch().observe(every(10, np.random.default_rng(2).normal(1.5, 0.01, len(flags)), 0.1, flags)) == []
    )


def test_a_clock_that_is_not_set_and_a_value_out_of_range_are_said_elsewhere():
    flags = Flag.CLOCK_UNSURE | Flag.ABOVE_RANGE | Flag.BELOW_RANGE
    assert watch().observe(stretches((60, 1.5), flags=flags, noise=0.01)) == []


# Together


def test_an_event_closed_by_hand_comes_back_only_when_its_cause_has_gone_and_come_again():
    spot = watch()
    (event,) = spot.observe(stretches((5, 3.0)))
    closed = spot.close(event.identity, T0_MS + 301_000)
    assert (closed.closed_ms, closed.closing) == (T0_MS + 301_000, "by hand")
    assert spot.open_events == ()
    assert spot.close(event.identity, T0_MS + 302_000) is None
    assert spot.acknowledge(event.identity, T0_MS + 302_000) is None
    assert spot.observe(stretches((50, 3.0), (6, 1.5), start_ms=T0_MS + 5 * MINUTE_MS)) == []
    (again,) = spot.observe(stretches((5, 3.0), start_ms=T0_MS + 61 * MINUTE_MS))
    assert again.opened_ms == T0_MS + 62 * MINUTE_MS


@pytest.mark.parametrize(("before", "after"), [(2.7, 3.2), (3.2, 5.8)])
@pytest.mark.parametrize("taken_up", [False, True])
def test_what_is_graver_than_an_event_closed_by_hand_is_a_new_event(before, after, taken_up):
    spot = watch()
    (event,) = spot.observe(stretches((16, before)))
    if taken_up:
        spot = watch(open_events=[event], frontier_ms=T0_MS + 16 * MINUTE_MS - 1)
    spot.close(event.identity, T0_MS + 16 * MINUTE_MS)
    (graver,) = spot.observe(stretches((5, after), start_ms=T0_MS + 16 * MINUTE_MS))
    assert graver.identity != event.identity
    assert (graver.severity, graver.is_open) == (Severity.NOW, True)


def test_a_stuck_sensor_and_a_flickering_lamp_closed_by_hand_are_new_events_only_after_they_were_well():
    spot = watch()
    flicker = [(1, 0.0), (1, 1.5)]
    opened = spot.observe(stretches((400, 1.5), *flicker * 4))
    assert [event.kind for event in opened if event.is_open] == [
        EventKind.SENSOR_STUCK,
        EventKind.LAMP_FLICKERS,
    ]
    (flickers,) = spot.open_events
    spot.close(flickers.identity, T0_MS + 408 * MINUTE_MS)
    on = T0_MS + 408 * MINUTE_MS
    assert spot.observe(stretches(*flicker * 30, start_ms=on)) == []
    later = spot.observe(stretches((400, 1.5), start_ms=on + 60 * MINUTE_MS))
    assert kinds(later) == [(EventKind.SENSOR_STUCK, True)]
    spot.close(later[0].identity, on + 460 * MINUTE_MS)
    after = stretches((400, 1.5), *flicker * 4, start_ms=on + 460 * MINUTE_MS)
    assert kinds(spot.observe(after)) == [(EventKind.LAMP_FLICKERS, True)]


def test_a_ceiling_closed_by_hand_hides_what_is_above_the_band_only_while_it_is_passed():
    after = stretches((5, 3.5), (10, 1.5), (40, 2.3), start_ms=T0_MS + 10 * MINUTE_MS)

    def follow(*, one_by_one):
        spot = watch(BAND)
        (event,) = spot.observe(stretches((10, 3.5)))
        spot.close(event.identity, event.opened_ms)
        if not one_by_one:
            return spot.observe(after)
        parts = (part_of(after, at, at + 1) for at in range(len(after)))
        return [event for part in parts for event in spot.observe(part)]

    (event,) = follow(one_by_one=True)
    assert (event.kind, event.opened_ms) == (EventKind.ABOVE_BAND, T0_MS + 55 * MINUTE_MS)
    assert follow(one_by_one=False) == [event]


def test_a_ceiling_passed_is_told_anew_after_a_silence_of_over_an_hour():
    spot = watch(BAND)
    (event,) = spot.observe(stretches((5, 3.5)))
    spot.close(event.identity, event.opened_ms)
    soon_ms, late_ms = T0_MS + 60 * MINUTE_MS, T0_MS + 180 * MINUTE_MS
    assert spot.observe(stretches((5, 3.5), start_ms=soon_ms)) == []
    (again,) = spot.observe(stretches((5, 3.5), start_ms=late_ms))
    assert (again.kind, again.opened_ms) == (EventKind.OVER_CEILING, late_ms + MINUTE_MS)


def test_a_watch_that_takes_up_flicker_waits_its_hour_before_it_calls_it_over():
    flicker = [(1, 0.0), (1, 1.5)]
    opened = watch().observe(stretches((100, 1.5), *flicker * 4))
    again_ms = T0_MS + 700 * MINUTE_MS
    later = watch(open_events=opened, frontier_ms=again_ms)
    lit = stretches((59, 1.5), (10, 1.6), start_ms=again_ms + 1000)
    (closed,) = later.observe(lit)
    assert (closed.kind, closed.closed_ms) == (EventKind.LAMP_FLICKERS, again_ms + 1000 + 60 * MINUTE_MS)


def test_a_stuck_sensor_is_not_well_because_the_watch_was_away_for_a_moment():
    (event,) = watch().observe(stretches((370, 1.5)))
    at_ms = T0_MS + 370 * MINUTE_MS
    later = watch(open_events=(event,), frontier_ms=at_ms - 1000)
    assert later.observe(stretches((30, 1.5), start_ms=at_ms + 20_000)) == []
    assert later.open_events == (event,)
    (closed,) = later.observe(stretches((1, 1.6), start_ms=at_ms + 31 * MINUTE_MS))
    assert closed.closing == "the value moves again"


def test_a_flag_of_which_the_calibration_has_taken_care_is_no_event_and_ends_one():
    flagged = stretches((20, 1.5), flags=Flag.OTHER_LAMP_KIND | Flag.SATURATED, noise=0.01)
    spot = watch(corrected=Flag.OTHER_LAMP_KIND)
    assert kinds(spot.observe(flagged)) == [(EventKind.SENSOR_SATURATED, True)]
    (earlier, _) = watch().observe(flagged)[::-1]
    spot = watch(corrected=Flag.OTHER_LAMP_KIND, open_events=[earlier])
    closed = [event for event in spot.observe(flagged) if not event.is_open]
    assert kinds(closed) == [(EventKind.CALIBRATION_OTHER_LAMP, False)]


def test_a_step_of_the_clock_moves_every_watch_along():
    samples = stretches((60, 1.5), *[(5, 0), (5, 1.5)] * 5, (20, 3.2), (400, 1.5))
    whole = kinds(watch().observe(samples))
    assert {kind for kind, _ in whole} >= {EventKind.LAMP_FLICKERS, EventKind.SENSOR_STUCK}
    for at in (1, 400, 500, 700, 720, 900, 3000):
        spot = watch()
        early, late = samples.between(0, T0_MS + at * 10_000), samples.between(T0_MS + at * 10_000, 1 << 60)
        before = spot.observe(early)
        spot.restamp(-7_200_000, [event.moved(-7_200_000) for event in spot.open_events])
        after = spot.observe(samples_of(late.utc_ms - 7_200_000, late.uvi, late.u_uvi))
        assert kinds(before + after) == whole
