"""Kinds of value that several keys of a configuration share, each with what is right when it is wrong."""

import re
from collections.abc import Callable
from datetime import date, time
from pathlib import Path
from typing import Annotated, Literal, NoReturn, TypeAlias
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo, available_timezones

from pydantic import AfterValidator, BeforeValidator, Field, PlainValidator, StringConstraints, ValidationInfo
from pydantic_core import PydanticCustomError

from calibrate.errors import KeeperError
from calibrate.lamp_kinds import LAMP_KINDS
from calibrate.nearest import did_you_mean
from firmware_host.firmware_program import known_sensors

KEY_PATTERN = r"[a-z0-9][a-z0-9_]{0,31}"
NAME_PATTERN = r"[a-z0-9][a-z0-9_-]{0,31}"
IDENTITY_PATTERN = r"[a-z0-9][a-z0-9-]{0,31}"  # as in the wire format
SENSOR_PATTERN = r"[a-z][a-z0-9]{0,7}"  # as in the wire format
KEY_IN_WORDS = "up to 32 of the letters a to z, digits and underscores, not starting with an underscore"
NAME_IN_WORDS = (
    "up to 32 of the letters a to z, digits, hyphens and underscores, starting with a letter or digit"
)
# Wider than any room needs: what is beyond was meant in another unit.
_MOST_DISTANCE_CM = 1000.0
_MOST_UVI = 100.0
_MOST_HOLD_S = 86_400  # an event is about a day's light
_MOST_FACTOR = 20
_MQTT_LIMIT_CHARACTERS = 200  # a topic may hold 65,535 bytes; this keeps names readable in every tool


def wrong(what: str, remedy: str) -> NoReturn:
    """Refuse a value: `what` is wrong with it, in words that follow its key, and the `remedy`."""
    raise PydanticCustomError("keeper", "{what}", {"what": what, "remedy": remedy})


def refused_by(error: KeeperError) -> NoReturn:
    """Refuse a whole table for the reason that a lower layer gives."""
    where = f"{error.where}: " if error.where else ""
    wrong(f"cannot be used: {where}{error.what}", error.remedy)


def plain_name(given: str) -> str:
    """Return the nearest name that may stand in topics, tags and identities."""
    return re.sub(r"[^a-z0-9_-]+", "-", given.casefold()).strip("-_")[:32] or "home"


def _matching(pattern: str, in_words: str) -> Callable[[str], str]:
    def check(value: str) -> str:
        if not re.fullmatch(pattern, value):
            wrong(f"is {value!r}, which has other characters than allowed", f"Use {in_words}")
        return value

    return check


def _name(value: str) -> str:
    if not re.fullmatch(NAME_PATTERN, value):
        wrong(
            f"is {value!r}, and it becomes part of topics and tags",
            f"Use {NAME_IN_WORDS}, for example {plain_name(value)!r}",
        )
    return value


def _text(value: str) -> str:
    if not value.strip() or not value.isprintable():
        wrong("has no visible text, or has control characters", "Write one line of text")
    return value


def _topic(value: str) -> str:
    levels_are_named = all(level.strip() for level in value.split("/"))
    if not levels_are_named or not value.isprintable() or set(value) & set("+#") or value.startswith("$"):
        wrong(
            f"is {value!r}, which cannot start an MQTT topic",
            "Use words joined by '/', without '+', '#', a leading '$', or a '/' at either end",
        )
    return value


def _path(value: object, info: ValidationInfo) -> Path:
    if not isinstance(value, str):
        wrong("is no path", "Write the path in quotes")
    if not value.strip() or not value.isprintable():
        wrong("is empty or has control characters", "Write the path of a file")
    if value.startswith("~"):
        wrong("starts with '~', which is another folder for each user", "Write the whole path")
    assert info.context is not None, "validated with the file's folder as context"
    folder: Path = info.context["folder"]
    return folder / value


def _time_zone(value: str) -> str:
    try:
        ZoneInfo(value)
    except (OSError, ValueError, LookupError):  # a folder's name, a bad name, an unknown name
        wrong(f"is {value!r}, which is no IANA time zone", did_you_mean_zone(value))
    return value


def did_you_mean_zone(given: str) -> str:
    """Return an instruction: the time zone nearest to `given`, or the form that they have."""
    zones = available_timezones()
    by_place = {zone.rpartition("/")[2].casefold(): zone for zone in sorted(zones, reverse=True)}
    place = given.rpartition("/")[2].strip().casefold().replace(" ", "_")
    if place in by_place:
        return f"Did you mean {by_place[place]!r}?"
    hint = did_you_mean(given, zones)
    return hint if hint.startswith("Did you mean") else "Write one such as 'Europe/Vienna' or 'UTC'"


def _host(value: str) -> str:
    if not re.fullmatch(r"[A-Za-z0-9._:-]+", value):
        wrong(f"is {value!r}, which is no host", "Write a name or an address alone, such as 'broker.lan'")
    return value


def _url(value: str) -> str:
    remedy = "Write one such as 'http://mirror.lan:8086'"
    try:
        parts = urlsplit(value)
        host, _ = parts.hostname, parts.port
    except ValueError:
        wrong("is no URL", remedy)
    if parts.username is not None or parts.password is not None:
        wrong("holds a user or a password", "Leave them out, and use token_file or token_env")
    if parts.scheme not in ("http", "https") or not host or parts.query or parts.fragment:
        wrong(f"is {value!r}, which is no http or https URL of a server", remedy)
    return value


def _environment_name(value: str) -> str:
    # The value is not shown: it may be the secret itself, put here by mistake.
    if not re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]*", value):
        wrong("is not the name of an environment variable", "Write the name of the variable, not the secret")
    return value


