"""The daemon as a process on boards at real speed: ends, deaths, cables."""

import sys
import threading
from collections.abc import Callable

from baskline.caution import LAMP_CAUTION
from firmware_host.simulated.bench import PtyBench
from tests.baskline.running import CLOCK, Daemon, Room, now_ms, until
from tests.ingest.rig import Board, PlainBoard, every_reading

Run = Callable[..., Daemon]


def plugged(ports: PtyBench, identity: str = "rock-1", **options: object) -> Board:
    board = Board(identity, cadence_ms=50, replay_lines_per_s=2_000, **options)  # type: ignore[arg-type]
    ports.add(board.simulated, now_ms())
    return board


def whole(seqs: list[int], n: int = 0) -> bool:
    """Return whether no number from 0 on is missing and none is there twice, and there are at least `n`.

    In order of time they need not be: on a busy machine two runs may place a board's readings some tens of
    milliseconds apart, and these boards speak every 50.
    """
    return len(seqs) >= n and sorted(seqs) == list(range(len(seqs)))


def until_whole(room: Room, board: Board) -> None:
    """Wait until everything that the board has measured by now is stored."""
    boot, n = board.simulated.boot, board.simulated.next_seq
    until(lambda: whole(room.seqs().get(boot, []), n), f"{n} readings without a gap")


def test_a_stop_is_clean_and_everything_heard_is_stored(room: Room, ports: PtyBench, run: Run) -> None:
    board = plugged(ports)
    daemon = run()
    room.until_stored(40)
    heard = board.simulated.next_seq
    code, error = daemon.stop()
    assert (code, error) == (0, f"{LAMP_CAUTION}\n")  # said once, at the first run
    assert daemon.lines[-1]["what"] == "stopped"
    [seqs] = room.seqs().values()
    assert whole(seqs)
    # What had left the board by then, but for what was still on the line.
    assert len(seqs) >= heard - 3


def test_a_stop_comes_at_once_though_nothing_is_plugged_in(room: Room, run: Run) -> None:
    daemon = run()
    began_ms = now_ms()
    assert daemon.stop()[0] == 0
    assert now_ms() - began_ms < 2_000


def test_killed_again_and_again_it_loses_and_doubles_nothing(room: Room, ports: PtyBench, run: Run) -> None:
    board = plugged(ports)
    for n in (30, 55, 90, 120):
        daemon = run()
        room.until_stored(n)
        before = room.seqs()
        daemon.kill()
        after = room.seqs()
        for boot, seqs in before.items():
            assert after[boot][: len(seqs)] == seqs  # what was stored once is there
    daemon = run()
    until_whole(room, board)
    daemon.stop()
    [seqs] = room.seqs().values()
    assert whole(seqs)


def test_a_board_replugged_elsewhere_is_the_same_and_its_gap_is_filled(
    room: Room, ports: PtyBench, run: Run
) -> None:
    board = plugged(ports)
    daemon = run()
    room.until_stored(20)
    ports.unplug("rock-1", keep_power=True)
    daemon.until_logged("port closed")
    missed = board.simulated.next_seq
    until(lambda: board.simulated.next_seq > missed + 20, "readings that nobody hears")
    taken = PtyBench(room.folder)  # takes the number that the terminal had, so that the next is another one
    taken.add(Board("other").simulated, now_ms())
    ports.plug("rock-1", now_ms())
    until_whole(room, board)
    daemon.stop()
    taken.close()
    [seqs] = room.seqs().values()
    assert whole(seqs)


def test_a_board_without_power_for_a_while_comes_back_under_a_new_boot(
    room: Room, ports: PtyBench, run: Run
) -> None:
    plugged(ports)
    daemon = run()
    room.until_stored(20)
    ports.unplug("rock-1")
    daemon.until_logged("port closed")
    ports.plug("rock-1", now_ms())
    until(lambda: len(room.seqs()) == 2, "the second boot")
    until(lambda: all(len(seqs) >= 15 for seqs in room.seqs().values()), "some readings of it")
    daemon.stop()
    assert all(whole(seqs) for seqs in room.seqs().values())


