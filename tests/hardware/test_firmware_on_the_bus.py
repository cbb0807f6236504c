"""The firmware with chips on its I2C bus, simulated by their registers and their timing."""

from collections.abc import Callable
from itertools import pairwise

import pytest

from firmware_host.messages import Garbage, Hello, Mark, Reading
from firmware_host.wire import encode_hello_request
from tests.hardware.firmware_bench import FirmwareBench
from tests.hardware.listening import Host

MakeBench = Callable[..., FirmwareBench]
Connect = Callable[[FirmwareBench], Host]

LTR390, VEML6075, AS7331, MCP9808, ADS1115, SI1145 = 0x53, 0x10, 0x74, 0x18, 0x48, 0x60


def chip(kind: str, **light: float) -> dict[str, object]:
    return {"kind": kind, "light": light}


def _id(value: object) -> str:
    return hex(value) if isinstance(value, int) else ""


def named(reading: Reading) -> dict[str, float]:
    values = dict(zip(reading.channels, reading.values, strict=True))
    values.pop("board_c", None)
    return values


def introduced(host: Host) -> Hello:
    host.say(encode_hello_request())
    return host.hear(Hello)[-1]


@pytest.mark.parametrize(
    ("address", "there", "sensor", "values"),
    [
        (LTR390, chip("ltr390", uv=2300), "ltr390", {"uv_counts": 2300}),
        (
            VEML6075,
            chip("veml6075", uva=1000, uvb=1200, comp1=50, comp2=40),
            "veml6075",
            {"uva_counts": 1000, "uvb_counts": 1200, "comp1_counts": 50, "comp2_counts": 40},
        ),
        (
            AS7331,
            chip("as7331", uva=90, uvb=7, uvc=0.5, celsius=33),
            "as7331",
            {"uva_counts": 90, "uvb_counts": 7, "uvc_counts": 0.5, "temperature_c": 33},
        ),
        (0x77, chip("as7331", uva=90, celsius=33), "as7331", None),
        (ADS1115, chip("ads1115", mv=555.125), "analog+ads1115", {"photodiode_mv": 555.13}),
    ],
    ids=_id,
)
def test_a_chip_is_found_and_read(
    make_bench: MakeBench,
    connect: Connect,
    address: int,
    there: dict[str, object],
    sensor: str,
    values: dict[str, float] | None,
) -> None:
    host = connect(make_bench(settings={"cadence_ms": 300}, chips={address: there}))
    hello = introduced(host)
    assert hello.sensor == sensor
    reading = host.hear(Reading, 3)[-1]
    assert reading.channels == hello.channels
    assert not reading.marks & Mark.FAULT
    if values is not None:
        assert named(reading) == values


def test_a_chip_that_was_left_measuring_by_a_board_that_started_again_is_found(
    make_bench: MakeBench, connect: Connect
) -> None:
    left = {**chip("as7331", uva=90), "is": {"osr": 0x03}}
    host = connect(make_bench(settings={"cadence_ms": 300}, chips={AS7331: left}))
    assert introduced(host).sensor == "as7331"
    assert named(host.hear(Reading, 2)[-1])["uva_counts"] == 90


def test_a_thermometer_chip_serves_a_sensor_that_has_none(make_bench: MakeBench, connect: Connect) -> None:
    chips = {LTR390: chip("ltr390", uv=12), MCP9808: chip("mcp9808", celsius=-3.25)}
    host = connect(make_bench(settings={"cadence_ms": 300}, chips=chips))
    assert named(host.hear(Reading, 2)[-1]) == {"uv_counts": 12, "temperature_c": -3.25}


def test_two_uv_chips_are_told_apart_by_prefixes(make_bench: MakeBench, connect: Connect) -> None:
    chips = {LTR390: chip("ltr390", uv=900), AS7331: chip("as7331", uva=100, uvb=50, uvc=0, celsius=30)}
    host = connect(make_bench(settings={"cadence_ms": 300}, chips=chips))
    assert introduced(host).sensor == "as7331+ltr390"
    assert named(host.hear(Reading, 2)[-1]) == {
        "a.uv_counts": 900,
        "b.uva_counts": 100,
        "b.uvb_counts": 50,
        "b.uvc_counts": 0,
        "b.temperature_c": 30,
    }


