import json
import signal
import socket
from dataclasses import replace

from ingest.mqtt.topics import Topics


def test_states_are_retained_for_a_hub_that_comes_later(settings, bench, listen):
    topic = Topics(settings).spot_state("ledge")
    one = bench(settings)
    one.publisher.publish_state(topic, '{"uvi":1}')
    one.until_up()
    one.until_quiet()
    late = listen(settings, topic)
    message = late.next()
    assert (message.payload, message.retain) == (b'{"uvi":1}', True)


def test_the_newest_state_wins_while_the_broker_is_away(settings, bench, listen):
    topics = Topics(settings)
    listener = listen(settings, topics.spot_state("ledge"))
    one = bench(settings)
    for uvi in range(1000):
        one.publisher.publish_state(topics.spot_state("ledge"), json.dumps({"uvi": uvi}))
    one.publisher.publish_state(topics.spot_state("shelf"), "{}")
    one.until_up()
    assert json.loads(listener.next().payload) == {"uvi": 999}
    assert len(one.publisher._retained) == 3  # availability and one for each spot: memory stays bounded


def test_an_event_arrives_once_not_retained_and_is_then_forgotten(settings, bench, listen):
    topics = Topics(settings)
    listener = listen(settings, topics.event)
    one = bench(settings)
    one.say("first")
    one.until_drained()
    message = listener.next()
    assert (message.payload, message.qos, message.retain) == (b"first", 1, False)
    assert listener.heard.empty()


def test_availability_says_online_then_offline_by_last_will_when_the_process_dies(settings, bench, listen):
    listener = listen(settings, Topics(settings).availability)
    one = bench(settings)
    one.until_up()
    one.until(lambda: not listener.heard.empty())
    assert listener.next().payload == b"online"
    one.cut()
    message = listener.next()
    assert message.payload == b"offline"


def test_a_clean_stop_says_offline_at_once(settings, bench, listen):
    listener = listen(settings, Topics(settings).availability)
    one = bench(settings)
    one.until(lambda: not listener.heard.empty())
    assert listener.next().payload == b"online"
    one.publisher.close()
    assert listener.next().payload == b"offline"
    assert one.reports == []


def test_events_queued_while_the_broker_was_down_all_arrive_in_order(settings, start_broker, bench, listen):
    broker = start_broker()
    settings = replace(settings, port=broker.port)
    topics = Topics(settings)
    one = bench(settings)
    one.say("0")
    one.until_drained()
    broker.kill()
    assert "connection was lost" in str(one.until_trouble())
    for number in range(1, 101):
        one.say(str(number))
    one.publisher.pump()
    broker.start()
    listener = listen(settings, topics.event)
    one.clock.advance_ms(60_000)
    one.until_drained()
    got = [int(listener.next().payload) for _ in range(100)]
    assert got == list(range(1, 101))
    assert one.publisher.connected


def test_events_are_sent_again_when_the_broker_dies_before_it_acknowledges(
    settings, start_broker, bench, listen
):
    broker = start_broker()
    settings = replace(settings, port=broker.port)
    topics = Topics(settings)
    one = bench(settings)
    one.until_up()
    for number in range(50):
        one.say(str(number))
    one.publisher.pump()  # a window full is on its way
    broker.kill()
    one.until(lambda: not one.publisher.connected)
    assert one.outbox.pending(1, 0), "nothing may be forgotten that was not acknowledged"
    broker.start()
    listener = listen(settings, topics.event)
    one.clock.advance_ms(60_000)
    one.until_drained()
    got = []
    while not got or got[-1] != 49:
        got.append(int(listener.next().payload))
    assert got == list(range(got[0], 50))


def test_after_a_broker_restart_availability_and_states_are_there_again(
    settings, start_broker, bench, listen
):
    broker = start_broker()
    settings = replace(settings, port=broker.port)
    topics = Topics(settings)
    one = bench(settings)
    one.publisher.publish_state(topics.spot_state("ledge"), "{}")
    one.until_up()
    broker.kill()  # without persistence: everything retained is gone
    one.until_trouble()
    broker.start()
    listener = listen(settings, topics.availability, topics.spot_state("ledge"))
    one.clock.advance_ms(60_000)
    one.until_up()
    one.until(lambda: listener.heard.qsize() == 2)
    assert [listener.next().topic for _ in range(2)] == [topics.availability, topics.spot_state("ledge")]


