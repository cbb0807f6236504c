"""The board's own firmware under MicroPython behind a pseudo-terminal, to be opened like any serial port.

with FirmwareBench(tmp_path, settings={"cadence_ms": 200}) as bench:
    open bench.port, read lines, bench.set_light_mv(900), bench.power_cycle(), ...

As with a USB port, what the firmware says while nobody has the port open is lost, and a host that has it open
and does not read holds the firmware up, half a second at a time.
"""

import contextlib
import json
import os
import select
import shutil
import subprocess
import sys
import threading
import tty
from pathlib import Path
from types import TracebackType
from typing import Self

ROOT = Path(__file__).parents[2]
FIRMWARE = ROOT / "hardware" / "firmware"
STAND_IN = Path(__file__).parent / "stand_in"

_LOOK_AGAIN_MS = 10
# What is under way between the firmware and a host that does not read: a page is the least that a pipe has.
_PIPE_BYTES = 4096
_USB_PATIENCE_MS = 500  # MicroPython's, for a host that has the port open and does not read


def micropython() -> str:
    """Return the interpreter's path: it comes with the test dependencies, so it must be there."""
    beside = Path(sys.executable).with_name("micropython")
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if found is None:
        raise RuntimeError("no micropython command. Install the project's test extra into this environment")
    return found


def flash(folder: Path) -> None:
    """Copy the firmware's files into a board's folder."""
    shutil.copytree(FIRMWARE, folder, ignore=shutil.ignore_patterns("__pycache__"), dirs_exist_ok=True)


def environment() -> dict[str, str]:
    """Return the environment in which the firmware finds the stand-in `machine`."""
    return {**os.environ, "MICROPYPATH": str(STAND_IN)}


class FirmwareBench:
    """One board on its bench, powered on from `__enter__` to `__exit__`."""

    def __init__(
        self,
        folder: Path,
        *,
        settings: dict[str, object] | None = None,
        unique_id: str = "e6614c311b7a2f34",
        light: str | None = None,
        chips: dict[int, dict[str, object]] | None = None,
        kind: str = "rp2040",
        prompt: bool = False,
        bare: bool = False,
    ) -> None:
        """`light`: source of a module with `photodiode_mv(t_us)`; without it `set_light_mv` says.

        `chips`: what `wire_up` puts on the I2C bus from the start.  `kind`: "rp2040" or "esp32".  `prompt`:
        whether MicroPython's prompt is there when the firmware stops, and the board starts again on the same
        port when it is reset, as boards do; without it the process ends.  `bare`: MicroPython without our
        firmware.
        """
        self.folder = folder
        self._prompt = prompt or bare
        self.identity = f"uv-{unique_id}"
        folder.mkdir(parents=True, exist_ok=True)
        if not bare:
            flash(folder)
        (folder / "unique_id").write_text(unique_id)
        (folder / "kind").write_text(kind)
        if settings is not None:
            (folder / "settings.json").write_text(json.dumps(settings))
        if light is not None:
            (folder / "light.py").write_text(light)
        if chips is not None:
            self.wire_up(chips)
        self._power: _Power | None = None

    def __enter__(self) -> Self:
        self.plug()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.unplug()

    @property
    def port(self) -> str:
        """The path of the port, as long as the board is plugged in."""
        if self._power is None:
            raise RuntimeError("the board is not plugged in")
        return self._power.port

    @property
    def running(self) -> bool:
        """Whether the firmware is at work."""
        return self._power is not None and self._power.process.poll() is None

    def plug(self) -> str:
        """Power the board and return its port."""
        if self._power is not None:
            raise RuntimeError("the board is plugged in already")
        self._power = _Power(self.folder, prompt=self._prompt)
        return self._power.port

    def unplug(self) -> None:
        """Cut the power of the board and its chips, and take its port away."""
        if self._power is not None:
            self._power.off()
            self._power = None
            (self.folder / "chips_hold").unlink(missing_ok=True)

    def restart(self) -> None:
        """Let the board start again in the middle of what it does, as its watchdog would."""
        assert self._power is not None
        self._power.restart()

    def power_cycle(self) -> str:
        """Unplug, plug in again, and return the new port."""
        self.unplug()
        return self.plug()

    def set_light_mv(self, millivolts: float) -> None:
        """Let the photodiode give so much from its next measurement on."""
        self._replace("light_mv", str(millivolts))

    def set_thermometer_mv(self, millivolts: float) -> None:
        """Let the analog thermometer on pin 27 give so much."""
        self._replace("thermometer_mv", str(millivolts))

    def wire_up(self, chips: dict[int, dict[str, object]], **bus: object) -> None:
        """Put chips on the I2C bus, by address: see `_Wires` of the stand-in machine."""
        plan = {"chips": {str(address): chip for address, chip in chips.items()}, **bus}
        self._replace("bus.json", json.dumps(plan))

    def watchdog(self) -> tuple[int, int, int] | None:
        """Timeout in ms, number of feeds and longest time between two in ms; None when never armed."""
        path = self.folder / "watchdog"
        if not path.exists():
            return None
        timeout_ms, feeds, longest_ms = path.read_text().split()
        return int(timeout_ms), int(feeds), int(longest_ms)

    def _replace(self, name: str, content: str) -> None:
        new = self.folder / f"{name}.new"
        new.write_text(content)
        new.replace(self.folder / name)