def test_more_chips_than_a_line_has_channels_for_are_left_out(
    make_bench: MakeBench, connect: Connect
) -> None:
    chips = {address: chip("as7331", uva=9) for address in (0x74, 0x75, 0x76, 0x77)}
    host = connect(make_bench(settings={"cadence_ms": 300}, chips={**chips, VEML6075: chip("veml6075")}))
    channels = introduced(host).channels
    assert len(channels) == 16
    assert sum(name.endswith("comp1_counts") for name in channels) == 1
    assert host.hear(Reading, 2)[-1].channels == channels


@pytest.mark.parametrize(
    ("address", "there"),
    [
        (LTR390, chip("ltr390", uv=10**6)),
        (VEML6075, chip("veml6075", uva=70_000)),
        (ADS1115, chip("ads1115", mv=3290)),
    ],
    ids=_id,
)
def test_a_chip_at_the_top_of_its_range_is_marked_saturated(
    make_bench: MakeBench, connect: Connect, address: int, there: dict[str, object]
) -> None:
    host = connect(make_bench(settings={"cadence_ms": 300}, chips={address: there}))
    assert host.hear(Reading, 2)[-1].marks == Mark.SATURATED


def test_the_range_follows_the_light_and_the_counts_do_not_change_with_it(
    make_bench: MakeBench, connect: Connect
) -> None:
    bench = make_bench(settings={"cadence_ms": 200}, chips={AS7331: chip("as7331", uva=3)})
    host = connect(bench)
    host.hear_until(lambda reading: reading.marks & Mark.RANGED != 0)  # upwards: the light is dim
    host.hear_until(lambda reading: reading.marks == 0)
    bench.wire_up({AS7331: chip("as7331", uva=9000)})
    host.hear_until(lambda reading: bool(reading.marks & Mark.SATURATED))
    settled = host.hear_until(lambda reading: reading.marks == 0)
    assert [r for r in settled if r.marks & Mark.RANGED and not r.marks & Mark.SATURATED]
    for reading in settled:
        if not reading.marks & Mark.SATURATED:
            assert named(reading)["uva_counts"] == pytest.approx(9000, rel=1e-3)


def test_a_measurement_that_takes_half_the_cadence_begins_in_time(
    make_bench: MakeBench, connect: Connect
) -> None:
    host = connect(make_bench(settings={"cadence_ms": 1000}, chips={AS7331: chip("as7331", uva=800)}))
    readings = host.hear(Reading, 4)
    for earlier, later in pairwise(readings):
        assert later.board_ms - earlier.board_ms == pytest.approx(1000, abs=150)
    assert named(readings[-1])["uva_counts"] == pytest.approx(800, rel=1e-3)


@pytest.mark.parametrize(
    ("address", "there"),
    [
        (LTR390, chip("ltr390", uv=900)),
        (VEML6075, chip("veml6075", uva=900)),
        (AS7331, chip("as7331", uva=900)),
        (ADS1115, chip("ads1115", mv=900)),
    ],
    ids=_id,
)
def test_a_chip_that_falls_silent_is_a_fault_until_it_answers_again(
    make_bench: MakeBench, connect: Connect, address: int, there: dict[str, object]
) -> None:
    bench = make_bench(
        settings={"cadence_ms": 200}, chips={address: there, MCP9808: chip("mcp9808", celsius=20)}
    )
    host = connect(bench)
    before = host.hear_until(lambda reading: reading.marks == 0)[-1]
    bench.wire_up({address: {**there, "silent": True}, MCP9808: chip("mcp9808", celsius=20)})
    silent = host.hear_until(lambda reading: reading.marks == Mark.FAULT)[-1]
    assert "board_c" in silent.channels  # what still answers is still reported
    assert before.channels[0] not in silent.channels
    bench.wire_up({address: there, MCP9808: chip("mcp9808", celsius=20)})
    after = host.hear_until(lambda reading: reading.marks == 0)[-1]
    assert after.values[0] == before.values[0]


