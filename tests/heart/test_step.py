"""Alarms in a small house, event by event."""

import json
from datetime import timedelta

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.alarms.alarm import AlarmState, Side
from monitor.heart.drive import events_of, play
from monitor.heart.events import (
    AlarmChanged,
    Answer,
    ClockStepped,
    NoticeWanted,
    NotTold,
    PlanChanged,
    Reading,
    Readings,
    Refused,
    Signal,
)
from monitor.heart.saving import loaded, saved
from monitor.heart.state import STATE_VERSION, State
from monitor.heart.step import step
from monitor.site.journal import (
    CohortEnded,
    CohortStarted,
    Count,
    HandReading,
)
from monitor.site.words import CountKind, Priority, Quantity
from tests.heart.house import (
    AIR,
    MIN,
    SHELF_A,
    T0,
    Run,
    begin,
    entry,
)

TUB = ("tub-probe", "substrate_temperature")


def cold(run, minutes=25, value=17.0):
    """Readings below the larva's band on shelf A, every 5 min."""
    run.read(22.0)
    for _ in range(minutes // 5):
        run.read(value)
    return run


def answer(run, verb, alarm, by="ines", **more):
    """A keeper's word, now."""
    return run.happen(Answer(run.at, alarm, verb, by, **more))


def test_outside_tolerated_becomes_an_alarm_after_the_on_delay():
    """A cold shelf alarms 20 min after the first cold reading, and names its larva."""
    run = cold(Run(begin()), minutes=25)

    [alarm] = run.alarms("outside-tolerated")
    assert (alarm.thing, alarm.side, alarm.limit) == ("shelf-a", Side.BELOW, 18.0)
    assert (alarm.since, alarm.raised_at) == (T0 + 10 * MIN, T0 + 30 * MIN)
    assert [d.place for d in alarm.at_risk] == ["tub-1"]
    assert alarm.priority is Priority.PROMPT
    assert run.notices() == [(30.0, "ines", "raised")]


def test_a_short_dip_raises_nothing():
    """Fifteen cold minutes within a 20 min delay alarm nobody."""
    run = cold(Run(begin()), minutes=15)
    run.read(22.0)

    assert run.alarms("outside-tolerated") == []
    assert run.notices() == []


def test_each_cohort_is_judged_by_its_own_band():
    """At 19 degC the egg on the same shelf is at risk and the larva is not."""
    egg = CohortStarted(3, "beetle", "egg", Count(CountKind.ESTIMATE, 30), "tub-1")
    run = cold(Run(begin(entry(egg))), value=19.0)

    [alarm] = run.alarms("outside-tolerated")
    assert [d.stage for d in alarm.at_risk] == ["egg"]


def test_a_tub_with_a_probe_of_its_own_goes_by_it():
    """The pupa's tub reads its own probe: a cold shelf does not put it at risk."""
    run = cold(Run(begin()))
    run.happen(Readings(run.at, (Reading(*TUB, run.at, 24.0),)))

    [alarm] = run.alarms("outside-tolerated")
    assert "tub-2" not in [d.place for d in alarm.at_risk]


def test_danger_needs_a_second_reading_and_no_delay():
    """Two readings beyond the danger limit are urgent at once."""
    run = Run(begin())
    run.read(22.0)
    run.read(11.0)
    assert run.alarms("danger") == []
    run.read(11.0)

    [alarm] = run.alarms("danger")
    assert (alarm.priority, alarm.limit) == (Priority.URGENT, 12.0)


def test_one_reading_beyond_danger_that_nothing_takes_back_is_enough():
    """After 1.5 intervals without another reading the danger is told."""
    run = Run(begin())
    run.read(22.0)
    run.read(11.0)
    run.wait(timedelta(minutes=7, seconds=20))
    assert run.alarms("danger") == []
    run.wait(timedelta(seconds=20))

    assert len(run.alarms("danger")) == 1


def test_danger_covers_the_alarm_of_the_same_cause():
    """One cause, one alarm: under a danger alarm the tolerated one is suppressed."""
    run = cold(Run(begin()))
    run.read(11.0)
    run.read(11.0)

    [tolerated], [danger] = run.alarms("outside-tolerated"), run.alarms("danger")
    assert tolerated.state is AlarmState.SUPPRESSED
    assert tolerated.covered_by == danger.id


def test_an_answer_to_the_danger_answers_what_it_covered():
    """Out of danger but still cold: it comes back as answered and rings nobody."""
    run = cold(Run(begin()))
    run.read(11.0)
    run.read(11.0)
    [danger] = run.alarms("danger")
    answer(run, "acknowledge", danger.id)
    before = len(run.notices())
    for _ in range(4):
        run.read(16.0)

    [tolerated] = run.alarms("outside-tolerated")
    assert tolerated.state is AlarmState.ACKNOWLEDGED
    assert [n for n in run.notices()[before:] if n[2] != "over"] == []


def test_back_by_the_deadband_for_the_off_delay_ends_it():
    """An answered alarm is over 10 min after the value is back, and word is sent."""
    run = cold(Run(begin()))
    [alarm] = run.alarms("outside-tolerated")
    answer(run, "acknowledge", alarm.id)
    run.read(18.3)  # inside, but not by the deadband of 0.5
    assert run.alarms("outside-tolerated")[0].active
    run.read(20.0)
    run.read(20.0)
    assert len(run.alarms("outside-tolerated")) == 1
    run.read(20.0)

    assert run.alarms("outside-tolerated") == []
    assert run.notices()[-1][1:] == ("ines", "over")


def test_over_but_unanswered_stays_until_answered():
    """An alarm that nobody answered stays in the list when it is over."""
    run = cold(Run(begin()))
    for _ in range(3):
        run.read(22.0)
    [alarm] = run.alarms("outside-tolerated")
    assert alarm.state is AlarmState.RETURNED
    answer(run, "acknowledge", alarm.id)

    assert run.alarms("outside-tolerated") == []


def test_who_does_not_answer_is_followed_by_the_next():
    """Unanswered, it goes to the next of the rota after 10 min by day, then on."""
    run = cold(Run(begin()), minutes=60)

    assert run.notices() == [
        (30.0, "ines", "raised"),
        (40.0, "tom", "escalated"),
        (50.0, "ada", "escalated"),
    ]


def test_an_answer_stops_the_escalation():
    """After an acknowledge nobody else is told."""
    run = cold(Run(begin()))
    answer(run, "acknowledge", run.alarms("outside-tolerated")[0].id)
    for _ in range(6):
        run.read(17.5)

    assert run.notices() == [(30.0, "ines", "raised")]


def test_a_keeper_who_cannot_be_reached_is_followed_at_once():
    """A permanent failure of all channels tells the next keeper without waiting."""
    run = cold(Run(begin()))
    [alarm] = run.alarms("outside-tolerated")
    run.happen(NotTold(run.at, "ines", (alarm.id,)))

    assert run.notices()[-1] == (30.0, "tom", "escalated")


def test_an_answer_is_no_repair():
    """Two hours after an answer with no improvement it rings again."""
    run = cold(Run(begin()))
    answer(run, "acknowledge", run.alarms("outside-tolerated")[0].id)
    for _ in range(24):
        run.read(16.5)

    assert run.notices()[-1] == (150.0, "ines", "again")
    assert run.alarms("outside-tolerated")[0].state is AlarmState.UNACKNOWLEDGED


def test_an_answered_alarm_that_gets_better_does_not_ring_again():
    """A value nearer to its limit than at the answer leaves the keeper in peace."""
    run = cold(Run(begin()))
    answer(run, "acknowledge", run.alarms("outside-tolerated")[0].id)
    for _ in range(30):
        run.read(17.5)

    assert run.notices() == [(30.0, "ines", "raised")]


def test_set_aside_is_silent_and_comes_back():
    """A shelved alarm rings nobody, and rings when its time is over."""
    run = cold(Run(begin()))
    [alarm] = run.alarms("outside-tolerated")
    answer(run, "shelve", alarm.id, until=run.at + 60 * MIN)
    for _ in range(11):
        run.read(17.0)
    assert run.notices() == [(30.0, "ines", "raised")]
    run.read(17.0)

    assert run.notices()[-1] == (90.0, "ines", "raised")


def test_setting_aside_never_mutes_the_danger_limit():
    """A danger alarm cannot be shelved, and a shelved neighbour does not hide it."""
    run = cold(Run(begin()))
    answer(run, "shelve", run.alarms()[0].id, until=run.at + 60 * MIN)
    run.read(11.0)
    run.read(11.0)
    [danger] = run.alarms("danger")
    made = answer(run, "shelve", danger.id, until=run.at + 60 * MIN)

    assert run.notices()[-1] == (40.0, "ines", "raised")
    assert "never mutes" in next(r.reason for r in made if isinstance(r, Refused))


def test_answers_that_the_standard_does_not_know_are_refused_in_words():
    """A second answer, and one to an alarm that is not there, say why."""
    run = cold(Run(begin()))
    [alarm] = run.alarms()
    answer(run, "acknowledge", alarm.id)

    for verb, number, words in (
        ("acknowledge", alarm.id, "answered already, by ines"),
        ("unshelve", alarm.id, "not shelved"),
        ("acknowledge", 99, "not standing"),
    ):
        [refused] = answer(run, verb, number)
        assert words in refused.reason


def test_late_readings_wake_nobody():
    """A backlog of a thousand cold readings from last night changes no alarm (M11)."""
    run = Run(begin())
    run.read(22.0)
    old = [
        Reading(*SHELF_A, T0 - timedelta(hours=20) + i * MIN, 5.0) for i in range(1000)
    ]
    run.happen(Readings(run.at, tuple(old)))

    assert run.alarms() == []
    assert run.state.series[SHELF_A].value == 22.0


def test_a_reading_that_took_too_long_is_not_evaluated():
    """Newer than the last but a quarter of an hour old at arrival: store only."""
    run = Run(begin())
    run.wait(60 * MIN)
    run.happen(Readings(run.at, (Reading(*SHELF_A, run.at - 16 * MIN, 5.0),)))

    assert SHELF_A not in run.state.series


def test_several_readings_in_one_batch_are_all_evaluated_in_order():
    """Two readings beyond danger in one batch are the second reading."""
    run = Run(begin())
    run.wait(15 * MIN)
    batch = tuple(Reading(*SHELF_A, run.at - m * MIN, 11.0) for m in (5, 0))
    run.happen(Readings(run.at, batch))

    assert len(run.alarms("danger")) == 1


def test_m9_a_repeated_batch_changes_nothing():
    """QoS 1 delivers twice: the second time nothing happens (M9)."""
    run = cold(Run(begin()))
    event = Readings(run.at, (Reading(*SHELF_A, run.at, 17.0),))
    once = run.state
    run.happen(event)

    assert run.state.series == once.series
    assert run.state.timers == once.timers


def test_silence_of_the_only_probe_of_larvae_is_urgent_after_half_an_hour():
    """Prompt after three intervals, urgent when animals are unwatched for 30 min."""
    run = Run(begin(), quiet=True)
    run.read(22.0)
    run.wait(16 * MIN)
    [alarm] = [a for a in run.alarms("silent") if a.thing == "shelf-a-air"]
    assert alarm.priority is Priority.PROMPT
    run.wait(15 * MIN)

    [alarm] = [a for a in run.alarms("silent") if a.thing == "shelf-a-air"]
    assert alarm.priority is Priority.URGENT
    assert (35.0, "ines", "worse") in run.notices()


def test_silence_of_a_tub_probe_with_a_good_neighbour_is_a_note():
    """The shelf's probe stands in, so the silent tub probe wakes nobody urgently."""
    run = Run(begin(), quiet=True)
    for _ in range(5):
        run.read(22.0)

    [alarm] = [a for a in run.alarms("silent") if a.thing == "tub-probe"]
    assert alarm.priority is Priority.NOTE


def test_m6_a_sensor_that_was_never_heard_is_told():
    """A declared sensor that never speaks alarms after the start's grace (M6)."""
    run = Run(begin(), quiet=True)
    run.wait(16 * MIN)

    [alarm] = [a for a in run.alarms("silent") if a.thing == "shelf-b-air"]
    assert "never been heard" in alarm.detail


def test_a_sensor_that_speaks_again_ends_its_silence():
    """One reading ends the silence."""
    run = Run(begin())
    run.read(22.0)
    run.wait(16 * MIN)
    run.read(22.0)
    run.wait(MIN)

    silent = [a for a in run.alarms("silent") if a.thing == "shelf-a-air"]
    assert [a.state for a in silent] == [AlarmState.RETURNED]


def test_while_the_broker_is_gone_no_sensor_is_called_silent():
    """One cause, one alarm: the broker's."""
    run = Run(begin(), quiet=True)
    run.happen(Signal(run.at, "broker-gone", active=True, detail="refused"))
    run.wait(60 * MIN)
    assert {a.kind for a in run.alarms()} == {"broker-gone"}
    run.happen(Signal(run.at, "broker-gone", active=False))
    run.wait(10 * MIN)

    assert run.alarms("silent") == []


def test_what_happened_once_is_over_when_answered():
    """A set clock is told once, with its step, and closed by the answer."""
    run = Run(begin())
    run.happen(ClockStepped(run.at + timedelta(hours=1), timedelta(hours=1)))
    [alarm] = run.alarms("clock-stepped")
    assert "forward by 3600 s" in alarm.detail
    answer(run, "acknowledge", alarm.id)

    assert run.alarms("clock-stepped") == []


@pytest.mark.parametrize("hours", [-5, 5])
def test_a_set_clock_moves_no_delay(hours):
    """An on-delay that ran for 10 min has 10 min left after the clock was set."""
    run = cold(Run(begin()), minutes=15)
    by = timedelta(hours=hours)
    run.at += by
    run.happen(ClockStepped(run.at, by))
    run.read(17.0)
    assert run.alarms("outside-tolerated") == []
    run.read(17.0)

    assert len(run.alarms("outside-tolerated")) == 1


def test_a_reading_by_hand_counts_at_once():
    """A person who reads 9 degC is not asked for a second reading."""
    fact = HandReading("tub-3", Quantity.SUBSTRATE_TEMPERATURE, 9.0)
    larva = CohortStarted(4, "beetle", "larva", Count(CountKind.COUNTED, 1), "tub-3")
    run = Run(begin(entry(larva), entry(fact)))
    series = ("hand-tub-3", "substrate_temperature")
    run.read(9.0, series=series, by_hand=True)

    assert {a.kind for a in run.alarms() if a.thing == "tub-3"} == {
        "danger",
        "outside-tolerated",
    }
    run.read(22.0, series=series, by_hand=True)
    assert not any(a.active for a in run.alarms() if a.thing == "tub-3")


def test_a_cohort_that_ended_puts_nobody_at_risk():
    """When the last animal leaves, the alarm about its place is over."""
    run = cold(Run(begin()))
    ended = begin(entry(CohortEnded(1, "exhibited"), T0)).plan
    run.happen(PlanChanged(run.at, ended))

    assert not any(a.active for a in run.alarms("outside-tolerated"))


def test_an_alarm_of_the_night_waits_longer_for_an_answer():
    """By night the next keeper is told after 15 min instead of 10."""
    late = T0.replace(hour=23)
    run = cold(Run(begin(at=late), at=late), minutes=45)

    told = [n for n in run.notices() if n[2] == "escalated"]
    first = next(n for n in run.notices() if n[2] == "raised")
    assert told[0][0] - first[0] == 15.0


def test_a_notice_says_how_long_is_left():
    """Falling 1 K in 5 min from 17 degC, danger at 12 degC is some 25 min away."""
    run = Run(begin())
    for i in range(10):
        run.read(22.0 - i)
    changed = [
        r.alarm
        for r in run.records
        if isinstance(r, AlarmChanged) and r.alarm.kind == "outside-tolerated"
    ]
    live = run.alarms("outside-tolerated")[0]

    assert changed
    assert live.trend_per_hour == pytest.approx(-12.0)
    assert live.time_left == pytest.approx(timedelta(minutes=5), abs=MIN)


def test_snapshot_and_rest_is_the_whole():
    """Saved in the middle, loaded and played on, it ends as if nothing had happened."""
    whole = cold(Run(begin()), minutes=20)
    body = {key: (STATE_VERSION, made) for key, made in saved(whole.state).items()}
    state = loaded(
        body, whole.state.plan, alarms=dict(whole.state.alarms), next_alarm=1
    )
    half = Run(state, at=whole.at)
    half.began = whole.began
    for run in (whole, half):
        run.read(17.0)
        run.read(11.0)
        run.read(11.0)

    assert saved(half.state) == saved(whole.state)
    assert half.records == whole.records[-len(half.records) :]


def test_records_of_another_version_are_left_to_be_rebuilt():
    """A state record of another version is not read; stored alarms stay."""
    run = cold(Run(begin()))
    body = dict.fromkeys(saved(run.state), (STATE_VERSION + 1, b"?"))
    state = loaded(body, run.state.plan, alarms=dict(run.state.alarms), next_alarm=9)

    assert state.series == {}
    assert state.alarms == run.state.alarms
    assert state.core.next_alarm == 9


def test_replay_of_a_recorded_day_gives_the_same_alarms():
    """Stored readings of a live run, played again, give the same alarms."""
    live = Run(begin(), quiet=True)
    recorded = []
    for i in range(24 * 12):
        value = 22.0 if not 60 <= i <= 100 else 16.0 if i < 80 else 11.0
        live.read(value)
        recorded.append(Reading(*SHELF_A, live.at, value))

    _, records = play(begin(), events_of(recorded, begin=T0, end=live.at))

    def told(made):
        return [
            (r.at, r.alarm.key, r.event) for r in made if isinstance(r, AlarmChanged)
        ]

    assert told(records) == told(live.records)
    assert any(kind == "danger" for _, (_, kind, _), _ in told(records))


values = st.one_of(
    st.floats(5, 40, allow_nan=False),
    st.sampled_from([11.9, 12.0, 17.9, 18.0, 29.0, 33.1]),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(values, st.booleans()), max_size=30))
