"""What slips into a TOML file by habit, and what to write in its place."""

import re
from typing import Final

_USUAL: Final = "Text stands in quotes, a table's name in brackets, and each key = value on a line of its own"
_QUOTES: Final = re.compile("[“”„‟‘’‚«»]")
_DECIMAL_COMMA: Final = re.compile(r"=\s*([+-]?\d+),(\d+)\s*(?:#.*)?$")
_DAY_FIRST: Final = re.compile(r"=\s*(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4})\b")
_BARE_TEXT: Final = re.compile(r"^\s*(?P<key>[A-Za-z0-9_-]+)\s*=\s*(?P<text>[^\W\d_][^\"'#]*?)\s*(?:#.*)?$")
_TABLE_NAME: Final = re.compile(r"^\s*\[(?P<name>[^\[\]\"']*)\]\s*(?:#.*)?$")
_TWICE: Final = re.compile(r"Cannot declare \((?P<names>.*)\) twice")


def refusal(message: str, line: str) -> tuple[str, str]:
    """Return what is wrong and the remedy, of the reader's own message and the line that it stopped at."""
    if twice := _TWICE.match(message):
        name = ".".join(part.strip(" '\"") for part in twice["names"].rstrip(",").split(","))
        return f"[{name}] stands here a second time", "Give it another name, or put both together"
    if message.startswith("Cannot overwrite a value"):
        return "this key stands in its table already", "Delete one of the two lines"
    return f"not valid TOML: {message}", _instead(line)


def _instead(line: str) -> str:
    if _QUOTES.search(line):
        return 'Use straight quotes, such as "home": these are a word processor\'s'
    if comma := _DECIMAL_COMMA.search(line):
        return f"A number has a point: write {comma[1]}.{comma[2]}"
    if day := _DAY_FIRST.search(line):
        return f"The year comes first: write {day[3]}-{int(day[2]):02}-{int(day[1]):02}"
    if bare := _BARE_TEXT.match(line):
        return f'Put text in quotes: {bare["key"]} = "{bare["text"]}"'
    if (table := _TABLE_NAME.match(line)) and " " in table["name"].strip():
        return f"A table's name has no spaces: write [{'_'.join(table['name'].split())}]"
    return _USUAL
