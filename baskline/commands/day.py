"""`baskline day`: what one spot gave in one day."""

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from baskline import completing
from baskline.commands.common import (
    DEFAULT_CONFIG,
    ConfigOption,
    JsonOption,
    StoreOption,
    print_json,
    read_config,
    store_of,
)
from baskline.printing import console, say
from calibrate.errors import KeeperError

if TYPE_CHECKING:
    from ingest.config import Config
    from ingest.day import SpotDay
    from ingest.day_beside import DayBeside


class DayCommandError(KeeperError):
    """A day that cannot be shown as asked."""


def day(
    spot: Annotated[
        str,
        typer.Argument(
            metavar="SPOT", help="The spot's key in the configuration.", autocompletion=completing.spots
        ),
    ],
    on: Annotated[
        str | None,
        typer.Option("--date", metavar="YYYY-MM-DD", help="The day; without it, that of the newest reading."),
    ] = None,
    config: ConfigOption = DEFAULT_CONFIG,
    store: StoreOption = None,
    as_json: JsonOption = False,
    as_csv: Annotated[bool, typer.Option("--csv", help="Print each sample of the day as CSV.")] = False,
    chart: Annotated[
        Path | None,
        typer.Option(
            "--chart", metavar="FILE", readable=False, help="Draw the day into a .png, .svg or .pdf file."
        ),
    ] = None,
) -> None:
    """Show what a spot got in one day, against its band.

    Peak, dose, hours in the band, gaps and events, and what differs from the 7 and 30 days before.
    Uncertainties are k = 2 in words and charts, k = 1 (named u_...) in JSON and CSV.

    \b
    Examples:
      baskline day slate
      baskline day slate --date 2025-05-17 --chart slate.png
      baskline day fern --json
      baskline day fern --csv
    """
    if as_json and as_csv:
        raise typer.BadParameter(
            "both print to standard output: give one of them", param_hint="--json, --csv"
        )
    from baskline.commands.calibrate.fit import refuse_chart_ending
    from baskline.commands.dates import date_of
    from firmware_host.clock import SystemClock

    refuse_chart_ending(chart)
    wanted = date_of(on, "--date")
    configured = read_config(config)
    now_ms = SystemClock().moment().wall_ms
    shown, beside = _day(configured, store_of(configured, store), spot, wanted, now_ms)
    words = console()
    if chart is not None:
        from baskline.charts.files import save_day_chart

        save_day_chart(shown, configured, chart, now_ms)
    if as_json:
        from baskline.day_document import day_fields

        print_json(day_fields(shown, beside))
    elif as_csv:
        from baskline.day_csv import write_day_csv

        write_day_csv(shown, sys.stdout)
    else:
        from baskline.wording import DAY_HANG, day_lines

        for line in day_lines(shown, configured, now_ms, beside):
            say(words, line, hang=DAY_HANG)
        if chart is not None:
            say(words, f"\nDrawn: {chart}")


def _day(
    config: "Config", store: Path, spot: str, wanted: date | None, now_ms: int
) -> "tuple[SpotDay, DayBeside]":
    from calibrate.nearest import did_you_mean
    from exposure.days import local_date
    from ingest.day import spot_day
    from ingest.day_beside import day_beside
    from ingest.day_records import DayRecords
    from ingest.store.store import Store

    if spot not in config.spots:
        raise DayCommandError(
            f"there is no spot {spot!r}", where="SPOT", remedy=did_you_mean(spot, config.spots)
        )
    configured = config.spots[spot]
    board = config.boards[configured.board].identity
    time_zone = config.bridge.time_zone
    with Store.open(store, read_only=True) as kept:
        if wanted is None:
            newest_ms = kept.readings.last_utc_ms(board)
            if newest_ms is None:
                raise DayCommandError(
                    f"no reading of board {board} is stored yet",
                    where=str(store),
                    remedy="Start `baskline run`, or see `baskline check` for why nothing comes",
                )
            wanted = local_date(newest_ms, time_zone)
        shown = spot_day(kept, spot, wanted, board=board, time_zone=time_zone, band_now=configured.band())
        return shown, day_beside(DayRecords(kept, config), config, shown, now_ms)