class _Power:
    """One start of the board: the process, its pseudo-terminal, and the thread that joins the two."""

    def __init__(self, folder: Path, *, prompt: bool) -> None:
        self._folder = folder
        self._prompt = prompt
        self.process = self._start()
        self._pty, host_side = os.openpty()
        os.set_blocking(self._pty, False)
        tty.setraw(host_side)
        self.port = os.ttyname(host_side)
        os.close(host_side)
        self._off = threading.Event()
        self._again = threading.Event()
        name = f"cable of {self.port}"
        self._cable = threading.Thread(target=self._power_until_off, name=name, daemon=True)
        self._cable.start()

    def off(self) -> None:
        """Cut the power."""
        self._off.set()
        self._cable.join()
        os.close(self._pty)

    def restart(self) -> None:
        """Start again without a cut of the power."""
        self._again.set()
        self.process.kill()

    def _start(self) -> subprocess.Popen[bytes]:
        program = ["main.py"] if (self._folder / "main.py").exists() else []
        return subprocess.Popen(
            [micropython(), *(["-i"] if self._prompt else []), *program],
            cwd=self._folder,
            env=environment(),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            bufsize=0,
            pipesize=_PIPE_BYTES,
        )

    def _power_until_off(self) -> None:
        """Be the board from one start to the next."""
        while True:
            self._carry()
            self.process.kill()
            self.process.wait()
            for pipe in (self.process.stdin, self.process.stdout):
                if pipe is not None:
                    with contextlib.suppress(BrokenPipeError):
                        pipe.close()
            if self._off.is_set() or not (self._prompt or self._again.is_set()):
                return
            self._again.clear()
            self.process = self._start()

    def _carry(self) -> None:
        """Carry bytes both ways while the host has the port open; drop the board's while it has not."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        to_board, from_board, host = self.process.stdin.fileno(), self.process.stdout.fileno(), self._pty
        while not self._off.is_set():
            # A port that nobody has open reports a hang-up at once and always, and a board that is busy
            # leaves the host's bytes where they are: in both cases only the board can wake this loop.
            is_open = not _state(host) & select.POLLHUP
            listening = is_open and bool(_state(to_board, select.POLLOUT) & select.POLLOUT)
            happened = _wait({from_board, host} if listening else {from_board})
            if from_board in happened:
                said = os.read(from_board, _PIPE_BYTES)
                if not said:
                    return  # the firmware ended
                if is_open:
                    _give(host, said)
            if host in happened:
                with contextlib.suppress(OSError):  # closed, or the power cut, in this very moment
                    os.write(to_board, os.read(host, 4096))


def _give(host: int, said: bytes) -> None:
    """Hand bytes to the host; when it takes none for a while, the rest is dropped."""
    while said and _state(host, select.POLLOUT, _USB_PATIENCE_MS) == select.POLLOUT:
        with contextlib.suppress(BlockingIOError):
            said = said[os.write(host, said) :]


def _state(fd: int, events: int = 0, wait_ms: int = 0) -> int:
    poll = select.poll()
    poll.register(fd, events)
    return dict(poll.poll(wait_ms)).get(fd, 0)


def _wait(fds: set[int]) -> set[int]:
    poll = select.poll()
    for fd in fds:
        poll.register(fd, select.POLLIN)
    return {fd for fd, _ in poll.poll(_LOOK_AGAIN_MS)}
