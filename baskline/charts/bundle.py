"""The page's chart code: one script, made once and kept, so that the page needs nothing from elsewhere.

Making it takes a process some seconds and some hundred MB, so a short-lived child does it:
`python -m baskline.charts.bundle PATH`.
"""

import subprocess
import sys
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Final

from baskline.charts.errors import ChartError
from baskline.children import Children
from calibrate.whole_file import write_whole

_PATIENCE_S: Final = 120.0

# What the script gives the page: baskline_charts.draw(element, spec), a promise of what finalize() undoes.
# Expressions are interpreted, so that the page can forbid eval, and no style sheet is put in.  On a canvas a
# chart is one picture with its description to a screen reader, not some thousand marks.
_SNIPPET: Final = """
const draw = async (element, spec) => {
  const drawn = await vegaEmbed(element, spec, {
    ast: true,
    actions: false,
    tooltip: false,
    defaultStyle: false,
    renderer: "canvas",
  });
  element.querySelector("form.vega-bindings")?.remove();
  element.setAttribute("role", "img");
  element.removeAttribute("aria-roledescription");
  return drawn;
};
globalThis.baskline_charts = Object.freeze({ draw });
"""


def bundle_path(store: Path) -> Path:
    """Return where the chart code of the vl-convert installed here is kept, beside the store."""
    try:
        made_by = version("vl-convert-python")
    except PackageNotFoundError:
        raise ChartError(
            "drawing needs the package vl_convert",
            where="charts",
            remedy="Install it with `pip install 'baskline[charts]'`",
        ) from None
    return store.with_name(f"{store.name}.charts-{made_by}.js")


def bundle_beside(store: Path, children: Children | None = None) -> Path:
    """Return the chart code beside the store, made by one of `children` if it is not there yet."""
    path = bundle_path(store)
    if path.exists():
        return path
    try:
        done = (children or Children()).run("baskline.charts.bundle", str(path), patience_s=_PATIENCE_S)
    except subprocess.TimeoutExpired:
        raise ChartError(
            f"the page's chart code was not made within {_PATIENCE_S:.0f} s",
            where=str(path),
            remedy="Try again when the computer has less to do",
        ) from None
    if done.returncode != 0:
        why = (done.stderr.decode(errors="replace").strip().splitlines() or ["no reason given"])[-1]
        raise ChartError(
            f"the page's chart code cannot be made: {why}",
            where=str(path),
            remedy="See that the folder can be written and has some MB free",
        )
    for old in path.parent.glob(f"{store.name}.charts-*.js"):
        if old != path:
            old.unlink(missing_ok=True)
    return path


def write_bundle(path: Path) -> None:
    """Make the chart code and put it at `path`, whole or not at all."""
    import vl_convert

    write_whole(path, str(vl_convert.javascript_bundle(_SNIPPET)).encode())


if __name__ == "__main__":
    write_bundle(Path(sys.argv[1]))
