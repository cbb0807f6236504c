"""`baskline boards`: which boards are there, and what do they say?"""

from typing import TYPE_CHECKING, Annotated

import typer

from baskline.commands.common import (
    DEFAULT_CONFIG,
    LAMP_CAUTION,
    ConfigOption,
    JsonOption,
    console,
    print_json,
)
from calibrate.errors import KeeperError

if TYPE_CHECKING:
    from ingest.config import Config
    from ingest.survey import Survey

SCHEMA = "baskline.boards/1"


def boards(
    config: ConfigOption = DEFAULT_CONFIG,
    seconds: Annotated[
        float, typer.Option("--seconds", min=1, help="How long to listen at most. A slow board needs longer.")
    ] = 12.0,
    as_json: JsonOption = False,
) -> None:
    """List the serial ports and the boards on them, each with its latest reading.

    Works without a configuration; with one, it also says which boards are expected and missing.

    Example: baskline boards --seconds 30
    """
    from firmware_host.clock import SystemClock
    from firmware_host.ports import AUTO, PortWish, find_ports
    from ingest.config import load_config
    from ingest.config.resolve import port_wishes
    from ingest.survey import survey

    configured = load_config(config) if config.exists() else None
    if configured is None and config != DEFAULT_CONFIG:
        raise KeeperError("there is no such configuration", where=str(config), remedy="Check the name")
    wishes = port_wishes(configured) if configured is not None else (PortWish(AUTO),)
    if not as_json:
        console().print(f"{LAMP_CAUTION}\n")
    found = survey(lambda: find_ports(wishes), configured, SystemClock(), listen_s=seconds)
    if as_json:
        print_json(_as_json(found))
    else:
        _print_words(found, configured)


def _as_json(found: "Survey") -> dict[str, object]:
    return {
        "schema": SCHEMA,
        "ports": [{"port": port.path, "usb": port.usb or None} for port in found.ports],
        "boards": [
            {
                "board": board.board,
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
        "problems": [
            {"port": problem.port, "what": problem.error.what, "do": problem.error.remedy}
            for problem in found.problems
        ],
        "garbage_bytes": dict(found.garbage),
    }


def _print_words(found: "Survey", config: "Config | None") -> None:
    words = console()
    for board in found.boards.values():
        known = f"{board.hello.firmware}, sensor {board.hello.sensor}" if board.hello else "no hello yet"
        words.print(f"{board.board}  on {board.port}: {known}")
        if board.hello is not None:
            words.print(
                f"    a reading each {board.hello.cadence_ms / 1000:g} s,"
                f" remembers the last {board.hello.ring}"
            )
        if board.latest:
            values = "  ".join(f"{name}={value:g}" for name, value in board.latest.items())
            words.print(f"    latest: {values}")
        elif board.n_readings == 0:
            words.print("    no reading while we listened: try a longer --seconds")
    for port in found.silent_ports():
        noise = found.garbage[port.path]
        if noise:
            words.print(
                f"{port.path}: {noise} bytes, but not in our wire format. If the board prints plain CSV,"
                " key=value or JSON lines, describe them in [board.NAME.mapping] (ingest/CONFIG.md); else"
                " flash the firmware (hardware/README.md)."
            )
        else:
            words.print(f"{port.path}: silent. Flash the firmware on the board (hardware/README.md).")
    for problem in found.problems:
        words.print(f"{problem.port}: {problem.error.what}. {problem.error.remedy}.")
    if not found.ports:
        words.print(
            "No serial port found. Plug a board in with a data cable (a charging cable has no data wires)."
        )
    if config is not None:
        for configured in config.boards.values():
            if configured.identity not in found.boards:
                words.print(
                    f"{configured.identity} ({configured.label}): in the configuration, but not heard"
                )
        known_identities = {configured.identity for configured in config.boards.values()}
        for board in found.boards.values():
            if board.board not in known_identities:
                words.print(f'New: add [board.NAME] with identity = "{board.board}" to the configuration.')
