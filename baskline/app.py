"""The command line.  Each command lives in its own module and imports what it needs only when it runs."""

import errno
import logging
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final, cast

import typer

from baskline.commands import (
    boards,
    check,
    day,
    demo,
    events,
    export,
    flash,
    init,
    lamps,
    listen,
    password,
    recompute,
    replay,
    report,
    run,
    serve,
    species,
    week,
)
from baskline.commands import lamp as lamp_group
from baskline.commands.calibrate import calibrate as calibrate_group
from calibrate.errors import KeeperError

# The exit codes of baskline/OUTPUT.md.
EXIT_MEND: Final = 1
EXIT_WRONG_USE: Final = 2
EXIT_FAULT: Final = 70  # EX_SOFTWARE of sysexits(3)
EXIT_INTERRUPTED: Final = 130

# What a disk or a name may refuse wherever a file is touched.  Where more can be said, the part that touches
# the file says so itself.
_BY_THE_DISK: Final = {
    errno.ENOSPC: "Make room on the disk",
    errno.EDQUOT: "Make room on the disk",
    errno.EROFS: "Choose a place that can be written to",
    errno.EACCES: "Choose a place that this user may use, or change its rights",
    errno.EPERM: "Choose a place that this user may use, or change its rights",
    errno.EEXIST: "Choose another name",
    errno.ENOTDIR: "Choose another name",
    errno.EISDIR: "Choose another name",
    errno.ENAMETOOLONG: "Choose a shorter name",
    errno.ELOOP: "Choose another name",
}

# Whether typer stands on click or brings its own: what is common to all wrong uses of the command line.
_WrongUse: Final = cast("type[Exception]", typer.BadParameter.__bases__[0])

app = typer.Typer(
    help="A continuous UV Index watch for reptile basking spots. It measures and tells; it switches no lamp.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["--help", "-h"]},
    epilog="Try it without any hardware: baskline demo",
)
app.command("demo")(demo.demo)
app.command("init")(init.init)
app.command("species")(species.species)
app.command("check")(check.check)
app.command("boards")(boards.boards)
app.command("flash")(flash.flash)
app.command("listen")(listen.listen)
app.command("run")(run.run)
app.command("serve")(serve.serve)
app.command("password")(password.password)
app.command("replay")(replay.replay)
app.command("day")(day.day)
app.command("week")(week.week)
app.command("lamps")(lamps.lamps)
app.add_typer(lamp_group.lamp, name="lamp")
app.command("report")(report.report)
app.command("events")(events.events)
app.command("acknowledge")(events.acknowledge)
app.command("close")(events.close)
app.add_typer(calibrate_group, name="calibrate")
app.command("export")(export.export)
app.command("recompute")(recompute.recompute)


def main() -> None:
    """Run the command line and end the process with one of the exit codes of baskline/OUTPUT.md."""
    sys.exit(_run())


def _run() -> int:
    """Turn wrong use and a keeper's mistake into one line, and a fault of ours into a traceback."""
    _open_what_is_closed()
    stdout = sys.stdout
    try:
        with _told_of_damage():
            code = app(prog_name="baskline", standalone_mode=False)
        sys.stdout.flush()
    except KeeperError as error:
        print(f"baskline: {error}", file=sys.stderr)
        return EXIT_MEND
    except _WrongUse as error:
        return _wrong_use(error)
    except typer.Abort:
        return EXIT_INTERRUPTED
    except BrokenPipeError:
        return _reader_left()
    except SystemExit as ended:
        if sys.stdout is not stdout:  # so typer marks that it could not write any more
            return _reader_left()
        code = ended.code
    except OSError as error:
        if error.filename is None and error.errno in (
            errno.ENOSPC,
            errno.EDQUOT,
        ):  # only a write says no name
            return _no_room(error)
        if error.errno not in _BY_THE_DISK or error.filename is None:
            return _our_fault()
        print(f"baskline: {error.filename}: {error.strerror}. {_BY_THE_DISK[error.errno]}", file=sys.stderr)
        return EXIT_MEND
    except Exception:  # noqa: BLE001 - the outermost shell
        return _our_fault()
    return code if isinstance(code, int) else 0


def _open_what_is_closed() -> None:
    """Let what was closed at start (`>&-`) lead nowhere, before a file of the keeper's gets its number."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open(mode))  # noqa: SIM115 - as long as the process


def _no_room(error: OSError) -> int:
    _drop_what_is_left()
    print(f"baskline: cannot be written: {error.strerror}. Make room on the disk", file=sys.stderr)
    return EXIT_MEND


def _our_fault() -> int:
    """Show where it is."""
    import traceback

    traceback.print_exc()
    print("baskline: this is a fault in baskline, not in what you did; please report it.", file=sys.stderr)
    return EXIT_FAULT


@contextmanager
def _told_of_damage() -> Iterator[None]:
    """Take what the parts below log.  Most is for `run`; but that readings are damaged concerns anybody."""
    damage = _Damage()
    root = logging.getLogger()
    root.addHandler(damage)  # `run` puts its own in this place
    try:
        yield
    finally:
        root.removeHandler(damage)
    if damage.count:
        more = f" (and {damage.count - 1} more like it)" if damage.count > 1 else ""
        print(f"baskline: left out: {damage.first}{more}", file=sys.stderr)


class _Damage(logging.Handler):
    """Counts what the store has to complain of, and keeps the first complaint."""

    def __init__(self) -> None:
        super().__init__(logging.ERROR)
        self.first = ""
        self.count = 0

    def emit(self, record: logging.LogRecord) -> None:
        """Take one log record."""
        if record.name.startswith("ingest.store"):
            self.first = self.first or record.getMessage()
            self.count += 1


def _wrong_use(error: Exception) -> int:
    """Say what cannot be meant, and where to read what can."""
    context = getattr(error, "ctx", None)
    message = error.format_message()  # type: ignore[attr-defined]  # not among the names that typer exports
    if message.startswith("Usage:"):
        print(message, file=sys.stderr)  # the whole help, where a command is still to be named
    else:
        command = context.command_path if context is not None else f"baskline {sys.argv[1]}"
        message = " ".join(message.split())
        stop = "" if message.endswith(("?", ".")) else "."
        print(f"baskline: {message}{stop} See {command} --help", file=sys.stderr)
    return EXIT_WRONG_USE


def _reader_left() -> int:
    """`baskline events | head` is no mistake."""
    _drop_what_is_left()
    return 0


def _drop_what_is_left() -> None:
    """Let what is left in the buffer of standard output go nowhere instead of failing."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
