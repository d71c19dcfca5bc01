"""Readings by hand, and probes that are hung elsewhere."""

from datetime import UTC, datetime

import pytest

from monitor.errors import RefusedError, UsageError
from monitor.heart.events import Reading
from monitor.site.journal import HandReading, ProbeMoved
from monitor.site.words import Quantity
from tests.desk.quillmere import HOUR, MINUTE, NOW

AIR = {"place": "tub-1", "quantity": "air_temperature"}
EGGS = {"species": "lowland-scarab", "stage": "egg", "count": "12", "place": "tub-1"}


def test_a_value_becomes_an_entry_and_a_reading(quillmere):
    """The journal keeps who and with what; the step gets the value at once."""
    outcome = quillmere.ask(
        "reading add", **AIR, value="24.5", thermometer="dial 3", by="ines", at="12:40"
    )

    at = datetime(2026, 3, 1, 12, 40, tzinfo=UTC)
    assert outcome.entries[0].fact == HandReading(
        "tub-1", Quantity.AIR_TEMPERATURE, value=24.5, thermometer="dial 3"
    )
    assert outcome.readings == (
        Reading("hand-tub-1", "air_temperature", at, 24.5, by_hand=True),
    )


def test_fahrenheit_becomes_celsius(quillmere):
    """77 degF are 25 degC (definition of the scale)."""
    outcome = quillmere.ask("reading add", **AIR, value=77, unit="degF")

    assert outcome.readings[0].value == pytest.approx(25.0)
    assert outcome.result["unit"] == "degC"


@pytest.mark.parametrize(
    ("low", "high", "told"),
    [
        ("17.0", "26.0", 17.0),  # too cold at night: below 20
        ("22.0", "31.0", 31.0),  # too warm: above 29
        ("18.0", "33.5", 33.5),  # both: the maximum is farther out
        ("15.0", "30.0", 15.0),  # both: the minimum is farther out
        ("21.0", "27.0", 27.0),  # neither: the maximum
    ],
)
def test_the_extreme_outside_raises_the_alarm(quillmere, low, high, told):
    """The step is given the worse of the two; the journal keeps both."""
    quillmere.do("cohort start", **EGGS)

    outcome = quillmere.ask(
        "reading add", **AIR, minimum=low, maximum=high, since="2026-02-27 09:00"
    )

    (reading,) = outcome.readings
    assert reading.value == told
    fact = outcome.entries[0].fact
    assert (fact.minimum, fact.maximum) == (float(low), float(high))
    assert fact.since == datetime(2026, 2, 27, 9, tzinfo=UTC)


def test_a_value_beside_its_extremes_counts_where_none_is_worse(quillmere):
    """A thermometer that shows all three is entered once."""
    quillmere.do("cohort start", **EGGS)

    calm = quillmere.ask("reading add", **AIR, value=24, minimum=21, maximum=27)
    cold = quillmere.ask("reading add", **AIR, value=24, minimum=11, maximum=27)

    assert calm.readings[0].value == 24.0
    assert cold.readings[0].value == 11.0


@pytest.mark.parametrize(
    ("args", "parts"),
    [
        ({}, ["no reading", "--value", "--minimum and --maximum"]),
        ({"value": "warm"}, ["--value: 'warm' is no number"]),
        ({"value": 10**400}, ["is no number"]),
        ({"value": "nan"}, ["--value: 'nan' is no finite number"]),
        ({"value": "126"}, ["--value: 126 degC", "-55 to 125"]),
        ({"value": "-127"}, ["-127 degC", "disconnected probe"]),
        ({"value": "300", "unit": "degF"}, ["148.889 degC", "-55 to 125"]),
        ({"value": "24", "unit": "percent"}, ["not read in 'percent'", "degC, degF"]),
        ({"minimum": "20"}, ["both --minimum and --maximum"]),
        ({"minimum": "25", "maximum": "20"}, ["25 is above --maximum 20", "swapped"]),
        ({"minimum": "20", "maximum": "25", "value": "26"}, ["26 is not between"]),
        ({"value": "20", "since": "12:00"}, ["--since belongs to --minimum"]),
        (
            {"minimum": 1, "maximum": 2, "since": "12:30", "at": "12:00"},
            ["--since", "after the reading"],
        ),
        ({"quantity": "temperature", "value": 2}, ["did you mean", "air_temperature"]),
        (
            {"quantity": "relative_humidity", "value": 101},
            ["101 % relative humidity is outside 0 to 100 %"],
        ),
        ({"quantity": "relative_humidity", "value": -1}, ["-1 % relative humidity"]),
        ({"quantity": "door", "value": 2}, ["2 is neither 0 (off) nor 1 (on)"]),
    ],
)
def test_an_impossible_reading_is_not_taken(quillmere, args, parts):
    """Value, limit and mend stand in the refusal."""
    with pytest.raises(UsageError) as caught:
        quillmere.ask("reading add", **(AIR | args))

    assert [part for part in parts if part not in str(caught.value)] == []


def test_a_reading_in_a_scrapped_tub_is_refused(quillmere):
    """Nobody lives there."""
    quillmere.do("place scrap", ids="tub-1")

    with pytest.raises(RefusedError, match="tub-1 was scrapped"):
        quillmere.ask("reading add", **AIR, value=20)


def test_a_probe_is_hung_elsewhere(quillmere):
    """The entry names both; the result says where it hung before."""
    outcome = quillmere.ask("sensor move", id="spare", to="tub-1", at="12:00")

    assert outcome.entries[0].fact == ProbeMoved("spare", "tub-1")
    assert "before in warm-room" in outcome.result["said"]


@pytest.mark.parametrize(
    ("args", "error", "part"),
    [
        ({"id": "spire"}, UsageError, "no sensor 'spire' (did you mean spare?)"),
        ({"to": "warm-room"}, RefusedError, "spare hangs in warm-room already"),
        ({"to": "attic"}, UsageError, "no place 'attic'"),
    ],
)
def test_a_wrong_move_of_a_probe_is_not_taken(quillmere, args, error, part):
    """Unknown sensor or place, or no move at all."""
    with pytest.raises(error) as caught:
        quillmere.ask("sensor move", **({"id": "spare", "to": "tub-1"} | args))

    assert part in str(caught.value)


def test_a_probe_cannot_leave_before_it_came(quillmere):
    """A slip of the date is found."""
    quillmere.do("sensor move", id="spare", to="tub-1", at="12:00")

    with pytest.raises(UsageError, match="before spare came to tub-1"):
        quillmere.ask("sensor move", id="spare", to="tub-2", at="11:00")


def test_the_list_of_sensors_tells_age_and_whom_they_feed(quillmere):
    """Three intervals, at least five minutes, make a reading old."""
    quillmere.do("cohort start", **EGGS)
    quillmere.heard("a-air", Quantity.AIR_TEMPERATURE, 24.0, 15 * MINUTE)
    quillmere.heard("b-air", Quantity.AIR_TEMPERATURE, 30.0, 6 * MINUTE)

    rows = {r["id"]: r for r in quillmere.do("sensor list")["sensors"]}

    assert (rows["a-air"]["age_s"], rows["a-air"]["old"]) == (900.0, False)
    assert rows["a-air"]["feeds"] == ["tub-1"]
    assert (rows["b-air"]["old"], rows["b-air"]["feeds"]) == (True, [])
    assert (rows["room-humidity"]["time"], rows["room-humidity"]["old"]) == (None, True)
    assert rows["a-air"]["time"] == (NOW - HOUR / 4).isoformat().replace("+00:00", "Z")
