"""The server, by its write interface, and what it has against us in words."""

from http import HTTPStatus
from types import TracebackType
from typing import Self

from firmware_host.clock import Clock
from ingest.mirror.library import influxdb_client
from ingest.mirror.settings import MirrorError, MirrorSettings

_TIMEOUT_MS = 10_000
# Some of the lines are not to the server's liking and never will be; it has taken the others.
_SPOILT_LINES = frozenset({HTTPStatus.BAD_REQUEST, HTTPStatus.UNPROCESSABLE_ENTITY})


class MirrorServer:
    """A connection to the server, made when first needed; used as a context."""

    def __init__(self, settings: MirrorSettings) -> None:
        """Make ready; raise MirrorError if the library for it is not installed."""
        self._library = library = influxdb_client()
        self._settings = settings
        self._client = library.InfluxDBClient(
            settings.url, settings.token or "", org=settings.org, timeout=_TIMEOUT_MS
        )
        self._writer = self._client.write_api(write_options=library.client.write_api.SYNCHRONOUS)

    def write(self, lines: list[str]) -> MirrorError | None:
        """Write lines; return what the server had against some of them, if it took the rest.

        Raise MirrorError if it took none.
        """
        from urllib3.exceptions import HTTPError

        settings = self._settings
        try:
            self._writer.write(settings.bucket, record=lines, write_precision=self._library.WritePrecision.MS)
        except self._library.rest.ApiException as error:
            refusal = _refusal(settings, error.status, str(error.message or error.reason))
            if error.status in _SPOILT_LINES:
                return refusal
            raise refusal from error
        except (HTTPError, OSError) as error:
            raise MirrorError(
                f"no connection ({error})",
                where=f"mirror {settings.url}",
                remedy="Start the server, or check mirror.url; readings wait in the store",
            ) from error
        return None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._writer.close()
        self._client.close()


def probe_mirror(settings: MirrorSettings, clock: Clock) -> MirrorError | None:
    """Write one point, of measurement `check`, and return what is wrong, if anything."""
    line = f"check,site={settings.site},bridge={settings.bridge} ok=1i {clock.moment().wall_ms}"
    try:
        with MirrorServer(settings) as server:
            return server.write([line])
    except MirrorError as error:
        return error


def _refusal(settings: MirrorSettings, status: int, words: str) -> MirrorError:
    where = f"mirror {settings.url}"
    if status in (HTTPStatus.UNAUTHORIZED, HTTPStatus.FORBIDDEN):
        return MirrorError(
            f"it refuses this token for bucket {settings.bucket!r}",
            where=where,
            remedy="Give mirror.token_file or mirror.token_env a token that may write there",
        )
    if status == HTTPStatus.NOT_FOUND:
        return MirrorError(
            f"it knows no bucket {settings.bucket!r} of {settings.org!r}, or it is no server of this kind",
            where=where,
            remedy="Check mirror.url, mirror.org and mirror.bucket",
        )
    if status in _SPOILT_LINES:
        return MirrorError(
            f"it left out some points ({words})",
            where=where,
            remedy="See how long the bucket keeps points, and whether another program writes there; "
            "the store has them all",
        )
    return MirrorError(
        f"it cannot write now ({status}: {words})", where=where, remedy="It is tried again by itself"
    )
