import itertools

from hypothesis import given
from hypothesis import strategies as st

from ingest.backoff import Backoff


@given(st.text())
def test_waits_double_up_to_a_minute_give_or_take_the_spread(identity):
    backoff = Backoff(identity)
    waits_s = [backoff.failed() for _ in range(2000)]
    assert 0.75 <= waits_s[0] <= 1.25
    for before, after in itertools.pairwise(waits_s[:6]):
        assert after == 2 * before
    assert all(wait <= 75.0 for wait in waits_s)
    assert waits_s[-1] == waits_s[100]


def test_success_starts_over():
    backoff = Backoff("room")
    first = backoff.failed()
    backoff.failed()
    backoff.succeeded()
    assert backoff.failed() == first


def test_bridges_do_not_come_back_at_once():
    first_waits = {Backoff(f"room{number}").failed() for number in range(1000)}
    assert len(first_waits) > 500
