"""The demo: an invented room, one accelerated day of it, through everything that a real day goes through."""

from collections import deque
from collections.abc import Sequence
from contextlib import ExitStack, closing
from dataclasses import replace
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from rich.console import Console

from baskline.caution import LAMP_CAUTION
from baskline.charts.errors import ChartError
from baskline.live_table import LiveTable
from baskline.printing import console, program, say
from baskline.scenario import PAST_DAYS, Happening, Scenario, build, give_past
from baskline.wording import DAY_HANG, day_lines
from calibrate.errors import KeeperError
from firmware_host.clock import ManualClock, SystemClock
from firmware_host.hub import SerialHub
from firmware_host.ports import PortWish, find_ports
from firmware_host.simulated.bench import PtyBench
from firmware_host.traffic import Quiet, Traffic
from ingest.assigning import read_calibrations
from ingest.audience import Audience
from ingest.bridge import Bridge
from ingest.capture_file import CaptureFile
from ingest.config import Config, load_config
from ingest.config.resolve import mqtt_settings
from ingest.day import SpotDay, spot_day
from ingest.mqtt.publisher import Publisher
from ingest.mqtt.settings import MqttSettings
from ingest.store.store import Store
from ingest.telling import BrokerAudience, event_message

_STEP_MS: Final = 10_000
_DRAIN_S: Final = 5.0


class QuickStore(Store):
    """For a day whose half minutes pass in milliseconds: waiting for the disk after each takes too long."""

    def sync(self) -> None:
        """Leave it to the system; a demo that a power cut ends is begun anew."""


def run_demo(folder: Path, *, seed: int, broker_config: Path | None) -> None:
    """Run the invented day in `folder`, tell of it, and leave store, capture and charts there."""
    words = console()
    folder.mkdir(parents=True, exist_ok=True)
    scenario = build(folder, seed)
    config = load_config(scenario.config_file)
    capture_path = folder / "demo.capture"
    for old in (*folder.glob(f"{config.bridge.store.name}*"), capture_path, *folder.glob("day-*.png")):
        old.unlink(missing_ok=True)
    say(words, "An invented room: three enclosures, five spots, four boards. One day of it, accelerated.")
    say(words, f"The store begins with the {PAST_DAYS // 7} weeks before that day, also invented.")
    say(words, f"{LAMP_CAUTION}\n")

    with ExitStack() as stack:
        store = stack.enter_context(QuickStore.open(config.bridge.store))
        capture = stack.enter_context(closing(CaptureFile(capture_path)))
        give_past(store, scenario)
        watch_the_day(scenario, config, store, capture, _broker(broker_config, words), words)
        days = [
            spot_day(
                store,
                key,
                scenario.day.date,
                board=config.boards[spot.board].identity,
                time_zone=config.bridge.time_zone,
                band_now=spot.band(),
            )
            for key, spot in config.spots.items()
        ]
    for shown in days:
        say(words, "")
        for line in day_lines(shown, config, scenario.day.end_ms):
            say(words, line, hang=DAY_HANG)
    say(words, "")
    _draw(days, config, folder, words)
    baskline, look = program(), f"-c {scenario.config_file}"
    say(words, f"\nThe store, the capture and the charts are in {folder}/. Look further:")
    # Not folded: they are to be copied whole.
    words.print(f"  {baskline} day slate {look}", soft_wrap=True)
    words.print(f"  {baskline} week {look}", soft_wrap=True)
    words.print(f"  {baskline} lamps {look}", soft_wrap=True)
    words.print(f"  {baskline} events {look}", soft_wrap=True)
    words.print(f"  {baskline} replay {capture_path} --store {folder / 'again.db'} {look}", soft_wrap=True)


def watch_the_day(
    scenario: Scenario,
    config: Config,
    store: Store,
    capture: CaptureFile,
    settings: MqttSettings | None,
    words: Console,
) -> None:
    """Let the room's day pass through everything that a real one goes through; the store stays held."""
    day = scenario.day
    clock = ManualClock(day.start_ms)
    with ExitStack() as stack:
        ports = Path(stack.enter_context(TemporaryDirectory(prefix="baskline-")))
        bench = stack.enter_context(PtyBench(ports))
        wishes = [PortWish(bench.pattern)]
        hub = SerialHub(lambda: find_ports(wishes, listing=tuple), clock)
        stack.callback(hub.close)
        for number, board in enumerate(scenario.boards):
            bench.add(board.simulated(utc_offset_ms=day.start_ms, seed=number), 0)
        table = stack.enter_context(LiveTable(config, words))
        audience: list[Audience] = [table]
        publisher = None
        if settings is not None:
            publisher = Publisher(settings, store.outbox, SystemClock(), wake=hub.wake, report=table.trouble)
            audience.append(BrokerAudience(settings, config, publisher))
        start = clock.moment()
        capture.write([Quiet(start)])
        bridge = Bridge(
            config,
            store,
            read_calibrations(config),
            start,
            audience=audience,
            event_message=partial(event_message, settings) if settings is not None else None,
        )

        def hear() -> None:
            """Let the boards' lines through, and their answers, until nothing more comes."""
            heard: list[Traffic] = [Quiet(start)]
            while heard:
                heard = [item for item in hub.poll(0.0) if not isinstance(item, Quiet)]
                capture.write(heard)
                bridge.take(heard)
                for link, data in bridge.outgoing():
                    hub.send(link, data)
                bench.pump(clock.moment().mono_ms)

        happenings = deque(scenario.happenings)
        for due_ms in range(0, day.end_ms - day.start_ms, _STEP_MS):
            clock.advance_ms(max(0, due_ms - clock.moment().mono_ms))
            while happenings and happenings[0].at_ms <= day.start_ms + due_ms:
                _let_happen(happenings.popleft(), bench, due_ms, table)
            bench.pump(due_ms)
            hear()
            bridge.tick(clock.moment())
            if publisher is not None:
                publisher.pump()
        bridge.finish(clock.moment())
        if publisher is not None:
            _drain(publisher, store)
            publisher.close()


def _let_happen(happening: Happening, bench: PtyBench, now_ms: int, table: LiveTable) -> None:
    table.happening(happening.at_ms, happening.sentence)
    happening.happen_to(bench, now_ms)


def _drain(publisher: Publisher, store: Store) -> None:
    """Give the broker a few seconds of real time for what still waits."""
    clock = SystemClock()
    ends_ms = clock.moment().mono_ms + round(_DRAIN_S * 1000)
    while store.outbox.size() and publisher.trouble is None and clock.moment().mono_ms < ends_ms:
        publisher.pump()
        clock.wait_s(0.05)


def _broker(config_file: Path | None, words: Console) -> MqttSettings | None:
    """Return the broker of the keeper's own configuration, with the demo's names in the topics."""
    if config_file is None:
        return None
    try:
        settings = mqtt_settings(load_config(config_file))
    except KeeperError as error:
        say(words, f"{error}\nSo no broker is told of this demo.\n")
        return None
    return None if settings is None else replace(settings, site="demo", bridge="invented-room")


def _draw(days: Sequence[SpotDay], config: Config, folder: Path, words: Console) -> None:
    from baskline.charts.files import save_day_chart

    for shown in days:
        path = folder / f"day-{shown.spot}.png"
        try:
            save_day_chart(shown, config, path, shown.bounds.end_ms)
        except ChartError as error:
            say(words, f"No chart: {error}")
            return
        say(words, f"Drawn: {path}")
