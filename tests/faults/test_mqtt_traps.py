"""Rows M1 to M17: what a broker, a network and a payload can do to us."""

import re
import subprocess
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode

from monitor.intake.arrival import Arrival, Inbox
from monitor.intake.decode import Decoder, Rejected
from monitor.intake.mqtt import BrokerAddress
from monitor.intake.sorting import Sorter
from tests.support.brokers import (
    Mosquitto,
    free_port,
    mosquitto,
    publish_lines,
    wait_for,
)
from tests.support.intakes import RunningIntake, running, sensor

pytestmark = pytest.mark.mosquitto

AIR = "rearing/shelf-a/air_temperature"
DEPLOY = Path(__file__).parents[2] / "deploy"
T0 = datetime(2026, 3, 1, 6, tzinfo=UTC)


def _timed(value: float, second: int = 0) -> str:
    return f'{{"value": {value}, "time": "2026-03-01T06:00:{second:02}Z"}}'


class Recorder:
    """What the recorder does with a batch: sort, keep, acknowledge."""

    def __init__(self, one: RunningIntake) -> None:
        self.one, self.sorter = one, Sorter(Decoder([sensor()]))
        self.values: list[float] = []
        self.quarantine: list[Rejected] = []

    def work(self) -> None:
        batch = self.one.inbox.take(100, 0.05)
        got = self.sorter.sort(batch, draining=self.one.intake.draining)
        self.values += [reading.value for reading in got.readings]
        self.quarantine += got.rejected
        self.one.intake.acknowledge(batch)

    def until(self, value: float, within: float = 15.0) -> None:
        def there() -> bool:
            self.work()
            return value in self.values

        wait_for(there, within)


@pytest.fixture
def broker(tmp_path):
    with mosquitto(tmp_path) as one:
        yield one


ZOO = [
    b"",
    b"\xff\xfe",
    b"{",
    b"null",
    b"x" * 1_048_576,
    b'{"value": "warm"}',
    b"NaN",
    b"[",
    b'[{"n": "t1", "v": NaN}]',
    b'[{"n": "t1", "v": 21, "must_": 1}]',
    b"[" + b'{"v": 21},' * 1000 + b'{"v": 21}]',
]


def test_m1_nonsense_is_followed_by_a_good_reading(broker):
    """M1: no payload ends the network thread."""
    with running(broker.port) as one:
        recorder = Recorder(one)
        for payload in ZOO:
            broker.publish(AIR, payload)
        broker.publish(AIR, _timed(21.5))
        recorder.until(21.5)

    assert len(recorder.quarantine) == len(ZOO)
    assert recorder.values == [21.5]
    assert (one.raised, one.intake.health().failed_messages) == (None, 0)


class FailingInbox(Inbox):
    """Raises what it is told to, once."""

    def __init__(self, failure: BaseException) -> None:
        super().__init__()
        self.failure: BaseException | None = failure

    def put(self, arrival: Arrival) -> bool:
        failure, self.failure = self.failure, None
        if failure is not None:
            raise failure
        return super().put(arrival)


@pytest.mark.parametrize("failure", [MemoryError(), SystemExit(1)], ids=repr)
def test_m1_what_no_program_survives_ends_the_run(broker, failure):
    """M1: the supervisor must see it within seconds, not a deaf daemon."""
    one = RunningIntake(
        BrokerAddress("127.0.0.1", broker.port), inbox=FailingInbox(failure)
    )
    one.thread.start()
    wait_for(lambda: one.up)

    broker.publish(AIR, "21.5")
    one.thread.join(5)

    assert not one.thread.is_alive()
    assert one.raised is failure


def test_m2_any_other_failure_is_counted_logged_and_survived(broker, caplog):
    """M2: no silence about it, and the next message arrives."""
    inbox = FailingInbox(RuntimeError("a mistake of ours"))
    with running(broker.port, inbox=inbox) as one:
        broker.publish(AIR, "21.5")
        broker.publish(AIR, "22.5")
        (got,) = one.take(1)
        health = one.intake.health()

    assert got.payload == b"22.5"
    assert health.failed_messages == 1
    assert "a mistake of ours" in caplog.text
    assert "21.5" in caplog.text


