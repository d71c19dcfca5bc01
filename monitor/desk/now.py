"""How the house is: every place with its readings, its animals and its alarms."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import timedelta
from typing import NamedTuple

from monitor.alarms.alarm import Alarm
from monitor.desk.alarms import alarm_row, standing
from monitor.desk.asked import Asked
from monitor.desk.bands import tolerated
from monitor.desk.cohorts import cohort_row
from monitor.desk.places import in_order
from monitor.desk.said import iso, iso_or_none, unit_of
from monitor.desk.view import Outcome, View
from monitor.heart.events import Reading
from monitor.site.house import HAND, Cohort, Feed, Place, Probe
from monitor.site.local import is_night
from monitor.site.species_file import Band
from monitor.site.words import SWITCHES, Flag, PlaceKind, Quantity

OLD_INTERVALS = 3
OLD_AT_LEAST = timedelta(minutes=5)
HAND_SHOWN = timedelta(hours=24)
"""A hand reading stands beside the probe's for a day."""

Range = tuple[float, float]
_OPEN = (PlaceKind.ROOM, PlaceKind.SHELF)


def is_old(age: timedelta, interval: timedelta) -> bool:
    """Whether a reading no longer tells how it is: three intervals, at least 5 min."""
    return age > max(OLD_INTERVALS * interval, OLD_AT_LEAST)


def now(asked: Asked) -> Outcome:
    """Answer ``now``."""
    view = asked.view
    index = _Index(view)
    places = [
        {
            "id": place.id,
            "name": place.name,
            "kind": place.kind.value,
            "parent": place.parent,
            "readings": list(_readings(view, index, place)),
            "cohorts": [cohort_row(c, view) for c in index.dwellers(place.id)],
            "alarms": index.alarms(place.id),
        }
        for place in in_order(view.house)
        if place.scrapped_at is None
    ]
    newest = max((r.time for r in view.latest.values()), default=None)
    health = view.health
    return Outcome(
        {
            "time": iso(view.now),
            "time_zone": asked.zone.key,
            "site": view.site.site.name,
            "newest_reading": iso_or_none(newest),
            "daemon": {
                "state": health.state,
                "queue": health.queue,
                "quarantined": health.quarantined,
                "committed": health.committed,
                "committed_at": iso_or_none(health.committed_at),
                "counters": dict(health.counters),
                "set_apart": [
                    {"time": iso(m.at), "topic": m.topic, "reason": m.reason}
                    for m in health.set_apart
                ],
            },
            "alarms": [alarm_row(alarm) for alarm in standing(view.alarms)],
            "places": places,
        }
    )


class _Index:
    """What is asked once for each of some hundred places."""

    def __init__(self, view: View) -> None:
        self._dwellers: dict[str, list[Cohort]] = {}
        for cohort in sorted(view.house.living(), key=lambda c: c.id):
            self._dwellers.setdefault(cohort.place, []).append(cohort)
        self.hanging: dict[str, list[Probe]] = {}
        for probe in view.house.probes.values():
            self.hanging.setdefault(probe.place, []).append(probe)
        self.intervals = {s.id: s.interval for s in view.site.sensors}
        self.units = {s.id: s.unit for s in view.site.sensors}
        self._alarms: dict[str, list[int]] = {}
        for alarm in standing(view.alarms):
            for place in sorted(_concerned(alarm, view)):
                self._alarms.setdefault(place, []).append(alarm.id)
        self.night = is_night(view.now, view.site.site.time_zone)
        self.fed: dict[tuple[str, Quantity], list[_Limits]] = {}
        for cohort in view.house.living():
            for band in _bands(view, cohort):
                inside = band.of == "tub"
                feed = view.house.feed(cohort.place, band.quantity, inside=inside)
                for sensor in feed.sensors:
                    limits = _limits_of(band, night=self.night)
                    self.fed.setdefault((sensor, feed.quantity), []).append(limits)

    def dwellers(self, place: str) -> list[Cohort]:
        return self._dwellers.get(place, [])

    def alarms(self, place: str) -> list[int]:
        return self._alarms.get(place, [])


def _concerned(alarm: Alarm, view: View) -> set[str]:
    probe = view.house.probes.get(alarm.thing)
    thing = alarm.thing if probe is None else probe.place
    return {thing, *(dweller.place for dweller in alarm.at_risk)}


class _Limits(NamedTuple):
    """The limits of somebody for a quantity, from the inmost."""

    target: Range | None = None
    tolerated: Range | None = None
    danger: Range | None = None


class _Wanted(NamedTuple):
    """A quantity that a place tells, and the limits of all who live there."""

    quantity: Quantity
    inside: bool
    limits: tuple[_Limits, ...] = ()


