"""
The life of one cohort, from the egg to the exhibit, in eighteen simulated months.

Everything is real but time, air and probes: the shipped species, the pure step, the
journal and the accounts worker. The life is lived once for all tests of this file.
"""

from datetime import date, timedelta
from types import SimpleNamespace

import numpy as np
import pytest

from monitor.accounts.degree_days import Tally, total
from monitor.accounts.worker import AccountsWorker
from monitor.alarms.alarm import AlarmState
from monitor.clock import to_us
from monitor.explain.comparing import compare, occurrences
from monitor.explain.replaying import WARM_UP, replay, said
from monitor.heart.events import AlarmChanged
from monitor.heart.saving import loaded, saved
from monitor.heart.state import STATE_VERSION
from monitor.site.house import fold
from monitor.site.load import load
from monitor.site.words import Priority
from tests.accounts.house import Memory
from tests.life.house import (
    BEGIN,
    CURTAIN_OPEN,
    DAY,
    END,
    HELD_BACK,
    HOUR,
    MINUTE,
    PROBE,
    SILENT,
    SPECIES,
    TICK,
    Truth,
    minute,
    read,
    write_site,
)
from tests.life.story import (
    CAME_UP,
    ECLOSED,
    HATCHED,
    LAID,
    MOULTED,
    MOULTED_AGAIN,
    PUPATED,
    SHOWN,
    TO_SHELF_B,
    TO_SHELF_C,
    TO_TUB,
    TO_TUB_7,
    TUB_7,
    TYPED,
    Live,
    half_way,
    is_late,
    journal,
    recorded,
    utc,
)

pytestmark = pytest.mark.xdist_group("whole-life")

THRESHOLD_C = 10.0
"""The assumed lower threshold of every stage of the shipped species; no upper one."""
CLOSE = 0.002
"""
Relative tolerance of degree-days: thermostats swing by 0.6 K and are read each half
hour, which over weeks leaves less than 0.03 K of 14 in the mean. To live on another
shelf would make ten times as much.
"""
MIDDLE = utc(2026, 1, 15, 0, 30)
"""A winter night in which the alarm stands and nobody has answered yet."""


def felt_by_probes(truth):
    """The temperature at each probe, and that of tub 7 for as long as it had one."""
    tub_7 = truth.tub([(TUB_7, "warm-room-b")], TUB_7, TO_SHELF_C)
    bench = np.where(np.isnan(tub_7), truth.of["warm-room"], tub_7)
    felt = {
        "incubator-1-air": truth.of["incubator-1"],
        "shelf-a-air": truth.of["warm-room-a"],
        "shelf-b-air": truth.of["warm-room-b"],
        "shelf-c-air": truth.of["warm-room-c"],
        "tub-probe": bench,
    }
    return felt, tub_7


class Books:
    """The accounts, worked at some instants over the store that grows."""

    def __init__(self, configuration, readings, entries):
        self.told = SimpleNamespace(entries=[])
        self.memory = Memory(self.told)
        self._readings, self._entries = readings, entries
        self._reached = BEGIN - DAY
        self._configuration = lambda: configuration
        self.restart()

    def restart(self):
        """Another worker, that knows nothing but what is stored."""
        self.worker = AccountsWorker(self.memory, self._configuration)

    def work(self, now):
        """Store what arrived since the last round, and work one."""
        late = [r for r in self._readings if is_late(r.sensor, r.time)]
        come = [
            r
            for r in self._readings
            if self._reached < r.time <= now and not is_late(r.sensor, r.time)
        ]
        self._put(come)
        if self._reached < HELD_BACK <= now:
            self._put(late, mark=True)
        self.told.entries[:] = [e for e in self._entries if e.entered_at <= now]
        self._reached = now
        return self.memory.write(self.worker.run_once(now))

    def _put(self, readings, *, mark=False):
        for sensor, (_, quantity) in PROBE.items():
            mine = [r for r in readings if r.sensor == sensor]
            if mine:
                times = np.array([to_us(r.time) for r in mine], np.int64)
                values = np.array([r.value for r in mine])
                self.memory.put(sensor, times, values, quantity, mark=mark)


