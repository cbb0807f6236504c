from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibrate.samples import Flag, Samples
from exposure.bands import Band
from exposure.days import local_time_ms
from exposure.events import EventKind, Severity
from exposure.rules import RuleError, RuleSettings
from exposure.watch import SpotWatch
from tests.exposure.series import T0_MS, every, samples_of

BAND = Band(1.0, 2.6, 2.6)
RULES = RuleSettings()


def stretches(*parts, cadence_s=10, u_uvi=0.1, start_ms=T0_MS):
    """Samples of (minutes, UVI) parts, one after the other."""
    uvi = np.concatenate([np.full(round(minutes * 60 / cadence_s), level) for minutes, level in parts])
    return every(cadence_s, uvi, u_uvi, start_ms=start_ms)


def watch(band=BAND, rules=RULES, **more):
    return SpotWatch("rock", band, rules, **more)


def kinds(events):
    return [(event.kind, event.is_open) for event in events]


# Over the ceiling


def test_really_over_the_ceiling_for_a_minute_is_an_event_for_now():
    (event,) = watch().observe(stretches((10, 2.0), (5, 2.9)))
    assert (event.kind, event.severity) == (EventKind.OVER_CEILING, Severity.NOW)
    assert event.sentence == "above the ceiling, 2.9 ± 0.2 over 2.6 (k = 2)"
    assert event.opened_ms == T0_MS + 11 * 60_000
    assert event.identity == f"over_ceiling.rock.{event.opened_ms}"
    assert (event.subject_kind, event.subject) == ("spot", "rock")
    assert event.evidence["uvi"] == 2.9
    assert event.evidence["u_uvi"] == 0.1
    assert event.evidence["k"] == 2.0
    assert event.evidence["limit_uvi"] == 2.6
    assert event.evidence["held_s"] == 60.0
    assert event.evidence["since_ms"] == T0_MS + 600_000
    assert event.evidence["certainty"] == "really"
    assert event.evidence["at_least"] is False


def test_a_passing_flash_is_no_event():
    assert watch().observe(stretches((10, 2.0), (0.8, 4.9), (30, 2.0))) == []
    assert watch().observe(stretches((10, 2.0), (0.3, 9.0), (30, 2.0))) == []


def test_over_by_less_than_the_doubt_is_not_really_over():
    # 2.75 - 2 × 0.1 = 2.55, under 2.6
    assert watch().observe(stretches((10, 2.0), (14, 2.75))) == []


def test_a_quarter_of_an_hour_over_by_the_best_estimate_is_an_event_for_today():
    (event,) = watch().observe(stretches((10, 2.0), (16, 2.75)))
    assert (event.kind, event.severity) == (EventKind.OVER_CEILING, Severity.TODAY)
    assert event.sentence == "probably above the ceiling, 2.8 ± 0.2 over 2.6 (k = 2)"
    assert event.evidence["held_s"] == 900.0
    assert event.evidence["certainty"] == "probably"


def test_what_was_probable_and_becomes_sure_is_the_same_event_now_urgent_and_to_be_seen_again():
    spot = watch()
    (probable,) = spot.observe(stretches((20, 2.75)))
    seen = spot.acknowledge(probable.identity, T0_MS + 1_300_000)
    assert seen.acknowledged_ms == T0_MS + 1_300_000
    (sure,) = spot.observe(stretches((5, 3.2), start_ms=T0_MS + 1_200_000))
    assert sure.identity == probable.identity
    assert sure.severity == Severity.NOW
    assert sure.sentence.startswith("above the ceiling, 3.2")
    assert sure.acknowledged_ms is None
    assert sure.evidence["highest_uvi"] == 3.2


def test_it_closes_when_the_uvi_has_been_back_for_five_minutes_and_says_how_high_it_went():
    changed = watch().observe(stretches((5, 2.9), (5, 3.4), (10, 2.0)))
    assert kinds(changed) == [
        (EventKind.OVER_CEILING, True),
        (EventKind.OVER_CEILING, False),
        (EventKind.BACK_IN_BAND, False),
    ]
    opened, closed, back = changed
    assert closed.identity == opened.identity
    assert closed.closed_ms == T0_MS + 15 * 60_000
    assert closed.closing == "back under the ceiling, 2.0 ± 0.2 (k = 2)"
    assert closed.evidence["highest_uvi"] == 3.4
    assert closed.evidence["highest_ms"] == T0_MS + 300_000
    assert closed.evidence["lasted_s"] == 540.0
    assert back.severity == Severity.NOTE
    assert back.opened_ms == back.closed_ms == closed.closed_ms
    assert back.sentence == "back in the band, 2.0 ± 0.2 in 1 to 2.6 (k = 2), after 9 min above the ceiling"
    assert back.evidence["after"] == opened.identity


