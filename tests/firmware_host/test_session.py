"""A session and a simulated board talk over a line that costs time and may be bad."""

import math
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firmware_host.batch import ReadingBatch
from firmware_host.board_clock import ClockFault
from firmware_host.claims import BoardClaims, DuplicateBoard
from firmware_host.clock import Moment
from firmware_host.gaps import SeqSet
from firmware_host.mapped import LineMapping, MappedParser
from firmware_host.messages import Garbage, Hello, Mark, Reading, ReplayEnd
from firmware_host.news import BoardIdentified, BootReused, ClockAnomaly, Lost, News, Rebooted
from firmware_host.session import LinkSession
from firmware_host.simulated.board import BoardModel, SimulatedBoard
from firmware_host.simulated.noise import LineNoise, NoiseLevel
from firmware_host.wire import (
    WireParser,
    encode_end,
    encode_hello,
    encode_reading,
    encode_replay_request,
    parse_request,
)

STEP_MS = 20
UNITS = {"uva_counts": "counts", "temperature_c": "degC"}


def channels_at(at_ms: float) -> Mapping[str, float]:
    return {"uva_counts": round(1_000 + at_ms % 977), "temperature_c": 30 + at_ms % 7 / 4}


def moment(mono_ms: int) -> Moment:
    return Moment(mono_ms, 1_700_000_000_000 + mono_ms, synchronised=True)


def simulated(
    *,
    seed: int = 1,
    noise: NoiseLevel | None = None,
    cadence_ms: int = 100,
    ring: int = 3_600,
    ppm: float = 0.0,
) -> SimulatedBoard:
    model = BoardModel("shelf-2", UNITS, cadence_ms=cadence_ms, ring=ring, pace_ppm=ppm)
    return SimulatedBoard(
        model, channels_at, seed=seed, noise=None if noise is None else LineNoise(noise, seed)
    )


@dataclass
class Conversation:
    """Both ends, driven in steps of 20 ms.  Everything delivered is kept."""

    board: SimulatedBoard
    now_ms: int = 0
    stored: dict[str, SeqSet] = field(default_factory=dict)  # by boot
    news: list[News] = field(default_factory=list)
    deaf: bool = False  # the board does not hear the host

    def open(self) -> None:
        self.session = LinkSession(
            WireParser(),
            moment(self.now_ms),
            stored=lambda board, boot: self.stored.get(boot, SeqSet()).ranges,
        )
        self._send()

    def run(self, seconds: float, *, lose: Iterable[int] = ()) -> None:
        """Let time pass; live lines of the readings in `lose` do not arrive."""
        lost = set(lose)
        for _ in range(round(seconds * 1000 / STEP_MS)):
            self.now_ms += STEP_MS
            data = self.board.run(self.now_ms)
            if lost:
                data = b"".join(line for line in data.splitlines(True) if not self._is_live(line, lost))
            if data:
                self.take(self.session.receive(data, moment(self.now_ms)))
            deadline_ms = self.session.next_deadline_ms
            if deadline_ms is not None and deadline_ms <= self.now_ms:
                self.take(self.session.tick(moment(self.now_ms)))
            self._send()

    def away(self, seconds: float) -> None:
        """Let time pass for the board alone, with nobody listening."""
        self.now_ms += round(seconds * 1000)
        self.board.run(self.now_ms)

    def take(self, news: list[News]) -> None:
        self.news += news
        for batch in news:
            if isinstance(batch, ReadingBatch):
                self.stored.setdefault(batch.boot, SeqSet()).add_all(batch.seq)

    def _send(self) -> None:
        data = self.session.take_outgoing()
        if not self.deaf:
            self.board.receive(data, self.now_ms)

    @staticmethod
    def _is_live(line: bytes, lost: set[int]) -> bool:
        fields = line.split(b" ")
        return fields[1] == b"r" and int(fields[4]) in lost

    def batches(self) -> list[ReadingBatch]:
        return [batch for batch in self.news if isinstance(batch, ReadingBatch)]

    def seqs(self, *, late: bool | None = None) -> list[int]:
        return [
            seq
            for batch in self.batches()
            if late is None or batch.late is late
            for seq in batch.seq.tolist()
        ]

    def of(self, kind: type) -> list[News]:
        return [news for news in self.news if isinstance(news, kind)]


