"""What must hold between the keys of a configuration.

These rules read the document as it stands in the file, not the checked models: so they also speak where
other keys are wrong, and a keeper hears everything at once.
"""

from collections.abc import Callable, Iterator, Mapping
from typing import TypeAlias

from calibrate.nearest import did_you_mean
from exposure.species import SpeciesError
from ingest.config.animals import species_for_spot
from ingest.config.errors import Finding, KeyPath, dotted
from ingest.config.page import is_loopback

Document: TypeAlias = Mapping[str, object]
Rule: TypeAlias = Callable[[Document], Iterator[Finding]]


def cross_findings(document: Document) -> list[Finding]:
    """Return everything that contradicts something else in the document."""
    return [finding for rule in _RULES for finding in rule(document)]


def _table(document: Document, name: str) -> Document:
    """Return a table, or an empty one where there is none."""
    found = document.get(name)
    return found if isinstance(found, dict) else {}


def _entries(document: Document, name: str) -> Iterator[tuple[KeyPath, Document]]:
    for key, entry in _table(document, name).items():
        if isinstance(entry, dict):
            yield (name, key), entry


def _text(table: Document, key: str) -> str | None:
    found = table.get(key)
    return found if isinstance(found, str) else None


def _references(document: Document) -> Iterator[Finding]:
    for path, spot in _entries(document, "spot"):
        for kind in ("enclosure", "lamp", "board"):
            wanted, known = _text(spot, kind), _table(document, kind)
            if wanted is None or wanted in known:
                continue
            remedy = did_you_mean(wanted, known) if known else f"Add a table [{dotted((kind, wanted))}]"
            yield Finding((*path, kind), f"is {wanted!r}, but there is no [{dotted((kind, wanted))}]", remedy)


def _one_spot_a_sensor(document: Document) -> Iterator[Finding]:
    watched: dict[str, dict[str | None, KeyPath]] = {}
    for path, spot in _entries(document, "spot"):
        board, sensor = _text(spot, "board"), _text(spot, "sensor")
        if board is None or (sensor is None and "sensor" in spot):
            continue
        others = watched.setdefault(board, {})
        if sensor in others:
            what = f"has the same board and sensor as {dotted(others[sensor])}"
            remedy = "Give each spot a sensor of its own: sensor = the part before the dot in its channels"
            yield Finding((*path, "board"), what, remedy)
        elif others and (sensor is None or None in others):
            other = dotted(next(iter(others.values())))
            what = f"shares board {board!r} with {other}, and one of them names no sensor"
            yield Finding((*path, "board"), what, "Give both spots a sensor")
        others.setdefault(sensor, path)


def _own_identities(document: Document) -> Iterator[Finding]:
    owners: dict[str, KeyPath] = {}
    for path, board in _entries(document, "board"):
        identity = _text(board, "identity")
        if identity is None:
            continue
        if identity in owners:
            what = f"is {identity!r}, which is {dotted(owners[identity])} already"
            yield Finding((*path, "identity"), what, "Each board has its own: see `baskline boards`")
        owners.setdefault(identity, path)


def _plain_boards(document: Document) -> Iterator[Finding]:
    """A board that prints plain lines does not say who it is: its USB device or its port must."""
    owners: dict[tuple[str, str], KeyPath] = {}
    for board_path, board in _entries(document, "board"):
        if "mapping" not in board:
            continue
        mapping, path = _table(board, "mapping"), (*board_path, "mapping")
        yield from _not_both(path, mapping, "usb", "port")
        if "usb" not in mapping and "port" not in mapping:
            remedy = (
                'Add the USB serial number that `baskline boards` shows, or a port, such as "/dev/ttyUSB0"'
            )
            yield Finding((*path, "usb"), "is missing, and so is a port", remedy)
        if "baud" in mapping and "port" not in mapping:
            yield Finding(
                (*path, "baud"), "stands without a port", "Name the port, or set the speed in [serial]"
            )
        for key in ("usb", "port"):
            value = _text(mapping, key)
            if value is None:
                continue
            if (key, value) in owners:
                what = f"is {value!r}, which is {dotted(owners[key, value])} already"
                yield Finding((*path, key), what, "Give each board its own")
            owners.setdefault((key, value), board_path)


def _zone_or_band(document: Document) -> Iterator[Finding]:
    for path, spot in _entries(document, "spot"):
        if "zone" in spot and "band" in spot:
            yield Finding((*path, "band"), "stands beside a zone", "Keep one of the two")
        elif "zone" not in spot and "band" not in spot:
            why = _no_band_by_species(document, spot)
            remedy = "Add the published exposure zone, for example: zone = 3, or a band of your own"
            if why is not None:
                yield Finding((*path, "zone"), f"is missing, and so is a band{why}", remedy)


