"""`baskline boards`: which boards are there, and what do they say?"""

from typing import TYPE_CHECKING, Annotated

import typer

from baskline.caution import LAMP_CAUTION
from baskline.commands.common import DEFAULT_CONFIG, ConfigOption, JsonOption, print_json
from baskline.printing import console, say
from baskline.sensor_words import sensor_trouble
from calibrate.errors import KeeperError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console

    from ingest.config import BoardConfig, Config
    from ingest.survey import FoundBoard, Survey

SCHEMA = "baskline.boards/1"


def boards(
    config: ConfigOption = DEFAULT_CONFIG,
    seconds: Annotated[
        float,
        typer.Option(
            "--seconds", min=1, max=86_400, help="How long to listen at most. A slow board needs longer."
        ),
    ] = 12.0,
    as_json: JsonOption = False,
) -> None:
    """List the boards on the serial ports, and what they say.

    Works without a configuration; with one, it also says which boards are missing or new. While `baskline
    run` is running it holds the ports: then ask `baskline check`.

    \b
    Examples:
      baskline boards
      baskline boards --seconds 30
      baskline boards --json
    """
    from baskline.ports import ports_of
    from firmware_host.clock import SystemClock
    from ingest.config import load_config
    from ingest.survey import survey

    configured = load_config(config) if config.exists() else None
    if configured is None and config != DEFAULT_CONFIG:
        raise KeeperError("there is no such configuration", where=str(config), remedy="Check the name")
    if not as_json:
        say(console(), f"{LAMP_CAUTION}\n")
    clock = SystemClock()
    bus_troubles: list[KeeperError] = []
    with ports_of(configured, clock, bus_troubles.append) as find_ports:
        found = survey(find_ports, configured, clock, listen_s=seconds)
    problems: list[tuple[str, KeeperError]] = [(problem.port, problem.error) for problem in found.problems]
    problems += [(trouble.where, trouble) for trouble in bus_troubles]
    if as_json:
        print_json(_as_json(found, configured, problems))
    else:
        _print_words(found, configured, problems)


def _keys(config: "Config | None") -> dict[str, str]:
    """Return the key of each configured board by its identity."""
    return {} if config is None else {board.identity: key for key, board in config.boards.items()}


def _unheard(found: "Survey", config: "Config | None") -> "list[BoardConfig]":
    boards = [] if config is None else config.boards.values()
    return [board for board in boards if board.identity not in found.boards]


def _as_json(
    found: "Survey", config: "Config | None", problems: "Sequence[tuple[str, KeeperError]]"
) -> dict[str, object]:
    keys = _keys(config)
    return {
        "schema": SCHEMA,
        "ports": [{"port": port.path, "usb": port.usb or None} for port in found.ports],
        "boards": [
            {
                "board": board.board,
                "key": keys.get(board.board),
                "port": board.port,
                "firmware": board.hello.firmware if board.hello else None,
                "sensor": board.hello.sensor if board.hello else None,
                "cadence_ms": board.hello.cadence_ms if board.hello else None,
                "ring": board.hello.ring if board.hello else None,
                "readings": board.n_readings,
                "latest": {name: None if value != value else value for name, value in board.latest.items()},
            }
            for board in found.boards.values()
        ],
        "unheard": [board.identity for board in _unheard(found, config)],
        "problems": [
            {"port": port, "what": error.what, "do": error.remedy or None} for port, error in problems
        ],
        "garbage_bytes": dict(found.garbage),
    }


def _print_words(
    found: "Survey", config: "Config | None", problems: "Sequence[tuple[str, KeeperError]]"
) -> None:
    from ingest.store.lock import is_held

    words = console()
    keys = _keys(config)
    for board in found.boards.values():
        _print_board(words, board)
        if config is not None and board.board not in keys:
            say(
                words,
                f'    new: to watch a spot with it, add [board.NAME] with identity = "{board.board}"',
                hang=4,
            )
    for port in found.silent_ports():
        noise = found.garbage[port.path]
        if port.path in found.prompts:
            said = (
                "MicroPython, but baskline's firmware is not on it or does not run. Put it on:"
                f" baskline flash {port.path}"
            )
        elif noise:
            said = (
                f"{noise} bytes, but not in baskline's wire format. If the board prints plain CSV, key=value"
                " or JSON lines, describe them in [board.NAME.mapping] (ingest/CONFIG.md); else flash the"
                " firmware (hardware/README.md)."
            )
        else:
            said = "silent. Flash the firmware on the board (hardware/README.md)."
        say(words, f"{port.path}  {said}", hang=4)
    for where, error in problems:
        say(words, f"{where}  {error.what}. {error.remedy}", hang=4)
    if not found.ports:
        say(
            words,
            "No serial port found. Plug a board in with a data cable (a charging cable has no data wires).",
        )
    if config is not None and is_held(config.bridge.store):
        say(words, "`baskline run` is running and holds its ports: ask `baskline check` what it hears.")
        return
    for missing in _unheard(found, config):
        say(
            words, f"{missing.identity}  not heard, though the configuration has it ({missing.label})", hang=4
        )


def _print_board(words: "Console", board: "FoundBoard") -> None:
    known = f"{board.hello.firmware}, sensor {board.hello.sensor}" if board.hello else "no hello yet"
    say(words, f"{board.board}  on {board.port}: {known}", hang=4)
    if board.hello is not None:
        say(
            words,
            f"    a reading each {board.hello.cadence_ms / 1000:g} s, remembers the last {board.hello.ring}",
            hang=4,
        )
        trouble = sensor_trouble(board.hello.sensor)
        if trouble is not None:
            say(words, f"    {trouble}", hang=4)
    if board.latest:
        values = "  ".join(f"{name}={value:g}" for name, value in board.latest.items())
        say(words, f"    latest: {values}", hang=12)
    elif board.n_readings == 0:
        say(words, "    no reading while we listened: try a longer --seconds", hang=4)
