"""The Quillmere house: what stands in it, and that it fits what is shipped."""

from collections import Counter
from datetime import UTC, datetime

import pytest

from monitor.demo.plan import (
    AIR,
    BARE,
    FAILING_SHELF,
    PROBE_OF_TUB,
    PROBED_TUBS,
    SLOW,
    TUBS_ON,
    felt,
    tub,
)
from monitor.demo.residents import EMPTY, KEEPERS, journal
from monitor.site.house import fold
from monitor.site.journal import (
    CohortAdvanced,
    CohortEnded,
    CohortMoved,
    HandReading,
    PlaceScrapped,
    PlaceSurveyed,
)
from monitor.site.load import load, shipped
from monitor.site.words import CountKind, PlaceKind, Quantity

BEGAN_AT = datetime(2026, 11, 25, 10, tzinfo=UTC)


@pytest.fixture(scope="module")
def configuration():
    return load(shipped())


@pytest.fixture(scope="module")
def entries():
    return journal(began_at=BEGAN_AT, seed=1)


@pytest.fixture(scope="module")
def house(configuration, entries):
    return fold(configuration.site, entries)


def test_the_shipped_site_is_the_house_of_the_story(configuration):
    """3 rooms, 6 shelves with 2 probes each, 1 incubator, 2 bins, 1 exhibit."""
    site = configuration.site
    kinds = Counter(e.kind for e in site.enclosures)
    shelves = {s.id for s in site.shelves}
    on_shelves = Counter(
        s.quantity
        for s in site.sensors
        if s.place in shelves and s.id not in PROBE_OF_TUB.values()
    )

    assert len(site.rooms) == 3
    assert len(shelves) == 6
    assert on_shelves == {
        Quantity.AIR_TEMPERATURE: 6,
        Quantity.RELATIVE_HUMIDITY: 6,
    }
    assert kinds == {
        PlaceKind.INCUBATOR: 1,
        PlaceKind.FERMENTATION: 2,
        PlaceKind.EXHIBIT: 1,
    }


def test_the_shipped_site_uses_every_table(configuration):
    """Only the mirror, which needs a server and a token, stands as a comment."""
    site = configuration.site
    tables = [name for name in type(site).model_fields if getattr(site, name)]

    assert set(type(site).model_fields) - set(tables) == {"mirror"}


def test_120_tubs_are_in_use_and_8_have_a_probe_of_their_own(house):
    """The journal leaves 120 tubs standing, eight of them with a buried probe."""
    tubs = {
        p.id
        for p in house.places.values()
        if p.kind is PlaceKind.REARING and p.scrapped_at is None
    }
    own = {
        t
        for t in tubs
        if house.feed(t, Quantity.SUBSTRATE_TEMPERATURE).source == "own probe"
    }

    assert tubs == {tub(n) for n in range(1, 121)}
    assert own == set(PROBED_TUBS)


def test_probes_were_moved_from_the_shelf_of_site_toml(configuration, house):
    """Each tub probe first hangs on the shelf where its tub stands."""
    first = {s.id: s.place for s in configuration.site.sensors}

    got = {t: first[probe] for t, probe in PROBE_OF_TUB.items()}

    assert got == dict(PROBED_TUBS)
    assert got == {t: house.places[t].parent for t in PROBED_TUBS}


def test_every_cohort_is_in_a_stage_that_the_library_knows(configuration, house):
    """Nobody is of an unknown species, in an unknown stage or in no place."""
    cohorts = list(house.cohorts.values())

    unknown = [
        c
        for c in cohorts
        for stay in c.stages
        if configuration.library.stage(c.species, stay.what) is None
        or c.place not in house.places
    ]

    assert len(cohorts) == 120 - len(EMPTY) + 5
    assert unknown == []


def test_the_house_has_all_that_a_house_has(entries, house):
    """Single larvae, a colony, eggs by estimate, moves, ends, hand readings."""
    living = list(house.living())
    facts = Counter(type(e.fact) for e in entries)
    happened = [e.happened_at for e in entries]

    assert sum(c.species == "dynastes-hercules" and c.stage == "L3" for c in living) > 9
    assert any(c.colony and c.count.number is None for c in living)
    assert any(c.stage == "egg" and c.count.kind is CountKind.ESTIMATE for c in living)
    wanted = (CohortAdvanced, CohortMoved, CohortEnded, HandReading, PlaceScrapped)
    wanted += (PlaceSurveyed,)
    assert min(facts[kind] for kind in wanted) >= 1
    assert {e.by for e in entries} == set(KEEPERS)
    assert happened == sorted(happened)
    assert max(e.entered_at for e in entries) <= BEGAN_AT


def test_keepers_of_the_journal_stand_in_site_toml(configuration):
    """Who entered something is somebody whom the site knows."""
    assert set(KEEPERS) <= {k.id for k in configuration.site.keepers}


def test_only_the_stages_of_a_breeding_shelf_stand_where_the_heater_fails(house):
    """All on that shelf have the same tolerated band, so that one alarm tells all."""
    first, last = TUBS_ON[FAILING_SHELF]
    here = {tub(n) for n in range(first, last + 1)}

    stages = {c.stage for c in house.living() if c.place in here}

    assert stages == {"egg", "prepupa", "pupa"}


def test_every_sensor_feels_something_that_has_physics(configuration):
    """No probe hangs where nothing is simulated; bare numbers are few."""
    bodies = {n.id for n in AIR} | {b.id for b in SLOW}
    sensors = configuration.site.sensors

    places = {felt(s.id, s.place, s.quantity).place for s in sensors}

    assert places <= bodies
    assert {s.id for s in sensors} >= BARE
    assert 30 <= len(sensors) <= 40


def test_the_same_seed_makes_the_same_journal():
    """The house is invented once and for all."""
    again = journal(began_at=BEGAN_AT, seed=1)

    assert again == journal(began_at=BEGAN_AT, seed=1)
    assert again != journal(began_at=BEGAN_AT, seed=2)
