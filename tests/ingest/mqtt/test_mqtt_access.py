"""Passwords, certificates and access rules, against a real broker."""

import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from firmware_host.clock import SystemClock
from ingest.mqtt.probe import probe
from ingest.mqtt.topics import Topics


@pytest.fixture
def with_password(start_broker, settings, tmp_path):
    """A broker that wants user `keeper` with password `sesame`, and settings that know it."""
    users = tmp_path / "users"
    users.touch(mode=0o600)
    subprocess.run(
        ["mosquitto_passwd", "-b", str(users), "keeper", "sesame"], check=True, capture_output=True
    )
    rules = tmp_path / "rules"
    rules.write_text("user keeper\ntopic readwrite #\n")
    rules.chmod(0o600)
    broker = start_broker("allow_anonymous false", f"password_file {users}", f"acl_file {rules}")
    broker.rules = rules
    return broker, replace(settings, port=broker.port, username="keeper", password="sesame")


def openssl(folder: Path, *words: str) -> None:
    subprocess.run(["openssl", *words], cwd=folder, check=True, capture_output=True)


def make_authority(folder: Path, name: str) -> None:
    openssl(
        folder, "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes",
        "-keyout", f"{name}.key", "-out", f"{name}.pem", "-days", "2", "-subj", f"/CN={name}",
        "-addext", "keyUsage=critical,keyCertSign",
    )  # fmt: skip


def make_certificate(folder: Path, name: str, authority: str, subject: str) -> None:
    openssl(
        folder, "req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes",
        "-keyout", f"{name}.key", "-out", f"{name}.csr", "-subj", f"/CN={name}",
    )  # fmt: skip
    (folder / "ext").write_text(f"subjectAltName={subject}\n")
    openssl(
        folder, "x509", "-req", "-in", f"{name}.csr", "-CA", f"{authority}.pem", "-CAkey", f"{authority}.key",
        "-CAcreateserial", "-out", f"{name}.pem", "-days", "2", "-extfile", "ext",
    )  # fmt: skip


@pytest.fixture(scope="module")
def certificates(tmp_path_factory):
    folder = tmp_path_factory.mktemp("certificates")
    make_authority(folder, "house")
    make_authority(folder, "stranger")
    make_certificate(folder, "broker", "house", "IP:127.0.0.1")
    make_certificate(folder, "elsewhere", "house", "DNS:elsewhere.lan")
    make_certificate(folder, "client", "house", "DNS:client.lan")
    return folder


@pytest.fixture
def with_tls(start_broker, settings, certificates):
    def start(certificate: str = "broker", *more: str):
        broker = start_broker(
            f"cafile {certificates / 'house.pem'}",
            f"certfile {certificates / certificate}.pem",
            f"keyfile {certificates / certificate}.key",
            "allow_anonymous true",
            *more,
        )
        return replace(settings, port=broker.port, tls=True, ca_file=certificates / "house.pem")

    return start


def test_the_right_password_lets_events_through(with_password, bench, listen):
    _, settings = with_password
    one = bench(settings)
    listener = listen(settings, Topics(settings).event)
    one.say("{}")
    one.until_drained()
    assert listener.next().payload == b"{}"


def test_a_wrong_password_is_said_in_words_and_without_the_password(with_password, bench):
    _, settings = with_password
    trouble = bench(replace(settings, password="open")).until_trouble()
    assert "refuses user 'keeper' with this password" in str(trouble)
    assert "mqtt.username" in trouble.remedy
    assert "open" not in str(trouble)


def test_no_password_where_one_is_wanted_is_said_in_words(with_password, bench):
    _, settings = with_password
    trouble = bench(replace(settings, username=None, password=None)).until_trouble()
    assert "it lets nobody in without a user" in str(trouble)


def test_an_event_that_the_access_rules_refuse_is_kept_and_sent_when_they_allow_it(
    with_password, bench, listen
):
    broker, settings = with_password
    topics = Topics(settings)
    broker.rules.write_text(f"user keeper\ntopic readwrite #\ntopic deny {topics.event}\n")
    broker.kill()
    broker.start()
    one = bench(settings)
    for number in range(30):
        one.say(str(number))
    one.until(lambda: one.reports)
    assert f"does not take messages on {topics.event}" in str(one.reports[0])
    assert len(one.outbox.pending(100, 0)) == 30
    assert one.publisher.connected

    broker.rules.write_text("user keeper\ntopic readwrite #\n")
    broker.kill()
    one.until(lambda: not one.publisher.connected)
    broker.start()
    listener = listen(settings, topics.event)
    one.clock.advance_ms(75_000)
    one.until_drained()
    assert [int(listener.next().payload) for _ in range(30)] == list(range(30))