def begun(board: SimulatedBoard) -> Conversation:
    board.start(0)
    conversation = Conversation(board)
    conversation.open()
    return conversation


def test_a_board_introduces_itself_and_its_readings_come_once_in_order_and_in_time() -> None:
    conversation = begun(simulated(ppm=120))
    conversation.run(60)
    assert conversation.seqs() == list(range(len(conversation.seqs())))
    assert len(conversation.seqs()) >= 598
    assert conversation.of(BoardIdentified) == [BoardIdentified("shelf-2", conversation.board.boot)]
    hello = conversation.of(Hello)[0]
    assert isinstance(hello, Hello)
    assert hello.ring == 3_600
    assert conversation.session.boards == {"shelf-2": conversation.board.boot}
    for batch in conversation.batches():
        assert batch.channels == tuple(UNITS)
        true_ms = (batch.seq + 1) * 100 * 1.00012
        assert np.abs(batch.host_ms - true_ms).max() <= STEP_MS + 3
        expected = [list(channels_at(at_ms).values()) for at_ms in true_ms]
        np.testing.assert_allclose(batch.values, expected, atol=1e-6)
    host_ms = np.concatenate([batch.host_ms for batch in conversation.batches()])
    assert np.all(np.diff(host_ms) > 0)


def test_a_lost_line_is_asked_for_again_and_the_order_is_kept() -> None:
    conversation = begun(simulated())
    conversation.run(10, lose=[40, 41, 42, 60])
    assert conversation.seqs(late=True) == []
    assert conversation.seqs() == list(range(len(conversation.seqs())))
    assert len(conversation.seqs()) >= 98
    assert conversation.of(Lost) == []


def test_readings_behind_a_gap_wait_only_so_long_and_the_gap_is_filled_late() -> None:
    conversation = begun(simulated())
    conversation.run(5)
    conversation.deaf = True
    conversation.run(2, lose=[55])
    assert 55 not in conversation.seqs()
    assert conversation.seqs(late=False)[-1] >= 56
    conversation.deaf = False
    conversation.run(10)
    assert conversation.seqs(late=True) == [55]
    assert sorted(conversation.seqs()) == list(range(len(conversation.seqs())))
    assert conversation.of(Lost) == []


def test_a_late_reading_is_placed_between_its_neighbours() -> None:
    conversation = begun(simulated())
    conversation.run(5)
    conversation.deaf = True
    conversation.run(2, lose=[55])
    conversation.deaf = False
    conversation.run(5)
    placed = {
        seq: ms for batch in conversation.batches() for seq, ms in zip(batch.seq, batch.host_ms, strict=True)
    }
    assert placed[54] < placed[55] < placed[56]


def test_no_reading_waits_longer_than_five_seconds_for_history() -> None:
    board = simulated()
    board.start(0)
    conversation = Conversation(board, stored={board.boot: SeqSet([(0, 0)])})
    conversation.away(360)
    conversation.open()
    conversation.run(8)
    assert max(conversation.seqs(late=False)) >= board.next_seq - 2
    conversation.run(30)
    assert sorted(conversation.seqs()) == list(range(1, board.next_seq))
    assert conversation.of(Lost) == []


def test_a_board_that_does_not_hear_is_not_waited_for_in_the_long_run() -> None:
    conversation = begun(simulated(cadence_ms=1_000))
    conversation.run(5)
    conversation.deaf = True
    conversation.run(60, lose=[10, 20, 30])
    assert [(news.first_seq, news.last_seq) for news in conversation.of(Lost) if isinstance(news, Lost)] == [
        (10, 10),
        (20, 20),
        (30, 30),
    ]
    before = len(conversation.batches())
    conversation.run(20, lose=[70])
    assert all(len(batch) == 1 for batch in conversation.batches()[before:])  # each went out as it came
    assert Lost("shelf-2", conversation.board.boot, 70, 70) in conversation.news

    conversation.deaf = False
    conversation.run(40)
    lost = conversation.of(Lost)
    conversation.run(20, lose=[conversation.board.next_seq + 5])
    assert conversation.of(Lost) == lost
    assert conversation.seqs()[-15:] == list(range(conversation.seqs()[-15], conversation.board.next_seq))