@pytest.fixture(scope="module")
def life(tmp_path_factory):
    """The whole life: what happened, what the books said on the way."""
    truth = Truth()
    felt, tub_7 = felt_by_probes(truth)
    series = {s: read(t, seed) for seed, (s, t) in enumerate(felt.items())}
    configuration = load(write_site(tmp_path_factory.mktemp("config")))
    readings, entries = recorded(series), journal()
    live = Live(configuration, entries).run(readings)
    books = Books(configuration, readings, entries)
    pages = {}
    key = ("L1", CURTAIN_OPEN[0].date())
    for now in (
        *(BEGIN + n * 28 * DAY for n in range(1, 3)),
        HELD_BACK - HOUR,
        HELD_BACK + HOUR,
        TYPED - MINUTE,
        TYPED + MINUTE,
        MIDDLE,
    ):
        books.work(now)
        pages[now] = books.memory.days()
    books.restart()
    for now in (SILENT[1] + DAY, CAME_UP[0], CAME_UP[1] + DAY, SHOWN + HOUR, END):
        made = books.work(now)
        pages[now] = books.memory.days()
        pages[now, "heats"] = made.heats
    return SimpleNamespace(
        truth=truth,
        tub_7=tub_7,
        configuration=configuration,
        readings=readings,
        entries=entries,
        live=live,
        books=books,
        pages=pages,
        held_back=key,
    )


def brute(series, since, until):
    """
    Degree-days between two instants from the truth: a midpoint sum over minutes.

    Independent of the accounts: no readings, no journal, no days.
    """
    first, last = minute(since), minute(until)
    middles = (series[first:last] + series[first + 1 : last + 1]) / 2
    if np.isnan(middles[-1]):
        middles[-1] = series[last - 1]
    return float(np.maximum(middles - THRESHOLD_C, 0.0).sum()) / 1440


def whereabouts(life):
    """By hand: where the cohort was in each stage, and what it felt there."""
    a, b, c = (life.truth.of[f"warm-room-{shelf}"] for shelf in "abc")
    warm = life.truth.of["incubator-1"]
    hatched, moulted, moulted_again, pupated, eclosed, came_up = map(
        half_way, (HATCHED, MOULTED, MOULTED_AGAIN, PUPATED, ECLOSED, CAME_UP)
    )
    return {
        "egg": [(warm, LAID, hatched)],
        "L1": [(warm, hatched, TO_TUB), (a, TO_TUB, moulted)],
        "L2": [(a, moulted, TO_SHELF_B), (b, TO_SHELF_B, moulted_again)],
        "L3": [(b, moulted_again, TO_TUB_7), (life.tub_7, TO_TUB_7, pupated)],
        "pupa": [
            (life.tub_7, pupated, TO_SHELF_C),
            (c, TO_SHELF_C, SILENT[0]),
            (c, SILENT[1], eclosed),
        ],
        "resting-adult": [(c, eclosed, came_up)],
    }


def account(life, stage):
    """The account of a stage from the cached days of the end."""
    days = [d for (name, _), d in life.pages[END].items() if name == stage]
    house = fold(life.configuration.site, life.entries)
    development = life.configuration.library.stage(SPECIES, stage).development
    return total(house.cohorts[1], stage, Tally(days), development, now=END)


# Alarms


def test_two_alarms_in_a_whole_life_and_no_other(life):
    """The dead heater and the empty battery, each with who was at risk by then."""
    seen = [
        (a.kind, a.thing, a.sensor, [(d.stage, d.count, d.place) for d in a.at_risk])
        for a in life.live.alarms()
    ]

    assert seen == [
        ("outside-tolerated", "tub-7", "tub-probe", [("L3", "20", "tub-7")]),
        ("silent", "shelf-c-air", "shelf-c-air", [("pupa", "at least 17", "tub-7")]),
    ]
    assert life.live.state.alarms == {}
    assert {r.alarm.kind for r in life.live.records if isinstance(r, AlarmChanged)} == {
        "outside-tolerated",
        "silent",
    }


def test_the_dead_heater_was_told_escalated_answered_and_over(life):
    """Ada answers third; nothing improves, so it rings again; then it is over."""
    cold = life.live.alarms()[0]

    assert (cold.limit, cold.side, cold.priority) == (19.0, "below", Priority.PROMPT)
    assert cold.value < 19.0
    assert cold.raised_at - cold.since == 30 * MINUTE
    assert [(keeper, why) for _, keeper, why in life.live.notices(1)] == [
        ("ines", "raised"),
        ("tom", "escalated"),
        ("ada", "escalated"),
        ("ines", "again"),
        ("tom", "escalated"),
        ("ines", "over"),
        ("tom", "over"),
        ("ada", "over"),
    ]
    assert [(event, at) for at, alarm, event in life.live.changes() if alarm == 1] == [
        ("abnormal condition", cold.raised_at),
        ("acknowledge", utc(2026, 1, 15, 0, 50)),
        # two hours after an answer that repaired nothing
        ("re-alarm", utc(2026, 1, 15, 2, 50)),
        ("acknowledge", utc(2026, 1, 15, 3, 15)),
        ("return to normal", utc(2026, 1, 15, 4, 10)),
    ]