def test_a_plain_board_is_read_by_its_mapping(room: Room, ports: PtyBench, run: Run) -> None:
    board = Board("plain")
    plain = PlainBoard(board.simulated.model, board.simulated._channels_at, seed=1)
    ports.add(plain, now_ms())
    room.configure(
        mapping='mapping = { format = "csv", channels = { uva_counts = 0, temperature_c = 1 }, '
        f'port = "{ports.pattern}" }}\n'
    )
    daemon = run()
    room.until_stored(2)
    daemon.stop()
    [seqs] = room.seqs().values()
    assert whole(seqs)
    [day] = [room.command("day", "ledge", "--json")]
    assert day.returncode == 0
    assert '"peak_uvi": 1.8' in day.stdout


def test_a_capture_of_a_run_replayed_gives_the_runs_own_store(room: Room, ports: PtyBench, run: Run) -> None:
    plugged(ports)
    daemon = run("--capture", str(room.folder / "run.capture"))
    room.until_stored(60)
    ports.unplug("rock-1", keep_power=True)
    daemon.until_logged("port closed")
    ports.plug("rock-1", now_ms())
    room.until_stored(120)
    daemon.stop()
    again = room.folder / "again.db"
    done = room.command("replay", str(room.folder / "run.capture"), "--store", str(again))
    assert (done.returncode, done.stderr) == (0, "")
    with room.look() as live:
        readings = every_reading(live, ["rock-1"])
    room.store_file = again
    with room.look() as replayed:
        assert every_reading(replayed, ["rock-1"]) == readings


def test_a_fault_of_ours_is_logged_with_its_traceback_and_costs_no_reading(
    room: Room, ports: PtyBench, run: Run
) -> None:
    board = plugged(ports)
    broken = room.folder / "broken.py"
    broken.write_text(
        "import sys\n"
        "from ingest.live_spot import LiveSpot\n"
        "sound = LiveSpot.take\n"
        "def take(spot, batch):\n"
        "    if batch.seq[-1] > 60: raise ZeroDivisionError('as if there were a bug')\n"
        "    return sound(spot, batch)\n"
        "LiveSpot.take = take\n"
        "from baskline.app import main\n"
        "main()\n"
    )
    daemon = run(command=[sys.executable, str(broken)])
    code, error = daemon.ended()
    assert code == 70
    assert "report it" in error
    [fault] = [line for line in daemon.lines if "traceback" in line]
    assert "as if there were a bug" in str(fault["traceback"])
    [seqs] = room.seqs().values()
    assert whole(seqs)
    assert seqs[-1] > 60
    assert board.simulated.next_seq > 60


def test_two_stops_in_a_row_end_as_cleanly_as_one(room: Room, ports: PtyBench, run: Run) -> None:
    plugged(ports)
    daemon = run()
    room.until_stored(20)
    ended = threading.Event()

    def stop_and_stop() -> None:
        while not ended.is_set() and daemon.process.poll() is None:
            daemon.process.terminate()
            CLOCK.wait_s(0.001)

    impatient = threading.Thread(target=stop_and_stop)
    impatient.start()
    code, error = daemon.ended()
    ended.set()
    impatient.join()
    # Once the interpreter itself ends, a signal ends the process as any other.
    assert code in (0, -15)
    assert "Traceback" not in error
    [seqs] = room.seqs().values()
    assert whole(seqs)


def test_on_a_pipe_every_line_of_the_log_is_json(room: Room, ports: PtyBench, run: Run) -> None:
    plugged(ports)
    daemon = run()
    room.until_stored(5)
    assert daemon.stop()[0] == 0  # the reader would have ended at a line that is no JSON
    assert all({"at", "level", "part", "what"} <= line.keys() for line in daemon.lines)
    assert [line["what"] for line in daemon.lines].count("board identified") == 1
    again = run()
    room.until_stored(30)
    assert again.stop() == (0, "")
