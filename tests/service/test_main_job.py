"""The main job over real MQTT, a real store and real mail."""

import random
import signal
import threading

import pytest

from tests.service.support import (
    LOGIN,
    TOPIC,
    again,
    daemon,
    own_broker,
    payload,
    people,
    recent,
    stamp,
    stored,
)
from tests.support.brokers import (
    accepts,
    free_port,
    mosquitto,
    publish,
    publish_lines,
    wait_for,
)
from tests.support.mail import CatchingServer

MESSAGES = 5_000


def committed(made):
    """Readings that the running daemon has stored since its start."""
    return made.ask("now")["daemon"]["committed"]


@pytest.fixture
def post():
    """A mail server that takes everything."""
    with CatchingServer() as made:
        yield made


@pytest.mark.mosquitto
def test_mosquitto_pub_in_and_an_alarm_mail_out_over_starttls_and_login(tmp_path):
    """Two readings beyond the danger limit, and Ines has mail; her answer is kept."""
    with (
        CatchingServer(tls="starttls", auth=LOGIN) as post,
        mosquitto(tmp_path) as broker,
    ):
        authority = tmp_path / "ca.pem"
        authority.write_bytes(post.authority_pem())
        (tmp_path / "house" / "secrets").mkdir(parents=True)
        (tmp_path / "house" / "secrets" / "mail_password").write_text(LOGIN[1] + "\n")
        with daemon(
            tmp_path / "house",
            broker=own_broker(broker.port),
            more=people(post, login=True),
            SSL_CERT_FILE=str(authority),
        ) as made:
            for i, at in enumerate(recent(2)):
                broker.publish(TOPIC, payload(at, 38.2 + i / 10))
            [mail] = post.wait_for(1, 30.0)
            [alarm] = made.ask("alarms", "list")["alarms"]
            made.ask("alarms", "acknowledge", str(alarm["id"]), "--by", "ines")
            answered = made.ask("alarms", "list")["alarms"]

    assert mail.recipients == ("ines@quillmere.example",)
    text = mail.mail.get_body(("plain",)).get_content()
    assert "38.3" in text
    assert "Warm room" in text
    assert mail.mail["Message-ID"].startswith(f"<notice-{1}.")
    assert (alarm["kind"], alarm["priority"], alarm["limit"]) == (
        "danger",
        "urgent",
        34.0,
    )
    assert answered[0]["answered_by"] == "ines"


def flow(port, lines, done):
    """Publish from another thread, in pieces, so that kills fall between them."""

    def run():
        try:
            for i in range(0, len(lines), 500):
                publish_lines(port, TOPIC, lines[i : i + 500])
        finally:
            done.set()

    thread = threading.Thread(target=run)
    thread.start()
    return thread


def kill_at_random(made, done, seed):
    """Kill -9 and restart the daemon while messages flow; tells how often."""
    choose = random.Random(seed)  # noqa: S311 - moments, no secrets
    kills = 0
    while not done.is_set() or kills < 2:
        made.pause(choose.uniform(0.05, 0.6))
        made.running.send_signal(signal.SIGKILL)
        made.running.wait(10)
        kills += 1
        again(made)
        if kills >= 6:
            break
    return kills


@pytest.mark.mosquitto
def test_killed_at_random_every_timed_reading_is_stored_exactly_once(tmp_path):
    """Kill -9 while 5,000 timed messages flow: all are there, each once."""
    with (
        mosquitto(tmp_path, max_inflight_messages="1000") as broker,
        daemon(tmp_path / "house", broker=own_broker(broker.port)) as made,
    ):
        times = recent(MESSAGES)
        lines = [payload(at, 22 + i % 50 / 100) for i, at in enumerate(times)]
        done = threading.Event()
        thread = flow(broker.port, lines, done)
        kills = kill_at_random(made, done, seed=7)
        thread.join(60)
        wait_for(lambda: len(stored(made)) >= MESSAGES, 60.0)
        made.end()
        rows = stored(made)

    assert kills >= 2
    assert len(rows) == MESSAGES
    assert [value for _, value in rows] == [22 + i % 50 / 100 for i in range(MESSAGES)]


@pytest.mark.mosquitto
def test_killed_at_random_bare_numbers_are_stored_or_set_apart(tmp_path):
    """Bare numbers tell no time: none is stored twice, none vanishes unseen."""
    count = 1_000
    with (
        mosquitto(tmp_path, max_inflight_messages="1000") as broker,
        daemon(tmp_path / "house", broker=own_broker(broker.port)) as made,
    ):
        values = [20 + i / 1000 for i in range(count)]
        done = threading.Event()
        thread = flow(broker.port, [f"{v:.3f}" for v in values], done)
        kill_at_random(made, done, seed=11)
        thread.join(60)

        def settled():
            now = made.ask("now")["daemon"]
            return len(stored(made)) + now["quarantined"] >= count

        wait_for(settled, 60.0)
        rows = [value for _, value in stored(made)]

    assert set(rows) <= {round(v, 3) for v in values}
    assert len(rows) == len(set(rows))


@pytest.mark.mosquitto
def test_m5_a_broker_restarted_without_its_memory_is_subscribed_again(tmp_path):
    """Readings resume by themselves after the broker forgot everything (M5)."""
    with (
        mosquitto(tmp_path, persistence="false") as broker,
        daemon(tmp_path / "house", broker=own_broker(broker.port)) as made,
    ):
        first, second = recent(2)
        broker.publish(TOPIC, payload(first, 22.5))
        wait_for(lambda: committed(made) == 1)
        broker.restart(signal.SIGKILL)

        def resumed():
            broker.publish(TOPIC, payload(second, 23.5))
            return committed(made) == 2

        wait_for(resumed, 30.0)
        rows = stored(made)

    assert [value for _, value in rows] == [22.5, 23.5]


