"""The firmware at real speed behind a pseudo-terminal, read by the host's own parser."""

import json
from collections.abc import Callable
from itertools import pairwise

import pytest

from firmware_host.clock import SystemClock
from firmware_host.messages import BoardTime, Hello, Mark, Reading, ReplayEnd
from firmware_host.wire import (
    encode_hello_request,
    encode_replay_request,
    encode_time_request,
)
from tests.hardware.firmware_bench import FirmwareBench
from tests.hardware.listening import Host

MakeBench = Callable[..., FirmwareBench]
Connect = Callable[[FirmwareBench], Host]


def test_a_board_introduces_itself_when_asked(make_bench: MakeBench, connect: Connect) -> None:
    bench = make_bench(unique_id="0011223344556677", settings={"cadence_ms": 500, "sensor": "guva-s12sd"})
    host = connect(bench)
    host.say(encode_hello_request())
    hello = host.hear(Hello)[0]
    assert hello.board == "uv-0011223344556677"
    assert (hello.sensor, hello.cadence_ms, hello.ring) == ("guva-s12sd", 500, 4096)
    assert dict(zip(hello.channels, hello.units, strict=True)) == {"photodiode_mv": "mV", "board_c": "C"}


def test_readings_come_at_the_cadence_with_nothing_lost_or_garbled(
    make_bench: MakeBench, connect: Connect
) -> None:
    host = connect(make_bench(settings={"cadence_ms": 200}))
    readings = host.hear(Reading, 12)
    seqs = [reading.seq for reading in readings]
    assert seqs == list(range(seqs[0], seqs[0] + len(seqs)))
    # The board's own time tells the cadence, whatever else this machine is doing: on average it is kept.
    span_ms = readings[-1].board_ms - readings[0].board_ms
    assert span_ms / (len(readings) - 1) == pytest.approx(200, abs=25)
    assert host.parser.counts.garbage_lines.total() <= 1  # the line that was under way when the port opened


def test_the_light_is_reported_in_millivolts(make_bench: MakeBench, connect: Connect) -> None:
    bench = make_bench(settings={"cadence_ms": 200})
    bench.set_light_mv(734.5)
    reading = connect(bench).hear(Reading, 3)[2]
    assert reading.values[0] == pytest.approx(734.5, abs=3300 / 4095)  # one step of the converter
    assert reading.marks == 0


def test_light_beyond_the_rail_is_marked_saturated_until_it_falls(
    make_bench: MakeBench, connect: Connect
) -> None:
    bench = make_bench(settings={"cadence_ms": 200})
    bench.set_light_mv(3290)
    host = connect(bench)
    host.hear_until(lambda reading: reading.marks == Mark.SATURATED)
    bench.set_light_mv(1000)
    host.hear_until(lambda reading: reading.marks == 0)


def test_an_ml8511_that_gives_less_than_in_the_dark_is_marked_a_fault(
    make_bench: MakeBench, connect: Connect
) -> None:
    bench = make_bench(settings={"cadence_ms": 200, "sensor": "ml8511"})
    bench.set_light_mv(12)
    reading = connect(bench).hear(Reading, 2)[1]
    assert (reading.marks, reading.channels) == (Mark.FAULT, ("board_c",))


def test_a_thermometer_beside_the_sensor_is_reported(make_bench: MakeBench, connect: Connect) -> None:
    bench = make_bench(settings={"cadence_ms": 200, "temperature_pin": 27})
    bench.set_thermometer_mv(750)  # Analog Devices, TMP36 data sheet: "provides a 750 mV output at 25 °C"
    reading = connect(bench).hear(Reading, 2)[1]
    assert reading.channels == ("photodiode_mv", "temperature_c", "board_c")
    assert reading.values[1] == pytest.approx(25.0, abs=0.2)


def test_a_loose_thermometer_costs_its_own_channel_only(make_bench: MakeBench, connect: Connect) -> None:
    bench = make_bench(settings={"cadence_ms": 200, "temperature_pin": 27})
    bench.set_thermometer_mv(3)
    reading = connect(bench).hear(Reading, 2)[1]
    assert reading.channels == ("photodiode_mv", "board_c")
    assert reading.marks == Mark.FAULT


