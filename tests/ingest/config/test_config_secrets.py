from pathlib import Path

import pytest

from ingest.config import parse_config
from ingest.config.resolve import mqtt_settings
from ingest.config.secrets import SecretError
from ingest.mqtt.settings import MqttSettings

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


def test_the_broker_is_reached_as_the_file_says(tmp_path, monkeypatch):
    monkeypatch.setenv("ROOM_PASSWORD", "battery")
    extra = (
        'tls = true\nca_file = "ca.pem"\nusername = "u"\npassword_env = "ROOM_PASSWORD"\nroot_topic = "a/b"\n'
    )
    settings = mqtt_settings(parse_config(HEAD + extra, file=tmp_path / "baskline.toml"))
    assert settings == MqttSettings(
        host="x",
        site="home",
        bridge="room",
        port=8883,
        tls=True,
        ca_file=tmp_path / "ca.pem",
        username="u",
        password="battery",
        root_topic="a/b",
    )
    assert "battery" not in repr(settings)


def test_without_a_broker_there_is_nothing_to_reach():
    assert mqtt_settings(parse_config(HEAD.partition("[mqtt]")[0], file=Path("baskline.toml"))) is None
