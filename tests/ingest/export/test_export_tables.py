"""Tables of the store, row by row beside what they are made from."""

import csv
import io
import itertools
import json
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pyarrow.parquet
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibrate.samples import Flag
from exposure.days import day_bounds
from firmware_host.clock import Moment
from ingest.assigning import read_calibrations, record_assignments
from ingest.day_records import DayRecords
from ingest.export.columns import MOST_ROWS, Coded, Column, Kind, Rows, flag_text, flag_texts
from ingest.export.csv_rows import write_csv
from ingest.export.parquet_file import write_parquet
from ingest.export.series import free_name
from ingest.export.table import DAY_MS, Source, Table, Wanted, windows
from ingest.export.tables import COLUMNS, What, table
from ingest.history import History
from ingest.store.assignments import Assignment
from ingest.store.batch import CLOCK_UNSURE_MARK, StampedBatch
from ingest.store.checks import CheckRecord
from ingest.store.lamp_changes import ChangeMoment, LampChangeKind
from ingest.store.store import Store
from ingest.summaries import Summariser
from tests.baskline.making import VIENNA, fill, half_sine, room

DAY = date(2025, 5, 17)
EVER = Wanted(0, 1_750_000_000_000)  # 2025-06-15


def untold(*_):
    pass


@pytest.fixture(scope="module")
def filled(tmp_path_factory):
    """A room with one day, half of it after another lamp kind took over; the store, open to read."""
    config = room(tmp_path_factory.mktemp("filled"))
    fill(config, DAY, half_sine(12.0, 8.0, 12.0), gaps_h=[(13.0, 14.5)], faults_h=[(9.0, 9.5)])
    noon_ms = day_bounds(DAY, VIENNA).start_ms + 12 * 3_600_000 + 5_000
    with Store.open(config.bridge.store) as store:
        (span,) = store.assignments.timeline("ledge", 0, EVER.to_ms)
        held = span.assignment
        store.assignments.record(Assignment("ledge", held.board, "", "", "halogen", held.band), noon_ms)
        store.checks.add(check(noon_ms))
        store.lamp_changes.add("tube", DAY, LampChangeKind.MESH, "finer, 2 mm", noon_ms)
        moment = ChangeMoment(noon_ms + 86_400_000, "12:00")
        store.lamp_changes.add("tube", date(2025, 5, 18), LampChangeKind.OTHER, "", noon_ms, moment)
    with Store.open(config.bridge.store, read_only=True) as store:
        yield Source(store, config, untold)


def check(at_ms):
    return CheckRecord(
        "ledge",
        at_ms - 60_000,
        at_ms,
        2.0,
        0.05,
        0.08,
        True,
        1.9,
        0.09,
        0.01,
        60,
        64,
        "abc",
        1.05,
        0.06,
        -0.4,
    )


def as_csv(made):
    stream = io.StringIO()
    n = write_csv(made, stream)
    rows = list(csv.DictReader(io.StringIO(stream.getvalue())))
    assert len(rows) == n
    return rows


def ms_of(text):
    return round(datetime.fromisoformat(text).timestamp() * 1000)


def numbers(rows, name):
    return np.array([float(row[name] or "nan") for row in rows])


def test_samples_are_those_of_the_history_to_the_last_bit(filled):
    rows = as_csv(table(What.SAMPLES, filled, EVER))
    expected = History(filled.store).samples("ledge", 0, EVER.to_ms)
    assert len(rows) == len(expected) > 7_000
    assert [ms_of(row["time_utc"]) for row in rows] == expected.utc_ms.tolist()
    assert np.array_equal(numbers(rows, "uvi"), expected.uvi, equal_nan=True)
    assert np.array_equal(numbers(rows, "u_uvi"), expected.u_uvi, equal_nan=True)
    assert [row["flags"] for row in rows] == [
        " ".join(flag.name.lower() for flag in Flag(each)) for each in expected.flags.tolist()
    ]