def test_refused_events_are_offered_again_later_in_order(with_password, bench, listen):
    broker, settings = with_password
    topics = Topics(settings)
    broker.rules.write_text(f"user keeper\ntopic readwrite #\ntopic deny {topics.event}\n")
    broker.kill()
    broker.start()
    one = bench(settings)
    one.say("0")
    one.until(lambda: one.reports)
    one.until(lambda: not (one.publisher._events_on_way or one.publisher._states_on_way))
    one.say("1")
    one.publisher.pump()
    assert not one.publisher._events_on_way, "nothing overtakes what was refused"
    one.clock.advance_ms(60_000)
    one.publisher.pump()
    assert [stored.id for stored in one.publisher._events_on_way.values()] == [1, 2]


def test_events_arrive_over_tls(with_tls, bench):
    settings = with_tls()
    one = bench(settings)
    one.say("{}")
    one.until_drained()


def test_a_certificate_of_an_unknown_authority_is_refused(with_tls, bench, certificates):
    trouble = bench(replace(with_tls(), ca_file=certificates / "stranger.pem")).until_trouble()
    assert "certificate is not trusted" in str(trouble)
    assert "mqtt.ca_file" in trouble.remedy


def test_without_a_ca_file_the_remedy_is_to_set_one(with_tls, bench):
    trouble = bench(replace(with_tls(), ca_file=None)).until_trouble()
    assert "Set mqtt.ca_file to the certificate of the authority" in trouble.remedy


def test_a_certificate_for_another_host_is_refused(with_tls, bench):
    trouble = bench(with_tls("elsewhere")).until_trouble()
    assert "certificate is not trusted" in str(trouble)
    assert "mqtt.host" in trouble.remedy


def test_tls_on_a_port_without_tls_is_said_in_words(settings, bench):
    trouble = bench(replace(settings, tls=True)).until_trouble()
    assert "mqtt.tls = false" in trouble.remedy


def test_no_tls_on_a_port_with_tls_is_said_in_words(with_tls, bench):
    trouble = bench(replace(with_tls(), tls=False, ca_file=None)).until_trouble()
    assert "mqtt.tls = true" in trouble.remedy


def test_a_client_certificate_lets_us_in_where_one_is_wanted(with_tls, bench, certificates):
    settings = with_tls("broker", "require_certificate true")
    one = bench(
        replace(
            settings,
            certificate_file=certificates / "client.pem",
            key_file=certificates / "client.key",
        )
    )
    one.until_up()


def test_a_certificate_file_that_is_missing_or_rubbish_is_named(settings, bench, tmp_path, certificates):
    rubbish = tmp_path / "rubbish.pem"
    rubbish.write_text("rubbish")
    for ca_file in (tmp_path / "missing.pem", rubbish):
        trouble = bench(replace(settings, tls=True, ca_file=ca_file)).until_trouble()
        assert trouble.where == str(ca_file)
    trouble = bench(
        replace(settings, tls=True, certificate_file=rubbish, key_file=certificates / "client.key")
    ).until_trouble()
    assert trouble.where == str(rubbish)


def test_a_probe_goes_there_and_back_beside_a_running_bridge(with_password, bench):
    _, settings = with_password
    running = bench(settings)
    running.until_up()
    result = probe(settings, 10.0, SystemClock())
    assert result.trouble is None
    assert 0 <= result.round_trip_ms < 10_000
    running.publisher.pump()
    assert running.publisher.connected


def test_a_probe_says_what_is_wrong(with_password, start_broker):
    broker, settings = with_password
    assert "refuses user" in str(probe(replace(settings, password="x"), 10.0, SystemClock()).trouble)
    broker.kill()
    assert "nothing answers" in str(probe(settings, 10.0, SystemClock()).trouble)


def test_a_probe_gives_up_in_time_when_messages_do_not_come_back(with_password):
    broker, settings = with_password
    broker.rules.write_text(f"user keeper\ntopic write {Topics(settings).base}/#\n")
    broker.kill()
    broker.start()
    trouble = probe(settings, 0.5, SystemClock()).trouble
    assert trouble is not None


def test_a_host_that_does_not_exist_is_said_in_words(settings):
    trouble = probe(replace(settings, host="no-such-host.invalid"), 20.0, SystemClock()).trouble
    assert "no such host is known" in str(trouble)
