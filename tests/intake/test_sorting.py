"""Which messages count, and with which time."""

from datetime import UTC, datetime, timedelta

import pytest

from monitor.intake.arrival import Arrival
from monitor.intake.decode import Decoder
from monitor.intake.sorting import QUEUED, Sorter
from monitor.site.words import Quantity
from tests.support.intakes import sensor

T0 = datetime(2026, 3, 1, 6, tzinfo=UTC)
AIR = "rearing/shelf-a/air_temperature"
DOOR = "rearing/shelf-a/door"


@pytest.fixture
def sorter() -> Sorter:
    return Sorter(
        Decoder(
            [
                sensor(),
                sensor("shelf-a-door", Quantity.DOOR),
                sensor("both-t", topic="dev", pointer="/t"),
                sensor("both-h", Quantity.RELATIVE_HUMIDITY, topic="dev", pointer="/h"),
            ]
        )
    )


def _came(
    payload: str, *, topic: str = AIR, us: int = 0, retain: bool = False, dup=False
) -> Arrival:
    at = T0 + timedelta(microseconds=us)
    return Arrival(topic, payload.encode(), retain, dup, 1, 1, 1, at)


def _timed(value: float, minute: int) -> str:
    return f'{{"value": {value}, "time": "2026-03-01T05:{minute:02}:00Z"}}'


def test_live_untimed_messages_are_of_the_time_they_came(sorter):
    """The contract: time absent = arrival time."""
    got = sorter.sort([_came("21"), _came("22", us=1)], draining=False)

    assert [(r.value, r.time) for r in got.readings] == [
        (21.0, T0),
        (22.0, T0 + timedelta(microseconds=1)),
    ]
    assert (got.rejected, got.waiting) == ([], [])


def test_readings_come_out_in_order_of_their_time(sorter):
    """The step evaluates a batch in order, whatever the order of arrival."""
    batch = [_came(_timed(23, 30)), _came(_timed(21, 10)), _came(_timed(22, 20))]

    got = sorter.sort(batch, draining=False)

    assert [r.value for r in got.readings] == [21.0, 22.0, 23.0]


def test_m13_a_kept_value_without_a_time_is_no_reading(sorter):
    """M13: it would make a dead sensor look alive at each connect."""
    batch = [_came("21", retain=True), _came(_timed(22, 10), retain=True)]

    live = sorter.sort(batch, draining=False)
    drain = sorter.sort(batch, draining=True)

    assert [r.value for r in live.readings] == [22.0]
    assert [r.value for r in drain.readings] == [22.0]
    assert (live.retained_untimed, drain.retained_untimed) == (1, 1)
    assert sorter.drained() == []


def test_while_draining_only_the_newest_of_a_series_becomes_a_reading(sorter):
    """A backlog of 600 without times is one reading, and 599 in the quarantine."""
    batch = [_came(f"{20 + n / 100:.2f}", us=n) for n in range(600)]

    got = sorter.sort(batch, draining=True)
    promoted = sorter.drained()

    assert got.readings == []
    assert len(got.rejected) == len(got.waiting) == 600
    assert all(one.reason.startswith(QUEUED) for one in got.rejected)
    (newest,) = promoted
    assert newest.reading.value == 25.99
    assert newest.reading.time == T0 + timedelta(microseconds=599)
    assert newest.was is got.rejected[-1]
    assert sorter.drained() == []


def test_each_series_has_its_own_newest(sorter):
    """A message for two series waits once and may become both readings."""
    batch = [
        _came('{"t": 20, "h": 50}', topic="dev"),
        _came('{"t": 21, "h": 51}', topic="dev", us=1),
        _came("1", topic=DOOR, us=2),
    ]

    got = sorter.sort(batch, draining=True)
    promoted = sorter.drained()

    assert [one.topic for one in got.rejected] == ["dev", "dev", DOOR]
    assert {p.reading.sensor: p.reading.value for p in promoted} == {
        "both-t": 21.0,
        "both-h": 51.0,
        "shelf-a-door": 1.0,
    }
    assert [p.was.at for p in promoted[:2]] == [got.rejected[1].at] * 2


