"""Values as they are written in requests and answers: times, days, and where the next page begins."""

import re
from datetime import UTC, date, datetime, time, timedelta
from typing import Annotated, Any, Final

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

from exposure.days import clock_of

_RFC_3339: Final = re.compile(
    r"(\d{4})-(\d\d)-(\d\d)[Tt ](\d\d):(\d\d):(\d\d)(\.\d+)?(?:[Zz]|([+-])(\d\d):(\d\d))", re.ASCII
)
_DATE: Final = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
FIRST_DAY: Final = date(1970, 1, 1)
LAST_DAY: Final = date(2999, 12, 31)
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


class Document(BaseModel):
    """An answer, or a part of one."""

    model_config = ConfigDict(validate_by_name=True, validate_by_alias=True)


def _moment_ms(text: Any) -> int:
    """Return the UTC milliseconds of an RFC 3339 time; what is before 1970 is 0."""
    found = _RFC_3339.fullmatch(text) if isinstance(text, str) else None
    if found is None:
        raise ValueError("write a time as 2025-05-17T13:09:50Z")
    *digits, fraction, sign, hours, minutes = found.groups()
    year, month, day, hour, minute, second = map(int, digits)
    offset = timedelta(hours=int(hours or 0), minutes=int(minutes or 0)) * (-1 if sign == "-" else 1)
    try:
        # Year 0 and second 60 are times in RFC 3339, though not in Python.
        whole = datetime(max(year, 1), month, day, hour, minute, min(second, 59), tzinfo=UTC)
        at = whole + timedelta(
            seconds=second - min(second, 59), microseconds=round(1e6 * float(fraction or 0))
        )
        since_epoch = at - offset - _EPOCH
    except OverflowError:
        return 0 if year < 1970 else _ms(datetime.max.replace(tzinfo=UTC) - _EPOCH)
    return max(0, _ms(since_epoch))


def _ms(span: timedelta) -> int:
    return span // timedelta(milliseconds=1)


def _day(text: Any) -> date:
    """Return a day; one outside of what can be stored is the nearest that can."""
    if not isinstance(text, str) or _DATE.fullmatch(text) is None:
        raise ValueError("write a day as 2025-05-17")
    year = int(text[:4])
    day = date.fromisoformat(text if year else f"0004{text[4:]}")  # year 0 is a leap year of RFC 3339
    return min(max(day, FIRST_DAY), LAST_DAY)


def _clock(text: Any) -> time:
    return clock_of(text if isinstance(text, str) else "")


# In requests.
AskedTime = Annotated[
    int, BeforeValidator(_moment_ms), WithJsonSchema({"type": "string", "format": "date-time"})
]
AskedDay = Annotated[date, BeforeValidator(_day), WithJsonSchema({"type": "string", "format": "date"})]

AskedClock = Annotated[
    time,
    BeforeValidator(_clock),
    WithJsonSchema({"type": "string", "pattern": "^([01][0-9]|2[0-3]):[0-5][0-9]$", "examples": ["08:30"]}),
]


# In answers.
UtcTime = Annotated[
    str,
    Field(
        description="UTC to the millisecond.",
        examples=["2025-05-17T13:09:50.008Z"],
        json_schema_extra={"format": "date-time"},
    ),
]
LocalTime = Annotated[
    str,
    Field(
        description="The keeper's time with its offset.",
        examples=["2025-05-17T15:09:50+02:00"],
        json_schema_extra={"format": "date-time"},
    ),
]
Day = Annotated[
    str, Field(description="A local day.", examples=["2025-05-17"], json_schema_extra={"format": "date"})
]
