"""`baskline serve`: the page of a store, as a process of its own."""

import os
import re
import shutil
import signal
import ssl
import subprocess
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import httpx
import pytest

from baskline.page.attempts import MOST_FROM_ONE
from baskline.page.secret_files import PasswordHash, write_secret
from ingest.config import Config
from tests.baskline.making import PROGRAM, baskline, environment, fill, half_sine, room, said_here
from tests.baskline.running import until
from tests.brokers import free_port

DAY = date(2025, 5, 17)


@pytest.fixture
def filled(tmp_path: Path) -> Config:
    config = room(tmp_path)
    fill(config, DAY, half_sine(2.0, 9.0, 9.0))
    return config


@pytest.fixture
def serving(tmp_path: Path) -> Iterator[Callable[..., tuple[subprocess.Popen[str], int]]]:
    """Run `baskline serve` with arguments; return the process and its port."""
    started: list[subprocess.Popen[str]] = []

    def start(*arguments: str) -> tuple[subprocess.Popen[str], int]:
        port = free_port()
        process = subprocess.Popen(
            [*PROGRAM, "serve", "--port", str(port), *arguments],
            cwd=tmp_path,
            env=environment(),
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        started.append(process)
        return process, port

    yield start
    for process in started:
        process.kill()
        process.communicate()


def answered(url: str, **options: object) -> bool:
    try:
        return httpx.get(url, **options).status_code == 200
    except httpx.TransportError:
        return False


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_it_shows_a_store_that_nobody_watches_and_ends_when_told(filled: Config, serving, number) -> None:
    process, port = serving()
    url = f"http://127.0.0.1:{port}/"
    until(lambda: answered(url), "the page answers")
    text = httpx.get(url).text
    assert "Nobody is watching" in text
    assert "only for looking" in text
    process.send_signal(number)
    _, error = process.communicate(timeout=30)
    assert process.returncode == 0
    assert error == f"The page is at {url} (Ctrl-C ends it)\n"


def test_it_ends_in_order_while_somebody_looks(filled: Config, serving) -> None:
    process, port = serving()
    until(lambda: answered(f"http://127.0.0.1:{port}/"), "the page answers")
    with httpx.stream("GET", f"http://127.0.0.1:{port}/live") as live:
        lines = live.iter_lines()
        assert next(lines) == "event: pieces"
        process.send_signal(signal.SIGTERM)
        assert list(lines)
    log, _ = process.communicate(timeout=30)
    assert (process.returncode, log) == (0, "")


def test_it_changes_nothing_in_the_store(filled: Config, serving) -> None:
    before = filled.bridge.store.read_bytes()
    _, port = serving()
    until(lambda: answered(f"http://127.0.0.1:{port}/"), "the page answers")
    assert filled.bridge.store.read_bytes() == before


def test_it_is_encrypted_with_a_certificate(tmp_path: Path, serving) -> None:
    openssl = shutil.which("openssl")
    if openssl is None:
        missing = "openssl is not installed: apt-get install openssl"
        pytest.fail(missing) if os.environ.get("CI") else pytest.skip(missing)
    what = "req -x509 -newkey rsa:2048 -nodes -days 2 -subj /CN=room -addext subjectAltName=IP:127.0.0.1"
    subprocess.run(
        [openssl, *what.split(), "-keyout", "page.key", "-out", "page.pem"],
        cwd=tmp_path,
        check=True,
        capture_output=True,
    )
    config = room(tmp_path, more='\n[page]\ncertificate_file = "page.pem"\nkey_file = "page.key"\n')
    fill(config, DAY, half_sine(2.0, 9.0, 9.0))
    _, port = serving()
    trusted = ssl.create_default_context(cafile=tmp_path / "page.pem")
    url = f"https://127.0.0.1:{port}/"
    until(lambda: answered(url, verify=trusted), "the page answers")
    assert httpx.get(url, verify=trusted).headers["set-cookie"].startswith(f"__Host-baskline-{port}=")


@pytest.mark.parametrize(
    ("page", "words"),
    [
        ('certificate_file = "no.pem"\nkey_file = "no.key"', "certificate or its key cannot be used"),
        ('password_file = "page-password"', "Make it with: baskline password"),
        ('host = "192.0.2.1"\npassword_file = "kept"', "cannot listen on 192.0.2.1"),
    ],
)
def test_what_keeps_it_from_starting_is_told_in_one_line(tmp_path: Path, page: str, words: str) -> None:
    config = room(tmp_path, more=f"\n[page]\n{page}\n")
    fill(config, DAY, half_sine(2.0, 9.0, 9.0))
    if "kept" in page:
        write_secret(tmp_path / "kept", PasswordHash.of("three odd words"))
    said = said_here("serve", folder=tmp_path)
    assert said.code == 1
    assert words in said.err
    assert said.err.count("\n") == 1


@pytest.mark.parametrize("behind_proxy", [False, True])
def test_who_pretends_to_come_from_elsewhere_is_believed_only_by_a_proxy(
    tmp_path: Path, serving, behind_proxy: bool
) -> None:
    proxy = "behind_proxy = true\n" if behind_proxy else ""
    config = room(tmp_path, more=f'\n[page]\npassword_file = "page-password"\n{proxy}')
    write_secret(tmp_path / "page-password", PasswordHash.of("three odd words"))
    fill(config, DAY, half_sine(2.0, 9.0, 9.0))
    _, port = serving()
    url = f"http://127.0.0.1:{port}/login"
    until(lambda: answered(url), "the page answers")
    with httpx.Client() as client:
        found = re.search(r'name="form_word" value="(\w+)"', client.get(url).text)
        assert found is not None
        codes = [
            client.post(
                url,
                data={"form_word": found[1], "password": "wrong"},
                headers={"x-forwarded-for": f"10.0.0.{number}"},
            ).status_code
            for number in range(MOST_FROM_ONE + 1)
        ]
    assert codes[-1] == (403 if behind_proxy else 429)


def test_a_port_that_is_taken_is_told(filled: Config, tmp_path: Path, serving) -> None:
    _, port = serving()
    until(lambda: answered(f"http://127.0.0.1:{port}/"), "the page answers")
    said = baskline("serve", "--port", port, folder=tmp_path)
    assert said.code == 1
    assert f"cannot listen on 127.0.0.1, port {port}" in said.err


def test_before_there_is_a_store_the_page_says_what_to_do(tmp_path: Path, serving) -> None:
    room(tmp_path)
    _, port = serving()
    url = f"http://127.0.0.1:{port}/"
    until(lambda: answered(f"{url}static/page.css"), "the page answers")
    answer = httpx.get(url)
    assert answer.status_code == 503
    assert "There is no store yet" in answer.text
