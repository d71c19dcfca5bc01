"""What an alarm was judged by: bands with sources, delays, a sensor's interval."""

from collections.abc import Iterator, Mapping

import msgspec

from monitor.alarms.alarm import Alarm, Dweller
from monitor.alarms.conditions.bands import Danger
from monitor.alarms.conditions.silence import Silent, silent_after
from monitor.alarms.limits import Delays
from monitor.alarms.plan import Perhaps, delays_for, make_plan
from monitor.site.house import Cohort, House
from monitor.site.local import is_night
from monitor.site.site_file import Site
from monitor.site.species_file import Band, HouseSource, Library, SourceEntry

Range = tuple[float, float]

STANDING = {
    "common-practice": "common practice, no source",
    "from-memory": "from memory: nobody has looked it up",
}


class Cited(msgspec.Struct, frozen=True):
    """
    Where a number was read.

    Attributes:
        id: Of sources.toml, or what stands instead of one.
        title: Of the work, or what the id means.
        where: DOI, pages, address; "" where there is none.
        grade: As sources.toml grades it; "" where it does not.
    """

    id: str
    title: str
    where: str = ""
    grade: str = ""


class LimitsUsed(msgspec.Struct, frozen=True):
    """
    One set of limits that an alarm was held against.

    Attributes:
        who: Species and stage, or the place that site.toml limits.
        cohorts: Whose band it is; () for a limit of the site.
        tolerated: By day or by night, as it was when the alarm came.
        danger: The same.
        night: Whether it was night.
        on_delay_s: Outside for so long makes the alarm; None where there is no delay
            but a second reading, or `Danger.intervals` without one. [s]
        off_delay_s: Back for so long ends it. [s]
        deadband: How far a value must come back.
        source: Where the limits were read.
        decided: These are the limits that the alarm names.
    """

    who: str
    cohorts: tuple[int, ...]
    tolerated: Range | None
    danger: Range | None
    night: bool
    on_delay_s: float | None
    off_delay_s: float
    deadband: float
    source: Cited
    decided: bool = False

    def broken(self, kind: str) -> Range | None:
        """The limits that an alarm of this kind is about."""
        return self.danger if kind == Danger.id else self.tolerated


class SensorUsed(msgspec.Struct, frozen=True):
    """
    What the silence of a sensor was judged by.

    Attributes:
        interval_s: How often it should be heard. [s]
        silent_after_s: From when on it is silent. [s]
        alone: No other probe could stand in.
        delicate: Eggs or pupae depended on it.
    """

    interval_s: float
    silent_after_s: float
    alone: bool
    delicate: bool


class JudgedBy(msgspec.Struct, frozen=True):
    """What an alarm was held against; nothing at all for alarms of the system."""

    limits: tuple[LimitsUsed, ...] = ()
    sensor: SensorUsed | None = None

    @property
    def deciding(self) -> LimitsUsed | None:
        """The limits that the alarm names, where they are still known."""
        return next((used for used in self.limits if used.decided), None)


def judged_by(
    raised: Alarm,
    site: Site,
    library: Library,
    house: House,
    sources: Mapping[str, SourceEntry],
    *,
    perhaps: Perhaps | None = None,
) -> JudgedBy:
    """
    Find what an alarm was held against.

    Args:
        raised: The alarm as it was when it came.
        site: The declared house of that time.
        library: Species of that time.
        house: Where everything was, as far as it was known when the alarm came.
        sources: sources.toml.
        perhaps: Unseen stages that cohorts were then taken to be perhaps in.
    """
    if raised.kind == Silent.id:
        return JudgedBy(sensor=_sensor(raised, site, library, house, perhaps))
    if raised.quantity is None:
        return JudgedBy()
    found = [
        *_bands(raised, site, library, house, sources),
        *_limits(raised, site, house),
    ]
    return JudgedBy(tuple(_marked(used, raised) for used in _merged(found)))


def cited(source: str | HouseSource, sources: Mapping[str, SourceEntry]) -> Cited:
    """Resolve the source of a number."""
    if isinstance(source, HouseSource):
        return Cited("house-practice", f"{source.house}, {source.date}")
    entry = sources.get(source)
    if entry is None:
        return Cited(source, STANDING.get(source, "not in sources.toml"))
    by = ", ".join(str(x) for x in (entry.authors, entry.year) if x)
    return Cited(
        source, f"{entry.title} ({by})" if by else entry.title, entry.where, entry.grade
    )


