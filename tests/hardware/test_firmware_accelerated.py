"""The firmware's own modules under MicroPython on hand-driven ticks: what takes days or exact timing."""

import json
from collections.abc import Callable
from itertools import pairwise

import pytest

from firmware_host.messages import Mark, Message, Reading, ReplayEnd
from firmware_host.wire import WireParser

OnBoard = Callable[..., str]

TICKS_PERIOD_MS = 2**30  # on 32-bit boards: it is a power of two there, MicroPython's page on time.ticks_ms


def play(on_board: OnBoard, *steps: dict[str, object], **plan: object) -> list[Message]:
    said = on_board("scenario.py", said=json.dumps({"cadence_ms": 1000, **plan, "steps": steps}))
    parser = WireParser()
    heard = parser.feed(said.encode())
    assert parser.held_bytes == 0
    assert parser.counts.garbage_lines.total() == 0
    return heard


def split(heard: list[Message]) -> tuple[list[Reading], list[Reading], list[ReplayEnd]]:
    readings = [message for message in heard if isinstance(message, Reading)]
    live = [reading for reading in readings if not reading.replayed]
    replayed = [reading for reading in readings if reading.replayed]
    return live, replayed, [message for message in heard if isinstance(message, ReplayEnd)]


def test_board_time_goes_on_when_the_ticks_wrap(on_each_port: OnBoard) -> None:
    live, _, _ = split(play(on_each_port, {"read_until": 20}, start=TICKS_PERIOD_MS - 7_500))
    assert [reading.board_ms for reading in live] == list(range(0, 20_000, 1000))


def test_board_time_goes_on_for_forty_days(on_board: OnBoard) -> None:
    cadence_ms = 600_000
    days = 40  # more than three wraps of the ticks
    n = days * 86_400_000 // cadence_ms
    live, _, _ = split(play(on_board, {"read_until": n}, cadence_ms=cadence_ms))
    assert [reading.board_ms for reading in live] == [seq * cadence_ms for seq in range(n)]
    assert live[-1].board_ms > 3 * TICKS_PERIOD_MS


def test_the_ring_keeps_the_newest_and_gives_them_back_as_they_were(on_each_port: OnBoard) -> None:
    report = json.loads(on_each_port("ring_wrap.py"))
    assert report["empty"] == [0, 0]
    assert report["ends"] == [15, 25]
    missing = -(2**30)
    assert report["held"] == [
        [seq, [2_000_000_000 + seq, seq, seq % 2], [seq * 10, missing]] for seq in range(15, 25)
    ]


def test_what_the_ring_lost_is_left_out_of_a_replay_and_its_end_says_so(on_each_port: OnBoard) -> None:
    heard = play(
        on_each_port, {"read_until": 5000, "quiet": True}, {"ask": "bk1 replay? <boot> 900 910"}, line_ms=1
    )
    _, replayed, ends = split(heard)
    first = 5000 - 4096
    assert [reading.seq for reading in replayed] == list(range(first, 911))
    assert [reading.values[0] for reading in replayed] == [seq / 100 for seq in range(first, 911)]
    assert [(end.first_seq, end.last_seq) for end in ends] == [(first, 910)]


@pytest.mark.parametrize("asked", ["<boot> 100 103", "<boot> 9000 9010", "00000000 1 2"])
def test_a_range_of_which_nothing_is_left_is_answered_with_an_empty_end(
    on_each_port: OnBoard, asked: str
) -> None:
    heard = play(on_each_port, {"read_until": 5000, "quiet": True}, {"ask": f"bk1 replay? {asked}"})
    _, replayed, ends = split(heard)
    first = int(asked.split()[1])
    assert replayed == []
    assert [(end.first_seq, end.last_seq) for end in ends] == [(first, first - 1)]


def test_a_range_that_reaches_into_the_future_ends_at_the_newest_reading(on_each_port: OnBoard) -> None:
    heard = play(
        on_each_port, {"read_until": 10, "quiet": True}, {"ask": "bk1 replay? <boot> 7 999999999999"}
    )
    _, replayed, ends = split(heard)
    assert [reading.seq for reading in replayed] == [7, 8, 9]
    assert [(end.first_seq, end.last_seq) for end in ends] == [(7, 9)]


