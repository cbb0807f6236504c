"""Whether the broker, the mirror and the page can do their work."""

from collections.abc import Iterator
from typing import Final

from baskline.findings.finding import Finding
from calibrate.errors import KeeperError
from firmware_host.clock import SystemClock
from ingest.config import Config
from ingest.config.resolve import mirror_settings, mqtt_settings
from ingest.mirror.server import probe_mirror
from ingest.mqtt.probe import probe

_BROKER_TIMEOUT_S: Final = 5.0


def broker(config: Config) -> Iterator[Finding]:
    """Send a message there and back."""
    if config.mqtt is None:
        yield Finding("broker", "none", True, "no [mqtt] table, so no home automation is told")
        return
    subject = f"{config.mqtt.host}:{config.mqtt.port_or_usual}"
    try:
        settings = mqtt_settings(config)
        assert settings is not None
        result = probe(settings, _BROKER_TIMEOUT_S, SystemClock())
    except KeeperError as error:
        yield _trouble("broker", subject, error)
        return
    if result.trouble is not None:
        yield _trouble("broker", subject, result.trouble)
    else:
        yield Finding("broker", subject, True, f"a message went there and back in {result.round_trip_ms} ms")


def mirror(config: Config) -> Iterator[Finding]:
    """Most keepers have none, so nothing is said of that."""
    if config.mirror is None:
        return
    trouble: KeeperError | None
    try:
        settings = mirror_settings(config)
        assert settings is not None
        trouble = probe_mirror(settings, SystemClock())
    except KeeperError as error:
        trouble = error
    if trouble is not None:
        yield _trouble("mirror", config.mirror.url, trouble)
    else:
        yield Finding("mirror", config.mirror.url, True, "it took a point")


def _trouble(part: str, subject: str, error: KeeperError) -> Finding:
    """Return what is wrong, and where, if that is not the server itself but a file of the keeper's."""
    place = "" if not error.where or subject in error.where else f"{error.where}: "
    return Finding(part, subject, False, f"{place}{error.what}", error.remedy)


def page(config: Config) -> Iterator[Finding]:
    """Look at what the page needs to be served."""
    if config.page is None:
        return
    from baskline.page.addresses import address_of
    from baskline.page.extra import need_libraries
    from baskline.page.secrets import Secrets

    subject = address_of(config.page)
    try:
        need_libraries()
        secrets = Secrets.read(config.page)
    except KeeperError as error:
        where = error.where if error.where.startswith("/") else subject
        yield Finding("page", where, False, error.what, error.remedy)
        return
    for path in (config.page.certificate_file, config.page.key_file):
        if path is not None and not path.is_file():
            yield Finding("page", str(path), False, "there is no such file", "Make it, or name another")
            return
    yield Finding("page", subject, True, "with a password" if secrets.password else "for this computer alone")
