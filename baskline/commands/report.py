"""`baskline report`: a month on paper."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from baskline import completing
from baskline.commands.common import DEFAULT_CONFIG, ConfigOption, StoreOption, read_config, store_of
from baskline.printing import console, say

if TYPE_CHECKING:
    from ingest.config import Config
    from ingest.month import Month

ENDINGS = (".html", ".pdf")


def report(
    month: Annotated[
        str | None,
        typer.Option("--month", metavar="YYYY-MM", help="The month; without it, that of the newest reading."),
    ] = None,
    enclosure: Annotated[
        str | None,
        typer.Option(
            "--enclosure",
            "-e",
            metavar="ENCLOSURE",
            help="Only this enclosure; without it, all.",
            autocompletion=completing.enclosures,
        ),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            metavar="FILE",
            readable=False,
            help="Where to write it, as .html or .pdf; without it, uv-report-YYYY-MM.html.",
        ),
    ] = None,
    config: ConfigOption = DEFAULT_CONFIG,
    store: StoreOption = None,
) -> None:
    """Write a month's report for a veterinarian.

    What was watched and how surely, what each enclosure received each day, its lamps, checks, events and
    gaps. The HTML file needs nothing else and asks nothing of the network; the PDF is for A4 paper, and reads
    well in grey.

    \b
    Examples:
      baskline report
      baskline report --month 2025-05 -o may.pdf
      baskline report --month 2025-05 --enclosure green_wall -o green-wall.html
    """
    from baskline.commands.dates import month_of
    from firmware_host.clock import SystemClock

    if output is not None and output.suffix.lower() not in ENDINGS:
        raise typer.BadParameter(
            f"no report can be written as {output.suffix or 'a file without an ending'}: end the name with"
            f" {' or '.join(ENDINGS)}",
            param_hint="-o",
        )
    wanted = month_of(month, "--month")
    configured = read_config(config)
    now_ms = SystemClock().moment().wall_ms
    with _progress() as doing:
        shown = _month(configured, store_of(configured, store), wanted, enclosure, doing)
        file = output or Path(f"uv-report-{shown.first:%Y-%m}.html")
        pages = _write(shown, configured, now_ms, file, doing)
    unfinished = "" if shown.is_whole else f", up to {shown.last.isoformat()}"
    say(console(), f"Written: {file}{pages}{unfinished}")


def _month(
    config: "Config", store: Path, wanted: date | None, enclosure: str | None, doing: Callable[[str], None]
) -> "Month":
    from baskline.commands.dates import day_of_newest
    from baskline.report.errors import ReportError
    from calibrate.nearest import did_you_mean
    from ingest.month import month_of
    from ingest.store.store import Store
    from ingest.week import spots_of

    if enclosure is not None and enclosure not in config.enclosures:
        raise ReportError(
            f"there is no enclosure {enclosure!r}",
            where="--enclosure",
            remedy=did_you_mean(enclosure, config.enclosures),
        )
    chosen = [enclosure] if enclosure is not None else list(config.enclosures)
    if not any(spots_of(config, each) for each in chosen):
        raise ReportError(
            "has no spot yet" if enclosure is not None else "there is no spot yet",
            where="configuration" if enclosure is None else f"enclosure.{enclosure}",
            remedy="Add a [spot.<key>] that names it",
        )
    with Store.open(store, read_only=True) as kept:
        newest = day_of_newest(kept, config, store)
        first = newest.replace(day=1) if wanted is None else wanted
        shown = month_of(kept, config, first, chosen, doing)
    if shown is None or not any(spot.days.has_readings for each in shown.enclosures for spot in each.spots):
        raise ReportError(
            f"there are no readings of {first:%B %Y}",
            where=str(store),
            remedy=f"The newest are of {newest.isoformat()}",
        )
    return shown


def _write(shown: "Month", config: "Config", now_ms: int, file: Path, doing: Callable[[str], None]) -> str:
    from baskline.report.render import report_html, report_pdf, write_report

    if file.suffix.lower() == ".html":
        write_report(file, report_html(shown, config, now_ms, doing).encode())
        return ""
    content, pages = report_pdf(shown, config, now_ms, doing)
    write_report(file, content)
    return f", {pages} {'page' if pages == 1 else 'pages'}"


@contextmanager
def _progress() -> Iterator[Callable[[str], None]]:
    """Say what is being done, on a terminal."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console

    with Console(stderr=True, markup=False).status("reading the store") as status:
        yield lambda what: status.update(f"at work on {what}")
