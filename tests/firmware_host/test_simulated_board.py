import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from firmware_host.messages import BoardTime, Garbage, Hello, Mark, Message, Reading, ReplayEnd
from firmware_host.simulated.board import BoardModel, SimulatedBoard
from firmware_host.simulated.noise import LineNoise, NoiseLevel
from firmware_host.wire import (
    WireParser,
    encode_hello_request,
    encode_replay_request,
    encode_time_request,
)

EXAMPLES: dict[str, list[dict[str, Any]]] = tomllib.loads(
    (Path(__file__).parents[1] / "wire_examples.toml").read_text()
)
UNITS = {"uva_counts": "counts", "temperature_c": "degC"}


def channels_at(at_ms: float) -> Mapping[str, float]:
    return {"uva_counts": at_ms / 7, "temperature_c": 31.25}


def started(*, seed: int = 1, ring: int = 100, noise: LineNoise | None = None) -> SimulatedBoard:
    model = BoardModel("shelf-2", UNITS, cadence_ms=1_000, ring=ring, pace_ppm=100.0)
    board = SimulatedBoard(
        model,
        channels_at,
        seed=seed,
        noise=noise,
        marks_at=lambda at_ms: Mark.SATURATED if at_ms > 52_500 else Mark(0),
    )
    board.start(50_000)
    return board


def heard(data: bytes) -> list[Message]:
    return WireParser().feed(data)


def test_it_says_hello_at_its_start_and_reads_at_its_cadence() -> None:
    board = started()
    hello, *readings = heard(board.run(53_100))
    assert hello == Hello(
        "shelf-2", board.boot, "simulated-1", "simulated", tuple(UNITS), tuple(UNITS.values()), 1_000, 100
    )
    assert readings == [
        Reading(
            "shelf-2",
            board.boot,
            seq,
            (seq + 1) * 1_000,
            tuple(UNITS),
            (round((50_000 + (seq + 1) * 1_000.1) / 7, 6), 31.25),
            marks,
            False,
        )
        for seq, marks in ((0, 0), (1, 0), (2, 1))
    ]


def test_the_same_seed_gives_the_same_bytes_and_another_one_another_boot() -> None:
    level = NoiseLevel(0.1, 0.1, 0.1, 0.1, 0.1)
    runs = [started(seed=seed, noise=LineNoise(level, seed)).run(150_000) for seed in (4, 4, 5)]
    assert runs[0] == runs[1]
    assert started(seed=4).boot != started(seed=5).boot


def test_each_start_is_another_boot_that_counts_from_zero() -> None:
    board = started()
    board.run(60_000)
    first_boot = board.boot
    board.stop()
    assert board.run(70_000) == b""
    board.start(70_000)
    readings = [message for message in heard(board.run(72_000)) if isinstance(message, Reading)]
    assert board.boot != first_boot
    assert [reading.seq for reading in readings] == [0]


def test_it_tells_its_time() -> None:
    board = started()
    board.run(51_000)
    board.receive(encode_time_request(77), 51_500)
    assert heard(board.run(51_500))[-1] == BoardTime("shelf-2", board.boot, 77, 1_499)


@pytest.mark.parametrize(
    ("asked", "kept"),
    [((10, 14), (10, 14)), ((0, 3), None), ((3, 7), (5, 7)), ((12, 99), (12, 14)), ((99, 99), None)],
)
def test_it_replays_what_its_ring_holds_of_what_is_asked(
    asked: tuple[int, int], kept: tuple[int, int] | None
) -> None:
    board = started(ring=10)
    live = {item.seq: item for item in heard(board.run(65_100)) if isinstance(item, Reading)}
    assert board.next_seq == 15
    board.receive(encode_replay_request(board.boot, *asked), 65_100)
    *replayed, end = heard(board.run(65_500))
    if kept is None:
        assert (replayed, end) == ([], ReplayEnd("shelf-2", board.boot, asked[0], asked[0] - 1))
    else:
        assert replayed == [live[seq]._replace(replayed=True) for seq in range(kept[0], kept[1] + 1)]
        assert end == ReplayEnd("shelf-2", board.boot, *kept)


