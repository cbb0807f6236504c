"""Several charts of one command: a file each."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, TypeAlias

Spec: TypeAlias = Callable[[], dict[str, Any]]
"""Makes a Vega-Lite specification, and may import what draws."""


def save_charts(path: Path, specs: Mapping[str, Spec]) -> list[Path]:
    """Draw one chart into `path`, or several beside it: `week.png` becomes `week-slate.png` and so on."""
    from baskline.charts.files import save_chart

    files = []
    for name, spec in specs.items():
        file = path if len(specs) == 1 else path.with_name(f"{path.stem}-{name}{path.suffix}")
        save_chart(spec, file)
        files.append(file)
    return files