def test_without_a_ring_nothing_waits_and_a_gap_is_lost_at_once() -> None:
    conversation = begun(simulated(ring=0))
    conversation.run(3)
    conversation.run(1, lose=[35])
    assert conversation.of(Lost) == [Lost("shelf-2", conversation.board.boot, 35, 35)]
    assert all(len(batch) == 1 for batch in conversation.batches()[3:])


def test_what_the_ring_no_longer_holds_is_lost_and_the_rest_comes() -> None:
    board = simulated(ring=100)
    board.start(0)
    conversation = Conversation(board, stored={board.boot: SeqSet([(0, 9)])})
    conversation.away(30)  # seq 0 to 299, of which 200 to 299 are kept
    conversation.open()
    conversation.run(5)
    lost = [news for news in conversation.of(Lost) if isinstance(news, Lost)]
    assert lost[0].first_seq == 10
    missing = SeqSet((news.first_seq, news.last_seq) for news in lost)
    assert SeqSet((seq, seq) for seq in conversation.seqs()).ranges == missing.missing(10, board.next_seq - 1)
    assert 195 <= min(conversation.seqs()) <= 205


def test_after_a_restart_of_the_host_what_is_missing_comes_first_and_nothing_twice() -> None:
    conversation = begun(simulated())
    conversation.run(20)
    conversation.take(conversation.session.close(moment(conversation.now_ms)))
    before = conversation.seqs()
    conversation.away(10)
    conversation.news.clear()
    conversation.open()
    conversation.run(10)
    assert conversation.seqs() == list(range(before[-1] + 1, before[-1] + 1 + len(conversation.seqs())))
    assert len(conversation.seqs()) >= 198
    assert conversation.seqs(late=True) == []
    for batch in conversation.batches():
        assert np.abs(batch.host_ms - (batch.seq + 1) * 100).max() <= STEP_MS + 3


def test_holes_of_an_earlier_session_are_filled_too() -> None:
    board = simulated()
    board.start(0)
    conversation = Conversation(board, stored={board.boot: SeqSet([(0, 19), (25, 49)])})
    conversation.away(5)
    conversation.open()
    conversation.run(3)
    assert conversation.seqs(late=True) == [20, 21, 22, 23, 24]
    assert conversation.seqs(late=False) == list(range(50, board.next_seq))


def test_readings_from_before_the_first_sight_of_a_boot_are_asked_for_but_not_called_lost() -> None:
    board = simulated(ring=50)
    board.start(0)
    conversation = Conversation(board)
    conversation.away(30)
    conversation.open()
    conversation.run(3)
    assert 245 <= min(conversation.seqs()) <= 255
    assert conversation.of(Lost) == []


def test_a_reboot_is_told_and_what_was_open_is_lost() -> None:
    conversation = begun(simulated())
    conversation.run(5)
    old_boot = conversation.board.boot
    conversation.deaf = True
    conversation.run(0.6, lose=[52])
    conversation.deaf = False
    conversation.board.start(conversation.now_ms)
    conversation.run(5)
    boot = conversation.board.boot
    assert conversation.of(Rebooted) == [Rebooted("shelf-2", old_boot, boot)]
    assert conversation.of(Lost) == [Lost("shelf-2", old_boot, 52, 52)]
    new = [seq for batch in conversation.batches() if batch.boot == boot for seq in batch.seq.tolist()]
    assert new == list(range(len(new)))
    assert len(new) >= 47


def test_lines_that_waited_in_a_buffer_for_the_host_are_placed_when_they_were_made() -> None:
    board = simulated(cadence_ms=1_000, ring=3_600)
    board.start(0)
    conversation = Conversation(board, now_ms=60_000)
    stale = board.run(10_000)  # ten lines lay in the buffer for 50 s
    conversation.open()
    conversation.take(conversation.session.receive(stale, moment(60_000)))
    conversation.run(5)
    for batch in conversation.batches():
        assert np.abs(batch.host_ms - (batch.seq + 1) * 1_000).max() <= STEP_MS + 3
    assert conversation.of(ClockAnomaly) == []


