import pytest

from exposure.events import EventKind, Severity
from exposure.kinds import KINDS, new_event


def test_every_kind_has_its_facts():
    assert set(KINDS) == set(EventKind)


@pytest.mark.parametrize("kind", EventKind)
def test_advice_is_one_plain_sentence_that_promises_to_switch_nothing(kind):
    advice = KINDS[kind].advice
    assert advice[0].isupper()
    assert "." not in advice
    assert "will be switched" not in advice
    assert len(KINDS[kind].short) <= 32


@pytest.mark.parametrize("kind", [kind for kind, facts in KINDS.items() if "the lamp" in facts.advice])
def test_whoever_is_sent_to_a_lamp_with_their_hands_is_told_to_unplug_it(kind):
    advice = KINDS[kind].advice.lower()
    hands = any(word in advice for word in ("raise", "clean lamp", "holder", "distance with", "closer"))
    assert not hands or "unplug" in advice


def test_an_event_takes_its_kinds_severity_unless_given_another():
    usual = new_event(EventKind.LAMP_FADING, "rock", 5, "so", {})
    assert (usual.severity, usual.identity) == (Severity.NOTE, "lamp_fading.rock.5")
    assert new_event(EventKind.LAMP_FADING, "rock", 5, "so", {}, severity=Severity.TODAY).severity == "today"
