"""`baskline check` with real ports, a real broker and a running daemon: what it finds, what it says to do."""

import json
import signal
import sqlite3
import subprocess
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from baskline.findings.clock import clock
from baskline.scenario import build
from firmware_host.clock import SystemClock
from ingest.config import load_config
from ingest.store.migrations import MIGRATIONS
from ingest.store.outbox import OutgoingMessage
from ingest.store.store import Store
from tests.baskline.making import PROGRAM, environment, fill, half_sine, room, said_here
from tests.baskline.plugged import MODEL, plugged, rock

TODAY = datetime.fromtimestamp(SystemClock().moment().wall_ms / 1000, UTC).date()
LATELY = (TODAY - timedelta(days=10)).isoformat()


def check(folder, *, seconds=8):
    """Return the exit code and what is to be mended, by part and subject."""
    said = said_here("check", "--json", "--seconds", seconds, folder=folder)
    assert said.err == ""
    document = json.loads(said.out)
    wrong = {(each["part"], each["subject"]): each for each in document["findings"] if not each["fine"]}
    assert document["fine"] == (not wrong) == (said.code == 0)
    for each in wrong.values():
        assert each["what"]
        assert each["do"], each  # every trouble says what to do
    return said.code, wrong, document["findings"]


def a_room(folder, **more) -> Path:
    room(folder, ports=f"{folder}/ports/*", made_on=LATELY, **more)
    return folder


def with_broker(port, **more):
    lines = "".join(f"{key} = {json.dumps(value)}\n" for key, value in more.items())
    return f'\n[mqtt]\nhost = "127.0.0.1"\nport = {port}\n{lines}'


def test_all_is_well_with_boards_and_a_broker(tmp_path, broker):
    home = a_room(tmp_path, more=with_broker(broker.port))
    with plugged(home / "ports", [rock()]):
        said = said_here("check", folder=home)
    assert said.code == 0, said.out
    lines = said.out.splitlines()
    assert lines[0] == "fine  configuration baskline.toml: 1 board, 1 spot"
    assert lines[1].startswith("fine  calibration ledge: ")
    assert lines[2] == "fine  store baskline.db: not there yet; `baskline run` makes it"
    assert lines[3] == f"fine  board rock-1: heard on {home}/ports/board-rock-1"
    assert lines[4].startswith(f"fine  broker 127.0.0.1:{broker.port}: a message went there and back in ")
    assert lines[5:] == ["", "All is well."]


def test_it_changes_nothing(tmp_path, broker):
    home = a_room(tmp_path, more=with_broker(broker.port))
    before = sorted(path.name for path in home.iterdir())
    check(home, seconds=1)
    assert sorted(path.name for path in home.iterdir()) == before


def test_words_say_what_to_do_under_each_trouble(tmp_path):
    home = a_room(tmp_path)
    said = said_here("check", "--seconds", "1", folder=home)
    assert said.code == 1
    assert (
        "MEND  board rock-1: not heard (Behind the slate)\n"
        "      Plug it in with a data cable; `baskline boards` shows what the ports say\n"
    ) in said.out
    assert said.out.endswith("\n1 to mend.\n")


def test_each_mistake_in_the_configuration_is_a_finding_of_its_own(tmp_path):
    home = a_room(tmp_path)
    text = (home / "baskline.toml").read_text()
    (home / "baskline.toml").write_text(
        text.replace('kind = "t5"', 'kind = "t9"').replace("band =", "bnad =")
    )
    code, wrong, found = check(home)
    assert code == 1
    assert len(wrong) == len(found) >= 2
    assert all(part == "configuration" for part, _ in wrong)
    assert any("lamp.tube.kind" in subject for _, subject in wrong)


def test_a_missing_configuration_is_a_finding(tmp_path):
    code, wrong, _ = check(tmp_path)
    assert code == 1
    assert list(wrong) == [("configuration", "baskline.toml")]


@pytest.mark.parametrize(
    ("spoil", "what", "do"),
    [
        (lambda home: (home / "ledge.toml").unlink(), "ledge.toml", ""),
        (lambda home: (home / "ledge.toml").write_text("format = 1\n"), "ledge.toml", ""),
        (lambda home: room(home, calibrated=False), "none, so this spot has no UVI", "[spot.ledge]"),
        (
            lambda home: room(home, made_on=(TODAY - timedelta(days=40)).isoformat(), valid_for_days=30),
            "40 days old, and valid for 30",
            "calibrate anew",
        ),
        (
            lambda home: (home / "ledge.toml").write_text(
                (home / "ledge.toml").read_text().replace('lamp_kind = "t5"', 'lamp_kind = "compact"')
            ),
            "made under compact, but the lamp is t5",
            "under its own lamp",
        ),
    ],
    ids=["missing", "damaged", "none", "too old", "other lamp"],
)
def test_a_calibration_that_does_not_hold_is_found(tmp_path, spoil, what, do):
    home = a_room(tmp_path)
    spoil(home)
    code, wrong, _ = check(home, seconds=1)
    assert code == 1
    finding = wrong["calibration", "ledge"]
    assert what in finding["what"]
    assert do in finding["do"]