def test_a_board_that_starts_again_under_its_old_boot_number_is_told_once() -> None:
    board = simulated()
    no_randomness = board._random.getstate()
    conversation = begun(board)
    boot = board.boot
    conversation.run(5)
    board._random.setstate(no_randomness)
    board.start(conversation.now_ms)
    conversation.run(3)
    assert conversation.of(BootReused) == [BootReused("shelf-2", boot)]
    anomaly = conversation.of(ClockAnomaly)[0]
    assert isinstance(anomaly, ClockAnomaly)
    assert anomaly.jump.fault is ClockFault.BACKWARDS
    assert conversation.seqs() == list(range(len(conversation.seqs())))


def test_what_the_end_of_a_replay_leaves_out_is_lost_at_once_and_what_is_damaged_is_asked_for_again() -> None:
    session = LinkSession(WireParser(), moment(0), stored=lambda board, boot: [(0, 9)])
    hello = Hello("a", "00000001", "f", "s", ("x_counts",), ("counts",), 1_000, 100)
    live = Reading("a", "00000001", 20, 20_000, ("x_counts",), (1.0,), 0, False)
    session.receive(encode_hello(hello) + encode_reading(live), moment(30_000))
    assert encode_replay_request("00000001", 10, 19) in session.take_outgoing()

    replayed = [live._replace(seq=seq, board_ms=seq * 1_000, replayed=True) for seq in (15, 16, 18, 19)]
    end = encode_end(ReplayEnd("a", "00000001", 15, 19))  # 17 was damaged on its way
    news = session.receive(b"".join(map(encode_reading, replayed)) + end, moment(30_100))
    assert [item for item in news if isinstance(item, Lost)] == [Lost("a", "00000001", 10, 14)]
    assert session.take_outgoing() == encode_replay_request("00000001", 17, 17)


def test_questions_that_are_never_answered_are_forgotten() -> None:
    conversation = begun(simulated(cadence_ms=1_000))
    conversation.run(1.1)
    conversation.deaf = True
    conversation.run(600)
    assert len(conversation.session._asked_ms) <= 4


def test_a_silent_port_is_asked_who_it_is_at_once_then_every_three_seconds_then_seldom() -> None:
    session = LinkSession(WireParser(), moment(0), stored=lambda board, boot: ())
    asked_ms = [0]
    assert session.take_outgoing() == b"bk1 hello? ~AB50\n"
    for now_ms in range(100, 120_000, 100):
        assert session.next_deadline_ms is not None
        assert session.tick(moment(now_ms)) == []
        if session.take_outgoing():
            asked_ms.append(now_ms)
    assert asked_ms[:10] == list(range(0, 30_000, 3_000))
    assert asked_ms[10:] == [57_000, 87_000, 117_000]


def test_time_is_asked_for_when_a_board_is_heard_and_each_minute() -> None:
    conversation = begun(simulated())
    asked: list[int] = []
    original = conversation.board.receive

    def listening(data: bytes, now_ms: int) -> None:
        asked.extend(now_ms for line in data.splitlines() if "Time" in type(parse_request(line)).__name__)
        original(data, now_ms)

    conversation.board.receive = listening  # type: ignore[method-assign]
    conversation.run(125)
    assert asked == [20, 60_020, 120_020]


def test_a_chunk_of_many_boots_and_kinds_is_taken_apart_in_order() -> None:
    session = LinkSession(WireParser(), moment(0), stored=lambda board, boot: ())
    first = Reading("a", "00000001", 0, 10, ("uva_counts",), (1.0,), 0, False)
    second = Reading("a", "00000002", 0, 10, ("uva_counts",), (2.0,), int(Mark.SATURATED), False)
    hello = Hello("a", "00000002", "f", "s", ("uva_counts",), ("counts",), 100, 0)
    data = encode_reading(first) + b"noise\n" + encode_hello(hello) + encode_reading(second)
    news = session.receive(data, moment(5_000)) + session.close(moment(5_001))
    kinds = [type(item).__name__ for item in news]
    assert kinds == ["BoardIdentified", "Garbage", "ReadingBatch", "Rebooted", "Hello", "ReadingBatch"]
    last = news[-1]
    assert isinstance(last, ReadingBatch)
    assert (last.boot, last.values.tolist(), last.marks.tolist()) == ("00000002", [[2.0]], [1])
    assert session.counts.garbage_lines.total() == 1


