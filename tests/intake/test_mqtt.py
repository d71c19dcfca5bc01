"""The connection to a real mosquitto."""

import json
import signal
import socket
import ssl
import subprocess
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import trustme

from monitor.errors import ConfigError
from monitor.intake.arrival import Inbox
from monitor.intake.mqtt import BrokerAddress
from tests.support.brokers import (
    free_port,
    mosquitto,
    publish_lines,
    wait_for,
)
from tests.support.intakes import RunningIntake, running

pytestmark = pytest.mark.mosquitto

STATUS = "rearing-monitor/status"
AIR = "rearing/shelf-a/air_temperature"


def _status(port: int) -> dict[str, str]:
    ran = subprocess.run(
        ["mosquitto_sub", "-p", str(port), "-t", STATUS, "-C", "1", "-W", "5"],
        capture_output=True,
        check=True,
        timeout=10,
    )
    return json.loads(ran.stdout)


def test_a_message_comes_with_all_that_the_broker_said_of_it(tmp_path):
    """Topic, bytes, QoS, flags and the time it came."""
    with mosquitto(tmp_path) as broker, running(broker.port) as one:
        before = datetime.now(UTC)
        broker.publish(AIR, b"\x00\xff")
        broker.publish(AIR, "21.5", qos=0)
        first, second = one.take(2)

    assert (first.topic, first.payload, first.qos) == (AIR, b"\x00\xff", 1)
    assert (first.retain, first.dup, first.generation) == (False, False, 1)
    assert before <= first.arrived_at < second.arrived_at
    assert (second.payload, second.qos) == (b"21.5", 0)


def test_a_topic_that_is_no_text_is_shown_escaped(tmp_path):
    """A broken device must not reach further than its own message (M1)."""
    with mosquitto(tmp_path, port=None) as broker, running(broker.port) as one:
        with socket.create_connection(("127.0.0.1", broker.port), 5) as raw:
            # CONNECT (3.1.1, clean session, id "x"), then PUBLISH QoS 0
            raw.sendall(b"\x10\x0d\x00\x04MQTT\x04\x02\x00\x3c\x00\x01x")
            assert raw.recv(4) == b"\x20\x02\x00\x00"
            raw.sendall(b"\x30\x0c\x00\x09rearing/\xff1")
        broker.publish(AIR, "21.5")
        got = one.take(1)

    assert got[-1].payload == b"21.5"
    assert one.raised is None


def test_arrival_times_never_repeat(tmp_path):
    """Two untimed readings of one series in one instant are two readings."""
    with mosquitto(tmp_path) as broker, running(broker.port) as one:
        publish_lines(broker.port, AIR, [str(n) for n in range(500)])
        got = one.take(500)

    times = [arrival.arrived_at for arrival in got]
    assert times == sorted(set(times))
    assert [int(arrival.payload) for arrival in got] == list(range(500))


def test_the_status_topic_says_online_and_offline(tmp_path):
    """Retained, with the version; a kill leaves it to the last will."""
    with mosquitto(tmp_path) as broker:
        with running(broker.port) as one:
            wait_for(lambda: _drained(one))
            online = _status(broker.port)
        offline = _status(broker.port)

    assert (online["state"], offline["state"]) == ("online", "offline")
    assert online["version"] == offline["version"]
    assert one.inbox.take(1, 0) == []


def _drained(one: RunningIntake) -> bool:
    one.intake.note_empty(one.clock.now())
    return not one.intake.draining


def test_draining_lasts_until_the_backlog_is_through(tmp_path):
    """It ends by the mark that follows the last old message, never before."""
    with mosquitto(tmp_path, max_inflight_messages="20") as broker:
        with running(broker.port):
            pass
        publish_lines(broker.port, AIR, [str(n) for n in range(3000)])
        with running(broker.port, receive_maximum=20) as one:
            got: list[bool] = []
            while len(got) < 3000:
                batch = one.inbox.take(20, 5)
                assert batch, f"only {len(got)} came"
                got += [one.intake.draining] * len(batch)
                one.intake.note_empty(one.clock.now() + timedelta(seconds=2))
                one.intake.acknowledge(batch)
            wait_for(lambda: _drained(one))
            broker.publish(AIR, "21.5")
            one.take(1)
            live = one.intake.draining

    assert all(got)
    assert not live


