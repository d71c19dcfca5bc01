"""The recorder's cycle: what is stored when, and what happens when it cannot be."""

import contextlib
from datetime import timedelta

import pytest

from monitor.errors import StoreFullError
from monitor.heart.events import Reading
from monitor.site.journal import CohortStarted, Count, Entry, PlaceCreated
from monitor.site.words import CountKind, PlaceKind
from monitor.store.rows import NoticeUpdate
from tests.heart.house import JOURNAL, MIN, T0, entry
from tests.recorder.support import TOPIC, Bench

HOUR = timedelta(hours=1)


@pytest.fixture
def bench(tmp_path):
    """The small house, with its tubs and cohorts in the store."""
    made = Bench(tmp_path)
    with made.writer.transaction():
        made.writer.add_entries(JOURNAL)
    made.close()
    made.open()
    yield made
    made.close()


@pytest.fixture
def full(bench, monkeypatch):
    """Switches the store to "disk full" and back."""
    real = type(bench.writer).transaction

    @contextlib.contextmanager
    def refused(_self):
        raise StoreFullError("the disk is full (0 bytes free); make room")
        yield

    def switch(*, on):
        monkeypatch.setattr(type(bench.writer), "transaction", refused if on else real)

    return switch


def cold(bench, cycles=7):
    """Readings below the larva's band until the alarm stands."""
    for _ in range(cycles):
        bench.cycle("17.0", after=5 * MIN)


def test_a_message_is_acknowledged_only_after_its_commit(bench):
    """When the acknowledgement goes out, another connection sees the reading."""
    seen = []
    bench.intake.on_acknowledge = lambda: seen.append(len(bench.stored()))
    bench.cycle("22.0")

    assert seen == [1]
    assert [a.payload for a in bench.intake.acknowledged] == [b"22.0"]


def test_alarm_outbox_and_reading_are_one_commit(bench):
    """The alarm, its notice and the reading that raised it are stored together."""
    cold(bench)

    [alarm] = bench.writer.reader().alarms(open_only=True)[:1]
    assert alarm.thing == "shelf-a"
    assert bench.notices()[0] == ("ines", "raised")
    notice = bench.writer.reader().notices()[0]
    assert "17.0 C" in notice.short
    assert notice.alarms == (alarm.id,)


def test_q6_a_full_store_is_told_and_alarms_go_on(bench, full):
    """Disk full: judged, acknowledged, counted as lost, and the keeper has notice."""
    bench.cycle("22.0", after=MIN)
    full(on=True)
    cold(bench)
    recorder = bench.recorder

    assert len(bench.intake.acknowledged) == 8
    assert recorder.health().state == "store failing"
    assert recorder.health().counters["lost"] == 7
    kinds = {a.kind for a in bench.alarms()}
    assert {"outside-tolerated", "store-failing"} <= kinds
    unsent = recorder.unsent()
    assert any("17.0 C" in n.short for n in unsent)
    assert all(n.id < 0 for n in unsent)


def test_q6_what_memory_kept_is_stored_when_there_is_room_again(bench, full):
    """Alarms and notices of the bad time are in the store afterwards, once."""
    full(on=True)
    cold(bench)
    full(on=False)
    bench.cycle("22.0", after=5 * MIN)
    bench.cycle("22.0", after=5 * MIN)

    told = bench.notices()
    assert bench.recorder.unsent() == []
    assert ("ines", "raised") in told
    assert len(told) == len(bench.writer.reader().notices())
    assert bench.recorder.health().state == "running"
    stored = bench.writer.reader().alarms()
    assert {a.kind for a in stored} >= {"outside-tolerated", "store-failing"}


def test_a_notice_sent_from_memory_is_not_stored_to_be_sent_again(bench, full):
    """What went out while the store was full does not go out once more."""
    full(on=True)
    cold(bench)
    before = bench.recorder.unsent()
    sent = before[0]
    bench.recorder.report(
        NoticeUpdate(
            id=sent.id, state="sent", channel=0, attempts=1, sent_at=bench.clock.now()
        )
    )
    bench.cycle()
    full(on=False)
    bench.cycle("22.0", after=5 * MIN)

    subjects = [n.subject for n in bench.writer.reader().notices()]
    assert sent.subject not in subjects


def test_q6_the_ballast_is_freed_for_one_more_try(bench, monkeypatch):
    """The first refusal frees the ballast, and the same batch is then stored."""
    real = type(bench.writer).transaction
    tries = []

    @contextlib.contextmanager
    def once(self):
        tries.append((self.directory / "ballast").exists())
        if tries[0] and len(tries) == 1:
            raise StoreFullError("the disk is full (0 bytes free); make room")
        with real(self):
            yield

    monkeypatch.setattr(type(bench.writer), "transaction", once)
    bench.cycle("22.0", after=MIN)

    assert tries[:2] == [True, False]
    assert [v for _, v in bench.stored()] == [22.0]
    assert bench.recorder.health().counters["lost"] == 0


