"""What a keeper does with events, from wherever: each in one short transaction, and the broker is told once.

The daemon looks every ten seconds at what was done.
"""

from collections.abc import Callable

from calibrate.errors import KeeperError
from calibrate.nearest import did_you_mean
from exposure.events import Event
from ingest.config import Config
from ingest.config.resolve import mqtt_settings
from ingest.mqtt.payloads import Change
from ingest.store.store import Store
from ingest.telling import event_message


class ActError(KeeperError):
    """Something that cannot be done with what there is."""


def acknowledge(store: Store, config: Config, identity: str, now_ms: int) -> Event:
    """Record that somebody has seen the event; return it.  It stays open until its cause is gone."""
    return _act(store, config, identity, now_ms, store.events.acknowledge, Change.ACKNOWLEDGED)


def acknowledge_spot(store: Store, config: Config, spot: str, now_ms: int) -> list[Event]:
    """Record that somebody has seen all that is open at a spot; return those events, oldest first."""
    if spot not in config.spots:
        raise ActError(f"there is no spot {spot!r}", remedy=did_you_mean(spot, config.spots))
    with store.transaction():
        return [
            acknowledge(store, config, event.identity, now_ms)
            for event in store.events.open()
            if (event.subject_kind, event.subject) == ("spot", spot)
        ]


def close(store: Store, config: Config, identity: str, now_ms: int) -> Event:
    """Close an event by hand; return it.  Who closes one has seen it.

    It opens again only once its cause has gone and come again, or has become graver.
    """
    return _act(store, config, identity, now_ms, store.events.close, Change.CLOSED)


def _act(
    store: Store,
    config: Config,
    identity: str,
    now_ms: int,
    do: Callable[[str, int], Event],
    change: Change,
) -> Event:
    with store.transaction():
        before = store.events.get(identity)
        event = do(identity, now_ms)
        settings = mqtt_settings(config)
        if settings is not None and event != before:
            store.outbox.put(event_message(settings, event, change), now_ms)
    return event
