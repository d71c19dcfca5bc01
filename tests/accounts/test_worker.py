"""The accounts worker: it computes what is stale, all of it and nothing else."""

import threading
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.accounts import worker
from monitor.accounts.degree_days import day_heat
from monitor.accounts.worker import AccountResults, AccountsWorker, Drop
from monitor.clock import to_us
from monitor.heart.events import Reading
from monitor.site.journal import HandReading
from monitor.store.reader import Reader
from monitor.store.rows import AccountDay, StaleDay
from monitor.store.writer import Writer
from tests.accounts import house as quillmere
from tests.accounts.house import (
    AIR,
    DAY,
    FIVE,
    HOUR,
    START,
    SUBSTRATE,
    Memory,
    Told,
    instants,
    steady,
)

WEEK = 7 * DAY
FIRST = START.date()


class Shop:
    """A worker over a store in memory; its results are written as it goes."""

    def __init__(self, told, **library):
        self.site, self.library = quillmere.site(), quillmere.library(**library)
        self.told, self.store = told, Memory(told)
        self._declared = quillmere.Declared(self.site, self.library)
        self.worker = self.restarted()

    def restarted(self):
        self.worker = AccountsWorker(self.store, self.declared)
        return self.worker

    def declared(self):
        """One value while nothing changes, as a configuration in force is."""
        if (self._declared.site, self._declared.library) != (self.site, self.library):
            self._declared = quillmere.Declared(self.site, self.library)
        return self._declared

    def work(self, now):
        return self.store.write(self.worker.run_once(now))

    def heat(self, now, cohort=1):
        return next(h for h in self.work(now).heats if h.cohort == cohort)

    def computed(self, now):
        """Days that the round wrote, counted from the first."""
        return sorted({(row.day - FIRST).days for row in self.work(now).days})


@pytest.fixture
def shop():
    """A tub on warm-a since the start; both shelves measured for ten days."""
    shop = Shop(Told().tub(START).start(START))
    for sensor, celsius in (("a-air", 20), ("b-air", 25)):
        times, values = steady(START - HOUR, START + 10 * DAY, celsius)
        shop.store.put(sensor, times, values)
    return shop


def test_a_week_is_computed_once(shop):
    """Seven days of ten degree-days; the next round has nothing to write."""
    first, second = shop.work(START + WEEK), shop.work(START + WEEK)

    assert len(first.days) == 7
    assert first.heats[0].degree_days == pytest.approx(70)
    assert first.heats[0].coverage == 1
    assert not second.writes
    assert second.heats == first.heats
    assert second.finished


def test_a_restart_goes_on_where_the_store_stands(shop):
    """Cached days and the rest make the whole, and only the rest is computed."""
    before = shop.heat(START + 4 * DAY + 3 * HOUR)
    shop.restarted()
    shop.store.asked.clear()
    after = shop.heat(START + WEEK)

    assert before.degree_days == pytest.approx(41.25)
    assert after.degree_days == pytest.approx(70)
    assert min(asked[2] for asked in shop.store.asked) > START + 3 * DAY
    stored = sorted((day - FIRST).days for _, day in shop.store.days())
    assert stored == list(range(7))


def test_today_is_counted_but_not_stored(shop):
    """The account runs on within the day; the store gets the day when it is over."""
    morning = shop.heat(START + 6 * HOUR)
    noon = shop.heat(START + 12 * HOUR)

    assert (morning.degree_days, noon.degree_days) == pytest.approx((2.5, 5))
    assert noon.up_to == START + 12 * HOUR
    assert shop.store.days() == {}


def test_a_day_is_stored_once_its_last_pair_has_closed(shop):
    """With the pair across midnight still open, yesterday waits."""
    shop.store.drop("a-air", START + DAY - FIVE, START + 11 * DAY)

    open_, late = START + DAY + timedelta(minutes=2), START + DAY + HOUR
    assert shop.computed(open_) == []
    assert shop.computed(late) == [0]


