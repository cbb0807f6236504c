"""baskline/EXPORT.md is what `baskline export` writes."""

import re

import pytest

from calibrate.samples import Flag
from ingest.export.columns import Kind
from ingest.export.tables import COLUMNS, What
from tests.ingest.export.export_document import PAGE, sections, table_of


@pytest.mark.parametrize("what", What)
def test_every_column_is_documented_as_it_is(what):
    section = sections()[f"`{what}`"]
    assert table_of(what) in section, "write it anew: python -m tests.ingest.export.export_document"
    assert section.count("\n| `") == len(COLUMNS[what])


@pytest.mark.parametrize("what", What)
def test_a_table_has_each_name_once_and_units_where_the_names_have_them(what):
    names = [column.name for column in COLUMNS[what]]
    assert len(set(names)) == len(names)
    ends = {"_uvi": "UVI", "_uvi_h": "UVI·h", "_sed": "SED", "_hours": "h", "_ms": "ms", "_s": "s"}
    for column in COLUMNS[what]:
        assert re.fullmatch(r"[a-z][a-z0-9_]*", column.name)
        for end, unit in ends.items():
            if column.name.endswith(end) and column.name != "lamp_switch_ons":
                assert column.unit == unit, column.name


def test_every_form_is_documented():
    forms = dict(re.findall(r"^\| ([a-z A-Z]+) \| ([^|]+) \|", sections()["Forms"], flags=re.M))
    assert {kind.value for kind in Kind} == forms.keys() - {"type", "key"}


def test_every_table_is_listed():
    listed = re.findall(r"^\| `([a-z-]+)` \| [^|]+ \|[^|]+\|$", PAGE.read_text("utf-8"), flags=re.M)
    assert [name for name in listed if name in list(What)] == list(What)


def test_every_flag_has_hours_in_a_day():
    names = {column.name for column in COLUMNS[What.DAYS]}
    assert {f"{flag.name.lower()}_hours" for flag in Flag} <= names
