"""Which months a report can be made of."""

from datetime import date

from exposure.days import day_bounds, local_date
from ingest.config import Config
from ingest.store.store import Store


def months_with_readings(store: Store, config: Config) -> list[date]:
    """Return the first day of each month of which there are readings, or days on record, the newest first.

    Readings may be forgotten after some years; what their days were is kept.
    """
    months = {date.fromisoformat(f"{month}-01") for month in store.days.months()}
    for board in config.boards.values():
        months |= _months_of_board(store, board.identity, config.bridge.time_zone)
    return sorted(months, reverse=True)


def _months_of_board(store: Store, board: str, time_zone: str) -> set[date]:
    """Step from month to month, so that it costs one question for each."""
    months: set[date] = set()
    extent = store.readings.extent(board)
    at_ms: int | None = None if extent is None else extent[0]
    while at_ms is not None and extent is not None and at_ms <= extent[1]:
        month = local_date(at_ms, time_zone).replace(day=1)
        months.add(month)
        following = month.replace(year=month.year + month.month // 12, month=month.month % 12 + 1)
        at_ms = store.readings.next_utc_ms(board, day_bounds(following, time_zone).start_ms)
    return months