def test_a_calibration_that_ends_meanwhile_makes_only_later_samples_doubtful(tmp_path):
    config = room(tmp_path, made_on="2025-05-17", valid_for_days=10)
    start_ms = day_bounds(DAY, VIENNA).start_ms
    hours = np.arange(20 * 24, dtype=np.int64)
    with Store.open(config.bridge.store) as store:
        store.begin_run(Moment(0, start_ms, synchronised=True))
        record_assignments(store, config, read_calibrations(config), start_ms)
        counts = np.full((len(hours), 1), 1500.0)
        marks = np.zeros(len(hours), np.uint32)
        store.readings.append(
            [
                StampedBatch(
                    "rock-1", "0a1b2c3d", ("uva_counts",), hours, start_ms + 3_600_000 * hours, counts, marks
                )
            ]
        )
        rows = as_csv(table(What.SAMPLES, Source(store, config, untold), EVER))
    stale = [row["time_utc"] for row in rows if row["flags"] == "stale_calibration"]
    fresh = [row["time_utc"] for row in rows if row["flags"] == ""]
    assert len(stale) + len(fresh) == len(rows) == 480
    assert max(fresh) < min(stale)
    assert min(stale).startswith("2025-05-28T0")  # the 27th is the last day on which it holds


def test_each_sample_names_the_calibration_that_gave_it(filled):
    made = table(What.SAMPLES, filled, EVER)
    (identity,) = made.calibrations["ledge"]
    for row in as_csv(made):
        assert row["calibration"] == ("" if "uncalibrated" in row["flags"] else identity)


def test_readings_are_as_the_board_sent_them(filled):
    rows = as_csv(table(What.READINGS, filled, EVER))
    (batch,) = filled.store.readings.between("rock-1", 0, EVER.to_ms)
    assert [ms_of(row["time_utc"]) for row in rows] == batch.utc_ms.tolist()
    assert [int(row["seq"]) for row in rows] == batch.seq.tolist()
    assert np.array_equal(numbers(rows, "uva_counts"), batch.values[:, 0], equal_nan=True)
    assert {row["marks"] for row in rows} == {"", "fault"}
    assert {(row["board"], row["boot"]) for row in rows} == {("rock-1", "0a1b2c3d")}


def test_channels_carry_the_units_that_the_board_gave(filled):
    made = table(What.READINGS, filled, EVER)
    assert [(column.name, column.unit) for column in made.columns[5:]] == [("uva_counts", "counts")]


def test_only_the_asked_time_comes(filled):
    bounds = day_bounds(DAY, VIENNA)
    hour = Wanted(bounds.start_ms + 10 * 3_600_000, bounds.start_ms + 11 * 3_600_000)
    for what in (What.SAMPLES, What.READINGS):
        rows = as_csv(table(what, filled, hour))
        assert len(rows) == 360
        assert ms_of(rows[0]["time_utc"]) == hour.from_ms
        assert ms_of(rows[-1]["time_utc"]) == hour.to_ms - 10_000


def test_only_the_asked_spot_and_board_come(filled):
    elsewhere = Wanted(0, EVER.to_ms, spots=("nook",), boards=("other-1",))
    for what in (What.SAMPLES, What.MINUTES, What.DAYS, What.CHECKS, What.READINGS):
        assert as_csv(table(what, filled, elsewhere)) == []
    here = Wanted(0, EVER.to_ms, spots=("ledge",), boards=("rock-1",))
    for what in (What.SAMPLES, What.DAYS, What.CHECKS, What.READINGS):
        assert as_csv(table(what, filled, here)) == as_csv(table(what, filled, EVER))


