"""Flashing real MicroPython behind a pseudo-terminal by the real mpremote."""

import hashlib
import json
import os
import tty
from collections.abc import Callable
from pathlib import Path

import pytest

from firmware_host.clock import SystemClock
from firmware_host.firmware_files import firmware_files
from firmware_host.flash import (
    BoardState,
    FlashError,
    Mpremote,
    Plan,
    change_settings,
    check_settings,
    install,
    look_at_board,
    plan_install,
    restart,
)
from firmware_host.messages import Hello
from firmware_host.simulated.bench import PtyBench
from firmware_host.simulated.board import BoardModel, SimulatedBoard
from firmware_host.wire import encode_hello_request
from tests.hardware.firmware_bench import FirmwareBench
from tests.hardware.listening import Host

MakeBench = Callable[..., FirmwareBench]

FILES = firmware_files()


def flash(bench: FirmwareBench, files: dict[str, bytes] = FILES, *, overwrite: bool = False) -> Plan:
    tool = Mpremote(bench.port)
    there = look_at_board(tool, files)
    plan = plan_install(files, there)
    install(tool, plan, there, overwrite=overwrite)
    return plan


def on_board(bench: FirmwareBench) -> dict[str, bytes]:
    return {
        path.relative_to(bench.folder).as_posix(): path.read_bytes() for path in bench.folder.rglob("*.py")
    }


def test_a_bare_board_becomes_a_baskline_board_that_says_hello(make_bench: MakeBench) -> None:
    bench = make_bench(bare=True)
    plan = flash(bench)
    assert set(plan.write) == set(FILES)
    assert on_board(bench) == FILES
    assert not (bench.folder / "baskline-new").exists()
    tool = Mpremote(bench.port)
    kept = change_settings(tool, {"cadence_ms": 400, "label": "rock, left"})
    assert (kept["cadence_ms"], kept["label"]) == (400, "rock, left")
    restart(tool)
    host = Host(bench.port)
    try:
        host.say(encode_hello_request())
        hello = host.hear(Hello)[0]
    finally:
        host.close()
    assert (hello.board, hello.cadence_ms) == (bench.identity, 400)


def test_the_look_names_the_board_as_it_will_call_itself_and_changes_nothing(make_bench: MakeBench) -> None:
    bench = make_bench(bare=True, unique_id="0123456789abcdef")
    before = sorted(path.name for path in bench.folder.iterdir())
    there = look_at_board(Mpremote(bench.port), FILES)
    assert there.identity == "uv-0123456789abcdef"
    assert there.version >= (1, 24)
    assert (there.files, there.written) == ({}, {})
    assert there.free_bytes > 100_000
    assert sorted(path.name for path in bench.folder.iterdir()) == before


def test_a_second_flashing_finds_nothing_to_do(make_bench: MakeBench) -> None:
    bench = make_bench(bare=True)
    flash(bench)
    assert flash(bench) == Plan(FILES, (), (), ())


def test_an_older_firmware_of_ours_is_replaced_and_what_it_had_more_is_removed(make_bench: MakeBench) -> None:
    bench = make_bench(bare=True)
    older = {**FILES, "main.py": b"print('older')\n", "chips/old.py": b"TABLE = {}\n"}
    flash(bench, older)
    plan = flash(bench)
    assert (plan.write, plan.remove, plan.foreign) == (("main.py",), ("chips/old.py",), ())
    assert on_board(bench) == FILES


def test_a_running_firmware_with_its_watchdog_is_replaced_in_place(make_bench: MakeBench) -> None:
    bench = make_bench(prompt=True, settings={"cadence_ms": 200})
    (bench.folder / "wire.py").write_bytes(FILES["wire.py"] + b"# changed by hand\n")
    with pytest.raises(FlashError, match=r"wire\.py.*--overwrite"):
        flash(bench)
    assert b"changed by hand" in (bench.folder / "wire.py").read_bytes()
    flash(bench, overwrite=True)
    assert on_board(bench) == FILES


@pytest.mark.parametrize("path", ["main.py", "chips/ltr390.py"])
def test_what_somebody_else_put_there_is_never_overwritten_untold(make_bench: MakeBench, path: str) -> None:
    bench = make_bench(bare=True)
    (bench.folder / "chips").mkdir()
    (bench.folder / path).write_text("# somebody's own\n")
    (bench.folder / "notes.py").write_text("# of no interest to the firmware\n")
    with pytest.raises(FlashError, match="that baskline did not write") as refused:
        flash(bench)
    assert refused.value.where == bench.port
    assert path in refused.value.what
    assert set(on_board(bench)) == {path, "notes.py"}
    flash(bench, overwrite=True)
    assert on_board(bench) == {**FILES, "notes.py": b"# of no interest to the firmware\n"}


def test_a_file_of_ours_that_was_changed_since_is_somebodys_own(make_bench: MakeBench) -> None:
    bench = make_bench(bare=True)
    older = {**FILES, "main.py": b"print('older')\n", "chips/old.py": b"TABLE = {}\n"}
    flash(bench, older)
    for path in ("main.py", "chips/old.py"):
        (bench.folder / path).write_text("# changed by hand\n")
    there = look_at_board(Mpremote(bench.port), FILES)
    plan = plan_install(FILES, there)
    assert (plan.foreign, plan.remove) == (("main.py",), ())


