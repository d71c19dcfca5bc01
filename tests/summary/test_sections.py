"""Each section against weeks with known figures."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest

from monitor.alarms.alarm import AlarmState
from monitor.alarms.perhaps import PerhapsSince
from monitor.site.journal import Count
from monitor.site.words import CountKind, Priority, Quantity
from monitor.summary.sections import alarms, cohorts, conditions, sensors
from monitor.summary.view import Refused
from monitor.summary.week import Week
from monitor.summary.words import WIDTH
from tests.summary.house import DAY, END, HOUR, START, changed, hourly

MINUTE = timedelta(minutes=1)
RAISED = START + 10 * HOUR + 20 * MINUTE


def only(found):
    (one,) = found
    return one


# alarms


def test_an_alarm_tells_its_whole_course(quillmere):
    """
    Outside since 10:00, raised 10:20, answered 10:32, over 12:30.

    It lasted 2 h 30 min and was answered after 12 min. The alarm itself remembers
    29.5 as the worst, the readings of its time say 31.
    """
    quillmere.measure("a-air", [(10, 29.5), (11, 31), (12, 30), (13, 35)])
    over = START + 12.5 * HOUR
    quillmere.alarm(
        changed(RAISED),
        changed(
            RAISED + 12 * MINUTE,
            "acknowledge",
            by="ines",
            state=AlarmState.ACKNOWLEDGED,
        ),
        changed(
            over,
            "return to normal",
            state=AlarmState.NORMAL,
            active=False,
            over_at=over,
            closed_at=over,
        ),
    )

    told = alarms.figures(quillmere.week())

    alarm = only(told.alarms)
    assert (told.raised, told.standing) == (1, 0)
    assert (alarm.lasted_s, alarm.worst, alarm.limit) == (9000, 31, 29)
    assert (alarm.answer.name, alarm.answer.after_s) == ("Ines", 720)
    assert (alarm.where, alarm.over_at) == ("Warm room > Shelf A", over)
    assert alarms.text(told) == [
        "1 alarm came in the week; none still stands.",
        "",
        "  12 prompt, over: Warm room > Shelf A: air outside what they tolerate",
        "    Came Mon 23 Feb 10:20, held for 2 h 30 min; worst 31.0 C, limit 29.0",
        "      C.",
        "    Answered by Ines after 12 min.",
    ]


def test_an_alarm_that_comes_back_lasts_only_while_it_holds(quillmere):
    """From 10:00 to 12:00, and again from 15:00 to 16:00: three hours."""
    quiet = {"active": False, "state": AlarmState.RETURNED}
    quillmere.alarm(
        changed(RAISED),
        changed(START + 12 * HOUR, "return to normal", **quiet),
        changed(START + 15 * HOUR),
        changed(START + 16 * HOUR, "return to normal", **quiet),
    )

    alarm = only(alarms.figures(quillmere.week()).alarms)

    assert alarm.lasted_s == 3 * 3600
    assert alarm.answer is None
    assert "    Nobody has answered." in alarms.text(alarms.figures(quillmere.week()))


def test_what_still_stands_comes_first_the_most_pressing_before_all(quillmere):
    """Then what is over, in the order of coming; the week before counts by standing."""
    over = {"active": False, "state": AlarmState.NORMAL, "over_at": END - DAY}
    before = {"raised_at": START - DAY, "since": START - DAY}
    quillmere.alarm(changed(RAISED, id=1, **over))
    quillmere.alarm(changed(RAISED, id=2))
    quillmere.alarm(changed(START - DAY, id=3, priority=Priority.URGENT, **before))

    told = alarms.figures(quillmere.week())

    assert [a.id for a in told.alarms] == [3, 2, 1]
    assert (told.raised, told.standing) == (2, 2)
    assert told.alarms[0].lasted_s == 8 * 86400
    assert "STANDING" in alarms.text(told)[2]


def test_below_its_limit_the_lowest_is_the_worst(quillmere):
    """The readings of its time, not those before it."""
    quillmere.measure("a-air", [(5, 3), (10, 18), (12, 16.5), (14, 17)])
    quillmere.alarm(changed(RAISED, side="below", limit=20.0, worst=18.0))

    assert only(alarms.figures(quillmere.week()).alarms).worst == 16.5


def test_a_silence_has_no_worst_value(quillmere):
    """Its last value broke no limit."""
    quillmere.alarm(
        changed(RAISED, kind="silent", thing="a-air", limit=None, worst=24.0, side=None)
    )

    alarm = only(alarms.figures(quillmere.week()).alarms)

    assert alarm.worst is None
    assert alarm.where == "Warm room > Shelf A, a-air"
    assert alarm.title == "sensor not heard"


def test_setting_aside_is_an_answer_too(quillmere):
    """Who did it, and when; a covered alarm names the one that covers it."""
    aside = {"state": AlarmState.SHELVED, "set_aside_by": "ines"}
    quillmere.alarm(
        changed(RAISED, id=1),
        changed(RAISED + HOUR, "shelve", by="ines", id=1, **aside),
    )
    quillmere.alarm(changed(RAISED, id=2, state=AlarmState.SUPPRESSED, covered_by=1))

    said = "\n".join(alarms.text(alarms.figures(quillmere.week())))

    assert "Set aside by Ines after 1 h." in said
    assert "Covered by alarm 1." in said


# conditions


def test_a_week_of_one_shelf(quillmere):
    """
    Larvae tolerate 22 to 26; 24 all week but for one ramp up to 30 and down again.

    24 to 30 in 6 h passes 26 after 2 h: outside 4 h up, 4 h down, 8 of 168 h. The ramps
    have a mean of 27 over 12 h: (24 x 156 + 27 x 12) / 168 = 24.214. The band is the
    same day and night.
    """
    ramp = [(40, 24), (46, 30), (52, 24)]
    quillmere.tub(START - DAY).start(START - DAY, stage="L1")
    pairs = [*hourly(24, 0, 39), *steps(ramp), *hourly(24, 53)]
    quillmere.measure("a-air", pairs)

    probe = probe_of(quillmere, "a-air")

    assert (probe.lowest, probe.highest) == (24, 30)
    assert probe.mean == pytest.approx((24 * 156 + 27 * 12) / 168)
    assert (probe.watched_s, probe.missing_s) == (168 * 3600, 0)
    assert probe.out_of_range_s == pytest.approx(8 * 3600)
    assert probe.in_band_share == pytest.approx(160 / 168)
    assert (probe.n, probe.expected, probe.coverage) == (168, 168, 1)
    assert (probe.cohorts, dict(probe.tolerated)) == (
        1,
        {"day": (22, 26), "night": (22, 26)},
    )


def steps(corners):
    """Hourly readings on the straight lines between corners."""
    found = []
    for (at, value), (then, after) in pairwise(corners):
        found += [
            (h, value + (after - value) * (h - at) / (then - at))
            for h in range(at, then)
        ]
    return [*found, corners[-1]]


def probe_of(house, sensor, week=None):
    told = conditions.figures(week or house.week())
    return only([p for p in told.probes if p.sensor == sensor])


def test_each_time_is_judged_by_what_was_thought_of_then(quillmere):
    """
    Eggs at 28: right by day, at night (18 to 27) not; perhaps larvae (22 to 26) never.

    From Tuesday midnight to Wednesday midnight larvae were thought of: 7 nights of 12 h
    and one day of 12 h are out of range.
    """
    quillmere.tub(START - DAY).start(START - DAY)
    quillmere.measure("a-air", hourly(28))
    taken = (
        PerhapsSince(START + DAY, 1, ("L1",)),
        PerhapsSince(START + 2 * DAY, 1, ()),
    )

    probe = probe_of(quillmere, "a-air", quillmere.week(taken=taken))

    assert probe.out_of_range_s == (7 * 12 + 12) * 3600
    assert (dict(probe.tolerated)["day"], probe.perhaps) == ((20, 29), ())


def test_bands_of_the_end_say_what_was_thought_of_then(quillmere):
    """The cohort counts once, with the band that both stages share."""
    quillmere.tub(START - DAY).start(START - DAY)
    quillmere.measure("a-air", hourly(24))
    taken = (PerhapsSince(START + DAY, 1, ("L1",)),)

    probe = probe_of(quillmere, "a-air", quillmere.week(taken=taken))

    assert dict(probe.tolerated) == {"day": (22, 26), "night": (22, 26)}
    assert (probe.cohorts, probe.perhaps) == (1, ("L1",))


def test_at_night_other_limits_hold(quillmere):
    """Eggs at 28: inside by day (20 to 29), outside at night (18 to 27), 12 h each."""
    quillmere.tub(START - DAY).start(START - DAY)
    quillmere.measure("a-air", hourly(28))

    probe = probe_of(quillmere, "a-air")

    assert probe.out_of_range_s == 7 * 12 * 3600
    assert probe.in_band_share == 0.5


@pytest.mark.parametrize(
    ("week", "hours", "night_hours"), [((2026, 13), 167, 83), ((2026, 43), 169, 85)]
)
def test_a_week_of_a_set_clock_has_its_own_length(quillmere, week, hours, night_hours):
    """
    The clocks of Dublin are set at night: 83 or 85 hours dark, 84 light.

    Eggs at 28 are outside in the dark ones; a reading an hour, so as many expected.
    """
    view = quillmere.tub(START - DAY).start(START - DAY).week(Week(*week))
    first = (view.start - START) // HOUR
    quillmere.measure("a-air", hourly(28, first, first + hours))

    probe = probe_of(quillmere, "a-air", view)

    assert (probe.expected, probe.n, probe.coverage) == (hours, hours, 1)
    assert probe.watched_s == hours * 3600
    assert probe.out_of_range_s == night_hours * 3600


def test_gaps_are_missing_and_lower_the_coverage(quillmere):
    """
    Silent from 50 h to 92 h: 41 readings of 168 and 42 h are missing.

    The gap rule bridges three intervals of an hour, no more.
    """
    quillmere.tub(START - DAY).start(START - DAY, stage="L1")
    quillmere.measure("a-air", [*hourly(24, 0, 50), *hourly(24, 92)])

    probe = probe_of(quillmere, "a-air")

    assert (probe.n, probe.missing_s) == (127, 42 * 3600)
    assert probe.coverage == pytest.approx(127 / 168)
    assert (probe.watched_s, probe.in_band_share) == (126 * 3600, 1)


def test_a_probe_that_nobody_depends_on_has_no_share(quillmere):
    """None, where 0 or 100 % would be a claim."""
    quillmere.measure("a-air", hourly(24))

    probe = probe_of(quillmere, "a-air")

    assert (probe.in_band_share, probe.cohorts) == (None, 0)
    assert dict(probe.tolerated) == {"day": None, "night": None}


def test_switches_have_no_mean(quillmere):
    """Mains are on or off and stand among the sensors alone."""
    told = conditions.figures(quillmere.week())

    assert {p.sensor for p in told.probes} == {"a-air", "b-air", "b-humidity", "spare"}


def test_readings_by_hand_are_told_by_their_extremes(quillmere):
    """A minimum of 17 and a maximum of 31, and a plain 24; the week before is not."""
    quillmere.tub(START - DAY)
    quillmere.read(START - HOUR, value=5.0)
    quillmere.read(START + HOUR, minimum=17.0, maximum=31.0)
    quillmere.read(START + DAY, value=24.0)

    told = conditions.figures(quillmere.week())

    hand = only(told.by_hand)
    assert (hand.n, hand.lowest, hand.highest) == (2, 17, 31)
    line = "  Warm room > Shelf A > tub-1: air, C: 17.0 to 31.0, read 2 times"
    assert conditions.text(told)[-1] == line


def test_conditions_are_a_table_that_fits(quillmere):
    """
    Place by place; a second probe of a place is named.

    24 for 50 h, silence, 27 for 76 h: mean (24 x 50 + 27 x 76) / 126, in band 50/126.
    """
    quillmere.tub(START - DAY).start(START - DAY, stage="L1")
    quillmere.hang(START + DAY, "b-air", "shelf-a")
    quillmere.measure("a-air", [*hourly(24, 0, 50), *hourly(27, 92)])

    lines = conditions.text(conditions.figures(quillmere.week()))

    start = lines.index("Warm room > Shelf A")
    head = "                   lowest    mean highest  in band       outside   heard"
    assert head in lines[:start]
    assert lines[start : start + 7] == [
        "Warm room > Shelf A",
        "  air, C             24.0    25.8    27.0     40 %       3 d 4 h    76 %",
        "    that is a-air",
        "    above 26.0 C for 3 d 4 h, up to 27.0 C: from Thu 26 Feb 20:00",
        "  air, C                -       -       -        -             -     0 %",
        "    that is b-air",
        "    hung elsewhere earlier in the week",
    ]
    assert max(map(len, lines)) <= WIDTH


# cohorts


def test_a_cohort_is_told_as_it_was_at_the_end_of_the_week(quillmere):
    """
    Eggs since Saturday noon, larvae since Wednesday noon: 4.5 days, 0.64 weeks.

    What happens after the week is not told yet.
    """
    noon = START + 12 * HOUR
    quillmere.tub(START - 2 * DAY).start(noon - 2 * DAY)
    quillmere.advance(noon + 2 * DAY, "L1").count(noon + 3 * DAY, 10)
    quillmere.carry(END + HOUR, "shelf-b").advance(END + HOUR, "adult")

    cohort = only(cohorts.figures(quillmere.week()).cohorts)

    assert (cohort.name, cohort.stage, cohort.place) == (
        "Exemplum calidum",
        "L1",
        "tub-1",
    )
    assert cohort.weeks_in_stage == pytest.approx(4.5 / 7)
    assert cohort.count == Count(CountKind.ESTIMATE, 10)


def test_a_cohort_that_may_be_in_an_unseen_stage_is_asked_about(quillmere):
    """By cohort in the text, by species and stage in the mail; not who has left."""
    quillmere.tub(START - DAY)
    for number in range(1, 14):
        quillmere.start(START - DAY, number)
    quillmere.end(START + DAY, 13)
    taken = (
        *(PerhapsSince(START, number, ("L1",)) for number in range(2, 14)),
        PerhapsSince(START + DAY, 3, ()),
        PerhapsSince(START + DAY, 4, ("chrysalis",)),
        PerhapsSince(END, 1, ("L1",)),
        PerhapsSince(END + DAY, 2, ()),
    )

    told = cohorts.figures(quillmere.week(taken=taken))

    may_be = [c.id for c in told.cohorts if c.perhaps == ("L1",)]
    assert may_be == [1, 2, 5, 6, 7, 8, 9, 10, 11, 12]
    assert all(c.perhaps in ((), ("L1",)) for c in told.cohorts)
    assert (
        cohorts.text(told).count("         perhaps already L1: any sign of L1?") == 10
    )
    brief = " ".join(" ".join(cohorts.brief(told)).split())
    assert (
        "Exemplum calidum egg, cohorts 1, 2, 5, 6, 7, 8, 9, 10, 11, 12: perhaps "
        "already L1: any sign of L1?"
    ) in brief


def test_of_many_cohorts_ten_are_named(quillmere):
    """The rest is counted, so that a mail stays short."""
    quillmere.tub(START - DAY)
    for number in range(1, 14):
        quillmere.start(START - DAY, number)
    taken = tuple(PerhapsSince(START, number, ("L1",)) for number in range(1, 14))

    [said] = cohorts.unseen(cohorts.figures(quillmere.week(taken=taken)))

    assert said.startswith("Exemplum calidum egg, cohorts 1, 2, 3,")
    assert ", 10 and 3 more: perhaps" in said


def test_who_left_in_the_week_is_told_who_left_before_is_not(quillmere):
    """With the reason."""
    quillmere.tub(START - 5 * DAY)
    quillmere.start(START - 4 * DAY, 1).start(START - 4 * DAY, 2)
    quillmere.end(START - DAY, 1).end(START + DAY, 2, "on show")

    told = cohorts.figures(quillmere.week())

    assert [(c.id, c.ended_as) for c in told.cohorts] == [(2, "on show")]
    assert "         no longer followed: on show" in cohorts.text(told)


def test_warmth_is_the_sum_of_whole_days_of_the_stage(quillmere):
    """
    Three days of 12, 13 and 14, of which one lies after the week, one of another stage.

    12 + 13 = 25 of 200; one hour of 48 is missing: coverage 47/48, and at most
    1/24 day x (30 - 10) more.
    """
    last = datetime(2026, 3, 1, tzinfo=UTC).date()
    quillmere.tub(START - DAY).start(START - DAY)
    quillmere.heat(1, "egg", last - DAY, 12.0, measured_s=82800.0, missing_s=3600.0)
    quillmere.heat(1, "egg", last, 13.0).heat(1, "egg", last + DAY, 14.0)
    quillmere.heat(1, "L1", last - 2 * DAY, 99.0)

    told = cohorts.figures(quillmere.week())

    heat = only(told.cohorts).heat
    assert (heat.degree_days, heat.low, heat.required) == (25, 25, 200)
    assert heat.high == pytest.approx(25 + 20 / 24)
    assert heat.coverage == pytest.approx(47 / 48)
    assert heat.up_to == END
    line = "         25 of 200 degree-days, 98 % of the time measured"
    assert line in cohorts.text(told)


def test_a_cohort_without_an_account_has_no_warmth(quillmere):
    """Never zero, which would be a figure."""
    quillmere.tub(START - DAY).start(START - DAY)

    assert only(cohorts.figures(quillmere.week()).cohorts).heat is None


def test_a_colony_has_no_count(quillmere):
    """And a species that no file describes any more keeps its id."""
    quillmere.tub(START - DAY)
    quillmere.start(START - DAY, of="forgotten", stage="all", colony=True)

    told = cohorts.figures(quillmere.week())

    cohort = only(told.cohorts)
    assert (cohort.count, cohort.name) == (None, "forgotten")
    assert cohorts.text(told) == [
        "forgotten, all: 1 cohort",
        "      1  tub-1                   1.1 weeks  colony",
    ]


def test_cohorts_stand_by_species_and_in_the_order_of_stages(quillmere):
    """Eggs before larvae, however they are called."""
    quillmere.tub(START - DAY)
    for number, stage in enumerate(("adult", "L1", "egg", "egg"), 1):
        quillmere.start(START - DAY, number, stage=stage)
    quillmere.start(START - DAY, 5, of="montane", stage="L1")

    told = cohorts.figures(quillmere.week())

    assert [c.id for c in told.cohorts] == [3, 4, 2, 1, 5]


# sensors


def test_sensors_tell_how_they_were_heard_the_worst_first(quillmere):
    """a-air missed 41 of 168, for 42 h; b-air none; the others were never heard."""
    quillmere.measure("a-air", [*hourly(24, 0, 50), *hourly(24, 92)])
    quillmere.measure("b-air", hourly(24))

    told = sensors.figures(quillmere.week())

    assert [s.sensor for s in told.sensors[3:]] == ["a-air", "b-air"]
    a, b = told.sensors[3:]
    assert (a.n, a.expected, a.longest_silence_s) == (127, 168, 42 * 3600)
    assert a.silent_from == START + 50 * HOUR
    assert (b.coverage, b.longest_silence_s) == (1, 3600)
    lines = sensors.text(told)
    start = lines.index("  a-air (Warm room > Shelf A)")
    assert lines[start + 1 :] == [
        "    76 % heard, 127 of 168; silent for 1 d 18 h",
        "    from Wed 25 Feb 02:00",
        "Well heard: 1 other.",
        "No message was refused.",
    ]
    assert lines[:2] == ["  b-humidity (Warm room > Shelf B)", "    was never heard"]


def test_refused_messages_are_counted_by_topic(quillmere):
    """The five topics with the most, and whether older ones are gone."""
    topics = ("x/1",) * 3 + ("x/2",) * 9 + tuple(f"y/{n}" for n in range(7))

    told = sensors.figures(quillmere.week(refused=Refused(topics, complete=False)))

    assert (told.refused.count, told.refused.at_least) == (19, True)
    assert [(t.topic, t.count) for t in told.refused.topics] == [
        ("x/2", 9),
        ("x/1", 3),
        ("y/0", 1),
        ("y/1", 1),
        ("y/2", 1),
    ]
    assert sensors.text(told)[-6:-4] == [
        "At least 19 messages were no readings:",
        "  9 x x/2",
    ]


# all of them


def test_an_empty_week_says_so(quillmere):
    """No alarm, no cohort; probes stand there unheard."""
    week = quillmere.week()

    assert alarms.text(alarms.figures(week)) == ["No alarm."]
    assert cohorts.text(cohorts.figures(week)) == ["No cohort is followed."]
    probes = conditions.figures(week).probes
    assert {(p.n, p.mean, p.coverage) for p in probes} == {(0, None, 0)}
    assert {s.coverage for s in sensors.figures(week).sensors} == {0}


def test_a_week_that_is_not_over_is_told_up_to_now(quillmere):
    """After 24 h of 168 as many readings are expected, and nothing is missing."""
    quillmere.tub(START - DAY).start(START - DAY, stage="L1")
    quillmere.measure("a-air", hourly(24, 0, 24))
    week = quillmere.week(now=START + DAY)

    probe = probe_of(quillmere, "a-air", week)

    assert (probe.n, probe.expected, probe.missing_s) == (24, 24, 0)
    sensor = only([s for s in sensors.figures(week).sensors if s.sensor == "a-air"])
    assert sensor.longest_silence_s == 3600


def test_a_week_that_has_just_begun_expects_nothing(quillmere):
    """No share of no time."""
    week = quillmere.week(now=START)

    probe = probe_of(quillmere, "a-air", week)

    assert (probe.expected, probe.coverage, probe.in_band_share) == (0, None, None)
    assert sensors.text(sensors.figures(week))


@pytest.mark.parametrize("quantity", [Quantity.DOOR, Quantity.CARBON_DIOXIDE])
def test_readings_by_hand_of_any_quantity_are_written(quillmere, quantity):
    """With its unit where it has one."""
    quillmere.tub(START - DAY).read(START + HOUR, quantity=quantity, value=1.0)

    assert "read once" in conditions.text(conditions.figures(quillmere.week()))[-1]


def silent_together(house):
    """All are silent from 50 h to 92 h; a-air is until 100 h."""
    others = [*hourly(24, 0, 50), *hourly(24, 92)]
    house.measure("a-air", [*hourly(24, 0, 50), *hourly(24, 100)])
    house.measure("b-air", others).measure("mains", others, "mains")
    house.measure("b-humidity", others, "relative_humidity")
    return house.measure("spare", others, "substrate_temperature")


def test_the_silence_of_all_is_told_once_and_only_the_rest_of_each(quillmere):
    """
    42 h of nothing from anybody, and 8 h more of a-air alone.

    127 h are left in which somebody was heard; of the 126 readings due then a-air gave
    119 and the others all.
    """
    told = sensors.figures(silent_together(quillmere).week())

    together = only(told.unheard)
    assert (together.since, together.seconds) == (START + 50 * HOUR, 42 * 3600)
    a = only([s for s in told.sensors if s.sensor == "a-air"])
    assert (a.longest_silence_s, a.own_silence_s) == (50 * 3600, 8 * 3600)
    assert a.own_coverage == pytest.approx(119 / 126)
    lines = sensors.text(told)
    assert " ".join(" ".join(lines[:2]).split()) == (
        "No sensor was heard for 1 d 18 h from Wed 25 Feb 02:00: the monitor, its "
        "broker or their network was off."
    )
    assert lines[-2:] == ["Well heard: 4 others.", "No message was refused."]


def test_a_sensor_that_speaks_less_often_than_declared_is_asked_about(quillmere):
    """Every two hours where every hour is declared: half heard, never long silent."""
    quillmere.measure("a-air", [(hour, 24) for hour in range(0, 169, 2)])

    told = sensors.figures(quillmere.measure("b-air", hourly(24)).week())

    a = only([s for s in told.sensors if s.sensor == "a-air"])
    assert sensors.is_sparse(a)
    assert "though never silent for more than 2 h: is its interval right?" in (
        " ".join(" ".join(sensors.text(told)).split())
    )
