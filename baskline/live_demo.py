"""The demo live: the invented room in real time, for a browser, a broker and other terminals."""

import contextlib
import logging
import signal
import socket
import threading
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from rich.console import Console

from baskline.caution import LAMP_CAUTION
from baskline.first_hour.machine import broker_here
from baskline.live_table import LiveTable
from baskline.page.addresses import address_of
from baskline.page.errors import PageError
from baskline.page.extra import need_libraries
from baskline.page.keeping import PageProcess
from baskline.printing import console, program, say
from baskline.scenario import PAST_DAYS, Scenario, ScenarioError, build, give_past
from baskline.scenario.scenario import CONFIG_NAME
from baskline.scenario.setting import live_setting
from firmware_host.clock import Clock, Moment, SystemClock
from firmware_host.simulated.bench import PtyBench
from ingest.config import Config, load_config
from ingest.config.page import PageConfig
from ingest.config.resolve import mqtt_settings
from ingest.daemon import Daemon
from ingest.logs import Words
from ingest.mqtt.publisher import Publisher
from ingest.mqtt.settings import MqttSettings
from ingest.store.lock import is_held
from ingest.store.store import Store
from ingest.telling import BrokerAudience

_MARK: Final = "# Written by `baskline demo --live`, which writes it anew each time."
_CADENCE_MS: Final = 2_000
_RING: Final = 1_800
_TABLE_EVERY_MS: Final = 2_000
_LINE_EVERY_MS: Final = 5 * 60_000
_HEARD: Final = ("baskline.daemon", "baskline.page")
_TAKEN_BACK_AFTER_S: Final = 7.0  # a hub forgets an entity first, its state some seconds later
_MORE: Final = """
{mark}

[serial]
ports = ["{ports}"]

[page]
port = {port}
{broker}
# A real room is given more time: shade 15 minutes, an end 5.  Here somebody looks on.

[spot.thyme.rules]
under_hold_s = 45
back_hold_s = 30
warm_up_s = 0  # it was warm before somebody began to look

[spot.fern.rules]
over_hold_s = 30
back_hold_s = 30

[spot.hay_rick.rules]
sensor_hold_s = 60
"""


class _RoomClock(SystemClock):
    """This computer's time is the room's, whether or not it was set from outside."""

    def moment(self) -> Moment:
        """Return now."""
        return replace(super().moment(), synchronised=True)


def run_live(folder: Path, *, seed: int, port: int, broker: str | None, every_s: float = 120.0) -> None:
    """Run the room until Ctrl-C, and leave its store in `folder`.  Something happens each `every_s`."""
    words, clock = console(), _RoomClock()
    page = _page(port, words)
    say(
        words, "An invented room, live: three enclosures, five spots, four boards. Nothing of it is hardware."
    )
    say(words, f"Its {PAST_DAYS // 7} weeks until now are being written, also invented ...")
    scenario = _fresh_room(folder, seed, port, broker, round(1000 * every_s), clock)
    config = load_config(scenario.config_file)
    settings = mqtt_settings(config)
    with Store.open(config.bridge.store) as store:
        give_past(store, scenario, until_ms=clock.moment().wall_ms)
    _explain(scenario, page, settings, clock.moment().wall_ms, words)
    with ExitStack() as stack:
        bench = stack.enter_context(PtyBench(folder / "ports"))
        now = clock.moment()
        for number, board in enumerate(scenario.boards):
            quicker = replace(board, model=replace(board.model, cadence_ms=_CADENCE_MS, ring=_RING))
            simulated = quicker.simulated(utc_offset_ms=now.wall_ms - now.mono_ms, seed=seed + number)
            bench.add(simulated, now.mono_ms)
        table = LiveTable(config, words, table_every_ms=_TABLE_EVERY_MS, line_every_ms=_LINE_EVERY_MS)
        daemon = Daemon(config, clock, audience=(table,))
        for number in (signal.SIGTERM, signal.SIGINT):
            before = signal.signal(number, lambda _number, _frame: daemon.stop())
            stack.callback(signal.signal, number, before)
        stack.enter_context(table)
        stack.enter_context(_warnings_to(words))
        if page is not None:
            stack.enter_context(PageProcess(scenario.config_file, clock, quiet=True))
        stack.enter_context(bench.running(clock))
        stack.enter_context(_happening(scenario, bench, table, clock))
        daemon.run()
    say(words, "\nEnded. What came is kept; look at it with")
    words.print(f"  baskline serve -c {scenario.config_file}", soft_wrap=True)
    if settings is not None:
        say(words, "Taking the room back from the broker, a few seconds ...")
        _take_back(settings, config, clock)


def _page(port: int, words: Console) -> PageConfig | None:
    """Return where the page will be; None if what it needs is not installed."""
    try:
        need_libraries()
    except PageError as error:
        say(words, f"{error}\nSo this room has no page.\n")
        return None
    _check_free(port)
    return PageConfig(port=port)


def _check_free(port: int) -> None:
    """Raise `PageError` if something else listens where the page is to be."""
    try:
        with socket.socket() as tried:
            tried.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            tried.bind((PageConfig().host, port))
            tried.listen()
    except OSError as error:
        raise PageError(
            f"port {port} of this computer cannot be had: {error.strerror}",
            where="--port",
            remedy=f"Stop what listens there (another demo?), or type --port {port + 1}",
        ) from None


