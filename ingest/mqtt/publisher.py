"""Keeps the broker told: state as it is now, events in order and never lost.

One thread, the daemon's, calls everything here; paho's thread only fills the link's queue and calls `wake`.
Nothing waits for the broker.  While it is away events stay in the outbox and states replace one another, one
a topic; when it is back everything retained is sent again, and the outbox drains, oldest first.
"""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from typing import Protocol

from firmware_host.clock import Clock
from ingest.backoff import Backoff
from ingest.mqtt import faults
from ingest.mqtt.link import Answered, Down, Happening, Heard, Link, Subscribed, Up
from ingest.mqtt.settings import BrokerError, MqttSettings
from ingest.mqtt.topics import Topics
from ingest.store.outbox import StoredMessage

ONLINE = "online"
OFFLINE = "offline"

_WINDOW = 20  # unacknowledged messages at once; Mosquitto queues beyond as many (its max_inflight_messages)
_EVENTS_SHARE = 0.8  # of these for events at most, so that a long backlog does not hold up the states
_STEADY_MS = 60_000  # a link that held this long was a good one; shorter ones keep lengthening the wait
_REFUSED_PAUSE_MS = 60_000  # before events that the broker refused are offered again
_CONNECT_MS = 15_000  # paho gives the network and the encryption 5 s each; the rest is the broker's
_SILENCE_MS = 60_000  # without one acknowledgement while some are due: nobody is there any more
_TIDY_MS = 10_000  # what the broker had retained under our filters has come long before
_CLEAR_STATE_MS = 5_000  # after its description: a hub that still has the entity takes "" for a broken state


class Outbox(Protocol):
    """The store's durable queue of messages that no broker has taken yet."""

    def pending(self, limit: int, after_id: int) -> Sequence[StoredMessage]:
        """Return up to `limit` messages after `after_id`, oldest first."""
        ...

    def delivered(self, ids: Iterable[int]) -> None:
        """Forget messages that a broker has taken."""
        ...


