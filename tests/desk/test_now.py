"""The picture of the house: whose reading it is, how old, and whom it concerns."""

from datetime import timedelta

import pytest

from monitor.accounts.heat import CohortHeat
from monitor.desk.view import Health, SetApart
from monitor.site.words import Quantity
from tests.desk.quillmere import HOUR, MINUTE, NOW, SITE, a_site, an_alarm

AIR, SUBSTRATE = Quantity.AIR_TEMPERATURE, Quantity.SUBSTRATE_TEMPERATURE
EGGS = {"species": "lowland-scarab", "stage": "egg", "count": "12", "place": "tub-1"}


def of(quillmere, place):
    return next(p for p in quillmere.do("now")["places"] if p["id"] == place)


def test_the_contract_is_kept(quillmere):
    """Programs find the keys that they were promised."""
    quillmere.do("cohort start", **EGGS)
    quillmere.heat[1] = CohortHeat(1, "egg", 91.5, 88.0, 95.0, 0.97, NOW - HOUR)
    quillmere.heard("a-air", AIR, 24.3, 2 * MINUTE)
    quillmere.alarms = (an_alarm(),)

    result = quillmere.do("now")

    assert result["time"] == "2026-03-01T13:00:00Z"
    daemon = result["daemon"]
    assert (daemon["state"], daemon["queue"]) == ("running", 0)
    assert (daemon["quarantined"], daemon["committed"]) == (2, 500)
    tub = next(p for p in result["places"] if p["id"] == "tub-1")
    assert tub["alarms"] == [12]
    (reading,) = tub["readings"]
    wanted = {
        "sensor": "a-air",
        "quantity": "air_temperature",
        "value": 24.3,
        "unit": "degC",
        "time": "2026-03-01T12:58:00Z",
        "flag": 1,
        "from": "shelf",
        "tolerated": [20.0, 29.0],
        "danger": [12.0, 33.0],
    }
    assert {key: reading[key] for key in wanted} == wanted
    (cohort,) = tub["cohorts"]
    assert (cohort["id"], cohort["species"], cohort["count"]) == (
        1,
        "lowland-scarab",
        12,
    )
    assert (cohort["degree_days"], cohort["coverage"]) == (91.5, 0.97)


@pytest.mark.parametrize(
    ("sensor", "place", "age", "flag"),
    [
        ("a-air", "shelf-a", 15 * MINUTE, 1),
        ("a-air", "shelf-a", 15 * MINUTE + timedelta(seconds=1), 9),
        # an interval of one minute: five minutes at least
        ("b-air", "shelf-b", 5 * MINUTE, 1),
        ("b-air", "shelf-b", 5 * MINUTE + timedelta(seconds=1), 9),
    ],
)
def test_an_old_reading_is_flagged_as_missing(quillmere, sensor, place, age, flag):
    """After three intervals, and not before five minutes."""
    quillmere.heard(sensor, AIR, 24.0, age)

    (reading,) = [r for r in of(quillmere, place)["readings"] if r["sensor"] == sensor]

    assert reading["flag"] == flag


def test_a_sensor_never_heard_has_no_value(quillmere):
    """Nothing is invented for it."""
    (reading,) = [
        r for r in of(quillmere, "shelf-a")["readings"] if r["sensor"] == "a-air"
    ]

    assert (reading["value"], reading["time"], reading["flag"]) == (None, None, 9)


def test_a_place_says_whose_reading_it_takes(quillmere):
    """Its own probe, else the shelf's, else the room's."""
    quillmere.do("place create", ids="tub-3", in_="warm-room")
    for place in ("tub-1", "tub-2", "tub-3"):
        quillmere.do("cohort start", **(EGGS | {"place": place}))
    quillmere.do("sensor move", id="spare", to="tub-1")

    told = {
        place: of(quillmere, place)["readings"][0]["from"]
        for place in ("tub-1", "tub-2", "tub-3")
    }

    assert told == {"tub-1": "own probe", "tub-2": "shelf", "tub-3": "none"}


def test_the_room_serves_a_tub_on_a_shelf_without_a_probe(quillmere):
    """The spare probe hangs in the room: it is the nearest that measures."""
    quillmere.do("cohort start", **EGGS)
    quillmere.site = quillmere.site.model_copy(
        update={"sensors": tuple(s for s in quillmere.site.sensors if s.id != "a-air")}
    )

    (reading,) = of(quillmere, "tub-1")["readings"]

    assert (reading["sensor"], reading["from"]) == ("spare", "room")