def test_days_are_those_on_record(filled):
    (row,) = as_csv(table(What.DAYS, filled, Wanted(0, day_bounds(DAY, VIENNA).end_ms)))
    (record,) = DayRecords(filled.store, filled.config).of("ledge", DAY, DAY)
    assert row["date"] == "2025-05-17"
    assert float(row["dose_uvi_h"]) == record.profile.dose_uvi_h
    assert float(row["u_dose_sed"]) == record.profile.u_dose_sed
    assert ms_of(row["peak_at"]) == record.profile.peak_ms
    assert ms_of(row["first_light_at"]) == record.profile.first_light_ms
    assert float(row["expected_hours_above_ceiling"]) == record.profile.expected_hours_above_ceiling
    assert float(row["uncalibrated_hours"]) == record.profile.flag_hours["uncalibrated"]
    assert float(row["saturated_hours"]) == record.profile.flag_hours.get("saturated", 0.0)
    assert int(row["gaps"]) == len(record.profile.gaps)
    assert int(row["lamp_switch_ons"]) == record.lamp.switch_ons
    assert row["at_least"] == ("true" if record.profile.at_least else "false")


def test_a_check_tells_all_that_is_kept_of_it(filled):
    (row,) = as_csv(table(What.CHECKS, filled, EVER))
    (kept,) = filled.store.checks.of("ledge")
    assert row["verdict"] == "within"
    assert row["flags"] == "temperature"
    assert (row["same_meter"], row["withdrawn"]) == ("true", "false")
    for name in ("reference_uvi", "u_reading_uvi", "u_meter_uvi", "uvi", "u_random_uvi", "ratio", "e_n"):
        assert float(row[name]) == getattr(kept, name)


def test_lamp_changes_come_by_their_days(filled):
    until = Wanted(0, day_bounds(DAY, VIENNA).end_ms)
    (row,) = as_csv(table(What.LAMP_CHANGES, filled, until))
    assert (row["lamp"], row["date"], row["what"], row["note"]) == (
        "tube",
        "2025-05-17",
        "mesh",
        "finer, 2 mm",
    )
    both = as_csv(table(What.LAMP_CHANGES, filled, EVER))
    assert [row["note"] for row in both] == ["finer, 2 mm", ""]
    assert [row["changed_at"] for row in both] == ["", "2025-05-18T10:00:05.000Z"]


@pytest.mark.parametrize("what", What)
def test_parquet_holds_the_same_rows_as_csv(filled, tmp_path, what):
    expected = as_csv(table(what, filled, EVER))
    path = tmp_path / "table.parquet"
    made = table(what, filled, EVER)
    assert write_parquet(made, path, {"site": "test"}) == len(expected)
    read = pyarrow.parquet.read_table(path)
    assert read.column_names == [column.name for column in made.columns]
    assert read.num_rows == len(expected)
    for column in made.columns:
        got = read.column(column.name).to_pylist()
        wanted = [cell(column, row[column.name]) for row in expected]
        if column.kind is Kind.SINGLE:
            got = [None if each is None else np.float32(each) for each in got]
        assert got == wanted, column.name


def cell(column, text):
    """Return the value that a field of CSV stands for, as Parquet's reader gives it."""
    if not text and column.optional:
        return None
    match column.kind:
        case Kind.UTC_TIME:
            return datetime.fromisoformat(text).astimezone(UTC)
        case Kind.DATE:
            return date.fromisoformat(text)
        case Kind.NUMBER:
            return float(text)
        case Kind.SINGLE:
            return np.float32(text)
        case Kind.WHOLE:
            return int(text)
        case Kind.TRUTH:
            return text == "true"
    return text


@pytest.mark.parametrize("what", What)
def test_parquet_says_what_its_columns_are(filled, tmp_path, what):
    path = tmp_path / "table.parquet"
    made = table(what, filled, EVER)
    write_parquet(made, path, {"site": "test", "version": "1"})
    schema = pyarrow.parquet.read_schema(path)
    assert schema.metadata[b"baskline.site"] == b"test"
    for column in made.columns:
        field = schema.field(column.name)
        assert field.metadata[b"description"].decode() == column.means
        assert field.metadata.get(b"unit", b"").decode() == column.unit
        assert field.nullable == column.optional
        if column.kind is Kind.UTC_TIME:
            assert str(field.type) == "timestamp[ms, tz=UTC]"


