"""Sensors of the week: how well each was heard, and what was refused."""

from collections import Counter
from collections.abc import Sequence
from datetime import datetime, timedelta

import msgspec
import numpy as np

from monitor.clock import EPOCH, from_us, to_us
from monitor.science.degree_days import Times
from monitor.site.site_file import Sensor
from monitor.site.words import Quantity
from monitor.summary.section import Section
from monitor.summary.sections.conditions import expected_in
from monitor.summary.series import SECOND_US, longest_silence
from monitor.summary.view import WeekView
from monitor.summary.words import cut, folded, instant, many, percent, span, where

TOPICS = 5
"""So many topics of refused messages are named, those with the most first."""
TIMES = 3
"""So many times in which nothing was heard are told one by one."""
TOGETHER = timedelta(minutes=15)
"""A shorter silence of all sensors is told of none: own choice."""
WELL = 0.99
"""A sensor of which so much was heard needs no line: own choice."""


class SensorFigures(msgspec.Struct, frozen=True, kw_only=True):
    """
    How a sensor was heard.

    Attributes:
        place: Where it hung at the end of what is told.
        n: Readings of the week.
        expected: As many as its interval would give.
        coverage: The one by the other, at most 1.
        longest_silence_s: Longest time without a reading, within the week. [s]
        silent_from: When that began. UTC.
        gap_s: A longer silence is missing time. [s]
        own_coverage: As coverage, of the time in which any sensor was heard.
        own_silence_s: Its longest silence in which another one was heard. [s]
        own_silent_from: When that began. UTC.
    """

    sensor: str
    quantity: Quantity
    place: str
    where: str
    n: int
    expected: int
    coverage: float | None
    longest_silence_s: float
    silent_from: datetime
    gap_s: float
    own_coverage: float | None
    own_silence_s: float
    own_silent_from: datetime


class Unheard(msgspec.Struct, frozen=True):
    """A time in which no sensor at all was heard: the monitor or its broker was off."""

    since: datetime
    until: datetime
    seconds: float


class TopicFigures(msgspec.Struct, frozen=True):
    """How many messages of a topic were refused."""

    topic: str
    count: int


class RefusedFigures(msgspec.Struct, frozen=True):
    """
    Messages that were no readings.

    Attributes:
        count: How many.
        at_least: There were more, which are no longer kept.
        topics: The topics with the most.
    """

    count: int
    at_least: bool
    topics: tuple[TopicFigures, ...]


class Figures(msgspec.Struct, frozen=True):
    """
    Every declared sensor, the worst heard first.

    Attributes:
        unheard: Times in which none was heard, in order; at least `TOGETHER` long.
    """

    time_zone: str
    unheard: tuple[Unheard, ...]
    sensors: tuple[SensorFigures, ...]
    refused: RefusedFigures


def figures(week: WeekView) -> Figures:
    """Tell how every sensor was heard."""
    unheard = _unheard(week)
    found = [_sensor(sensor, week, unheard) for sensor in week.site.sensors]
    topics = Counter(week.refused.topics)
    most = sorted(topics.items(), key=lambda item: (-item[1], item[0]))[:TOPICS]
    return Figures(
        time_zone=week.zone,
        unheard=unheard,
        sensors=tuple(
            sorted(
                found, key=lambda s: (s.coverage or 0, -s.longest_silence_s, s.sensor)
            )
        ),
        refused=RefusedFigures(
            count=topics.total(),
            at_least=not week.refused.complete,
            topics=tuple(TopicFigures(topic, count) for topic, count in most),
        ),
    )


def _unheard(week: WeekView) -> tuple[Unheard, ...]:
    series = [week.readings(s.id, s.quantity.value)[0] for s in week.site.sensors]
    if not series:
        return ()
    first, last = to_us(week.start), to_us(week.until)
    every = np.unique(np.concatenate(series))
    inside = every[(every >= first) & (every < last)]
    edges = np.concatenate(([first], inside, [last]))
    least = max(TOGETHER, min(week.gap(s.id) for s in week.site.sensors))
    long = np.flatnonzero(np.diff(edges) > to_us(EPOCH + least))
    spans = [(int(edges[i]), int(edges[i + 1])) for i in long]
    return tuple(Unheard(from_us(a), from_us(b), (b - a) / SECOND_US) for a, b in spans)


