"""`baskline flash`: the firmware onto a board, its settings, and its first light."""

import contextlib
from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated

import typer

from baskline import completing
from baskline.caution import LAMP_CAUTION
from baskline.commands.common import JsonOption, print_json
from baskline.printing import console, say

if TYPE_CHECKING:
    from rich.console import Console

    from firmware_host.clock import Clock
    from firmware_host.flash import BoardState, Plan, PortLook
    from firmware_host.ports import Port
    from ingest.listening import HeardBoard

SCHEMA = "baskline.flash/1"

# The board starts, its port comes back, and the link opens: 4 s were the longest, behind a slow hub.
_HELLO_WITHIN_S = 20.0


def flash(
    port: Annotated[
        str | None,
        typer.Argument(
            help="The board's port. Without: only say what is on each port.", autocompletion=completing.ports
        ),
    ] = None,
    label: Annotated[
        str | None, typer.Option("--label", help="Your own note, kept on the board: at most 60 characters.")
    ] = None,
    cadence_ms: Annotated[
        int | None, typer.Option("--cadence-ms", help="One reading each so many milliseconds, 100 to 600000.")
    ] = None,
    sensor: Annotated[
        str | None,
        typer.Option(
            "--sensor", help="Which sensor the board has, such as ltr390. Better named than guessed."
        ),
    ] = None,
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Replace files on the board that baskline did not write.")
    ] = False,
    seconds: Annotated[
        float, typer.Option("--seconds", min=1, max=86_400, help="How long to show live counts at the end.")
    ] = 15.0,
    as_json: JsonOption = False,
) -> None:
    """Put the firmware on a board, and show its first counts.

    The board needs MicroPython first (hardware/README.md). What runs on it is stopped. A file that baskline
    did not write is never replaced unless you say --overwrite, and nothing is replaced before all that is new
    has arrived whole. A board that has the firmware is brought up to date the same way, and keeps its
    settings. Stop `baskline run` first: it holds the ports.

    \b
    Examples:
      baskline flash
      baskline flash /dev/ttyACM0 --sensor ltr390 --label "rock, left"
      baskline flash /dev/ttyACM0 --cadence-ms 2000
      baskline flash --json
    """
    from firmware_host.clock import SystemClock
    from firmware_host.flash import look_at_ports
    from firmware_host.ports import AUTO, PortWish, find_ports

    clock = SystemClock()
    words = console(quiet=as_json)
    if port is None:
        say(words, f"{LAMP_CAUTION}\n")
        looks = look_at_ports(lambda: find_ports([PortWish(AUTO)]), clock)
        _print_looks(words, looks)
        if as_json:
            print_json({"schema": SCHEMA, "ports": [_look_fields(look) for look in looks], "flashed": None})
        return
    changes = {"label": label, "cadence_ms": cadence_ms, "sensor": sensor}
    look, flashed = _flash(
        words,
        clock,
        port,
        {name: value for name, value in changes.items() if value is not None},
        overwrite=overwrite,
        seconds=seconds,
    )
    if as_json:
        print_json({"schema": SCHEMA, "ports": [_look_fields(look)], "flashed": flashed})


def _look_fields(look: "PortLook") -> dict[str, object]:
    return {
        "port": look.port.path,
        "usb": look.port.usb or None,
        "occupant": look.occupant.value,
        "board": look.board or None,
        "firmware": look.hello.firmware if look.hello is not None else None,
        "says": look.excerpt or None,
        "problem": look.problem.what if look.problem is not None else None,
        "do": look.problem.remedy if look.problem is not None else None,
    }


def _flash(
    words: "Console",
    clock: "Clock",
    port: str,
    changes: dict[str, object],
    *,
    overwrite: bool,
    seconds: float,
) -> tuple["PortLook", dict[str, object]]:
    """Do it, and return what was on the port before and what has become of it."""
    from baskline.commands.listen import heard_fields
    from firmware_host.firmware_files import firmware_files
    from firmware_host.flash import (
        FlashError,
        Mpremote,
        change_settings,
        check_settings,
        install,
        look_at_board,
        look_at_ports,
        plan_install,
        restart,
    )
    from firmware_host.ports import PortWish, find_ports

    check_settings(changes)
    tool = Mpremote(port)
    say(words, f"{LAMP_CAUTION}\n")
    there = find_ports([PortWish(port)])
    [look] = look_at_ports(lambda: there, clock)
    if look.problem is not None:
        raise look.problem
    _print_looks(words, [look], advise=False)
    files = firmware_files()
    board = look_at_board(tool, files)
    kept: dict[str, object] = {}
    try:
        plan = plan_install(files, board)
        _print_plan(words, board, plan)
        install(tool, plan, board, overwrite=overwrite)
        say(words, f"All {len(files)} files are on the board, each verified by its hash.")
        if changes:
            settings = change_settings(tool, changes)
            kept = {name: settings[name] for name in changes}
            say(
                words,
                "Kept on the board: " + ", ".join(f"{name} = {value!r}" for name, value in kept.items()),
            )
    finally:
        # Whatever came of it: what ran there was stopped, and shall run again.
        with contextlib.suppress(FlashError):
            restart(tool)
    heard = _first_light(words, clock, look.port, board.identity, seconds)
    return look, {
        "micropython": ".".join(map(str, board.version)),
        "machine": board.machine,
        "files": len(files),
        "written": list(plan.write),
        "removed": list(plan.remove),
        "settings": kept,
        "heard": heard_fields(heard),
    }


