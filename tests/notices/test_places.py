from monitor.notices.places import place_paths
from monitor.site.house import House, Place, Probe
from monitor.site.words import PlaceKind, Quantity


def test_each_place_and_sensor_is_named_from_the_room_down():
    """A probe is named by where it hangs, a hand series by its place."""
    places = {
        "warm-room": Place("warm-room", PlaceKind.ROOM, "Warm room", None, fixed=True),
        "warm-a": Place("warm-a", PlaceKind.SHELF, "Shelf A", "warm-room", fixed=True),
        "tub-7": Place("tub-7", PlaceKind.REARING, "Tub 7", "warm-a", fixed=True),
    }
    probe = Probe("warm-a-air", Quantity.AIR_TEMPERATURE, "warm-a")
    hands = {"tub-7": frozenset({Quantity.SUBSTRATE_TEMPERATURE})}

    paths = place_paths(House(places, {}, {"warm-a-air": probe}, hands))

    assert paths == {
        "warm-room": "Warm room",
        "warm-a": "Warm room > Shelf A",
        "tub-7": "Warm room > Shelf A > Tub 7",
        "warm-a-air": "Warm room > Shelf A > probe warm-a-air",
        "hand-tub-7": "Warm room > Shelf A > Tub 7",
    }
