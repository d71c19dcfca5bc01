import contextlib
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from monitor.clock import from_us, to_us
from monitor.errors import StoreError
from monitor.heart.events import Reading
from monitor.store import Writer, hot, reading_queries, sealing
from monitor.store.rows import StaleSeries
from tests.store.support import (
    AIR,
    FIRST,
    LAST,
    NOW,
    every_reading,
    minutes,
    pairs,
    put,
    read,
    reading,
    reopened,
    stored,
)

DAY = timedelta(days=1)


def undone(writer: Writer, work: Callable[[], object]) -> None:
    """Do something in a transaction that fails afterwards."""
    with writer.transaction():
        work()
        raise ZeroDivisionError


def test_q11_times_are_kept_to_the_microsecond(writer):
    """An instant comes back as it went in, from log and piece."""
    odd = Reading("shelf-a", AIR, NOW - 3 * DAY + timedelta(microseconds=1), 21.0)
    put(writer, odd)

    from_log = next(every_reading(read(writer)))
    writer.seal(NOW)
    from_piece = next(every_reading(read(writer)))

    assert from_log == from_piece == odd


def test_repeats_are_refused_in_the_call_the_log_and_the_piece(writer):
    """A repeat of sensor, quantity and time is never new; the first value stays."""
    old, new = reading(-3 * 1440, 20.0), reading(-1, 21.0)

    assert put(writer, old, new, reading(-1, 99.0)) == [True, True, False]
    assert put(writer, reading(-3 * 1440, 99.0), reading(-1, 99.0)) == [False, False]
    assert writer.seal(NOW) == 1
    assert put(writer, reading(-3 * 1440, 99.0)) == [False]
    assert stored(read(writer)) == pairs(old, new)


def test_repeats_are_refused_after_a_restart(writer):
    """The mirror of instants is rebuilt from the file."""
    put(writer, reading(-5 * 1440), reading(-2), reading(-4))
    writer.seal(NOW - 3 * DAY)

    with reopened(writer) as again:
        told = put(again, reading(-2), reading(-4), reading(-5 * 1440), reading(-3))

    assert told == [False, False, False, True]


def test_an_older_reading_of_the_same_day_is_put_in_place(writer):
    """Out-of-order arrival changes neither order nor the newest reading."""
    put(writer, reading(-1, 1.0), reading(-3, 3.0), reading(-2, 2.0))

    assert stored(read(writer)) == pairs(
        reading(-3, 3.0), reading(-2, 2.0), reading(-1, 1.0)
    )
    assert read(writer).latest() == {("shelf-a", AIR): reading(-1, 1.0)}


def test_a_rolled_back_transaction_leaves_nothing_in_memory(writer):
    """What was not committed is new again, also in the middle and of a new series."""
    put(writer, reading(-9, 9.0), reading(-5, 5.0))
    batch = (reading(-7, 7.0), reading(-1, 1.0), reading(0, sensor="shelf-b"))

    with pytest.raises(ZeroDivisionError):
        undone(writer, lambda: writer.add_readings(batch, now=NOW))

    assert writer.reader().latest() == {("shelf-a", AIR): reading(-5, 5.0)}
    assert put(writer, *batch) == [True, True, True]
    assert put(writer, *batch) == [False, False, False]
    assert stored(read(writer)) == pairs(reading(-9, 9.0), reading(-5, 5.0), *batch[:2])


def test_the_newest_of_a_rolled_back_transaction_is_forgotten(writer, monkeypatch):
    """What never was committed is not told as the newest reading later."""
    monkeypatch.setattr(hot, "UNFLUSHED", 0)
    put(writer, reading(-9))
    with pytest.raises(ZeroDivisionError):
        undone(writer, lambda: writer.add_readings([reading(-1)], now=NOW))

    put(writer, *(reading(m) for m in (-8, -7, -6, -5, -4)))

    assert writer.reader().latest() == {("shelf-a", AIR): reading(-4)}


def test_an_iterable_that_breaks_leaves_nothing_in_memory(writer):
    """Readings taken before the break are new again."""

    def broken():
        yield reading(-2)
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError), writer.transaction():
        writer.add_readings(broken(), now=NOW)

    assert put(writer, reading(-2)) == [True]


