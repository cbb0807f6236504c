"""The page's secrets at rest, the command that makes them, and the refusal to serve others without one."""

import json
import os
import stat
from pathlib import Path

import pytest

from baskline.page.errors import PageError, SecretFileError
from baskline.page.secret_files import (
    PasswordHash,
    TokenHash,
    new_token,
    read_password,
    read_token,
    write_secret,
)
from baskline.page.secrets import Secrets
from ingest.config import ConfigError
from ingest.config.page import PageConfig, is_loopback
from tests.baskline.making import baskline, room, said_here


def test_a_password_is_kept_as_a_hash_that_only_its_owner_may_read(tmp_path: Path) -> None:
    path = tmp_path / "page-password"
    write_secret(path, PasswordHash.of("three odd words"))
    assert "three odd words" not in path.read_text()
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    kept = read_password(path)
    assert kept.matches("three odd words")
    assert not kept.matches("three odd word")
    assert [each.name for each in tmp_path.iterdir()] == ["page-password"]


def test_the_same_password_makes_another_hash_each_time() -> None:
    assert PasswordHash.of("three odd words").line() != PasswordHash.of("three odd words").line()


def test_tokens_are_long_and_kept_as_hashes(tmp_path: Path) -> None:
    token = new_token()
    assert len(token) >= 43  # 256 bits
    write_secret(tmp_path / "guest", TokenHash.of(token))
    assert token not in (tmp_path / "guest").read_text()
    assert read_token(tmp_path / "guest", "").matches(token)
    assert not read_token(tmp_path / "guest", "").matches(new_token())


@pytest.mark.parametrize(
    "text",
    ["", "secret", "scrypt 1 2 3", "scrypt 16 8 1 !! !!", "scrypt 15 8 1 c2E= c2E=", "sha256 c2E=", "\u00fc"],
)
def test_a_spoilt_password_file_is_refused_with_what_to_do(tmp_path: Path, text: str) -> None:
    path = tmp_path / "page-password"
    path.write_text(text)
    path.chmod(0o600)
    with pytest.raises(SecretFileError, match="baskline password"):
        read_password(path)


def test_a_password_file_that_others_may_read_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "page-password"
    write_secret(path, PasswordHash.of("three odd words"))
    path.chmod(0o644)
    with pytest.raises(SecretFileError, match="chmod 600"):
        read_password(path)


@pytest.mark.parametrize("page", [PageConfig(host="0.0.0.0"), PageConfig(behind_proxy=True)])
def test_nobody_else_is_let_in_without_a_password(page: PageConfig) -> None:
    with pytest.raises(PageError, match="baskline password"):
        Secrets.read(page)


@pytest.mark.parametrize(
    ("host", "own"),
    [
        *((host, True) for host in ("127.0.0.1", "127.3.2.1", "::1", "localhost")),
        *((host, False) for host in ("0.0.0.0", "192.168.1.4", "::", "room.lan")),
    ],
)
def test_what_only_this_computer_reaches(host: str, own: bool) -> None:
    assert is_loopback(host) is own


@pytest.mark.parametrize(
    "lines", ['host = "0.0.0.0"', "behind_proxy = true", 'guest_file = "guest"', 'certificate_file = "a.pem"']
)
def test_the_configuration_says_so_at_once(tmp_path: Path, lines: str) -> None:
    with pytest.raises(ConfigError) as refused:
        room(tmp_path, more=f"\n[page]\n{lines}\n")
    assert len(refused.value.problems) == 1
    assert refused.value.problems[0].line is not None or "key_file" in refused.value.problems[0].key


def test_the_command_makes_a_password_a_link_and_a_token(tmp_path: Path) -> None:
    room(tmp_path)
    said = baskline("password", folder=tmp_path, before=["sh", "-c", 'echo "three odd words" | "$@"', "sh"])
    assert said.code == 0, said.err
    assert 'password_file = "page-password"' in said.err
    assert read_password(tmp_path / "page-password").matches("three odd words")
    link = baskline("password", "--guest", folder=tmp_path).out.strip()
    address, _, token = link.rpartition("/guest/")
    assert address == "http://127.0.0.1:8765"
    assert read_token(tmp_path / "page-guest", "").matches(token)
    token = baskline("password", "--token", folder=tmp_path).out.strip()
    assert read_token(tmp_path / "page-token", "").matches(token)
    lines = (f'{name}_file = "page-{name}"\n' for name in ("password", "guest", "token"))
    page = room(tmp_path, more="\n[page]\n" + "".join(lines)).page
    assert page is not None
    assert Secrets.read(page).password is not None


def test_a_password_that_is_guessed_too_soon_is_refused_and_nothing_written(tmp_path: Path) -> None:
    room(tmp_path)
    said = baskline("password", folder=tmp_path, before=["sh", "-c", 'echo iguana | "$@"', "sh"])
    assert said.code == 1
    assert "guessed too soon" in said.err
    assert not (tmp_path / "page-password").exists()
    assert "iguana" not in said.err


def test_an_input_that_ends_is_no_password_of_no_characters(tmp_path: Path) -> None:
    room(tmp_path)
    said = baskline("password", folder=tmp_path, before=["sh", "-c", '"$@" < /dev/null', "sh"])
    assert said.code == 1
    assert "no password came" in said.err
    assert not (tmp_path / "page-password").exists()


@pytest.mark.parametrize(
    ("page", "where"), [("", "a table [page] to baskline.toml"), ("[page]", "to [page] of baskline.toml")]
)
def test_where_the_file_is_to_be_named_depends_on_what_is_there(
    tmp_path: Path, page: str, where: str
) -> None:
    room(tmp_path, more=f"\n{page}\n")
    said = baskline("password", "--guest", folder=tmp_path).err
    assert f"Now add {where}: guest_file" in said
    assert "It needs a password beside it" in said


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    with pytest.raises(SecretFileError, match="cannot be written"):
        write_secret(tmp_path / "nowhere" / os.urandom(4).hex(), TokenHash.of("x"))


def page_findings(folder: Path) -> list[dict[str, object]]:
    found = json.loads(said_here("check", "--json", "--seconds", 1, folder=folder).out)["findings"]
    return [each for each in found if each["part"] == "page"]


def test_check_looks_at_the_page_too(tmp_path: Path) -> None:
    room(tmp_path)
    assert page_findings(tmp_path) == []
    room(tmp_path, more="\n[page]\n")
    (found,) = page_findings(tmp_path)
    assert (found["fine"], found["subject"]) == (True, "http://127.0.0.1:8765/")
    room(tmp_path, more='\n[page]\nhost = "0.0.0.0"\npassword_file = "page-password"\n')
    (found,) = page_findings(tmp_path)
    assert not found["fine"]
    assert found["do"] == "Make it with: baskline password"
    write_secret(tmp_path / "page-password", PasswordHash.of("three odd words"))
    (found,) = page_findings(tmp_path)
    assert (found["fine"], found["what"]) == (True, "with a password")
