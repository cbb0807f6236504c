"""Days and months as a keeper types them."""

from datetime import date

import typer


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
