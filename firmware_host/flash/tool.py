"""mpremote, run as a command on one board."""

import importlib.util
import re
import subprocess
import sys
from typing import Final

from firmware_host.flash.errors import FlashError

# The whole firmware takes a slow board a minute: what takes longer hangs.
_TIMEOUT_S: Final = 180.0


class Mpremote:
    """The tool, for the board on one port."""

    def __init__(self, port: str) -> None:
        if importlib.util.find_spec("mpremote") is None:
            raise FlashError(
                "putting firmware on a board needs mpremote, MicroPython's own tool",
                where=port,
                remedy="Type: pip install 'baskline[flash]'",
            )
        self.port = port

    def run(self, *commands: list[str], timeout_s: float = _TIMEOUT_S) -> str:
        """Do commands one after the other, in one go; return what the board printed, or raise `FlashError`.

        `resume`: the program on the board is stopped, but MicroPython is not started anew.  Our own firmware
        goes on to feed its watchdog then, which else would restart the board in the middle of the work.
        """
        line = [sys.executable, "-m", "mpremote", "connect", self.port, "resume"]
        for number, command in enumerate(commands):
            line += ["+", *command] if number else command
        try:
            done = subprocess.run(  # noqa: S603 - no shell, and the port is one of the keeper's own
                line, capture_output=True, text=True, timeout=timeout_s, errors="replace", check=False
            )
        except subprocess.TimeoutExpired:
            raise FlashError(
                f"the board did not answer for {timeout_s:g} s",
                where=self.port,
                remedy=(
                    "If there is no MicroPython on it, put it there first (hardware/README.md, First light);"
                    " else unplug it, plug it in again, and give the same command again"
                ),
            ) from None
        if done.returncode != 0:
            raise _explained(self.port, f"{done.stdout}\n{done.stderr}")
        return done.stdout


def _explained(port: str, said: str) -> FlashError:
    """Say what mpremote's or MicroPython's words mean for the keeper."""
    if "could not enter raw repl" in said:
        return FlashError(
            "the board gives no MicroPython prompt",
            where=port,
            remedy=(
                "Put MicroPython on it first (hardware/README.md, First light); if it is there, unplug the"
                " board, plug it in again, and give the same command again"
            ),
        )
    if "failed to access" in said or "in use by another program" in said:
        return FlashError(
            "the port cannot be opened, or another program holds it",
            where=port,
            remedy="Stop that program, such as `baskline run`; `baskline flash` alone lists the ports",
        )
    if re.search(r"OSError: (\[Errno 28\]|28\b)|ENOSPC", said):
        return FlashError(
            "the board has no room for the firmware",
            where=port,
            remedy="Remove files of yours from it: mpremote resume fs ls, mpremote resume fs rm :FILE",
        )
    if re.search(r"OSError: (\[Errno 30\]|30\b)|EROFS", said):
        return FlashError(
            "the board's memory cannot be written", where=port, remedy="Put MicroPython on the board anew"
        )
    if "Errno 5" in said or "device disconnected" in said or "SerialException" in said:
        return FlashError(
            "the board went away in the middle",
            where=port,
            remedy="Check the cable, plug the board in again, and give the same command again",
        )
    lines = [line.strip() for line in said.splitlines() if line.strip()]
    return FlashError(
        f"the board or mpremote refused: {lines[-1] if lines else 'no reason given'}",
        where=port,
        remedy="Unplug the board, plug it in again, and give the same command again",
    )