def test_other_filters_may_be_asked_for_while_it_runs(tmp_path):
    """A reloaded configuration needs no restart, and no reconnect."""
    with (
        mosquitto(tmp_path) as broker,
        running(broker.port, filters=("old/#", "rearing/#")) as one,
    ):
        wait_for(lambda: _drained(one))
        one.intake.subscribe(("rearing/#", "new/#"))
        broker.publish("new/1", "warm-up", retain=True)
        (first,) = one.take(1)
        broker.publish("old/1", "1")
        broker.publish("new/1", "2")
        broker.publish(AIR, "3")
        got = one.take(2)
        nothing = one.inbox.take(1, 0.2)
        health = one.intake.health()

    assert first.payload == b"warm-up"
    assert [arrival.payload for arrival in got] == [b"2", b"3"]
    assert nothing == []
    assert (health.connects, health.draining) == (1, False)


def test_what_is_not_acknowledged_comes_again_and_the_rest_does_not(tmp_path):
    """The acknowledgement after the commit is what the broker goes by."""
    with mosquitto(tmp_path) as broker:
        with running(broker.port) as one:
            publish_lines(broker.port, AIR, ["1", "2", "3"])
            one.take(2)
            wait_for(lambda: len(one.inbox) == 1)
        with running(broker.port) as again:
            (got,) = again.take(1)
            nothing = again.inbox.take(1, 0.3)

    assert (got.payload, got.dup) == (b"3", True)
    assert nothing == []


def test_acknowledgements_of_an_older_connection_are_passed_over(tmp_path):
    """Their packet ids may belong to other messages now."""
    with mosquitto(tmp_path, persistence="true") as broker:
        with running(broker.port) as one:
            broker.publish(AIR, "old")
            wait_for(lambda: len(one.inbox) == 1)
            (old,) = one.inbox.take(1, 1)
            broker.restart()
            wait_for(lambda: one.intake.health().connects == 2 and one.up)
            wait_for(lambda: len(one.inbox) == 1)
            one.intake.acknowledge([old])
        with running(broker.port) as again:
            (got,) = again.take(1)

    assert (got.payload, got.generation) == (b"old", 1)


def test_a_full_inbox_costs_a_reconnect_and_no_message(tmp_path, monkeypatch):
    """Refused QoS 1 messages come again once there is room."""
    monkeypatch.setattr("monitor.intake.mqtt.BETWEEN_CUTS_S", 0.1)
    inbox = Inbox(10)
    with mosquitto(tmp_path) as broker, running(broker.port, inbox=inbox) as one:
        publish_lines(broker.port, AIR, [str(n) for n in range(50)])
        wait_for(lambda: inbox.refused)
        seen: set[bytes] = set()

        def all_came() -> bool:
            batch = inbox.take(10, 0.05)
            one.intake.acknowledge(batch)
            seen.update(arrival.payload for arrival in batch)
            return len(seen) == 50

        wait_for(all_came, 40)
        health = one.intake.health()

    assert health.refused_messages >= 1
    assert [up for up, _ in one.changes] == [True]


def test_stop_is_quick_while_nothing_answers():
    """Also between two attempts to connect."""
    one = RunningIntake(BrokerAddress("127.0.0.1", free_port()))
    one.thread.start()
    wait_for(lambda: one.changes)

    began = time.monotonic()
    one.stop()

    assert time.monotonic() - began < 3
    up, words = one.changes[0]
    assert not up
    assert "ConnectionRefusedError" in words
    assert words.endswith("is it running, and are host and port right?")


def test_stop_is_quick_while_the_broker_is_frozen(tmp_path):
    """A broker that takes nothing more must not hold the daemon."""
    with mosquitto(tmp_path) as broker, running(broker.port) as one:
        broker.freeze()
        began = time.monotonic()
        one.stop()
        took = time.monotonic() - began
        broker.thaw()

    assert took < 3


def test_a_stop_before_the_run_is_kept():
    """The service may be told to end while it still builds."""
    one = RunningIntake(BrokerAddress("127.0.0.1", free_port()))

    assert one.intake.stop()
    one.intake.run()

    assert one.changes == []