def test_it_has_nothing_of_another_boot() -> None:
    board = started()
    board.run(60_000)
    board.receive(encode_replay_request("0badb007", 0, 3), 60_000)
    assert heard(board.run(60_000)) == [ReplayEnd("shelf-2", "0badb007", 0, -1)]


def test_a_long_replay_takes_the_time_that_the_line_needs_and_live_readings_come_between() -> None:
    board = started(ring=3_600)
    board.run(650_000)
    board.receive(encode_replay_request(board.boot, 0, 449), 650_000)
    messages: list[Message] = []
    for now_ms in range(650_000, 653_500, 50):
        messages += heard(board.run(now_ms))
    kinds = [
        "end"
        if isinstance(message, ReplayEnd)
        else "p"
        if isinstance(message, Reading) and message.replayed
        else "r"
        for message in messages
    ]
    assert kinds.count("p") == 450
    between = "".join(kind[0] for kind in kinds).split("r")
    assert [len(part) for part in between[1:3]] == pytest.approx([150, 150], abs=8)
    assert kinds.count("end") == 1
    assert kinds.index("end") > 450


@pytest.mark.parametrize("example", EXAMPLES["request"], ids=lambda example: example["name"])
def test_it_answers_each_request_of_the_table(example: dict[str, Any]) -> None:
    board = started()
    board.boot = example["meaning"].get("boot", board.boot)
    board.run(50_100)
    board.receive(example["line"].encode() + b"\r\n", 50_100)
    (answer,) = heard(board.run(50_100))
    match example["kind"]:
        case "hello?":
            assert isinstance(answer, Hello)
        case "time?":
            assert isinstance(answer, BoardTime)
            assert answer.token == example["meaning"]["token"]
        case "replay?":
            assert isinstance(answer, ReplayEnd)
            assert (answer.boot, answer.first_seq) == (board.boot, example["meaning"]["first_seq"])


@pytest.mark.parametrize("example", EXAMPLES["not_a_request"], ids=lambda example: example["name"])
def test_it_ignores_what_is_no_request(example: dict[str, Any]) -> None:
    board = started()
    board.run(50_100)
    line = bytes.fromhex(example["bytes_hex"]) if "bytes_hex" in example else example["line"].encode()
    board.receive(line + b"\n", 50_100)
    assert board.run(50_100) == b""
    board.receive(encode_hello_request(), 50_100)
    assert len(heard(board.run(50_100))) == 1


def test_requests_may_come_in_pieces() -> None:
    board = started()
    board.run(50_100)
    for byte in encode_time_request(5):
        board.receive(bytes([byte]), 50_100)
    assert len(heard(board.run(50_100))) == 1


@pytest.mark.parametrize(
    ("level", "arrives"),
    [
        (NoiseLevel(), 1_000),
        (NoiseLevel(drop=1.0), 0),
        (NoiseLevel(flip=1.0), 0),
        (NoiseLevel(duplicate=1.0), 2_000),
        (NoiseLevel(drop=0.1), pytest.approx(900, abs=40)),
        (NoiseLevel(split=0.1), pytest.approx(900, abs=40)),
        (NoiseLevel(garbage=0.1, burst_bytes=50), pytest.approx(1_000, abs=2)),
    ],
)
def test_noise_does_what_it_says(level: NoiseLevel, arrives: object) -> None:
    board = started(noise=LineNoise(level, 3))
    data = board.run(50_000 + 1_001_000)
    messages = heard(data)
    assert len([message for message in messages if isinstance(message, Reading)]) == arrives
    if level != NoiseLevel() and not level.drop and not level.duplicate:
        assert any(isinstance(message, Garbage) for message in messages)