def _sensor(
    raised: Alarm,
    site: Site,
    library: Library,
    house: House,
    perhaps: Perhaps | None,
) -> SensorUsed | None:
    plan = make_plan(site, library, house, perhaps=perhaps)
    rule = plan.sensors.get((raised.thing, raised.quantity or ""))
    if rule is None:
        return None
    return SensorUsed(
        rule.interval.total_seconds(),
        silent_after(rule.interval).total_seconds(),
        rule.alone,
        rule.delicate,
    )


def _bands_of(
    dweller: Dweller, cohort: Cohort | None, library: Library
) -> Iterator[tuple[str, Band]]:
    """Of the stage, and of unseen ones that the cohort was taken to be perhaps in."""
    for name in (dweller.stage, *dweller.perhaps) if cohort else ():
        stage = library.stage(cohort.species, name) if cohort else None
        who = f"{dweller.species} {dweller.stage}"
        if name != dweller.stage:
            who += f", perhaps already {name}"
        for band in stage.bands if stage else ():
            yield who, band


def _bands(
    raised: Alarm,
    site: Site,
    library: Library,
    house: House,
    sources: Mapping[str, SourceEntry],
) -> Iterator[LimitsUsed]:
    """The bands of those at risk that this series is held against at this place."""
    night = is_night(raised.raised_at, site.site.time_zone)
    for dweller in raised.at_risk:
        cohort = house.cohorts.get(dweller.cohort)
        for who, band in _bands_of(dweller, cohort, library):
            feed = house.feed(dweller.place, band.quantity, inside=band.of == "tub")
            by_hand = band.quantity in house.hands.get(dweller.place, ())
            here = feed.place == raised.thing and feed.quantity == raised.quantity
            if not here and not (by_hand and dweller.place == raised.thing):
                continue
            delays = delays_for(
                site,
                feed.quantity,
                on=band.on_delay,
                off=band.off_delay,
                deadband=band.deadband,
            )
            limits = band.limits(night=night)
            yield _used(
                who,
                (dweller.cohort,),
                (limits.tolerated, limits.danger),
                delays,
                cited(band.source, sources),
                kind=raised.kind,
                night=night,
            )


def _limits(raised: Alarm, site: Site, house: House) -> Iterator[LimitsUsed]:
    night = is_night(raised.raised_at, site.site.time_zone)
    for limit in site.limits:
        feed = house.feed(limit.place, limit.quantity, inside=False)
        if feed.place == raised.thing and feed.quantity == raised.quantity:
            yield _used(
                limit.place,
                (),
                (limit.tolerated, limit.danger),
                delays_for(site, feed.quantity),
                Cited("site.toml", f"[[limit]] of {limit.place}: this house's choice"),
                kind=raised.kind,
                night=night,
            )


def _used(
    who: str,
    cohorts: tuple[int, ...],
    limits: tuple[Range | None, Range | None],
    delays: Delays,
    source: Cited,
    *,
    kind: str,
    night: bool,
) -> LimitsUsed:
    return LimitsUsed(
        who,
        cohorts,
        *limits,
        night,
        None if kind == Danger.id else delays.on.total_seconds(),
        delays.off.total_seconds(),
        delays.deadband,
        source,
    )


def _merged(found: list[LimitsUsed]) -> Iterator[LimitsUsed]:
    """Cohorts of one species and stage share their band."""
    together: dict[LimitsUsed, list[int]] = {}
    for used in found:
        plain = msgspec.structs.replace(used, cohorts=())
        together.setdefault(plain, []).extend(used.cohorts)
    for used, cohorts in together.items():
        yield msgspec.structs.replace(used, cohorts=tuple(sorted(set(cohorts))))


def _marked(used: LimitsUsed, raised: Alarm) -> LimitsUsed:
    broken = used.broken(raised.kind)
    decided = broken is not None and raised.limit in broken
    return msgspec.structs.replace(used, decided=decided)
