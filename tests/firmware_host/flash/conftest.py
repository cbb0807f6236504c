import importlib.util
import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.hardware.firmware_bench import FirmwareBench


@pytest.fixture
def make_bench(tmp_path: Path) -> Iterator[Callable[..., FirmwareBench]]:
    """Boards with real MicroPython behind pseudo-terminals."""
    benches: list[FirmwareBench] = []

    def make(**options: object) -> FirmwareBench:
        bench = FirmwareBench(tmp_path / f"board{len(benches)}", **options)  # type: ignore[arg-type]
        bench.plug()
        benches.append(bench)
        return bench

    yield make
    for bench in benches:
        bench.unplug()


@pytest.fixture(autouse=True)
def mpremote_is_there() -> None:
    if importlib.util.find_spec("mpremote") is None:
        if "CI" in os.environ:
            pytest.fail("mpremote is not installed; it is one of the test dependencies")
        pytest.skip("mpremote is not installed")
