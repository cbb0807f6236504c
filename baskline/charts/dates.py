"""Dates in words, and months along an axis."""

from datetime import date, timedelta


def day_label(day: date) -> str:
    """Return `12 May`."""
    return f"{day.day} {day:%b}"


def date_span(first: date, last: date) -> str:
    """Return `11 to 17 May 2025`, with no more said twice than needed."""
    if first == last:
        return f"{first.day} {first:%B %Y}"
    if (first.year, first.month) == (last.year, last.month):
        return f"{first.day} to {last.day} {last:%B %Y}"
    year = f" {first.year}" if first.year != last.year else ""
    return f"{first.day} {first:%B}{year} to {last.day} {last:%B %Y}"


def date_ticks(first: date, last: date, room_px: float, label_px: float) -> list[date]:
    """Return round days from `first` to `last`, as many as have room: Mondays, or firsts of months."""
    n_days = (last - first).days + 1
    days = [first + timedelta(days=n) for n in range(n_days)]
    most = max(int(room_px / label_px), 1)
    mondays = [day for day in days if day.weekday() == 0]
    firsts = [day for day in days if day.day == 1]
    for every in (days, mondays, mondays[::2], firsts, firsts[::2], firsts[::3], firsts[::6]):
        if 0 < len(every) <= most:
            return every
    return firsts[:: max(len(firsts) // most, 1)] or days[:1]