def test_the_time_is_told_with_the_token_of_the_question(make_bench: MakeBench, connect: Connect) -> None:
    host = connect(make_bench())
    host.say(encode_time_request(987654321))
    first = host.hear(BoardTime)[0]
    host.say(encode_time_request(1))
    second = host.hear(BoardTime, 2)[1]
    assert (first.token, second.token) == (987654321, 1)
    assert 0 <= first.board_ms <= second.board_ms < 60_000


def test_exactly_the_range_asked_for_is_replayed_and_then_its_end(
    make_bench: MakeBench, connect: Connect
) -> None:
    host = connect(make_bench(settings={"cadence_ms": 200}))
    live = {reading.seq: reading for reading in host.hear(Reading, 8)}
    wanted = sorted(live)[2:6]
    boot = live[wanted[0]].boot
    host.heard = []
    host.say(encode_replay_request(boot, wanted[0], wanted[-1]))
    end = host.hear(ReplayEnd)[0]
    replayed = [message for message in host.heard if isinstance(message, Reading) and message.replayed]
    assert replayed == [live[seq]._replace(replayed=True) for seq in wanted]
    assert (end.boot, end.first_seq, end.last_seq) == (boot, wanted[0], wanted[-1])


def test_what_was_said_while_the_host_was_away_can_be_replayed(
    make_bench: MakeBench, connect: Connect
) -> None:
    bench = make_bench(settings={"cadence_ms": 200})
    host = connect(bench)
    before = host.hear(Reading, 2)[-1]
    host.close()
    feeds = (bench.watchdog() or (0, 0, 0))[1]
    clock = SystemClock()
    while (bench.watchdog() or (0, 0, 0))[1] < feeds + 20:  # the board goes on alone
        clock.wait_s(0.1)
    host = connect(bench)
    after = host.hear(Reading)[0]
    assert after.boot == before.boot
    assert after.seq > before.seq + 1
    host.say(encode_replay_request(before.boot, before.seq + 1, after.seq - 1))
    host.hear(ReplayEnd)
    replayed = [m.seq for m in host.heard if isinstance(m, Reading) and m.replayed]
    assert replayed == list(range(before.seq + 1, after.seq))


def test_a_host_that_has_the_port_open_and_does_not_read_holds_up_no_watchdog_and_loses_no_reading(
    make_bench: MakeBench, connect: Connect
) -> None:
    bench = make_bench(settings={"cadence_ms": 200})
    host = connect(bench)
    before = host.hear(Reading)[0]
    host.say(encode_hello_request() * 600)  # more than what lies between the board and a host holds
    clock = SystemClock()
    while (bench.watchdog() or (0, 0, 0))[2] < 400:  # held up
        clock.wait_s(0.1)
    clock.wait_s(3)
    timeout_ms, _, longest_ms = bench.watchdog() or (0, 0, 0)
    assert longest_ms < timeout_ms / 2
    host.heard = []
    host.listen(lambda heard: sum(isinstance(m, Reading) and not m.replayed for m in heard) >= 20)
    last = next(m for m in reversed(host.heard) if isinstance(m, Reading))
    assert last.boot == before.boot
    host.say(encode_replay_request(last.boot, before.seq, last.seq))
    host.hear(ReplayEnd)
    replayed = [m.seq for m in host.heard if isinstance(m, Reading) and m.replayed]
    assert replayed == list(range(before.seq, last.seq + 1))


def test_a_host_that_reads_slowly_loses_nothing(make_bench: MakeBench, connect: Connect) -> None:
    bench = make_bench(settings={"cadence_ms": 200})
    host = connect(bench)
    host.hear(Reading)
    host.heard = []
    garbage = host.parser.counts.garbage_lines.total()
    host.say(encode_hello_request() * 600)  # some 100 kB of answers
    clock = SystemClock()
    while sum(isinstance(message, Hello) for message in host.heard) < 600:
        host.sip(2000)
        clock.wait_s(0.05)
    seqs = [message.seq for message in host.heard if isinstance(message, Reading)]
    assert seqs == list(range(seqs[0], seqs[0] + len(seqs)))
    assert host.parser.counts.garbage_lines.total() == garbage
    assert bench.running