def test_m9_any_repetition_gives_the_same_state(steps):
    """Whatever is delivered twice, state and records are as if it came once (M9)."""
    once, twice = Run(begin(), quiet=True), Run(begin(), quiet=True)
    for value, repeat in steps:
        once.read(value)
        twice.read(value)
        if repeat:
            again = Reading(*SHELF_A, twice.at, value)
            twice.happen(Readings(twice.at, (again, again)))

    assert saved(once.state) == saved(twice.state)
    assert once.records == twice.records


@settings(max_examples=60, deadline=None)
@given(st.lists(values, max_size=40))
def test_states_and_records_stay_within_the_rules(series):
    """No closed alarm stays alive, ids never repeat, nobody is told of the closed."""
    run = Run(begin())
    for value in series:
        run.read(value)

    assert all(a.state is not AlarmState.NORMAL for a in run.alarms())
    raised = [
        r.alarm.id
        for r in run.records
        if isinstance(r, AlarmChanged) and r.alarm.raised_at == r.at
    ]
    assert sorted(set(raised)) == list(range(1, len(set(raised)) + 1))
    told = [r for r in run.records if isinstance(r, NoticeWanted) and r.why != "over"]
    assert all(r.alarms for r in told)


def test_the_step_changes_nothing_in_place():
    """The old state is the same after a step as before it."""
    run = cold(Run(begin()), minutes=20)
    before = run.state
    spelled = saved(before)
    step(
        before, Readings(run.at + 5 * MIN, (Reading(*SHELF_A, run.at + 5 * MIN, 5.0),))
    )

    assert saved(before) == spelled


def test_the_saved_state_is_small():
    """A series takes a small record, however long it has run."""
    run = Run(begin())
    for _ in range(200):
        run.read(22.0)

    record = saved(run.state)[f"series/shelf-a-air/{AIR}"]
    assert len(record) < 2_000
    assert msgspec.json.decode(record)["value"] == 22.0
    assert isinstance(json.loads(record), dict)
    assert isinstance(run.state, State)
