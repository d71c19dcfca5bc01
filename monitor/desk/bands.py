"""What those who live in a place tolerate together, and who cannot live with whom."""

from collections.abc import Iterable, Iterator

import msgspec

from monitor.desk.said import band_words, cohort_words, words
from monitor.desk.view import View
from monitor.site.house import Cohort, House
from monitor.site.site_file import Site
from monitor.site.species_file import Band, Library
from monitor.site.words import Quantity


class Measured(msgspec.Struct, frozen=True):
    """
    What two bands must share to be about the same thing.

    Attributes:
        quantity: What is measured (air stands in for substrate temperature).
        by: The sensors, or where nothing measures: whose air the bands are of.
    """

    quantity: Quantity
    by: tuple[str, ...]


class Claim(msgspec.Struct, frozen=True):
    """One tolerated band at a place, and whose it is."""

    who: str
    band: tuple[float, float]
    cohort: int | None


def tolerated(band: Band, *, night: bool) -> tuple[float, float] | None:
    """The tolerated band of the day or of the night; None where none is given."""
    if night and band.night and band.night.tolerated:
        return band.night.tolerated
    return band.tolerated


def common(claims: Iterable[Claim]) -> tuple[float, float] | None:
    """
    Intersect bands.

    Returns:
        What all tolerate, or None where that is nothing or a single point: no
        heater holds a point.

    Raises:
        ValueError: If there are no claims.
    """
    every = [claim.band for claim in claims]
    if not every:
        raise ValueError("no bands to intersect")
    low, high = max(b[0] for b in every), min(b[1] for b in every)
    return (low, high) if low < high else None


def measured_at(house: House, place: str, band: Band) -> Measured:
    """What a band is judged by at a place."""
    feed = house.feed(place, band.quantity, inside=band.of == "tub")
    if feed.sensors:
        return Measured(feed.quantity, feed.sensors)
    return Measured(band.quantity, (band.of,))


def claims_of(
    cohort: Cohort, who: str, place: str, house: House, library: Library, *, night: bool
) -> Iterator[tuple[Measured, Claim]]:
    """The tolerated bands of a cohort as they would be judged at a place."""
    stage = library.stage(cohort.species, cohort.stage)
    for band in stage.bands if stage else ():
        limits = tolerated(band, night=night)
        if limits is not None:
            measured = measured_at(house, place, band)
            yield measured, Claim(who, limits, cohort.id)


def claims_of_site(
    site: Site, place: str, house: House
) -> Iterator[tuple[Measured, Claim]]:
    """The limits of site.toml that are judged by the same sensors as this place."""
    for limit in site.limits:
        feed = house.feed(place, limit.quantity, inside=False)
        if limit.place in (place, feed.place) and feed.sensors:
            claim = Claim(
                f"the limit of {limit.place} in site.toml", limit.tolerated, None
            )
            yield Measured(feed.quantity, feed.sensors), claim


def clash(
    newcomer: Cohort, who: str, place: str, *, view: View, house: House | None = None
) -> str | None:
    """
    Tell why a cohort cannot live in a place with those who live there.

    By day and by night, each quantity as it is measured at that place: the
    tolerated bands of all cohorts there, of the newcomer, and of site.toml must
    have something in common.

    Args:
        newcomer: The cohort, already in the stage that it is in.
        who: How it is called in the message.
        place: Where it is to live.
        view: Bands, limits of the site, and who lives where.
        house: The house where it is not as in *view*. The newcomer itself is left
            out of those who live in the place.

    Returns:
        One sentence that names both sides, both bands and the quantity; None
        where all is well.
    """
    house, site, library = house or view.house, view.site, view.library
    others = [c for c in house.dwellers(place) if c.id != newcomer.id]
    for night in (False, True):
        mine = list(claims_of(newcomer, who, place, house, library, night=night))
        theirs = list(claims_of_site(site, place, house))
        for cohort in others:
            name = cohort_words(cohort, library)
            theirs += claims_of(cohort, name, place, house, library, night=night)
        for measured, claim in mine:
            pair = _apart([claim, *(c for m, c in theirs if m == measured)])
            if pair is not None:
                return _sentence(*pair, measured.quantity, place, night=night)
    return None


def _apart(claims: list[Claim]) -> tuple[Claim, Claim] | None:
    """Two claims with nothing in common, the first claim being one if it can."""
    if common(claims) is not None:
        return None
    first = claims[0]
    for other in claims[1:]:
        if common((first, other)) is None:
            return first, other
    # on a line bands have nothing in common only where two of them have nothing
    # in common: here two who live there already
    cold = min(claims, key=lambda c: c.band[1])
    warm = max(claims, key=lambda c: c.band[0])
    return cold, warm


def _sentence(
    claim: Claim, other: Claim, quantity: Quantity, place: str, *, night: bool
) -> str:
    when = " at night" if night else ""
    one, two = (
        f"{c.who} {'is' if c.cohort is None else 'tolerates'}"
        f" {band_words(c.band, quantity)}"
        for c in (claim, other)
    )
    return f"no common tolerated {words(quantity)} at {place}{when}: {one}, {two}"
