"""Names of chart files where one command draws several charts."""

from collections.abc import Sequence
from pathlib import Path


def chart_files(path: Path, names: Sequence[str]) -> list[Path]:
    """Return a file for each chart: `week.png`, or `week-slate.png`, `week-fern.png` for several."""
    if len(names) == 1:
        return [path]
    return [path.with_name(f"{path.stem}-{name}{path.suffix}") for name in names]
