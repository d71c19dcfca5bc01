"""Which band each series was held against, and when, as animals moved and grew."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import msgspec

from monitor.alarms.perhaps import PerhapsSince, instants, perhaps_at
from monitor.alarms.plan import Perhaps, Plan, Rule, make_plan
from monitor.alarms.rule import may_be
from monitor.site.house import Cohort, House, Place
from monitor.site.local import NIGHT_BEGINS, NIGHT_ENDS, is_night, local
from monitor.site.site_file import Site
from monitor.site.species_file import Library
from monitor.site.stays import Stay

Series = tuple[str, str]
"""Sensor and quantity."""
Range = tuple[float, float]

replace = msgspec.structs.replace
_DAY = timedelta(days=1)


class BandSpan(msgspec.Struct, frozen=True):
    """
    A time during which a series was held against one band.

    Attributes:
        since: Its beginning. UTC.
        until: Its end. UTC.
        low: Lower end of what all who depended on the series tolerated.
        high: Upper end; below *low* where they tolerated nothing in common.
    """

    since: datetime
    until: datetime
    low: float
    high: float


class Held(msgspec.Struct, frozen=True):
    """
    What a series was held against between two instants, each in order of time.

    Attributes:
        tolerated: Outside: an alarm.
        danger: Outside: an urgent one.
    """

    tolerated: tuple[BandSpan, ...] = ()
    danger: tuple[BandSpan, ...] = ()


def house_at(house: House, at: datetime) -> House:
    """
    Tell where everything and everybody was at an earlier instant.

    Args:
        house: With all that the journal moved.
        at: The instant. UTC.
    """
    places = {p.id: p for place in house.places.values() for p in _place(place, at)}
    cohorts = {c.id: c for each in house.cohorts.values() for c in _cohort(each, at)}
    probes = {
        key: replace(p, stays=tuple(s for s in p.stays if s.since <= at))
        for key, p in house.probes.items()
    }
    return House(places, cohorts, probes, house.hands)


def _place(place: Place, at: datetime) -> Iterator[Place]:
    if place.fixed:
        yield place
    elif (parent := place.parent_at(at)) is not None:
        yield replace(place, parent=parent)


def _cohort(cohort: Cohort, at: datetime) -> Iterator[Cohort]:
    place, stage = cohort.place_at(at), cohort.stage_at(at)
    # an entry made after the end may have opened a stay again
    followed = cohort.ended_at is None or at < cohort.ended_at
    if followed and place is not None and stage is not None:
        yield replace(cohort, place=place, stage=stage, ended_at=None)


def changes(house: House, since: datetime, until: datetime) -> list[datetime]:
    """Instants between two others at which anything or anybody moved or grew."""
    stays: list[Stay] = []
    for place in house.places.values():
        stays += place.stays
    for cohort in house.cohorts.values():
        stays += (*cohort.places, *cohort.stages)
    for probe in house.probes.values():
        stays += probe.stays
    times = {s.since for s in stays} | {s.until for s in stays if s.until}
    return sorted(t for t in times if since < t < until)


def plans(
    site: Site,
    library: Library,
    house: House,
    since: datetime,
    until: datetime,
    *,
    taken: Sequence[PerhapsSince] = (),
) -> Iterator[tuple[datetime, datetime, Plan]]:
    """
    Tell what had to be watched from one change in the house to the next.

    A change in what cohorts are taken to be perhaps in is one, too.

    The plans are right about limits; of cohorts with the same limits on the same
    probes they name one.
    """
    known: tuple[object, ...] = ()
    plan = Plan(site, {}, {})
    cuts = {*changes(house, since, until), *instants(taken, since, until)}
    for begin, end in pairwise([since, *sorted(cuts), until]):
        then, perhaps = house_at(house, begin), perhaps_at(taken, begin)
        kinds = _kinds(then, library, perhaps)
        rests_on = (kinds.keys(), [(p.sensor, p.place) for p in then.probes.values()])
        # most changes in a house move one more tub of a kind to where others are
        if rests_on != known:
            known = rests_on
            few = {cohort.id: cohort for cohort in kinds.values()}
            some = replace(then, cohorts=few)
            plan = make_plan(site, library, some, perhaps=perhaps)
        yield begin, end, plan


def _kinds(
    house: House, library: Library, perhaps: Perhaps
) -> dict[tuple[object, ...], Cohort]:
    """One cohort of each species and stage that takes its readings the same way."""
    measured = {p.place for p in house.probes.values()} | house.hands.keys()
    found: dict[tuple[object, ...], Cohort] = {}
    for cohort in house.cohorts.values():
        way = tuple(p for p in house.chain(cohort.place) if p in measured)
        # what is inside a tub only its own probe tells, so that makes a difference
        own = cohort.place in measured
        unseen = may_be(cohort, library, perhaps.get(cohort.id, ()))
        found.setdefault((cohort.species, cohort.stage, unseen, own, way), cohort)
    return found


def held_against(
    site: Site,
    library: Library,
    house: House,
    since: datetime,
    until: datetime,
    *,
    taken: Sequence[PerhapsSince] = (),
) -> dict[Series, Held]:
    """
    Tell what each series was held against between two instants.

    Args:
        site: The declared house.
        library: The species.
        house: With all that the journal moved.
        since: The beginning. UTC.
        until: The end. UTC.
        taken: What cohorts were taken to be perhaps in, in the order of taking.

    Returns:
        For each series that anybody depended on, spans in order; none where nobody did.
    """
    found: dict[Series, tuple[list[BandSpan], list[BandSpan]]] = {}
    halves = list(nights(since, until, site.site.time_zone))
    for begin, end, plan in plans(site, library, house, since, until, taken=taken):
        inside = [
            (max(begin, a), min(end, b), dark)
            for a, b, dark in halves
            if a < end and b > begin
        ]
        for series, watches in plan.watches.items():
            rules = [rule for watch in watches for rule in watch.rules]
            layers = found.setdefault(series, ([], []))
            for layer, spans in enumerate(layers):
                bands = {
                    dark: _common(rules, night=dark, layer=layer)
                    for dark in (False, True)
                }
                for a, b, dark in inside:
                    if (band := bands[dark]) is not None:
                        _extend(spans, BandSpan(a, b, *band))
    return {
        series: Held(tuple(tolerated), tuple(danger))
        for series, (tolerated, danger) in found.items()
    }


def common(rules: Iterable[Rule], *, night: bool) -> Range | None:
    """What all tolerate, empty or not; None where nobody names a tolerated band."""
    return _common(rules, night=night, layer=0)


def common_danger(rules: Iterable[Rule], *, night: bool) -> Range | None:
    """The narrowest danger limits; None where nobody names any."""
    return _common(rules, night=night, layer=1)


def _common(rules: Iterable[Rule], *, night: bool, layer: int) -> Range | None:
    bands = [band for rule in rules if (band := rule.at_time(night=night)[layer])]
    if not bands:
        return None
    return max(low for low, _ in bands), min(high for _, high in bands)


def nights(
    since: datetime, until: datetime, zone: str
) -> Iterator[tuple[datetime, datetime, bool]]:
    """Cut a time into days and nights of the site, each with whether it is night."""
    clock = ZoneInfo(zone)
    day, last = local(since, zone).date(), local(until, zone).date()
    cuts: list[datetime] = []
    while day <= last:
        cuts += (
            datetime.combine(day, at, clock).astimezone(since.tzinfo)
            for at in (NIGHT_ENDS, NIGHT_BEGINS)
        )
        day += _DAY
    edges = [since, *(c for c in cuts if since < c < until), until]
    for begin, end in pairwise(edges):
        yield begin, end, is_night(begin, zone)


def _extend(spans: list[BandSpan], more: BandSpan) -> None:
    if spans and spans[-1].until == more.since:
        last = spans[-1]
        if (last.low, last.high) == (more.low, more.high):
            spans[-1] = replace(last, until=more.until)
            return
    spans.append(more)