def _fresh_room(
    folder: Path, seed: int, port: int, broker: str | None, every_ms: int, clock: Clock
) -> Scenario:
    """Write the room as it is now, in place of what an earlier live demo left."""
    config_file, ports, mqtt = folder / CONFIG_NAME, folder / "ports", _mqtt_table(broker)
    try:
        ports.mkdir(parents=True, exist_ok=True)
        if config_file.exists():
            if _MARK not in config_file.read_text("utf-8", "replace"):
                raise ScenarioError(
                    "was not written by the live demo",
                    where=str(config_file),
                    remedy="Give the live demo a folder of its own with --folder",
                )
            store = load_config(config_file).bridge.store
            if is_held(store):
                raise ScenarioError(
                    "another live demo runs in this folder",
                    where=str(folder),
                    remedy="Look at that one, or give this one another --folder and --port",
                )
            # The lock's file stays: somebody may be looking at it.
            old_store = (Path(f"{store}{end}") for end in ("", "-wal", "-shm"))
            for old in (config_file, *old_store, *ports.glob("board-*"), *_calibrations(folder)):
                old.unlink(missing_ok=True)
    except OSError as error:
        raise ScenarioError(
            f"cannot be written: {error.strerror}", where=str(folder), remedy="Name another with --folder"
        ) from None
    more = _MORE.format(mark=_MARK, ports=ports.absolute() / "board-*", port=port, broker=mqtt)
    now_ms = clock.moment().wall_ms
    own_offset = datetime.fromtimestamp(now_ms / 1000, UTC).astimezone().utcoffset()
    assert own_offset is not None
    setting = live_setting(now_ms, own_offset.total_seconds(), every_ms)
    return build(folder, seed, setting, more=more)


def _calibrations(folder: Path) -> Iterator[Path]:
    """Yield the room's own calibrations; what the keeper has made beside them stays."""
    for spot in ("slate", "crevice", "thyme", "fern"):
        yield folder / "calibrations" / f"{spot}.toml"


def _mqtt_table(broker: str | None) -> str:
    if broker is None:
        return ""
    host, _, port = broker.partition(":")
    if not host or (port and not port.isdecimal()):
        raise ScenarioError(f"{broker!r} is no broker", where="--broker", remedy="Type a host, or host:port")
    return f'\n[mqtt]\nhost = "{host}"\nport = {port or 1883}\n'


def _explain(
    scenario: Scenario, page: PageConfig | None, settings: MqttSettings | None, now_ms: int, words: Console
) -> None:
    look = f"-c {scenario.config_file}"
    say(words, LAMP_CAUTION)
    there = datetime.fromtimestamp(now_ms / 1000, ZoneInfo(scenario.setting.time_zone)).isoformat(
        "T", "minutes"
    )
    say(
        words,
        f"\nSo that it is not dark, the room lies where it is {there[11:16]} now (UTC{there[16:]});"
        " its times are of there.",
    )
    say(words, "So that you need not wait, it is judged within a minute, where a real room gets 5 to 15.")
    if page is not None:
        say(words, f"\nThe page, for this computer alone:  {address_of(page)}")
    say(words, "\nIn another terminal, in this folder:")
    # Not folded: they are to be copied whole.
    baskline = program()
    for line in (
        f"{baskline} events {look}",
        f"{baskline} acknowledge fern {look}  # once it is over its ceiling",
        f"{baskline} day fern --chart fern.png {look}",
        f"{baskline} lamps {look}",
    ):
        words.print(f"  {line}", soft_wrap=True)
    if settings is not None:
        words.print(
            f"  mosquitto_sub -h {settings.host} -p {settings.port} -v -t 'baskline/#'", soft_wrap=True
        )
    elif broker_here():
        say(
            words,
            "A broker answers on this computer: with --broker localhost it, and a hub on it, are told too.",
        )
    else:
        say(
            words,
            "With a broker (apt-get install mosquitto mosquitto-clients) and --broker localhost, MQTT too.",
        )
    say(words, "\nSomething happens each two minutes. Ctrl-C ends it.\n")


@contextlib.contextmanager
def _happening(scenario: Scenario, bench: PtyBench, table: LiveTable, clock: Clock) -> Iterator[None]:
    """Let happen what happens to the room, each at its time."""
    ended = threading.Event()

    def let_happen() -> None:
        for happening in scenario.happenings:
            if ended.wait(max(0, happening.at_ms - clock.moment().wall_ms) / 1000):
                return
            happening.happen_to(bench, clock.moment().mono_ms)
            table.happening(happening.at_ms, happening.sentence)

    thread = threading.Thread(target=let_happen, name="happenings", daemon=True)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()


@contextlib.contextmanager
def _warnings_to(words: Console) -> Iterator[None]:
    """Say what the daemon would log, but of boards only what events tell."""

    class Told(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            if record.name in _HEARD or record.levelno >= logging.ERROR:
                say(words, self.format(record))

    handler, logger = Told(logging.WARNING), logging.getLogger("baskline")
    handler.setFormatter(Words())
    logger.addHandler(handler)
    try:
        yield
    finally:
        logger.removeHandler(handler)


def _take_back(settings: MqttSettings, config: Config, clock: Clock) -> None:
    """Have the broker forget what it retains of the room, so that no hub keeps invented devices."""
    with Store.open(config.bridge.store) as store:
        publisher = Publisher(settings, store.outbox, clock, wake=lambda: None, report=lambda _: None)
        BrokerAudience(settings, config, publisher)
        publisher.declare({}, ())
        ends_ms = clock.moment().mono_ms + round(1000 * _TAKEN_BACK_AFTER_S)
        while clock.moment().mono_ms < ends_ms:
            publisher.pump()
            clock.wait_s(0.05)
        publisher.close()
