"""What fed a cohort with readings at each time: its places and probes as they moved."""

from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise

import msgspec

from monitor.accounts.by_hand import HAND_GAP, HandLogs, cut_by
from monitor.site.house import HAND, Cohort, Feed, House
from monitor.site.site_file import Site
from monitor.site.species_file import Stage
from monitor.site.stays import Stay
from monitor.site.surveys import Distance
from monitor.site.words import Quantity

DAY = timedelta(days=1)

GAP_INTERVALS = 3
SHORTEST_GAP = timedelta(minutes=30)

HERE = Distance(0.0, 0.0, "own probe")


class FedSpan(msgspec.Struct, frozen=True):
    """
    A time during which a cohort was fed by the same sensors.

    Attributes:
        since: Its beginning. UTC.
        until: Its end; None while it lasts.
        sensors: Sensors that measured, or () where nothing did.
        quantity: What they measured.
        place: Where they hung.
        source: "own probe", "shelf", "room", "hand" or "none".
        extremes: Lowest and highest of the time, where a thermometer read by hand
            keeps them; it speaks for the time instead of the sensors. [degC]
        next_lowest: Lowest of the time that followed, where that was read too; None
            otherwise. [degC]
        distance: How far the cohort is from what measured.
    """

    since: datetime
    until: datetime | None
    sensors: tuple[str, ...]
    quantity: Quantity
    place: str
    source: str
    extremes: tuple[float, float] | None = None
    distance: Distance = HERE
    next_lowest: float | None = None


def longest_gap(site: Site | None) -> Callable[[str], timedelta]:
    """
    Tell how far apart two readings of a sensor may be and still bridge the time.

    Three intervals, as for silence: one lost message, or two, is no gap. Never under
    half an hour, within which a tub or a shelf cannot warm and cool unseen by much
    (common practice, no source); 26 h for a thermometer that a person reads daily.
    Without a site every sensor has the shortest.
    """
    sensors = () if site is None else site.sensors
    gaps: dict[str, timedelta] = {
        s.id: max(GAP_INTERVALS * s.interval, SHORTEST_GAP) for s in sensors
    }

    def gap(sensor: str) -> timedelta:
        if sensor.startswith(HAND):
            return HAND_GAP
        return gaps.get(sensor, SHORTEST_GAP)

    return gap


def prefers_substrate(stage: Stage) -> bool:
    """Whether the species file gives the stage a band of substrate temperature."""
    return any(b.quantity is Quantity.SUBSTRATE_TEMPERATURE for b in stage.bands)


def fed_spans(
    house: House,
    cohort: Cohort,
    stage: str,
    *,
    prefer_substrate: bool,
    by_hand: HandLogs | None = None,
) -> tuple[FedSpan, ...]:
    """
    Tell what fed a cohort during a stage, in order of time, without holes.

    Args:
        house: With all that the journal moved.
        cohort: The animals.
        stage: One of the stages that they went through.
        prefer_substrate: Take substrate before air temperature where there is both.
        by_hand: Minima and maxima of places without a sensor.
    """
    quantity = (
        Quantity.SUBSTRATE_TEMPERATURE if prefer_substrate else Quantity.AIR_TEMPERATURE
    )
    cuts = sorted(_moves(house, cohort))
    spans: list[FedSpan] = []
    for stay in cohort.stages:
        # journals have a stage as it was typed
        if stay.what.casefold() != stage.casefold() or stay.since == stay.until:
            continue
        for since, until in _pieces(stay, cuts):
            place = cohort.place_at(since)
            feed = (
                Feed((), quantity, cohort.place, "none")
                if place is None
                else house.feed(place, quantity, at=since)
            )
            distance = house.distance(place or cohort.place, feed, at=since)
            for span in _spans(since, until, feed, distance, by_hand or {}):
                if spans and _continues(spans[-1], span):
                    begun = spans.pop().since
                    spans.append(msgspec.structs.replace(span, since=begun))
                else:
                    spans.append(span)
    return tuple(spans)


def on_day(spans: Iterable[FedSpan], day: date) -> tuple[FedSpan, ...]:
    """The parts of spans that lie in a UTC day, each with an end."""
    begin = datetime.combine(day, time(), UTC)
    end = begin + DAY
    return tuple(
        msgspec.structs.replace(
            span, since=max(span.since, begin), until=min(span.until or end, end)
        )
        for span in spans
        if span.since < end and (span.until is None or span.until > begin)
    )


def _spans(
    since: datetime,
    until: datetime | None,
    feed: Feed,
    distance: Distance,
    by_hand: HandLogs,
) -> Iterator[FedSpan]:
    """One span, or where extremes were read by hand as many as these make."""
    log = by_hand.get((feed.place, feed.quantity)) if feed.source == "hand" else None
    for begin, end, pair in cut_by(log.extremes if log else (), since, until):
        yield FedSpan(
            begin,
            end,
            feed.sensors,
            feed.quantity,
            feed.place,
            feed.source,
            None if pair is None else (pair.lowest, pair.highest),
            distance,
            None if pair is None else pair.next_lowest,
        )


def _moves(house: House, cohort: Cohort) -> Iterator[datetime]:
    """Instants at which cohort, places or probes moved, or another survey holds."""
    yield from (stay.since for stay in cohort.places)
    waiting = [stay.what for stay in cohort.places]
    for place in dict.fromkeys(waiting):
        yield from house.surveys.changes(place)
    seen: set[str] = set()
    while waiting:
        here = house.places.get(waiting.pop())
        if here is None or here.id in seen:
            continue
        seen.add(here.id)
        for stay in here.stays:
            yield stay.since
            # a number may be given again later than its tub was scrapped
            if stay.until is not None:
                yield stay.until
        waiting.extend(stay.what for stay in here.stays)
        if here.parent is not None:
            waiting.append(here.parent)
    for probe in house.probes.values():
        if not seen.isdisjoint((probe.first_place, *(s.what for s in probe.stays))):
            yield from (stay.since for stay in probe.stays)


def _pieces(
    stay: Stay, cuts: Iterable[datetime]
) -> Iterator[tuple[datetime, datetime | None]]:
    inside = {c for c in cuts if c > stay.since and (not stay.until or c < stay.until)}
    edges = [stay.since, *sorted(inside)]
    yield from pairwise(edges)
    yield edges[-1], stay.until


def _continues(one: FedSpan, other: FedSpan) -> bool:
    there = msgspec.structs.replace(other, since=one.since, until=one.until)
    return one.until == other.since and one == there
