"""What the page's short-lived children do, and that they end with it."""

import subprocess
import threading

import pytest

from baskline.children import ChildEndedError, Children
from tests.baskline.running import until

LONG = ("-n", "1", "-r", "1", "import time; time.sleep(600)")


def test_a_child_answers_what_it_was_given() -> None:
    done = Children().run("base64", "-e", "-", given=b"slate", patience_s=60)
    assert (done.returncode, done.stdout.strip(), done.stderr) == (0, b"c2xhdGU=", b"")


def test_one_that_takes_too_long_is_ended() -> None:
    with pytest.raises(subprocess.TimeoutExpired):
        Children().run("timeit", *LONG, patience_s=0.2)


def test_those_that_run_end_with_the_page_and_no_other_is_begun() -> None:
    children, ended = Children(), threading.Event()

    def wait_for_it() -> None:
        with pytest.raises(ChildEndedError, match="the page is ending"):
            children.run("timeit", *LONG, patience_s=600)
        ended.set()

    waiting = threading.Thread(target=wait_for_it, daemon=True)
    waiting.start()
    until(lambda: len(children._running) == 1, "the child runs")
    children.end()
    assert ended.wait(60)
    waiting.join()
    with pytest.raises(ChildEndedError):
        children.run("timeit", "pass", patience_s=60)
