"""Sensors of the week: how well each was heard, and what was refused."""

from collections import Counter
from datetime import datetime

import msgspec

from monitor.site.site_file import Sensor
from monitor.site.words import Quantity
from monitor.summary.section import Section
from monitor.summary.sections.conditions import expected_in
from monitor.summary.series import longest_silence
from monitor.summary.view import WeekView
from monitor.summary.words import cut, folded, instant, many, percent, span, where

TOPICS = 5
"""So many topics of refused messages are named, those with the most first."""
WELL = 0.99
"""A sensor of which so much was heard needs no line: own choice."""


class SensorFigures(msgspec.Struct, frozen=True, kw_only=True):
    """
    How a sensor was heard.

    Attributes:
        n: Readings of the week.
        expected: As many as its interval would give.
        coverage: The one by the other, at most 1.
        longest_silence_s: Longest time without a reading, within the week. [s]
        silent_from: When that began. UTC.
        gap_s: A longer silence is missing time. [s]
    """

    sensor: str
    quantity: Quantity
    where: str
    n: int
    expected: int
    coverage: float | None
    longest_silence_s: float
    silent_from: datetime
    gap_s: float


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
    """Every declared sensor, the worst heard first."""

    time_zone: str
    sensors: tuple[SensorFigures, ...]
    refused: RefusedFigures


def figures(week: WeekView) -> Figures:
    """Tell how every sensor was heard."""
    found = [_sensor(sensor, week) for sensor in week.site.sensors]
    topics = Counter(week.refused.topics)
    most = sorted(topics.items(), key=lambda item: (-item[1], item[0]))[:TOPICS]
    return Figures(
        time_zone=week.zone,
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


def _sensor(sensor: Sensor, week: WeekView) -> SensorFigures:
    times, _ = week.readings(sensor.id, sensor.quantity.value)
    silence = longest_silence(times, since=week.start, until=week.until)
    expected = expected_in(week.until - week.start, sensor.interval)
    return SensorFigures(
        sensor=sensor.id,
        quantity=sensor.quantity,
        where=where(week.house, week.house.probes[sensor.id].place),
        n=silence.readings,
        expected=expected,
        coverage=min(1.0, silence.readings / expected) if expected else None,
        longest_silence_s=silence.seconds,
        silent_from=silence.since,
        gap_s=week.gap(sensor.id).total_seconds(),
    )


def text(told: Figures) -> list[str]:
    """Say which were heard badly; the others are counted."""
    bad = [s for s in told.sensors if _is_bad(s)]
    well = len(told.sensors) - len(bad)
    lines: list[str] = []
    for sensor in bad:
        lines += folded(f"{sensor.sensor} ({sensor.where})", "  ")
        if sensor.n == 0:
            lines.append("    was never heard")
            continue
        lines.append(
            f"    {percent(sensor.coverage)} heard, {sensor.n} of {sensor.expected}; "
            f"silent for {span(sensor.longest_silence_s)}"
        )
        lines.append(f"    from {instant(sensor.silent_from, told.time_zone)}")
    if not told.sensors:
        lines.append("There is no sensor.")
    elif not bad:
        lines.append(f"Well heard: {'all ' if well > 1 else ''}{many(well, 'sensor')}.")
    else:
        lines.append(f"Well heard: {many(well, 'other', 'others')}.")
    return [*lines, *_refused(told.refused)]


def _is_bad(sensor: SensorFigures) -> bool:
    heard = sensor.coverage is None or sensor.coverage >= WELL
    return not heard or sensor.longest_silence_s > sensor.gap_s


def _refused(refused: RefusedFigures) -> list[str]:
    if not refused.count:
        return ["No message was refused."]
    least = "at least " if refused.at_least else ""
    verb = "was" if refused.count == 1 else "were"
    lines = [
        f"{least}{many(refused.count, 'message')} {verb} no readings:".capitalize()
    ]
    return lines + [cut(f"  {t.count} x {t.topic}") for t in refused.topics]


SENSORS = Section("sensors", "Sensors", figures, text)