def test_a_swallowed_failure_still_rolls_back(writer):
    """A transaction in which a statement failed cannot commit the rest."""

    def swallow() -> None:
        with writer.transaction():
            writer.count("seen")
            with contextlib.suppress(StoreError):
                writer.add_readings([reading(-1, float("nan"))], now=NOW)

    with pytest.raises(StoreError, match="NOT NULL"):
        swallow()

    assert read(writer).counters() == {}
    assert put(writer, reading(-1)) == [True]


def test_writing_outside_a_transaction_is_refused(writer):
    """There is one way to write."""
    with pytest.raises(RuntimeError, match="transaction"):
        writer.add_readings([reading(0)], now=NOW)


def test_latest_is_right_through_flush_seal_and_restart(writer, monkeypatch):
    """The newest of each series, wherever it is kept."""
    monkeypatch.setattr(hot, "UNFLUSHED", 3)
    for minute in range(-4000, 0, 500):
        put(writer, reading(minute, minute), reading(minute - 7, 1.0, "shelf-b"))
    newest = {
        ("shelf-a", AIR): reading(-500, -500.0),
        ("shelf-b", AIR): reading(-507, 1.0, "shelf-b"),
    }

    assert read(writer).latest() == newest
    writer.seal(NOW + 2 * DAY)
    assert read(writer).latest() == newest
    with reopened(writer) as again:
        assert again.reader().latest() == newest
        put(again, reading(-501, 0.0), reading(-499, -499.0))
        newest["shelf-a", AIR] = reading(-499, -499.0)
        assert read(again).latest() == newest


def test_rows_of_the_log_grow_for_ever(writer):
    """Sealing the whole log and a restart never give a row again."""
    put(writer, reading(-3000), reading(-2999))
    first = [each.row for each in writer.reader().readings_since(FIRST)]
    writer.seal(NOW)

    with reopened(writer) as again:
        put(again, reading(-1))
        second = [each.row for each in again.reader().readings_since(FIRST)]

    assert len(first) == 2
    assert min(second) > max(first)


def test_replay_comes_in_order_of_arrival(writer, monkeypatch):
    """Readings since an instant, in rows that rise, over several chunks."""
    monkeypatch.setattr(reading_queries, "CHUNK", 2)
    order = [-5, -1, -3, -4, -2]
    put(writer, reading(-600), *(reading(m, m) for m in order))

    got = list(read(writer).readings_since(NOW - timedelta(minutes=10)))

    assert [each.reading for each in got] == [reading(m, float(m)) for m in order]
    assert [each.row for each in got] == sorted(each.row for each in got)
    assert [
        each.reading.value
        for each in read(writer).readings_since(FIRST, after_row=got[2].row)
    ] == [-4.0, -2.0]


def test_hand_readings_are_known_by_their_series(writer):
    """What a person read is judged as such again after a restart."""
    by_hand = Reading("hand-tub-1", AIR, NOW, 22.0, by_hand=True)
    put(writer, by_hand)

    assert list(every_reading(read(writer))) == [by_hand]


def test_readings_are_ordered_and_filtered(writer):
    """By sensor, quantity and time; start included, end not."""
    wet = Reading("shelf-a", "relative_humidity", NOW, 70.0)
    put(writer, reading(-1, sensor="shelf-b"), wet, reading(-1), reading(-4000))
    writer.seal(NOW)
    reader = read(writer)

    everything = list(every_reading(reader))
    some = list(
        every_reading(
            reader, sensor="shelf-a", start=NOW - timedelta(minutes=1), end=NOW
        )
    )

    assert everything == [
        reading(-4000),
        reading(-1),
        wet,
        reading(-1, sensor="shelf-b"),
    ]
    assert some == [reading(-1)]


def test_an_unknown_series_is_empty(writer):
    """No readings, no error."""
    times, values = read(writer).readings("nobody", AIR, FIRST, LAST)

    assert len(times) == len(values) == 0


def test_late_readings_mark_their_day(writer):
    """A day over by now is marked; today is not; a newer mark survives clearing."""
    put(writer, reading(-1), reading(-2 * 1440))
    day = (NOW - 2 * DAY).date()

    seen = read(writer).stale_series()
    put(writer, reading(-2 * 1440 - 1))
    with writer.transaction():
        writer.clear_stale_series(seen)
    kept = read(writer).stale_series()
    with writer.transaction():
        writer.clear_stale_series(kept)

    assert seen == [StaleSeries("shelf-a", AIR, day, seen[0].mark)]
    assert kept == [StaleSeries("shelf-a", AIR, day, kept[0].mark)]
    assert kept[0].mark > seen[0].mark
    assert read(writer).stale_series() == []


