from dataclasses import dataclass
from datetime import date, datetime, timedelta

import pytest

from monitor.alarms.alarm import AlarmState, Dweller, Told
from monitor.alarms.perhaps import PerhapsSince
from monitor.errors import StoreError
from monitor.heart.events import AlarmChanged
from monitor.site.journal import (
    CohortAdvanced,
    CohortCounted,
    CohortEnded,
    CohortMoved,
    CohortStarted,
    Count,
    Entry,
    HandReading,
    PlaceCreated,
    PlaceMoved,
    PlaceScrapped,
    PlaceSurveyed,
    ProbeMoved,
)
from monitor.site.words import CountKind, PlaceKind, Priority, Quantity
from monitor.store.rows import (
    AccountDay,
    Configuration,
    NoticeRow,
    NoticeUpdate,
    StaleDay,
)
from tests.store.support import NOW, alarm, notice, read, reopened

FACTS = (
    PlaceCreated("tub-1", PlaceKind.REARING, "shelf-a", "tub of Ines"),
    PlaceMoved("tub-1", "shelf-b"),
    PlaceScrapped("tub-1"),
    ProbeMoved("probe-1", "tub-2"),
    CohortStarted(7, "goliath", "L1", Count(CountKind.AT_LEAST, 12), "tub-1"),
    CohortMoved(7, "tub-2"),
    CohortAdvanced(7, "L2", seen=False, not_before=NOW - timedelta(days=3)),
    CohortCounted(7, Count(CountKind.UNKNOWN)),
    CohortEnded(7, "exhibited"),
    HandReading("tub-1", Quantity.AIR_TEMPERATURE, minimum=20.5, maximum=25.0),
    PlaceSurveyed(
        "tub-1",
        Quantity.SUBSTRATE_TEMPERATURE,
        "shelf-a",
        Quantity.AIR_TEMPERATURE,
        offset_k=0.8,
        spread_k=0.4,
        sensor="spare",
        since=NOW - timedelta(days=6),
        until=NOW - timedelta(days=2),
        pairs=1152,
        measured_s=345_600.0,
    ),
)


@dataclass(frozen=True)
class Refused:
    topic: str
    payload: bytes
    reason: str
    at: datetime = NOW


def entry(fact) -> Entry:
    return Entry(NOW - timedelta(days=2), NOW, "ines", fact, "seen on Monday")


def test_every_kind_of_entry_comes_back(writer):
    """Facts keep their type and every field, in order of entering."""
    given = [entry(fact) for fact in FACTS]

    with writer.transaction():
        rows = writer.add_entries(given)
    got = read(writer).entries()

    assert {type(fact) for fact in FACTS} == set(Entry.kinds)
    assert [each.id for each in got] == rows == sorted(rows)
    assert [(e.happened_at, e.entered_at, e.by, e.fact, e.note) for e in got] == [
        (e.happened_at, e.entered_at, e.by, e.fact, e.note) for e in given
    ]
    assert [e.id for e in read(writer).entries(after=rows[-2])] == rows[-1:]


def test_cohort_ids_grow(writer):
    """The next id follows the highest that was ever started."""
    assert read(writer).next_cohort_id() == 1

    with writer.transaction():
        writer.add_entries([entry(fact) for fact in FACTS])
        assert writer.reader().next_cohort_id() == 8

    assert read(writer).next_cohort_id() == 8


