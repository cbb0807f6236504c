"""`baskline export`: what the store keeps, for other programs."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from baskline import completing
from baskline.commands.common import DEFAULT_CONFIG, ConfigOption, StoreOption, read_config, store_of
from baskline.commands.dates import date_of
from baskline.printing import console, say
from ingest.export.what import What

if TYPE_CHECKING:
    from ingest.config import Config
    from ingest.export.table import Progress, Table, Wanted
    from ingest.store.store import Store

_NAME_OF_STDOUT = Path("-")


class Format(StrEnum):
    """How it can be written."""

    CSV = "csv"
    PARQUET = "parquet"


# Which of them can be asked for by spot, and which by board.
_BY_SPOT = (What.SAMPLES, What.MINUTES, What.DAYS, What.EVENTS, What.CHECKS)
_BY_BOARD = (What.READINGS, What.EVENTS)


def export(
    what: Annotated[What, typer.Argument(metavar="WHAT", help=f"One of {', '.join(What)}.")],
    from_day: Annotated[
        str | None,
        typer.Option(
            "--from", metavar="YYYY-MM-DD", help="The first day, your local one; else from the start."
        ),
    ] = None,
    to_day: Annotated[
        str | None,
        typer.Option("--to", metavar="YYYY-MM-DD", help="The last day, included; else up to now."),
    ] = None,
    spot: Annotated[
        list[str] | None,
        typer.Option(
            "--spot",
            metavar="SPOT",
            help="Only this spot; may be repeated.",
            autocompletion=completing.spots,
        ),
    ] = None,
    board: Annotated[
        list[str] | None,
        typer.Option(
            "--board", metavar="BOARD", help="Only this board, by key or identity; may be repeated."
        ),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option(
            "-o", "--output", metavar="FILE", readable=False, help="The file to write; - or none prints CSV."
        ),
    ] = None,
    form: Annotated[
        Format | None,
        typer.Option("--format", metavar="csv|parquet", help="If the file's name does not end in it."),
    ] = None,
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Replace the file if it is there already.")
    ] = False,
    config: ConfigOption = DEFAULT_CONFIG,
    store: StoreOption = None,
) -> None:
    """Write what is stored as CSV or Parquet.

    Raw readings, samples, minute summaries, days, events, spot checks or lamp changes, for a spreadsheet or
    for a program of yours. Units stand in the names, times are UTC. baskline/EXPORT.md describes each column.

    \b
    Examples:
      baskline export days
      baskline export samples --spot slate --from 2025-05-17 -o slate.csv
      baskline export events --from 2025-05-01 --to 2025-05-31
      baskline export readings -o everything.parquet --overwrite
    """
    form = _format(output, form)
    if spot and what not in _BY_SPOT:
        raise typer.BadParameter(f"{what} are not of a spot", param_hint="--spot")
    if board and what not in _BY_BOARD:
        raise typer.BadParameter(f"{what} are not of a board", param_hint="--board")
    first, last = date_of(from_day, "--from"), date_of(to_day, "--to")
    if first is not None and last is not None and last < first:
        raise typer.BadParameter(f"{last} is before {first}", param_hint="--to")

    from ingest.export.csv_rows import write_csv
    from ingest.export.parquet_file import pyarrow, write_parquet
    from ingest.export.table import Source
    from ingest.export.tables import table
    from ingest.export.whole_file import whole_file
    from ingest.store.store import Store

    configured = read_config(config)
    if form is Format.PARQUET:
        pyarrow()  # nothing is begun that could not be ended
    with Store.open(store_of(configured, store), read_only=True) as kept:
        wanted = _wanted(kept, configured, first, last, spot or [], board or [])
        if output is None or output == _NAME_OF_STDOUT:
            write_csv(table(what, Source(kept, configured, _untold), wanted), sys.stdout)
            return
        with whole_file(output, overwrite=overwrite) as partial, _bar() as progress:
            made = table(what, Source(kept, configured, progress), wanted)
            if form is Format.PARQUET:
                n = write_parquet(made, partial, _about(made, configured, wanted))
            else:
                with partial.open("w", encoding="utf-8", newline="") as stream:
                    n = write_csv(made, stream)
    say(console(), f"{output}: {what}, {n} {'row' if n == 1 else 'rows'}, {_size(output)}")


def _format(output: Path | None, form: Format | None) -> Format:
    if output is None or output == _NAME_OF_STDOUT:
        if form is Format.PARQUET:
            raise typer.BadParameter("Parquet goes only into a file: name one with -o", param_hint="--format")
        return Format.CSV
    if form is not None:
        return form
    ending = output.suffix.lower().removeprefix(".")
    if ending not in list(Format):
        raise typer.BadParameter(
            f"{str(output)!r} ends in neither .csv nor .parquet: say which with --format", param_hint="-o"
        )
    return Format(ending)


def _wanted(
    store: "Store",
    config: "Config",
    first: date | None,
    last: date | None,
    spots: list[str],
    boards: list[str],
) -> "Wanted":
    from calibrate.nearest import did_you_mean
    from exposure.days import day_bounds
    from firmware_host.clock import SystemClock
    from ingest.export.table import DAY_MS, Wanted
    from ingest.export.whole_file import ExportError

    known_spots = {*config.spots, *store.assignments.spots()}
    identities = {key: board.identity for key, board in config.boards.items()}
    known_boards = {record.board for record in store.boards.all()} | set(identities.values())
    for spot in spots:
        if spot not in known_spots:
            raise ExportError(
                f"there is no spot {spot!r}", where="--spot", remedy=did_you_mean(spot, known_spots)
            )
    for board in boards:
        if board not in known_boards | identities.keys():
            raise ExportError(
                f"there is no board {board!r}",
                where="--board",
                remedy=did_you_mean(board, known_boards | identities.keys()),
            )
    time_zone = config.bridge.time_zone
    newest_ms = max(SystemClock().moment().wall_ms, store.readings.last_utc_ms_any() or 0)
    return Wanted(
        0 if first is None else day_bounds(first, time_zone).start_ms,
        newest_ms + DAY_MS if last is None else day_bounds(last, time_zone).end_ms,
        tuple(dict.fromkeys(spots)),
        tuple(dict.fromkeys(board if board in known_boards else identities[board] for board in boards)),
    )


def _about(table: "Table", config: "Config", wanted: "Wanted") -> dict[str, str]:
    """Return what is to be known of an exported table besides its columns."""
    import json
    from importlib.metadata import version

    from ingest.mqtt.payloads import iso_utc

    return {
        "table": table.name,
        "version": version("baskline"),
        "site": config.bridge.site,
        "bridge": config.bridge.name,
        "time_zone": config.bridge.time_zone,
        "from": iso_utc(wanted.from_ms) or "",
        "to": iso_utc(wanted.to_ms) or "",
        "calibrations": json.dumps({spot: list(each) for spot, each in table.calibrations.items()}),
    }


@contextmanager
def _bar() -> "Iterator[Progress]":
    from rich.progress import Progress as Bar

    words = console()
    with Bar(console=words, transient=True, disable=not words.is_terminal) as bar:
        task = bar.add_task("", total=None)

        def show(what: str, done: int, total: int) -> None:
            bar.update(task, description=what, completed=done, total=max(total, 1))

        yield show


def _untold(_what: str, _done: int, _total: int) -> None:
    """Say nothing: standard output carries the rows."""


def _size(path: Path) -> str:
    n_bytes = path.stat().st_size
    return f"{n_bytes / 1e6:.1f} MB" if n_bytes >= 1e5 else f"{n_bytes / 1e3:.1f} kB"
