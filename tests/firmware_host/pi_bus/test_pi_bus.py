"""The Pi's own bus as a board, by its real program and smbus2's real messages, on simulated chips."""

import errno
from collections.abc import Callable
from pathlib import Path

import pytest

from calibrate.errors import KeeperError
from firmware_host.clock import SystemClock
from firmware_host.firmware_program import chip_tables
from firmware_host.messages import BoardTime, Hello, Mark, Reading, ReplayEnd
from firmware_host.pi_bus import PiBusBoard, PiBusError, PiBusSettings, microcontroller
from firmware_host.pi_bus.settings import identity_of
from firmware_host.pi_bus.wires import KernelWires
from firmware_host.wire import encode_hello_request, encode_replay_request, encode_time_request
from tests.firmware_host.pi_bus.simulated_smbus import Chips
from tests.hardware.firmware_bench import FirmwareBench
from tests.hardware.listening import Host

LTR390, VEML6075, AS7331, MCP9808, ADS1115, SI1145 = 0x53, 0x10, 0x74, 0x18, 0x48, 0x60

Start = Callable[..., Host]


def named(reading: Reading) -> dict[str, float]:
    return dict(zip(reading.channels, reading.values, strict=True))


@pytest.mark.parametrize(
    ("address", "kind", "light", "values"),
    [
        (LTR390, "ltr390", {"uv": 2300}, {"uv_counts": 2300}),
        (
            VEML6075,
            "veml6075",
            {"uva": 1000, "uvb": 1200, "comp1": 50, "comp2": 40},
            {"uva_counts": 1000, "uvb_counts": 1200, "comp1_counts": 50, "comp2_counts": 40},
        ),
        (
            AS7331,
            "as7331",
            {"uva": 90, "uvb": 7, "uvc": 0.5, "celsius": 33},
            {"uva_counts": 90, "uvb_counts": 7, "uvc_counts": 0.5, "temperature_c": 33},
        ),
        (ADS1115, "ads1115", {"mv": 555.125}, {"photodiode_mv": 555.13}),
    ],
)
def test_a_chip_on_the_pis_bus_is_found_and_read(
    chips: Chips, start: Start, address: int, kind: str, light: dict[str, float], values: dict[str, float]
) -> None:
    chips.add(address, kind, **light)
    host = start(cadence_ms=300)
    host.say(encode_hello_request())
    hello = host.hear(Hello)[-1]
    assert (hello.board, hello.cadence_ms, hello.ring) == ("pi-test", 300, 4096)
    assert kind in hello.sensor
    reading = host.hear(Reading, 3)[-1]
    assert reading.channels == hello.channels == tuple(values)
    assert named(reading) == values
    assert reading.marks in (0, Mark.RANGED)
    assert chips.opened == [1]


def test_a_board_on_a_microcontroller_reads_the_same_numbers(
    chips: Chips, start: Start, tmp_path: Path
) -> None:
    lights = {AS7331: {"uva": 1234.5, "uvb": 77.7, "uvc": 3.25, "celsius": 41.3}, LTR390: {"uv": 4711}}
    chips.add(AS7331, "as7331", **lights[AS7331])
    chips.add(LTR390, "ltr390", **lights[LTR390])
    plan: dict[int, dict[str, object]] = {
        AS7331: {"kind": "as7331", "light": lights[AS7331]},
        LTR390: {"kind": "ltr390", "light": lights[LTR390]},
    }
    with FirmwareBench(tmp_path, settings={"cadence_ms": 300}, chips=plan) as bench:
        on_chip = Host(bench.port)
        theirs = named(on_chip.hear(Reading, 4)[-1])
        on_chip.close()
    theirs.pop("board_c")
    assert named(start(cadence_ms=300).hear(Reading, 4)[-1]) == theirs


