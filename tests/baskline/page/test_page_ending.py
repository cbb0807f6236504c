"""The page ends while somebody waits for it: at once, with an answer, and without a complaint."""

import asyncio
import logging
import threading
from collections.abc import Callable
from pathlib import Path

import httpx
import pytest
import uvicorn
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from baskline.children import Children
from baskline.page import charts
from baskline.page.app import PAGES
from baskline.page.pages import Page
from baskline.page.serving import listening, page_of, server
from tests.baskline.page.rooms import PageRoom
from tests.brokers import free_port

FOREVER_S = 600


Served = tuple[uvicorn.Server, str, threading.Thread]


@pytest.fixture
def served(room: PageRoom) -> Callable[[], Served]:
    """Serve a room as `baskline run` does; return the server, its address and its thread."""

    def start() -> Served:
        page = page_of(room.config).model_copy(update={"port": free_port()})
        serving = server(room.config, room.config.bridge.store, room.clock, may_change=True)
        thread = threading.Thread(target=serving.run, kwargs={"sockets": [listening(page)]}, daemon=True)
        thread.start()
        return serving, f"http://127.0.0.1:{page.port}", thread

    return start


def test_while_chart_code_is_made(
    served: Callable[[], Served], monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    begun = threading.Event()

    def slow(store: Path, children: Children) -> Path:
        begun.set()
        children.run("timeit", "-n", "1", "-r", "1", "import time; time.sleep(600)", patience_s=FOREVER_S)
        return store

    monkeypatch.setattr(charts, "bundle_beside", slow)
    answer, told = ended_while(served(), begun, "/charts/code.js", caplog)
    assert (answer.status_code, answer.text) == (
        503,
        "the page is ending. Load it anew when it is there again",
    )
    assert told == []


def test_while_a_page_takes_longer_than_anybody_waits(
    served: Callable[[], Served], monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    begun = threading.Event()

    async def endless(_request: Request) -> Response:
        begun.set()
        await asyncio.sleep(FOREVER_S)
        return Response()

    monkeypatch.setattr("baskline.page.serving.create_app", with_page(Route("/endless", endless)))
    answer, told = ended_while(served(), begun, "/endless", caplog)
    assert (answer.status_code, answer.text) == (
        503,
        "The page is ending. Load it anew when it is there again.\n",
    )
    assert "Content-Security-Policy" in answer.headers
    assert told == ["Cancel 1 running task(s), timeout graceful shutdown exceeded"]


def ended_while(
    running: Served,
    begun: threading.Event,
    path: str,
    caplog: pytest.LogCaptureFixture,
) -> tuple[httpx.Response, list[str]]:
    """End the page when the answer at `path` is being made; return it and what was logged meanwhile."""
    serving, url, thread = running
    answers: list[httpx.Response] = []
    visitor = threading.Thread(target=lambda: answers.append(httpx.get(url + path, timeout=60)), daemon=True)
    visitor.start()
    assert begun.wait(60)
    with caplog.at_level(logging.WARNING):
        serving.should_exit = True
        visitor.join(60)
        thread.join(60)
    assert not thread.is_alive()
    return answers[0], [record.getMessage() for record in caplog.records]


def with_page(route: Route) -> Callable[..., object]:
    from baskline.page.app import create_app

    return lambda desk, gate: create_app(desk, gate, (*PAGES, Page(routes=(route,))))