def _first_light(
    words: "Console", clock: "Clock", port: "Port", identity: str, seconds: float
) -> "HeardBoard":
    """Wait for the board that starts, show what it counts, and return that."""
    from baskline.commands.listen import print_levels, report_lost, show_live
    from ingest.listening import Listening

    say(words, f"\nThe board starts as {identity}. Hold a hand over the sensor: the numbers fall.")
    listening = Listening(_wherever_it_is(port), [], clock, report_lost)
    with contextlib.closing(listening):
        for heard in listening.listen(_HELLO_WITHIN_S):
            if heard.board == identity and heard.hello is not None:
                break
        heard_now = listening.boards.get(identity)
        if heard_now is None or heard_now.hello is None:
            raise _not_heard(port.path)
        _print_hello(words, heard_now)
        with contextlib.suppress(KeyboardInterrupt):
            for _ in show_live(words, clock, listening, identity, seconds):
                pass
    print_levels(words, heard_now)
    say(
        words,
        "\nTo watch a spot with it: baskline init, or put into baskline.toml"
        f' [board.NAME] with identity = "{identity}"',
    )
    return heard_now


def _wherever_it_is(port: "Port") -> Callable[[], "list[Port]"]:
    """Return how to find the board after its restart: a USB port may come back under another name."""
    from firmware_host.ports import AUTO, PortWish, find_ports

    def find() -> "list[Port]":
        found = find_ports([PortWish(AUTO)]) if port.usb else []
        return [other for other in found if other.usb == port.usb] or [port]

    return find


def _not_heard(port: str) -> Exception:
    from firmware_host.flash import FlashError

    return FlashError(
        "the firmware is on the board, but the board says nothing",
        where=port,
        remedy=(
            'mpremote resume exec "import main; main.run()" shows what stops it; a pin that does not exist is'
            " the usual reason"
        ),
    )


def _print_looks(words: "Console", looks: "list[PortLook]", *, advise: bool = True) -> None:
    from firmware_host.flash import Occupant

    for look in looks:
        match look.occupant:
            case Occupant.OURS:
                firmware = f", firmware {look.hello.firmware}" if look.hello is not None else ""
                said = f"a baskline board: {look.board}{firmware}"
            case Occupant.PROMPT:
                said = "MicroPython, without baskline's firmware."
                if advise:
                    said += f" Put it on: baskline flash {look.port.path}"
            case Occupant.OTHER:
                said = f"something else, which says: {look.excerpt}"
            case Occupant.SILENT:
                said = "nobody answers: a program that is busy, or no MicroPython on it yet."
            case Occupant.UNUSABLE:
                said = "" if look.problem is None else f"{look.problem.what}. {look.problem.remedy}"
        say(words, f"{look.port.path}  {said}", hang=4)
    if not looks:
        say(
            words,
            "No serial port found. Plug a board in with a data cable (a charging cable has no data wires).",
        )


def _print_plan(words: "Console", board: "BoardState", plan: "Plan") -> None:
    version = ".".join(map(str, board.version))
    say(words, f"MicroPython {version} on {board.machine}, {board.free_bytes // 1024} kB free.")
    if plan.write:
        say(words, f"{len(plan.write)} of {len(plan.files)} files to copy; this takes up to a minute.")
    else:
        say(words, "The firmware on it is up to date.")
    if plan.remove:
        say(words, f"No longer needed and removed: {', '.join(plan.remove)}")


def _print_hello(words: "Console", heard: "HeardBoard") -> None:
    hello = heard.hello
    assert hello is not None
    say(
        words,
        f"{hello.board}: sensor {hello.sensor}, a reading each {hello.cadence_ms / 1000:g} s,"
        f" remembers the last {hello.ring}",
    )
