"""What is drawn: thinned without losing an extreme, broken at gaps."""

from datetime import timedelta

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from monitor.clock import to_us
from monitor.site.words import Quantity
from monitor.summary.lines import gaps_of, place_charts, thinned
from monitor.summary.sections import conditions
from monitor.summary.week import Week
from tests.summary.house import DAY, END, HOUR, START, hourly

MINUTE = timedelta(minutes=1)
GAP = timedelta(hours=3)


def minutes(values, first=0):
    """A reading a minute."""
    times = to_us(START) + (first + np.arange(len(values))) * 60_000_000
    return times.astype(np.int64), np.array(values, np.float64)


def test_a_spell_of_one_minute_is_still_drawn():
    """10,080 readings become at most 1,200 points, and the one peak is among them."""
    values = 24 + 0.1 * np.sin(np.arange(10_080))
    values[4321] = 41.5

    times, drawn = thinned(*minutes(values), since=START, until=END, gap=GAP)

    assert len(times) <= 1_250
    assert drawn.max() == 41.5
    assert times[drawn.argmax()] == to_us(START + 4321 * MINUTE)


@given(st.lists(st.floats(-40, 60), min_size=1, max_size=400), st.integers(1, 50))
def test_no_column_loses_its_extremes(values, columns):
    """Lowest and highest of each column stay, in the order of time."""
    times, line = minutes(values)
    end = START + len(values) * MINUTE

    kept, drawn = thinned(times, line, since=START, until=end, gap=GAP, columns=columns)

    column = (times - times[0]) * columns // (to_us(end) - times[0])
    of_kept = (kept - times[0]) * columns // (to_us(end) - times[0])
    for one in np.unique(column):
        assert drawn[of_kept == one].min() == line[column == one].min()
        assert drawn[of_kept == one].max() == line[column == one].max()
    assert np.all(np.diff(kept) > 0)


def test_a_gap_breaks_the_line_and_keeps_its_edges():
    """Between 10:00 and 20:00 stands a NaN, and the readings beside it stay."""
    first, second = minutes([24.0] * 601), minutes([25.0] * 600, first=1200)
    times = np.concatenate((first[0], second[0]))
    values = np.concatenate((first[1], second[1]))

    kept, drawn = thinned(times, values, since=START, until=END, gap=GAP)

    (broken,) = np.flatnonzero(np.isnan(drawn))
    assert kept[broken - 1] == to_us(START + 10 * HOUR)
    assert kept[broken + 1] == to_us(START + 20 * HOUR)
    assert gaps_of(times, since=START, until=START + 30 * HOUR, gap=GAP) == (
        (START + 10 * HOUR, START + 20 * HOUR),
        (START + 1799 * MINUTE, START + 30 * HOUR),
    )


def test_a_probe_that_was_never_heard_is_one_gap():
    """From end to end."""
    empty = np.empty(0, np.int64)

    assert gaps_of(empty, since=START, until=END, gap=GAP) == ((START, END),)


def test_each_place_has_its_panels(quillmere):
    """Temperature above humidity; the line of a moved probe is where it hangs."""
    quillmere.tub(START - DAY).start(START - DAY)
    quillmere.hang(START + DAY, "a-air", "shelf-b").measure("a-air", hourly(24))
    week = quillmere.week()

    charts = place_charts(week, conditions.figures(week))

    assert [c.place for c in charts] == ["warm-room", "shelf-b"]
    panels = charts[1].panels
    assert [(p.quantity, len(p.lines)) for p in panels] == [
        (Quantity.AIR_TEMPERATURE, 2),
        (Quantity.RELATIVE_HUMIDITY, 1),
    ]


def test_days_and_nights_follow_the_clocks_of_the_site(quillmere):
    """A week of 167 h has seven midnights, the last day an hour shorter."""
    week = quillmere.week(Week(2026, 13))

    chart = place_charts(week, conditions.figures(week))[0]

    assert [day for _, day in chart.days] == [
        *("Mon 23", "Tue 24", "Wed 25", "Thu 26", "Fri 27", "Sat 28", "Sun 29")
    ]
    assert chart.until - chart.days[-1][0] == 23 * HOUR
    dark = [end - begin for begin, end in chart.dark]
    # Monday until 8, six nights of which the last is short, Sunday from 20 on
    assert dark == [8 * HOUR, *[12 * HOUR] * 5, 11 * HOUR, 4 * HOUR]
