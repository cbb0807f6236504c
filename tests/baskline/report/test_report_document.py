"""What the report of a month says."""

import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from datetime import date

import pytest

from exposure.events import EventKind, Severity
from exposure.kinds import new_event
from ingest.config import load_config
from ingest.store.lamp_changes import LampChangeKind
from ingest.store.store import Store
from tests.baskline.making import room
from tests.baskline.many_days import fill_days
from tests.baskline.report.report_rooms import (
    FIRST,
    at_ms,
    check,
    config_with,
    document,
    gathered,
    march,
)


@pytest.fixture
def config(tmp_path):
    return room(tmp_path)


def texts(value: object) -> Iterator[str]:
    """Every text in a document."""
    if isinstance(value, str):
        yield value
    elif is_dataclass(value):
        for field in fields(value):
            yield from texts(getattr(value, field.name))
    elif isinstance(value, list | tuple):
        for each in value:
            yield from texts(each)


def only_spot(shown):
    ((spot,),) = (each.spots for each in shown.enclosures)
    return spot


def over_ceiling(config, day: date, *, hour: int = 12, severity: Severity = Severity.NOW):
    opened_ms = at_ms(config, day, hour)
    event = new_event(
        EventKind.OVER_CEILING, "ledge", opened_ms, "above the ceiling, 4.5 ± 0.3 over 4 (k = 2)", {}
    )
    return event.closed(opened_ms + 3_600_000, "back under the ceiling")


def test_it_says_first_what_was_watched_and_how_surely(config):
    shown = document(march(config), config)
    assert shown.title == "UV report, March 2025"
    assert shown.span == "1 to 31 March 2025"
    assert shown.standing == ""
    assert shown.watched.rows == [
        ("Slate ledge", "Rock garden", "100 % of 31 days", "2.0 ± 0.2", "20 January 2025", "none on record")
    ]
    assert "within ± 8 % (k = 2)" in shown.surely[1]


def test_each_day_has_a_row_and_a_day_not_seen_has_no_figures(config):
    table = only_spot(document(march(config, without=[2]), config)).days
    assert [row[0] for row in table.rows][:3] == ["Sat  1", "Sun  2", "Mon  3"]
    assert len(table.rows) == 31
    assert table.rows[1] == (
        "Sun  2", "20.0 ± 1.8", "2.0 ± 0.2", "2.0 ± 0.2", "0.0", "10.0", "0.0", "0.0", "100 %", "",
    )  # fmt: skip
    assert table.rows[2] == ("Mon  3", "not seen", *["–"] * 6, "0 %", "")


def test_what_a_place_received_is_told_in_short_and_in_words(config):
    shown = document(march(config, lambda number: 2.0 if number < 20 else 2.4), config)
    assert shown.received.rows == [
        ("Slate ledge", "1 to 3, ceiling 4", "20.0 ± 1.8", "310 h", "0 h", "0 h", "0.0 h")
    ]
    facts = dict(only_spot(shown).facts)
    assert facts["Dose"] == (
        "usually 20.0 ± 1.8 UVI·h a day, between 20.0 and 24.0 on the 31 days of which nine tenths or more"
        " were seen"
    )
    assert facts["Wanted"] == "UVI 1 to 3, never over 4 (set by the keeper)"
    assert facts["Over the ceiling"] == "never, as far as it was seen"


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("zone = 3", "UVI 1 to 2.6, never over 7.4 (as for Lacerta nova, exposure zone 3)"),
        (
            "band = { low_uvi = 1, high_uvi = 2, ceiling_uvi = 3 }",
            "UVI 1 to 2, never over 3 (as for Lacerta nova)",
        ),
    ],
)
def test_a_band_by_the_species_is_said_to_be_by_it(config, tmp_path, row, said):
    file = tmp_path / "baskline.toml"
    text = re.sub("\nband = .*", "", file.read_text())
    text = text.replace("[enclosure.garden]", '[enclosure.garden]\nspecies = "Lacerta nova"')
    file.write_text(f'{text}\n[species.nova]\nname = "Lacerta nova"\nsource = "me"\n{row}\n')
    by_species = load_config(file)
    facts = dict(only_spot(document(march(by_species), by_species)).facts)
    assert facts["Wanted"] == said


def test_days_over_the_ceiling_stand_out(config):
    month = march(
        config, lambda number: 4.5 if number == 4 else 2.0, events=[over_ceiling(config, date(2025, 3, 5))]
    )
    shown = document(month, config)
    assert only_spot(shown).days.strong == {4}
    assert only_spot(shown).days.rows[4][-1] == "over the ceiling 12:00"
    assert dict(only_spot(shown).facts)["Over the ceiling"] == "10.0 h in all, on one day"
    assert shown.received.strong == {0}


@pytest.mark.parametrize("days", [12, 31])
def test_a_month_that_is_not_over_says_so(config, days):
    assert document(march(config, days=days), config, date(2025, 3, days)).standing == (
        f"The month is not over: this report covers {days} of the month's 31 days, and its newest reading"
        f" is of {days} March 2025, 23:59."
    )


def test_a_month_in_which_readings_ended_says_since_when(config):
    shown = document(march(config, days=12), config, date(2025, 6, 1))
    assert shown.standing == (
        "This report covers 12 of the month's 31 days: nothing was received after 12 March 2025, 23:59."
    )
    assert shown.span == "1 to 12 March 2025"