def test_something_else_on_the_port_is_told_and_tried_again():
    """A server that answers with text is no broker, and no end of the daemon."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(10)
        one = RunningIntake(BrokerAddress("127.0.0.1", server.getsockname()[1]))
        one.thread.start()
        for _ in range(2):
            talker, _ = server.accept()
            with talker:
                talker.sendall(b"HTTP/1.1 400 Bad Request\r\n\r\n" * 20)
        wait_for(lambda: one.changes)
        one.stop()

    assert one.raised is None
    assert not one.changes[0][0]
    assert one.intake.health().failed_connects >= 1


def test_m14_a_fight_for_our_client_id_is_named(tmp_path):
    """M14: the broker only hangs up; that it does so again and again says why."""
    with (
        mosquitto(tmp_path) as broker,
        running(broker.port) as one,
        running(broker.port) as other,
    ):
        wait_for(lambda: any("again and again" in w for _, w in one.changes), 20)
        connects = one.intake.health().connects + other.intake.health().connects
        words = one.changes[-1][1] + other.changes[-1][1]

    assert 'stop the other program with the client id "rearing-monitor"' in words
    assert connects < 12


def test_the_password_is_in_no_text():
    """An address may end up in a log."""
    address = BrokerAddress("quillmere.invalid", username="monitor", password="s3cret")

    assert "s3cret" not in repr(address) + str(address)


class Authority:
    """Certificates of a house's own authority."""

    def __init__(self, directory: Path, **issued: datetime) -> None:
        authority = trustme.CA()
        certificate = authority.issue_cert("127.0.0.1", **issued)
        self.ca, self.key = directory / "ca.pem", directory / "key.pem"
        self.certificate = directory / "certificate.pem"
        authority.cert_pem.write_to_path(str(self.ca))
        certificate.private_key_pem.write_to_path(str(self.key))
        certificate.cert_chain_pems[0].write_to_path(str(self.certificate))

    def options(self) -> dict[str, str]:
        return {"certfile": str(self.certificate), "keyfile": str(self.key)}


def test_tls_with_login(tmp_path):
    """A CA file of the house, name and password; many messages in one record."""
    house = Authority(tmp_path)
    passwords = tmp_path / "passwords"
    subprocess.run(
        ["mosquitto_passwd", "-c", "-b", str(passwords), "monitor", "s3cret"],
        check=True,
    )
    with mosquitto(
        tmp_path,
        allow_anonymous="false",
        password_file=str(passwords),
        **house.options(),
    ) as broker:
        address = BrokerAddress(
            "127.0.0.1", broker.port, "monitor", "s3cret", tls=str(house.ca)
        )
        with running(broker.port, address=address) as one:
            for n in range(20):
                broker.publish(
                    AIR,
                    str(n),
                    login=("monitor", "s3cret"),
                    more=("--cafile", str(house.ca)),
                )
            got = one.take(20)

    assert [int(arrival.payload) for arrival in got] == list(range(20))


# paho leaves the socket of a failed handshake to the garbage collector
@pytest.mark.filterwarnings(
    "ignore:.*SSLSocket:pytest.PytestUnraisableExceptionWarning"
)
@pytest.mark.parametrize("trusted", [True, False], ids=["expired", "unknown"])
def test_m16_a_bad_certificate_is_told_with_its_reason(tmp_path, trusted):
    """M16: expired or unknown, it is never accepted and never quiet."""
    (tmp_path / "other").mkdir()
    past = datetime.now(UTC) - timedelta(days=1)
    house = Authority(tmp_path, **({"not_after": past} if trusted else {}))
    ca = house.ca if trusted else Authority(tmp_path / "other").ca
    with mosquitto(tmp_path, **house.options()) as broker:
        address = BrokerAddress("127.0.0.1", broker.port, tls=str(ca))
        with running(broker.port, wait=False, address=address) as one:
            wait_for(lambda: one.changes)
            health = one.intake.health()

    up, words = one.changes[0]
    assert not up
    assert ssl.SSLCertVerificationError.__name__ in words
    assert words.endswith("check its certificate and broker.tls")
    assert health.failed_connects >= 1


def test_a_ca_file_that_is_not_there_is_a_configuration_error(tmp_path):
    """Told at start, with key and mend."""
    address = BrokerAddress("127.0.0.1", tls=str(tmp_path / "none.pem"))

    with pytest.raises(ConfigError, match=r"broker: tls: .*none\.pem"):
        RunningIntake(address)


def test_a_killed_monitor_leaves_offline_behind(tmp_path):
    """The last will: others see that nobody listens."""
    with mosquitto(tmp_path) as broker:
        one = RunningIntake(BrokerAddress("127.0.0.1", broker.port))
        one.thread.start()
        wait_for(lambda: one.up)
        one.intake._client.socket().shutdown(socket.SHUT_RDWR)
        one.intake._stopping.set()
        one.thread.join(5)
        wait_for(lambda: _status(broker.port)["state"] == "offline")
        broker.stop(signal.SIGKILL)

    assert not one.thread.is_alive()