def test_m3_poison_sent_while_we_were_down_is_handled_once(broker):
    """M3: it is quarantined and acknowledged, so it never comes back."""
    with running(broker.port):
        pass
    broker.publish(AIR, "\x00poison")
    broker.publish(AIR, _timed(21.5))

    with running(broker.port) as one:
        first = Recorder(one)
        first.until(21.5)
    broker.publish(AIR, _timed(22.5))
    with running(broker.port) as again:
        second = Recorder(again)
        second.until(22.5)

    assert [one.payload for one in first.quarantine] == [b"\x00poison"]
    assert (second.quarantine, second.values) == ([], [22.5])


def test_m4_what_was_published_while_stopped_arrives_once(broker):
    """M4: the session outlives the process."""
    with running(broker.port):
        pass
    broker.publish(AIR, _timed(21.5))

    with running(broker.port) as one:
        got = one.take(1)
        more = one.inbox.take(1, 0.3)
    with running(broker.port) as again:
        nothing = again.inbox.take(1, 0.3)

    assert [arrival.payload for arrival in got] == [_timed(21.5).encode()]
    assert (more, nothing) == ([], [])


def test_m5_a_broker_that_forgot_us_is_subscribed_anew(broker):
    """M5: restarted without persistence, readings resume by themselves."""
    with running(broker.port) as one:
        broker.restart()
        wait_for(lambda: one.intake.health().connects == 2 and one.up)
        broker.publish(AIR, "21.5")
        (got,) = one.take(1)

    assert got.payload == b"21.5"
    assert [up for up, _ in one.changes] == [True, False, True]
    assert one.changes[1][1].startswith("lost the broker")


def test_m6_an_access_list_withholds_without_a_word(tmp_path):
    """
    M6: the broker grants the filter and hands nothing out.

    Our own books show a granted subscription, so this is found by silence alone:
    the condition "never heard since start" of each sensor.
    """
    acl = tmp_path / "acl"
    acl.write_text("topic write #\ntopic read rearing/shelf-b/#\n")
    with (
        mosquitto(tmp_path, acl_file=str(acl)) as broker,
        running(broker.port) as one,
    ):
        broker.publish(AIR, "21.5")
        broker.publish("rearing/shelf-b/air_temperature", "22.5")
        got = one.take(1)
        health = one.intake.health()

    assert [arrival.payload for arrival in got] == [b"22.5"]
    assert health.connected
    assert health.refused_filters == ()


def test_m6_a_refused_filter_is_told(broker):
    """M6: the answer to the subscription is read, code by code."""
    one = RunningIntake(
        BrokerAddress("127.0.0.1", broker.port), filters=("rearing/#", "plant/#")
    )
    answer = [
        ReasonCode(PacketTypes.SUBACK, name)
        for name in ("Granted QoS 1", "Not authorized")
    ]

    one.intake._subscribed(one.intake._client, None, 1, answer, None)

    (change,) = one.changes
    assert not change[0]
    assert "refuses to hand out plant/#: correct its access list" in change[1]
    assert one.intake.health().refused_filters == ("plant/#",)


def test_m7_a_frozen_broker_is_noticed_and_forgiven(broker):
    """M7: no answer within twice the keepalive; afterwards readings resume."""
    with running(broker.port, keepalive=1) as one:
        broker.freeze()
        wait_for(lambda: not one.up, 8)
        broker.thaw()
        wait_for(lambda: one.up, 15)
        broker.publish(AIR, "21.5")
        (got,) = one.take(1)

    assert got.payload == b"21.5"
    assert one.changes[1][0] is False


def test_m8_a_slow_recorder_costs_no_connection(broker):
    """M8: three keepalives without a single take, and the queue counts on."""
    with running(broker.port, keepalive=1) as one:
        began = time.monotonic()
        publish_lines(broker.port, AIR, [str(n) for n in range(200)])
        wait_for(lambda: len(one.inbox) == 200)
        wait_for(lambda: time.monotonic() - began > 3)
        broker.publish(AIR, "200")
        wait_for(lambda: len(one.inbox) == 201)
        health = one.intake.health()
        got = one.take(201)

    assert health.connects == 1
    assert [int(arrival.payload) for arrival in got] == list(range(201))


