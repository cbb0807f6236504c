"""`baskline listen`: what does a board count right now, and how steadily?"""

import contextlib
import sys
from typing import TYPE_CHECKING, Annotated

import typer

from baskline import completing
from baskline.caution import LAMP_CAUTION
from baskline.commands.common import DEFAULT_CONFIG, ConfigOption, JsonOption, print_json
from baskline.printing import console, say
from baskline.sensor_words import sensor_trouble
from calibrate.errors import KeeperError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rich.console import Console

    from firmware_host.clock import Clock
    from ingest.listening import ChannelLevel, HeardBoard, Listening

SCHEMA = "baskline.listen/1"

_LINE_EVERY_MS = 1000


def listen(
    board: Annotated[
        str | None,
        typer.Argument(
            help="The board: its key in the configuration, or what it calls itself. Without: all.",
            autocompletion=completing.boards,
        ),
    ] = None,
    config: ConfigOption = DEFAULT_CONFIG,
    port: Annotated[
        str | None,
        typer.Option(
            "--port", metavar="PATH", help="Listen on this port only.", autocompletion=completing.ports
        ),
    ] = None,
    seconds: Annotated[
        float | None,
        typer.Option("--seconds", min=1, max=86_400, help="Stop after so long. Without: until Ctrl-C."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Show live counts of a board, with their noise and saturation. Nothing is stored.

    For aiming a sensor, choosing a diffuser, and seeing whether a lamp has settled. Noise is the scatter of
    single readings over the last 60. While `baskline run` is running it holds the ports.

    \b
    Examples:
      baskline listen
      baskline listen rock --seconds 60
      baskline listen --port /dev/ttyACM0 --json --seconds 30
    """
    from baskline.ports import ports_of
    from firmware_host.clock import SystemClock
    from firmware_host.ports import PortWish, find_ports
    from ingest.config import load_config
    from ingest.listening import Listening

    if as_json and seconds is None:
        raise typer.BadParameter("--json needs --seconds, because it is printed at the end")
    configured = load_config(config) if config.exists() else None
    if configured is None and config != DEFAULT_CONFIG:
        raise KeeperError("there is no such configuration", where=str(config), remedy="Check the name")
    boards = {} if configured is None else configured.boards
    identity = boards[board].identity if board is not None and board in boards else board
    one_port = None
    if port is not None:
        one_port = PortWish(port) if configured is None else PortWish(port, configured.serial.baud)
    clock = SystemClock()
    words = None if as_json else console()
    if words is not None:
        say(words, f"{LAMP_CAUTION}\n")
    with contextlib.ExitStack() as stack:
        if one_port is not None:
            listening = Listening(lambda: find_ports([one_port]), boards.values(), clock, report_lost)
        else:
            ports = stack.enter_context(ports_of(configured, clock, _report))
            listening = Listening(ports, boards.values(), clock, report_lost)
        stack.callback(listening.close)
        with contextlib.suppress(KeyboardInterrupt):
            for _ in show_live(words, clock, listening, identity, seconds):
                pass
    heard = [found for found in listening.boards.values() if identity in (None, found.board)]
    if as_json:
        print_json({"schema": SCHEMA, "boards": [heard_fields(found) for found in heard]})
    elif words is not None:
        for found in heard:
            print_levels(words, found)
    if not any(found.n_readings for found in heard):
        raise _nothing_heard(listening, identity)


def _report(error: KeeperError) -> None:
    """Tell what keeps the Pi's own bus from being a board, while others are listened to."""
    print(f"baskline: {error}", file=sys.stderr)


def report_lost(port: str) -> None:
    """Tell at once that a board was unplugged: else its numbers would only stop."""
    print(f"baskline: {port}: it went away. Plug it in again, and it goes on", file=sys.stderr)


def show_live(
    words: "Console | None",
    clock: "Clock",
    listening: "Listening",
    identity: str | None,
    seconds: float | None,
) -> "Iterator[HeardBoard]":
    """Print a line a second for each board that is wanted, and yield the board at each report."""
    printed_ms: dict[str, int] = {}
    for heard in listening.listen(seconds):
        if identity not in (None, heard.board):
            continue
        now_ms = clock.moment().mono_ms
        if (
            words is not None
            and now_ms - printed_ms.get(heard.board, now_ms - _LINE_EVERY_MS) >= _LINE_EVERY_MS
        ):
            printed_ms[heard.board] = now_ms
            say(words, live_line(heard), hang=4)
        yield heard


def live_line(heard: "HeardBoard") -> str:
    """Return a board's newest values in one line, each with its noise."""
    values = "   ".join(f"{level.name} {level.latest:g}{_share(level)}" for level in heard.levels())
    marks = ", ".join((mark.name or "").lower() for mark in heard.latest_marks)
    return f"{heard.board}  {values}{'   ' if values else ''}{marks.upper()}".rstrip()


def print_levels(words: "Console", heard: "HeardBoard") -> None:
    """Print a board's channels over the last readings, and what its marks ask for."""
    from firmware_host.messages import Mark

    n = heard.n_readings
    say(words, f"\n{heard.board}, {n} reading{'' if n == 1 else 's'}:")
    for level in heard.levels():
        say(
            words,
            f"    {level.name}: {_scatter(level)}",
            hang=8,
        )
    trouble = None if heard.hello is None else sensor_trouble(heard.hello.sensor)
    advice = {
        Mark.SATURATED: "at the top of its range: more distance, or a thicker diffuser",
        Mark.FAULT: trouble or "a sensor did not answer: check its wires",
    }
    for mark, remedy in advice.items():
        if heard.marks[mark]:
            name = (mark.name or "").lower()
            say(words, f"    {name} in {heard.marks[mark]} of {heard.n_readings}: {remedy}", hang=8)


def _scatter(level: "ChannelLevel") -> str:
    if level.n == 1:
        return f"{level.latest:g}, too short for its noise"
    return (
        f"mean {level.mean:g}, noise {level.noise:.3g}{_share(level)},"
        f" from {level.lowest:g} to {level.highest:g}"
    )


def _share(level: "ChannelLevel") -> str:
    share = level.noise_share
    # Of a temperature a share says nothing: its zero is a convention.
    return "" if share != share or level.name.endswith("_c") else f" (± {100 * share:.2g} %)"


def heard_fields(heard: "HeardBoard") -> dict[str, object]:
    """Return what a board counted as JSON."""
    return {
        "board": heard.board,
        "port": heard.port,
        "readings": heard.n_readings,
        "marks": {(mark.name or "").lower(): n for mark, n in heard.marks.items()},
        "channels": [
            {
                "name": level.name,
                "readings": level.n,
                "latest": level.latest,
                "mean": level.mean,
                "noise": None if level.noise != level.noise else level.noise,
                "lowest": level.lowest,
                "highest": level.highest,
            }
            for level in heard.levels()
        ],
    }


def _nothing_heard(listening: "Listening", identity: str | None) -> KeeperError:
    for problem in listening.problems:
        return problem.error
    others = ", ".join(board for board in listening.boards if board != identity)
    if identity is not None and others:
        return KeeperError(
            "this board was not heard", where=identity, remedy=f"These were: {others}. Check the name"
        )
    return KeeperError(
        "no board was heard",
        where=identity or "",
        remedy="`baskline flash` shows what is on each port; a slow board needs longer",
    )