class Publisher:
    """Publishes for one bridge.  Call `pump` when woken, and at least once a second."""

    def __init__(
        self,
        settings: MqttSettings,
        outbox: Outbox,
        clock: Clock,
        *,
        wake: Callable[[], None],
        report: Callable[[BrokerError], None],
    ) -> None:
        """`wake` is called from another thread when there is something to pump.

        `report` is called from `pump`, once for each new trouble until the broker has been reached again.
        """
        self._settings = settings
        self._topics = Topics(settings)
        self._outbox = outbox
        self._clock = clock
        self._wake = wake
        self._report = report
        self._backoff = Backoff(self._topics.identity)
        self._link: Link | None = None
        self._try_at_ms = clock.moment().mono_ms
        self._reported: set[str] = set()
        self._retained = {self._topics.availability: ONLINE}
        self._discovery: frozenset[str] = frozenset()
        self._known: frozenset[str] | None = None
        self._tidied = False
        self._clear_at_ms: dict[str, int] = {}
        self.trouble: BrokerError | None = None
        """Why there is no connection; None while there is one."""
        self._forget_link()

    def _forget_link(self) -> None:
        """Start over: nothing of a former link is on its way any more."""
        self._up_at_ms: int | None = None
        self._answer_at_ms = 0
        self._window = _WINDOW
        self._events_on_way: dict[int, StoredMessage] = {}
        self._offered_to = 0
        self._events_pause_to_ms = 0
        self._states_on_way: dict[int, str] = {}
        self._due = dict.fromkeys(self._retained)
        self._subscriptions: dict[int, str] = {}

    @property
    def connected(self) -> bool:
        """Whether the broker has let us in and the link holds."""
        return self._up_at_ms is not None

    def declare(self, discovery: Mapping[str, str], state_topics: Collection[str]) -> None:
        """Say which entities and which states there are; what was retained for any other is removed.

        `discovery` holds topic and payload of the descriptions for the hub (empty if it is off), and
        `state_topics` each topic on which this configuration publishes state.  Call it before the first
        `pump`, which lets what an earlier run left behind be found; and again when something changes.
        """
        known = frozenset(discovery) | frozenset(state_topics)
        for topic in (self._known or frozenset()) - known:
            self._clear(topic)
        self._known = known
        self._discovery = frozenset(discovery)
        for topic, payload in discovery.items():
            self.publish_state(topic, payload)

    def publish_state(self, topic: str, payload: str) -> None:
        """Let `payload` be what the broker retains on `topic`, now or when it can be reached."""
        self._clear_at_ms.pop(topic, None)
        self._retained[topic] = payload
        self._due[topic] = None

    def pump(self) -> None:
        """Do what can be done without waiting: hear the link, connect, send, note what was delivered."""
        now_ms = self._clock.moment().mono_ms
        if self._link is not None:
            self._hear(self._link, now_ms)
        if self._link is not None:
            self._doubt(self._link, now_ms)
        if self._link is None and now_ms >= self._try_at_ms:
            self._connect(now_ms)
        if self._link is not None and self._up_at_ms is not None:
            if not self._tidied and now_ms >= self._up_at_ms + _TIDY_MS:
                self._end_tidying(self._link)
            for topic in [topic for topic, at_ms in self._clear_at_ms.items() if now_ms >= at_ms]:
                self.publish_state(topic, "")
            self._send_events(self._link, now_ms)
            self._send_states(self._link)

    def close(self, timeout_s: float = 2.0) -> None:
        """Say goodbye: the broker publishes `offline`.  What it has not acknowledged stays in the outbox."""
        link, self._link = self._link, None
        if link is None:
            return
        link.close(timeout_s, with_will=True)
        delivered = [
            self._events_on_way[answer.number].id
            for answer in link.happenings()
            if isinstance(answer, Answered)
            and answer.number in self._events_on_way
            and answer.refused is None
        ]
        if delivered:
            self._outbox.delivered(delivered)
        self._forget_link()

    def _connect(self, now_ms: int) -> None:
        try:
            last_will = (self._topics.availability, OFFLINE)
            self._link = Link(self._settings, self._topics.identity, self._wake, last_will=last_will)
            self._answer_at_ms = now_ms
        except BrokerError as error:
            self._fail(error, now_ms)

    def _fail(self, error: BrokerError, now_ms: int) -> None:
        self._link = None
        if self._up_at_ms is not None and now_ms - self._up_at_ms >= _STEADY_MS:
            self._backoff.succeeded()
        self._forget_link()
        self._try_at_ms = now_ms + round(1000 * self._backoff.failed())
        self.trouble = error
        self._report_once(error)

    def _report_once(self, error: BrokerError) -> None:
        if str(error) not in self._reported:
            self._reported.add(str(error))
            self._report(error)

    def _hear(self, link: Link, now_ms: int) -> None:
        delivered: list[int] = []
        for happening in link.happenings():
            self._take(link, happening, delivered, now_ms)
            if self._link is not link:
                break  # it has ended, and with it everything that was on its way
        if delivered:
            self._outbox.delivered(delivered)

    def _doubt(self, link: Link, now_ms: int) -> None:
        """Give up a link on which answers are due and do not come, though the network says nothing."""
        if self.connected and not self._events_on_way and not self._states_on_way:
            self._answer_at_ms = now_ms
        elif now_ms - self._answer_at_ms >= (_SILENCE_MS if self.connected else _CONNECT_MS):
            link.close(0.0, with_will=False)
            self._fail(faults.from_exception(self._settings, TimeoutError()), now_ms)

    def _take(self, link: Link, happening: Happening, delivered: list[int], now_ms: int) -> None:
        if isinstance(happening, Answered):
            self._answer_at_ms = now_ms
        match happening:
            case Up(receive_maximum):
                self._come_up(link, receive_maximum, now_ms)
            case Down(why):
                self._fail(why, now_ms)
            case Answered(number, refused) if number in self._events_on_way:
                stored = self._events_on_way.pop(number)
                if refused is None:
                    delivered.append(stored.id)
                else:
                    self._hold_events(stored.message.topic, refused, now_ms)
            case Answered(number, refused):
                topic = self._states_on_way.pop(number)
                if refused is not None:
                    self._report_once(faults.from_refused_message(self._settings, topic, refused))
                elif not self._retained[topic] and topic not in self._due:
                    del self._retained[topic]  # the broker has forgotten it, so we may too
            case Subscribed(number, refused):
                topic = self._subscriptions.pop(number)
                if refused is not None:
                    self._report_once(faults.from_refused_subscription(self._settings, topic, refused))
            case Heard(topic, payload, retained):
                self._listen(topic, payload, retained=retained)

    def _come_up(self, link: Link, receive_maximum: int, now_ms: int) -> None:
        self._up_at_ms = now_ms
        self._window = min(_WINDOW, receive_maximum)
        self.trouble = None
        self._reported.clear()
        wanted = [self._topics.hub_status] if self._discovery else []
        if self._known is not None and not self._tidied:
            wanted += self._topics.own_retained
        for topic in wanted:
            number = link.subscribe(topic)
            if number is not None:
                self._subscriptions[number] = topic

    def _listen(self, topic: str, payload: bytes, *, retained: bool) -> None:
        if topic == self._topics.hub_status:
            if payload == ONLINE.encode() and not retained:  # a retained one is old; we have just sent all
                self._due = dict.fromkeys(self._retained)
        elif retained and payload and self._known is not None and topic not in self._known:
            self._clear(topic)

    def _clear(self, topic: str) -> None:
        """Have the broker forget what it retains on `topic`: to it an empty message means that."""
        if self._topics.is_discovery(topic):
            self.publish_state(topic, "")
        else:
            self._clear_at_ms.setdefault(topic, self._clock.moment().mono_ms + _CLEAR_STATE_MS)

    def _end_tidying(self, link: Link) -> None:
        self._tidied = True
        for topic in self._topics.own_retained:
            link.unsubscribe(topic)

    def _hold_events(self, topic: str, refused: str, now_ms: int) -> None:
        self._events_pause_to_ms = now_ms + _REFUSED_PAUSE_MS
        self._report_once(faults.from_refused_message(self._settings, topic, refused))

    def _send_events(self, link: Link, now_ms: int) -> None:
        if self._events_pause_to_ms:
            if now_ms < self._events_pause_to_ms or self._events_on_way:
                return
            self._events_pause_to_ms = 0
            self._offered_to = 0  # from the oldest again, so that the order holds
        on_way = len(self._events_on_way)
        at_once = max(1, int(_EVENTS_SHARE * self._window))
        room = min(at_once - on_way, self._window - on_way - len(self._states_on_way))
        if room <= 0:
            return
        for stored in self._outbox.pending(room, self._offered_to):
            message = stored.message
            number = link.publish(message.topic, message.payload, qos=message.qos, retain=message.retain)
            self._events_on_way[number] = stored
            self._offered_to = stored.id

    def _send_states(self, link: Link) -> None:
        if not self._due:
            return
        room = self._window - len(self._events_on_way) - len(self._states_on_way)
        on_way = set(self._states_on_way.values())
        # One at a time on each topic, so that the newest value waits here and not in a queue of old ones.
        for topic in [topic for topic in self._due if topic not in on_way][: max(room, 0)]:
            del self._due[topic]
            number = link.publish(topic, self._retained[topic].encode(), qos=1, retain=True)
            self._states_on_way[number] = topic