def test_m9_a_message_that_comes_again_is_the_same_reading(broker):
    """M9: keyed by series and measured time, a repeat changes nothing."""
    sorter = Sorter(Decoder([sensor()]))
    found = []
    with running(broker.port):
        pass
    broker.publish(AIR, _timed(21.5))
    for _ in range(2):  # not acknowledged the first time
        with running(broker.port) as one:
            wait_for(lambda: len(one.inbox) == 1)
            found.append(one.inbox.take(1, 1))
    first, second = [sorter.sort(batch, draining=True) for batch in found]

    assert found[1][0].dup
    assert first.readings == second.readings
    assert len(first.readings) == 1


_messages = st.lists(
    st.tuples(st.integers(0, 59), st.floats(-50, 120)).map(
        lambda pair: _timed(pair[1], pair[0])
    )
    | st.sampled_from(["x", "NaN"]),
    max_size=12,
)


@given(_messages, st.data())
def test_m9_any_repeats_give_the_same_set_of_readings(messages, data):
    """M9: every sequence with any messages repeated means the same."""
    sorter = Sorter(Decoder([sensor()]))
    repeats = data.draw(st.lists(st.sampled_from(messages or ["x"]), max_size=12))

    def readings(payloads: list[str], *, dup: bool) -> set:
        batch = [Arrival(AIR, p.encode(), False, dup, 1, 1, 1, T0) for p in payloads]  # noqa: FBT003
        return set(sorter.sort(batch, draining=True).readings)

    once = readings(messages, dup=False)
    again = readings([m for m in repeats if m in messages], dup=True)

    assert again <= once


def test_m10_failures_in_a_row_do_not_fill_the_window(broker):
    """M10: quarantined messages are acknowledged too, so the good ones arrive."""
    with running(broker.port, receive_maximum=20) as one:
        recorder = Recorder(one)
        lines = ["broken"] * 60 + [_timed(20 + n, n) for n in range(30)]
        publish_lines(broker.port, AIR, lines)
        recorder.until(49.0)

    assert len(recorder.quarantine) == 60
    assert recorder.values == [20.0 + n for n in range(30)]


def test_m13_a_retained_value_is_no_sign_of_life(broker):
    """M13: handed out at each connect, and never a reading of now."""
    broker.publish(AIR, "21.5", retain=True)
    with running(broker.port) as one:
        (got,) = one.take(1)
        sorter = Sorter(Decoder([sensor()]))
        found = sorter.sort([got], draining=one.intake.draining)

    assert got.retain
    assert (found.readings, sorter.drained()) == ([], [])
    assert found.retained_untimed == 1


def test_m15_our_own_queue_to_the_broker_is_bounded(broker):
    """M15: with no answer from the broker, statuses are refused, not hoarded."""
    with running(broker.port) as one:
        broker.freeze()
        codes = [
            one.intake._client.publish("rearing-monitor/x", b"x", qos=1).rc
            for _ in range(300)
        ]
        broker.thaw()

    assert len(one.intake._client._out_messages) <= 150
    assert codes[-1] != 0


def test_m16_an_unreachable_broker_is_told_once_with_a_count(caplog):
    """M16: one line and a count, no endless quiet retry and no flood."""
    address = BrokerAddress("127.0.0.1", free_port())
    with running(address.port, wait=False, address=address) as one:
        wait_for(lambda: one.intake.health().failed_connects >= 3)

    assert [up for up, _ in one.changes] == [False]
    lines = [r for r in caplog.records if r.name.startswith("monitor.intake")]
    assert 1 <= len(lines) <= 3
    assert "ConnectionRefusedError" in caplog.text


# The shipped broker file.


