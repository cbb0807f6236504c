"""Charts as files."""

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from baskline.charts.errors import ChartError
from baskline.children import Children
from calibrate.whole_file import write_whole
from ingest.config import Config
from ingest.day import SpotDay

# Two dots a pixel: sharp on a phone and in print.
_DOTS: Final = 2.0
_PATIENCE_S: Final = 60.0

ENDINGS: Final = (".png", ".svg", ".pdf")
"""The kinds of file that a chart can be."""


def save_day_chart(shown: SpotDay, config: Config, path: Path, now_ms: int) -> None:
    """Draw a day as it is known at `now_ms` into a .png, .svg or .pdf file."""

    def spec() -> dict[str, Any]:
        from baskline.charts.day import day_spec
        from baskline.charts.drawing import drawing_of

        return day_spec(drawing_of(shown, config, now_ms))

    save_chart(spec, path)


def save_chart(spec: Callable[[], dict[str, Any]], path: Path) -> None:
    """Draw a Vega-Lite specification into a .png, .svg or .pdf file; `spec` may import what draws."""
    if path.suffix.lower() not in ENDINGS:
        raise ChartError(
            f"a chart is no {path.suffix or 'file without an ending'}",
            where=str(path),
            remedy=f"Let the name end in {', '.join(ENDINGS)}",
        )
    try:
        drawn = rendered(spec(), path.suffix.lower())
    except ModuleNotFoundError as missing:
        raise ChartError(
            f"drawing needs the package {missing.name}",
            where=str(path),
            remedy="Install it with `pip install 'baskline[charts]'`",
        ) from None
    try:
        write_whole(path, drawn)
    except OSError as error:
        raise ChartError(
            f"cannot be written ({error.strerror})",
            where=str(path),
            remedy="Name another place",
        ) from None


def rendered(spec: dict[str, Any], ending: str) -> bytes:
    """Return a chart drawn as `.png`, `.svg` or `.pdf`; a process that has done so holds some 250 MB."""
    import vl_convert

    match ending:
        case ".png":
            return bytes(vl_convert.vegalite_to_png(spec, scale=_DOTS))
        case ".svg":
            return str(vl_convert.vegalite_to_svg(spec)).encode()
        case ".pdf":
            return bytes(vl_convert.vegalite_to_pdf(spec))
        case _:
            raise ValueError(f"no chart ends in {ending!r}")


def rendered_by_child(spec: dict[str, Any], ending: str, children: Children) -> bytes:
    """Return what `rendered` does, by a short-lived child: for a process that is to stay small."""
    try:
        given = json.dumps(spec).encode()
        done = children.run("baskline.charts.files", ending, given=given, patience_s=_PATIENCE_S)
    except subprocess.TimeoutExpired:
        raise ChartError(
            f"the chart was not drawn within {_PATIENCE_S:.0f} s",
            where=f"chart{ending}",
            remedy="Try again when the computer has less to do",
        ) from None
    if done.returncode != 0:
        why = (done.stderr.decode(errors="replace").strip().splitlines() or ["no reason given"])[-1]
        raise ChartError(
            f"the chart cannot be drawn: {why}", where=f"chart{ending}", remedy="Try `baskline day --chart`"
        )
    return done.stdout


if __name__ == "__main__":
    sys.stdout.buffer.write(rendered(json.load(sys.stdin), sys.argv[1]))
