"""One connection to a broker, from the first try to its end.

The network runs in paho's own thread.  Its callbacks touch nothing but a queue, which the owner reads with
`happenings` from its own thread.  A link that has ended is thrown away with everything that paho still held,
so that nothing old is sent after something newer; what was not acknowledged is still in the outbox.

MQTT 5, because its acknowledgements carry a reason: a 3.1.1 broker acknowledges also what its access rules
throw away, and an event would count as delivered that never was.
"""

import queue
import socket
import sys
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, TypeAlias

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from ingest.mqtt import faults
from ingest.mqtt.settings import BrokerError, MqttSettings

_KEEPALIVE_S = 30  # a broker calls us offline after half as much again; one ping each half minute is nothing
_RECEIVE_MAXIMUM = 65535  # MQTT 5.0, 3.2.2.3.3: what holds when the broker names none


@dataclass(frozen=True, slots=True)
class Up:
    """The broker has let us in; it takes `receive_maximum` unacknowledged messages at once."""

    receive_maximum: int


@dataclass(frozen=True, slots=True)
class Down:
    """The link has ended, for good."""

    why: BrokerError


@dataclass(frozen=True, slots=True)
class Answered:
    """The broker took message `number`; or did not, for the reason in `refused`."""

    number: int
    refused: str | None


@dataclass(frozen=True, slots=True)
class Subscribed:
    """The broker answered a subscription; `refused` says why it did not grant it."""

    number: int
    refused: str | None


@dataclass(frozen=True, slots=True)
class Heard:
    """A message came in on a subscription; `retained` if it had been there before."""

    topic: str
    payload: bytes
    retained: bool


Happening: TypeAlias = Up | Down | Answered | Subscribed | Heard


class Link:
    """One connection.  Made to connect at once, in the background."""

    def __init__(
        self,
        settings: MqttSettings,
        client_name: str,
        wake: Callable[[], None],
        *,
        last_will: tuple[str, str] | None = None,
    ) -> None:
        """Start connecting as `client_name`; `wake` is called from paho's thread whenever something happened.

        `last_will` is the topic and payload that the broker publishes, retained, when this link breaks.
        Raise BrokerError if a certificate file cannot be used.
        """
        self._ear = _Ear(settings, wake)
        client = Client(
            CallbackAPIVersion.VERSION2,
            client_name,
            protocol=MQTTProtocolVersion.MQTTv5,
            reconnect_on_failure=False,
        )
        client.max_inflight_messages_set(0)  # no limit of paho's: the owner keeps its own window
        client.reconnect_delay_set(0, 0)  # when to try again is the owner's to say; paho's thread just ends
        if settings.username is not None:
            client.username_pw_set(settings.username, settings.password)
        if settings.tls:
            client.tls_set_context(faults.tls_context(settings))
        if last_will is not None:
            client.will_set(*last_will, qos=1, retain=True)
        client.on_socket_open = _send_small_packets_at_once
        client.on_connect_fail = self._ear.on_connect_fail
        client.on_connect = self._ear.on_connect
        client.on_disconnect = self._ear.on_disconnect
        client.on_publish = self._ear.on_publish
        client.on_subscribe = self._ear.on_subscribe
        client.on_message = self._ear.on_message
        self._client = client
        client.connect_async(settings.host, settings.port, keepalive=_KEEPALIVE_S)
        client.loop_start()

    def happenings(self) -> Iterator[Happening]:
        """Yield what has happened since the last call, in order, without waiting."""
        while True:
            try:
                yield self._ear.happenings.get_nowait()
            except queue.Empty:
                return

    def next_happening(self, timeout_s: float) -> Happening | None:
        """Wait for the next thing to happen; None if nothing does in time."""
        try:
            return self._ear.happenings.get(timeout=max(timeout_s, 0.0))
        except queue.Empty:
            return None

    def publish(self, topic: str, payload: bytes, *, qos: int, retain: bool) -> int:
        """Send a message and return its number, which `Answered` will name."""
        return self._client.publish(topic, payload, qos=qos, retain=retain).mid

    def subscribe(self, topic: str) -> int | None:
        """Ask for a topic; return the number that `Subscribed` will name, None if the link has just ended."""
        return self._client.subscribe(topic, qos=1)[1]

    def unsubscribe(self, topic: str) -> None:
        """Ask for no more of a topic."""
        self._client.unsubscribe(topic)

    def close(self, timeout_s: float, *, with_will: bool) -> None:
        """End the link, and wait up to `timeout_s` until the broker has been told.

        `with_will` has the broker publish the last will, as it would had the link broken.
        """
        self._ear.closing = True
        name = "Disconnect with will message" if with_will else "Normal disconnection"
        self._client.disconnect(ReasonCode(PacketTypes.DISCONNECT, name))
        if self._ear.was_up:
            self._ear.ended.wait(timeout_s)


class _Ear:
    """What paho's thread calls.  It holds neither link nor client: these free their sockets at once."""

    def __init__(self, settings: MqttSettings, wake: Callable[[], None]) -> None:
        self._settings = settings
        self._wake = wake
        self.happenings: queue.SimpleQueue[Happening] = queue.SimpleQueue()
        self.ended = threading.Event()
        self.was_up = False
        self.closing = False

    def _tell(self, happening: Happening) -> None:
        self.happenings.put(happening)
        self._wake()

    def _end(self, why: BrokerError) -> None:
        if not self.ended.is_set():
            self.ended.set()
            self._tell(Down(why))

    def on_connect_fail(self, _client: Client, _userdata: object) -> None:
        # paho calls this while it handles the error that it does not pass on.
        self._end(faults.from_exception(self._settings, sys.exception()))

    def on_connect(
        self,
        client: Client,
        _userdata: object,
        _flags: ConnectFlags,
        reason: ReasonCode,
        properties: Properties | None,
    ) -> None:
        if reason.is_failure:
            self._end(faults.from_refusal(self._settings, reason.value, str(reason)))
        elif self.closing:  # closed while it was still connecting, which paho does not notice
            client.disconnect()
        else:
            self.was_up = True
            self._tell(Up(getattr(properties, "ReceiveMaximum", _RECEIVE_MAXIMUM)))

    def on_disconnect(
        self,
        _client: Client,
        _userdata: object,
        flags: DisconnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if flags.is_disconnect_packet_from_server and reason.is_failure:
            self._end(faults.from_refusal(self._settings, reason.value, str(reason)))
        else:
            self._end(faults.from_loss(self._settings, answered=self.was_up))

    def on_publish(
        self, _client: Client, _userdata: object, number: int, reason: ReasonCode, _properties: Properties
    ) -> None:
        self._tell(Answered(number, str(reason) if reason.is_failure else None))

    def on_subscribe(
        self,
        _client: Client,
        _userdata: object,
        number: int,
        reasons: list[ReasonCode],
        _properties: Properties | None,
    ) -> None:
        refusals = [str(reason) for reason in reasons if reason.is_failure]
        self._tell(Subscribed(number, refusals[0] if refusals else None))

    def on_message(self, _client: Client, _userdata: object, message: MQTTMessage) -> None:
        self._tell(Heard(message.topic, bytes(message.payload), message.retain))


def _send_small_packets_at_once(_client: Client, _userdata: object, sock: Any) -> None:
    # Otherwise the system holds a second small message back until the first is acknowledged.
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