@pytest.fixture
def shipped(tmp_path):
    """Run deploy/mosquitto.conf as it is, but for paths and port."""
    port = free_port()
    passwords, acl = tmp_path / "passwords", tmp_path / "acl"
    for made, (who, password) in enumerate((("monitor", "m0n"), ("sensors", "s3n"))):
        create = [] if made else ["-c"]
        subprocess.run(
            ["mosquitto_passwd", *create, "-b", str(passwords), who, password],
            check=True,
        )
    acl.write_text((DEPLOY / "rearing-monitor.acl").read_text())
    text = (DEPLOY / "mosquitto.conf").read_text()
    for old, new in (
        ("/etc/mosquitto/rearing-monitor.passwd", str(passwords)),
        ("/etc/mosquitto/rearing-monitor.acl", str(acl)),
        ("listener 1883 ", f"listener {port} "),
        ("log_dest syslog", "log_dest stderr"),
    ):
        assert old in text
        text = text.replace(old, new)
    # what Debian's own file says, into which the shipped one is included
    text = f"persistence_location {tmp_path}/\n{text}"
    with mosquitto(tmp_path, port=port, config=text) as one:
        yield one


MONITOR, SENSORS = ("monitor", "m0n"), ("sensors", "s3n")


def _us(broker: Mosquitto, password: str = MONITOR[1]) -> BrokerAddress:
    return BrokerAddress("127.0.0.1", broker.port, MONITOR[0], password)


def test_m11_the_shipped_file_keeps_a_backlog_and_survives_a_restart(shipped):
    """M11, M12: 1,500 messages for an absent monitor, where 1,000 is the default."""
    with running(shipped.port, address=_us(shipped)):
        pass
    login = ("-u", SENSORS[0], "-P", SENSORS[1])
    lines = "".join(f"{n}\n" for n in range(1500)).encode()
    command = ["mosquitto_pub", "-p", str(shipped.port), "-t", AIR, "-q", "1", "-l"]
    subprocess.run([*command, *login], input=lines, check=True, timeout=60)
    shipped.restart()

    with running(shipped.port, address=_us(shipped)) as one:
        draining = one.intake.draining
        got = one.take(1500, 30)
        sorter = Sorter(Decoder([sensor()]))
        found = sorter.sort(got, draining=draining)

    assert sorted(int(arrival.payload) for arrival in got) == list(range(1500))
    assert found.readings == []


def test_m12_the_shipped_file_never_saves_at_every_message():
    """M12: the whole queue would be written for each message."""
    text = (DEPLOY / "mosquitto.conf").read_text()
    settings = dict(re.findall(r"^(\w+) (.+)$", text, re.MULTILINE))

    assert "autosave_on_changes" not in settings
    assert settings["persistence"] == "true"
    assert settings["autosave_interval"] == "60"


def test_m17_a_wrong_password_is_refused_and_said_in_words(shipped):
    """M17: the daemon goes on trying; the keeper reads what to mend."""
    wrong = _us(shipped, "guess")
    with running(shipped.port, wait=False, address=wrong) as one:
        wait_for(lambda: one.changes)

    up, words = one.changes[0]
    assert not up
    assert 'refuses us as "monitor" (Not authorized)' in words
    assert "check broker.username and the secret broker_password" in words
    assert "guess" not in words


def test_m17_nobody_gets_in_without_a_name(shipped):
    """M17: no anonymous access on the shipped listener."""
    ran = shipped.publish(AIR, "21.5")

    assert ran.returncode != 0
    assert "not authorised" in ran.stderr.lower()


def test_m17_a_forbidden_topic_is_not_delivered(shipped):
    """M17: sensors may write below rearing/ and nowhere else."""
    with running(
        shipped.port, address=_us(shipped), filters=("rearing/#", "plant/#")
    ) as one:
        wait_for(lambda: _drained(one))
        shipped.publish("plant/1", "1", login=SENSORS)
        shipped.publish("rearing-monitor/status", "x", login=SENSORS)
        shipped.publish(AIR, "21.5", login=SENSORS)
        got = one.take(1)

    assert [(a.topic, a.payload) for a in got] == [(AIR, b"21.5")]


def _drained(one: RunningIntake) -> bool:
    one.intake.note_empty(one.clock.now())
    return not one.intake.draining
