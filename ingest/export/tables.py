"""The tables that can be exported, by name."""

from collections.abc import Callable
from typing import Final

from ingest.export.columns import Column
from ingest.export.days import DAY_COLUMNS, days
from ingest.export.records import (
    CHECK_COLUMNS,
    EVENT_COLUMNS,
    LAMP_CHANGE_COLUMNS,
    checks,
    events,
    lamp_changes,
)
from ingest.export.series import (
    MINUTE_COLUMNS,
    READING_COLUMNS,
    SAMPLE_COLUMNS,
    minutes,
    readings,
    samples,
)
from ingest.export.table import Source, Table, Wanted
from ingest.export.what import What

__all__ = ["COLUMNS", "What", "table"]


COLUMNS: Final[dict[What, tuple[Column, ...]]] = {
    What.READINGS: READING_COLUMNS,
    What.SAMPLES: SAMPLE_COLUMNS,
    What.MINUTES: MINUTE_COLUMNS,
    What.DAYS: DAY_COLUMNS,
    What.EVENTS: EVENT_COLUMNS,
    What.CHECKS: CHECK_COLUMNS,
    What.LAMP_CHANGES: LAMP_CHANGE_COLUMNS,
}

_TABLES: Final[dict[What, Callable[[Source, Wanted], Table]]] = {
    What.READINGS: readings,
    What.SAMPLES: samples,
    What.MINUTES: minutes,
    What.DAYS: days,
    What.EVENTS: events,
    What.CHECKS: checks,
    What.LAMP_CHANGES: lamp_changes,
}


def table(what: What, source: Source, wanted: Wanted) -> Table:
    """Return the table of that name."""
    return _TABLES[what](source, wanted)