def test_a_request_that_cannot_be_stored_changes_nothing(bench, full):
    """A tub that could not be written down does not exist, and the keeper hears why."""
    full(on=True)
    reply = bench.ask("place create", ids=["tub-9"], **{"in": "shelf-a"})
    full(on=False)

    assert (reply.ok, reply.exit) == (False, 69)
    assert "nothing was changed" in reply.error
    assert "tub-9" not in bench.recorder.living.house.places


def test_requests_are_stored_and_watched_at_once(bench):
    """A new tub and its cohort are judged by the shelf's next readings."""
    assert bench.ask("place create", ids=["tub-9"], **{"in": "shelf-b"}).ok
    reply = bench.ask(
        "cohort start", species="cricket", stage="nymph", count="40", place="tub-9"
    )

    assert reply.ok, reply.error
    assert reply.result["id"] == 3
    watched = bench.recorder.living.state.plan.watches["shelf-b-air", "air_temperature"]
    assert watched[0].rules[0].dwellers[0].species == "Cricket"
    bench.close()
    bench.open()
    assert bench.recorder.living.house.cohorts[3].place == "tub-9"


def test_a_refused_answer_is_an_error_with_its_reason(bench):
    """An answer to nothing says what stands."""
    reply = bench.ask("alarms acknowledge", id=99, by="ines")

    assert not reply.ok
    assert "99" in reply.error


def test_one_bad_request_does_not_end_the_recorder(bench, monkeypatch):
    """A bug in a request is a reply, and the next cycle works."""
    monkeypatch.setattr("monitor.recorder.recorder.perform", lambda *_: 1 / 0)
    reply = bench.ask("now")
    bench.cycle("22.0", after=MIN)

    assert "internal error" in reply.error
    assert len(bench.stored()) == 1


def test_the_untimed_backlog_counts_once_and_as_now(bench):
    """Of the queued bare numbers the last becomes a reading; the rest stays apart."""
    bench.intake.draining, bench.intake.through = True, False
    bench.cycle("5.0", "6.0", "7.0", after=MIN)
    assert bench.stored() == []
    bench.intake.through = True
    bench.cycle(after=timedelta(seconds=2))

    assert [v for _, v in bench.stored()] == [7.0]
    apart = bench.writer.reader().quarantined(10)
    assert [q.payload for q in apart] == [b"6.0", b"5.0"]
    assert bench.alarms("readings-refused") == []


def test_m13_a_kept_value_is_no_sign_of_life(bench):
    """A retained bare number is counted, not stored, and silence goes on (M13)."""
    bench.recorder.cycle([bench.arrival("22.0", retain=True)])
    bench.wait(20 * MIN)

    assert bench.stored() == []
    assert bench.recorder.health().counters["retained_untimed"] == 1
    assert any(a.thing == "shelf-a-air" for a in bench.alarms("silent"))


def test_s8_a_clock_behind_the_readings_holds_every_alarm(bench):
    """Booted in the past: readings are kept, no alarm changes, and it is said (S8)."""
    ahead = Reading("shelf-a-air", "air_temperature", T0 + 3 * HOUR, 22.0)
    with bench.writer.transaction():
        bench.writer.add_readings([ahead], now=T0 + 3 * HOUR)
    bench.close()
    bench.open()
    for _ in range(4):
        bench.cycle("11.0", after=5 * MIN)

    assert {a.kind for a in bench.alarms()} == {"clock-behind"}
    assert bench.recorder.health().state == "clock behind"
    assert len(bench.stored()) == 5
    bench.clock.step(3 * HOUR)
    bench.cycle()
    bench.cycle(after=timedelta(seconds=10))
    assert not any(a.active for a in bench.alarms("clock-behind"))


def test_a_set_clock_is_told_and_stores_in_the_new_time(bench):
    """A step of the wall clock is an alarm of its own, and no other."""
    bench.cycle("22.0", after=MIN)
    bench.clock.step(timedelta(minutes=30))
    bench.cycle("22.5", after=timedelta(seconds=10))

    assert [a.kind for a in bench.alarms()] == ["clock-stepped"]
    assert [v for _, v in bench.stored()] == [22.0, 22.5]


def test_who_slept_calls_nobody_silent(bench):
    """After a suspend of hours no sensor is silent: nobody listened."""
    bench.cycle("22.0", after=MIN)
    bench.cycle(after=6 * HOUR)
    bench.wait(4 * MIN)

    assert bench.alarms("silent") == []