def test_an_esp32_reads_what_its_converter_can(make_bench: MakeBench, connect: Connect) -> None:
    bench = make_bench(kind="esp32", settings={"cadence_ms": 200, "uv_pin": 34, "sensor": "guva-s12sd"})
    bench.set_light_mv(1000)
    host = connect(bench)
    reading = host.hear(Reading, 2)[-1]
    assert reading.channels == ("photodiode_mv",)  # it has no thermometer of its own
    assert reading.values[0] == pytest.approx(999.5, abs=1.5)  # whole millivolts, rounded down
    bench.set_light_mv(50)
    host.hear_until(lambda reading: reading.values[0] < 500)
    assert host.hear(Reading, 3)[-1].values[0] == pytest.approx(142, abs=1)  # its floor: hardware/README.md
    bench.set_light_mv(2600)
    host.hear_until(lambda reading: reading.marks == Mark.SATURATED)


@pytest.mark.parametrize(
    "noise",
    [
        b"\n\n\r\n",
        b"hello?\n",
        b"bk1 hello? ~0000\n",
        b"bk1 hello?\n",
        encode_hello_request()[:-3] + b"\n",
        encode_replay_request("00000000", 5, 9).replace(b" 5 ", b" 9 "),
        bytes(range(4, 256)) * 3 + b"\n",
        b"\x00" * 5000 + b"\n",
        b"bk1 " * 4000 + b"\n",
        b"x\x03y\n",
        encode_time_request(5)[:9] + b"\n",
    ],
    ids=lambda noise: repr(noise[:16]),
)
def test_noise_is_passed_over_and_the_next_request_is_answered(
    make_bench: MakeBench, connect: Connect, noise: bytes
) -> None:
    bench = make_bench()
    host = connect(bench)
    host.say(noise + encode_time_request(4242))
    assert host.hear(BoardTime)[0].token == 4242
    assert not [message for message in host.heard if isinstance(message, ReplayEnd)]
    assert bench.running


def test_a_request_cut_short_and_sent_again_on_the_same_line_is_answered(
    make_bench: MakeBench, connect: Connect
) -> None:
    host = connect(make_bench())
    host.say(encode_time_request(7)[:8] + encode_time_request(8))
    assert host.hear(BoardTime)[0].token == 8


def test_a_request_that_comes_byte_by_byte_is_answered(make_bench: MakeBench, connect: Connect) -> None:
    host = connect(make_bench())
    for byte in encode_time_request(9):
        host.say(bytes([byte]))
    assert host.hear(BoardTime)[0].token == 9


def test_a_flood_of_requests_does_not_stop_the_readings(make_bench: MakeBench, connect: Connect) -> None:
    bench = make_bench(settings={"cadence_ms": 200})
    host = connect(bench)
    host.hear(Reading)
    host.heard = []
    flood = encode_replay_request("00000000", 0, 10) * 1000
    for start in range(0, len(flood), 2000):
        host.say(flood[start : start + 2000])
        host.listen(lambda _: True)
    readings = host.hear(Reading, 6)
    assert [b.seq - a.seq for a, b in pairwise(readings)] == [1] * (len(readings) - 1)
    assert bench.running


def test_each_start_has_a_new_boot_and_the_same_identity(make_bench: MakeBench, connect: Connect) -> None:
    bench = make_bench(settings={"cadence_ms": 200})
    host = connect(bench)
    before = host.hear(Reading, 3)[-1]
    host.close()
    bench.power_cycle()
    host = connect(bench)
    after = host.hear(Reading)[0]
    assert after.board == before.board == bench.identity
    assert after.boot != before.boot
    assert after.board_ms < before.board_ms or after.seq < before.seq
    host.say(encode_replay_request(before.boot, 0, 2))
    end = host.hear(ReplayEnd)[0]
    assert (end.boot, end.first_seq, end.last_seq) == (before.boot, 0, -1)  # gone with the power


