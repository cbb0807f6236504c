import tomllib
from typing import Any

import tomlkit
from hypothesis import given
from hypothesis import strategies as st

from ingest.config.lines import key_lines, line_of

TRICKY = '''\
# [not.a.table]
top = 1  # = 2
"quoted key" = "a # b = [c]"
'literal' . dotted = 'x = 1'

[ outer . "in.ner" ]
text = """
fake = 1
[fake]
quote \\""" and a closing run with one more""""
literal = \'\'\'
fake = 2
\'\'\'
when = 2025-05-17 08:30:00  # a space inside
list = [
  # a comment, with ] and "
  1, [2, 3],
  { a = 1, b.c = "}" },
]
inline = { x = 1, y = { z = [1, 2] } }
[[rows]]
a = 1
[[rows]]
a = 2
[rows.sub]
b = 3
'''


def test_each_key_of_a_tricky_file_is_found_on_its_line():
    tomllib.loads(TRICKY)
    lines = key_lines(TRICKY)
    expected = {
        ("top",): "top =",
        ("quoted key",): '"quoted key"',
        ("literal", "dotted"): "'literal'",
        ("outer", "in.ner"): "[ outer",
        ("outer", "in.ner", "text"): "text =",
        ("outer", "in.ner", "literal"): "literal =",
        ("outer", "in.ner", "when"): "when =",
        ("outer", "in.ner", "list"): "list =",
        ("outer", "in.ner", "list", 1): "  1, [2",
        ("outer", "in.ner", "list", 2, "b", "c"): "  { a =",
        ("outer", "in.ner", "inline", "y", "z"): "inline =",
        ("rows",): "[[rows]]",
        ("rows", 0, "a"): "a = 1",
        ("rows", 1, "a"): "a = 2",
        ("rows", 1, "sub", "b"): "b = 3",
    }
    text = TRICKY.split("\n")
    for path, start in expected.items():
        assert text[lines[path] - 1].startswith(start), path
    assert not [path for path in lines if "fake" in path or "not" in path]


def test_a_key_that_is_not_there_gets_the_line_of_its_table():
    lines = key_lines("[a]\nx = 1\n\n[b]\ny = 2\n")
    assert line_of(lines, ("b", "missing")) == 4
    assert line_of(lines, ("c",)) is None


def paths(node: Any, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    here = [path] if path else []
    if isinstance(node, dict):
        return here + [deep for key, value in node.items() for deep in paths(value, (*path, key))]
    return here


scalars = st.one_of(
    st.integers(-(2**53), 2**53),
    st.booleans(),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=12),
    st.datetimes(),
    st.lists(st.integers(0, 9), max_size=3),
)
keys = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=6)
documents = st.recursive(
    st.dictionaries(keys, scalars, max_size=4),
    lambda inner: st.dictionaries(keys, inner | scalars, max_size=4),
    max_leaves=12,
)


@given(documents)
def test_every_key_of_any_document_gets_the_line_that_shows_it(document: dict[str, Any]):
    text = tomlkit.dumps(document)
    lines = key_lines(text)
    shown = text.split("\n")
    for path in paths(tomllib.loads(text)):
        line = shown[lines[path] - 1]
        name = str(path[-1])
        assert name in line or tomlkit.key(name).as_string() in line or tomlkit.item(name).as_string() in line
