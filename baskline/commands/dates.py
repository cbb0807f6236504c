"""Days and months as a keeper types them, and the day that is meant when none is typed."""

from datetime import date, time
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from calibrate.errors import KeeperError

if TYPE_CHECKING:
    from ingest.config import Config
    from ingest.store.store import Store


class NothingStoredError(KeeperError):
    """A store without a single reading."""


def day_of_newest(store: "Store", config: "Config", file: Path) -> date:
    """Return the local day of the newest reading in the store at `file`."""
    from ingest.week import newest_day

    found = newest_day(store, config)
    if found is None:
        raise NothingStoredError(
            "no reading is stored yet",
            where=str(file),
            remedy="Start `baskline run`, or see `baskline check` for why nothing comes",
        )
    return found


def date_of(text: str | None, option: str) -> date | None:
    """Return a day typed as 2025-05-17; None if none was."""
    if text is None:
        return None
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise typer.BadParameter(
            f"{text!r} is not a date: write it as 2025-05-17", param_hint=option
        ) from None
    return _refuse_impossible(day, option)


def time_of(text: str | None, option: str) -> tuple[date | None, time | None]:
    """Return a day typed as 2025-05-17 and the time in 2025-05-17T08:30; None for what was not typed."""
    from exposure.days import clock_of

    if text is None:
        return None, None
    day, with_time, clock = text.replace(" ", "T").partition("T")
    if not with_time:
        return date_of(day, option), None
    try:
        at = clock_of(clock)
    except ValueError:
        raise typer.BadParameter(
            f"{text!r} is no day with a time: write it as 2025-05-17T08:30", param_hint=option
        ) from None
    return date_of(day, option), at


def month_of(text: str | None, option: str) -> date | None:
    """Return the first day of a month typed as 2025-05; None if none was."""
    if text is None:
        return None
    try:
        day = date.fromisoformat(f"{text}-01")
    except ValueError:
        raise typer.BadParameter(f"{text!r} is not a month: write it as 2025-05", param_hint=option) from None
    return _refuse_impossible(day, option)


def _refuse_impossible(day: date, option: str) -> date:
    if not 1970 <= day.year < 3000:
        raise typer.BadParameter(f"no readings can be from {day.year}", param_hint=option)
    return day