def test_readings_with_other_channels_go_into_one_table_with_gaps() -> None:
    session = LinkSession(WireParser(), moment(0), stored=lambda board, boot: ())
    hello = Hello("a", "00000001", "f", "s", ("x_counts", "temperature_c"), ("counts", "degC"), 100, 0)
    readings = [
        Reading("a", "00000001", 0, 0, ("x_counts",), (1.0,), 0, False),
        Reading("a", "00000001", 1, 100, ("temperature_c", "x_counts"), (25.0, 2.0), 0, False),
        Reading("a", "00000001", 2, 200, (), (), int(Mark.FAULT), False),
        Reading("a", "00000001", 3, 300, ("y_counts",), (3.0,), 0, False),
    ]
    data = encode_hello(hello) + b"".join(map(encode_reading, readings))
    news = session.receive(data, moment(1_000)) + session.close(moment(1_001))
    batches = session_batches(news)
    assert len(batches) == 1
    assert batches[0].channels == ("x_counts", "temperature_c", "y_counts")
    nan = math.nan
    np.testing.assert_array_equal(
        batches[0].values, [[1, nan, nan], [2, 25, nan], [nan, nan, nan], [nan, nan, 3]]
    )


def test_a_mapped_board_is_asked_nothing_and_placed_by_its_arrival() -> None:
    parser = MappedParser(LineMapping("csv", {"uva_counts": 0}), "shed", "0000000a")
    session = LinkSession(parser, moment(0), stored=lambda board, boot: (), mapped=True)
    news = session.receive(b"cut\n1\n2\n3\n", moment(7_000))
    news += session.receive(b"4\n", moment(8_000))
    assert session.take_outgoing() == b""
    assert session.next_deadline_ms is None
    batches = session_batches(news)
    assert [batch.host_ms.tolist() for batch in batches] == [[6_998, 6_999, 7_000], [8_000]]
    assert [batch.values[:, 0].tolist() for batch in batches] == [[1, 2, 3], [4]]


def test_a_mapped_board_with_a_time_of_its_own_is_placed_by_it() -> None:
    mapping = LineMapping("csv", {"uva_counts": 0}, board_ms=1)
    session = LinkSession(
        MappedParser(mapping, "shed", "0000000a"), moment(0), stored=lambda board, boot: (), mapped=True
    )
    news = session.receive(b"cut\n1,1000\n2,2000\n3,3000\n", moment(7_000))
    batches = session_batches(news)
    assert [batch.host_ms.tolist() for batch in batches] == [[5_000, 6_000, 7_000]]


def test_times_rise_with_the_sequence_even_where_the_alignment_learns_better() -> None:
    mapping = LineMapping("csv", {"uva_counts": 0}, board_ms=1)
    session = LinkSession(
        MappedParser(mapping, "shed", "0000000a"), moment(0), stored=lambda board, boot: (), mapped=True
    )
    news = session.receive(b"cut\n1,1000\n", moment(7_000))  # it lay in a buffer for 2.9 s
    news += session.receive(b"2,1100\n3,3000\n", moment(7_100))
    assert np.concatenate([batch.host_ms for batch in session_batches(news)]).tolist() == [
        7_000,
        7_001,
        7_100,
    ]


def test_closing_hands_on_what_waits_and_what_the_last_line_amounts_to() -> None:
    conversation = begun(simulated())
    conversation.run(5)
    conversation.deaf = True
    conversation.run(0.3, lose=[50])
    held = conversation.board.next_seq - 51
    assert 0 < held == conversation.board.next_seq - 1 - conversation.seqs()[-1] - 1
    conversation.take(conversation.session.close(moment(conversation.now_ms)))
    assert conversation.seqs()[-1] == conversation.board.next_seq - 1
    assert conversation.of(Lost) == []


def test_two_links_that_claim_one_board_are_told_once_and_the_newer_is_believed() -> None:
    claims = BoardClaims()
    assert claims.claim("a", 1) is None
    assert claims.claim("a", 1) is None
    assert claims.claim("a", 2) == DuplicateBoard("a", older_link=1, newer_link=2)
    assert claims.claim("a", 1) is None
    assert claims.speaks_for("a", 2)
    assert not claims.speaks_for("a", 1)
    claims.release(2)
    assert claims.claim("a", 1) is None
    assert claims.speaks_for("a", 1)
    assert claims.claim("a", 3) == DuplicateBoard("a", older_link=1, newer_link=3)