def test_hovering_about_the_ceiling_opens_one_event_and_does_not_flap():
    uvi = 2.6 + np.tile(np.repeat([0.35, -0.05], 30), 40)  # five minutes over, five just under: not beyond u
    changed = watch().observe(every(10, uvi, 0.1))
    assert kinds(changed) == [(EventKind.OVER_CEILING, True)]


def test_a_lamp_that_goes_off_closes_it_without_claiming_to_be_back_in_the_band():
    changed = watch().observe(stretches((10, 3.2), (20, 0.0)))
    assert kinds(changed) == [(EventKind.OVER_CEILING, True), (EventKind.OVER_CEILING, False)]


def test_under_the_ceiling_but_over_the_band_is_not_back_in_the_band():
    changed = watch(Band(1.0, 2.0, 2.6)).observe(stretches((10, 3.2), (20, 2.3)))
    assert kinds(changed) == [(EventKind.OVER_CEILING, True), (EventKind.OVER_CEILING, False)]


@pytest.mark.parametrize("flag", [Flag.SATURATED, Flag.ABOVE_RANGE])
def test_a_saturated_sensor_can_open_it_and_says_at_least(flag):
    (event,) = watch().observe(every(10, np.full(30, 3.0), 0.1, flag))
    assert event.sentence == "above the ceiling, at least 3.0 ± 0.2 over 2.6 (k = 2)"
    assert event.evidence["at_least"] is True
    assert event.evidence["flags"] == flag.name.lower()


@pytest.mark.parametrize("flag", [Flag.SATURATED, Flag.ABOVE_RANGE])
def test_a_saturated_sensor_cannot_close_it(flag):
    spot = watch()
    assert len(spot.observe(stretches((10, 3.2)))) == 1
    spot.observe(every(10, np.full(360, 2.0), 0.1, flag, start_ms=T0_MS + 600_000))
    assert spot.open_events[0].kind == EventKind.OVER_CEILING


@pytest.mark.parametrize("flag", [Flag.UNCALIBRATED, Flag.MISSING, Flag.SENSOR_FAULT])
def test_samples_without_a_value_neither_open_nor_close(flag):
    spot = watch()
    assert spot.observe(every(10, np.full(80, 9.0), 0.1, flag)) == []
    assert len(spot.observe(stretches((10, 3.2), start_ms=T0_MS + 800_000))) == 1
    assert spot.observe(every(10, np.full(80, np.nan), np.nan, flag, start_ms=T0_MS + 1_400_000)) == []
    assert len(spot.open_events) == 1


def test_a_hold_does_not_run_across_a_gap():
    over_ms = np.array([0, 10, 20, 30, 40, 50, 111, 121, 131, 141, 151, 161]) * 1000
    assert watch().observe(samples_of(T0_MS + over_ms, 3.2, 0.1)) == []
    assert len(watch().observe(samples_of(T0_MS + np.append(over_ms, 171_000), 3.2, 0.1))) == 1


def test_a_board_slower_than_the_longest_gap_needs_its_own_setting():
    slow = every(120, np.full(30, 3.2), 0.1)
    assert watch().observe(slow) == []
    assert len(watch(rules=RuleSettings(max_gap_s=300)).observe(slow)) == 1


# Under the band


def test_really_under_the_band_for_a_quarter_of_an_hour_once_warm_is_an_event_for_today():
    (event,) = watch().observe(stretches((10, 0.0), (60, 0.5)))
    assert (event.kind, event.severity) == (EventKind.UNDER_BAND, Severity.TODAY)
    assert event.sentence == "below the band, 0.5 ± 0.2 under 1 (k = 2)"
    assert event.opened_ms == T0_MS + (10 + 30 + 15) * 60_000


def test_a_lamp_may_warm_up_for_half_an_hour():
    assert watch().observe(stretches((10, 0.0), (29, 0.4), (60, 1.5))) == []


