"""Proves that the broker can be used: in, there and back, in a few seconds, for `baskline check`."""

import secrets
from dataclasses import dataclass

from firmware_host.clock import Clock
from ingest.mqtt import faults
from ingest.mqtt.link import Answered, Down, Heard, Link, Subscribed, Up
from ingest.mqtt.settings import BrokerError, MqttSettings
from ingest.mqtt.topics import Topics


@dataclass(frozen=True, slots=True)
class ProbeResult:
    """What came of a probe: how long a message took there and back, or what is wrong."""

    round_trip_ms: int | None
    trouble: BrokerError | None


def probe(settings: MqttSettings, timeout_s: float, clock: Clock) -> ProbeResult:
    """Connect beside a running bridge, send one message to ourselves, and say what came of it."""
    try:
        return ProbeResult(_round_trip_ms(settings, timeout_s, clock), None)
    except BrokerError as error:
        return ProbeResult(None, error)


def _round_trip_ms(settings: MqttSettings, timeout_s: float, clock: Clock) -> int:
    topics = Topics(settings)
    token = secrets.token_hex(8).encode()
    # A name of its own: the bridge's would throw the running bridge out.
    link = Link(settings, f"{topics.identity}_CHECK", wake=lambda: None)
    started_ms = clock.moment().mono_ms
    sent_ms = started_ms
    try:
        while True:
            waited_s = (clock.moment().mono_ms - started_ms) / 1000
            match link.next_happening(timeout_s - waited_s):
                case None:
                    raise faults.from_exception(settings, TimeoutError())
                case Down(why):
                    raise why
                case Up():
                    link.subscribe(topics.check)
                case Subscribed(_, None):
                    sent_ms = clock.moment().mono_ms
                    link.publish(topics.check, token, qos=1, retain=False)
                case Subscribed(_, str(words)):
                    raise faults.from_refused_subscription(settings, topics.check, words)
                case Answered(_, str(words)):
                    raise faults.from_refused_message(settings, topics.check, words)
                case Heard(topics.check, payload) if payload == token:
                    return clock.moment().mono_ms - sent_ms
    finally:
        link.close(1.0, with_will=False)