def test_a_hub_that_says_online_gets_descriptions_and_states_again(settings, bench, listen):
    topics = Topics(settings)
    description = topics.discovery("sensor", "SPOT_ledge_uvi")
    state = topics.spot_state("ledge")
    one = bench(settings)
    one.publisher.declare({description: '{"name":"UVI"}'}, [state])
    one.publisher.publish_state(state, "{}")
    listener = listen(settings, description, state)
    one.until(lambda: listener.heard.qsize() == 2)
    for _ in range(2):
        listener.next()
    listener.client.publish(topics.hub_status, "online", qos=1)
    one.until(lambda: listener.heard.qsize() == 2)
    assert {listener.next().topic for _ in range(2)} == {description, state}


def test_what_a_former_configuration_left_behind_is_removed(settings, bench, listen):
    topics = Topics(settings)
    kept, gone = topics.spot_state("ledge"), topics.spot_state("shelf")
    kept_entity, gone_entity = (topics.discovery("sensor", f"SPOT_{key}_uvi") for key in ("ledge", "shelf"))
    former = bench(settings)
    former.publisher.declare({kept_entity: "{}", gone_entity: "{}"}, [kept, gone])
    former.publisher.publish_state(kept, "{}")
    former.publisher.publish_state(gone, "{}")
    former.until_up()
    former.until_quiet()
    former.publisher.close()

    now = bench(settings)
    now.publisher.declare({kept_entity: "{}"}, [kept])
    listener = listen(settings, gone, gone_entity)
    assert {listener.next().payload for _ in range(2)} == {b"{}"}
    now.until(lambda: not listener.heard.empty() and gone in now.publisher._clear_at_ms)
    cleared = listener.next()
    assert (cleared.topic, cleared.payload) == (gone_entity, b"")
    assert listener.heard.empty(), "a hub that still has the entity would take this for a broken state"
    now.clock.advance_ms(5_000)
    now.until(lambda: not listener.heard.empty())
    cleared = listener.next()
    assert (cleared.topic, cleared.payload) == (gone, b"")
    now.clock.advance_ms(10_000)
    now.until(lambda: now.publisher._tidied and not now.publisher._states_on_way)
    late = listen(settings, kept, gone, kept_entity, gone_entity)
    assert {late.next().topic, late.next().topic} == {kept, kept_entity}
    assert late.heard.empty()


def test_another_bridges_topics_are_left_alone(settings, bench, listen):
    other = Topics(replace(settings, bridge="annex"))
    neighbour = bench(replace(settings, bridge="annex"))
    for topic in (other.spot_state("ledge"), other.discovery("sensor", "SPOT_ledge_uvi")):
        neighbour.publisher.publish_state(topic, "{}")
    neighbour.until_up()
    neighbour.until_quiet()
    one = bench(settings)
    one.publisher.declare({}, [])
    one.until_up()
    one.clock.advance_ms(10_000)
    one.until(lambda: one.publisher._tidied)
    late = listen(settings, other.spot_state("ledge"), other.discovery("sensor", "SPOT_ledge_uvi"))
    assert [late.next().payload for _ in range(2)] == [b"{}", b"{}"]


def test_a_spot_that_leaves_the_running_configuration_is_removed(settings, bench, listen):
    state = Topics(settings).spot_state("ledge")
    one = bench(settings)
    one.publisher.declare({}, [state])
    one.publisher.publish_state(state, "{}")
    listener = listen(settings, state)
    one.until(lambda: not listener.heard.empty())
    assert listener.next().payload == b"{}"
    one.publisher.declare({}, [])
    one.clock.advance_ms(5_000)
    one.until(lambda: not listener.heard.empty())
    assert listener.next().payload == b""
    one.until(lambda: state not in one.publisher._retained)