def test_minutes_are_as_kept_and_stay_when_the_readings_are_gone(tmp_path):
    config = room(tmp_path)
    fill(config, DAY, half_sine(2.0, 8.0, 12.0))
    begin_ms = day_bounds(DAY, VIENNA).start_ms
    end_ms = begin_ms + DAY_MS
    with Store.open(config.bridge.store) as store:
        store.begin_run(Moment(0, end_ms, synchronised=True))
        later = np.arange(2_000, dtype=np.int64)
        counts = np.full((2_000, 1), 500.0)
        store.readings.append(
            [
                StampedBatch(
                    "rock-1",
                    "0000000b",
                    ("uva_counts",),
                    later,
                    end_ms + later,
                    counts,
                    np.zeros(2_000, np.uint32),
                )
            ]
        )
        summariser = Summariser(store)
        while summariser.step(before_ms=end_ms):
            pass
        assert store.readings.forget_before(end_ms) > 0
        kept = store.minutes.between("ledge", 0, EVER.to_ms)
        source = Source(store, config, untold)
        rows = as_csv(table(What.MINUTES, source, EVER))
        assert len(as_csv(table(What.READINGS, source, EVER))) == 2_000
    assert len(rows) == len(kept) >= 1_440
    assert [ms_of(row["time_utc"]) for row in rows] == (kept.minute * 60_000).tolist()
    for name in ("mean_uvi", "max_uvi", "u_uvi", "dose_uvi_h"):
        assert np.array_equal(numbers(rows, name).astype(np.float32), getattr(kept, name).astype(np.float32))


def test_readings_of_several_boots_and_channel_sets_come_in_order_of_time(tmp_path):
    config = room(tmp_path)
    start_ms = 1_747_500_000_000

    def batch(boot, channels, at_s, values, mark=0):
        n = len(at_s)
        return StampedBatch(
            "rock-1",
            boot,
            channels,
            np.arange(n, dtype=np.int64),
            start_ms + 1000 * np.array(at_s, np.int64),
            np.array(values, float).reshape(n, len(channels)),
            np.full(n, mark, np.uint32),
        )

    with Store.open(config.bridge.store) as store:
        store.begin_run(Moment(0, start_ms, synchronised=True))
        store.readings.append(
            [
                batch("0000000a", ("uva_counts",), [0, 4], [1.0, 2.0]),
                batch("0000000b", ("seq", "uva_counts"), [1, 5], [7.0, 3.0, 8.0, 4.0], CLOCK_UNSURE_MARK | 2),
            ]
        )
        made = table(What.READINGS, Source(store, config, untold), EVER)
        assert [column.name for column in made.columns[5:]] == ["uva_counts", "seq_"]
        rows = as_csv(made)
    assert [(row["boot"], row["seq"], row["seq_"], row["uva_counts"]) for row in rows] == [
        ("0000000a", "0", "", "1.0"),
        ("0000000b", "0", "7.0", "3.0"),
        ("0000000a", "1", "", "2.0"),
        ("0000000b", "1", "8.0", "4.0"),
    ]
    assert [row["marks"] for row in rows] == ["", "ranged clock_unsure"] * 2


def test_evidence_is_json_and_quotes_survive(filled, tmp_path):
    from exposure.events import Event, EventKind, Severity

    event = Event(
        "under_band.ledge.1",
        EventKind.UNDER_BAND,
        "spot",
        "ledge",
        Severity.TODAY,
        1,
        'below, "0.6 ± 0.1"\nunder 1',
        "look",
        {"uvi": 0.6, "flags": ""},
    )
    with Store.open(tmp_path / "events.db") as store:
        store.events.put(event)
        (row,) = as_csv(table(What.EVENTS, Source(store, filled.config, untold), EVER))
        assert as_csv(table(What.EVENTS, Source(store, filled.config, untold), Wanted(0, 9, ("nook",)))) == []
    assert row["sentence"] == event.sentence
    assert json.loads(row["evidence"]) == dict(event.evidence)
    assert (row["opened_at"], row["closed_at"]) == ("1970-01-01T00:00:00.001Z", "")


