"""How all the remedies that a keeper may read end."""

import ast
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parent.parent
FOLDERS = ("calibrate", "exposure", "firmware_host", "ingest", "baskline")


def endings() -> Iterator[tuple[str, str]]:
    """Where each remedy stands that is written out, and its last piece of text."""
    for path in sorted(found for folder in FOLDERS for found in (ROOT / folder).rglob("*.py")):
        for call in ast.walk(ast.parse(path.read_text("utf-8"))):
            for given in call.keywords if isinstance(call, ast.Call) else ():
                last = given.value.values[-1] if isinstance(given.value, ast.JoinedStr) else given.value
                if given.arg == "remedy" and isinstance(last, ast.Constant):
                    yield f"{path.relative_to(ROOT)}, line {given.value.lineno}", str(last.value)


def test_no_remedy_ends_with_a_full_stop():
    found = list(endings())
    assert len(found) > 100
    assert [where for where, text in found if text.endswith(".")] == []
