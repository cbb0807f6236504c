import re
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.mqtt.settings import BrokerError, MqttSettings
from ingest.mqtt.topics import Topics

DOCUMENT = Path(__file__).parents[3] / "ingest" / "TOPICS.md"
SETTINGS = MqttSettings(host="broker.lan", site="<site>", bridge="<bridge>")

names = st.from_regex(r"[a-z0-9][a-z0-9_-]{0,31}", fullmatch=True)


def topics(site="home", bridge="room", **more):
    return Topics(MqttSettings(host="broker.lan", site=site, bridge=bridge, **more))


def documented():
    """Topics in the first column of the tables, with whether they are retained."""
    rows = re.findall(
        r"^\| `(<(?:root|discovery_prefix)>/[^`]+)` \|.*\| (yes|no) \| 1 \|$", DOCUMENT.read_text(), re.M
    )
    return {topic: retained == "yes" for topic, retained in rows}


def test_the_topics_in_the_document_are_those_in_the_code():
    ours = topics(site="s", bridge="b", root_topic="r", discovery_prefix="d")
    code = {
        ours.availability,
        ours.spot_state("x"),
        ours.board_state("y"),
        ours.open_events,
        ours.event,
        ours.notice,
        ours.check,
        ours.discovery("c", "e"),
    }
    placeholders = {
        "root": "r", "site": "s", "bridge": "b", "spot": "x", "board": "y",
        "discovery_prefix": "d", "component": "c", "entity": "e",
    }  # fmt: skip
    written = {re.sub(r"<(\w+)>", lambda found: placeholders[found[1]], topic) for topic in documented()}
    assert written == code


def test_the_document_retains_state_and_never_events():
    retained = documented()
    assert not retained["<root>/<site>/<bridge>/event"]
    assert all(
        kept for topic, kept in retained.items() if topic.endswith(("state", "availability", "config"))
    )


@given(st.tuples(names, names, names), st.tuples(names, names, names))
def test_two_bridges_never_share_a_topic_or_an_identity(one, other):
    def everything(site, bridge, spot):
        ours = topics(site, bridge)
        return {
            ours.identity,
            ours.availability,
            ours.event,
            ours.spot_state(spot),
            ours.board_state(spot),
            f"{ours.identity}_SPOT_{spot}_uvi",
            f"{ours.identity}_BOARD_{spot}_event",
            ours.discovery("sensor", f"SPOT_{spot}_uvi"),
        }

    if one[:2] != other[:2]:
        assert not everything(*one) & everything(*other)


@given(names, names, names)
def test_discovery_topics_have_only_characters_that_the_hub_accepts(site, bridge, spot):
    # Home Assistant, homeassistant/components/mqtt/discovery.py, TOPIC_MATCHER.
    allowed = re.compile(
        r"(?P<component>\w+)/(?:(?P<node_id>[a-zA-Z0-9_-]+)/)?(?P<object_id>[a-zA-Z0-9_-]+)/config"
    )
    topic = topics(site, bridge).discovery("sensor", f"SPOT_{spot}_uvi")
    assert allowed.fullmatch(topic.removeprefix("homeassistant/"))


@pytest.mark.parametrize("name", ["", "Room", "a/b", "a+b", "#", "x" * 33, "-a", "a b", "ä", "a\n"])
def test_names_that_would_break_the_tree_are_refused(name):
    for refused in (
        lambda: topics(site=name),
        lambda: topics(bridge=name),
        lambda: topics().spot_state(name),
        lambda: topics().board_state(name),
    ):
        with pytest.raises(BrokerError, match="cannot be part of a topic"):
            refused()


@pytest.mark.parametrize("prefix", ["", "/a", "a/", "a//b", "a/+", "#", "$SYS", "a\0"])
def test_a_root_that_is_no_topic_is_refused(prefix):
    for key in ("root_topic", "discovery_prefix"):
        with pytest.raises(BrokerError, match=key):
            topics(**{key: prefix})


@pytest.mark.parametrize(
    ("wrong", "where"),
    [
        ({"host": ""}, "mqtt.host"),
        ({"host": "a..b"}, "mqtt.host"),
        ({"port": 0}, "mqtt.port"),
        ({"password": "x"}, "mqtt"),
        ({"key_file": Path("k"), "tls": True}, "mqtt"),
        ({"ca_file": Path("k")}, "mqtt"),
    ],
)
def test_settings_that_cannot_work_are_refused_with_a_remedy(wrong, where):
    with pytest.raises(BrokerError) as caught:
        replace(SETTINGS, **wrong)
    assert caught.value.where == where
    assert caught.value.remedy


def test_the_password_does_not_show():
    assert "sesame" not in repr(replace(SETTINGS, username="keeper", password="sesame"))
