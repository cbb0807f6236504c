"""The library that speaks to the server, loaded only where there is a mirror."""

from typing import Any

from ingest.mirror.settings import MirrorError


def influxdb_client() -> Any:
    """Return the library's module, untyped as it is; raise MirrorError if it is not installed."""
    try:
        import influxdb_client as library
        import influxdb_client.client.write_api
        import influxdb_client.rest
    except ImportError as error:
        raise MirrorError(
            "the mirror's library is not installed",
            where="mirror",
            remedy="Install it with: pip install 'baskline[mirror]'",
        ) from error
    return library
