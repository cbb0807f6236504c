"""CONFIG.md against the code: every key stands there, with its default, and its example is accepted."""

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from calibrate.lamp_kinds import LAMP_KINDS
from ingest.config.explain import fields_of, table_at
from ingest.config.model import Config
from ingest.config.table import Table


def sections(table: type[Table] = Config, path: str = "") -> list[str]:
    """Paths of all tables that a file can hold, as the document's headings spell them."""
    found = []
    for name in fields_of(table):
        for inner_path in (f"{path}{name}", f"{path}{name}.<key>"):
            if inner := table_at(tuple(inner_path.split("."))):
                found += [inner_path, *sections(inner, f"{inner_path}.")]
    return found


SECTIONS = sections()
ROW = re.compile(
    r"""\|\ `(?P<key>\w+)`\ \|\ (?P<type>[^|]+)\ \|\ (?P<default>[^|]+)\ \|
        \ (?P<means>[^|]+)\ \|\ `(?P<example>[^|]+)`\ \|""",
    re.VERBOSE,
)


def documented(documentation: str, section: str) -> dict[str, dict[str, str]]:
    part = re.split(rf"^## `\[{re.escape(section)}\]`.*$", documentation, flags=re.MULTILINE)[1].split(
        "\n## "
    )[0]
    rows = (ROW.fullmatch(line) for line in part.split("\n"))
    return {row["key"]: row.groupdict() for row in rows if row}


def model(section: str) -> type[Table]:
    table = table_at(tuple(section.split(".")))
    assert table is not None
    return table


def test_every_table_of_the_file_has_a_section(documentation):
    assert re.findall(r"^## `\[([\w.<>]+)\]`", documentation, flags=re.MULTILINE) == SECTIONS
    assert "spot.<key>.band" in SECTIONS


@pytest.mark.parametrize("section", SECTIONS)
def test_every_key_is_documented_and_no_other(documentation, section):
    assert list(documented(documentation, section)) == list(fields_of(model(section)))


@pytest.mark.parametrize("section", SECTIONS)
def test_documented_defaults_are_the_real_ones(documentation, section):
    rows = documented(documentation, section)
    for key, field in fields_of(model(section)).items():
        default = rows[key]["default"]
        if field.is_required():
            assert default == "must be given", key
        elif field.default in (None, ()) or isinstance(field.default, Table):
            assert default != "must be given", key
        else:
            assert tomllib.loads(f"x = {default.strip('`')}")["x"] == field.default, key


@pytest.mark.parametrize("section", SECTIONS)
def test_examples_in_the_document_and_in_messages_are_accepted(documentation, section):
    rows = documented(documentation, section)
    for key, field in fields_of(model(section)).items():
        assert field.examples
        for example in (rows[key]["example"], field.examples[0]):
            assert not refused(model(section), tomllib.loads(f"{key} = {example}"), key), (key, example)


def refused(table: type[Table], values: dict[str, Any], key: str) -> bool:
    try:
        table.model_validate(values, context={"folder": Path()})
    except ValidationError as error:
        return any(detail["loc"][0] == key for detail in error.errors())
    return False


def test_every_lamp_kind_is_named(documentation):
    row = documented(documentation, "lamp.<key>")["kind"]
    assert re.findall(r"`([^`]+)`", row["means"]) == list(LAMP_KINDS)
