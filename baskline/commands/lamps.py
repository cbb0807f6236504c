"""`baskline lamps`: each lamp's hours, ageing and forecast."""

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
    from ingest.lamp_views import LampView


class LampsCommandError(KeeperError):
    """Lamps that cannot be shown as asked."""


def lamps(
    lamp: Annotated[
        str | None,
        typer.Argument(
            metavar="LAMP",
            help="A lamp's key in the configuration; without it, all.",
            autocompletion=completing.lamps,
            show_default=False,
        ),
    ] = None,
    config: ConfigOption = DEFAULT_CONFIG,
    store: StoreOption = None,
    as_json: JsonOption = False,
    chart: ChartsOption = None,
) -> None:
    """Show how old the lamps are and how they age.

    Hours, level, change a week with its 95 % interval, and when the level may leave the band. A rising lamp
    is as bad as a fading one. Nothing is said of ageing before 100 hours of burn-in; the level after them is
    the baseline. After a change, type `baskline lamp changed`.

    \b
    Examples:
      baskline lamps
      baskline lamps wall_tube --chart wall_tube.png
      baskline lamps --json
    """
    from baskline.commands.calibrate.fit import refuse_chart_ending
    from baskline.commands.dates import day_of_newest
    from calibrate.nearest import did_you_mean
    from ingest.lamp_views import lamp_views
    from ingest.store.store import Store

    refuse_chart_ending(chart)
    configured = read_config(config)
    if lamp is not None and lamp not in configured.lamps:
        raise LampsCommandError(
            f"there is no lamp {lamp!r}", where="LAMP", remedy=did_you_mean(lamp, configured.lamps)
        )
    file = store_of(configured, store)
    with Store.open(file, read_only=True) as kept:
        until = day_of_newest(kept, configured, file)
        views = [view for view in lamp_views(kept, configured, until) if lamp in (None, view.lamp)]
        changes = {key: kept.lamp_changes.of(key) for key in configured.lamps if lamp in (None, key)}
    drawn = [] if chart is None else _draw(views, configured, until, chart)
    if as_json:
        from baskline.lamp_words import lamps_fields

        print_json(lamps_fields(views, changes, configured))
        return
    from baskline.lamp_words import lamps_lines

    words = console()
    if not configured.lamps:
        say(words, "There is no lamp yet; `baskline init` adds what is missing.")
    for line, hang in lamps_lines(views, changes, configured):
        say(words, line, hang=hang)
    if drawn:
        say(words, f"\nDrawn: {', '.join(map(str, drawn))}")


def _draw(views: "list[LampView]", config: "Config", until: date, chart: Path) -> list[Path]:
    from baskline.commands.many_charts import Spec, save_charts

    if not views:
        raise LampsCommandError(
            "there is nothing to draw: no spot is lit by it", where=str(chart), remedy="See `baskline lamps`"
        )

    def spec_of(view: "LampView") -> Spec:
        def spec() -> dict[str, Any]:
            from baskline.charts.lamp import lamp_spec
            from baskline.charts.lamp_drawing import lamp_drawing

            return lamp_spec(lamp_drawing(view, config, until))

        return spec

    return save_charts(chart, {view.spot: spec_of(view) for view in views})