def test_an_hour_is_replayed_over_a_slow_line_without_delaying_live_readings(on_each_port: OnBoard) -> None:
    # 12 ms a line is what about 140 bytes take at 115,200 baud.
    heard = play(
        on_each_port,
        {"read_until": 3600, "quiet": True},
        {"ask": "bk1 replay? <boot> 0 3599"},
        {"read_until": 3660},
        line_ms=12,
    )
    live, replayed, ends = split(heard)
    assert [reading.seq for reading in replayed] == list(range(3600))
    assert len(ends) == 1
    assert len(live) >= 40  # the replay took so many seconds
    assert {later.board_ms - earlier.board_ms for earlier, later in pairwise(live)} == {1000}


def test_replays_asked_for_at_once_are_answered_one_after_the_other(on_each_port: OnBoard) -> None:
    steps: list[dict[str, object]] = [{"read_until": 30, "quiet": True}]
    steps += [{"ask": f"bk1 replay? <boot> {n} {n + 1}"} for n in (20, 4, 11)]
    _, replayed, ends = split(play(on_each_port, *steps))
    assert [reading.seq for reading in replayed] == [20, 21, 4, 5, 11, 12]
    assert [end.first_seq for end in ends] == [20, 4, 11]


def test_memory_stays_level_over_tens_of_thousands_of_readings(on_board: OnBoard) -> None:
    report = json.loads(on_board("memory.py", "40000", "5000"))
    assert report["ring"] == 4096
    # 4096 readings of two channels, 15 bytes each, and the objects around each piece of 128.
    assert 4096 * 15 <= report["ring_bytes"] <= 4096 * 15 + 32 * 250
    assert report["written"] >= 40_000
    in_use = report["in_use"]
    assert len(in_use) == 8
    assert (
        max(in_use) - min(in_use) <= 256
    )  # the allocator's own grain; a leaked byte a reading would be 35,000
    assert report["largest"][-1] >= 24_000


def test_a_board_with_little_memory_keeps_a_shorter_ring(on_board: OnBoard) -> None:
    report = json.loads(on_board("memory.py", "2000", "1000", heap="130K"))
    assert 256 <= report["ring"] < 4096


def test_a_ring_takes_what_the_memory_allows_and_leaves_the_rest_of_the_board_its_own(
    on_board: OnBoard,
) -> None:
    rings = [
        json.loads(on_board("memory.py", "600", "300", heap=heap))["ring"]
        for heap in ("130K", "140K", "150K")
    ]
    assert all(ring % 128 == 0 for ring in rings)
    for smaller, larger in pairwise(rings):
        # 10,240 bytes are 682 readings of two channels, and the ring grows by whole pieces of 128.
        assert 682 - 256 <= larger - smaller <= 682 + 256


def test_holes_in_the_memory_do_not_keep_the_ring_short_nor_take_the_last_whole_piece(
    on_board: OnBoard,
) -> None:
    # Compiling the firmware leaves some 60 kB free here, in holes of which the largest has 9 kB.
    report = json.loads(on_board("memory.py", "10000", "2000", heap="130K"))
    assert report["ring"] >= 1536
    assert min(report["largest"]) >= 2 * 512  # a line at its longest, and what it is made of


@pytest.mark.parametrize("channels", [2, 4, 8, 16])
def test_a_ring_needs_no_more_memory_while_it_is_made_than_when_it_is(
    on_board: OnBoard, channels: int
) -> None:
    # Of 24,000 bytes that are kept free, the next longer ring would have taken a part.
    made = json.loads(on_board("ring_room.py", str(channels), heap="80K"))
    assert 256 < made["capacity"] < 4096
    assert made["left"] - 24_000 <= 128 * (7 + 4 * channels) + 1_000