def test_the_night_is_not_under_the_band():
    assert watch().observe(stretches((60, 1.5), (600, 0.0), (60, 1.5))) == []


def test_dusk_is_not_under_the_band():
    assert watch().observe(stretches((60, 1.5), (4, 0.0), (1, 1.5), (4, 0.0), (1, 1.5), (600, 0.0))) == []


def test_noise_in_the_night_does_not_switch_the_lamp_on():
    noise = np.random.default_rng(5).normal(0, 0.06, 40_000)
    assert watch().observe(every(1, noise, 0.06)) == []


def test_a_lamp_that_is_too_weak_day_after_day_is_one_event_until_it_is_mended():
    weak_day = ((60, 0.5), (60, 0.0))
    changed = watch().observe(stretches((10, 0.0), *weak_day * 3, (29, 1.5), (10, 1.5)))
    assert kinds(changed) == [
        (EventKind.UNDER_BAND, True),
        (EventKind.UNDER_BAND, False),
        (EventKind.BACK_IN_BAND, False),
    ]
    assert changed[1].closed_ms == T0_MS + (10 + 360 + 30 + 5) * 60_000  # once the lamp is warm again


def test_it_closes_when_the_uvi_is_back_and_a_note_says_so():
    changed = watch().observe(stretches((10, 0.0), (60, 0.5), (10, 1.5)))
    assert kinds(changed) == [
        (EventKind.UNDER_BAND, True),
        (EventKind.UNDER_BAND, False),
        (EventKind.BACK_IN_BAND, False),
    ]
    assert changed[1].closing == "no longer below the band, 1.5 ± 0.2 (k = 2)"
    assert changed[1].evidence["lowest_uvi"] == 0.5


def test_a_saturated_sensor_cannot_say_too_little():
    low = stretches((10, 0.0), (60, 0.5))
    changed = watch().observe(samples_of(low.utc_ms, low.uvi, low.u_uvi, Flag.SATURATED))
    assert kinds(changed) == [(EventKind.SENSOR_SATURATED, True)]


def test_a_band_from_zero_has_no_under():
    assert watch(Band(0.0, 0.7, 1.4)).observe(stretches((10, 0.0), (120, 0.2))) == []


def test_after_a_long_silence_a_lamp_may_warm_up_again():
    spot = watch()
    assert spot.observe(stretches((60, 1.5))) == []
    assert spot.observe(stretches((29, 0.5), start_ms=T0_MS + 12 * 3_600_000)) == []


def test_a_short_silence_does_not_restart_the_warm_up():
    spot = watch()
    assert spot.observe(stretches((60, 1.5))) == []
    assert len(spot.observe(stretches((20, 0.5), start_ms=T0_MS + 62 * 60_000))) == 1


BY_CLOCK = RuleSettings(lit_from_minute=8 * 60, lit_until_minute=20 * 60, time_zone="Europe/Berlin")
MIDNIGHT_MS = local_time_ms(date(2024, 6, 10), 0, "Europe/Berlin")


def test_with_a_photoperiod_a_lamp_that_never_comes_on_is_dark_by_day_and_not_also_under_its_band():
    changed = watch(rules=BY_CLOCK).observe(stretches((1440, 0.0), start_ms=MIDNIGHT_MS))
    assert kinds(changed) == [(EventKind.LAMP_OFF_BY_DAY, True), (EventKind.LAMP_OFF_BY_DAY, False)]
    assert changed[0].sentence == "the lamp is dark at a time when it should be lit, for 20 min now"
    assert changed[0].opened_ms == MIDNIGHT_MS + (8 * 60 + 20) * 60_000
    assert changed[1].closed_ms == MIDNIGHT_MS + 20 * 60 * 60_000
    assert changed[1].closing == "the photoperiod ended"


def test_a_photoperiod_keeps_to_the_local_clock_over_a_daylight_saving_change():
    before, after = (local_time_ms(date(2024, 3, day), 0, "Europe/Berlin") for day in (30, 31))
    minutes = 3 * 1440
    changed = watch(rules=BY_CLOCK).observe(stretches((minutes, 0.0), start_ms=before))
    opened = [event.opened_ms for event in changed if event.is_open]
    assert opened[0] == before + 500 * 60_000
    assert opened[1] == after + (500 - 60) * 60_000  # the night was an hour short