def test_it_numbers_dates_and_replays_its_readings_as_a_board_does(chips: Chips, start: Start) -> None:
    chips.add(LTR390, "ltr390", uv=900)
    host = start(cadence_ms=100)
    host.say(b"half a line of noise" + encode_time_request(7))
    readings = host.hear(Reading, 6)
    first = readings[0].seq
    assert [reading.seq for reading in readings] == list(range(first, first + 6))
    times_ms = [reading.board_ms for reading in readings]
    assert times_ms == sorted(times_ms)
    # Six readings: the first is late by the settling of the chip, and any where this machine is busy.
    assert times_ms[-1] - times_ms[0] >= 300
    assert host.hear(BoardTime)[0].token == 7
    boot = readings[0].boot
    host.say(encode_replay_request(boot, 0, 2))
    assert host.hear(ReplayEnd)[0].last_seq == 2
    replayed = [message for message in host.heard if isinstance(message, Reading) and message.replayed]
    assert [reading.seq for reading in replayed] == [0, 1, 2]


def test_each_start_is_a_boot_of_its_own(chips: Chips) -> None:
    chips.add(LTR390, "ltr390", uv=900)
    boots = set()
    for _ in range(2):
        settings = PiBusSettings(cadence_ms=100, identity="pi-test")
        with PiBusBoard(settings, SystemClock(), lambda _: None) as board:
            host = Host(board.port.path)
            boots.add(host.hear(Reading)[0].boot)
            host.close()
    assert len(boots) == 2


def test_a_chip_that_falls_silent_is_a_fault_until_it_answers_again(chips: Chips, start: Start) -> None:
    chips.add(LTR390, "ltr390", uv=900)
    chips.add(MCP9808, "mcp9808", celsius=20)
    host = start(cadence_ms=100)
    host.hear_until(lambda reading: reading.marks == 0)
    chips.silent.add(LTR390)
    silent = host.hear_until(lambda reading: reading.marks == Mark.FAULT)[-1]
    assert named(silent) == {"temperature_c": 20}
    chips.silent.clear()
    assert named(host.hear_until(lambda reading: reading.marks == 0)[-1])["uv_counts"] == 900


def test_a_chip_at_the_top_of_its_range_is_marked_saturated(chips: Chips, start: Start) -> None:
    chips.add(LTR390, "ltr390", uv=10**6)
    assert start().hear(Reading)[-1].marks == Mark.SATURATED


def test_the_range_follows_the_light(chips: Chips, start: Start) -> None:
    chips.add(AS7331, "as7331", uva=3)
    host = start(cadence_ms=100)
    host.hear_until(lambda reading: reading.marks & Mark.RANGED != 0)
    chips.add(AS7331, "as7331", uva=9000)
    host.hear_until(lambda reading: bool(reading.marks & Mark.SATURATED))
    settled = host.hear_until(lambda reading: reading.marks == 0)[-1]
    assert named(settled)["uva_counts"] == pytest.approx(9000, rel=1e-3)


def test_nobody_elses_chip_is_touched(chips: Chips, start: Start) -> None:
    chips.add(LTR390, "ltr390", uv=900)
    start().hear(Reading)
    ours = {address for table in chip_tables().values() for address in table["addresses"]}
    assert chips.touched == ours


@pytest.mark.parametrize(
    ("sensor", "address", "kind", "said"),
    [
        ("auto", None, "", "no UV sensor answers"),
        ("as7331", LTR390, "ltr390", "no as7331 answers"),
        ("guva-s12sd", LTR390, "ltr390", "no UV sensor answers"),
        ("auto", SI1145, "si1145", "it sees no UV"),
    ],
)
def test_a_bus_without_a_usable_sensor_is_told_once_and_looked_at_again(
    chips: Chips,
    start: Start,
    reports: list[KeeperError],
    sensor: str,
    address: int | None,
    kind: str,
    said: str,
) -> None:
    if address is not None:
        chips.add(address, kind)
    start(sensor=sensor)
    clock = SystemClock()
    while len(chips.opened) < 3:  # looked at again and again
        clock.wait_s(0.01)
    assert [said in str(report) for report in reports] == [True]
    assert reports[0].remedy