def test_late_readings_mark_their_day_and_its_neighbours(shop):
    """
    A silent day filled later: its pairs reach into the day before and after.

    The silence lasts from five minutes before the day to five minutes after it.
    """
    minute = timedelta(minutes=1)
    gone = shop.store.drop("a-air", START + 3 * DAY - minute, START + 4 * DAY + minute)
    silent = shop.heat(START + WEEK)

    times = np.array(sorted(gone), np.int64)
    shop.store.put("a-air", times, 20, mark=True)
    filled, settling = shop.work(START + WEEK), shop.work(START + WEEK)

    lost = (DAY + 2 * FIVE) / DAY
    assert silent.degree_days == pytest.approx(70 - 10 * lost)
    # it was never anything but 20 degC there
    assert silent.low == silent.high == pytest.approx(70)
    assert silent.coverage == pytest.approx(1 - lost / 7)
    assert sorted((r.day - FIRST).days for r in filled.days) == [2, 3, 4]
    assert filled.heats[0].degree_days == pytest.approx(70)
    assert (filled.settled_series, settling.days) == ((), ())
    assert shop.store.series_marks == []


def test_late_readings_of_another_shelf_mark_nothing(shop):
    """The mark is taken off; no day is computed."""
    shop.work(START + WEEK)
    shop.store.put("b-air", *steady(START + DAY, START + 2 * DAY, 25), mark=True)

    got = shop.work(START + WEEK)

    assert got.days == ()
    assert len(got.settled_series) == 2


def test_a_move_typed_in_late_changes_the_days_from_then_on(shop):
    """Carried to the warmer shelf on the third day, told on the eighth."""
    shop.work(START + WEEK)
    shop.told.carry(START + 2 * DAY + 12 * HOUR, "warm-b")

    got = shop.work(START + WEEK)

    assert sorted((r.day - FIRST).days for r in got.days) == [2, 3, 4, 5, 6]
    assert got.heats[0].degree_days == pytest.approx(25 + 15 * 4.5)


def test_a_stay_elsewhere_typed_in_late_changes_its_days_alone(shop):
    """Away from day two to day three and back: the later days keep their feed."""
    shop.work(START + WEEK)
    shop.told.carry(START + 2 * DAY + HOUR, "warm-b")
    shop.told.carry(START + 3 * DAY + HOUR, "warm-a")

    assert shop.computed(START + WEEK) == [2, 3]


def test_a_change_of_stage_typed_in_late_moves_the_days(shop):
    """Found as grubs on day three, told on day seven: eggs' later days are dropped."""
    shop.work(START + WEEK)
    shop.told.advance(START + 3 * DAY + 6 * HOUR, "grub")

    got = shop.work(START + WEEK)

    assert got.drops == (Drop(1, FIRST + 4 * DAY),)
    stages = sorted((stage, (day - FIRST).days) for stage, day in shop.store.days())
    eggs = [("egg", n) for n in range(4)]
    assert stages == eggs + [("grub", n) for n in range(3, 7)]
    assert got.heats[0].stage == "grub"
    assert got.heats[0].degree_days == pytest.approx(37.5)


def test_a_drop_keeps_what_still_holds(shop):
    """A cohort twice in one stage: dropping later days sets the good ones again."""
    shop.told.advance(START + 2 * DAY, "grub").advance(START + 4 * DAY, "egg")
    shop.work(START + WEEK)
    shop.told.entries.pop()
    shop.restarted()

    got = shop.work(START + WEEK)

    assert got.drops == (Drop(1, FIRST + 4 * DAY),)
    assert got.heats[0].stage == "grub"
    assert got.heats[0].degree_days == pytest.approx(50)
    assert shop.computed(START + WEEK) == []


def test_other_thresholds_change_every_day(shop):
    """A reload with another lower threshold makes the cached days stale by itself."""
    shop.work(START + WEEK)
    shop.library = quillmere.library(egg=quillmere.heat(lower_threshold=12.0))

    got = shop.work(START + WEEK)

    assert len(got.days) == 7
    assert got.heats[0].degree_days == pytest.approx(56)