def test_a_calibration_that_was_not_compared_up_to_the_bands_end_is_a_note(tmp_path):
    home = a_room(tmp_path)
    file = home / "ledge.toml"
    file.write_text(file.read_text().replace("uvi_range = [0.0, 9.0]", "uvi_range = [0.0, 1.8]"))
    _, wrong, findings = check(home, seconds=1)
    assert ("calibration", "ledge") not in wrong
    (note,) = [each for each in findings if each["part"] == "calibration"]
    assert "compared up to UVI 1.8, and the band goes to" in note["what"]
    assert "compare nearer to the lamp" in note["do"]


def test_a_store_that_cannot_be_used_is_found(tmp_path):
    home = a_room(tmp_path / "home")
    store = "baskline.db"
    (home / "baskline.db").write_text("not a store")
    assert "not a store" in check(home, seconds=1)[1]["store", store]["what"]

    (home / "baskline.db").unlink()
    fill(
        room(home, ports=f"{home}/ports/*", made_on=LATELY),
        date(2025, 5, 17),
        half_sine(2, 7, 11),
        every_s=600,
    )
    assert ("store", store) not in check(home, seconds=1)[1]
    with sqlite3.connect(home / store) as database:
        database.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")
    database.close()
    assert "newer version" in check(home, seconds=1)[1]["store", store]["do"]

    text = (home / "baskline.toml").read_text()
    (home / "baskline.toml").write_text(text.replace("[bridge]", '[bridge]\nstore = "nowhere/x.db"'))
    wrong = check(home, seconds=1)[1]["store", "nowhere/x.db"]
    assert "there is no folder" in wrong["what"]


def test_messages_that_wait_for_the_broker_are_counted_but_no_trouble(tmp_path):
    home = a_room(tmp_path)
    with Store.open(home / "baskline.db") as store:
        store.outbox.put(OutgoingMessage("a/topic", b"{}", qos=1, retain=False), 0)
    _, wrong, found = check(home, seconds=1)
    assert ("outbox", "baskline.db") not in wrong
    assert any(each["part"] == "outbox" and each["what"] == "1 message for the broker" for each in found)


def test_a_port_that_cannot_be_opened_is_found(tmp_path):
    home = a_room(tmp_path)
    (home / "ports").mkdir()
    (home / "ports" / "not-a-port").write_text("a file")
    code, wrong, _ = check(home, seconds=2)
    assert code == 1
    assert ("port", f"{home}/ports/not-a-port") in wrong


def test_a_board_without_the_channels_of_the_calibration_is_found(tmp_path):
    home = a_room(tmp_path)
    with plugged(home / "ports", [rock(replace(MODEL, units={"uvb_counts": "counts"}))]):
        code, wrong, _ = check(home)
    assert code == 1
    assert list(wrong) == [("channels", "ledge")]
    finding = wrong["channels", "ledge"]
    assert finding["what"] == "its calibration needs uva_counts, and board rock-1 reports uvb_counts"
    assert "[spot.ledge] sensor" in finding["do"]


def test_a_broker_that_does_not_answer_is_found(tmp_path):
    home = a_room(tmp_path, more=with_broker(9))
    with plugged(home / "ports", [rock()]):
        code, wrong, _ = check(home)
    assert code == 1
    assert list(wrong) == [("broker", "127.0.0.1:9")]
    assert wrong["broker", "127.0.0.1:9"]["what"] == "nothing answers on this port"


def test_a_broker_that_refuses_is_found(tmp_path, start_broker):
    refusing = start_broker("allow_anonymous false")
    home = a_room(tmp_path / "home", more=with_broker(refusing.port))
    _, wrong, _ = check(home, seconds=1)
    finding = wrong["broker", f"127.0.0.1:{refusing.port}"]
    assert "mqtt." in finding["do"]


def test_a_mirror_that_does_not_answer_is_found(tmp_path):
    home = a_room(tmp_path, more='[mirror]\nurl = "http://127.0.0.1:9"\norg = "home"\nbucket = "baskline"\n')
    _, wrong, _ = check(home, seconds=1)
    finding = wrong["mirror", "http://127.0.0.1:9"]
    assert finding["what"]
    assert finding["do"]