def test_a_sealed_day_is_over_whatever_the_time(writer):
    """Sealed to the end of today, a reading of today is late, after a restart too."""
    put(writer, reading(-1))
    writer.seal(NOW + DAY)

    with reopened(writer) as again:
        put(again, reading(0))
        stale = read(again).stale_series()

    assert [(s.sensor, s.day) for s in stale] == [("shelf-a", NOW.date())]


def test_memory_does_not_grow_with_sealed_days(writer):
    """Only instants of the unsealed log are mirrored."""
    put(writer, *(reading(m) for m in range(-5000, 0)))
    writer.seal(NOW)

    assert len(writer._hot._series["shelf-a", AIR].times) == 12 * 60


def test_late_readings_after_sealing_are_read_and_merged(writer):
    """They count from the log at once, and from the piece after the next sealing."""
    noon = datetime(2026, 3, 5, 12, tzinfo=UTC)
    early = [
        Reading("shelf-a", AIR, noon + timedelta(hours=h), 20.0 + h) for h in (0, 2)
    ]
    late = Reading("shelf-a", AIR, noon + timedelta(hours=1), 30.0)
    put(writer, *early)
    writer.seal(NOW)

    assert put(writer, late, early[0]) == [True, False]
    assert stored(read(writer)) == pairs(*early, late)
    assert writer.seal(NOW) == 1
    assert stored(read(writer)) == pairs(*early, late)
    assert put(writer, late) == [False]
    figures = writer._connection.execute("SELECT n, min, max, sum FROM piece")
    assert figures.fetchall() == [(3, 20, 30, 72)]


def test_only_whole_days_are_sealed(writer):
    """The day in which *before* lies stays in the log."""
    put(writer, reading(-13 * 60), reading(-1))

    assert writer.seal(NOW) == 1
    assert [e.reading for e in writer.reader().readings_since(FIRST)] == [reading(-1)]
    assert writer.seal(NOW) == 0


def test_a_backlog_of_many_days_is_sealed_span_by_span(writer, monkeypatch):
    """Days fetched together, apart, before 1970 and far ahead: every reading once."""
    monkeypatch.setattr(sealing, "ROWS", 5)
    days = [-30_000, -29_999, -5, -5, -4, -2, -2, -2, -1, 0, 400]
    given = [reading(day * 1440 + k, k) for k, day in enumerate(days)]
    other = [reading(day * 1440 - 9, sensor="shelf-b") for day in {*days}]
    put(writer, *given, *other)

    moved = writer.seal(NOW)
    (hot_rows,) = writer._connection.execute(
        "SELECT count(*) FROM reading_log"
    ).fetchone()

    assert (moved, hot_rows) == (9 + 6, 2 + 2)
    assert list(every_reading(read(writer))) == sorted(
        [*given, *other], key=lambda r: (r.sensor, r.time)
    )
    assert not any(put(writer, *given, *other))


@pytest.mark.parametrize(
    "fails", ["INSERT ON piece WHEN NEW.day > 20519", "DELETE ON reading_log"]
)
def test_a_sealing_that_fails_changes_no_answer(writer, monkeypatch, fails):
    """Cut short before a piece, or before the log is thinned, it is done again."""
    monkeypatch.setattr(sealing, "ROWS", 1)
    given = [reading(day * 1440) for day in (-3, -2, -1)]
    put(writer, *given)
    writer._connection.execute(
        f"CREATE TEMP TRIGGER t BEFORE {fails} BEGIN SELECT raise(ABORT, 'no'); END"
    )

    with pytest.raises(StoreError, match="no"):
        writer.seal(NOW)

    assert stored(read(writer)) == pairs(*given)
    assert put(writer, *given) == [False] * 3
    writer._connection.execute("DROP TRIGGER t")
    assert writer.seal(NOW) > 0
    assert stored(read(writer)) == pairs(*given)
    assert list(writer.reader().readings_since(FIRST)) == []