def test_another_requirement_changes_no_day(shop):
    """The requirement is no part of the warmth."""
    shop.work(START + WEEK)
    needs = [{"sex": "any", "mean": 300.0, "sd": 20.0}]
    shop.library = quillmere.library(egg=quillmere.heat(required_degree_days=needs))

    got = shop.work(START + WEEK)

    assert got.days == ()
    assert got.heats[0].required == 300


def test_a_mark_on_a_cohort_makes_its_days_anew(shop):
    """From the marked day on, whatever changed; then the mark is settled."""
    shop.work(START + WEEK)
    shop.store.put("a-air", *steady(START - HOUR, START + 10 * DAY, 21))
    shop.store.mark(1, FIRST + 5 * DAY)

    got, settling = shop.work(START + WEEK), shop.work(START + WEEK)

    assert sorted((r.day - FIRST).days for r in got.days) == [5, 6]
    assert got.heats[0].degree_days == pytest.approx(50 + 22)
    assert settling.settled == (StaleDay(1, FIRST + 5 * DAY, 1),)
    assert shop.store.marks == []


def test_a_write_that_failed_is_tried_again(shop):
    """A mark stands until the store is seen to hold what the readings say."""
    gone = shop.store.drop("a-air", START + 3 * DAY, START + 4 * DAY)
    shop.work(START + WEEK)
    times = np.array(sorted(gone), np.int64)
    shop.store.put("a-air", times, 20, mark=True)

    lost = shop.worker.run_once(START + WEEK)
    again = shop.work(START + WEEK)
    settling = shop.work(START + WEEK)

    assert lost.days == again.days
    assert len(settling.settled_series) == 1
    shop.restarted()
    assert shop.heat(START + WEEK).degree_days == pytest.approx(70)


def test_a_round_that_was_broken_off_is_begun_anew(shop):
    """Days computed but not handed over are asked of the store again."""
    shop.store.put("a-air", *steady(START + 10 * DAY, START + 30 * DAY, 20))
    batches = shop.worker.batches(START + 30 * DAY)
    shop.store.write(next(batches))
    next(batches)
    batches.close()

    got = shop.work(START + 30 * DAY)

    assert [(row.day - FIRST).days for row in got.days] == list(range(8, 29))
    assert got.heats[0].degree_days == pytest.approx(300)


def test_cached_days_that_cannot_be_read_are_made_anew(shop):
    """Another version's bodies are dropped, the rest is set again."""
    shop.work(START + WEEK)
    shop.store.accounts[1, "egg", FIRST] = b'{"version": 99}'
    shop.restarted()

    got = shop.work(START + WEEK)

    assert got.drops == (Drop(1, date.min),)
    assert sorted(shop.store.days()) == [("egg", FIRST + DAY * n) for n in range(7)]
    assert got.heats[0].degree_days == pytest.approx(70)


def test_a_stored_day_that_opens_again_is_stored_so():
    """
    A reading by hand that comes late opens a day whose account was closed.

    It must not stand in the store as complete.
    """
    told = Told().tub(START, parent="dark").start(START)
    shop = Shop(told)
    hand = {
        "place": "tub-1",
        "quantity": AIR,
        "value": 20.0,
    }
    told.tell(START, HandReading(**hand))
    shop.store.put("hand-tub-1", np.array([to_us(START)], np.int64), 20.0, AIR)
    now = START + 2 * DAY
    shop.work(now)

    evening = np.array([to_us(START + 23 * HOUR)], np.int64)
    shop.store.put("hand-tub-1", evening, 20.0, AIR, mark=True)
    shop.work(now)

    assert not shop.store.days()["egg", FIRST].complete


def test_only_living_and_lately_ended_cohorts_are_followed(shop):
    """An ended cohort is kept right for 35 days, and has no account of its own."""
    shop.told.end(START + 2 * DAY)
    ended = shop.work(START + 3 * DAY)
    forgotten = Shop(shop.told)
    forgotten.store.series = shop.store.series
    later = forgotten.work(START + 60 * DAY)

    assert ended.heats == ()
    assert len(ended.days) == 2
    assert later.days == ()


