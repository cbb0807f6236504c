"""The firmware's arithmetic against what the chips' data sheets work out themselves.

The UV chips' counts travel as they are, so there is nothing to work out: what they mean is found against the
keeper's meter.  What the firmware does work out are two temperatures and the millivolts of an ADC.
"""

import pytest

from firmware_host.clock import ManualClock
from firmware_host.firmware_program import Program
from firmware_host.pi_bus.microcontroller import surroundings


class Registers:
    """A bus with one chip, whose registers hold what they are given; the others keep what is written."""

    def __init__(self, address: int, held: dict[int, bytes]) -> None:
        self._address = address
        self._held = held

    def read(self, address: int, register: int, n: int) -> bytes:
        if address != self._address:
            raise OSError
        return self._held.get(register, bytes(n))

    def write(self, address: int, register: int, data: bytes) -> None:
        self._held.setdefault(register, data)

    def answers(self, address: int) -> bool:
        return address == self._address

    def close(self) -> None:
        pass


def firmware(address: int, held: dict[int, bytes]) -> Program:
    return Program(surroundings(Registers(address, held), [address], ManualClock(0)))


def mcp9808_c(upper: int, lower: int) -> float:
    """Microchip, MCP9808 data sheet DS25095A, example 5-1, as it stands there.

    Its text for temperatures below zero reads `256 - (...)`, which gives the magnitude.
    """
    upper &= 0x1F  # the alert flags go
    if upper & 0x10:
        return -(256 - ((upper & 0x0F) * 16 + lower / 16))
    return upper * 16 + lower / 16


@pytest.mark.parametrize("flags", [0x00, 0xC0, 0xE0])
@pytest.mark.parametrize(
    ("upper", "lower"), [(0x01, 0x94), (0x00, 0x00), (0x00, 0x01), (0x07, 0xD0), (0x1F, 0xFF), (0x1D, 0x80)]
)
def test_the_mcp9808_is_read_as_its_data_sheet_reads_it(flags: int, upper: int, lower: int) -> None:
    program = firmware(0x18, {0x05: bytes((flags | upper, lower))})
    table = program.module("chips.mcp9808").TABLE
    part = program.module("chip").Chip(program.module("bus").Bus(None, None), 0x18, table, 1000)
    values = [0]
    assert part.read(values, 0) == 0
    assert values[0] / 10**4 == pytest.approx(mcp9808_c(upper, lower), abs=1e-9)


@pytest.mark.parametrize(
    ("counts", "millivolts"),
    [
        # Texas Instruments, ADS1115 data sheet: one step is 125 µV in the range of ±4.096 V, two's complement
        # (from memory; the open driver named in tests/hardware/test_chip_tables.py has the same range).
        (0x1F40, 1000.0),
        (0x0001, 0.125),
        (0x6000, 3072.0),
        (0xFFF8, -1.0),
    ],
)
def test_a_step_of_the_ads1115_is_an_eighth_of_a_millivolt(counts: int, millivolts: float) -> None:
    # 0xC3E3: idle again, with the settings that the firmware asks for.
    program = firmware(0x48, {0x00: counts.to_bytes(2, "big"), 0x01: b"\xc3\xe3"})
    table = program.module("chips.ads1115").TABLE
    adc = program.module("ads1115").Ads1115(program.module("bus").Bus(None, None), 0x48, table)
    mean, _ = adc.average(100_000)
    assert mean / 100 == pytest.approx(millivolts, abs=0.0051)