def test_a_missing_password_file_is_found(tmp_path, broker):
    home = a_room(tmp_path, more=with_broker(broker.port, username="bridge", password_file="secret"))
    _, wrong, _ = check(home, seconds=1)
    assert "secret" in json.dumps(wrong["broker", f"127.0.0.1:{broker.port}"])


@contextmanager
def daemon(home):
    process = subprocess.Popen(
        [*PROGRAM, "run"],
        cwd=home,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    assert process.stdout is not None
    try:
        assert '"started"' in process.stdout.readline()
        yield process
    finally:
        process.send_signal(signal.SIGTERM)
        process.communicate(timeout=30)


def until(condition):
    """Look again and again, for half a minute at most, whether a check finds that."""
    clock = SystemClock()
    ends_ms = clock.moment().mono_ms + 30_000
    while not condition():
        assert clock.moment().mono_ms < ends_ms, "it never happened"
        clock.wait_s(0.3)


def test_beside_a_running_daemon_it_asks_the_store_and_leaves_the_ports_alone(tmp_path, broker):
    home = a_room(tmp_path, more=with_broker(broker.port))
    with plugged(home / "ports", [rock()]), daemon(home) as running:
        until(lambda: check(home)[0] == 0)
        said = said_here("check", folder=home)
        assert f"fine  board rock-1: the daemon hears it on {home}/ports/board-rock-1\n" in said.out
        assert "; the daemon is running\n" in said.out
        looked = said_here("boards", "--seconds", "2", folder=home).out
        assert f"{home}/ports/board-rock-1  another program holds it." in looked
        assert looked.endswith("holds its ports: ask `baskline check` what it hears.\n")
        assert running.poll() is None
    # Afterwards the ports are free again, and nobody is on them.
    code, wrong, found = check(home, seconds=1)
    assert code == 1
    assert list(wrong) == [("board", "rock-1")]
    assert any(each["subject"] == "baskline.db" and "is not running" in each["what"] for each in found)


def test_beside_a_running_daemon_a_board_that_was_never_heard_is_found(tmp_path):
    home = a_room(tmp_path)
    with daemon(home):
        code, wrong, _ = check(home)
    assert code == 1
    assert list(wrong) == [("board", "rock-1")]
    assert wrong["board", "rock-1"]["what"] == "not heard (Behind the slate)"


def test_beside_a_running_daemon_a_board_that_fell_silent_long_ago_is_found(tmp_path):
    home = a_room(tmp_path)
    config = room(home, ports=f"{home}/ports/*", made_on=LATELY)
    fill(config, date(2025, 5, 17), half_sine(2, 7, 11), every_s=600)
    with daemon(home):
        _, wrong, _ = check(home)
    assert wrong["board", "rock-1"]["what"] == "last heard 2025-05-17 21:50:00 UTC"


def test_the_demos_room_is_said_to_be_invented_before_anything_is_to_be_mended(tmp_path):
    scenario = build(tmp_path, 1)
    said = said_here("check", "--seconds", 1, "-c", scenario.config_file, folder=tmp_path)
    assert said.code == 1
    lines = said.out.splitlines()
    assert lines[1].startswith("note  room invented-room: the invented room of `baskline demo`, not yours")
    assert "MEND  board stone-1: not heard" in said.out


def test_a_file_that_the_broker_needs_is_named_where_it_is_missing(tmp_path, broker):
    home = a_room(
        tmp_path, more=with_broker(broker.port, username="bridge", password_file="no-such-password")
    )
    _, wrong, _ = check(home, seconds=1)
    what = wrong["broker", f"127.0.0.1:{broker.port}"]["what"]
    assert what.startswith("mqtt.password_file = no-such-password: cannot be read")


def test_a_configuration_that_watches_nothing_is_fine_with_a_note(tmp_path):
    (tmp_path / "baskline.toml").write_text(
        '[bridge]\nsite = "home"\nname = "room"\ntime_zone = "UTC"\n[serial]\nports = ["/dev/no-such*"]\n'
    )
    code, _, found = check(tmp_path, seconds=1)
    assert code == 0
    assert found[0]["what"] == "0 boards, 0 spots"
    assert found[0]["do"].startswith("Nothing is watched yet")


def test_a_clock_that_is_before_the_newest_reading_is_told(tmp_path):
    home = a_room(tmp_path)
    fill(load_config(home / "baskline.toml"), TODAY + timedelta(days=2), half_sine(2.5, 7, 11), every_s=600)
    _, wrong, _ = check(home, seconds=1)
    assert "before the newest reading" in wrong["clock", "this computer's"]["what"]


def test_a_clock_that_began_anew_is_told_though_nothing_is_stored():
    (told,) = clock(120_000, None)
    assert told.what == "it says 1970-01-01 00:02:00 UTC, which is before this program was written"
    assert list(clock(SystemClock().moment().wall_ms, None)) == []