def test_timed_messages_of_a_backlog_are_readings(sorter):
    """Each tells its own time; the heart finds them late by itself."""
    batch = [_came(_timed(20 + n, n), us=n) for n in range(10)]

    got = sorter.sort(batch, draining=True)

    assert [r.value for r in got.readings] == [20.0 + n for n in range(10)]
    assert got.rejected == []


def test_an_untimed_repeat_of_the_stored_value_is_dropped(sorter):
    """A crash between commit and acknowledgement stores nothing twice."""
    first = sorter.sort([_came("21")], draining=False)
    sorter.stored(first.readings)

    repeat = sorter.sort([_came("21", us=5, dup=True)], draining=True)

    assert (repeat.readings, repeat.rejected) == ([], [])
    assert repeat.untimed_repeat == 1


def test_what_was_not_committed_is_no_repeat(sorter):
    """A failed commit must not lose the message that comes again."""
    sorter.sort([_came("21")], draining=False)

    again = sorter.sort([_came("21", us=5, dup=True)], draining=False)

    assert [r.value for r in again.readings] == [21.0]
    assert again.untimed_repeat == 0


def test_a_dropped_repeat_takes_older_waiting_ones_with_it():
    """Redelivery keeps the order: 20 was stored before 21, and is not newer."""
    sorter = Sorter(Decoder([sensor()]), {"shelf-a-air": 21.0})

    got = sorter.sort(
        [_came("20", dup=True), _came("21", us=1, dup=True)], draining=True
    )

    assert len(got.rejected) == 1
    assert sorter.drained() == []


def test_nonsense_beside_good_messages_harms_nobody(sorter):
    """Each message stands for itself."""
    batch = [_came("x"), _came("21", us=1), _came("1", topic="unknown", us=2)]

    got = sorter.sort(batch, draining=False)

    assert [r.value for r in got.readings] == [21.0]
    assert [one.payload for one in got.rejected] == [b"x", b"1"]


def test_a_pack_of_seconds_before_now_repeated_is_dropped_whole():
    """Its times would be other ones at each repeat: all or nothing."""
    sorter = Sorter(Decoder([sensor(topic="pack")]))
    pack = '[{"n": "a", "v": 22}, {"n": "a", "v": 20, "t": -60}]'
    first = sorter.sort([_came(pack, topic="pack")], draining=False)
    sorter.stored(first.readings)

    repeat = sorter.sort([_came(pack, topic="pack", us=5, dup=True)], draining=True)

    assert [r.value for r in first.readings] == [20.0, 22.0]
    assert (repeat.readings, repeat.rejected, repeat.untimed_repeat) == ([], [], 2)


def test_a_pack_that_waited_is_one_message_with_its_newest_values(sorter):
    """It is counted once in the quarantine, and each series gets its newest."""
    sorter.decoder = Decoder(
        [
            sensor("t", topic="pack"),
            sensor("h", Quantity.RELATIVE_HUMIDITY, topic="pack"),
        ]
    )
    pack = (
        '[{"bn": "d:", "u": "Cel", "v": 22}, {"u": "Cel", "v": 20, "t": -60},'
        ' {"n": "h", "u": "%RH", "v": 60}]'
    )

    got = sorter.sort([_came(pack, topic="pack")], draining=True)
    promoted = sorter.drained()

    assert (len(got.rejected), len(got.waiting), got.readings) == (1, 1, [])
    assert {p.reading.sensor: p.reading.value for p in promoted} == {"t": 22.0, "h": 60}
    assert all(p.was is got.rejected[0] for p in promoted)


def test_a_timed_pack_is_of_its_own_times_however_long_it_waited(sorter):
    """RFC 8428: absolute times need no clock of ours."""
    sorter.decoder = Decoder([sensor("t", topic="pack")])
    pack = '[{"n": "a", "bt": 1772341200, "v": 20}, {"n": "a", "t": 60, "v": 21}]'

    got = sorter.sort([_came(pack, topic="pack")], draining=True)

    assert [(r.value, T0 - r.time) for r in got.readings] == [
        (20.0, timedelta(hours=1)),
        (21.0, timedelta(minutes=59)),
    ]
    assert got.rejected == []
