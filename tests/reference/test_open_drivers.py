"""The firmware's drivers against independent open ones, on the same simulated registers.

The others are the CircuitPython drivers of open-drivers.txt, which their authors wrote from the data sheets.
Each side sets its own chip up, and both see the same light: what they read must mean the same.
"""

import importlib
import importlib.util
import os
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firmware_host.clock import ManualClock
from firmware_host.firmware_program import Program
from firmware_host.pi_bus.microcontroller import surroundings
from tests.hardware.stand_in.simulated_chips import KINDS

REQUIREMENTS = Path(__file__).with_name("open-drivers.txt")

# One chip for all examples would be no fresh start; each example makes its own.
several = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


class Wires:
    """One simulated chip, as the firmware sees a bus, and as CircuitPython does."""

    def __init__(self, clock: ManualClock, address: int, kind: str, light: dict[str, float]) -> None:
        self._clock = clock
        self._address = address
        self._chip = KINDS[kind]()
        self._chip.light = light

    def read(self, address: int, register: int, n: int) -> bytes:
        said: bytes = self._now(address).read(register, n)
        return said

    def write(self, address: int, register: int, data: bytes) -> None:
        self._now(address).write(register, data)

    def answers(self, address: int) -> bool:
        return address == self._address

    def close(self) -> None:
        pass

    def try_lock(self) -> bool:
        return True

    def unlock(self) -> None:
        pass

    def writeto(self, address: int, buffer: bytes, *, start: int = 0, end: int | None = None) -> None:
        register, *data = buffer[start:end] or b"\0"
        if data:
            self.write(address, register, bytes(data))

    def writeto_then_readfrom(
        self,
        address: int,
        out: bytes,
        into: bytearray,
        *,
        out_start: int = 0,
        out_end: int | None = None,
        in_start: int = 0,
        in_end: int | None = None,
    ) -> None:
        end = len(into) if in_end is None else in_end
        into[in_start:end] = self.read(address, out[out_start], end - in_start)

    def _now(self, address: int) -> Any:
        if address != self._address:
            raise OSError
        self._clock.wait_s(0.001)  # about what a transfer takes at 100 kHz, and the clock's own step
        self._chip.now_ms = self._clock.moment().mono_ms
        return self._chip