def _sensor_kind(value: str) -> str:
    if value not in known_sensors():
        wrong(f"is {value!r}, which is no sensor that can be read", did_you_mean(value, known_sensors()))
    return value


def _lamp_kind(value: str) -> str:
    if value not in LAMP_KINDS:
        wrong(f"is {value!r}, which is no kind of lamp", did_you_mean(value, LAMP_KINDS))
    return value


def _ports(value: object) -> Literal["auto"] | tuple[str, ...]:
    if value == "auto":
        return "auto"
    remedy = 'Write "auto", or a list of paths such as ["/dev/ttyACM*"]'
    if not isinstance(value, list):
        wrong(f"is {shown(value)}", remedy)
    ports = tuple(port for port in value if isinstance(port, str) and port.strip() and port.isprintable())
    if len(ports) != len(value) or not ports:
        wrong("is a list without ports, or with something else in it", remedy)
    return ports


def _distance_cm(value: float) -> float:
    """Return a distance of a lamp; one that can only be in millimetres is refused."""
    if value > _MOST_DISTANCE_CM:
        wrong(
            f"is {value:g} cm, or {value / 100:g} m, farther than a lamp hangs",
            f"Write centimetres: {value:g} mm are {value / 10:g}",
        )
    return value


def _claimed_uvi(value: float) -> float:
    if value > _MOST_UVI:
        wrong(
            f"is {value:g}, more than any lamp for animals gives",
            "Write a UV Index, such as 3.0; a number in µW/cm² is something else",
        )
    return value


def _date(value: object) -> date:
    if type(value) is not date:
        wrong(f"is {shown(value)}, which is no date", "Write year, month and day without quotes")
    return value


def local_time(value: object) -> time:
    """Return a time of day, in quotes or without, to the minute."""
    if isinstance(value, str) and re.fullmatch(r"([01][0-9]|2[0-3]):[0-5][0-9]", value):
        return time.fromisoformat(value)
    if isinstance(value, time) and value == value.replace(second=0, microsecond=0):
        return value
    wrong(f"is {shown(value)}, which is no time of day", "Write hours and minutes in quotes, in 24 hours")


def _line_field(value: object) -> str | int:
    if isinstance(value, bool) or not isinstance(value, str | int):
        wrong(
            f"is {shown(value)}, which names no field of a line",
            "Write a column's number, or a key in quotes",
        )
    return value


def shown(value: object) -> str:
    """Return a value briefly, as it would stand in the file."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    text = repr(value) if isinstance(value, str | int | float) else str(value)
    return text if len(text) <= 40 else f"{text[:37]}..."


def _tuple_of(value: object) -> object:
    return tuple(value) if isinstance(value, list) else value


Key: TypeAlias = Annotated[str, AfterValidator(_matching(KEY_PATTERN, KEY_IN_WORDS))]
Name: TypeAlias = Annotated[str, AfterValidator(_name)]
Text: TypeAlias = Annotated[str, StringConstraints(max_length=120), AfterValidator(_text)]
Identity: TypeAlias = Annotated[
    str,
    AfterValidator(
        _matching(
            IDENTITY_PATTERN, "what the board calls itself: up to 32 letters a to z, digits and hyphens"
        )
    ),
]
SensorPrefix: TypeAlias = Annotated[
    str, AfterValidator(_matching(SENSOR_PATTERN, "the part before the dot in the board's channel names"))
]
Topic: TypeAlias = Annotated[
    str, StringConstraints(max_length=_MQTT_LIMIT_CHARACTERS), AfterValidator(_topic)
]
PathFromFile: TypeAlias = Annotated[Path, PlainValidator(_path)]
TimeZoneName: TypeAlias = Annotated[str, AfterValidator(_time_zone)]
Host: TypeAlias = Annotated[str, AfterValidator(_host)]
Url: TypeAlias = Annotated[str, AfterValidator(_url)]
EnvironmentName: TypeAlias = Annotated[str, AfterValidator(_environment_name)]
SensorKind: TypeAlias = Annotated[str, AfterValidator(_sensor_kind)]
LampKindKey: TypeAlias = Annotated[str, AfterValidator(_lamp_kind)]
Ports: TypeAlias = Annotated[Literal["auto"] | tuple[str, ...], PlainValidator(_ports)]
Date: TypeAlias = Annotated[date, PlainValidator(_date)]
LocalTime: TypeAlias = Annotated[time, PlainValidator(local_time)]
TextList: TypeAlias = Annotated[tuple[Text, ...], BeforeValidator(_tuple_of)]
Baud: TypeAlias = Annotated[int, Field(ge=300, le=4_000_000)]
PortNumber: TypeAlias = Annotated[int, Field(ge=1, le=65535)]
LineField: TypeAlias = Annotated[str | int, PlainValidator(_line_field)]
Finite: TypeAlias = Annotated[float, Field(allow_inf_nan=False)]
NotNegative: TypeAlias = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Positive: TypeAlias = Annotated[float, Field(gt=0, allow_inf_nan=False)]
DistanceCm: TypeAlias = Annotated[Positive, AfterValidator(_distance_cm)]
ClaimedUvi: TypeAlias = Annotated[Positive, AfterValidator(_claimed_uvi)]
HoldS: TypeAlias = Annotated[float, Field(ge=0, le=_MOST_HOLD_S, allow_inf_nan=False)]
SpanS: TypeAlias = Annotated[float, Field(gt=0, le=_MOST_HOLD_S, allow_inf_nan=False)]
Part: TypeAlias = Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]
Factor: TypeAlias = Annotated[float, Field(ge=0, le=_MOST_FACTOR, allow_inf_nan=False)]
