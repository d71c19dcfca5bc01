"""``explain``: why an alarm came, from the readings to the answers."""

import argparse
import json
from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import msgspec

from monitor.alarms.alarm import SAID, Alarm, AlarmState
from monitor.alarms.conditions.bands import Danger
from monitor.alarms.registry import WORDS
from monitor.cli.command import Command, Context
from monitor.cli.table import band_words, brief, value_words
from monitor.desk.said import UNITS
from monitor.errors import UnreachableError, UsageError
from monitor.explain.evidence import Evidence
from monitor.explain.gathering import gather
from monitor.explain.judged import LimitsUsed
from monitor.site.load import load
from monitor.site.spans import format_span
from monitor.store.reader import Reader

PARTS = {
    "before": "the last one inside",
    "first": "the first outside",
    "raised": "raised it",
    "worst": "the worst",
    "back": "back inside",
    "ended": "ended it",
    "newest": "the newest",
    "last heard": "the last one heard",
}


def _arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("alarm", metavar="ALARM", help="number of the alarm")


def _run(arguments: argparse.Namespace, context: Context) -> int:
    number = _number(arguments.alarm)
    if context.state is None:
        raise UnreachableError(
            "no store: set REARING_STATE to the state directory of the daemon"
        )
    reader = Reader.open(context.state)
    present = load(context.config)
    evidence = gather(reader, present, number)
    if arguments.json:
        print(_json(evidence))
    else:
        zone = ZoneInfo(present.site.site.time_zone)
        print("\n".join(_Told(evidence, zone).lines()))
    return 0


def _number(text: str) -> int:
    # SQLite holds 63 bits
    if not (text.isascii() and text.isdecimal() and len(text) < 19):  # noqa: PLR2004
        raise UsageError(
            f"{text!r} is no number of an alarm: write it as in `alarms list`"
        )
    return int(text)


def _json(evidence: Evidence) -> str:
    made = msgspec.json.decode(msgspec.json.encode(evidence))
    return json.dumps(made, ensure_ascii=False, allow_nan=False)