@pytest.mark.parametrize(
    ("address", "there"),
    [
        (LTR390, chip("ltr390", uv=900)),
        (VEML6075, chip("veml6075", uva=900, uvb=900, comp1=900, comp2=900)),
        (AS7331, chip("as7331", uva=900, uvb=900, uvc=900)),
        (ADS1115, chip("ads1115", mv=900)),
    ],
    ids=_id,
)
def test_a_chip_that_is_reset_never_gives_a_wrong_number(
    make_bench: MakeBench, connect: Connect, address: int, there: dict[str, object]
) -> None:
    bench = make_bench(settings={"cadence_ms": 200}, chips={address: there})
    host = connect(bench)
    host.hear_until(lambda reading: reading.marks == 0)
    for resets in range(1, 6):
        bench.wire_up({address: {**there, "resets": resets}})
        host.hear(Reading, len(host.heard) + 1)
    heard = host.hear_until(lambda reading: reading.marks == 0)
    for reading in heard:
        for name, value in named(reading).items():
            if name != "temperature_c":
                assert value == 900


def test_a_thermometer_that_is_reset_never_says_0_degrees(make_bench: MakeBench, connect: Connect) -> None:
    there = {LTR390: chip("ltr390", uv=900), MCP9808: chip("mcp9808", celsius=20)}
    bench = make_bench(settings={"cadence_ms": 200}, chips=there)
    host = connect(bench)
    host.hear_until(lambda reading: reading.marks == 0)
    for resets in range(1, 4):
        bench.wire_up({**there, MCP9808: {**there[MCP9808], "resets": resets}})
        host.hear_until(lambda reading: reading.marks == Mark.FAULT)
        assert {named(r).get("temperature_c") for r in host.hear_until(lambda r: r.marks == 0)} <= {20, None}


EACH = [
    (LTR390, chip("ltr390", uv=900)),
    (VEML6075, chip("veml6075", uva=900)),
    (AS7331, chip("as7331", uva=900)),
    (ADS1115, chip("ads1115", mv=900)),
]


@pytest.mark.parametrize("slow_percent", [-10, 10])
@pytest.mark.parametrize(("address", "there"), EACH, ids=_id)
def test_a_chip_whose_clock_is_slow_or_fast_is_read_without_a_fault(
    make_bench: MakeBench, connect: Connect, address: int, there: dict[str, object], slow_percent: int
) -> None:
    odd = {"is": {"slow_percent": slow_percent}}
    chips = {address: {**there, **odd}, MCP9808: {**chip("mcp9808", celsius=20), **odd}}
    host = connect(make_bench(settings={"cadence_ms": 300}, chips=chips))
    for reading in host.hear(Reading, 4):
        assert not reading.marks & Mark.FAULT
        assert reading.values[0] == 900
        assert named(reading).get("temperature_c", 20) == (25 if address == AS7331 else 20)


@pytest.mark.parametrize(("address", "there"), EACH, ids=_id)
def test_a_board_that_starts_again_finds_its_chips_as_it_left_them(
    make_bench: MakeBench, connect: Connect, address: int, there: dict[str, object]
) -> None:
    bench = make_bench(settings={"cadence_ms": 300}, chips={address: there, MCP9808: chip("mcp9808")})
    host = connect(bench)
    before = host.hear(Reading, 2)[-1]
    for _ in range(3):
        bench.restart()
        boot = before.boot
        again = host.hear_until(lambda reading, boot=boot: reading.boot != boot)[-1]  # type: ignore[misc]
        assert again.channels[:-1] == before.channels[:-1]
        assert (again.values[0], again.marks & Mark.FAULT) == (900, 0)
        before = again


@pytest.mark.parametrize(("address", "there"), EACH, ids=_id)
def test_a_chip_that_holds_the_clock_for_a_while_is_waited_for(
    make_bench: MakeBench, connect: Connect, address: int, there: dict[str, object]
) -> None:
    host = connect(make_bench(settings={"cadence_ms": 300}, chips={address: {**there, "stretch_us": 300}}))
    reading = host.hear(Reading, 3)[-1]
    assert (reading.values[0], reading.marks & Mark.FAULT) == (900, 0)