def test_a_sensor_that_comes_later_is_found(chips: Chips, start: Start, reports: list[KeeperError]) -> None:
    host = start()
    clock = SystemClock()
    while not reports:
        clock.wait_s(0.01)
    chips.add(LTR390, "ltr390", uv=12)
    assert named(host.hear(Reading)[0]) == {"uv_counts": 12}


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (OSError(errno.ENOENT, "No such file"), "there is no such I²C bus"),
        (PermissionError(errno.EACCES, "Permission denied"), "no permission"),
    ],
)
def test_a_bus_that_cannot_be_opened_says_what_to_do(
    monkeypatch: pytest.MonkeyPatch, start: Start, reports: list[KeeperError], error: OSError, said: str
) -> None:
    def refuse(_bus: int) -> None:
        raise error

    monkeypatch.setattr("smbus2.SMBus", refuse)
    start()
    clock = SystemClock()
    while not reports:
        clock.wait_s(0.01)
    assert said in reports[0].what
    assert reports[0].where == "/dev/i2c-1"
    assert reports[0].remedy


def test_a_bus_that_is_read_already_is_not_read_twice(
    chips: Chips, start: Start, reports: list[KeeperError]
) -> None:
    chips.add(LTR390, "ltr390", uv=900)
    start().hear(Reading)
    with pytest.raises(PiBusError, match="another program of baskline"):
        KernelWires(1)


def test_a_fault_of_the_program_does_not_end_the_watch(
    chips: Chips, start: Start, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    chips.add(LTR390, "ltr390", uv=900)
    monkeypatch.setattr("firmware_host.pi_bus.board._AFTER_FAULT_MS", 10)
    host = start(cadence_ms=100)
    host.hear(Reading, 2)
    chips.chips[LTR390].light = {"uv": "broken"}  # the simulated chip itself fails, in a way no OSError tells
    clock = SystemClock()
    while "a fault in the boards' program" not in caplog.text:
        clock.wait_s(0.01)
    chips.add(LTR390, "ltr390", uv=901)
    host.hear_until(lambda reading: reading.values == (901,))


def test_a_program_that_cannot_even_start_is_tried_again(
    chips: Chips, caplog: pytest.LogCaptureFixture
) -> None:
    chips.add(LTR390, "ltr390", uv=900)
    clock = SystemClock()
    tries = 0

    def open_wires(bus: int) -> KernelWires:
        nonlocal tries
        tries += 1
        if tries == 1:
            raise ValueError("a fault of the program's own")
        return KernelWires(bus)

    settings = PiBusSettings(cadence_ms=100, identity="pi-test")
    with PiBusBoard(settings, clock, lambda _: None, open_wires=open_wires, look_again_ms=10) as board:
        host = Host(board.port.path)
        host.hear(Reading)
        host.close()
    assert "a fault of the program's own" in caplog.text


def test_the_name_comes_from_the_pis_serial_number(tmp_path: Path) -> None:
    file = tmp_path / "serial-number"
    file.write_bytes(b"10000000abcdef01\0")  # ended by a NUL, as the device tree gives it
    assert identity_of(PiBusSettings(), [tmp_path / "none", file]) == "pi-10000000abcdef01"
    assert identity_of(PiBusSettings(identity="pi-shelf"), [file]) == "pi-shelf"


def test_without_a_serial_number_a_name_is_asked_for(tmp_path: Path) -> None:
    with pytest.raises(PiBusError, match="identity ="):
        identity_of(PiBusSettings(), [tmp_path / "none"])


def test_the_programs_microseconds_are_finer_than_milliseconds() -> None:
    # Samples of the external ADC that are a millisecond off would not average a lamp's flicker out.
    ticks = microcontroller.BoardTime(SystemClock())
    assert len({ticks.ticks_us() % 1_000 for _ in range(1_000)}) > 1


def test_a_chip_that_the_run_before_left_measuring_is_found_again(
    chips: Chips, reports: list[KeeperError]
) -> None:
    chips.add(AS7331, "as7331", uva=90)
    settings = PiBusSettings(sensor="as7331", cadence_ms=300, identity="pi-test")
    for _ in range(2):
        with PiBusBoard(settings, SystemClock(), reports.append, look_again_ms=50) as board:
            host = Host(board.port.path)
            try:
                assert named(host.hear(Reading, 2)[-1])["uva_counts"] == 90
            finally:
                host.close()
    assert reports == []