class _Told:
    """Evidence as lines for people, in the time of the site."""

    def __init__(self, evidence: Evidence, zone: ZoneInfo) -> None:
        self.evidence, self._zone = evidence, zone
        self.alarm = evidence.alarm

    def lines(self) -> Iterator[str]:
        """All of it, in the order in which one thing led to the other."""
        yield from self._head()
        yield from self._section("Readings", self._readings())
        yield from self._section("Held against", self._judged())
        yield from self._section("What happened", self._happened())
        yield from self._section("Notices", self._notices())
        yield from self._section("Answers", self._answers())

    def _section(self, title: str, lines: Iterator[str]) -> Iterator[str]:
        yield ""
        yield title
        yield from (f"  {line}" for line in lines)

    def _at(self, at: datetime) -> str:
        return f"{at.astimezone(self._zone):%a %d %b %Y %H:%M:%S}"

    def _value(self, value: float | None, alarm: Alarm) -> str:
        unit = UNITS[alarm.quantity].value if alarm.quantity else ""
        return value_words(value, unit)

    def _head(self) -> Iterator[str]:
        alarm, raised = self.alarm, self.evidence.raised
        words = WORDS.get(alarm.kind)
        title = words.title if words else alarm.kind
        yield f"Alarm {alarm.id} {alarm.priority.upper()}: {title}"
        where = alarm.thing
        if alarm.quantity:
            where += f", {brief(alarm.quantity.value)}"
        if alarm.sensor and alarm.sensor != alarm.thing:
            where += f", by {alarm.sensor}"
        yield f"  where: {where}"
        if alarm.detail:
            yield f"  what: {alarm.detail}"
        yield f"  since: {self._at(alarm.since)}, raised {self._at(alarm.raised_at)}"
        yield f"  now: {self._state()}"
        if raised.limit is not None:
            limit = self._value(raised.limit, raised)
            yield f"  limit: {raised.side or 'beyond'} {limit}"
        who = [
            f"{d.species} {d.stage} ({d.count}) in {d.place}" for d in raised.at_risk
        ]
        yield f"  at risk then: {'; '.join(who) or 'no cohort'}"

    def _state(self) -> str:
        alarm = self.alarm
        said = SAID[alarm.state]
        if alarm.state is AlarmState.SHELVED and alarm.set_aside_until:
            said += f" until {self._at(alarm.set_aside_until)}"
        if alarm.over_at is not None:
            said += f" since {self._at(alarm.over_at)}"
        return said

    def _readings(self) -> Iterator[str]:
        shown = self.evidence.readings
        if not shown:
            yield "none decided this alarm"
            return
        yield (
            f"{self.evidence.measured} of {self.alarm.sensor} while it lasted; these "
            "decided:"
        )
        for reading in shown:
            why = ", ".join(PARTS[part] for part in reading.parts)
            value = self._value(reading.value, self.alarm)
            yield f"{self._at(reading.time)}  {value:>9}  {why}"
        yield "Values are as the sensor sent them: no calibration is applied. What no"
        yield "sensor can measure is set apart before it is stored (see `now`)."

    def _judged(self) -> Iterator[str]:
        evidence = self.evidence
        yield f"configuration {evidence.configuration or 'unknown'}{self._accepted()}"
        if evidence.library == "of now":
            yield "that one cannot be read any more: bands and sources are those of now"
        for used in evidence.judged.limits:
            yield from self._limits(used)
        sensor = evidence.judged.sensor
        if sensor is not None:
            yield (
                f"sensor: one reading every {_span(sensor.interval_s)}, silent after "
                f"{_span(sensor.silent_after_s)}"
            )
            near = "no other probe" if sensor.alone else "another probe"
            yield f"{near} could stand in for it"
            if sensor.delicate:
                yield "eggs or pupae depended on it"
        elif not evidence.judged.limits:
            yield "no limit: the monitor itself saw it"

    def _accepted(self) -> str:
        at = self.evidence.configured_at
        return f", accepted {self._at(at)}" if at else ""

    def _limits(self, used: LimitsUsed) -> Iterator[str]:
        numbers = ", ".join(str(c) for c in used.cohorts)
        cohorts = f" (cohort {numbers})" if numbers else ""
        mark = "decided: " if used.decided else "also: "
        yield f"{mark}{used.who}{cohorts}, {'by night' if used.night else 'by day'}"
        unit = UNITS[self.alarm.quantity].value if self.alarm.quantity else ""
        for name, band in (("tolerated", used.tolerated), ("danger", used.danger)):
            yield f"  {name}: {_band(band, unit)}"
        yield (
            f"  delays: {_outside(used)}, back by {used.deadband:g} for "
            f"{_span(used.off_delay_s)}"
        )
        source = used.source
        grade = f", grade {source.grade}" if source.grade else ""
        yield f"  source: {source.id}: {source.title}{grade}"
        if source.where:
            yield f"    {source.where}"

    def _happened(self) -> Iterator[str]:
        for change in self.evidence.happened:
            by = f" by {change.by}" if change.by else ""
            note = f": {change.note}" if change.note else ""
            state = SAID[AlarmState(change.state)]
            yield f"{self._at(change.at)}  {change.event}{by}{note} ({state})"

    def _notices(self) -> Iterator[str]:
        if not self.evidence.notices:
            yield "none"
        for notice in self.evidence.notices:
            what = f"{self._at(notice.created)}  {notice.keeper}, {notice.why}: "
            what += notice.state
            if notice.sent_at is not None:
                what += f" {self._at(notice.sent_at)}"
            if notice.attempts > 1:
                what += f", {notice.attempts} attempts"
            if notice.reason:
                what += f" ({notice.reason})"
            yield what

    def _answers(self) -> Iterator[str]:
        if not self.evidence.answers:
            yield "nobody has answered"
        for answer in self.evidence.answers:
            until = ""
            if answer.verb == "shelve" and answer.until is not None:
                until = f" until {self._at(answer.until)}"
            note = f": {answer.note}" if answer.note else ""
            yield f"{self._at(answer.at)}  {answer.by}, {answer.verb}{until}{note}"


def _outside(used: LimitsUsed) -> str:
    if used.on_delay_s is None:
        return (
            f"two readings, or one and {Danger.intervals:g} intervals without another"
        )
    return f"outside for {_span(used.on_delay_s)}"


def _span(seconds: float) -> str:
    return format_span(timedelta(seconds=seconds))


def _band(band: Sequence[float] | None, unit: str) -> str:
    if band is None:
        return "no limit"
    return f"{band_words(band)} {value_words(0.0, unit).partition(' ')[2]}".rstrip()


COMMANDS: tuple[Command, ...] = (
    Command(
        words=("explain",),
        help="show why an alarm came: readings, bands, delays, notices, answers",
        example="explain 12",
        arguments=_arguments,
        run=_run,
    ),
)
