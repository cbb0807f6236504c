"""baskline/OUTPUT.md as a program reads it: tables of keys, and examples."""

import re
from collections.abc import Iterator
from pathlib import Path

OUTPUT = Path(__file__).parents[2] / "baskline" / "OUTPUT.md"

_LOCAL = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d[+-]\d\d:\d\d")
_UTC = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z")
_DATE = re.compile(r"\d{4}-\d\d-\d\d")


def sections() -> dict[str, str]:
    """Return the text under each second-level heading."""
    parts = re.split(r"^## (.+)$", OUTPUT.read_text("utf-8"), flags=re.M)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def table(section: str) -> dict[str, str]:
    """Return the first column of a section's tables, without its back quotes, with the second."""
    rows = re.findall(r"^\| `([^`]+)` \| ([^|]+) \|", section, flags=re.M)
    return {name: kind.strip() for name, kind in rows}


def example(section: str, language: str) -> str:
    """Return the example in a section."""
    found = re.search(rf"^```{language}\n(.*?)^```$", section, flags=re.M | re.S)
    assert found is not None
    return found[1]


def departures(document: object, keys: dict[str, str]) -> list[str]:
    """Return where a JSON document and a table of keys differ."""
    return list(_departures(document, "", keys, [key for key in keys if "." not in key and "[]" not in key]))


def _departures(value: object, path: str, keys: dict[str, str], wanted: list[str]) -> Iterator[str]:
    assert isinstance(value, dict)
    names = {key.rpartition(".")[2] for key in wanted}
    free = any(name.startswith("<") for name in names)
    for name in names - value.keys():
        if not name.startswith("<"):
            yield f"{path}{name}: documented, but not there"
    for name, inner in value.items():
        if name not in names and not free:
            yield f"{path}{name}: there, but not documented"
            continue
        key = f"{path}{name if name in names else next(iter(names))}"
        if not is_a(inner, keys[key]):
            yield f"{key}: {inner!r} is not {keys[key]}"
        for item in inner if isinstance(inner, list) else [inner]:
            prefix = f"{key}[]." if isinstance(inner, list) else f"{key}."
            below = [other for other in keys if other.startswith(prefix) and "." not in other[len(prefix) :]]
            if isinstance(item, dict) and (below or not isinstance(inner, list)):
                yield from _departures(item, prefix, keys, below)


def is_a(value: object, kind: str) -> bool:
    """Return whether a JSON value is of a type of OUTPUT.md."""
    return any(_is_one(value, each) for each in re.split(r", or |, | or ", kind) if each != "false") or (
        "true or false" in kind and isinstance(value, bool)
    )


def _is_one(value: object, kind: str) -> bool:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    match kind:
        case "null":
            return value is None
        case "text":
            return isinstance(value, str)
        case "number":
            return is_number
        case "whole number":
            return is_number and isinstance(value, int)
        case "local time":
            return isinstance(value, str) and _LOCAL.fullmatch(value) is not None
        case "UTC time":
            return isinstance(value, str) and _UTC.fullmatch(value) is not None
        case "date":
            return isinstance(value, str) and _DATE.fullmatch(value) is not None
        case "table":
            return isinstance(value, dict)
        case "list":
            return isinstance(value, list)
        case "list of text":
            return isinstance(value, list) and all(isinstance(item, str) for item in value)
        case "true":
            return isinstance(value, bool)
    raise AssertionError(f"no such type: {kind}")
