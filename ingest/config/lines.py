"""Where each key of a TOML text stands, for messages that point at a line.

The standard library's reader keeps no positions, so this walks a text that it has already accepted.
"""

import re
import tomllib

from ingest.config.errors import KeyPath

_SPACE = re.compile(r"[ \t]*")
_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_STRING = (
    r'"""(?:\\.|[^\\])*?"{3,5}'  # a closing run may start with up to two quotes of the content
    r"|'''.*?'{3,5}"
    r'|"(?:\\.|[^"\\\n])*"'
    r"|'[^'\n]*'"
)
_KEY = re.compile(r"(?:[A-Za-z0-9_\-. \t]|" + r'"(?:\\.|[^"\\\n])*"' + r"|'[^'\n]*'" + r")+")
_VALUE_PART = re.compile(_STRING + r"|[^\s,\]}\[{\"'#]+", re.DOTALL)


def key_lines(text: str) -> dict[KeyPath, int]:
    """Return the line, from 1, at which each key and each table of a valid TOML `text` first stands."""
    return _Walk(text).lines


def line_of(lines: dict[KeyPath, int], path: KeyPath) -> int | None:
    """Return the line of `path`, or of the nearest table around it that has one."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return None


class _Walk:
    """One pass over a text, from left to right."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0
        self._newlines_before = 0
        self._counted_to = 0
        self._tables_in_array: dict[KeyPath, int] = {}
        self.lines: dict[KeyPath, int] = {}
        self._document()

    def _document(self) -> None:
        table: KeyPath = ()
        self._skip(_BLANK)
        while self._at < len(self._text):
            if self._text.startswith("[", self._at):
                table = self._header()
            else:
                self._pair(table)
            self._skip(_BLANK)

    def _header(self) -> KeyPath:
        is_array = self._text.startswith("[[", self._at)
        line = self._line()
        self._at += 2 if is_array else 1
        path = self._within_arrays(self._key())
        if is_array:
            index = self._tables_in_array.get(path, 0)
            self._tables_in_array[path] = index + 1
            self._note(path, line)
            path = (*path, index)
        self._note(path, line)
        self._at += 2 if is_array else 1
        return path

    def _within_arrays(self, names: KeyPath) -> KeyPath:
        """Put in the index of the latest element wherever an outer table is an array of tables."""
        path: KeyPath = ()
        for position, name in enumerate(names):
            path = (*path, name)
            if position < len(names) - 1 and path in self._tables_in_array:
                path = (*path, self._tables_in_array[path] - 1)
        return path

    def _pair(self, table: KeyPath) -> None:
        line = self._line()
        path = (*table, *self._key())
        self._note(path, line)
        self._at += 1  # the equals sign
        self._value(path)

    def _key(self) -> KeyPath:
        self._skip(_SPACE)
        found = _KEY.match(self._text, self._at)
        assert found is not None, "the text is valid TOML"
        self._at = found.end()
        node = tomllib.loads(f"{found.group()} = 0")
        path: KeyPath = ()
        while isinstance(node, dict):
            ((name, node),) = node.items()
            path = (*path, name)
        return path

    def _value(self, path: KeyPath) -> None:
        self._skip(_SPACE)
        opening = self._text[self._at]
        if opening == "[":
            self._at += 1
            self._array(path)
        elif opening == "{":
            self._at += 1
            self._inline_table(path)
        else:
            # A bare date and time may hold one space: the second round takes the time.
            while found := _VALUE_PART.match(self._text, self._at):
                self._at = found.end()
                self._skip(_SPACE)

    def _array(self, path: KeyPath) -> None:
        self._skip(_BLANK)
        index = 0
        while self._text[self._at] != "]":
            self._note((*path, index), self._line())
            self._value((*path, index))
            index += 1
            self._skip_comma()
        self._at += 1

    def _inline_table(self, path: KeyPath) -> None:
        self._skip(_BLANK)
        while self._text[self._at] != "}":
            self._pair(path)
            self._skip_comma()
        self._at += 1

    def _skip_comma(self) -> None:
        self._skip(_BLANK)
        if self._text[self._at] == ",":
            self._at += 1
            self._skip(_BLANK)

    def _skip(self, pattern: re.Pattern[str]) -> None:
        found = pattern.match(self._text, self._at)
        assert found is not None, "these patterns match the empty string"
        self._at = found.end()

    def _note(self, path: KeyPath, line: int) -> None:
        for length in range(1, len(path) + 1):
            self.lines.setdefault(path[:length], line)

    def _line(self) -> int:
        self._newlines_before += self._text.count("\n", self._counted_to, self._at)
        self._counted_to = self._at
        return self._newlines_before + 1
