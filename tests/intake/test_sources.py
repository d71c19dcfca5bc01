"""Wildcard topics and short names: two devices must not become one series."""

import json
from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from monitor.intake.arrival import Arrival
from monitor.intake.decode import Decoder
from monitor.intake.sorting import Sorter
from monitor.intake.sources import MOST_ORIGINS
from monitor.site.words import Quantity
from tests.support.intakes import sensor

T0 = datetime(2026, 3, 1, 6, tzinfo=UTC)
MIN = timedelta(minutes=1)
WILD = sensor("wild", topic="house/+/temp")  # every 5 min: quiet after 15


class Ears:
    """A sorter that is told what comes when."""

    def __init__(self, *sensors):
        self.sorter = Sorter(Decoder(sensors or [WILD]))
        self.rejected = []

    def hear(self, topic, payload, minute, *, retain=False, draining=False):
        """Values that become readings now."""
        at = T0 + minute * MIN
        body = payload if isinstance(payload, str) else json.dumps(payload)
        arrival = Arrival(topic, body.encode(), retain, False, 1, 1, 1, at)  # noqa: FBT003 - no repeat
        got = self.sorter.sort([arrival], draining=draining)
        self.rejected += [one.reason for one in got.rejected]
        return [reading.value for reading in got.readings]


def _timed(value, minute):
    at = (T0 + minute * MIN).isoformat()
    return json.dumps({"value": value, "time": at})


def test_one_device_may_come_over_a_wildcard():
    """The contract allows it: part of the topic may be a name that changes."""
    ears = Ears()

    assert [ears.hear("house/a/temp", "21", m) for m in (0, 5, 10)] == [[21.0]] * 3
    assert ears.rejected == []


def test_while_two_devices_speak_neither_is_believed():
    """Which of them the keeper meant, nobody knows: silence has an alarm of its own."""
    ears = Ears()
    ears.hear("house/a/temp", "21", 0)

    second = ears.hear("house/b/temp", "28", 1)
    first = ears.hear("house/a/temp", "21", 5)

    assert (second, first) == ([], [])
    assert "house/b/temp and house/a/temp both feed it" in ears.rejected[0]
    assert "give each device a sensor with its own topic" in ears.rejected[1]


def test_a_successor_counts_once_the_other_is_quiet():
    """A new gateway takes over after three intervals."""
    ears = Ears()
    ears.hear("house/a/temp", "21", 0)

    heard = [ears.hear("house/b/temp", "22", m) for m in (5, 10, 15, 20)]

    assert heard == [[], [], [22.0], [22.0]]


def test_a_stray_message_does_not_mute_a_sensor_for_ever():
    """One message of another device costs three intervals, not the sensor."""
    ears = Ears()
    ears.hear("house/a/temp", "21", 0)
    ears.hear("house/b/temp", "28", 1)

    heard = [ears.hear("house/a/temp", "21", m) for m in (5, 10, 15, 20)]

    assert heard == [[], [], [], [21.0]]


def test_an_exact_topic_takes_its_device_out_of_the_wildcard():
    """The mend that the reason names."""
    ears = Ears(WILD, sensor("b", topic="house/b/temp"))

    assert ears.hear("house/a/temp", "21", 0) == [21.0]
    assert ears.hear("house/b/temp", "28", 1) == [28.0]
    assert ears.rejected == []


def test_m13_what_the_broker_kept_is_no_sign_of_a_device():
    """M13: the retained value of a device long gone mutes nobody at each connect."""
    ears = Ears()
    ears.hear("house/a/temp", "21", 0)

    kept = ears.hear("house/b/temp", "28", 1, retain=True)
    old = ears.hear("house/b/temp", _timed(28, -600), 2, retain=True)

    assert (kept, old) == ([], [28.0])
    assert ears.hear("house/a/temp", "21", 5) == [21.0]


def test_a_backlog_is_judged_by_the_times_of_its_readings():
    """M11: a and b took turns while we were away; c came after them."""
    ears = Ears()

    heard = [
        ears.hear(f"house/{who}/temp", _timed(value, minute), 500, draining=True)
        for who, value, minute in (
            ("a", 21, 0),
            ("b", 28, 5),
            ("a", 21, 10),
            ("c", 22, 100),
            ("c", 22, 105),
        )
    ]

    assert heard == [[21.0], [], [], [22.0], [22.0]]


def test_pointers_on_one_wildcard_are_each_a_series_of_one_device():
    """Two quantities of one device do not disturb each other."""
    ears = Ears(
        sensor("t", topic="dev/#", pointer="/t"),
        sensor("h", Quantity.RELATIVE_HUMIDITY, topic="dev/#", pointer="/h"),
    )

    assert ears.hear("dev/1", {"t": 21, "h": 60}, 0) == [21.0, 60.0]
    assert ears.hear("dev/1/x", {"t": 22, "h": 61}, 1) == []
    assert len(ears.rejected) == 2


def test_packs_with_another_name_are_another_device():
    """Each pack is sound by itself; together they would be one series of two."""
    ears = Ears(sensor("t", topic="gw"))
    first = [{"n": "air", "u": "Cel", "v": 21}]
    second = [{"n": "cpu", "u": "Cel", "v": 48}]

    assert ears.hear("gw", first, 0) == [21.0]
    assert ears.hear("gw", second, 1) == []
    assert "cpu and air both feed it" in ears.rejected[0]


def test_a_full_name_is_one_device_over_any_gateway():
    """RFC 8428, 4.5.1: it is unique, so the topic need not be."""
    ears = Ears(sensor("t", topic="gw/+", name_in_pack="urn:dev:ow:10e2:t1"))
    pack = [{"bn": "urn:dev:ow:10e2:", "n": "t1", "u": "Cel", "v": 21}]

    assert [ears.hear(f"gw/{n}", pack, n) for n in range(3)] == [[21.0]] * 3


def test_a_short_name_over_two_topics_is_two_devices():
    """Every device calls its probe t1."""
    ears = Ears(sensor("t", topic="gw/+", name_in_pack="t1"))
    pack = [{"n": "t1", "u": "Cel", "v": 21}]

    assert [ears.hear(f"gw/{n}", pack, n) for n in range(3)] == [[21.0], [], []]


def test_many_devices_in_one_message_are_one_refusal():
    """A bounded quarantine, and a bounded memory."""
    ears = Ears(sensor("t", topic="gw/#", name_in_pack="t1"))
    for n in range(3 * MOST_ORIGINS):
        ears.hear(f"gw/{n}", "21", n / 60)
    before = len(ears.rejected)
    ears.hear("gw/x", [{"n": "t1", "v": 20, "t": -n} for n in range(100)], 1)

    assert len(ears.rejected) == before + 1
    assert len(ears.sorter._sources._heard["t"]) == MOST_ORIGINS


@given(
    st.lists(st.tuples(st.sampled_from("abc"), st.integers(0, 300)), max_size=30).map(
        lambda heard: sorted(heard, key=lambda one: one[1])
    )
)
def test_no_two_devices_within_a_window_are_both_believed_after_the_first(heard):
    """Live, each reading has every other device quiet for the window before it."""
    ears = Ears()

    for at, (who, minute) in enumerate(heard):
        values = ears.hear(f"house/{who}/temp", "21", minute)
        others = [m for w, m in heard[:at] if w != who and minute - m < 15]
        assert values == ([] if others else [21.0])