def _bands(view: View, cohort: Cohort) -> tuple[Band, ...]:
    stage = view.library.stage(cohort.species, cohort.stage)
    return stage.bands if stage else ()


def _limits_of(band: Band, *, night: bool) -> _Limits:
    dark = band.night if night else None
    target = (dark.target if dark else None) or band.target
    danger = (dark.danger if dark else None) or band.danger
    return _Limits(target, tolerated(band, night=night), danger)


def _readings(view: View, index: _Index, place: Place) -> Iterator[dict[str, object]]:
    # bands of substrate and air are told together where one probe stands for both
    told: dict[Feed, list[_Wanted]] = {}
    for wanted in _wanted(view, index, place):
        quantity, by_hand = wanted.quantity, HAND + place.id
        feed = view.house.feed(place.id, quantity, inside=wanted.inside)
        told.setdefault(feed, []).append(wanted)
        read = view.latest.get((by_hand, quantity.value))
        if read is not None and view.now - read.time <= HAND_SHOWN:
            beside = Feed((by_hand,), quantity, place.id, "hand")
            told.setdefault(beside, []).append(wanted)
    for feed, wants in told.items():
        limits = [each for wanted in wants for each in wanted.limits]
        if place.kind in _OPEN and feed.place == place.id:
            # a shelf or room is judged for all who take their readings from it
            for sensor in feed.sensors:
                limits += index.fed.get((sensor, feed.quantity), ())
        for heard in feed.sensors or (None,):
            yield _row(view, index, feed, heard) | {
                "target": _narrow(each.target for each in limits),
                "tolerated": _narrow(each.tolerated for each in limits),
                "danger": _narrow(each.danger for each in limits),
            }


def _row(
    view: View, index: _Index, feed: Feed, sensor: str | None
) -> dict[str, object]:
    reading: Reading | None = None
    if sensor is not None:
        reading = view.latest.get((sensor, feed.quantity.value))
    flag = Flag.MISSING
    if reading is not None:
        interval = index.intervals.get(reading.sensor)
        # a hand reading is never judged by silence: its age stands beside it
        if interval is None or not is_old(view.now - reading.time, interval):
            flag = Flag.PASS
    return {
        "sensor": sensor,
        "quantity": feed.quantity.value,
        "value": reading.value if reading else None,
        "unit": unit_of(feed.quantity, index.units.get(sensor or "")).value,
        "time": iso(reading.time) if reading else None,
        "flag": int(flag),
        "from": feed.source,
    }


def _wanted(view: View, index: _Index, place: Place) -> Iterator[_Wanted]:
    """What is measured for a place, then what its animals need and nothing measures."""
    inside = place.kind not in _OPEN
    bands = _limits(view, index, place, inside=inside)
    around = view.house.chain(place.id)
    measured: dict[Quantity, None] = {}
    for step in around:
        for probe in index.hanging.get(step, ()):
            if step == place.id or probe.quantity not in SWITCHES:
                measured[probe.quantity] = None
    measured |= dict.fromkeys(sorted(view.house.hands.get(place.id, ())))
    # substrate first: where air stands in for it, the bands of both are told once
    first = Quantity.SUBSTRATE_TEMPERATURE
    for key in sorted(bands, key=lambda k: (k[0] is not first, k[0])):
        yield bands[key]
    for quantity in sorted(measured):
        if (quantity, inside) not in bands:
            feed = view.house.feed(place.id, quantity, inside=inside)
            if feed.sensors:
                yield _Wanted(quantity, inside)


def _limits(
    view: View, index: _Index, place: Place, *, inside: bool
) -> Mapping[tuple[Quantity, bool], _Wanted]:
    """The limits of those who live in a place and of site.toml, taken together."""
    found: dict[tuple[Quantity, bool], list[_Limits]] = {}
    for cohort in index.dwellers(place.id):
        for band in _bands(view, cohort):
            key = (band.quantity, band.of == "tub" and inside)
            found.setdefault(key, []).append(_limits_of(band, night=index.night))
    for limit in view.site.limits:
        if limit.place == place.id:
            limits = _Limits(limit.target, limit.tolerated, limit.danger)
            found.setdefault((limit.quantity, inside), []).append(limits)
    return {key: _Wanted(*key, tuple(limits)) for key, limits in found.items()}


def _narrow(ranges: Iterable[Range | None]) -> Range | None:
    """The strictest of several limits on each side; None where nothing is common."""
    given = [r for r in ranges if r is not None]
    low = max((r[0] for r in given), default=0.0)
    high = min((r[1] for r in given), default=0.0)
    return (low, high) if low < high else None
