"""Events page by page: the right ones, and with work that does not grow with what is stored."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exposure.events import Event, EventKind, Severity, event_identity
from ingest.store.events_pages import EventPlace, EventsWanted, Subject
from ingest.store.store import Store

KINDS = list(EventKind)
SUBJECTS: tuple[Subject, ...] = (("spot", "ledge"), ("spot", "log"), ("board", "rock-1"), ("board", "ledge"))
N_MANY = 100_000
STEP_MS = 60_000


def event(number: int, opened_ms: int, lasts_ms: int | None) -> Event:
    kind = KINDS[number % len(KINDS)]
    subject_kind, subject = SUBJECTS[number // len(KINDS) % len(SUBJECTS)]
    made = Event(
        identity=event_identity(kind, subject, opened_ms),
        kind=kind,
        subject_kind=subject_kind,
        subject=subject,
        severity=Severity.TODAY if number % 3 else Severity.NOTE,
        opened_ms=opened_ms,
        sentence="something is so",
        advice="look",
    )
    return made if lasts_ms is None else made.closed(opened_ms + lasts_ms, "over")


WANTED = st.builds(
    EventsWanted,
    subjects=st.sampled_from([None, SUBJECTS[:1], SUBJECTS[:2], (SUBJECTS[0], SUBJECTS[3]), ()]),
    kind=st.sampled_from([None, *KINDS[:3]]),
    severity=st.sampled_from([None, Severity.NOTE, Severity.NOW]),
    is_open=st.sampled_from([None, True, False]),
    from_ms=st.one_of(st.none(), st.integers(0, 40)),
    to_ms=st.integers(0, 40),
)


def is_wanted(event: Event, wanted: EventsWanted) -> bool:
    return (
        (wanted.subjects is None or (event.subject_kind, event.subject) in wanted.subjects)
        and wanted.kind in (None, event.kind)
        and wanted.severity in (None, event.severity)
        and wanted.is_open in (None, event.is_open)
        and (wanted.from_ms is None or event.closed_ms is None or event.closed_ms >= wanted.from_ms)
        and event.opened_ms < wanted.to_ms
    )


@pytest.fixture(scope="module")
def some(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    with Store.open(tmp_path_factory.mktemp("some") / "s.db") as store:
        with store.transaction():
            for number in range(120):
                # Each kind and subject has a moment of its own, and each moment several events.
                lasts_ms = None if number % 7 == 0 else number % 5 * 4
                store.events.put(event(number, number // 4 % 40, lasts_ms))
        yield store


@given(wanted=WANTED, limit=st.integers(1, 50), newest_first=st.booleans())
def test_all_pages_together_are_what_is_wanted_once_and_in_order(
    some: Store, wanted: EventsWanted, limit: int, newest_first: bool
) -> None:
    expected = [each for each in some.events.between(0, 1 << 52) if is_wanted(each, wanted)]
    expected.sort(key=lambda each: (each.opened_ms, each.identity), reverse=newest_first)
    found: list[Event] = []
    begin: EventPlace | None = None
    while True:
        page = some.events.page(wanted, limit, begin, newest_first=newest_first)
        found += page.events
        assert len(page.events) == limit or page.next is None
        begin = page.next
        if begin is None:
            break
    assert found == expected


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """A store with 100,000 events, of which one in 5,000 is open."""
    with Store.open(tmp_path_factory.mktemp("many") / "s.db") as store:
        database = store.events._database
        columns = "identity, kind, subject_kind, subject, severity, opened_ms, sentence, advice, evidence"
        rows = (
            (*_row(event(number, number * STEP_MS, None)), None if number % 5_000 == 0 else number * STEP_MS)
            for number in range(N_MANY)
        )
        with store.transaction():
            database.execute_many(
                f"INSERT INTO event ({columns}, closed_ms) VALUES ({', '.join('?' * 10)})",
                rows,
            )
        yield store


def _row(made: Event) -> tuple[object, ...]:
    return (
        made.identity,
        made.kind,
        made.subject_kind,
        made.subject,
        made.severity,
        made.opened_ms,
        made.sentence,
        made.advice,
        "{}",
    )


@pytest.mark.parametrize("newest_first", [False, True])
@pytest.mark.parametrize("begin", [None, (70_000 * STEP_MS, "")])
@pytest.mark.parametrize(
    "wanted",
    [
        EventsWanted(),
        EventsWanted(is_open=False),
        EventsWanted(is_open=True),
        EventsWanted(subjects=(SUBJECTS[1], SUBJECTS[2]), is_open=False),
        EventsWanted(kind=EventKind.DOSE_LOW),
        EventsWanted(subjects=SUBJECTS[:1], kind=EventKind.DOSE_LOW),
        EventsWanted(severity=Severity.NOW),
        EventsWanted(to_ms=50_000 * STEP_MS),
        EventsWanted(from_ms=99_000 * STEP_MS),
    ],
    ids=str,
)
def test_a_page_of_fifty_out_of_a_hundred_thousand_costs_little(
    many: Store, wanted: EventsWanted, begin: EventPlace | None, newest_first: bool
) -> None:
    connection = many.events._database._connection
    n_hundreds = 0

    def count() -> int:
        nonlocal n_hundreds
        n_hundreds += 1
        return 0

    connection.set_progress_handler(count, 100)
    try:
        many.events.page(wanted, 50, begin, newest_first=newest_first)
    finally:
        connection.set_progress_handler(None, 0)
    # Reading the hundred thousand costs 700,000 steps of SQLite's machine, 50 found at once some 1,400.
    assert n_hundreds * 100 <= 20_000


def test_what_a_week_saw_is_found_without_reading_the_years_before(many: Store) -> None:
    connection = many.events._database._connection
    n_thousands = [0]

    def count() -> int:
        n_thousands[0] += 1
        return 0

    connection.set_progress_handler(count, 1_000)
    try:
        found = many.events.between(99_900 * STEP_MS, N_MANY * STEP_MS)
    finally:
        connection.set_progress_handler(None, 0)
    assert len(found) == 100 + 20  # and what has been open for long
    assert n_thousands[0] <= 10


def test_an_event_that_changes_stays_where_it_stood(some: Store, tmp_path: Path) -> None:
    with Store.open(tmp_path / "s.db") as store:
        for number in range(6):
            store.events.put(event(number, 1000 * number, None))
        first = store.events.page(EventsWanted(), 3)
        store.events.put(replace(event(4, 4000, None), severity=Severity.NOW))
        rest = store.events.page(EventsWanted(), 3, first.next)
        assert [each.opened_ms for each in (*first.events, *rest.events)] == [0, 1000, 2000, 3000, 4000, 5000]
        assert rest.next is None
