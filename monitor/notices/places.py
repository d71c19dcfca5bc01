"""Names of places for notices: the whole way from the room down."""

from monitor.site.house import HAND, House


def place_paths(house: House) -> dict[str, str]:
    """
    Name each place and each sensor, "Warm room > Shelf A".

    Args:
        house: Where everything is now.

    Returns:
        Id of a place, of a sensor or of a hand series to names, the room first.
    """
    paths = {
        place: " > ".join(
            house.places[step].name for step in reversed(house.chain(place))
        )
        for place in house.places
    }
    for probe in house.probes.values():
        if probe.place in paths:
            paths[probe.sensor] = f"{paths[probe.place]} > probe {probe.sensor}"
    for place in house.hands:
        if place in paths:
            paths[HAND + place] = paths[place]
    return paths
