from collections.abc import Iterator
from pathlib import Path

import pytest

from firmware_host.clock import SystemClock
from firmware_host.ports import Port, PortWish, find_ports
from firmware_host.simulated.bench import PtyBench
from firmware_host.simulated.board import BoardModel, SimulatedBoard
from ingest.config import parse_config
from ingest.survey import Survey, survey
from tests.ingest.rig import CONFIG, PlainBoard

CLOCK = SystemClock()


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[PtyBench]:
    with PtyBench(tmp_path) as bench:
        yield bench


def board(name: str, cadence_ms: int = 50) -> SimulatedBoard:
    model = BoardModel(name, {"uva_counts": "counts"}, cadence_ms=cadence_ms)
    return SimulatedBoard(model, lambda _: {"uva_counts": 612.0}, seed=1)


def look(*patterns: str, listen_s: float = 15.0, config: str | None = None) -> Survey:
    def ports() -> list[Port]:
        return find_ports([PortWish(pattern) for pattern in patterns], listing=tuple)

    settings = None if config is None else parse_config(config, file=Path("baskline.toml"))
    return survey(ports, settings, CLOCK, listen_s=listen_s)


def test_boards_are_found_with_what_they_say_of_themselves_and_their_latest_numbers(bench: PtyBench) -> None:
    for name in ("rock-1", "moss-2"):
        bench.add(board(name), CLOCK.moment().mono_ms)
    started_ms = CLOCK.moment().mono_ms
    with bench.running(CLOCK):
        found = look(bench.pattern)
    assert CLOCK.moment().mono_ms - started_ms < 10_000  # it ends as soon as everybody was heard
    assert set(found.boards) == {"rock-1", "moss-2"}
    rock = found.boards["rock-1"]
    assert rock.port.endswith("board-rock-1")
    assert rock.hello is not None
    assert rock.hello.cadence_ms == 50
    assert rock.n_readings >= 1
    assert rock.latest == {"uva_counts": 612.0}
    assert found.silent_ports() == []
    assert found.problems == []


def test_a_port_on_which_nobody_speaks_is_named(bench: PtyBench, tmp_path: Path) -> None:
    dumb = bench.add(board("dumb-1"), CLOCK.moment().mono_ms)  # nobody drives it
    found = look(bench.pattern, listen_s=0.3)
    assert [port.path for port in found.silent_ports()] == [str(dumb.name)]
    assert found.boards == {}


def test_a_port_that_cannot_be_opened_is_a_problem_and_not_silence(bench: PtyBench) -> None:
    found = look("/dev/no-such-port", listen_s=5)
    [problem] = found.problems
    assert "no such port" in problem.error.what
    assert found.silent_ports() == []


def test_a_plain_board_is_noise_until_its_mapping_is_known(bench: PtyBench) -> None:
    model = BoardModel("plain", {"uva_counts": "counts"}, cadence_ms=20)
    plain = bench.add(PlainBoard(model, lambda _: {"uva_counts": 613.0}, seed=1), CLOCK.moment().mono_ms)
    mapping = f'mapping = {{ format = "csv", channels = {{ uva_counts = 0 }}, port = "{plain.name}" }}\n'
    with bench.running(CLOCK):
        found = look(bench.pattern, listen_s=0.5)
        assert found.boards == {}
        assert found.garbage[str(plain.name)] > 10
        found = look(bench.pattern, listen_s=0.5, config=CONFIG.replace("[enclosure", mapping + "[enclosure"))
    assert found.boards["rock-1"].latest == {"uva_counts": 613.0}
    assert found.boards["rock-1"].n_readings > 5