def test_a_silent_probe_over_pupae_is_urgent_and_set_aside_until_the_battery_comes(
    life,
):
    """Three intervals after the last reading; no other probe is near pupae."""
    silent = life.live.alarms()[1]

    assert (silent.priority, silent.since) == (Priority.URGENT, SILENT[0])
    assert silent.raised_at == SILENT[0] + 90 * MINUTE + TICK
    assert [(keeper, why) for _, keeper, why in life.live.notices(2)] == [
        ("ines", "raised"),
        ("tom", "escalated"),
        ("ada", "escalated"),
    ]
    assert [(event, at) for at, alarm, event in life.live.changes() if alarm == 2] == [
        ("abnormal condition", silent.raised_at),
        ("shelve", SILENT[0] + 125 * MINUTE),
        ("no longer active", SILENT[1]),
        # the tick after 23 h aside: it is over, and nobody is told of it
        ("un-shelve", SILENT[1] + 70 * MINUTE),
    ]


def test_late_readings_beyond_the_limit_wake_nobody(life):
    """An hour too cold for L1, told a day later: no alarm changes, no notice goes."""
    cold = [r.value for r in life.readings if is_late(r.sensor, r.time)]
    day = [r for r in life.live.records if r.at.date() == HELD_BACK.date()]

    assert len(cold) == 2
    assert max(cold) < 19.0
    assert day == []


# Degree-days


@pytest.mark.parametrize("stage", ["egg", "L1", "L2", "L3", "pupa", "resting-adult"])
def test_heat_follows_the_cohort_through_all_its_places(life, stage):
    """Each stage's sum is that of the truth where the animals really were."""
    truth = sum(brute(*stay) for stay in whereabouts(life)[stage])

    assert account(life, stage).degree_days == pytest.approx(truth, rel=CLOSE)


@pytest.mark.parametrize("stage", ["egg", "L1", "L2", "L3", "pupa", "resting-adult"])
def test_bounds_contain_the_truth(life, stage):
    """
    With the silent day counted in, by which nobody knows how warm it was.

    No upper threshold is published: what the places were at their warmest bounds it.
    """
    stays = whereabouts(life)[stage]
    lost = [(life.truth.of["warm-room-c"], *SILENT)] if stage == "pupa" else []
    truth = sum(brute(*stay) for stay in [*stays, *lost])
    got = account(life, stage)

    assert got.low <= truth * (1 + CLOSE)
    assert truth * (1 - CLOSE) <= got.high
    assert got.assumed_threshold


def test_coverage_misses_the_silent_day_and_nothing_else(life):
    """Only the pupa's account has a hole, of exactly one day."""
    pupal = half_way(ECLOSED) - half_way(PUPATED)
    got = {stage: account(life, stage).coverage for stage in whereabouts(life)}

    assert got.pop("pupa") == pytest.approx(1 - DAY / pupal, abs=1e-9)
    assert set(got.values()) == {1.0}


def test_silence_ages_no_animal(life):
    """The days around it hold only the hours that were measured."""
    days = life.pages[END]
    before, after = (days["pupa", at.date()] for at in SILENT)
    shelf = life.truth.of["warm-room-c"]
    midnight = utc(2026, 6, 9, 0)

    assert (before.measured_s, before.missing_s) == (10 * 3600, 14 * 3600)
    assert (after.measured_s, after.missing_s) == (14 * 3600, 10 * 3600)
    assert before.degree_days == pytest.approx(
        brute(shelf, midnight, SILENT[0]), rel=5 * CLOSE
    )
    assert after.degree_days == pytest.approx(
        brute(shelf, SILENT[1], midnight + 2 * DAY), rel=5 * CLOSE
    )


def test_late_readings_land_in_the_account(life):
    """The hour was bridged as warm; a day later the account knows that it was cold."""
    bridged = life.pages[HELD_BACK - HOUR][life.held_back]
    put_right = life.pages[HELD_BACK + HOUR][life.held_back]
    begin = utc(2025, 6, 10, 0)
    truth = brute(life.truth.of["warm-room-a"], begin, begin + DAY)

    assert bridged.degree_days - put_right.degree_days > 0.1
    assert abs(put_right.degree_days - truth) < abs(bridged.degree_days - truth)
    assert put_right.missing_s == 0