@pytest.mark.mosquitto
def test_a_backlog_of_untimed_messages_is_not_now(tmp_path):
    """Of 600 bare numbers queued while we were away the last one counts."""
    with (
        mosquitto(tmp_path) as broker,
        daemon(tmp_path / "house", broker=own_broker(broker.port)) as made,
    ):
        made.end()
        publish_lines(broker.port, TOPIC, [f"{20 + i / 100:.2f}" for i in range(600)])
        again(made)
        wait_for(lambda: committed(made) == 1, 20.0)
        now = made.ask("now")["daemon"]
        rows = [value for _, value in stored(made)]
        alarms = made.ask("alarms", "list")["alarms"]

    assert rows == [25.99]
    assert now["quarantined"] == 599
    assert alarms == []


@pytest.mark.mosquitto
def test_late_and_repeated_readings_wake_nobody(tmp_path, post):
    """Yesterday's heat arrives today, twice: stored once, in its place, no mail."""
    with (
        mosquitto(tmp_path) as broker,
        daemon(
            tmp_path / "house", broker=own_broker(broker.port), more=people(post)
        ) as made,
    ):
        now = recent(1)[0]
        old = [at.replace(year=at.year - 1) for at in recent(50)]
        broker.publish(TOPIC, payload(now, 23.0))
        for _ in range(2):
            publish_lines(broker.port, TOPIC, [payload(at, 44.0) for at in old])
        wait_for(lambda: committed(made) == 51)
        rows = stored(made)
        alarms = made.ask("alarms", "list")["alarms"]

    assert [value for _, value in rows] == [44.0] * 50 + [23.0]
    assert alarms == []
    assert post.messages == []


@pytest.mark.mosquitto
def test_nonsense_is_set_apart_and_later_readings_count(tmp_path):
    """Every kind of nonsense is counted and shown, and the daemon goes on (M1, M3)."""
    port = free_port()
    broker = f'embedded = true\nlisten = "127.0.0.1:{port}"'
    zoo = [b"", b"\xff\xfe", b"{", b"null", b"nan", b"-inf", b"[1]", b"{}", b"1e400"]
    with daemon(tmp_path / "house", broker=broker) as made:
        # until the queue is through nothing untimed counts as now
        wait_for(lambda: publish(port, TOPIC, b"21.0").returncode == 0)
        wait_for(lambda: committed(made) == 1, 20.0)
        before = made.ask("now")["daemon"]["quarantined"]
        for nonsense in zoo:
            publish(port, TOPIC, nonsense)
        publish(port, "rearing/nowhere/air_temperature", b"21.5")
        publish(port, TOPIC, b"x" * 200_000)
        publish(port, TOPIC, b"22.0")
        wait_for(lambda: committed(made) == 2)

        def set_apart():
            return made.ask("now")["daemon"]["quarantined"] - before

        # the embedded broker may hand on messages of other clients a little later
        wait_for(lambda: set_apart() >= len(zoo) + 2)
        now = made.ask("now")["daemon"]

    assert now["quarantined"] - before == len(zoo) + 2
    assert now["counters"]["connects"] == 1
    assert now["counters"]["failed_messages"] == 0
    reasons = " ".join(apart["reason"] for apart in now["set_apart"])
    assert "No sensor listens to this topic" in reasons


@pytest.mark.mosquitto
def test_the_state_survives_a_kill(tmp_path, post):
    """An alarm answered before a kill is still answered after it, and rings nobody."""
    port = free_port()
    broker = f'embedded = true\nlisten = "127.0.0.1:{port}"'
    with daemon(tmp_path / "house", broker=broker, more=people(post)) as made:
        for at in recent(2):
            publish(port, TOPIC, payload(at, 38.0))
        post.wait_for(1, 30.0)
        made.ask("alarms", "acknowledge", "1", "--by", "tom")
        made.running.send_signal(signal.SIGKILL)
        made.running.wait(10)
        # the embedded broker ends by itself when its parent is gone
        wait_for(lambda: not accepts(port))
        again(made)
        [alarm] = made.ask("alarms", "list")["alarms"]

    assert (alarm["id"], alarm["state"], alarm["answered_by"]) == (
        1,
        "acknowledged",
        "tom",
    )
    assert len(post.messages) == 1


@pytest.mark.mosquitto
def test_sighup_swaps_the_configuration_or_keeps_the_old_one(tmp_path):
    """A wrong file changes nothing and is said; a good one is in force."""
    port = free_port()
    broker = f'embedded = true\nlisten = "127.0.0.1:{port}"'
    with daemon(tmp_path / "house", broker=broker) as made:
        path = tmp_path / "house" / "config" / "site.toml"
        good = path.read_text()
        path.write_text(good.replace("danger =", "dangre ="))
        made.running.send_signal(signal.SIGHUP)
        wait_for(lambda: "configuration refused" in made.said(), 10.0)
        path.write_text(
            good.replace("air_temperature", "carbon_dioxide").replace(
                "tolerated = [20.0, 29.0]\ndanger = [15.0, 34.0]",
                "tolerated = [0.0, 2000.0]",
            )
        )
        made.running.send_signal(signal.SIGHUP)
        wait_for(lambda: "configuration in force" in made.said(), 10.0)

        def heard():
            publish(
                port, "rearing/warm-room/carbon_dioxide", payload(recent(1)[0], 800)
            )
            return committed(made) >= 1

        wait_for(heard, 20.0)
        quantities = {
            reading["quantity"]
            for place in made.ask("now")["places"]
            for reading in place["readings"]
        }

    assert "dangre" in made.said()
    assert quantities == {"carbon_dioxide"}
    assert stamp(recent(1)[0]).endswith("Z")
