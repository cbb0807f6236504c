"""From a month to a file: HTML that needs nothing else, or a PDF for A4 paper."""

from collections.abc import Callable
from importlib.metadata import version
from importlib.resources import files
from pathlib import Path
from typing import Final

from baskline.printing import kept_together
from baskline.report.errors import ReportError
from ingest.config import Config
from ingest.export.whole_file import whole_file
from ingest.month import Month

ENDINGS: Final = (".html", ".pdf")
_TEMPLATES: Final = "templates"

Drawn = Callable[[str], None]
"""Is told which chart is being drawn now."""


def report_html(month: Month, config: Config, now_ms: int, drawn: Drawn = lambda _: None) -> str:
    """Return the report as one HTML page: styles and charts (SVG) are inside, and it asks for nothing."""
    return _html(month, config, now_ms, drawn, for_paper=False)


def paper_html(month: Month, config: Config, now_ms: int, drawn: Drawn = lambda _: None) -> str:
    """Return the report as HTML for the making of a PDF: charts are pictures."""
    return _html(month, config, now_ms, drawn, for_paper=True)


def report_pdf(month: Month, config: Config, now_ms: int, drawn: Drawn = lambda _: None) -> tuple[bytes, int]:
    """Return the report as a PDF, and its number of pages."""
    try:
        from weasyprint import HTML  # type: ignore[import-untyped]
    except ModuleNotFoundError as missing:
        raise _lacking(missing) from None
    except OSError:  # a shared library that it loads by its name
        raise ReportError(
            "a PDF needs Pango, which is not installed",
            where="report",
            remedy="Install it with `sudo apt-get install -y libpango-1.0-0 libpangoft2-1.0-0"
            " libharfbuzz-subset0`, or write a .html file and print that",
        ) from None
    laid_out = HTML(string=paper_html(month, config, now_ms, drawn)).render()
    return laid_out.write_pdf(), len(laid_out.pages)


def write_report(path: Path, content: bytes) -> None:
    """Write a report whole or not at all."""
    with whole_file(path, overwrite=True) as unfinished:
        unfinished.write_bytes(content)


def _html(month: Month, config: Config, now_ms: int, drawn: Drawn, *, for_paper: bool) -> str:
    from baskline.report.document import document_of

    try:
        import jinja2

        from baskline.report.figures import as_picture, as_svg, specs_of
    except ModuleNotFoundError as missing:
        raise _lacking(missing) from None
    draw = as_picture if for_paper else as_svg
    figures = {}
    for name, spec in specs_of(month, config):
        drawn(name)
        figures[name] = draw(name, spec)
    environment = jinja2.Environment(
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        loader=jinja2.FunctionLoader(_template),
    )
    environment.filters["together"] = kept_together
    return environment.get_template("report.html").render(
        document=document_of(month, config, now_ms, version("baskline")),
        figures=figures,
        style=_template("report.css"),
    )


def _template(name: str) -> str:
    return files("baskline.report").joinpath(_TEMPLATES, name).read_text("utf-8")


def _lacking(missing: ModuleNotFoundError) -> ReportError:
    return ReportError(
        f"a report needs the package {missing.name}",
        where="report",
        remedy="Install it with `pip install 'baskline[charts,report]'`",
    )