def test_the_watchdog_is_armed_and_fed(make_bench: MakeBench, connect: Connect) -> None:
    bench = make_bench(settings={"cadence_ms": 3000})
    host = connect(bench)
    clock = SystemClock()
    while (bench.watchdog() or (0, 0, 0))[1] < 6:
        clock.wait_s(0.1)
    host.say(encode_hello_request())
    host.hear(Hello)
    timeout_ms, _, longest_ms = bench.watchdog() or (0, 0, 0)
    assert 0 < timeout_ms <= 8388  # the RP2040's limit: MicroPython's page on machine.WDT
    assert longest_ms < timeout_ms / 2


def test_without_the_watchdog_setting_none_is_armed(make_bench: MakeBench, connect: Connect) -> None:
    bench = make_bench(settings={"cadence_ms": 200, "watchdog": False})
    connect(bench).hear(Reading, 3)
    assert bench.watchdog() is None


def test_ctrl_c_at_the_start_of_a_line_frees_the_board_for_flashing(
    make_bench: MakeBench, connect: Connect
) -> None:
    bench = make_bench(settings={"cadence_ms": 200})
    host = connect(bench)
    host.hear(Reading)
    host.say(b"\r\x03")
    clock = SystemClock()
    for _ in range(100):
        if not bench.running:
            break
        clock.wait_s(0.05)
    assert not bench.running
    assert (bench.folder / "timer").read_text() == "1000"  # which goes on feeding the watchdog meanwhile


@pytest.mark.parametrize(
    "spoilt",
    ['{"cadence_ms": 2', "[]", '{"cadence_ms": 5}', '{"cadence_ms": "fast", "colour": 3, "uv_pin": 1.5}', ""],
)
def test_spoilt_settings_count_as_not_set(make_bench: MakeBench, connect: Connect, spoilt: str) -> None:
    bench = make_bench()
    bench.unplug()
    (bench.folder / "settings.json").write_text(spoilt)
    bench.plug()
    host = connect(bench)
    host.say(encode_hello_request())
    assert host.hear(Hello)[0].cadence_ms == 1000


def test_settings_that_were_changed_survive_a_power_cut(
    make_bench: MakeBench, connect: Connect, on_board: Callable[..., str]
) -> None:
    bench = make_bench(settings={"cadence_ms": 200, "sensor": "ml8511"})
    bench.unplug()
    said = on_board("change_settings.py", str(bench.folder), json.dumps({"cadence_ms": 400, "label": "rock"}))
    assert json.loads(said)["label"] == "rock"
    bench.plug()
    host = connect(bench)
    host.say(encode_hello_request())
    hello = host.hear(Hello)[0]
    assert (hello.cadence_ms, hello.sensor) == (400, "ml8511")


@pytest.mark.parametrize(
    ("changes", "problem"),
    [
        ({"label": "x", "cadence_ms": 50}, "cadence_ms is a whole number from 100 to 600000"),
        ({"cadence_ms": 1000.0}, "cadence_ms is a whole number from 100 to 600000"),
        ({"sensor": "GUVA S12SD"}, "sensor is a kind such as ltr390, in small letters, digits and -"),
        ({"colour": "red"}, "there is no setting colour"),
        ({"label": "x" * 61}, "label has at most 60 characters"),
        ({"watchdog": 0}, "watchdog is like True"),
        ({"uv_pin": "26"}, "uv_pin is a pin number or None"),
    ],
    ids=str,
)
def test_a_setting_that_makes_no_sense_is_refused_and_nothing_changes(
    make_bench: MakeBench, on_board: Callable[..., str], changes: dict[str, object], problem: str
) -> None:
    bench = make_bench(settings={"cadence_ms": 200})
    bench.unplug()
    before = (bench.folder / "settings.json").read_text()
    said = on_board("change_settings.py", str(bench.folder), json.dumps(changes))
    assert said == problem + "\n"
    assert (bench.folder / "settings.json").read_text() == before