def test_a_photoperiod_over_midnight_ends_the_next_day():
    rules = RuleSettings(lit_from_minute=18 * 60, lit_until_minute=6 * 60, time_zone="Europe/Berlin")
    changed = watch(rules=rules).observe(stretches((2 * 1440, 0.0), start_ms=MIDNIGHT_MS))
    closed = [event.closed_ms for event in changed if not event.is_open]
    assert closed == [MIDNIGHT_MS + 6 * 3_600_000, MIDNIGHT_MS + 30 * 3_600_000]


# Batches, order, memory


@st.composite
def series(draw):
    """A spot's samples with everything in them that the rules look at."""
    parts = draw(
        st.lists(
            st.tuples(
                st.integers(1, 250),
                st.sampled_from([0.0, 0.05, 0.3, 0.9, 1.0, 1.6, 2.55, 2.6, 2.7, 3.1, 9.0]),
                st.sampled_from(
                    [0, 0, 0, 0, Flag.SATURATED, Flag.SENSOR_FAULT, Flag.OTHER_LAMP_KIND | Flag.NEGATIVE]
                ),
                st.sampled_from([10, 10, 10, 30, 61, 400, 40_000]),  # silence after the part, s
            ),
            min_size=1,
            max_size=12,
        )
    )
    noise_uvi = draw(st.sampled_from([0.0, 0.0, 0.05, 0.3]))
    u_uvi = draw(st.sampled_from([0.0, 0.02, 0.1, 0.4]))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    steps_ms, uvi, flags = [], [], []
    for n, level, flag, silence_s in parts:
        steps_ms += [10_000] * (n - 1) + [silence_s * 1000]
        uvi += list(level + rng.normal(0, noise_uvi, n))
        flags += [int(flag)] * n
    utc_ms = T0_MS + np.cumsum([0, *steps_ms[:-1]])
    return samples_of(utc_ms, uvi, u_uvi, flags)


RULE_SETS = st.sampled_from(
    [
        RULES,
        BY_CLOCK,
        RuleSettings(
            over_hold_s=0,
            probably_over_hold_s=100,
            under_hold_s=120,
            back_hold_s=20,
            warm_up_s=60,
            lit_hold_s=0,
            dark_hold_s=30,
            max_gap_s=30,
            far_hold_s=0,
            above_hold_s=60,
            sensor_hold_s=60,
            stuck_hold_s=300,
            flicker_times=2,
            flicker_window_s=2000,
        ),
        RuleSettings(
            lit_from_minute=8 * 60,
            lit_until_minute=9 * 60,
            lamp_late_s=120,
            sensor_hold_s=0,
            stuck_hold_s=60,
            flicker_times=3,
        ),
    ]
)
BANDS = st.sampled_from([BAND, Band(1.0, 2.0, 2.6), Band(0.0, 0.7, 2.6), Band(1.6, 2.5, 3.0)])


def cut(samples, at):
    return [
        Samples(samples.utc_ms[a:b], samples.uvi[a:b], samples.u_uvi[a:b], samples.flags[a:b])
        for a, b in zip([0, *at], [*at, len(samples)], strict=True)
    ]


@settings(max_examples=150, deadline=None)
@given(series(), BANDS, RULE_SETS, st.data())
def test_any_cut_into_batches_gives_the_same_events(samples, band, rules, data):
    whole = watch(band, rules).observe(samples)
    at = sorted(data.draw(st.lists(st.integers(0, len(samples)), max_size=20)))
    spot = watch(band, rules)
    assert [event for batch in cut(samples, at) for event in spot.observe(batch)] == whole
    singly = watch(band, rules)
    ones = cut(samples, range(1, len(samples)))
    assert [event for batch in ones for event in singly.observe(batch)] == whole
    assert singly.open_events == spot.open_events


@settings(max_examples=150, deadline=None)
@given(series(), BANDS, RULE_SETS)
def test_events_open_and_close_in_turn_and_every_change_keeps_its_identity(samples, band, rules):
    open_now = {}
    spot = watch(band, rules)
    for event in spot.observe(samples):
        if event.kind is EventKind.BACK_IN_BAND:
            assert event.opened_ms == event.closed_ms
            assert band.low_uvi <= event.evidence["uvi"] <= band.high_uvi
        elif event.kind in open_now:
            before = open_now.pop(event.kind)
            assert event.identity == before.identity
            if event.is_open:  # surer now
                assert (before.severity, event.severity) == (Severity.TODAY, Severity.NOW)
                open_now[event.kind] = event
            else:
                assert event.closed_ms > event.opened_ms
        else:
            assert event.is_open
            open_now[event.kind] = event
    assert {event.kind: event for event in spot.open_events} == open_now


