"""What `baskline check` looks at, and what it finds."""

from collections.abc import Generator, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from baskline.ports import ports_of
from calibrate.calibration import Calibration
from calibrate.calibration_file import read_calibration
from calibrate.errors import KeeperError
from exposure.bands import Band
from exposure.species import SpeciesError, find_species, species_named, with_own_rows, zones_text
from firmware_host.clock import SystemClock
from ingest.config import BoardConfig, Config, ConfigError, load_config
from ingest.config.resolve import mirror_settings, mqtt_settings
from ingest.mirror.server import probe_mirror
from ingest.mqtt.probe import probe
from ingest.store.lock import is_held
from ingest.store.store import Store
from ingest.survey import survey

_BROKER_TIMEOUT_S: Final = 5.0
# The daemon writes what it hears every few seconds, at the latest once a minute.
_RECENT_MS: Final = 120_000


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was looked at: `fine`, or what is the matter and what to `do`.

    What is fine with something to `do` is a note: it may well stay as it is.
    """

    part: str
    subject: str
    fine: bool
    what: str
    do: str = ""


def look_at_everything(path: Path, seconds: float) -> Iterator[Finding]:
    """Yield what is found, part by part, listening to the boards for `seconds` at most."""
    try:
        config = load_config(path)
    except ConfigError as error:
        for problem in error.problems:
            subject = f"{path}, {problem.place}" if problem.place else str(path)
            yield Finding("configuration", subject, False, problem.what, problem.remedy)
        return
    counted = f"{_counted(len(config.boards), 'board')}, {_counted(len(config.spots), 'spot')}"
    yield Finding("configuration", str(path), True, counted)
    yield from _animals(config)
    yield from _calibrations(config)
    running = yield from _store(config)
    if running:
        yield from _boards_in_store(config)
    else:
        yield from _boards_on_ports(config, seconds)
    yield from _broker(config)
    yield from _mirror(config)
    yield from _page(config)


def _counted(number: int, thing: str) -> str:
    return f"{number} {thing}{'' if number == 1 else 's'}"


def _animals(config: Config) -> Iterator[Finding]:
    """Say which species the table does not have, and which spots have their band from one."""
    table = with_own_rows(config.own_species())
    for key, enclosure in config.enclosures.items():
        if enclosure.species is None:
            continue
        try:
            species_named(enclosure.species, table)
        except SpeciesError as error:
            near = find_species(enclosure.species, table)
            remedy = f"{near[0].name}, {zones_text(near[0])}, is the nearest row" if near else error.remedy
            yield Finding("species", key, True, error.what, remedy)
    for key, spot in config.spots.items():
        if spot.by_species is not None:
            band = spot.band()
            yield Finding(
                "band",
                key,
                True,
                f"{band.low_uvi:g} to {band.high_uvi:g}, ceiling {band.ceiling_uvi:g}, by"
                f" {spot.by_species.name}, because it names neither zone nor band",
                "Zones guide; a band that you type is better",
            )


def _calibrations(config: Config) -> Iterator[Finding]:
    for key, spot in config.spots.items():
        if spot.calibration is None:
            yield Finding(
                "calibration",
                key,
                False,
                "none, so this spot has no UVI",
                f"`baskline calibrate {key}` compares it with your UVI meter, and names the file that it"
                f" writes in [spot.{key}] calibration",
            )
            continue
        try:
            calibration = read_calibration(spot.calibration)
        except KeeperError as error:
            yield Finding("calibration", key, False, f"{error.where}: {error.what}", error.remedy)
            continue
        yield _calibration(key, calibration, config.lamps[spot.lamp].kind, spot.band())


def _calibration(key: str, calibration: Calibration, lamp_kind: str, band: Band) -> Finding:
    today = datetime.fromtimestamp(SystemClock().moment().wall_ms / 1000, UTC).date()
    age_days = (today - calibration.made_on).days
    if calibration.lamp_kind != lamp_kind:
        return Finding(
            "calibration",
            key,
            False,
            f"made under {calibration.lamp_kind}, but the lamp is {lamp_kind}: its samples are doubtful",
            "Calibrate this spot under its own lamp",
        )
    if age_days > calibration.valid_for_days:
        return Finding(
            "calibration",
            key,
            False,
            f"{age_days} days old, and valid for {calibration.valid_for_days}",
            "Compare it with a UVI meter and calibrate anew",
        )
    made = f"{calibration.identity}, made on {calibration.made_on}"
    top_uvi = calibration.uvi_range[1]
    if top_uvi < band.high_uvi:
        return Finding(
            "calibration",
            key,
            True,
            f"{made}; compared up to UVI {top_uvi:.2g}, and the band goes to {band.high_uvi:g}",
            "Beyond that its UVI is in more doubt, and too much is told later: compare nearer to the lamp"
            " next time",
        )
    return Finding("calibration", key, True, made)


def _store(config: Config) -> Generator[Finding, None, bool]:
    """Look at the store; return (to `yield from`) whether a daemon is writing to it."""
    path = config.bridge.store
    if not path.exists():
        if path.parent.is_dir():
            yield Finding("store", str(path), True, "not there yet; `baskline run` makes it")
        else:
            yield Finding("store", str(path), False, f"there is no folder {path.parent}", "Make the folder")
        return False
    try:
        with Store.open(path, read_only=True) as store:
            last_ms = store.readings.last_utc_ms_any()
            waiting = store.outbox.size()
    except KeeperError as error:
        yield Finding("store", str(path), False, error.what, error.remedy)
        return False
    running = is_held(path)
    newest = "no reading yet" if last_ms is None else f"newest reading {_utc(last_ms)}"
    yield Finding(
        "store", str(path), True, f"{newest}; the daemon is {'running' if running else 'not running'}"
    )
    if waiting:
        yield Finding("outbox", str(path), True, f"{_counted(waiting, 'message')} for the broker")
    return running


def _utc(ms: int) -> str:
    return datetime.fromtimestamp(ms / 1000, UTC).strftime("%Y-%m-%d %H:%M:%S UTC")


def _boards_in_store(config: Config) -> Iterator[Finding]:
    """The daemon holds the ports, so it is asked, through the store, what it hears."""
    now_ms = SystemClock().moment().wall_ms
    with Store.open(config.bridge.store, read_only=True) as store:
        known = {board.board: board for board in store.boards.all()}
    for configured in config.boards.values():
        board = known.get(configured.identity)
        if board is None or board.last_seen_ms is None:
            yield _unheard(configured.identity, configured.label)
        elif now_ms - board.last_seen_ms > _recent_ms(configured):
            yield Finding(
                "board",
                configured.identity,
                False,
                f"last heard {_utc(board.last_seen_ms)}",
                "Check its plug and cable, and whether its light is on",
            )
        else:
            yield Finding("board", configured.identity, True, f"the daemon hears it on {board.port}")


def _recent_ms(board: BoardConfig) -> int:
    """Return how long ago a board that is well may have been heard last."""
    return max(_RECENT_MS, round(2000 * (board.silent_after_s or 0)))


def _unheard(identity: str, label: str) -> Finding:
    return Finding(
        "board",
        identity,
        False,
        f"not heard ({label})",
        "Plug it in with a data cable; `baskline boards` shows what the ports say",
    )


def _boards_on_ports(config: Config, seconds: float) -> Iterator[Finding]:
    clock = SystemClock()
    bus_troubles: list[KeeperError] = []
    with ports_of(config, clock, bus_troubles.append) as find_ports:
        found = survey(find_ports, config, clock, listen_s=seconds)
    for trouble in bus_troubles:
        yield Finding("port", trouble.where, False, trouble.what, trouble.remedy)
    for problem in found.problems:
        yield Finding("port", problem.port, False, problem.error.what, problem.error.remedy)
    for configured in config.boards.values():
        board = found.boards.get(configured.identity)
        if board is None:
            yield _unheard(configured.identity, configured.label)
            continue
        yield Finding("board", configured.identity, True, f"heard on {board.port}")
        if board.latest:
            yield from _channels(config, configured.identity, set(board.latest))


def _channels(config: Config, identity: str, reported: set[str]) -> Iterator[Finding]:
    """Compare what calibrations need with what the board reports."""
    for key, spot in config.spots.items():
        if config.boards[spot.board].identity != identity or spot.calibration is None:
            continue
        try:
            needs = read_calibration(spot.calibration).needs
        except KeeperError:
            continue  # said already
        missing = [name for name in needs if name not in reported and f"{spot.sensor}.{name}" not in reported]
        if missing:
            yield Finding(
                "channels",
                key,
                False,
                f"its calibration needs {', '.join(missing)}, and board {identity} reports "
                f"{', '.join(sorted(reported))}",
                f"Set [spot.{key}] sensor to the right sensor of the board, or calibrate with its channels",
            )


def _broker(config: Config) -> Iterator[Finding]:
    if config.mqtt is None:
        yield Finding("broker", "none", True, "no [mqtt] table, so no home automation is told")
        return
    subject = f"{config.mqtt.host}:{config.mqtt.port_or_usual}"
    try:
        settings = mqtt_settings(config)
        assert settings is not None
        result = probe(settings, _BROKER_TIMEOUT_S, SystemClock())
    except KeeperError as error:
        yield Finding("broker", subject, False, error.what, error.remedy)
        return
    if result.trouble is not None:
        yield Finding("broker", subject, False, result.trouble.what, result.trouble.remedy)
    else:
        yield Finding("broker", subject, True, f"a message went there and back in {result.round_trip_ms} ms")


def _mirror(config: Config) -> Iterator[Finding]:
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
        yield Finding("mirror", config.mirror.url, False, trouble.what, trouble.remedy)
    else:
        yield Finding("mirror", config.mirror.url, True, "it took a point")


def _page(config: Config) -> Iterator[Finding]:
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