def test_a_spot_that_comes_back_at_once_keeps_its_state(settings, bench, listen):
    state = Topics(settings).spot_state("ledge")
    one = bench(settings)
    one.publisher.declare({}, [state])
    one.publisher.declare({}, [])
    one.publisher.declare({}, [state])
    one.publisher.publish_state(state, "{}")
    one.clock.advance_ms(5_000)
    one.until_up()
    one.until_quiet()
    assert listen(settings, state).next().payload == b"{}"


def test_two_bridges_of_one_name_are_told_so(settings, bench):
    first, second = bench(settings), bench(settings)
    first.until_up()
    second.until_up()
    assert "no other bridge runs as 'room'" in str(first.until_trouble())


def test_links_that_never_hold_are_tried_less_and_less_often(settings, bench):
    one = bench(settings)
    waits_ms = []
    for _ in range(4):
        one.until_up()
        one.cut()
        one.until_trouble()
        waits_ms.append(one.publisher._try_at_ms - one.clock.moment().mono_ms)
        one.clock.advance_ms(waits_ms[-1])
    assert waits_ms == sorted(set(waits_ms)), "each wait is longer than the one before"
    one.until_up()
    one.clock.advance_ms(60_000)  # it held
    one.cut()
    one.until_trouble()
    assert one.publisher._try_at_ms - one.clock.moment().mono_ms == waits_ms[0]


def test_a_broker_that_is_away_is_reported_once_and_tried_again(settings, start_broker, bench):
    broker = start_broker()
    broker.kill()
    one = bench(replace(settings, port=broker.port))
    trouble = one.until_trouble()
    assert "nothing answers on this port" in str(trouble)
    for _ in range(3):
        one.clock.advance_ms(75_000)
        tries = one.publisher._backoff._failures
        one.until(lambda tries=tries: one.publisher._backoff._failures > tries)
    assert len(one.reports) == 1
    broker.start()
    one.clock.advance_ms(75_000)
    one.until_up()
    assert one.publisher.trouble is None


def test_a_broker_that_stops_answering_without_a_word_is_given_up(settings, start_broker, bench, listen):
    broker = start_broker()
    settings = replace(settings, port=broker.port)
    one = bench(settings)
    one.until_up()
    broker.process.send_signal(signal.SIGSTOP)
    one.say("0")
    one.publisher.pump()
    one.clock.advance_ms(59_000)
    one.publisher.pump()
    assert one.publisher.connected
    one.clock.advance_ms(1_000)
    assert "no answer in time" in str(one.until_trouble())
    broker.process.send_signal(signal.SIGCONT)
    one.clock.advance_ms(75_000)
    one.until_drained()


def test_a_broker_that_never_lets_us_in_is_given_up(settings, bench):
    with socket.create_server(("127.0.0.1", 0)) as mute:  # accepts, and says nothing
        one = bench(replace(settings, port=mute.getsockname()[1]))
        one.publisher.pump()
        one.clock.advance_ms(14_999)
        one.publisher.pump()
        assert one.publisher.trouble is None
        one.clock.advance_ms(1)
        one.publisher.pump()
        assert "no answer in time" in str(one.publisher.trouble)


def test_a_long_backlog_of_events_does_not_hold_up_the_states(settings, bench, listen):
    topics = Topics(settings)
    listener = listen(settings, topics.spot_state("ledge"), topics.event)
    one = bench(settings)
    for number in range(500):
        one.say(str(number))
    one.publisher.publish_state(topics.spot_state("ledge"), "{}")
    one.until_drained()
    got = [listener.next().topic for _ in range(501)]
    assert got.index(topics.spot_state("ledge")) < 100


def test_no_more_is_on_its_way_than_the_broker_takes_at_once(settings, start_broker, bench):
    broker = start_broker("allow_anonymous true", "max_inflight_messages 3")
    one = bench(replace(settings, port=broker.port))
    for number in range(50):
        one.say(str(number))
    most = 0

    def drained():
        nonlocal most
        publisher = one.publisher
        if publisher.connected:
            most = max(most, len(publisher._events_on_way) + len(publisher._states_on_way))
        return not one.outbox.pending(1, 0)

    one.until(drained)
    assert one.reports == []
    assert 1 <= most <= 3
