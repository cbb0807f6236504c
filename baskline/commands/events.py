"""`baskline events`, `baskline acknowledge` and `baskline close`."""

from collections.abc import Callable
from datetime import UTC, datetime
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

if TYPE_CHECKING:
    from exposure.events import Event
    from ingest.config import Config
    from ingest.store.store import Store

SCHEMA = "baskline.events/1"
ACKNOWLEDGED_SCHEMA = "baskline.acknowledge/1"
CLOSED_SCHEMA = "baskline.close/1"
_DAY_MS = 86_400_000
# Where the words begin, after the columns; on a narrow terminal what does not fit begins further left.
_WORDS_COLUMN = 35
_NARROW_HANG = 4
_WIDE = 70


def events(
    config: ConfigOption = DEFAULT_CONFIG,
    store: StoreOption = None,
    days: Annotated[
        int, typer.Option("--days", min=1, help="How many days back, from the newest reading.")
    ] = 7,
    only_open: Annotated[bool, typer.Option("--open", help="Only those that have not closed.")] = False,
    as_json: JsonOption = False,
) -> None:
    """List what happened, whether it is over, and what to do.

    The newest comes last. How soon to look: now, today, or note when there is no hurry.

    \b
    Examples:
      baskline events
      baskline events --open
      baskline events --days 30 --json
    """
    from ingest.mqtt.payloads import event_fields
    from ingest.store.events_pages import FOR_EVER_MS
    from ingest.store.store import Store

    configured = read_config(config)
    with Store.open(store_of(configured, store), read_only=True) as kept:
        if only_open:
            found = kept.events.open()
        else:
            newest_ms = kept.readings.last_utc_ms_any() or 0
            found = kept.events.between(newest_ms - days * _DAY_MS, FOR_EVER_MS)
    if as_json:
        print_json({"schema": SCHEMA, "events": [event_fields(event) for event in found]})
        return
    if not found:
        say(console(), "No open events." if only_open else f"No events in {days} days.")
        return
    _print_table(found, configured)


def acknowledge(
    what: Annotated[
        str,
        typer.Argument(
            metavar="EVENT|SPOT",
            help="The event, as `baskline events` names it, or a spot for all that is open there.",
            autocompletion=completing.events_and_spots,
        ),
    ],
    config: ConfigOption = DEFAULT_CONFIG,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say that you have seen an event.

    You are not reminded of it again. It stays open until its cause is gone. The broker is told.

    \b
    Examples:
      baskline acknowledge over_ceiling.fern.1747480920008
      baskline acknowledge fern
    """
    from ingest import acts

    def act(kept: "Store", configured: "Config", now_ms: int) -> "list[Event]":
        if _is_event(what):
            return [acts.acknowledge(kept, configured, what, now_ms)]
        return acts.acknowledge_spot(kept, configured, what, now_ms)

    seen = _done(act, config, store)
    if as_json:
        _print_changed(ACKNOWLEDGED_SCHEMA, seen)
        return
    for event in seen:
        say(console(), f"Acknowledged: {event.subject}: {event.sentence}.")
    if not seen:
        say(console(), f"Nothing is open at {what}.")


def close(
    identity: Annotated[
        str,
        typer.Argument(
            metavar="EVENT",
            help="The event, as `baskline events` names it.",
            autocompletion=completing.open_events,
        ),
    ],
    config: ConfigOption = DEFAULT_CONFIG,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Close an event by hand, though its cause may be there still.

    It opens again only once the cause has gone and come again, or has become graver. The broker is told.

    \b
    Example:
      baskline close over_ceiling.fern.1747480920008
    """
    from ingest import acts

    closed = _done(
        lambda kept, configured, now_ms: [acts.close(kept, configured, identity, now_ms)], config, store
    )
    if as_json:
        _print_changed(CLOSED_SCHEMA, closed)
        return
    for event in closed:
        say(console(), f"Closed, {event.closing}: {event.subject}: {event.sentence}.")


def _done(
    act: "Callable[[Store, Config, int], list[Event]]", config: Path, store: Path | None
) -> "list[Event]":
    """Do something to events in the store that the configuration names, or in the one given."""
    from firmware_host.clock import SystemClock
    from ingest.store.store import Store

    configured = read_config(config)
    with Store.open(store_of(configured, store)) as kept:
        return act(kept, configured, SystemClock().moment().wall_ms)


def _print_changed(schema: str, changed: "list[Event]") -> None:
    from ingest.mqtt.payloads import event_fields

    print_json({"schema": schema, "events": [event_fields(event) for event in changed]})


def _is_event(what: str) -> bool:
    """Return whether this is the identity of an event; no key holds a dot."""
    return "." in what


def _print_table(found: "list[Event]", config: "Config") -> None:
    from zoneinfo import ZoneInfo

    from exposure.one_event import BY_HAND

    zone = ZoneInfo(config.bridge.time_zone)

    def local(ms: int) -> str:
        return datetime.fromtimestamp(ms / 1000, UTC).astimezone(zone).strftime("%d %b %H:%M")

    def ending(event: "Event") -> str:
        if event.closed_ms is not None:
            return local(event.closed_ms)
        return "open" if event.acknowledged_ms is None else "open, seen"

    words = console()
    hang = _WORDS_COLUMN if words.width >= _WIDE else _NARROW_HANG
    say(words, f"{'opened':12}  {'closed':12}  {'look':5}  what")
    for event in found:
        columns = f"{local(event.opened_ms)}  {ending(event):12}  {event.severity.value:5}"
        by_hand = f" (closed {BY_HAND})" if event.closing == BY_HAND else ""
        say(words, f"{columns}  {event.subject}: {event.sentence}{by_hand}", hang=hang)
    for event in found:
        if event.is_open:
            say(words, f"\n{event.identity}")
            say(words, f"  {event.advice}.", hang=2)