def test_an_alarm_and_its_changes_come_back(writer):
    """The newest state, every change, and closed ones left out of the open."""
    first = alarm(
        1,
        at_risk=(Dweller(7, "goliath", "L1", "at least 12", "tub-1"),),
        told=(Told("ines", NOW, "raised"),),
    )
    over = alarm(1, state=AlarmState.NORMAL, active=False, closed_at=NOW)
    other = alarm(2, thing="shelf-b", priority=Priority.URGENT)

    with writer.transaction():
        writer.save_alarm(first, "raised", NOW)
        writer.save_alarm(other, "raised", NOW)
        writer.save_alarm(over, "closed", NOW + timedelta(hours=1), "ines", "aired")
    reader = read(writer)

    assert reader.alarms() == [over, other]
    assert reader.alarms(open_only=True) == [other]
    assert reader.alarm(1) == over
    assert reader.alarm(3) is None
    assert reader.next_alarm_id() == 3
    assert reader.alarm_changes(1) == [
        AlarmChanged(NOW, first, "raised"),
        AlarmChanged(NOW + timedelta(hours=1), over, "closed", "ines", "aired"),
    ]


def test_stages_that_were_taken_to_be_perhaps_there_come_back(writer):
    """In the order of taking, also after a clock was set back."""
    given = [
        PerhapsSince(NOW, 1, ("prepupa", "pupa")),
        PerhapsSince(NOW, 2, ("pupa",)),
        PerhapsSince(NOW + timedelta(hours=1), 1, ()),
        PerhapsSince(NOW - timedelta(hours=1), 3, ("ñymphe — «x»",)),
    ]

    with writer.transaction():
        for each in given:
            writer.take_perhaps(each)

    assert read(writer).perhaps() == given


@pytest.mark.parametrize("table", ["journal", "alarm_change", "perhaps"])
@pytest.mark.parametrize("change", ["UPDATE {} SET id = 99", "DELETE FROM {}"])
def test_history_is_append_only(writer, table, change):
    """Journal, what happened to alarms and what was thought of cannot be rewritten."""
    with writer.transaction():
        writer.add_entries([entry(FACTS[0])])
        writer.save_alarm(alarm(), "raised", NOW)
        writer.take_perhaps(PerhapsSince(NOW, 1, ("pupa",)))

    with (
        pytest.raises(StoreError, match="append-only"),
        writer.transaction(),
    ):
        writer._connection.execute(change.format(table))

    assert read(writer).entries()[0].note == "seen on Monday"
    assert len(read(writer).alarm_changes(1)) == 1


def test_state_records_are_set_and_dropped(writer):
    """By key, with version and body."""
    with writer.transaction():
        writer.save_states({"a": (1, b"x"), "b": (1, b"")})
        writer.save_states({"a": (2, b"\x00\xff")})
        writer.delete_states(["b", "never"])

    assert read(writer).states() == {"a": (2, b"\x00\xff")}


def test_a_notice_goes_its_way(writer):
    """New, tried, sent: each stage is what is read; an id is never used twice."""
    with writer.transaction():
        first, second = writer.add_notices([notice(), notice("tom", alarms=(11, 2))])
        writer.update_notice(
            NoticeUpdate(
                id=first,
                state="waiting",
                channel=1,
                attempts=1,
                next_try=NOW + timedelta(minutes=2),
                last_error="connection refused",
            )
        )
    reader = read(writer)

    assert [n.id for n in reader.pending_notices(NOW)] == [second]
    later = reader.pending_notices(NOW + timedelta(minutes=2))
    assert [n.id for n in later] == [first, second]
    assert later[0] == NoticeRow(
        **{f: getattr(notice(), f) for f in notice().__struct_fields__},
        id=first,
        channel=1,
        attempts=1,
        next_try=NOW + timedelta(minutes=2),
        last_error="connection refused",
    )
    with writer.transaction():
        writer.update_notice(
            NoticeUpdate(id=first, state="sent", channel=1, attempts=2, sent_at=NOW)
        )
    assert [n.id for n in reader.pending_notices(NOW + timedelta(days=1))] == [second]
    assert [n.sent_at for n in reader.notices(alarm=1)] == [NOW]
    assert [n.id for n in reader.notices(alarm=2)] == [second]
    assert [n.id for n in reader.notices()] == [first, second]