@settings(max_examples=150, deadline=None)
@given(series(), BANDS, st.data())
def test_a_watch_taken_up_from_its_open_events_closes_them(samples, band, data):
    at = data.draw(st.integers(0, len(samples)))
    first, second = cut(samples, [at])
    spot = watch(band)
    spot.observe(first)
    later = watch(band, open_events=spot.open_events, frontier_ms=spot.frontier_ms)
    assert later.open_events == spot.open_events
    identities = {event.identity for event in later.open_events}
    changed = later.observe(second)
    settle = every(10, np.full(400, (band.low_uvi + band.high_uvi) / 2), 0.01)
    end_ms = int(samples.utc_ms[-1]) + 10_000
    changed += later.observe(samples_of(settle.utc_ms - T0_MS + end_ms, settle.uvi, settle.u_uvi))
    assert later.open_events == ()
    assert identities <= {event.identity for event in changed if not event.is_open}


def test_samples_that_come_late_are_passed_over():
    spot = watch()
    spot.observe(stretches((10, 2.0), start_ms=T0_MS + 3_600_000))
    assert spot.observe(stretches((30, 9.0))) == []
    assert spot.frontier_ms == T0_MS + 3_600_000 + 590_000


def test_a_batch_partly_known_already_is_judged_from_where_it_is_new():
    samples = stretches((5, 2.0), (10, 3.2))
    spot = watch()
    first = Samples(*(getattr(samples, name)[:60] for name in Samples.__slots__))
    assert spot.observe(first) + spot.observe(samples) == watch().observe(samples)


def test_a_step_of_the_clock_moves_the_watch_along():
    samples = stretches((5, 2.0), (10, 3.2), (20, 2.0))
    for at in (10, 31, 33, 60, 100, 150):
        spot = watch()
        early, late = cut(samples, [at])
        before = spot.observe(early)
        spot.restamp(-7_200_000)
        after = spot.observe(samples_of(late.utc_ms - 7_200_000, late.uvi, late.u_uvi))
        assert kinds(before + after) == kinds(watch().observe(samples))


def test_an_acknowledgement_stays_through_the_closing():
    spot = watch()
    (event,) = spot.observe(stretches((10, 3.2)))
    assert spot.acknowledge("over_ceiling.rock.1", T0_MS) is None
    spot.acknowledge(event.identity, T0_MS + 600_000)
    closed = spot.observe(stretches((10, 2.0), start_ms=T0_MS + 600_000))[0]
    assert closed.acknowledged_ms == T0_MS + 600_000
    assert closed.closed_ms is not None


def test_events_of_other_spots_and_closed_ones_are_not_taken_up():
    (event,) = watch().observe(stretches((10, 3.2)))
    others = [replace(event, subject="branch"), event.closed(T0_MS + 700_000, "by hand")]
    assert watch(open_events=others).open_events == ()


def test_no_samples_no_events():
    assert watch().observe(samples_of([], [])) == []
    assert watch().frontier_ms is None


def test_advice_is_one_sentence_names_the_plug_and_claims_to_switch_nothing():
    (over,) = watch().observe(stretches((10, 3.2)))
    (under,) = watch().observe(stretches((60, 0.5)))
    for advice in (over.advice, under.advice):
        assert "unplug" in advice.lower()
        assert advice.count(".") == 0
    assert "nothing is switched for you" in over.advice


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"k": -1}, "k is -1"),
        ({"under_hold_s": float("nan")}, "under_hold_s is nan"),
        ({"max_gap_s": 0}, "max_gap_s is 0"),
        ({"lit_from_minute": 480}, "half a photoperiod"),
        ({"lit_from_minute": 480, "lit_until_minute": 1440}, "lit_until_minute is 1440"),
        ({"lit_from_minute": 480, "lit_until_minute": 480}, "same minute"),
    ],
)
def test_settings_that_cannot_be_meant_are_refused_in_words(wrong, said):
    with pytest.raises(RuleError, match=said):
        RuleSettings(**wrong)
