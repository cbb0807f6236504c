"""Stores in a temporary folder, and readings to put into them."""

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from firmware_host.clock import Moment
from ingest.store.batch import StampedBatch
from ingest.store.store import Store

NOON_MS = 1_750_000_000_000 // 60_000 * 60_000

BatchMaker = Callable[..., StampedBatch]


@pytest.fixture(scope="session")
def noon_ms() -> int:
    """A moment at which all test readings begin; a whole minute."""
    return NOON_MS


@pytest.fixture(scope="session")
def moment() -> Moment:
    return Moment(mono_ms=5_000, wall_ms=NOON_MS, synchronised=True)


@pytest.fixture(scope="session")
def make_batch() -> BatchMaker:
    """Return readings with the given sequence numbers, one a second, whose values tell where they belong."""

    def make(
        seq: object, *, board: str = "fern-1", boot: str = "0a1b2c3d", start_ms: int = NOON_MS, marks: int = 0
    ) -> StampedBatch:
        numbers = np.array(seq, np.int64)
        return StampedBatch(
            board=board,
            boot=boot,
            channels=("uva_counts", "temperature_c"),
            seq=numbers,
            utc_ms=start_ms + numbers * 1000,
            values=np.column_stack([numbers + 0.5, np.full(len(numbers), 31.7)]),
            marks=np.full(len(numbers), marks, np.uint32),
        )

    return make


@pytest.fixture
def store_path(tmp_path: Path) -> Path:
    return tmp_path / "baskline.db"


@pytest.fixture
def store(store_path: Path, moment: Moment) -> Iterator[Store]:
    """An open store that may append."""
    with Store.open(store_path) as opened:
        opened.begin_run(moment)
        yield opened