def _no_band_by_species(document: Document, spot: Document) -> str | None:
    """Return why the enclosure's species gives the spot no band; None if it does."""
    enclosure = _table(_table(document, "enclosure"), _text(spot, "enclosure") or "")
    species = _text(enclosure, "species")
    try:
        species_for_spot(spot.get("kind", "basking"), species, _table(document, "species"))
    except SpeciesError as error:
        return f"; {error.what}" if species is not None else ""
    return None


def _own_species(document: Document) -> Iterator[Finding]:
    owners: dict[str, KeyPath] = {}
    for path, row in _entries(document, "species"):
        if "zone" not in row and "band" not in row:
            yield Finding((*path, "zone"), "is missing, and so is a band", "Add one of them, or both")
        name = (_text(row, "name") or "").casefold()
        if name and name in owners:
            what = f"is {row['name']!r}, which is {dotted(owners[name])} already"
            yield Finding((*path, "name"), what, "Keep one row for each animal")
        owners.setdefault(name, path)


def _doses(document: Document) -> Iterator[Finding]:
    for path, spot in _entries(document, "spot"):
        rules = _table(spot, "rules")
        low, high = rules.get("dose_low_uvi_h"), rules.get("dose_high_uvi_h")
        if isinstance(low, int | float) and isinstance(high, int | float) and not low < high:
            what = f"is {high:g}, not over dose_low_uvi_h, which is {low:g}"
            yield Finding((*path, "rules", "dose_high_uvi_h"), what, "Write the greater of the two here")


def _lit_hours(document: Document) -> Iterator[Finding]:
    for path, spot in _entries(document, "spot"):
        yield from _both(path, spot, "lit_from", "lit_until")
        # As text: a time of day may stand in quotes or without.
        if "lit_from" in spot and str(spot["lit_from"])[:5] == str(spot.get("lit_until"))[:5]:
            yield Finding((*path, "lit_until"), "is the same as lit_from", "Leave both out for light all day")


def _claims(document: Document) -> Iterator[Finding]:
    for path, lamp in _entries(document, "lamp"):
        yield from _both(path, lamp, "package_claim_uvi", "package_claim_at_cm")


def _broker(document: Document) -> Iterator[Finding]:
    path, mqtt = ("mqtt",), _table(document, "mqtt")
    yield from _not_both(path, mqtt, "password_file", "password_env")
    yield from _both(path, mqtt, "certificate_file", "key_file")
    for key in ("password_file", "password_env"):
        if key in mqtt and "username" not in mqtt:
            yield Finding(("mqtt", key), "stands without a username", "Add the username that it belongs to")
    for key in ("ca_file", "certificate_file", "key_file"):
        if key in mqtt and mqtt.get("tls", False) is False:
            yield Finding(("mqtt", key), "is of no use without encryption", "Add: tls = true")


def _mirror(document: Document) -> Iterator[Finding]:
    yield from _not_both(("mirror",), _table(document, "mirror"), "token_file", "token_env")


def _page(document: Document) -> Iterator[Finding]:
    """Whoever else can reach the page needs a password."""
    path, page = ("page",), _table(document, "page")
    yield from _both(path, page, "certificate_file", "key_file")
    if "password_file" in page:
        return
    remedy = 'Run `baskline password`, and add: password_file = "page-password"'
    if not is_loopback(_text(page, "host") or "127.0.0.1"):
        yield Finding((*path, "host"), "lets other computers in, and there is no password", remedy)
    if page.get("behind_proxy") is True:
        yield Finding((*path, "behind_proxy"), "lets other computers in, and there is no password", remedy)
    for key in ("guest_file", "token_file"):
        if key in page:
            yield Finding((*path, key), "stands without a password, without which all may do all", remedy)


def _both(path: KeyPath, table: Document, first: str, second: str) -> Iterator[Finding]:
    for given, absent in ((first, second), (second, first)):
        if given in table and absent not in table:
            yield Finding((*path, absent), f"is missing beside {given}", "Give both, or neither")


def _not_both(path: KeyPath, table: Document, first: str, second: str) -> Iterator[Finding]:
    if first in table and second in table:
        yield Finding((*path, second), f"stands beside {first}", "Keep one of the two")


_RULES: tuple[Rule, ...] = (
    _references,
    _one_spot_a_sensor,
    _own_identities,
    _zone_or_band,
    _own_species,
    _doses,
    _plain_boards,
    _lit_hours,
    _claims,
    _broker,
    _mirror,
    _page,
)