@pytest.mark.parametrize(("address", "there"), EACH, ids=_id)
def test_of_a_chip_that_sometimes_does_not_answer_every_number_is_right(
    make_bench: MakeBench, connect: Connect, address: int, there: dict[str, object]
) -> None:
    bench = make_bench(settings={"cadence_ms": 200, "sensor": "auto"}, chips={address: there})
    host = connect(bench)
    host.hear(Reading, 2)
    bench.wire_up({address: {**there, "nack_each": 101}})
    host.hear_until(lambda reading: reading.marks == Mark.FAULT)
    host.hear_until(lambda reading: not reading.marks & Mark.FAULT)
    for reading in host.hear(Reading, 12):
        assert named(reading).get(reading.channels[0], 900) == 900


@pytest.mark.parametrize(("address", "there"), EACH, ids=_id)
def test_a_transfer_that_is_spoilt_when_the_board_starts_does_not_cost_its_sensor(
    make_bench: MakeBench, connect: Connect, address: int, there: dict[str, object]
) -> None:
    bench = make_bench(settings={"cadence_ms": 300})
    bench.unplug()
    bench.wire_up({address: there}, spoilt_at_first=1)
    bench.plug()
    host = connect(bench)
    assert str(there["kind"]) in introduced(host).sensor
    assert host.hear(Reading, 2)[-1].values[0] == 900


def test_a_bus_whose_clock_is_held_down_is_a_fault_and_starves_no_watchdog(
    make_bench: MakeBench, connect: Connect
) -> None:
    there = {LTR390: chip("ltr390", uv=900), MCP9808: chip("mcp9808", celsius=20)}
    bench = make_bench(settings={"cadence_ms": 200}, chips=there)
    host = connect(bench)
    host.hear_until(lambda reading: reading.marks == 0)
    bench.wire_up(there, scl_held=True)
    host.hear_until(lambda reading: reading.marks == Mark.FAULT)
    for reading in host.hear(Reading, len(host.heard) + 4)[1:]:
        assert (reading.marks, named(reading)) == (Mark.FAULT, {})
    timeout_ms, _, longest_ms = bench.watchdog() or (0, 0, 0)
    assert longest_ms < timeout_ms / 2
    bench.wire_up(there)
    host.hear_until(lambda reading: reading.marks == 0 and reading.values[0] == 900)


def test_a_bus_that_is_stuck_when_the_board_starts_is_clocked_free(
    make_bench: MakeBench, connect: Connect
) -> None:
    there = {LTR390: chip("ltr390", uv=900)}
    bench = make_bench(settings={"cadence_ms": 200}, chips=there)
    bench.unplug()
    bench.wire_up(there, stuck=1)
    bench.plug()
    host = connect(bench)
    assert introduced(host).sensor == "ltr390"
    host.hear_until(lambda reading: reading.marks == 0 and reading.values[0] == 900)


def test_a_stuck_bus_is_clocked_free(make_bench: MakeBench, connect: Connect) -> None:
    there = {LTR390: chip("ltr390", uv=900)}
    bench = make_bench(settings={"cadence_ms": 200}, chips=there)
    host = connect(bench)
    host.hear_until(lambda reading: reading.marks == 0)
    bench.wire_up(there, stuck=1)
    host.hear_until(lambda reading: reading.marks == Mark.FAULT)
    host.hear_until(lambda reading: reading.marks == 0 and reading.values[0] == 900)


def test_a_chip_that_only_infers_uv_is_refused_with_the_reason(
    make_bench: MakeBench, connect: Connect
) -> None:
    host = connect(make_bench(settings={"cadence_ms": 200}, chips={SI1145: {"kind": "si1145"}}))
    assert introduced(host).sensor == "si1145-refused"
    reasons = [message.excerpt for message in host.heard if isinstance(message, Garbage)]
    assert any(reason.startswith("si1145 is refused: it sees no UV") for reason in reasons)
    for reading in host.hear(Reading, 3):
        assert reading.marks == Mark.FAULT
        assert named(reading) == {}


def test_a_chip_that_is_named_but_missing_is_a_fault_and_not_a_floating_pin(
    make_bench: MakeBench, connect: Connect
) -> None:
    host = connect(make_bench(settings={"cadence_ms": 200, "sensor": "veml6075"}))
    assert introduced(host).sensor == "veml6075-missing"
    reading = host.hear(Reading, 2)[-1]
    assert (reading.marks, named(reading)) == (Mark.FAULT, {})
