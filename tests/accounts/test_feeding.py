"""What fed a cohort: its moves, its tub's moves and the probes' moves."""

from datetime import date, timedelta
from itertools import pairwise

import pytest

from monitor.accounts.feeding import (
    fed_spans,
    longest_gap,
    on_day,
    prefers_substrate,
)
from monitor.site.house import House
from tests.accounts import house as quillmere
from tests.accounts.house import DAY, HOUR, START, Told


def spans(told, stage="egg", *, substrate=False):
    house: House = told.house()
    return fed_spans(house, house.cohorts[1], stage, prefer_substrate=substrate)


def said(found):
    """Hours since the start, sensors and source of each span."""
    return [
        (
            (s.since - START) / HOUR,
            None if s.until is None else (s.until - START) / HOUR,
            s.sensors,
            s.source,
        )
        for s in found
    ]


def test_a_tub_on_a_shelf_is_fed_by_the_shelfs_probe():
    """One open span, from the start of the cohort."""
    got = spans(Told().tub(START).start(START + HOUR))

    assert said(got) == [(1, None, ("a-air",), "shelf")]
    assert got[0].place == "warm-a"


def test_heat_follows_the_cohort_the_tub_and_the_probe():
    """A tub carried, a cohort moved, a probe hung into the tub and taken out."""
    told = (
        Told()
        .tub(START)
        .tub(START, "tub-2", "warm-b")
        .start(START)
        .carry(START + 10 * HOUR, "warm-b")
        .carry(START + 20 * HOUR, "warm-a")
        .move(START + 30 * HOUR, "tub-2")
        .hang(START + 40 * HOUR, "spare", "tub-2")
        .hang(START + 50 * HOUR, "spare", "tub-1")
    )

    assert said(spans(told, substrate=True)) == [
        (0, 10, ("a-air",), "shelf"),
        (10, 20, ("b-air",), "shelf"),
        (20, 30, ("a-air",), "shelf"),
        (30, 40, ("b-air",), "shelf"),
        (40, 50, ("spare",), "own probe"),
        (50, None, ("b-air",), "shelf"),
    ]
    # a probe of the substrate tells nothing of the air
    assert said(spans(told))[3:] == [(30, None, ("b-air",), "shelf")]


def test_moves_of_other_tubs_and_probes_cut_nothing():
    """A span goes on while what feeds the cohort stays the same."""
    told = (
        Told()
        .tub(START)
        .tub(START, "tub-2", "warm-b")
        .start(START)
        .carry(START + HOUR, "dark", "tub-2")
        .hang(START + 2 * HOUR, "b-air", "dark")
        .hang(START + 3 * HOUR, "spare", "warm-b")
    )

    assert said(spans(told)) == [(0, None, ("a-air",), "shelf")]


def test_where_nothing_measures_the_span_says_so():
    """A shelf without a probe: no sensors, source "none"."""
    told = Told().tub(START).start(START).carry(START + HOUR, "dark")

    assert said(spans(told))[1] == (1, None, (), "none")


def test_stages_and_the_end_bound_the_spans():
    """A stage begun between two visits begins half-way; an ended cohort ends."""
    told = (
        Told()
        .tub(START)
        .start(START)
        .advance(START + 20 * HOUR, "grub", not_before=START + 10 * HOUR)
        .end(START + 40 * HOUR)
    )

    assert said(spans(told, "egg")) == [(0, 15, ("a-air",), "shelf")]
    assert said(spans(told, "grub")) == [(15, 40, ("a-air",), "shelf")]
    assert spans(told, "adult") == ()


def test_spans_leave_no_hole():
    """Each span begins where the one before it ended."""
    told = Told().tub(START).start(START)
    for n in range(1, 12):
        told.carry(START + n * 7 * HOUR, ["warm-a", "warm-b", "dark"][n % 3])

    got = spans(told)

    assert len(got) == 12
    assert all(a.until == b.since for a, b in pairwise(got))


def test_a_day_cuts_spans_at_its_midnights():
    """The parts of a day have an end, and parts of all days make the whole."""
    told = Told().tub(START).start(START + 5 * HOUR).carry(START + 30 * HOUR, "warm-b")
    got = spans(told)

    parts = [on_day(got, date(2026, 3, 1) + DAY * n) for n in range(4)]

    assert [said(p) for p in parts] == [
        [],
        [(5, 24, ("a-air",), "shelf")],
        [(24, 30, ("a-air",), "shelf"), (30, 48, ("b-air",), "shelf")],
        [(48, 72, ("b-air",), "shelf")],
    ]


@pytest.mark.parametrize(
    ("interval", "minutes"), [("1 min", 30), ("5 min", 30), ("20 min", 60)]
)
def test_the_longest_gap_is_three_intervals_or_half_an_hour(interval, minutes):
    """One lost message is no gap."""
    site = quillmere.site(
        sensor=[quillmere.probe("a-air", "warm-a", quillmere.AIR, interval)]
    )

    gap = longest_gap(site)

    assert gap("a-air") == timedelta(minutes=minutes)
    assert gap("hand-tub-1") == timedelta(hours=26)
    assert gap("taken-down") == timedelta(minutes=30)


def test_the_species_file_says_whether_substrate_counts():
    """A band of substrate temperature does."""
    species = quillmere.library().species["scarab"]

    assert prefers_substrate(species.stage("grub"))
    assert not prefers_substrate(species.stage("egg"))