def test_a_move_typed_two_days_late_is_put_right(life):
    """First the shelf counted; once typed, the tub's own probe from the move on."""
    day = date(2025, 9, 2)
    before = life.pages[TYPED - MINUTE]["L3", day]
    after = life.pages[TYPED + MINUTE]["L3", day]
    truth = brute(life.tub_7, utc(2025, 9, 2, 0), utc(2025, 9, 3, 0))

    assert before.minutes == (("shelf", 1440.0),)
    assert after.minutes == (("own probe", 1440.0),)
    assert after.degree_days == pytest.approx(truth, rel=5 * CLOSE)
    assert life.pages[TYPED + MINUTE]["L3", TO_TUB_7.date()].minutes == (
        ("own probe", 900.0),
        ("shelf", 540.0),
    )


def test_a_prepupa_that_nobody_saw_has_no_account(life):
    """Half of the time between the last larva and the first pupa goes to each."""
    days = life.pages[END]
    changed = half_way(PUPATED).date()

    assert not [stage for stage, _ in days if stage == "prepupa"]
    assert max(d for stage, d in days if stage == "L3") == changed
    assert min(d for stage, d in days if stage == "pupa") == changed


def test_the_present_stage_is_told_and_a_stage_driven_by_time_is_not(life):
    """As `now` shows it: the resting adult has a figure, the feeding one has none."""
    [resting] = life.pages[CAME_UP[0], "heats"]
    requirement = 60.0 * (25.0 - THRESHOLD_C)

    assert (resting.stage, resting.required) == ("resting-adult", requirement)
    assert resting.sources == ("shelf",)
    assert life.pages[CAME_UP[1] + DAY, "heats"] == ()
    assert life.pages[END, "heats"] == ()


# Snapshot and replay


def test_a_snapshot_in_the_middle_and_the_rest_equal_the_whole(life):
    """Saved while the alarm stands unanswered, loaded, lived on: not a word differs."""
    first = Live(life.configuration, life.entries).run(life.readings, end=MIDDLE)
    standing = first.state.alarms
    records = {key: (STATE_VERSION, body) for key, body in saved(first.state).items()}
    rest = Live(life.configuration, life.entries)
    rest.records = list(first.records)
    rest.state = loaded(records, first.plan(MIDDLE), alarms=standing, next_alarm=2)
    rest.run(life.readings, begin=MIDDLE)

    assert [a.state for a in standing.values()] == [AlarmState.UNACKNOWLEDGED]
    assert first.state.timers
    assert rest.records == life.live.records
    assert rest.state == life.live.state


def test_cached_days_and_the_rest_equal_books_made_at_once(life):
    """A worker restarted in the middle, late readings, a late entry: all the same."""
    at_once = Books(life.configuration, life.readings, life.entries)
    at_once.work(END)

    assert life.pages[MIDDLE]
    assert at_once.memory.days() == life.pages[END]


def replayed(life, since, until):
    """What a replay of a part of the life brings, beside what came."""
    begin = since - WARM_UP
    changes = [
        [
            r
            for r in life.live.records
            if isinstance(r, AlarmChanged) and r.alarm.id == alarm.id
        ]
        for alarm in life.live.alarms()
    ]
    made = replay(
        life.configuration,
        life.entries,
        [r for r in life.readings if begin < r.time <= until],
        [w for c in changes for w in said(c) if begin < w.at <= until],
        begin=begin,
        end=until,
        tick=TICK,
    )
    came = [o for c in changes for o in occurrences(c) if o.meets(since, until)]
    comes = [o for c in made.changes for o in occurrences(c)]
    return compare(came, comes), made.notices


@pytest.mark.parametrize(
    ("middle", "number"), [(MIDDLE, 1), (SILENT[0], 2)], ids=["heater", "battery"]
)
def test_a_replay_of_the_recorded_readings_gives_the_same_alarm(life, middle, number):
    """The month around each incident: same alarm, same instants, same notices."""
    [pair], notices = replayed(life, middle - 20 * DAY, middle + 10 * DAY)

    assert pair.mark == "same"
    assert (pair.now.at, pair.now.over_at) == (pair.then.at, pair.then.over_at)
    assert [(n.at, n.keeper, n.why) for n in notices] == life.live.notices(number)


def test_a_replay_shows_what_late_readings_would_have_brought_in_time(life):
    """The store knows when they were measured: had they come, Shelf A had alarmed."""
    [pair], _ = replayed(life, CURTAIN_OPEN[0] - DAY, CURTAIN_OPEN[1] + DAY)

    assert pair.mark == "only now"
    assert (pair.now.alarm.thing, pair.now.alarm.kind) == (
        "warm-room-a",
        "outside-tolerated",
    )
    assert timedelta(0) < pair.now.at - CURTAIN_OPEN[0] < HOUR
