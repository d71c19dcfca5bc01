"""What the simulated devices say is what the daemon's own decoder understands."""

from datetime import UTC, datetime, timedelta

import msgspec
import pytest

from monitor.demo.messages import messages, spoken
from monitor.demo.plan import BARE
from monitor.intake.decode import Decoder
from monitor.site.load import load, shipped

AT = datetime(2026, 11, 25, 10, 5, tzinfo=UTC)


@pytest.fixture(scope="module")
def sensors():
    return {s.id: s for s in load(shipped()).site.sensors}


def test_every_sensor_of_the_site_is_understood(sensors):
    """Value and sensor come back in the canonical unit, timed except for the bare."""
    told = {sensor: 20.0 + n / 4 for n, sensor in enumerate(sensors)}
    told |= {"warm-room-mains": 1.0, "warm-room-leak": 0.0}
    decoder = Decoder(list(sensors.values()))

    heard = [
        result
        for sent in messages([(sensors[s], v) for s, v in told.items()], AT)
        for result in decoder.decode(
            sent.topic, sent.payload, AT + timedelta(seconds=9)
        )
    ]

    values = {h.reading.sensor: h.reading.value for h in heard}
    assert values == pytest.approx(told, abs=2e-4)
    assert {h.reading.sensor for h in heard if not h.timed} == BARE
    assert {h.reading.time for h in heard if h.timed} == {AT}


def test_sensors_of_one_device_share_one_document(sensors):
    """Temperature and humidity of the exhibit come in one JSON with one time."""
    pair = [(sensors["exhibit-1-air"], 25.0), (sensors["exhibit-1-humidity"], 76.0)]

    sent = messages(pair, AT)

    assert [msgspec.json.decode(s.payload) for s in sent] == [
        {
            "time": "2026-11-25T10:05:00Z",
            "air": {"temperature": 25.0, "humidity": 0.76},
        }
    ]


def test_the_mains_sensor_says_a_word(sensors):
    """As many devices do, without a time."""
    both = [(sensors["warm-room-mains"], 1.0), (sensors["warm-room-leak"], 0.0)]

    mains, leak = messages(both, AT)

    assert (mains.topic, mains.payload) == ("rearing/warm-room/mains", b"on")
    assert msgspec.json.decode(leak.payload)["value"] == 0.0


def test_a_display_in_fahrenheit_speaks_fahrenheit(sensors):
    """26 degC is 78.8 degF (definition of the scale)."""
    assert spoken(sensors["incubator-1-air"], 26.0) == pytest.approx(78.8)