@given(st.integers(0, 1 << 42), st.integers(0, 20 * DAY_MS), st.integers(1, 3))
def test_windows_are_the_whole_without_overlap_and_cut_at_the_same_places_always(start, length, days):
    cut = windows(start, start + length, days * DAY_MS)
    assert [each for window in cut for each in window][:1] == ([start] if length else [])
    assert sum(end - begin for begin, end in cut) == length
    assert all(first[1] == second[0] for first, second in itertools.pairwise(cut))
    assert all(begin % (days * DAY_MS) == 0 for begin, _ in cut[1:])


@given(st.lists(st.integers(0, 2047), max_size=40))
def test_flags_become_their_names(flags):
    listed = flag_texts(np.array(flags, np.uint32)).listed()
    assert listed == [flag_text(Flag(each)) for each in flags]
    assert [set((text or "").split()) for text in listed] == [
        {flag.name.lower() for flag in Flag(each)} for each in flags
    ]


@settings(deadline=None, max_examples=25)
@given(
    st.lists(
        st.tuples(
            st.integers(0, 4_102_444_800_000),
            st.floats(),
            st.floats(width=32),
            st.integers(-(2**63), 2**63 - 1),
            st.text(st.characters(codec="utf-8", exclude_characters="\r\x00"), min_size=1),
        )
    )
)
def test_any_rows_read_back_the_same_from_both_forms(tmp_path_factory, given_rows):
    columns = (
        Column("at", Kind.UTC_TIME, ""),
        Column("x", Kind.NUMBER, "", optional=True),
        Column("y", Kind.SINGLE, "", optional=True),
        Column("n", Kind.WHOLE, ""),
        Column("text", Kind.TEXT, "", optional=True),
    )

    def made():
        if not given_rows:
            return Table("t", columns, iter(()))
        at, x, y, n, text = (list(each) for each in zip(*given_rows, strict=True))
        return Table(
            "t",
            columns,
            iter(
                [
                    Rows(
                        (
                            np.array(at, np.int64),
                            np.array(x),
                            np.array(y),
                            np.array(n, np.int64),
                            Coded(text, np.arange(len(text))),
                        )
                    )
                ]
            ),
        )

    path: Path = tmp_path_factory.mktemp("any") / "any.parquet"
    write_parquet(made(), path, {})
    read = pyarrow.parquet.read_table(path)
    rows = as_csv(made())
    for column in columns:
        got = read.column(column.name).to_pylist()
        wanted = [cell(column, row[column.name]) for row in rows]
        if column.kind is Kind.SINGLE:
            got = [None if each is None else np.float32(each) for each in got]
        assert got == wanted
    assert [None if x != x else x for _, x, *_ in given_rows] == read.column("x").to_pylist()
    assert [text for *_, text in given_rows] == [row["text"] for row in rows]


def test_rows_come_in_parts_that_fit_into_memory():
    n = 2 * MOST_ROWS + 3
    rows = Rows((np.arange(n), Coded.constant("x", n), list(range(n))))
    parts = list(rows.parts())
    assert [len(part) for part in parts] == [MOST_ROWS, MOST_ROWS, 3]
    assert np.array_equal(np.concatenate([part.values[0] for part in parts]), np.arange(n))
    with pytest.raises(ValueError, match="different lengths"):
        Rows((np.arange(2), [None]))


def test_a_channel_that_is_named_like_a_column_stands_beside_it():
    assert free_name("uva_counts", ["seq"]) == "uva_counts"
    assert free_name("seq", ["seq", "seq_"]) == "seq__"


def test_every_table_has_columns():
    assert COLUMNS.keys() == set(What)
