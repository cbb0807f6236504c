"""`baskline lamps`: each lamp's hours, ageing and forecast."""

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
    pass


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
) -> None:
    """Show how old the lamps are and how they age.

    Hours, level, change a week with its 95 % interval, and when the level may leave the band. A rising lamp
    is as bad as a fading one. Nothing is said of ageing before 100 hours of burn-in. After a change, type
    `baskline lamp changed`.

    \b
    Examples:
      baskline lamps
      baskline lamps wall_tube
      baskline lamps --json
    """
    from calibrate.nearest import did_you_mean
    from ingest.lamp_views import lamp_views
    from ingest.store.store import Store
    from ingest.week import newest_day

    configured = read_config(config)
    if lamp is not None and lamp not in configured.lamps:
        raise LampsCommandError(
            f"there is no lamp {lamp!r}", where="LAMP", remedy=did_you_mean(lamp, configured.lamps)
        )
    file = store_of(configured, store)
    with Store.open(file, read_only=True) as kept:
        until = newest_day(kept, configured)
        if until is None:
            raise LampsCommandError(
                "no reading is stored yet",
                where=str(file),
                remedy="Start `baskline run`, or see `baskline check` for why nothing comes",
            )
        views = [view for view in lamp_views(kept, configured, until) if lamp in (None, view.lamp)]
        changes = {key: kept.lamp_changes.of(key) for key in configured.lamps if lamp in (None, key)}
    if as_json:
        from baskline.lamp_words import lamps_fields

        print_json(lamps_fields(views, changes, configured))
        return
    from baskline.lamp_words import lamps_lines

    words = console()
    for line, hang in lamps_lines(views, changes, configured):
        say(words, line, hang=hang)