def test_air_in_the_room_tells_nothing_of_humidity_in_a_tub(quillmere):
    """A shelf shows the room's humidity, a closed tub does not."""
    quillmere.heard("room-humidity", Quantity.RELATIVE_HUMIDITY, 60.0, MINUTE)

    shelf = [r["quantity"] for r in of(quillmere, "shelf-a")["readings"]]
    tub = [r["quantity"] for r in of(quillmere, "tub-1")["readings"]]

    assert "relative_humidity" in shelf
    assert "relative_humidity" not in tub


def test_what_animals_need_and_nothing_measures_is_told(quillmere):
    """A place without any probe says none, with the limits that nobody watches."""
    quillmere.site = quillmere.site.model_copy(update={"sensors": ()})
    quillmere.do("cohort start", **EGGS)

    (reading,) = of(quillmere, "tub-1")["readings"]

    assert (reading["from"], reading["value"], reading["flag"]) == ("none", None, 9)
    assert reading["tolerated"] == [20.0, 29.0]


def test_a_hand_reading_stands_beside_the_probe_for_a_day(quillmere):
    """It is never judged by silence; its time stands with it."""
    quillmere.do("reading add", place="tub-1", quantity="air_temperature", value=23)
    quillmere.now = NOW + 23 * HOUR

    fresh = [r["from"] for r in of(quillmere, "tub-1")["readings"]]
    (by_hand,) = [r for r in of(quillmere, "tub-1")["readings"] if r["from"] == "hand"]
    quillmere.now = NOW + 25 * HOUR
    later = [r["from"] for r in of(quillmere, "tub-1")["readings"]]

    assert "hand" in fresh
    assert (by_hand["value"], by_hand["flag"]) == (23.0, 1)
    assert "hand" not in later


def test_a_shelf_shows_the_strictest_limits_of_all_whom_it_serves(quillmere):
    """The tubs take its reading, so it is judged for them."""
    quillmere.do("cohort start", **EGGS)
    quillmere.do("cohort start", **(EGGS | {"stage": "pupa", "place": "tub-2"}))

    (reading,) = [
        r for r in of(quillmere, "shelf-a")["readings"] if r["sensor"] == "a-air"
    ]

    assert reading["tolerated"] == [21.0, 26.0]


def test_limits_of_the_night_hold_at_night(quillmere):
    """After 20:00 the pupae want it cool."""
    quillmere.do("cohort start", **(EGGS | {"stage": "pupa"}))
    quillmere.now = NOW + 8 * HOUR

    (reading,) = of(quillmere, "tub-1")["readings"]

    assert reading["tolerated"] == [16.0, 19.0]


def test_scrapped_places_are_gone(quillmere):
    """What stands is shown."""
    quillmere.do("place scrap", ids="tub-2")

    assert "tub-2" not in [p["id"] for p in quillmere.do("now")["places"]]


def test_an_alarm_of_a_sensor_stands_where_it_hangs(quillmere):
    """A silent probe concerns its shelf, and the tub of those at risk."""
    quillmere.alarms = (an_alarm(thing="a-air", kind="silent"),)

    places = {p["id"]: p["alarms"] for p in quillmere.do("now")["places"]}

    assert (places["shelf-a"], places["tub-1"], places["tub-2"]) == ([12], [12], [])


def test_messages_set_apart_are_shown_with_their_reason(quillmere):
    """A keeper finds out why a new sensor shows nothing."""
    apart = (SetApart(NOW, "rearing/x/y", "no sensor listens there"),)
    quillmere.health = Health("running", 0, 1, 0, set_apart=apart)

    (told,) = quillmere.do("now")["daemon"]["set_apart"]

    assert told["reason"] == "no sensor listens there"
    assert told["topic"] == "rearing/x/y"


def test_a_clamp_is_told_in_amperes_and_a_switch_is_not(quillmere):
    """The same quantity, two kinds of sensor."""
    quillmere.site = a_site(
        SITE
        + """
[[sensor]]
id = "clamp"
place = "shelf-a"
quantity = "heater"
interval = "5 min"
unit = "ampere"

[[sensor]]
id = "relay"
place = "shelf-b"
quantity = "heater"
interval = "5 min"
"""
    )
    quillmere.heard("clamp", Quantity.HEATER, 1.7, MINUTE)
    quillmere.heard("relay", Quantity.HEATER, 1.0, MINUTE)

    told = [
        (r["sensor"], r["value"], r["unit"])
        for place in ("shelf-a", "shelf-b")
        for r in of(quillmere, place)["readings"]
        if r["quantity"] == "heater"
    ]
    listed = {s["id"]: s["unit"] for s in quillmere.do("sensor list")["sensors"]}

    assert told == [("clamp", 1.7, "ampere"), ("relay", 1.0, "on-off")]
    assert (listed["clamp"], listed["relay"]) == ("ampere", "on-off")