@pytest.fixture
def driver(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Import a driver, whose waiting then passes time on the test's clock."""
    if importlib.util.find_spec("adafruit_bus_device") is None:
        line = f"{sys.executable} -m pip install --no-deps -r {REQUIREMENTS}"
        if "CI" in os.environ:
            pytest.fail(f"the open drivers are not installed. Type: {line}")
        pytest.skip(f"the open drivers are not installed. Type: {line}")
    # What they import of CircuitPython: here a constant is a value, and a bus is whatever is given.
    for name, content in {
        "micropython": {"const": lambda value: value},
        "busio": {"I2C": object},
        "circuitpython_typing": {"ReadableBuffer": bytes, "WriteableBuffer": bytearray},
        "circuitpython_typing.device_drivers": {"I2CDeviceDriver": object},
    }.items():
        module = ModuleType(name)
        vars(module).update(content)
        monkeypatch.setitem(sys.modules, name, module)

    def load(name: str, clock: ManualClock) -> Any:
        module = importlib.import_module(name)
        if hasattr(module, "time"):
            monkeypatch.setattr(module, "time", _Time(clock))
        else:
            monkeypatch.setattr(module, "sleep", clock.wait_s, raising=False)
        return module

    return load


class _Time:
    """What the drivers use of Python's `time`."""

    def __init__(self, clock: ManualClock) -> None:
        self._clock = clock
        self.sleep = clock.wait_s

    def monotonic(self) -> float:
        return self._clock.moment().mono_ms / 1000


def ours(address: int, kind: str, light: dict[str, float], cadence_ms: int = 1000) -> dict[str, float]:
    """Return what the firmware's own drivers read, once their range has settled."""
    clock = ManualClock(0)
    program = Program(surroundings(Wires(clock, address, kind, light), [address], clock))
    bus = program.module("bus").Bus(None, None)
    table = program.module(f"chips.{kind}").TABLE
    module = "as7331" if kind == "as7331" else "chip"
    part = getattr(program.module(module), module.capitalize())(bus, address, table, cadence_ms)
    values = [0] * len(part.channels)
    for _ in range(12):
        marks = part.read(values, 0)
    assert marks == 0
    scaled = zip(part.channels, values, strict=True)
    return {name: value / 10**decimals for (name, _, decimals), value in scaled}


@several
@given(uv=st.integers(0, 200_000))
def test_ltr390_counts_are_those_of_an_independent_driver(driver: Any, uv: int) -> None:
    clock = ManualClock(0)
    module = driver("adafruit_ltr390", clock)
    other = module.LTR390(Wires(clock, 0x53, "ltr390", {"uv": uv}))
    # The same range as ours: the counts of 18 bits in 100 ms at gain 18.
    other.gain = module.Gain.GAIN_18X
    other.resolution = module.Resolution.RESOLUTION_18BIT
    clock.wait_s(0.5)
    assert ours(0x53, "ltr390", {"uv": uv}) == {"uv_counts": other.uvs}


@several
@given(uva=st.integers(0, 60_000), uvb=st.integers(0, 60_000))
def test_veml6075_counts_are_those_of_an_independent_driver(driver: Any, uva: int, uvb: int) -> None:
    clock = ManualClock(0)
    light = {"uva": uva, "uvb": uvb, "comp1": 123, "comp2": 45}
    module = driver("adafruit_veml6075", clock)
    other = module.VEML6075(
        Wires(clock, 0x10, "veml6075", dict(light)), integration_time=100, high_dynamic=False
    )
    clock.wait_s(0.5)
    # It takes visible and infrared leakage off, by factors of its own (its defaults); ours travel as counts.
    read = ours(0x10, "veml6075", dict(light))
    assert read["uva_counts"] - 2.22 * read["comp1_counts"] - 1.33 * read["comp2_counts"] == pytest.approx(
        other.uva
    )
    assert read["uvb_counts"] - 2.95 * read["comp1_counts"] - 1.74 * read["comp2_counts"] == pytest.approx(
        other.uvb
    )


@several
@given(
    uva=st.floats(1, 1000),
    uvb=st.floats(1, 1000),
    uvc=st.floats(1, 1000),
    celsius=st.floats(-20, 80),
    cadence_ms=st.sampled_from([100, 300, 500, 1000]),
)
def test_as7331_counts_give_the_irradiance_of_an_independent_driver(
    driver: Any, uva: float, uvb: float, uvc: float, celsius: float, cadence_ms: int
) -> None:
    clock = ManualClock(0)
    light = {"uva": uva, "uvb": uvb, "uvc": uvc, "celsius": celsius}
    module = driver("adafruit_as7331", clock)
    other = module.AS7331(Wires(clock, 0x74, "as7331", dict(light)))
    other.gain = module.GAIN_16X
    other.integration_time = module.TIME_64MS
    other.measurement_mode = module.MODE_CMD
    theirs = other.one_shot()
    read = ours(0x74, "as7331", dict(light), cadence_ms)
    # Its sensitivities are for 64 ms at gain 2048: 385, 347 and 794 counts for 1 µW/cm².
    for channel, sensitivity, irradiance_uw_cm2 in zip(
        ("uva_counts", "uvb_counts", "uvc_counts"), (385.0, 347.0, 794.0), theirs, strict=False
    ):
        # One step of its counts, and one of ours at the lowest gain that this light may have asked for.
        tolerance_counts = 1 / 16 + read[channel] * 2e-3 + 1 / 16
        assert read[channel] == pytest.approx(irradiance_uw_cm2 * sensitivity / 2048, abs=tolerance_counts)
    assert read["temperature_c"] == pytest.approx(other.temperature, abs=0.051)


@several
@given(celsius=st.floats(-39, 124))
def test_mcp9808_temperatures_are_those_of_an_independent_driver(driver: Any, celsius: float) -> None:
    clock = ManualClock(0)
    module = driver("adafruit_mcp9808", clock)
    other = module.MCP9808(Wires(clock, 0x18, "mcp9808", {"celsius": celsius}))
    clock.wait_s(0.5)
    assert ours(0x18, "mcp9808", {"celsius": celsius})["temperature_c"] == pytest.approx(other.temperature)


@several
@given(mv=st.floats(-4000, 4000))
def test_ads1115_voltages_are_those_of_an_independent_driver(driver: Any, mv: float) -> None:
    clock = ManualClock(0)
    driver("adafruit_ads1x15.ads1x15", clock)
    module = driver("adafruit_ads1x15.ads1115", clock)
    analog_in = driver("adafruit_ads1x15.analog_in", clock)
    # The same range as ours: ±4.096 V, 860 a second, input 0 against ground.
    other = module.ADS1115(Wires(clock, 0x48, "ads1115", {"mv": mv}), gain=1, data_rate=860)
    theirs_mv = analog_in.AnalogIn(other, 0).voltage * 1000
    program = Program(surroundings(Wires(clock, 0x48, "ads1115", {"mv": mv}), [0x48], clock))
    table = program.module("chips.ads1115").TABLE
    adc = program.module("ads1115").Ads1115(program.module("bus").Bus(None, None), 0x48, table)
    ours_hundredths_mv, clipped = adc.average(100_000)
    # Its 32767 counts are 4.096 V, and ours 32768: 0.003 % apart, beside half a hundredth of a millivolt.
    assert ours_hundredths_mv / 100 == pytest.approx(theirs_mv, rel=4e-5, abs=0.0051)
    assert clipped == (theirs_mv * 8 >= table["rail_counts"] * 32768 / 32767)
