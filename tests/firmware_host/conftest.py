from collections.abc import Iterator
from pathlib import Path

import pytest

from firmware_host.simulated.bench import PtyBench


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[PtyBench]:
    """Simulated boards behind pseudo-terminals."""
    with PtyBench(tmp_path) as bench:
        yield bench
