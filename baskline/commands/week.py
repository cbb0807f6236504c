"""`baskline week`: the last seven days of an enclosure's spots."""

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from baskline import completing
from baskline.commands.common import (
    DEFAULT_CONFIG,
    ChartsOption,
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
    from ingest.week import SpotDays, Week


class WeekCommandError(KeeperError):
    """A week that cannot be shown as asked."""


def week(
    enclosure: Annotated[
        str | None,
        typer.Argument(
            metavar="ENCLOSURE",
            help="An enclosure's key in the configuration; without it, all.",
            autocompletion=completing.enclosures,
            show_default=False,
        ),
    ] = None,
    until: Annotated[
        str | None,
        typer.Option(
            "--to", metavar="YYYY-MM-DD", help="The last day; without it, that of the newest reading."
        ),
    ] = None,
    config: ConfigOption = DEFAULT_CONFIG,
    store: StoreOption = None,
    as_json: JsonOption = False,
    chart: ChartsOption = None,
) -> None:
    """Show seven days beside the days before.

    Each spot's dose against what is usual, its hours in and out of the band, what was not seen, whether the
    animals had a retreat with little UV, and what happened.

    \b
    Examples:
      baskline week
      baskline week rock_garden --to 2025-05-17
      baskline week green_wall --chart week.png
      baskline week --json
    """
    from baskline.commands.calibrate.fit import refuse_chart_ending
    from baskline.commands.dates import date_of

    refuse_chart_ending(chart)
    wanted = date_of(until, "--to")
    configured = read_config(config)
    shown = _week(configured, store_of(configured, store), enclosure, wanted)
    drawn = [] if chart is None else _draw(shown, configured, chart)
    if as_json:
        from baskline.week_words import week_fields

        print_json(week_fields(shown))
        return
    from baskline.week_words import WIDE, week_lines

    words = console()
    if not shown.enclosures:
        say(words, "There is no spot yet; `baskline init` adds what is missing.")
        return
    for line, hang in week_lines(shown, configured, wide=words.width >= WIDE):
        say(words, line, hang=hang)
    if drawn:
        say(words, f"\nDrawn: {', '.join(map(str, drawn))}")


def _week(config: "Config", store: Path, enclosure: str | None, wanted: date | None) -> "Week":
    from baskline.commands.dates import day_of_newest
    from calibrate.nearest import did_you_mean
    from ingest.store.store import Store
    from ingest.week import spots_of, week

    if enclosure is not None and enclosure not in config.enclosures:
        raise WeekCommandError(
            f"there is no enclosure {enclosure!r}",
            where="ENCLOSURE",
            remedy=did_you_mean(enclosure, config.enclosures),
        )
    if enclosure is not None and not spots_of(config, enclosure):
        raise WeekCommandError(
            "has no spot yet", where=f"enclosure.{enclosure}", remedy="Add a [spot.<key>] that names it"
        )
    with Store.open(store, read_only=True) as kept:
        last = day_of_newest(kept, config, store) if wanted is None else wanted
        return week(kept, config, last, list(config.enclosures) if enclosure is None else [enclosure])


def _draw(shown: "Week", config: "Config", chart: Path) -> list[Path]:
    from baskline.commands.many_charts import Spec, save_charts

    def spec_of(spot: "SpotDays") -> Spec:
        def spec() -> dict[str, Any]:
            from baskline.charts.days import days_spec
            from baskline.charts.days_drawing import DaysDrawing

            profiles = [day.profile for day in spot.days if day.profile is not None]
            usual = spot.compared["dose_uvi_h"].month if spot.compared else None
            label = config.spots[spot.spot].label
            return days_spec(DaysDrawing(label, shown.first, shown.last, profiles, usual))

        return spec

    return save_charts(chart, {spot.spot: spec_of(spot) for each in shown.enclosures for spot in each.spots})
