"""What the Tab key can know of: the keeper's own spots and open events.

A mistake in the configuration or store completes to nothing; the command itself says what is wrong.
"""

from pathlib import Path

import typer

from calibrate.errors import KeeperError


def spots(context: typer.Context, incomplete: str) -> list[str]:
    """Return the keys of the spots that begin so."""
    return _keys("spots", context, incomplete)


def enclosures(context: typer.Context, incomplete: str) -> list[str]:
    """Return the keys of the enclosures that begin so."""
    return _keys("enclosures", context, incomplete)


def lamps(context: typer.Context, incomplete: str) -> list[str]:
    """Return the keys of the lamps that begin so."""
    return _keys("lamps", context, incomplete)


def boards(context: typer.Context, incomplete: str) -> list[str]:
    """Return the keys of the boards that begin so."""
    return _keys("boards", context, incomplete)


def ports(incomplete: str) -> list[str]:
    """Return the serial ports that are there and begin so."""
    from firmware_host.ports import AUTO, PortWish, find_ports

    return [port.path for port in find_ports([PortWish(AUTO)]) if port.path.startswith(incomplete)]


def species(incomplete: str) -> list[str]:
    """Return the scientific names that begin so, whatever the case."""
    from exposure.species import species_table

    names = (row.name for row in species_table())
    return [name for name in names if name.casefold().startswith(incomplete.casefold())]


def open_events(context: typer.Context, incomplete: str) -> list[str]:
    """Return the identities of the open events that begin so and that nobody has acknowledged."""
    from ingest.config import load_config
    from ingest.store.store import Store

    try:
        store_file = context.params.get("store") or load_config(_config(context)).bridge.store
        with Store.open(store_file, read_only=True) as store:
            found = store.events.open()
    except KeeperError:
        return []
    return [
        event.identity
        for event in found
        if event.acknowledged_ms is None and event.identity.startswith(incomplete)
    ]


def events_and_spots(context: typer.Context, incomplete: str) -> list[str]:
    """Return the spots, and the open events that nobody has acknowledged, that begin so."""
    return [*spots(context, incomplete), *open_events(context, incomplete)]


def _keys(tables: str, context: typer.Context, incomplete: str) -> list[str]:
    from ingest.config import load_config

    try:
        config = load_config(_config(context))
    except KeeperError:
        return []
    return [key for key in getattr(config, tables) if key.startswith(incomplete)]


def _config(context: typer.Context) -> Path:
    config = context.params.get("config")
    return config if isinstance(config, Path) else Path("baskline.toml")
