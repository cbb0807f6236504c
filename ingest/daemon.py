"""The daemon: ports, bridge and broker in one loop, until it is told to stop."""

import logging
import threading
from contextlib import ExitStack, closing
from functools import partial
from pathlib import Path

from calibrate.errors import KeeperError
from firmware_host.clock import Clock
from firmware_host.hub import SerialHub
from firmware_host.pi_bus import PiBusBoard
from firmware_host.ports import find_ports
from firmware_host.traffic import Quiet
from ingest.assigning import read_calibrations
from ingest.audience import Audience
from ingest.bridge import Bridge
from ingest.capture_file import CaptureFile
from ingest.config import Config
from ingest.config.resolve import mirror_settings, mqtt_settings
from ingest.config.resolve_boards import pi_bus_settings, port_wishes
from ingest.mirror.thread import Mirror
from ingest.mqtt.publisher import Publisher
from ingest.store.store import Store
from ingest.telling import BrokerAudience, event_message, notice_message

log = logging.getLogger("baskline.daemon")

# The longest wait for something to happen: seconds are ticked on time, and a stop is heard by `wake`.
_POLL_S = 0.5
# The publisher is looked after when there is something for it to do, and for its own times at least so often.
_PUMP_EVERY_MS = 250


class Daemon:
    """Runs one bridge.  `stop` may be called from a signal handler or another thread."""

    def __init__(
        self,
        config: Config,
        clock: Clock,
        *,
        capture: Path | None = None,
        audience: tuple[Audience, ...] = (),
    ) -> None:
        self._config = config
        self._clock = clock
        self._capture = capture
        self._audience = audience
        self._stopping = threading.Event()
        self._pump_due = False
        wishes = port_wishes(config)
        pi_bus = pi_bus_settings(config)
        self._pi_bus = None if pi_bus is None else PiBusBoard(pi_bus, clock, _report)
        own_ports = [] if self._pi_bus is None else [self._pi_bus.port]
        self._hub = SerialHub(lambda: [*find_ports(wishes), *own_ports], clock)

    def stop(self) -> None:
        """Have `run` end soon and cleanly."""
        self._stopping.set()
        self._hub.wake()

    def run(self) -> None:
        """Run until `stop`; raises `KeeperError` for what keeps it from starting."""
        config = self._config
        calibrations = read_calibrations(config)
        with ExitStack() as stack:
            store = stack.enter_context(Store.open(config.bridge.store))
            settings = mqtt_settings(config)
            publisher = None
            audience = list(self._audience)
            if settings is not None:
                publisher = Publisher(settings, store.outbox, self._clock, wake=self._wake, report=_report)
                audience.append(BrokerAudience(settings, config, publisher, nudge=self._nudge))
            start = self._clock.moment()
            bridge = Bridge(
                config,
                store,
                calibrations,
                start,
                audience=audience,
                event_message=partial(event_message, settings) if settings is not None else None,
                notice_message=notice_message(settings, config) if settings is not None else None,
            )
            capture = None
            if self._capture is not None:  # only now that nothing else can keep us from starting
                capture = stack.enter_context(closing(CaptureFile(self._capture)))
                capture.write([Quiet(start)])
            mirror = self._mirror()
            if mirror is not None:
                mirror.start()
                stack.callback(mirror.stop)
            if self._pi_bus is not None:
                stack.enter_context(self._pi_bus)
            log.info("started", extra={"site": config.bridge.site, "store": str(config.bridge.store)})
            try:
                self._loop(bridge, publisher, capture)
            except KeeperError:
                raise
            except Exception:
                log.exception("stopped by a fault in baskline; what had come is kept")
                raise
            finally:
                self._keep_what_came(bridge, capture)
            if publisher is not None:
                publisher.pump()
                publisher.close()
            log.info("stopped")

    def _mirror(self) -> Mirror | None:
        settings = mirror_settings(self._config)
        if settings is None:
            return None
        path = self._config.bridge.store
        return Mirror(settings, lambda: Store.open(path), self._config.spots, _report)

    def _nudge(self) -> None:
        """Have the publisher looked after at the end of this round."""
        self._pump_due = True

    def _wake(self) -> None:
        """Have it looked after at once; called from its own thread."""
        self._nudge()
        self._hub.wake()

    def _loop(self, bridge: Bridge, publisher: Publisher | None, capture: CaptureFile | None) -> None:
        hub, pumped_ms = self._hub, 0
        while not self._stopping.is_set():
            traffic = hub.poll(_POLL_S)
            if capture is not None:
                capture.write(traffic)
            bridge.take(traffic)
            for link, data in bridge.outgoing():
                hub.send(link, data)
            now = traffic[-1].at  # which a capture holds too, so that its replay has the same ticks
            bridge.tick(now)
            for problem in hub.take_problems():
                log.warning(problem.error.what, extra={"port": problem.port, "do": problem.error.remedy})
            if publisher is not None and (self._pump_due or now.mono_ms - pumped_ms >= _PUMP_EVERY_MS):
                self._pump_due, pumped_ms = False, now.mono_ms
                publisher.pump()

    def _keep_what_came(self, bridge: Bridge, capture: CaptureFile | None) -> None:
        """Close the ports and store everything, whatever has failed before."""
        try:
            traffic = self._hub.close()
            if capture is not None:
                capture.write(traffic)
            bridge.take(traffic)
        finally:
            bridge.finish(self._clock.moment())


def _report(error: KeeperError) -> None:
    log.warning(error.what, extra={"where": error.where, "do": error.remedy})