def test_files_that_arrive_wrong_replace_nothing(
    make_bench: MakeBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = make_bench(bare=True)
    flash(bench, {**FILES, "main.py": b"print('older')\n"})
    real = Plan.sums.fget
    assert real is not None
    wrong_sum = hashlib.sha256(b"what should have come").hexdigest()
    monkeypatch.setattr(Plan, "sums", property(lambda plan: {**real(plan), "main.py": wrong_sum}))
    with pytest.raises(FlashError, match=r"not what was sent: main\.py"):
        flash(bench)
    assert (bench.folder / "main.py").read_bytes() == b"print('older')\n"
    monkeypatch.undo()
    flash(bench)
    assert on_board(bench) == FILES


def test_a_copy_that_was_cut_short_leaves_the_old_firmware_and_is_made_good_by_the_next(
    make_bench: MakeBench,
) -> None:
    bench = make_bench(bare=True)
    flash(bench, {**FILES, "main.py": b"print('older')\n"})
    (bench.folder / "baskline-new").mkdir()
    (bench.folder / "baskline-new" / "main.py").write_bytes(FILES["main.py"][:100])
    assert flash(bench).write == ("main.py",)
    assert on_board(bench) == FILES


def test_what_an_older_copy_left_takes_no_room_and_is_removed(make_bench: MakeBench) -> None:
    bench = make_bench(bare=True)
    room = look_at_board(Mpremote(bench.port), FILES).free_bytes
    left = bench.folder / "baskline-new" / "chips"
    left.mkdir(parents=True)
    (left / "of_an_older_one.py").write_bytes(b"#" * 8_000_000)
    # The computer's own disk is used by others meanwhile: what matters is that the 8 MB count as free.
    assert look_at_board(Mpremote(bench.port), FILES).free_bytes > room - 4_000_000
    flash(bench)
    assert on_board(bench) == FILES
    assert not (bench.folder / "baskline-new").exists()


def test_a_spoilt_list_of_what_was_written_counts_as_none(make_bench: MakeBench) -> None:
    bench = make_bench(bare=True)
    flash(bench)
    (bench.folder / "baskline.json").write_text('{"files": ')
    assert look_at_board(Mpremote(bench.port), FILES).written == {}
    flash(bench)
    assert set(json.loads((bench.folder / "baskline.json").read_text())["files"]) == set(FILES)


def test_a_board_that_is_too_full_is_left_alone() -> None:
    there = BoardState((1, 29), "small", "00", 50_000, {}, {})
    with pytest.raises(FlashError, match="48 kB left"):
        install(Mpremote("/dev/none"), plan_install(FILES, there), there)


@pytest.mark.parametrize(
    ("changes", "said"),
    [({"cadence_ms": 5}, "from 100 to 600000"), ({"label": "x" * 61}, "60"), ({"colour": 1}, "no setting")],
)
def test_settings_are_refused_by_the_firmwares_own_rules(
    make_bench: MakeBench, changes: dict[str, object], said: str
) -> None:
    with pytest.raises(FlashError, match=said):
        check_settings(changes)
    bench = make_bench(prompt=True)
    with pytest.raises(FlashError, match=said):
        change_settings(Mpremote(bench.port), changes)


def test_a_port_on_which_nobody_answers_is_left_after_a_while(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("firmware_host.flash.board_state.LOOK_TIMEOUT_S", 2)
    board_end, host_end = os.openpty()
    tty.setraw(host_end)
    with pytest.raises(FlashError, match="did not answer") as refused:
        look_at_board(Mpremote(os.ttyname(host_end)), FILES)
    assert "no MicroPython on it" in refused.value.remedy
    os.close(board_end)
    os.close(host_end)


def test_another_program_than_micropython_gives_no_prompt(tmp_path: Path) -> None:
    model = BoardModel("chatty", {"uv_counts": "counts"}, cadence_ms=100)
    clock = SystemClock()
    with PtyBench(tmp_path) as bench:
        board = bench.add(SimulatedBoard(model, lambda _: {"uv_counts": 1}, seed=1), clock.moment().mono_ms)
        with bench.running(clock), pytest.raises(FlashError, match="no MicroPython prompt") as refused:
            look_at_board(Mpremote(str(board.name)), FILES)
    assert "MicroPython on it first" in refused.value.remedy


def test_a_port_that_is_not_there_says_so() -> None:
    with pytest.raises(FlashError, match="cannot be opened"):
        look_at_board(Mpremote("/dev/ttyACM-none"), FILES)


def test_a_board_that_hangs_does_not_hang_the_host(make_bench: MakeBench) -> None:
    bench = make_bench(bare=True)
    started_ms = SystemClock().moment().mono_ms
    with pytest.raises(FlashError, match="did not answer"):
        Mpremote(bench.port).run(["exec", "while True: pass"], timeout_s=2)
    assert SystemClock().moment().mono_ms - started_ms < 10_000


def test_without_mpremote_it_is_said_what_to_type(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda _: None)
    with pytest.raises(FlashError, match=r"pip install 'baskline\[flash\]'"):
        Mpremote("/dev/ttyACM0")