def test_what_waits_behind_a_gap_is_bounded() -> None:
    session = LinkSession(WireParser(), moment(0), stored=lambda board, boot: [(0, 9)])
    hello = Hello("a", "00000001", "f", "s", ("x_counts",), ("counts",), 100, 100_000)
    assert not session_batches(session.receive(encode_hello(hello), moment(10)))
    waiting = [
        Reading("a", "00000001", seq, seq, ("x_counts",), (1.0,), 0, False) for seq in range(20, 5_000)
    ]
    lines = [encode_reading(reading) for reading in waiting]
    assert not session_batches(session.receive(b"".join(lines[:4_000]), moment(20)))
    released = session_batches(session.receive(b"".join(lines[4_000:]), moment(30)))
    assert [len(batch) for batch in released] == [4_980]


def test_identities_that_come_without_end_are_bounded() -> None:
    session = LinkSession(WireParser(), moment(0), stored=lambda board, boot: ())
    for number in range(100):
        reading = Reading(f"b{number}", "00000001", 0, 0, ("x_counts",), (1.0,), 0, False)
        session.receive(encode_reading(reading), moment(number))
    assert len(session.boards) == 32


def session_batches(news: list[News]) -> list[ReadingBatch]:
    return [item for item in news if isinstance(item, ReadingBatch)]


noise_levels = st.builds(
    NoiseLevel,
    drop=st.sampled_from([0.0, 0.02, 0.3]),
    flip=st.sampled_from([0.0, 0.02, 0.2]),
    split=st.sampled_from([0.0, 0.02]),
    duplicate=st.sampled_from([0.0, 0.05]),
    garbage=st.sampled_from([0.0, 0.05]),
)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    seed=st.integers(0, 2**32),
    level=noise_levels,
    ring=st.sampled_from([0, 20, 500]),
    away_s=st.sampled_from([0, 4, 40]),
)
def test_over_a_bad_line_every_reading_comes_once_or_is_called_lost(
    seed: int, level: NoiseLevel, ring: int, away_s: int
) -> None:
    conversation = begun(simulated(seed=seed, noise=level, ring=ring))
    conversation.run(15)
    unfilled: set[int] = set()
    if away_s:
        unfilled = set(range(conversation.board.next_seq)) - set(conversation.seqs())
        conversation.take(conversation.session.close(moment(conversation.now_ms)))
        conversation.away(away_s)
        conversation.open()
        conversation.run(15)
    conversation.board._noise = None
    conversation.run(25)

    counts = Counter(conversation.seqs())
    assert set(counts.values()) == {1}
    lost = {
        seq
        for news in conversation.of(Lost)
        if isinstance(news, Lost)
        for seq in range(news.first_seq, news.last_seq + 1)
    }
    expected_seqs = set(range(min(counts), conversation.board.next_seq))
    # What was open when the link closed is not called lost by the next one, which cannot know of it.
    assert expected_seqs - unfilled <= set(counts) | lost
    if ring == 500 and level.drop + level.flip < 0.05:
        assert len(lost) == 0
    for batch in conversation.batches():
        assert np.all(np.diff(batch.seq) > 0)
        true_ms = (batch.seq + 1) * 100
        assert np.abs(batch.host_ms - true_ms).max() <= 2 * STEP_MS
        expected = [list(channels_at(at_ms).values()) for at_ms in true_ms]
        np.testing.assert_allclose(batch.values, expected, atol=1e-6)
    if not away_s:
        in_order = conversation.seqs(late=False)
        assert in_order == sorted(in_order)


@pytest.mark.parametrize("kind", [Garbage, Hello])
def test_what_the_parser_says_beside_readings_is_passed_on(kind: type) -> None:
    session = LinkSession(WireParser(), moment(0), stored=lambda board, boot: ())
    hello = Hello("a", "00000001", "f", "s", ("x_counts",), ("counts",), 100, 0)
    news = session.receive(b"\x00\xff what\n" + encode_hello(hello), moment(10))
    assert len([item for item in news if isinstance(item, kind)]) == 1