def test_a_board_that_can_do_nothing_right_does_not_feed_its_watchdog(on_board: OnBoard) -> None:
    said = on_board("starved.py").splitlines()
    assert said.count("ValueError: broken") == 1  # told once, for the keeper who may be watching
    report = json.loads(said[-1])
    assert report["timeout"] <= 8388
    assert report["reads"] > 100
    assert report["fed"] == 0


def test_the_timer_that_feeds_the_watchdog_at_the_prompt_is_held_so_that_it_is_not_collected(
    on_board: OnBoard,
) -> None:
    assert on_board("at_the_prompt.py").strip() == "[True]"


@pytest.mark.parametrize("window_us", [100_000, 50_000])
def test_mains_flicker_averages_out_over_the_window(on_each_port: OnBoard, window_us: int) -> None:
    means = json.loads(on_each_port("flicker.py", str(window_us), "10"))
    assert means["steady"] == pytest.approx(1000, abs=0.1)
    for hz in (100, 120):  # the mean of |sin| is 2/pi
        assert means[f"rectified {hz}"] == pytest.approx(636.62, rel=1e-3)
    assert means["pulsed 100"] == pytest.approx(300, rel=0.01)
    assert means["pulsed 1000"] == pytest.approx(300, rel=0.02)
    assert means["pulsed 4000"] == pytest.approx(
        300, rel=0.08
    )  # few samples a pulse: noise, not a stuck phase


@pytest.mark.parametrize("look_us", [130, 700])
@pytest.mark.parametrize("window_us", [100_000, 50_000])
def test_flicker_averages_out_on_a_board_that_cannot_take_all_samples(
    on_each_port: OnBoard, window_us: int, look_us: int
) -> None:
    # 401 samples in 100 ms are one each 249 us, in 50 ms one each 125 us: so slow a board takes fewer.
    means = json.loads(on_each_port("flicker.py", str(window_us), str(look_us)))
    assert means["steady"] == 1000
    for hz in (100, 120):
        assert means[f"rectified {hz}"] == pytest.approx(636.62, rel=0.005)


@pytest.mark.parametrize("slow_percent", [0, 10])
@pytest.mark.parametrize("window_us", [100_000, 50_000])
def test_the_external_adc_averages_flicker_out_over_the_same_window(
    on_each_port: OnBoard, window_us: int, slow_percent: int
) -> None:
    means = json.loads(on_each_port("adc.py", str(window_us), str(slow_percent)))
    assert window_us * 12 / 13 <= means["took_us"] <= window_us
    assert means["steady"] == 1000
    for hz in (100, 120):
        assert means[f"rectified {hz}"] == pytest.approx(636.62, rel=0.005)
    assert means["pulsed 100"] == pytest.approx(300, rel=0.1)  # few samples a pulse


@pytest.mark.parametrize("window_us", [100_000, 50_000])
def test_the_external_adcs_mean_holds_nothing_of_the_window_before(
    on_each_port: OnBoard, window_us: int
) -> None:
    means = json.loads(on_each_port("adc.py", str(window_us), "10"))
    assert [mean for name, mean in means.items() if name.endswith("then 2000 mV")] == [2000] * 4


def test_an_external_adc_that_does_not_finish_in_time_is_a_fault(on_each_port: OnBoard) -> None:
    means = json.loads(on_each_port("adc.py", "50000", "300"))
    assert means["steady"] == "ads1115 has not measured"


def test_a_window_that_cuts_a_cycle_would_show_the_flicker(on_each_port: OnBoard) -> None:
    means = json.loads(on_each_port("flicker.py", "64000", "10"))
    assert abs(means["rectified 100"] - 636.62) > 5


def test_readings_that_were_held_up_do_not_come_in_a_rush(on_each_port: OnBoard) -> None:
    live, _, _ = split(play(on_each_port, {"read_until": 3}, {"pass_ms": 5_500}, {"read_until": 6}))
    assert [reading.board_ms for reading in live] == [0, 1000, 2000, 7500, 8000, 9000]


@pytest.mark.parametrize("marks", list(Mark))
def test_the_boards_marks_are_the_hosts(on_each_port: OnBoard, marks: Mark) -> None:
    assert json.loads(on_each_port("marks.py"))[(marks.name or "").lower()] == marks
