"""Whatever a keeper mistypes: no traceback, and the key is named."""

import re
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from ingest.config import Config, ConfigError, parse_config
from ingest.config.explain import fields_of, table_at
from ingest.config.lines import key_lines

FILE = Path("baskline.toml")
PAIR = re.compile(r"(\w+) = (.*)")
# One of each type; tables with a key that is valid nowhere.
VALUES = ["true", "-1", "1e400", "nan", '""', '"\\u0007"', "[[]]", "{ nowhere = 1 }", "2025-05-17T00:00:00Z"]


def pairs(text: str) -> list[int]:
    return [number for number, line in enumerate(text.split("\n")) if PAIR.fullmatch(line)]


def outcome(text: str) -> Config | ConfigError:
    """Anything but these two is a traceback, and fails the test."""
    try:
        return parse_config(text, file=FILE)
    except ConfigError as error:
        return error


def path_at(text: str, line: int) -> tuple[str | int, ...]:
    return min((path for path, at in key_lines(text).items() if at == line), key=len)


@given(data=st.data())
def test_a_misspelt_key_is_named(example, data):
    lines = example.split("\n")
    number = data.draw(st.sampled_from(pairs(example)))
    key = PAIR.fullmatch(lines[number])[1]
    at = data.draw(st.integers(0, len(key) - 1))
    letter = data.draw(st.sampled_from(["", "x", "_", "9", key[at] * 2]))
    typo = key[:at] + letter + key[at + 1 :]
    assume(typo and typo not in fields_of(table_at(path_at(example, number + 1)[:-1])))
    lines[number] = lines[number].replace(key, typo, 1)
    result = outcome("\n".join(lines))
    assert isinstance(result, ConfigError)
    assert typo in {problem.path[-1] for problem in result.problems}
    assert number + 1 in {problem.line for problem in result.problems}


@given(data=st.data())
def test_a_misspelt_table_is_named(example, data):
    headers = sorted(set(re.findall(r"^\[(\w+)", example, flags=re.MULTILINE)))
    name = data.draw(st.sampled_from(headers))
    at = data.draw(st.integers(0, len(name) - 1))
    typo = name[:at] + "z" + name[at + 1 :]
    result = outcome(example.replace(f"[{name}", f"[{typo}"))
    assert isinstance(result, ConfigError)
    assert typo in {problem.path[0] for problem in result.problems}


@given(data=st.data())
def test_a_value_of_a_wrong_type_is_named(example, data):
    lines = example.split("\n")
    number = data.draw(st.sampled_from(pairs(example)))
    key = PAIR.fullmatch(lines[number])[1]
    lines[number] = f"{key} = {data.draw(st.sampled_from(VALUES))}"
    result = outcome("\n".join(lines))
    assert isinstance(result, ConfigError)
    assert key in {part for problem in result.problems for part in problem.path}
    assert number + 1 in {problem.line for problem in result.problems}


@given(data=st.data())
def test_a_deleted_key_is_named_where_it_is_needed(example, data):
    lines = example.split("\n")
    number = data.draw(st.sampled_from(pairs(example)))
    path = path_at(example, number + 1)
    del lines[number]
    result = outcome("\n".join(lines))
    if fields_of(table_at(path[:-1]))[path[-1]].is_required():
        assert isinstance(result, ConfigError)
        assert path in {problem.path for problem in result.problems}


@given(data=st.data())
def test_any_damage_to_the_text_is_told_or_harmless(example, data):
    start = data.draw(st.integers(0, len(example)))
    length = data.draw(st.integers(0, 30))
    text = data.draw(
        st.text(max_size=8) | st.sampled_from(['"', "'''", "[", "]", "{", "=", "\\", ".", "\n", "#"])
    )
    outcome(example[:start] + text + example[start + length :])


@given(st.text())
def test_any_text_at_all_is_told_or_harmless(text):
    assert isinstance(outcome(text), ConfigError)


@pytest.mark.parametrize("value", ["1" + "0" * 400, "-1" + "0" * 400, "inf"])
@pytest.mark.parametrize(
    ("before", "key"),
    [
        ("distance_cm = 38.0", "distance_cm"),
        ("zone = 3", "zone"),
        ("[serial]", "[serial]\nbaud"),
        ("[bridge]", "[bridge]\nraw_keep_days"),
        ("[bridge]", "[bridge]\ncommit_interval_s"),
    ],
)
def test_a_number_out_of_all_reason_is_named(example, before, key, value):
    result = outcome(example.replace(before, f"{key} = {value}", 1))
    assert isinstance(result, ConfigError)
    assert key.split()[-1] in {problem.path[-1] for problem in result.problems}
