"""The command line.  Each command lives in its own module and imports what it needs only when it runs."""

import sys
import traceback

import typer

from baskline.commands import boards, check, day, demo, events, replay, run
from calibrate.errors import KeeperError

EXIT_MEND = 1
"""Something that the keeper can mend; the last line on standard error says what, where and how."""
EXIT_BUG = 70
"""A fault in baskline itself (sysexits EX_SOFTWARE); the traceback is on standard error."""

app = typer.Typer(
    help="A continuous UV Index watch for reptile basking spots. It measures and tells; it switches no lamp.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    epilog="Try it without any hardware: baskline demo",
)
app.command("demo")(demo.demo)
app.command("check")(check.check)
app.command("boards")(boards.boards)
app.command("run")(run.run)
app.command("replay")(replay.replay)
app.command("day")(day.day)
app.command("events")(events.events)
app.command("acknowledge")(events.acknowledge)


def main() -> None:
    """Run the command line, turning a keeper's mistake into one line and a fault of ours into a traceback."""
    try:
        app()
    except KeeperError as error:
        print(f"baskline: {error}", file=sys.stderr)
        sys.exit(EXIT_MEND)
    except BrokenPipeError:
        # The reader of our output went away (`baskline events | head`): nothing is wrong.
        sys.stderr.close()
        sys.exit(0)
    except Exception:  # noqa: BLE001 - the outermost shell
        traceback.print_exc()
        print(
            "baskline: this is a fault in baskline, not in what you did; please report it.", file=sys.stderr
        )
        sys.exit(EXIT_BUG)
