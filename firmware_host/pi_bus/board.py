"""The thread in which the boards' program reads the Pi's own bus."""

import logging
import threading
from collections.abc import Callable
from contextlib import closing
from types import TracebackType
from typing import Any, Final, Self

from calibrate.errors import KeeperError
from firmware_host.clock import Clock
from firmware_host.firmware_program import Program, chip_tables
from firmware_host.pi_bus.link import PtyLink
from firmware_host.pi_bus.microcontroller import surroundings
from firmware_host.pi_bus.settings import PiBusSettings, identity_of
from firmware_host.pi_bus.wires import KernelWires, OpenWires, PiBusError
from firmware_host.ports import Port

log = logging.getLogger("baskline.pi_bus")

_LOOK_AGAIN_MS: Final = 10_000
# After a fault of the program itself, such as a chip's class that somebody added.
_AFTER_FAULT_MS: Final = 1_000


class PiBusBoard:
    """A board on the Pi's own bus, from `__enter__` to `__exit__`; `port` is for the serial hub.

    Without a sensor there is no board: it is looked for again every few seconds, and `report` is told why,
    once until the reason changes.  `report` is called from the board's thread.
    """

    def __init__(
        self,
        settings: PiBusSettings,
        clock: Clock,
        report: Callable[[KeeperError], None],
        *,
        open_wires: OpenWires = KernelWires,
        look_again_ms: int = _LOOK_AGAIN_MS,
    ) -> None:
        """Raise `PiBusError` where the board would have no name."""
        self.identity = identity_of(settings)
        self._settings = settings
        self._clock = clock
        self._report = report
        self._open_wires = open_wires
        self._look_again_ms = look_again_ms
        self._told = ""
        self._link = PtyLink()
        self._thread = threading.Thread(target=self._run, name="pi bus", daemon=True)

    @property
    def port(self) -> Port:
        """The port that speaks for the board."""
        return Port(self._link.path, self._link.path, "", 115_200)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._link.stop()
        self._thread.join()
        self._link.close()

    def _run(self) -> None:
        while not self._link.stopped:
            try:
                with closing(self._open_wires(self._settings.bus)) as wires:
                    self._work(Program(surroundings(wires, _addresses(), self._clock)))
            except KeeperError as error:
                self._tell(error)
                self._link.wait(self._look_again_ms)
            except Exception as error:  # noqa: BLE001 - nothing that goes wrong once ends the watch
                self._tell_fault(error)
                self._link.wait(self._look_again_ms)

    def _work(self, program: Program) -> None:
        """Be a board, from now until the end."""
        sensors = self._find_sensors(program)
        program.module("board").identity = lambda: self.identity
        ticks = program.module("time")
        firmware = program.module("main").Firmware(self._link, sensors, self._settings.cadence_ms, ticks)
        log.info("the Pi's own bus speaks", extra={"board": self.identity, "port": self._link.path})
        firmware.hello()
        while not self._link.stopped:
            try:
                firmware.step()
            except Exception as error:  # noqa: BLE001 - nothing that goes wrong once ends the watch
                self._tell_fault(error)
                self._link.wait(_AFTER_FAULT_MS)

    def _find_sensors(self, program: Program) -> Any:
        """Return the sensors, or raise `PiBusError` where there is nothing to read."""
        wanted = self._settings.sensor
        settings = program.module("settings")
        chosen = dict(settings.DEFAULTS, sensor=wanted, cadence_ms=self._settings.cadence_ms)
        sensors = program.module("sensors").find(chosen)
        if sensors.refusal is not None:
            raise PiBusError(sensors.refusal, where="pi_bus", remedy="Take another chip (hardware/README.md)")
        if sensors.name == f"{wanted}-missing":
            raise PiBusError(
                f"no {wanted} answers on the Pi's I²C bus",
                where="pi_bus",
                remedy="Switch the Pi off and check the four wires and the 3.3 V of the sensor",
            )
        return sensors

    def _tell(self, error: KeeperError) -> None:
        if self._told != str(error):
            self._told = str(error)
            self._report(error)

    def _tell_fault(self, error: Exception) -> None:
        if self._told != repr(error):
            self._told = repr(error)
            log.exception("a fault in the boards' program", extra={"board": self.identity})


def _addresses() -> list[int]:
    """Return where on the bus a chip of ours may be."""
    return sorted(address for table in chip_tables().values() for address in table["addresses"])
