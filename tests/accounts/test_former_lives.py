"""A tub set up anew under an old number: what lived in the old one keeps its past."""

from datetime import timedelta

import pytest

from monitor.accounts.feeding import fed_spans
from monitor.accounts.worker import AccountsWorker
from monitor.site.journal import PlaceCreated, PlaceScrapped
from monitor.site.words import PlaceKind
from monitor.summary.timeline import house_at
from tests.accounts import house as quillmere
from tests.accounts.house import DAY, HOUR, START, Declared, Memory, Told, steady

LEFT, GONE, ANEW, NOW = (START + n * DAY for n in (12, 13, 14, 15))


def lived() -> Told:
    """Twelve days in tub-1 on shelf A, then in tub-2 on it; tub-1 is scrapped."""
    told = Told().tub(START).tub(START, "tub-2").start(START).move(LEFT, "tub-2")
    return told.tell(GONE, PlaceScrapped("tub-1"))


def anew(told: Told, at=ANEW, parent="warm-b") -> Told:
    return told.tell(at, PlaceCreated("tub-1", PlaceKind.REARING, parent))


def heat(told, *, store=None):
    """Its warmth at the end, at 20 degC on shelf A and 28 on shelf B."""
    store = store or Memory(told)
    span = START - HOUR, NOW + HOUR
    store.put("a-air", *steady(*span, 20))
    store.put("b-air", *steady(*span, 28))
    declared = Declared(quillmere.site(), quillmere.library())
    worker = AccountsWorker(store, lambda: declared)
    found = worker.run_once(NOW)
    store.write(found)
    return found.heats[0]


def test_degree_days_outlive_the_number_of_the_tub():
    """Ten a day for fifteen days, whoever has the number now."""
    before, after = heat(lived()), heat(anew(lived()))

    assert before.degree_days == pytest.approx(150)
    assert after == before
    assert after.coverage == 1


def test_cached_days_stay_as_they_are():
    """Nothing is computed anew, since nothing of the past has changed."""
    told = lived()
    store = Memory(told)
    before = heat(told, store=store)
    days = store.days()

    after = heat(anew(told), store=store)

    assert after == before
    assert store.days() == days
    assert len(days) == 15


def test_surveys_of_both_tubs_hold_for_their_own():
    """The old tub was 2 K warmer from its second day on, the new one is 5 K colder."""
    told = lived().survey(START + DAY, 2.0, 0.0)
    before = heat(told)
    anew(told, parent="warm-a").survey(ANEW + HOUR, -5.0, 0.0)

    assert before.degree_days == pytest.approx(10 + 11 * 12 + 3 * 10)
    assert heat(told) == before


def test_a_cohort_of_the_new_tub_inherits_nothing():
    """It is as warm as shelf B from its first day on, and no survey is its own."""
    told = anew(lived().survey(START + DAY, 2.0, 0.0))
    told.start(ANEW, cohort=2)
    house = told.house()

    (span,) = fed_spans(house, house.cohorts[2], "egg", prefer_substrate=False)

    assert (span.since, span.sensors, span.place) == (ANEW, ("b-air",), "warm-b")
    # tub-1 and tub-2 were both surveyed against shelf B in the old days
    assert span.distance.how == "neighbours"


def test_nothing_feeds_whoever_is_left_between_the_lives():
    """Moved out by an entry dated later than the scrapping: a day without readings."""
    told = Told().tub(START).tub(START, "tub-2").start(START)
    told.tell(GONE, PlaceScrapped("tub-1")).move(NOW, "tub-2")
    house = anew(told, parent="warm-a").house()

    spans = fed_spans(house, house.cohorts[1], "egg", prefer_substrate=False)

    assert [(s.since, s.sensors) for s in spans] == [
        (START, ("a-air",)),
        (GONE, ()),
        (ANEW, ("a-air",)),
        (NOW, ("a-air",)),
    ]


def test_the_house_of_a_past_instant_has_the_tub_of_the_time():
    """A week's summary sees it on its old shelf, then nowhere, then on the new one."""
    house = anew(lived()).house()
    minute = timedelta(minutes=1)

    found = [
        house_at(house, at).places.get("tub-1")
        for at in (START - minute, GONE - minute, ANEW - minute, ANEW)
    ]

    assert [tub and tub.parent for tub in found] == [None, "warm-a", None, "warm-b"]
