"""The page beside a real daemon: begun with it, begun again when it dies, ended with it."""

import os
import signal
import socket
import subprocess
import sys
from pathlib import Path

import httpx
import pytest

from baskline.page.errors import PageError
from baskline.page.extra import need_libraries
from tests.baskline.running import Daemon, Room, until
from tests.brokers import free_port


def answered(url: str) -> bool:
    try:
        return httpx.get(url).status_code == 200
    except httpx.TransportError:
        return False


def gone(pid: int) -> bool:
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except FileNotFoundError:
        return True
    return state == "Z"


def children(pid: int) -> list[int]:
    return [int(word) for word in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()] + [
        int(word)
        for task in Path(f"/proc/{pid}/task").iterdir()
        if task.name != str(pid)
        for word in (task / "children").read_text().split()
    ]


def test_the_daemon_loads_nothing_of_the_page() -> None:
    looked = (
        "import sys, baskline.commands.run, baskline.page.extra, baskline.page.keeping, ingest.daemon;"
        "print({'starlette', 'uvicorn', 'jinja2', 'fastapi'} & set(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", looked], capture_output=True, text=True, check=True)
    assert done.stdout == "set()\n"


def test_the_page_loads_nothing_of_what_it_does_not_do_itself() -> None:
    looked = (
        "import sys, baskline.page.__main__;"
        "from baskline.charts import checks, day, days, gradient, lamp;"
        "print({'typer', 'paho', 'serial', 'fastapi', 'altair', 'vl_convert', 'scipy', 'rich',"
        " 'weasyprint', 'influxdb_client', 'ingest.daemon', 'ingest.mirror.mirror'} & set(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", looked], capture_output=True, text=True, check=True)
    assert done.stdout == "set()\n"


def test_missing_libraries_are_told_with_the_line_to_type(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("baskline.page.extra.find_spec", lambda name: None)
    with pytest.raises(PageError, match=r"pip install 'baskline\[page\]'"):
        need_libraries()


@pytest.fixture
def url(room: Room) -> str:
    port = free_port()
    room.config_file.write_text(f"{room.config_file.read_text()}\n[page]\nport = {port}\n")
    return f"http://127.0.0.1:{port}/"


def test_the_page_comes_with_the_daemon_and_comes_back_and_goes_with_it(room: Room, url: str, run) -> None:
    daemon: Daemon = run()
    daemon.until_logged("page ready")
    until(lambda: answered(url), "the page answers")
    assert "Ledge" in httpx.get(url).text
    (first,) = children(daemon.process.pid)
    os.kill(first, signal.SIGKILL)
    daemon.until_logged("the page has ended; the watch goes on")
    until(lambda: children(daemon.process.pid) not in ([], [first]), "another page")
    until(lambda: answered(url), "the page answers again")
    (second,) = children(daemon.process.pid)
    code, error = daemon.stop()
    assert (code, error.count("Traceback")) == (0, 0)
    assert gone(second)
    assert not answered(url)


def test_the_page_ends_when_the_daemon_is_killed(room: Room, url: str, run) -> None:
    daemon: Daemon = run()
    until(lambda: answered(url), "the page answers")
    (page,) = children(daemon.process.pid)
    daemon.process.kill()
    until(lambda: gone(page), "the page's end")


def test_a_port_that_is_taken_keeps_the_page_away_and_not_the_watch(room: Room, url: str, run) -> None:
    with socket.create_server(("127.0.0.1", int(url.rpartition(":")[2].strip("/")))):
        daemon: Daemon = run()
        line = daemon.until_logged("cannot listen")
        assert "another host or port" in str(line["do"])
        daemon.until_logged("the watch goes on")
        assert daemon.process.poll() is None
        assert daemon.stop()[0] == 0