def test_stages_without_thresholds_have_no_account(shop):
    """A guest and an adult cost nothing."""
    shop.told.advance(START + DAY, "adult").advance(START + 2 * DAY, "guest")
    shop.told.tub(START, "tub-2").start(START, cohort=2, place="tub-2", stage="unheard")

    got = shop.work(START + WEEK)

    assert got.heats == ()
    assert {row.stage for row in got.days} == {"egg"}


def test_substrate_comes_before_air_where_the_species_says_so(shop):
    """Grubs take the spare probe hung into their tub; eggs do not."""
    shop.told.hang(START, "spare", "tub-1")
    shop.told.tub(START, "tub-2").start(START, cohort=2, place="tub-1", stage="grub")
    shop.store.put("spare", *steady(START - HOUR, START + WEEK, 22), SUBSTRATE)

    heats = {h.cohort: h for h in shop.work(START + 5 * DAY).heats}

    assert heats[1].degree_days == pytest.approx(50)
    assert heats[1].sources == ("shelf",)
    assert heats[2].degree_days == pytest.approx(60)
    assert heats[2].sources == ("own probe",)


def test_tubs_on_one_shelf_share_their_day(shop):
    """Ten cohorts of one species on one shelf cost one reading of the series."""
    for n in range(2, 12):
        shop.told.tub(START, f"tub-{n}").start(START, cohort=n, place=f"tub-{n}")

    got = shop.work(START + WEEK)

    assert len(shop.store.asked) == 1
    assert len(got.days) == 77
    assert {h.degree_days for h in got.heats} == {got.heats[0].degree_days}


def test_a_long_absence_is_worked_off_in_batches(shop):
    """No batch spans more than eight days; a mark waits for a round without news."""
    shop.store.put("a-air", *steady(START + 10 * DAY, START + 30 * DAY, 20))
    shop.store.mark(1, FIRST)

    batches = list(shop.worker.batches(START + 30 * DAY))

    assert [len(b.days) for b in batches] == [8, 8, 8, 5, 0]
    assert [b.finished for b in batches] == [False] * 4 + [True]
    assert [len(b.settled) for b in batches] == [0] * 5


@given(data=st.data())
def test_however_it_becomes_known_the_account_is_the_same(data):
    """Late readings, moves told late, rounds between: the end is that of one round."""
    hours = st.integers(1, 5 * 24 - 1)
    moves = sorted(data.draw(st.lists(hours, max_size=4, unique=True)))
    told_after = data.draw(st.lists(st.integers(0, 120), min_size=4, max_size=4))
    silent = data.draw(st.tuples(hours, st.integers(1, 40)))
    now = START + 6 * DAY
    piecemeal = Shop(Told().tub(START).start(START))
    at_once = Shop(Told().tub(START).start(START))
    random = np.random.default_rng(5)
    for sensor in ("a-air", "b-air"):
        times = instants(START - HOUR, now, 4 * FIVE)
        values = random.uniform(0, 40, times.size)
        for shop in (piecemeal, at_once):
            shop.store.put(sensor, times, values)
    begin = START + silent[0] * HOUR
    gone = piecemeal.store.drop("a-air", begin, begin + silent[1] * HOUR)
    steps = sorted(
        (min(hour + late, 143), n, hour)
        for n, (hour, late) in enumerate(zip(moves, told_after, strict=False))
    )
    carried = ["warm-b", "warm-a"]
    for known, n, hour in steps:
        piecemeal.told.carry(START + hour * HOUR, carried[n % 2])
        piecemeal.work(START + known * HOUR)
    for n, hour in enumerate(moves):
        at_once.told.carry(START + hour * HOUR, carried[n % 2])
    times = np.array(sorted(gone), np.int64)
    piecemeal.store.put("a-air", times, [gone[us] for us in sorted(gone)], mark=True)

    late, whole = piecemeal.heat(now), at_once.heat(now)

    assert late.degree_days == pytest.approx(whole.degree_days, abs=1e-9)
    assert (late.coverage, late.sources) == (
        pytest.approx(whole.coverage),
        whole.sources,
    )
    assert piecemeal.store.accounts.keys() == at_once.store.accounts.keys()


