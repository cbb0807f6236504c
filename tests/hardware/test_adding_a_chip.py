"""ADDING_A_CHIP.md does what it says: its blocks, put where it says, are a chip that is found and read."""

import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from firmware_host.clock import ManualClock
from firmware_host.firmware_program import Program, chip_tables, known_sensors
from firmware_host.messages import Hello, Mark, Reading
from firmware_host.pi_bus.microcontroller import surroundings
from firmware_host.wire import encode_hello_request
from tests.hardware.firmware_bench import FIRMWARE, STAND_IN, FirmwareBench
from tests.hardware.listening import Host

PAGE = (FIRMWARE.parent / "ADDING_A_CHIP.md").read_text(encoding="utf-8")
ADDRESS = 0x39


def block(number: int) -> str:
    """Return the code of a step of the page."""
    section = PAGE.split(f"\n## {number}. ")[1].split("\n## ")[0]
    [code] = re.findall(r"```python\n(.*?)```", section, flags=re.DOTALL)
    return str(code)


def add_chip(firmware: Path) -> None:
    (firmware / "chips" / "example.py").write_text(block(1))
    (firmware / "example.py").write_text(block(2))
    with (firmware / "sensors.py").open("a") as file:
        file.write(block(3))


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[FirmwareBench]:
    there: dict[str, object] = {"kind": "example", "light": {"uv": 4321}}
    bench = FirmwareBench(tmp_path, settings={"cadence_ms": 200}, chips={ADDRESS: there})
    add_chip(bench.folder)
    simulated = (STAND_IN / "simulated_chips.py").read_text()
    (bench.folder / "simulated_chips.py").write_text(simulated + block(4))
    with bench:
        yield bench


def test_the_chip_is_found_and_read_under_micropython(bench: FirmwareBench) -> None:
    host = Host(bench.port)
    try:
        host.say(encode_hello_request())
        assert host.hear(Hello)[-1].sensor == "example"
        reading = host.hear(Reading, 2)[-1]
        assert (reading.channels[0], reading.values[0], reading.marks) == ("uv_counts", 4321, 0)
        bench.wire_up({ADDRESS: {"kind": "example", "light": {"uv": 70_000}}})
        host.hear_until(lambda reading: reading.marks == Mark.SATURATED)
        bench.wire_up({ADDRESS: {"kind": "example", "light": {"uv": 1}, "silent": True}})
        silent = host.hear_until(lambda reading: reading.marks == Mark.FAULT)[-1]
        assert "uv_counts" not in silent.channels
        bench.wire_up({ADDRESS: {"kind": "example", "light": {"uv": 1}}})
        host.hear_until(lambda reading: (reading.values[0], reading.marks) == (1, 0))
    finally:
        host.close()


def test_the_pis_own_bus_has_it_too(tmp_path: Path) -> None:
    firmware = tmp_path / "firmware"
    shutil.copytree(FIRMWARE, firmware, ignore=shutil.ignore_patterns("__pycache__"))
    add_chip(firmware)
    names: dict[str, Any] = {}
    exec((STAND_IN / "simulated_chips.py").read_text() + block(4), names)
    chip = names["KINDS"]["example"]()
    chip.light = {"uv": 4321}
    clock = ManualClock(0)

    def now(address: int) -> Any:
        if address != ADDRESS:
            raise OSError
        chip.now_ms = clock.moment().mono_ms
        return chip

    wires: Any = SimpleNamespace(
        read=lambda address, register, n: now(address).read(register, n),
        write=lambda address, register, data: now(address).write(register, data),
        answers=lambda address: address == ADDRESS,
    )
    program = Program(surroundings(wires, [ADDRESS], clock), firmware)
    sensors = program.module("sensors").find(program.module("settings").DEFAULTS)
    values = [0]
    sensors.begin()
    assert sensors.read(values) == 0
    assert (sensors.name, values) == ("example", [4321])
    assert "example" in known_sensors(firmware)
    assert chip_tables(firmware)["example"]["addresses"] == (ADDRESS,)


@pytest.mark.parametrize("table", chip_tables().values(), ids=lambda table: table["name"])
def test_each_key_of_a_table_that_chips_share_is_explained(table: dict[str, Any]) -> None:
    explained = set(re.findall(r"`(\w+)`", PAGE))
    by_itself = {"ltr390", "veml6075", "mcp9808"}
    if table["name"] in by_itself:
        assert set(table) <= explained
    for channel in table.get("channels", ()):
        assert set(channel) - {"name", "unit", "register", "bytes", "mask"} <= explained