def test_a_place_without_calibration_has_no_figures_and_says_why(tmp_path):
    config = room(tmp_path, calibrated=False)
    shown = document(march(config), config)
    assert dict(only_spot(shown).facts)["Received"] == "not known: its sensor has no calibration"
    assert only_spot(shown).days is None
    assert shown.watched.rows[0][2:] == ("0 % of 31 days", "not known", "not calibrated", "none on record")
    assert "Of Slate ledge no UVI is known" in shown.surely[-1]
    assert shown.unseen.rows == [
        ("1 Mar 00:00", "31 Mar 23:59", "31.0 days", "Slate ledge", "not calibrated")
    ]


def test_what_was_not_seen_is_told_with_its_times(config):
    shown = document(march(config, without=[9, 10]), config)
    assert shown.unseen.rows == [("10 Mar 00:00", "11 Mar 24:00", "2.0 days", "Slate ledge", "no readings")]


def test_a_month_seen_whole_has_no_gaps(config):
    assert document(march(config), config).unseen is None


def test_checks_of_the_month_are_listed_and_what_failed_stands_out(config):
    fill_days(config, FIRST, 0, lambda number: 2.0)
    checks = [
        check(config, date(2025, 2, 22), 2.0, 0.0),
        check(config, date(2025, 3, 8), 2.0, 0.0),
        check(config, date(2025, 3, 15), 2.6, 1.9),
    ]
    shown = document(march(config, checks=checks), config)
    assert [row[0] for row in shown.checks.rows] == ["8 March 2025", "15 March 2025"]
    assert shown.checks.rows[1][2:] == ("2.6", "2.0 ± 0.2", "1.30", "out")
    assert shown.checks.strong == {1}
    assert shown.watched.rows[0][-1] == "15 March 2025: out"
    assert shown.check_figures == ["checks-ledge"]


def test_events_say_when_they_were_acknowledged(config):
    first = over_ceiling(config, date(2025, 3, 5))
    seen = over_ceiling(config, date(2025, 3, 9)).acknowledged(at_ms(config, date(2025, 3, 9), 15))
    shown = document(march(config, events=[first, seen]), config)
    sentence = "Above the ceiling, 4.5 ± 0.3 over 4 (k = 2). Ended: back under the ceiling."
    assert shown.events.rows == [
        ("5 Mar 12:00", "13:00", "Slate ledge", sentence, "no"),
        ("9 Mar 12:00", "13:00", "Slate ledge", sentence, "9 Mar 15:00"),
    ]
    assert shown.events.strong == {0, 1}


def test_of_very_many_events_those_that_could_not_wait_are_listed(config):
    urgent = [over_ceiling(config, date(2025, 3, 5))]
    notes = [
        new_event(EventKind.UNDER_BAND, "ledge", at_ms(config, FIRST, 1) + n * 60_000, "below the band", {})
        for n in range(70)
    ]
    shown = document(march(config, events=[*urgent, *notes]), config)
    assert len(shown.events.rows) == 1
    assert shown.more_events.startswith("There were 71 events. Only 1 of those that could not wait")


def test_the_end_of_an_event_is_no_event_of_its_own(config):
    back = new_event(EventKind.BACK_IN_BAND, "ledge", at_ms(config, FIRST), "back in the band", {})
    assert document(march(config, events=[back]), config).events is None


def test_lamps_have_their_ageing_and_their_changes(config):
    month = march(config)
    with Store.open(config.bridge.store) as store:
        for day, note in (
            (date(2025, 2, 3), "first"),
            (date(2025, 3, 4), "second"),
            (date(2025, 4, 1), "late"),
        ):
            store.lamp_changes.add("tube", day, LampChangeKind.MESH, note, 0)
    (lamp,) = document(gathered(config), config).lamps
    assert lamp.title == "tube"
    facts = list(lamp.facts)
    assert ("Before", "3 February 2025, other mesh or glass (first)") in facts
    assert ("Changed", "4 March 2025, other mesh or glass (second)") in facts
    assert not any("late" in words for _, words in facts)
    ((label, seen, figure),) = lamp.seen_from
    assert (label, figure) == ("Slate ledge", "lamp-ledge")
    assert dict(seen)["Verdict"].startswith("steady: 0.0 % a week")
    assert month.lamps[0].changes == ()


def test_the_keepers_own_words_about_an_enclosure_are_in_it(config, tmp_path):
    named = 'label = "Rock garden"\nspecies = "Pogona vitticeps"\nnotes = "two adults"'
    config = config_with(tmp_path, 'label = "Rock garden"', named)
    (each,) = document(march(config), config).enclosures
    assert (each.title, each.species, each.notes) == ("Rock garden", "Pogona vitticeps", "two adults")
    assert each.retreat.startswith("Whether the animal can get out of the UV is not known")


def test_no_number_has_more_digits_than_two_after_the_point(config):
    month = march(
        config, lambda number: 1.2345 + number / 97, without=[5], events=[over_ceiling(config, FIRST)]
    )
    said = [text for text in texts(document(month, config)) if text != "1.2.3"]
    assert len(said) > 300
    assert not [text for text in said if re.search(r"\d\.\d{3}", text)]


def test_a_month_before_all_readings_is_none(config):
    march(config)
    with Store.open(config.bridge.store, read_only=True) as store:
        from ingest.month import month_of

        assert month_of(store, config, date(2025, 4, 1), ["garden"], lambda _: None) is None


def test_a_band_that_was_changed_counts_as_it_was_then(config, tmp_path):
    month = march(config)
    changed = config_with(tmp_path, "high_uvi = 3.0", "high_uvi = 3.5")
    assert month.enclosures[0].spots[0].days.band.high_uvi == 3.0
    assert gathered(changed).enclosures[0].spots[0].days.band.high_uvi == 3.0