def test_a_long_log_is_loaded_in_parts(writer, monkeypatch):
    """Instants of several parts and series end up in order."""
    monkeypatch.setattr(hot, "LOADED", 3)
    batch = [
        reading(m, sensor=s) for m in (-4, -9, -1, -7) for s in ("shelf-a", "shelf-b")
    ]
    put(writer, *batch)

    with reopened(writer) as again:
        assert put(again, *batch) == [False] * len(batch)
        assert put(again, reading(-5), reading(-5)) == [True, False]


def test_an_import_merges_with_log_and_pieces(writer):
    """What is stored already stays, what is new is added, over several days."""
    times, values = minutes(datetime(2026, 3, 8, tzinfo=UTC), 3000)
    kept = Reading("shelf-a", AIR, from_us(int(times[10])), 99.0)
    put(writer, kept)

    assert writer.import_day("shelf-a", AIR, times, values) == 2999
    assert writer.import_day("shelf-a", AIR, times, values + 1) == 0
    values[10] = 99.0
    got_times, got_values = read(writer).readings("shelf-a", AIR, FIRST, LAST)
    assert np.array_equal(got_times, times)
    assert np.array_equal(got_values, values)
    assert writer.seal(LAST) == 1
    assert len(stored(read(writer))) == 3000
    again = Reading("shelf-a", AIR, from_us(int(times[-1])), 1.0)
    assert put(writer, again) == [False]
    assert read(writer).latest()["shelf-a", AIR].value == values[-1]


def test_an_import_can_be_part_of_a_transaction(writer):
    """A rolled back import leaves no piece and no memory of one."""
    run = minutes(datetime(2026, 3, 8, tzinfo=UTC), 10)

    with pytest.raises(ZeroDivisionError):
        undone(writer, lambda: writer.import_day("shelf-a", AIR, *run))

    assert stored(read(writer)) == []
    assert writer.import_day("shelf-a", AIR, *run) == 10


@pytest.mark.parametrize(
    ("times", "values"),
    [([2, 1], [1.0, 1.0]), ([1, 2], [1.0, np.nan]), ([1], [1.0, 2.0])],
)
def test_a_wrong_import_is_refused(writer, times, values):
    """Unordered times, no numbers, uneven lengths."""
    with pytest.raises(ValueError, match="shelf-a"):
        writer.import_day("shelf-a", AIR, np.array(times), np.array(values))


def test_a_snapshot_stays_at_its_instant(writer):
    """Sealing and new readings meanwhile change nothing of it."""
    put(writer, reading(-4000), reading(-1))
    before = stored(read(writer))

    with read(writer).snapshot() as snapshot:
        snapshot.latest()
        writer.seal(NOW)
        put(writer, reading(0))
        within = stored(snapshot)

    assert within == before
    assert len(stored(read(writer))) == 3


spread = st.lists(
    st.tuples(
        st.integers(to_us(NOW - 3 * DAY) // 10**10, to_us(NOW) // 10**10),
        st.floats(allow_nan=False, allow_infinity=False),
        st.sampled_from(["shelf-a", "shelf-b"]),
    ),
    max_size=12,
)
moves = st.lists(
    st.one_of(spread, st.integers(-3, 1).map(lambda days: NOW + days * DAY)), max_size=6
)


@settings(
    deadline=None,
    max_examples=60,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(moves=moves)
def test_the_store_is_a_map_from_instant_to_first_value(tmp_path_factory, moves):
    """Whatever is added, repeated, sealed: each instant once, with its first value."""
    model: dict[str, dict[int, float]] = {"shelf-a": {}, "shelf-b": {}}
    with Writer.open(tmp_path_factory.mktemp("store"), now=NOW) as writer:
        for move in moves:
            if isinstance(move, datetime):
                writer.seal(move)
            else:
                batch = [
                    Reading(sensor, AIR, from_us(tick * 10**10), value)
                    for tick, value, sensor in move
                ]
                told = put(writer, *batch)
                news = []
                for each in batch:
                    known = model[each.sensor]
                    news.append(to_us(each.time) not in known)
                    known.setdefault(to_us(each.time), each.value)
                assert told == news
            reader = read(writer)
            for sensor, known in model.items():
                assert stored(reader, sensor) == sorted(known.items())
            assert {k[0]: r.value for k, r in reader.latest().items()} == {
                s: known[max(known)] for s, known in model.items() if known
            }