def test_run_hands_over_until_it_is_stopped(shop):
    """Batches go to the recorder, a beat with each; the stop ends the rest at once."""
    stop, handed, beats = threading.Event(), [], []

    def hand_over(results: AccountResults):
        handed.append(shop.store.write(results))
        if len([r for r in handed if r.finished]) == 2:
            stop.set()

    shop.worker.run(
        stop,
        hand_over,
        now=lambda: START + WEEK,
        pause_s=0.001,
        beat=lambda: beats.append(1),
    )

    assert [len(r.days) for r in handed] == [7, 0, 0]
    assert handed[-1].heats[0].degree_days == pytest.approx(70)
    assert len(beats) >= 3


def test_against_the_real_store(tmp_path):
    """Readings, journal, marks and cache in the file; a late reading is caught up."""
    now = START + 4 * DAY
    told = Told().tub(START).start(START)
    times, values = steady(START - HOUR, now, 20)
    late = (times > to_us(START + DAY)) & (times < to_us(START + DAY + 12 * HOUR))
    with Writer.open(tmp_path, now=now) as writer:
        with writer.transaction():
            writer.add_entries(told.entries)
            writer.import_day("a-air", AIR, times[~late], values[~late])
        reader = Reader.open(tmp_path)
        site, library = quillmere.site(), quillmere.library()
        declared = quillmere.Declared(site, library)
        worker = AccountsWorker(reader, lambda: declared)

        def work():
            for batch in worker.batches(now):
                with writer.transaction():
                    for drop in batch.drops:
                        writer.drop_account_days(drop.cohort, drop.from_day)
                    writer.save_account_days(batch.days, settled=batch.settled)
                    writer.clear_stale_series(batch.settled_series)
            return batch.heats[0]

        work()
        before = work()
        caught_up = [
            Reading("a-air", AIR, START + DAY + FIVE * n, 20.0) for n in range(1, 144)
        ]
        with writer.transaction():
            writer.add_readings(caught_up, now=now)
        marked = len(reader.stale_series())
        after = work()
        work()
        left = reader.stale_series(), reader.stale_days()

    assert before.degree_days == pytest.approx(35)
    assert marked == 1
    assert after.degree_days == pytest.approx(40)
    assert left == ([], [])
    assert all(isinstance(row, AccountDay) for row in reader.account_days(1))


def test_tubs_of_one_shelf_share_the_days_of_a_year(monkeypatch):
    """
    300 tubs on two shelves for a year at five minutes: few days are integrated.

    Each shelf's day is integrated once, and once more for each tub on the day on which
    it began: some 2 x 366 + 300, not the 110,000 days of all the tubs.
    """
    end = START + 365 * DAY
    told = Told()
    for n in range(1, 301):
        told.tub(START, f"tub-{n}", ["warm-a", "warm-b"][n % 2])
        told.start(START + n * HOUR, cohort=n, place=f"tub-{n}")
    shop = Shop(told)
    arrays = {}
    for sensor in ("a-air", "b-air"):
        times = instants(START, end)
        arrays[sensor] = times, 20 + 8 * np.sin(times / 86_400e6 * 2 * np.pi)

    def readings(sensor, _quantity, start, end):
        times, values = arrays[sensor]
        begin, stop = np.searchsorted(times, [to_us(start), to_us(end)])
        return times[begin:stop], values[begin:stop]

    shop.store.readings = readings
    integrated = []

    def counted(*args, **more):
        integrated.append(args[0])
        return day_heat(*args, **more)

    monkeypatch.setattr(worker, "day_heat", counted)
    got = shop.worker.run_once(end)

    assert len(got.heats) == 300
    assert got.heats[0].coverage > 0.999
    assert 366 <= len(integrated) <= 2 * 366 + 300
