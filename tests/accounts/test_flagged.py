"""Flags of a series do not depend on the days that are asked for."""

from datetime import timedelta
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.accounts.instruments import Instruments
from monitor.accounts.worker import AccountsWorker
from monitor.clock import to_us
from monitor.science.quality import (
    AttenuatedSignal,
    Checks,
    FlatLine,
    Gap,
    RateOfChange,
    Spike,
)
from monitor.site.words import Quantity
from tests.accounts import house as quillmere
from tests.accounts.house import (
    AIR,
    DAY,
    HOUR,
    START,
    Declared,
    Memory,
    Told,
    instants,
    steady,
)

MINUTE = timedelta(minutes=1)
TEMPERATURE = Quantity.AIR_TEMPERATURE
CHECKS = {
    TEMPERATURE: Checks(
        spike=Spike(2.0, 5.0),
        rate_of_change=RateOfChange(4.0),
        flat_line=FlatLine(3 * HOUR, 0.0),
        attenuated_signal=AttenuatedSignal(4 * HOUR, 0.1),
    )
}
GAP = {TEMPERATURE: Checks(gap=Gap(2 * HOUR), rate_of_change=RateOfChange(4.0))}


@cache
def broken():
    """Two days of a probe that stands still, jumps, fails and is silent for long."""
    rng = np.random.default_rng(20)
    times = instants(START, START + 2 * DAY)
    values = 20 + np.round(rng.normal(0, 0.2, times.size), 2)
    for first in rng.integers(0, times.size, 6):
        values[first : first + 60] = 20.0
    values[rng.integers(0, times.size, 12)] = 85.0
    values[rng.integers(0, times.size, 12)] += 8
    kept = np.ones(times.size, np.bool_)
    for first, length in zip(
        rng.integers(0, times.size, 12),
        (4, 5, 6, 7, 11, 12, 13, 14, 32, 36, 40, 50),
        strict=True,
    ):
        kept[first : first + length] = False
    return times[kept], values[kept]


@pytest.mark.parametrize(
    ("checks", "seen"), [(CHECKS, {1, 2, 3, 4}), (GAP, {1, 2, 3, 4, 9}), ({}, {1, 4})]
)
@given(begin=st.integers(0, 2880), length=st.integers(1, 2880))
def test_any_part_of_a_series_has_the_flags_of_the_whole(checks, seen, begin, length):
    """Instruments reads as much around it as its flags rest on."""
    store = Memory(Told())
    store.put("a-air", *broken())
    instruments = Instruments(quillmere.site(), (), checks)
    since = START + begin * MINUTE
    until = since + length * MINUTE

    def flags(since, until):
        return instruments.flagged(store.readings, "a-air", TEMPERATURE, since, until)

    times, _, whole = flags(START - DAY, START + 4 * DAY)
    part_times, _, part = flags(since, until)

    asked = slice(*np.searchsorted(times, (to_us(since), to_us(until))))
    assert part_times.tolist() == times[asked].tolist()
    assert part.tolist() == whole[asked].tolist()
    assert set(whole.tolist()) == seen


def test_a_day_is_the_same_alone_and_among_others():
    """What is flagged after a long silence does not depend on the days asked for."""
    midnight = START + 2 * DAY
    times, values = steady(START - HOUR, START + 4 * DAY, 20)
    kept = (times < to_us(midnight - 2.5 * HOUR)) | (
        times >= to_us(midnight + 10 * MINUTE)
    )
    times, values = times[kept], values[kept]
    odd = (times >= to_us(midnight + 10 * MINUTE)) & (
        times < to_us(midnight + 25 * MINUTE)
    )
    values[odd] = 35.0
    declared = Declared(quillmere.site(), quillmere.library(), CHECKS)
    days = []
    for rounds in ((4,), (2, 3, 4)):
        store = Memory(Told().tub(START).start(START))
        store.put("a-air", times, values)
        made = AccountsWorker(store, lambda: declared)
        for n in rounds:
            store.write(made.run_once(START + n * DAY))
        days.append({key: day.degree_days for key, day in store.days().items()})

    assert days[0] == days[1]


@given(at=st.integers(0, 575), value=st.sampled_from([20.0, 28.0, 85.0]))
def test_a_late_reading_changes_nothing_beyond_its_reach(at, value):
    """What is trusted further off, with the pairs that it closes, stays as it was."""
    store, gap = Memory(Told()), Instruments(quillmere.site()).gap("a-air")
    store.put("a-air", *broken())
    instruments = Instruments(quillmere.site(), (), CHECKS)
    late = START + at * 5 * MINUTE + MINUTE
    before, after = instruments.reach("a-air", TEMPERATURE)

    def trusted():
        span = (START - DAY, START + 4 * DAY)
        times, values = instruments.read(store.readings, "a-air", TEMPERATURE, *span)
        closed = zip(
            times[:-1].tolist(), times[1:].tolist(), values[:-1].tolist(), strict=True
        )
        outside = (to_us(late - before), to_us(late + after))
        return [
            (begin, end, value)
            for begin, end, value in closed
            if timedelta(microseconds=end - begin) <= gap
            and (end < outside[0] or outside[1] < begin)
        ]

    then = trusted()
    store.put("a-air", np.array([to_us(late)]), value, AIR)

    assert trusted() == then
