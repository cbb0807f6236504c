"""The tables of baskline/EXPORT.md, from the code.

`python -m tests.ingest.export.export_document` writes them into the page anew.
"""

import re
from pathlib import Path

from ingest.export.tables import COLUMNS, What

PAGE = Path(__file__).parents[3] / "baskline" / "EXPORT.md"


def table_of(what: What) -> str:
    """Return the table of a page's section as it should stand."""
    lines = ["| column | type | unit | means |", "|---|---|---|---|"]
    for column in COLUMNS[what]:
        kind = f"{column.kind} or nothing" if column.optional else column.kind
        lines.append(f"| `{column.name}` | {kind} | {column.unit} | {column.means} |")
    return "\n".join(lines)


def sections() -> dict[str, str]:
    """Return the text under each second-level heading."""
    parts = re.split(r"^## (.+)$", PAGE.read_text("utf-8"), flags=re.M)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def _rewrite() -> None:
    page = PAGE.read_text("utf-8")
    for what in What:
        pattern = rf"(^## `{what}`$.*?)^\| column .*?(?=^[^|]|\Z)"
        text = table_of(what)
        page = re.sub(
            pattern, lambda found, text=text: f"{found[1]}{text}\n", page, count=1, flags=re.M | re.S
        )
    PAGE.write_text(page, "utf-8")


if __name__ == "__main__":
    _rewrite()
