from pathlib import Path

import pytest

from ingest.config import parse_config
from ingest.config.secrets import SecretError

HEAD = '[bridge]\nsite = "home"\nname = "room"\ntime_zone = "UTC"\n[mqtt]\nhost = "x"\n'


def password(extra: str, folder: Path = Path()) -> str | None:
    config = parse_config(HEAD + extra, file=folder / "baskline.toml")
    assert config.mqtt is not None
    return config.mqtt.password()


def test_without_a_password_key_there_is_no_password():
    assert password("") is None


def test_a_password_is_the_first_line_of_its_file(tmp_path):
    (tmp_path / "pw").write_text("correct horse \nsecond line\n")
    assert password('username = "u"\npassword_file = "pw"\n', tmp_path) == "correct horse"


def test_a_password_may_come_from_the_environment(monkeypatch):
    monkeypatch.setenv("ROOM_PASSWORD", "battery")
    assert password('username = "u"\npassword_env = "ROOM_PASSWORD"\n') == "battery"


@pytest.mark.parametrize("content", [None, "", "\n", b"\xff"])
def test_a_password_file_without_a_password_is_told(tmp_path, content):
    if isinstance(content, bytes):
        (tmp_path / "pw").write_bytes(content)
    elif content is not None:
        (tmp_path / "pw").write_text(content)
    with pytest.raises(SecretError, match=r"mqtt\.password_file"):
        password('username = "u"\npassword_file = "pw"\n', tmp_path)


def test_an_unset_variable_is_told_by_name(monkeypatch):
    monkeypatch.delenv("ROOM_PASSWORD", raising=False)
    with pytest.raises(SecretError, match="ROOM_PASSWORD is not set"):
        password('username = "u"\npassword_env = "ROOM_PASSWORD"\n')
