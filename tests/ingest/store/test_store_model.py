"""Random use of the readings against a model that is a plain dictionary."""

import contextlib
import shutil
import tempfile
from pathlib import Path

import numpy as np
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from firmware_host.clock import Moment
from ingest.store.batch import CLOCK_UNSURE_MARK, StampedBatch
from ingest.store.store import Store

NOON_MS = 1_750_000_020_000
EVER_MS = 2**52
BOARDS = ("fern-1", "moss-2")
BOOTS = ("00000001", "00000002")
CHANNELS = (("uva_counts",), ("uva_counts", "temperature_c"))


class ReadingsMachine(RuleBasedStateMachine):
    """Appends, packs, re-stamps, fails, opens again; after each step the store says what the model says."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp(prefix="baskline-model-"))
        self.store = Store.open(self.folder / "model.db")
        self.run_id = self.store.begin_run(Moment(0, NOON_MS, False))
        self.shift_ms = {self.run_id: 0}
        self.now_ms = NOON_MS
        # (board, boot, seq) -> [run, stamped ms, marks, channels, values]
        self.model: dict[tuple[str, str, int], list[object]] = {}
        self.mirrored: set[tuple[str, str, int]] = set()
        self.dirty: dict[str, set[int]] = {board: set() for board in BOARDS}

    def teardown(self) -> None:
        self.store.close()
        shutil.rmtree(self.folder)

    @rule(
        board=st.sampled_from(BOARDS),
        boot=st.sampled_from(BOOTS),
        channels=st.sampled_from(CHANNELS),
        first=st.integers(0, 40),
        steps=st.lists(st.integers(0, 3), max_size=8),
        jump_ms=st.sampled_from([0, 0, 0, 90_000_000]),
        many=st.sampled_from([False, False, False, True]),
        fails=st.sampled_from([False, False, False, True]),
    )
    def append(
        self,
        board: str,
        boot: str,
        channels: tuple[str, ...],
        first: int,
        steps: list[int],
        jump_ms: int,
        many: bool,
        fails: bool,
    ) -> None:
        seq = np.arange(first, first + 1500) if many else np.cumsum([first, *steps])
        n = len(seq)
        utc_ms = NOON_MS + self.shift_ms[self.run_id] + seq * 997 + jump_ms * (np.arange(n) > n // 2)
        values = np.column_stack([seq * 1.1 + column for column in range(len(channels))])
        marks = np.where(seq % 3 == 0, CLOCK_UNSURE_MARK, 1).astype(np.uint32)
        batch = StampedBatch(board, boot, channels, seq, utc_ms, values, marks)
        expected = []
        for at in range(n):
            key = (board, boot, int(seq[at]))
            if key not in self.model and key[2] not in expected:
                expected.append(key[2])
                if not fails:
                    stamped = int(utc_ms[at]) - self.shift_ms[self.run_id]
                    self.model[key] = [self.run_id, stamped, int(marks[at]), channels, values[at].tolist()]
                    self.dirty[board].add(int(utc_ms[at]) // 60_000)
        if fails:
            with contextlib.suppress(KeyError), self.store.transaction():
                new = self.store.readings.append([batch])
                self.store.readings.compact(self.now_ms + 20 * 60_000)
                raise KeyError
        else:
            new = self.store.readings.append([batch])
        assert [int(number) for fresh in new for number in fresh.seq] == expected

    @rule(minutes=st.integers(0, 20))
    def compact(self, minutes: int) -> None:
        self.now_ms += minutes * 60_000
        self.store.readings.compact(self.now_ms)

    @rule()
    def compact_to_the_end(self) -> None:
        self.now_ms += 20 * 60_000
        while self.store.readings.compact(self.now_ms):
            pass

    @rule(delta_ms=st.sampled_from([-86_400_000, -1500, 1, 3_600_000]), sure=st.booleans(), data=st.data())
    def restamp(self, delta_ms: int, sure: bool, data: st.DataObject) -> None:
        run_id = data.draw(st.sampled_from(sorted(self.shift_ms)))
        self.store.readings.restamp(run_id, delta_ms, clock_sure=sure)
        old_shift_ms = self.shift_ms[run_id]
        self.shift_ms[run_id] += delta_ms
        for (board, _, _), held in self.model.items():
            if held[0] == run_id:
                for shift_ms in (old_shift_ms, self.shift_ms[run_id]):
                    self.dirty[board].add((int(held[1]) + shift_ms) // 60_000)  # type: ignore[call-overload]
                if sure:
                    held[2] = int(held[2]) & ~CLOCK_UNSURE_MARK  # type: ignore[call-overload]
        self.mirrored -= {key for key, held in self.model.items() if held[0] == run_id}

    @rule()
    def open_again(self) -> None:
        self.store.close()
        self.store = Store.open(self.folder / "model.db")
        self.run_id = self.store.begin_run(Moment(0, NOON_MS, False))
        self.shift_ms[self.run_id] = 0

    @rule(limit=st.integers(1, 400))
    def mirror(self, limit: int) -> None:
        batches, position = self.store.readings.since(self.store.cursors.get("mirror"), limit)
        self.store.cursors.set("mirror", position)
        for batch in batches:
            self.mirrored.update((batch.board, batch.boot, int(number)) for number in batch.seq)
        if position == self.store.readings.position():
            assert self.mirrored >= set(self.model)

    @rule(board=st.sampled_from(BOARDS))
    def clean(self, board: str) -> None:
        for span in self.store.minutes.dirty():
            if span.board == board:
                self.store.minutes.clean(span)
        self.dirty[board].clear()

    @rule(
        board=st.sampled_from(BOARDS),
        from_ms=st.integers(NOON_MS - 100_000, NOON_MS + 100_000),
        length_ms=st.integers(0, 100_000),
    )
    def read_a_part(self, board: str, from_ms: int, length_ms: int) -> None:
        whole = _readings(self.store, board, 0, EVER_MS)
        part = _readings(self.store, board, from_ms, from_ms + length_ms)
        assert part == {key: held for key, held in whole.items() if from_ms <= held[0] < from_ms + length_ms}

    @invariant()
    def holds_what_the_model_holds(self) -> None:
        for board in BOARDS:
            expected = {
                key: (int(held[1]) + self.shift_ms[held[0]], *held[2:])  # type: ignore[call-overload, index]
                for key, held in self.model.items()
                if key[0] == board
            }
            assert _readings(self.store, board, 0, EVER_MS) == expected
            times = [held[0] for held in expected.values()]
            assert self.store.readings.extent(board) == ((min(times), max(times)) if times else None)
            for boot in BOOTS:
                known = {
                    seq for key_board, key_boot, seq in self.model if (key_board, key_boot) == (board, boot)
                }
                seen = self.store.readings.seen(board, boot)
                assert {number for first, last in seen for number in range(first, last + 1)} == known

    @invariant()
    def every_touched_minute_is_dirty(self) -> None:
        for board in BOARDS:
            marked = [span for span in self.store.minutes.dirty() if span.board == board]
            for minute in self.dirty[board]:
                assert any(span.from_ms <= minute * 60_000 < span.to_ms for span in marked)


def _readings(
    store: Store, board: str, from_ms: int, to_ms: int
) -> dict[tuple[str, str, int], tuple[int, ...]]:
    found = {}
    for batch in store.readings.between(board, from_ms, to_ms):
        assert (np.diff(batch.utc_ms) >= 0).all()
        for at in range(len(batch)):
            key = (batch.board, batch.boot, int(batch.seq[at]))
            assert key not in found
            values = batch.values[at].tolist()
            found[key] = (int(batch.utc_ms[at]), int(batch.marks[at]), batch.channels, values)
    return found  # type: ignore[return-value]


TestReadingsAgainstAModel = ReadingsMachine.TestCase
TestReadingsAgainstAModel.settings = settings(max_examples=40, stateful_step_count=25, deadline=None)