def test_urgent_notices_come_first(writer):
    """The most pressing before the oldest."""
    with writer.transaction():
        note, urgent = writer.add_notices(
            [notice(priority=Priority.NOTE), notice(priority=Priority.URGENT)]
        )

    assert [n.id for n in read(writer).pending_notices(NOW)] == [urgent, note]


def test_an_unknown_notice_cannot_be_updated(writer):
    """A wrong id is the programmer's mistake, not silence."""
    with pytest.raises(ValueError, match="no notice 5"), writer.transaction():
        writer.update_notice(NoticeUpdate(id=5, state="sent", channel=0, attempts=1))


def test_the_quarantine_is_bounded_and_counted(writer):
    """The newest 10,000 stay, 512 bytes of each; the count tells of all."""
    flood = [Refused("rearing/x", b"%d" % n, "no number") for n in range(10_050)]
    poison = Refused("rearing/\ud800", bytes(5000), "too large")

    with writer.transaction():
        ids = writer.quarantine(flood)
        assert writer.quarantine([]) == []
        (last,) = writer.quarantine([poison])
        writer.unquarantine(ids[-1:])
    kept = read(writer).quarantined(20_000)

    assert len(kept) == 9_999
    assert (kept[0].id, kept[0].size, len(kept[0].payload)) == (last, 5000, 512)
    assert kept[0].topic == "rearing/?"
    assert kept[1].payload == b"10048"
    assert kept[-1].payload == b"51"
    assert read(writer).quarantined(1) == kept[:1]
    assert read(writer).counters() == {"quarantined": 10_050}


def test_configurations_are_kept_once(writer):
    """The first time that it was accepted stays."""
    with writer.transaction():
        writer.add_configuration("abc", NOW, "[site]")
        writer.add_configuration("abc", NOW + timedelta(days=1), "[site]")

    assert read(writer).configuration("abc") == Configuration("abc", NOW, "[site]")
    assert read(writer).configuration("def") is None


def test_account_days_settle_only_the_marks_that_were_seen(writer):
    """A mark set anew while the worker computed survives what it settles."""
    day = date(2026, 3, 8)
    with writer.transaction():
        writer.mark_stale(7, day)
        writer.mark_stale(8, day)
    seen = read(writer).stale_days()
    with writer.transaction():
        writer.mark_stale(8, day)
        writer.save_account_days(
            [AccountDay(7, "L1", day, b"old"), AccountDay(7, "L1", day, b"new")],
            settled=seen,
        )

    assert [(s.cohort, s.day) for s in seen] == [(7, day), (8, day)]
    assert read(writer).stale_days() == [StaleDay(8, day, seen[1].mark + 1)]
    assert read(writer).account_days(7) == [AccountDay(7, "L1", day, b"new")]


def test_account_days_can_be_dropped_from_a_day_on(writer):
    """Earlier days and other cohorts stay."""
    days = [date(2026, 3, 7), date(2026, 3, 8), date(2026, 3, 9)]
    with writer.transaction():
        writer.save_account_days(
            [AccountDay(c, "L1", d, b"") for c in (1, 2) for d in days]
        )
        writer.drop_account_days(1, days[1])

    assert [a.day for a in read(writer).account_days(1)] == days[:1]
    assert [a.day for a in read(writer).account_days(2)] == days


def test_everything_survives_a_restart(writer):
    """One transaction, one restart, the same answers."""
    with writer.transaction():
        writer.add_entries([entry(FACTS[4])])
        writer.save_alarm(alarm(3), "raised", NOW)
        writer.add_notices([notice()])
        writer.count("lost", 4)
    identity = writer.reader().identity()

    with reopened(writer) as again:
        queries = again.reader()
        assert again.mishap is None
        assert queries.identity() == identity
        assert queries.next_cohort_id() == 8
        assert queries.next_alarm_id() == 4
        assert len(queries.pending_notices(NOW)) == 1
        assert queries.counters() == {"lost": 4}