def test_a_kill_in_the_middle_of_an_on_delay_does_not_begin_it_anew(bench):
    """Ten minutes cold, killed, started again: the alarm comes at twenty."""
    bench.cycle("22.0", after=5 * MIN)
    for _ in range(3):
        bench.cycle("17.0", after=5 * MIN)
    bench.close()
    bench.open()
    bench.cycle("17.0", after=5 * MIN)
    assert bench.alarms("outside-tolerated") == []
    bench.cycle("17.0", after=5 * MIN)

    [alarm] = bench.alarms("outside-tolerated")
    assert alarm.since - T0 < 11 * MIN


def test_a_kill_after_the_commit_of_an_alarm_repeats_nothing(bench):
    """The alarm is there once, with the same number, and nobody is told again."""
    cold(bench)
    before = bench.notices()
    number = bench.alarms("outside-tolerated")[0].id
    bench.close()
    bench.open()
    bench.wait(MIN)

    assert [a.id for a in bench.alarms("outside-tolerated")] == [number]
    assert bench.notices() == before


def test_a_notice_that_no_channel_took_goes_to_the_next_keeper(bench):
    """Given up for Ines: Tom is told at once, and the failure stands as an alarm."""
    cold(bench)
    [notice] = [n for n in bench.writer.reader().notices() if n.keeper == "ines"][:1]
    bench.recorder.report(
        NoticeUpdate(
            id=notice.id,
            state="failed",
            channel=0,
            attempts=1,
            last_error="550 no such keeper",
        )
    )
    bench.cycle(after=timedelta(seconds=10))

    assert ("tom", "escalated") in bench.notices()
    assert "550" in bench.alarms("mail-failing")[0].detail


def test_many_refused_messages_are_told_as_a_note(bench):
    """Twenty messages of nonsense within an hour are one note."""
    bench.cycle(*["nonsense"] * 25, after=MIN)
    bench.cycle(after=timedelta(seconds=10))

    [alarm] = bench.alarms("readings-refused")
    assert "25 messages" in alarm.detail


def test_a_broker_that_stays_away_is_told_by_mail(bench, monkeypatch):
    """Away for a minute: an urgent alarm, and its notice is in the outbox."""
    now = [1000.0]
    monkeypatch.setattr(bench.recorder.signals, "_monotonic", lambda: now[0])
    bench.recorder.signals.broker(connected=True, words="connected")
    bench.recorder.signals.broker(connected=False, words="refused")
    bench.cycle(after=timedelta(seconds=10))
    assert bench.alarms("broker-gone") == []
    now[0] += 61
    bench.cycle(after=timedelta(seconds=10))

    [alarm] = bench.alarms("broker-gone")
    assert (alarm.priority, alarm.detail) == ("urgent", "refused")
    assert bench.notices() == [("ines", "raised")]
    bench.recorder.signals.broker(connected=True, words="connected")
    bench.cycle(after=timedelta(seconds=10))
    assert not bench.alarms("broker-gone")[0].active


def test_a_mishap_of_the_store_is_told_once(bench):
    """A store that was moved aside is an alarm until somebody has seen it."""
    bench.recorder.signals.once("store-damaged", "moved aside")
    bench.cycle(after=timedelta(seconds=10))
    [alarm] = bench.alarms("store-damaged")
    reply = bench.ask("alarms acknowledge", id=alarm.id, by="ines")

    assert reply.ok, reply.error
    assert bench.alarms("store-damaged") == []


def test_a_disk_that_fills_is_told_before_it_is_full(bench, monkeypatch):
    """Under 15 % free is an early alarm (Q6)."""
    monkeypatch.setattr("monitor.recorder.ledger.disk_share_free", lambda _: 0.12)
    bench.recorder.signals._looked_at_disk = float("-inf")
    bench.cycle(after=timedelta(seconds=10))

    assert "12%" in bench.alarms("disk-low")[0].detail


def test_back_dated_entries_find_their_place(bench):
    """A move of Saturday that is typed on Monday is in the house of Saturday."""
    born = T0 - timedelta(days=2)
    made = Entry(born, T0, "ines", PlaceCreated("tub-7", PlaceKind.REARING, "shelf-b"))
    start = CohortStarted(7, "beetle", "egg", Count(CountKind.ESTIMATE, 20), "tub-7")
    with bench.writer.transaction():
        bench.writer.add_entries([entry(start, born + HOUR), made])
    bench.close()
    bench.open()

    cohort = bench.recorder.living.house.cohorts[7]
    assert cohort.place_at(born + 2 * HOUR) == "tub-7"
    assert bench.recorder.living.house.chain("tub-7") == (
        "tub-7",
        "shelf-b",
        "warm-room",
    )
    assert TOPIC.startswith("rearing/")
