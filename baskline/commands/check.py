"""`baskline check`: is everything in order, and if not, what is to be done?"""

from collections.abc import Generator, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from baskline.commands.common import (
    DEFAULT_CONFIG,
    ConfigOption,
    JsonOption,
    console,
    print_json,
    read_config,
)
from calibrate.errors import KeeperError

if TYPE_CHECKING:
    from calibrate.calibration import Calibration
    from ingest.config import Config

SCHEMA = "baskline.check/1"
_BROKER_TIMEOUT_S = 5.0
_RECENT_MS = 120_000


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was looked at: `fine`, or what is the matter and what to `do`."""

    part: str
    subject: str
    fine: bool
    what: str
    do: str = ""


def check(
    config: ConfigOption = DEFAULT_CONFIG,
    seconds: Annotated[
        float, typer.Option("--seconds", min=1, help="How long to listen to the boards at most.")
    ] = 12.0,
    as_json: JsonOption = False,
) -> None:
    """Prove the configuration, calibrations, store, ports and broker, and say what to do about each trouble.

    Changes nothing, and may run beside the daemon. Exit code 0: all is well; 1: something is to be mended.

    Example: baskline check --config /etc/baskline.toml
    """
    findings: list[Finding] = []
    words = console()
    for finding in _findings(config, seconds):
        findings.append(finding)
        if not as_json:
            words.print(
                f"{'fine ' if finding.fine else 'MEND '} {finding.part:12} {finding.subject}: {finding.what}"
            )
            if finding.do:
                words.print(f"{'':19}{finding.do}")
    troubles = [finding for finding in findings if not finding.fine]
    if as_json:
        print_json(
            {
                "schema": SCHEMA,
                "fine": not troubles,
                "findings": [
                    {
                        "part": each.part,
                        "subject": each.subject,
                        "fine": each.fine,
                        "what": each.what,
                        "do": each.do or None,
                    }
                    for each in findings
                ],
            }
        )
    else:
        words.print("\nAll is well." if not troubles else f"\n{len(troubles)} to mend.")
    if troubles:
        raise typer.Exit(1)


def _findings(path: Path, seconds: float) -> Iterator[Finding]:
    try:
        config = read_config(path)
    except KeeperError as error:
        yield Finding("configuration", str(path), False, str(error))
        return
    yield Finding("configuration", str(path), True, f"{len(config.boards)} boards, {len(config.spots)} spots")
    yield from _calibrations(config)
    running = yield from _store(config)
    if running:
        yield from _boards_in_store(config)
    else:
        yield from _boards_on_ports(config, seconds)
    yield from _broker(config)


def _calibrations(config: "Config") -> Iterator[Finding]:
    from calibrate.calibration_file import read_calibration

    for key, spot in config.spots.items():
        if spot.calibration is None:
            yield Finding(
                "calibration",
                key,
                False,
                "none, so this spot has no UVI",
                f"Calibrate it against a UVI meter and name the file in [spot.{key}] calibration",
            )
            continue
        try:
            calibration = read_calibration(spot.calibration)
        except KeeperError as error:
            yield Finding("calibration", key, False, f"{error.where}: {error.what}", error.remedy)
            continue
        yield _calibration(key, calibration, config.lamps[spot.lamp].kind)


def _calibration(key: str, calibration: "Calibration", lamp_kind: str) -> Finding:
    from firmware_host.clock import SystemClock

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
    return Finding("calibration", key, True, f"{calibration.identity}, made on {calibration.made_on}")


def _store(config: "Config") -> Generator[Finding, None, bool]:
    """Look at the store; return (to `yield from`) whether a daemon is writing to it."""
    from ingest.store.lock import is_held
    from ingest.store.store import Store

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
        yield Finding("outbox", str(path), True, f"{waiting} messages wait for the broker")
    return running


def _utc(ms: int) -> str:
    return datetime.fromtimestamp(ms / 1000, UTC).strftime("%Y-%m-%d %H:%M:%S UTC")


def _boards_in_store(config: "Config") -> Iterator[Finding]:
    """The daemon holds the ports, so it is asked, through the store, what it hears."""
    from firmware_host.clock import SystemClock
    from ingest.store.store import Store

    now_ms = SystemClock().moment().wall_ms
    with Store.open(config.bridge.store, read_only=True) as store:
        known = {board.board: board for board in store.boards.all()}
    for configured in config.boards.values():
        board = known.get(configured.identity)
        if board is None or board.last_seen_ms is None:
            yield _unheard(configured.identity, configured.label)
        elif now_ms - board.last_seen_ms > _RECENT_MS:
            yield Finding(
                "board",
                configured.identity,
                False,
                f"last heard {_utc(board.last_seen_ms)}",
                "Check its plug and cable, and whether its light is on",
            )
        else:
            yield Finding("board", configured.identity, True, f"the daemon hears it on {board.port}")


def _unheard(identity: str, label: str) -> Finding:
    return Finding(
        "board",
        identity,
        False,
        f"not heard ({label})",
        "Plug it in with a data cable; `baskline boards` shows what the ports say",
    )


def _boards_on_ports(config: "Config", seconds: float) -> Iterator[Finding]:
    from firmware_host.clock import SystemClock
    from firmware_host.ports import find_ports
    from ingest.config.resolve import port_wishes
    from ingest.survey import survey

    wishes = port_wishes(config)
    found = survey(lambda: find_ports(wishes), config, SystemClock(), listen_s=seconds)
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


def _channels(config: "Config", identity: str, reported: set[str]) -> Iterator[Finding]:
    """Compare what calibrations need with what the board reports."""
    from calibrate.calibration_file import read_calibration

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


def _broker(config: "Config") -> Iterator[Finding]:
    from firmware_host.clock import SystemClock
    from ingest.config.resolve import mqtt_settings

    if config.mqtt is None:
        yield Finding("broker", "none", True, "no [mqtt] table, so no home automation is told")
        return
    subject = f"{config.mqtt.host}:{config.mqtt.port_or_usual}"
    try:
        settings = mqtt_settings(config)
        assert settings is not None
        from ingest.mqtt.probe import probe

        result = probe(settings, _BROKER_TIMEOUT_S, SystemClock())
    except KeeperError as error:
        yield Finding("broker", subject, False, error.what, error.remedy)
        return
    if result.trouble is not None:
        yield Finding("broker", subject, False, result.trouble.what, result.trouble.remedy)
    else:
        yield Finding("broker", subject, True, f"a message went there and back in {result.round_trip_ms} ms")
