"""The simulated house: what it sends, what it obeys, and how it ends."""

import os
import time
from datetime import UTC, datetime

import msgspec
import pytest
from paho.mqtt.client import Client, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

from monitor.clock import ScaledClock
from monitor.demo.house import House, Orders
from monitor.demo.physics import Weather
from monitor.demo.plan import FAILING_SHELF
from monitor.demo.processes import environment, start_house
from monitor.demo.settings import make_directories, write_config
from monitor.demo.simulate import history, snapshot
from monitor.demo.story import FAULTS
from monitor.errors import UsageError
from monitor.intake.broker import EmbeddedBroker
from monitor.site.load import load, shipped

BEGAN_AT = datetime(2026, 11, 25, 10, tzinfo=UTC)
BEGAN_S = BEGAN_AT.timestamp()


@pytest.fixture(scope="module")
def begin():
    return snapshot(history(BEGAN_S, 2, Weather()))


@pytest.fixture
def house(begin):
    return House(load(shipped()).site.sensors, begin, Weather(), seed=5)


def shelf(heard):
    """Readings of the failing shelf's air, in order."""
    return [
        value
        for values, _ in heard
        for sensor, value in values
        if sensor.id == f"{FAILING_SHELF}-air"
    ]


def test_every_sensor_reports_in_its_interval(house):
    """In ten minutes the 1 min probes report ten times, all others twice."""
    counts: dict[str, int] = {}
    for values, _ in house.until(BEGAN_S + 600):
        for sensor, _value in values:
            counts[sensor.id] = counts.get(sensor.id, 0) + 1

    fast = {s: n for s, n in counts.items() if s.startswith(FAILING_SHELF)}
    slow = {s: n for s, n in counts.items() if not s.startswith(FAILING_SHELF)}
    # the radio may lose one or two of them all
    assert min(fast.values()) >= 9
    assert len(slow) == 35
    assert sum(slow.values()) >= 68
    assert max(slow.values()) == 2


def test_minutes_are_sent_once_and_in_order(house):
    """However often the clock is looked at, each minute comes once."""
    ends = (BEGAN_S + 30, BEGAN_S + 90, BEGAN_S + 95, BEGAN_S + 300)

    minutes = [minute for end in ends for _, minute in house.until(end)]

    first = int(BEGAN_S // 60)
    assert minutes == [first + n for n in range(1, 6)]


def test_a_heater_dies_and_is_mended(house):
    """The shelf falls when it is told dead, and rises when it is told mended."""
    house.obey(f"heater {FAILING_SHELF} dead")
    falling = shelf(house.until(BEGAN_S + 20 * 60))
    house.obey(f"heater {FAILING_SHELF} mended")
    rising = shelf(house.until(BEGAN_S + 40 * 60))

    assert falling[-1] < falling[0] - 4
    assert rising[-1] > 22.5


def test_a_probe_falls_silent_and_is_mended(house):
    """A silent probe is not heard until it is told mended."""
    sensor = f"{FAILING_SHELF}-air"
    house.obey(f"probe {sensor} silent")
    silent = shelf(house.until(BEGAN_S + 600))
    house.obey(f"probe {sensor} mended")

    assert silent == []
    assert len(shelf(house.until(BEGAN_S + 1200))) >= 9


def test_a_humidifier_dies(house):
    """Without water the shelf dries below its hygrostat."""
    house.obey("humidifier warm-room-b dead")

    heard = [
        value
        for values, _ in house.until(BEGAN_S + 3 * 3600)
        for sensor, value in values
        if sensor.id == "warm-room-b-humidity"
    ]

    assert heard[0] > 60
    assert heard[-1] < 55


@pytest.mark.parametrize(
    "order",
    [
        "",
        "heater",
        "heater warm-room-c",
        "heater attic dead",
        "heater warm-room-c broken",
        "probe nobody silent",
        "probe warm-room-c-air tired",
        "kettle warm-room-c dead",
    ],
)
def test_an_order_that_means_nothing_is_refused_in_words(house, order):
    """The order is named, and the house lives on."""
    with pytest.raises(UsageError, match="house: n"):
        house.obey(order)


@pytest.mark.parametrize("order", [order for order, _ in FAULTS])
def test_the_faults_of_the_endless_demo_are_understood(house, order):
    """Each of them can be done and undone."""
    mended = f"{order.rpartition(' ')[0]} mended"

    assert house.obey(order) == order
    assert house.obey(mended) == mended


def test_orders_come_by_whole_lines():
    """Half a line waits for its end; the end of input is noticed."""
    reading, writing = os.pipe()
    orders = Orders(reading)
    try:
        os.write(writing, b"heater a dead\nprobe b si")
        first = orders.take(seconds=1)
        os.write(writing, b"lent\n")
        second = orders.take(seconds=1)
        nothing = orders.take(seconds=0)
        os.close(writing)
        orders.take(seconds=1)
    finally:
        os.close(reading)

    assert first == ["heater a dead"]
    assert second == ["probe b silent"]
    assert nothing == []
    assert orders.ended


def test_the_house_publishes_to_a_broker_and_ends_with_its_input(tmp_path, begin):
    """A real process, a real broker: timed readings arrive, and it leaves when told."""
    dirs = make_directories(tmp_path / "demo")
    broker = EmbeddedBroker("127.0.0.1:0", tmp_path / "broker")
    broker.start()
    write_config(shipped(), dirs.config, broker_port=broker.port, mail_port=1)
    dirs.begin.write_bytes(msgspec.json.encode(begin))
    heard: list[str] = []
    client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTv311)
    client.on_message = lambda *a: heard.append(a[2].topic)
    client.on_connect = lambda *_: client.subscribe("#", qos=1)
    clock = ScaledClock(
        rate=600, began_at=BEGAN_AT, began_boot=time.clock_gettime(time.CLOCK_BOOTTIME)
    )
    try:
        client.connect("127.0.0.1", broker.port)
        client.loop_start()
        env = environment(dirs, clock.spelled())
        with start_house(dirs, env, port=broker.port) as child:
            deadline = time.monotonic() + 15
            while len(set(heard)) < 36 and time.monotonic() < deadline:
                time.sleep(0.05)
            alive = child.ended
    finally:
        client.disconnect()
        client.loop_stop()
        broker.stop()

    assert alive is None
    # 37 sensors, two of which share a topic
    assert len(set(heard)) == 36
    assert child.ended is not None