def _sensor(
    sensor: Sensor, week: WeekView, unheard: Sequence[Unheard]
) -> SensorFigures:
    times, _ = week.readings(sensor.id, sensor.quantity.value)
    silence = longest_silence(times, since=week.start, until=week.until)
    whole = week.until - week.start
    expected = expected_in(whole, sensor.interval)
    off = timedelta(seconds=sum(one.seconds for one in unheard))
    own = expected_in(max(whole - off, timedelta()), sensor.interval)
    seconds, since = _own_silence(times, week, unheard)
    return SensorFigures(
        sensor=sensor.id,
        quantity=sensor.quantity,
        place=week.house.probes[sensor.id].place,
        where=where(week.house, week.house.probes[sensor.id].place),
        n=silence.readings,
        expected=expected,
        coverage=min(1.0, silence.readings / expected) if expected else None,
        longest_silence_s=silence.seconds,
        silent_from=silence.since,
        gap_s=week.gap(sensor.id).total_seconds(),
        own_coverage=min(1.0, silence.readings / own) if own else None,
        own_silence_s=seconds,
        own_silent_from=since,
    )


def _own_silence(
    times: Times, week: WeekView, unheard: Sequence[Unheard]
) -> tuple[float, datetime]:
    """The longest silence less what of it was the silence of all, and its beginning."""
    first, last = to_us(week.start), to_us(week.until)
    inside = times[(times >= first) & (times < last)]
    edges = np.concatenate(([first], inside, [last]))
    left = np.diff(edges)
    for one in unheard:
        begun = np.maximum(edges[:-1], to_us(one.since))
        ended = np.minimum(edges[1:], to_us(one.until))
        left -= np.clip(ended - begun, 0, None)
    longest = int(left.argmax())
    return float(left[longest]) / SECOND_US, from_us(int(edges[longest]))


def text(told: Figures) -> list[str]:
    """Say which were heard badly; the others are counted."""
    lines = [line for said in unheard_lines(told) for line in folded(said, "  ")]
    for sensor in told.sensors:
        if not is_bad(sensor):
            continue
        lines += folded(f"{sensor.sensor} ({sensor.where})", "  ")
        if sensor.n == 0:
            lines.append("    was never heard")
            continue
        heard = f"{percent(sensor.coverage)} heard, {sensor.n} of {sensor.expected}"
        if is_sparse(sensor):
            lines += folded(f"{heard}, {sparse(sensor)}", "    ")
            continue
        lines.append(f"    {heard}; silent for {span(sensor.own_silence_s)}")
        lines.append(f"    from {silent_since(sensor, told)}")
    return [*lines, well_heard(told), *refused_lines(told.refused)]


def is_bad(sensor: SensorFigures) -> bool:
    """Whether a sensor needs a line, beside what was the silence of all."""
    heard = sensor.own_coverage is None or sensor.own_coverage >= WELL
    return not heard or sensor.own_silence_s > sensor.gap_s


def is_sparse(sensor: SensorFigures) -> bool:
    """Whether much is missing but no silence was long: it speaks less often."""
    return sensor.n > 0 and sensor.own_silence_s <= sensor.gap_s


def sparse(sensor: SensorFigures) -> str:
    """What that may mean."""
    longest = span(sensor.own_silence_s)
    return f"though never silent for more than {longest}: is its interval right?"


def unheard_lines(told: Figures) -> list[str]:
    """Say when no sensor at all was heard, the longest first."""
    longest = sorted(told.unheard, key=lambda one: -one.seconds)
    lines = [
        f"No sensor was heard for {span(one.seconds)} from "
        f"{instant(one.since, told.time_zone)}: the monitor, its broker or their "
        "network was off."
        for one in longest[:TIMES]
    ]
    more = len(longest) - TIMES
    return [*lines, f"and {many(more, 'shorter time')}"] if more > 0 else lines


def silent_since(sensor: SensorFigures, told: Figures) -> str:
    """When its longest silence began that was its own."""
    return instant(sensor.own_silent_from, told.time_zone)


def well_heard(told: Figures) -> str:
    """Count the others."""
    well = sum(not is_bad(sensor) for sensor in told.sensors)
    if not told.sensors:
        return "There is no sensor."
    if not any(sensor.n for sensor in told.sensors):
        return "No sensor was heard at all."
    if well == len(told.sensors):
        return f"Well heard: {'all ' if well > 1 else ''}{many(well, 'sensor')}."
    return f"Well heard: {many(well, 'other', 'others')}."


def refused_lines(refused: RefusedFigures) -> list[str]:
    """Say what was refused, the topics with the most first."""
    if not refused.count:
        return ["No message was refused."]
    least = "at least " if refused.at_least else ""
    verb = "was no reading" if refused.count == 1 else "were no readings"
    lines = [f"{least}{many(refused.count, 'message')} {verb}:".capitalize()]
    return lines + [cut(f"  {t.count} x {t.topic}") for t in refused.topics]


SENSORS = Section("sensors", "Sensors", figures, text)
