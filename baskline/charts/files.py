"""Charts as files."""

from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from baskline.charts.errors import ChartError
from ingest.config import Config
from ingest.day import SpotDay

# Two dots a pixel: sharp on a phone and in print.
_DOTS: Final = 2.0


def save_day_chart(shown: SpotDay, config: Config, path: Path, now_ms: int) -> None:
    """Draw a day as it is known at `now_ms` into a .png, .svg or .pdf file."""

    def spec() -> dict[str, Any]:
        from baskline.charts.day import day_spec
        from baskline.charts.drawing import drawing_of

        return day_spec(drawing_of(shown, config, now_ms))

    save_chart(spec, path)


def save_chart(spec: Callable[[], dict[str, Any]], path: Path) -> None:
    """Draw a Vega-Lite specification into a .png, .svg or .pdf file; `spec` may import what draws."""
    try:
        draw = _renderer(path.suffix.lower())
        drawn = draw(spec())
    except ModuleNotFoundError as missing:
        raise ChartError(
            f"drawing needs the package {missing.name}",
            where=str(path),
            remedy="Install it with `pip install 'baskline[charts]'`",
        ) from None
    try:
        path.write_bytes(drawn)
    except OSError as error:
        raise ChartError(
            f"cannot be written ({error.strerror})", where=str(path), remedy="Name another place"
        ) from None


def _renderer(ending: str) -> Callable[[dict[str, Any]], bytes]:
    import vl_convert

    def png(spec: dict[str, Any]) -> bytes:
        return bytes(vl_convert.vegalite_to_png(spec, scale=_DOTS))

    def svg(spec: dict[str, Any]) -> bytes:
        return str(vl_convert.vegalite_to_svg(spec)).encode()

    def pdf(spec: dict[str, Any]) -> bytes:
        return bytes(vl_convert.vegalite_to_pdf(spec))

    return {".png": png, ".svg": svg, ".pdf": pdf}[ending]
