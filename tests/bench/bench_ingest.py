"""
Durable and evaluated ingest beside an empty subscriber, on one broker in one run.

Both drain the same queue of timed QoS 1 messages of a persistent session from a
mosquitto process: first a paho subscriber whose callback only counts, then the
daemon, which decodes, judges, commits and only then acknowledges. Run it as
``python -m tests.bench.bench_ingest``; it prints medians and their ratio.
"""

import contextlib
import sqlite3
import statistics
import sys
import tempfile
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from tests.service.support import TOPIC, again, own_broker, payload
from tests.support.brokers import mosquitto, publish_lines
from tests.support.daemon import Daemon, notify_socket

MESSAGES = 30_000
ROUNDS = 3
EMPTY = "empty-subscriber"
BUDGET = 0.25


def subscriber(port: int, *, arrived=None) -> Client:
    """A paho client with a persistent session, as the daemon has one."""
    client = Client(
        CallbackAPIVersion.VERSION2, EMPTY, protocol=MQTTProtocolVersion.MQTTv5
    )
    properties = Properties(PacketTypes.CONNECT)
    properties.SessionExpiryInterval = 3600
    properties.ReceiveMaximum = 1000
    ready = threading.Event()
    client.on_connect = lambda *_: client.subscribe("rearing/#", qos=1)
    client.on_subscribe = lambda *_: ready.set()
    if arrived is not None:
        client.on_message = arrived
    client.connect("127.0.0.1", port, clean_start=False, properties=properties)
    client.loop_start()
    ready.wait(10)
    return client


def empty_rate(port: int) -> float:
    """Messages a second of a subscriber that does nothing."""
    seen = [0, 0.0, 0.0]
    done = threading.Event()

    def arrived(*_):
        seen[0] += 1
        seen[1] = seen[1] or time.perf_counter()
        if seen[0] == MESSAGES:
            seen[2] = time.perf_counter()
            done.set()

    client = subscriber(port, arrived=arrived)
    done.wait(120)
    client.disconnect()
    client.loop_stop()
    return MESSAGES / (seen[2] - seen[1])


def rows(store: Path) -> int:
    """Readings in the log."""
    with contextlib.suppress(sqlite3.Error):
        uri = f"file:{store}?mode=ro"
        with contextlib.closing(sqlite3.connect(uri, uri=True)) as db:
            return db.execute(
                "SELECT coalesce(max(id), 0) FROM reading_log"
            ).fetchone()[0]
    return 0


def daemon_rate(made: Daemon) -> float:
    """Readings a second that the daemon makes durable."""
    store = made.folder / "state" / "rearing.sqlite3"
    before = rows(store)
    made.start()
    first = began = 0.0
    while (count := rows(store) - before) < MESSAGES:
        if count and not began:
            first, began = count, time.perf_counter()
        time.sleep(0.01)
    return (MESSAGES - first) / (time.perf_counter() - began)


def main() -> int:
    """Measure and print."""
    empty, durable = [], []
    with (
        tempfile.TemporaryDirectory() as name,
        mosquitto(
            Path(name), max_inflight_messages="1000", max_queued_messages="200000"
        ) as broker,
        notify_socket(str(Path(name) / "notify")) as notify,
    ):
        house = Path(name) / "house"
        house.mkdir()
        made = Daemon(house, own_broker(broker.port), notify)
        again(made)  # makes its session
        made.end()
        at = datetime.now(tz=UTC).replace(microsecond=0) - timedelta(hours=20)
        for _ in range(ROUNDS):
            gone = subscriber(broker.port)
            gone.disconnect()
            gone.loop_stop()
            step = timedelta(milliseconds=200)
            lines = [payload(at + i * step, 22 + i % 7 / 10) for i in range(MESSAGES)]
            at += MESSAGES * step
            publish_lines(broker.port, TOPIC, lines)
            empty.append(empty_rate(broker.port))
            durable.append(daemon_rate(made))
            made.end()
    ratio = statistics.median(d / e for d, e in zip(durable, empty, strict=True))
    print(f"empty paho subscriber : {statistics.median(empty):10,.0f} messages/s")
    print(f"daemon, durable       : {statistics.median(durable):10,.0f} readings/s")
    print(f"ratio                 : {ratio:10.2f} (budget {BUDGET}, goal 0.5)")
    return 0 if ratio >= BUDGET else 1


if __name__ == "__main__":
    sys.exit(main())
