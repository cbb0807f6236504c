"""Simulated boards behind real pseudo-terminals, to be found, opened, unplugged and plugged in again."""

import contextlib
import os
import select
import threading
import tty
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Final, Self

from firmware_host.clock import Clock
from firmware_host.simulated.board import SimulatedBoard

_READ_BYTES: Final = 4_096
# What a board's own buffer holds for a host that does not read; a line that no longer fits is not sent.
_OUTGOING_MAX: Final = 4_096
_DRIVER_STEP_S: Final = 0.005


class PtyBoard:
    """A simulated board and the pseudo-terminal it is plugged into, with a stable name in a directory."""

    def __init__(self, board: SimulatedBoard, name: Path) -> None:
        self.board = board
        self.name = name
        self._master: int | None = None
        self._slave = -1
        self._outgoing = b""

    @property
    def plugged(self) -> bool:
        """Whether it hangs on a port."""
        return self._master is not None

    @property
    def master(self) -> int | None:
        """The board's end of the pseudo-terminal."""
        return self._master

    def plug(self, now_ms: int) -> None:
        """Plug it into a new port; without power until now, it boots."""
        if self.plugged:
            raise ValueError(f"{self.board.model.board} is plugged in already")
        self._master, self._slave = os.openpty()
        os.set_blocking(self._master, False)
        # The slave stays open here too, so that a host may come and go without hanging the terminal up.
        tty.setraw(self._slave)
        self._outgoing = b""
        self.name.symlink_to(os.ttyname(self._slave))
        if not self.board.powered:
            self.board.start(now_ms)

    def unplug(self, *, keep_power: bool = False) -> None:
        """Pull it out; with `keep_power` (a supply of its own) it measures on."""
        if self._master is None:
            raise ValueError(f"{self.board.model.board} is not plugged in")
        self.name.unlink()
        os.close(self._slave)
        os.close(self._master)
        self._master = None
        if not keep_power:
            self.board.stop()

    def listen(self, now_ms: int) -> None:
        """Take in what the host has sent."""
        if self._master is not None:
            with contextlib.suppress(BlockingIOError):
                self.board.receive(os.read(self._master, _READ_BYTES), now_ms)

    def pump(self, now_ms: int) -> None:
        """Let the board work until `now_ms`, and send what it has to say."""
        data = self.board.run(now_ms)
        if self._master is None:
            return
        room = _OUTGOING_MAX - len(self._outgoing)
        if len(data) > room:
            data = data[: data.rfind(b"\n", 0, max(room, 0)) + 1]
        self._outgoing += data
        if self._outgoing:
            with contextlib.suppress(BlockingIOError):
                self._outgoing = self._outgoing[os.write(self._master, self._outgoing) :]


class PtyBench:
    """Many simulated boards, driven by hand (`pump`) or by a thread at real speed (`running`)."""

    def __init__(self, directory: Path) -> None:
        """`directory` gets one symbolic link a board, named after it, to its port."""
        self._directory = directory
        self._boards: dict[str, PtyBoard] = {}
        self._lock = threading.RLock()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @property
    def pattern(self) -> str:
        """The glob pattern that finds the ports."""
        return str(self._directory / "board-*")

    def add(self, board: SimulatedBoard, now_ms: int) -> PtyBoard:
        """Plug a board in, giving it power."""
        with self._lock:
            name = board.model.board
            plugged = PtyBoard(board, self._directory / f"board-{name}")
            plugged.plug(now_ms)
            self._boards[name] = plugged
            return plugged

    def plug(self, board: str, now_ms: int) -> None:
        """Plug a board in again, into a new port."""
        with self._lock:
            self._boards[board].plug(now_ms)

    def unplug(self, board: str, *, keep_power: bool = False) -> None:
        """Pull a board out."""
        with self._lock:
            self._boards[board].unplug(keep_power=keep_power)

    def pump(self, now_ms: int) -> None:
        """Let all boards work until `now_ms`."""
        with self._lock:
            by_master = {board.master: board for board in self._boards.values()}
            poll = select.poll()
            for master in by_master:
                if master is not None:
                    poll.register(master, select.POLLIN)
            for master, _ in poll.poll(0):
                by_master[master].listen(now_ms)
            for board in self._boards.values():
                board.pump(now_ms)

    @contextlib.contextmanager
    def running(self, clock: Clock) -> Iterator[None]:
        """Drive the boards in a thread, on the clock's monotonic axis."""
        stop = threading.Event()

        def drive() -> None:
            while not stop.is_set():
                self.pump(clock.moment().mono_ms)
                clock.wait_s(_DRIVER_STEP_S)

        thread = threading.Thread(target=drive, name="simulated boards", daemon=True)
        thread.start()
        try:
            yield
        finally:
            stop.set()
            thread.join()

    def close(self) -> None:
        """Pull everything out."""
        with self._lock:
            for board in self._boards.values():
                if board.plugged:
                    board.unplug()
