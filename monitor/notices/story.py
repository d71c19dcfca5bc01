"""What a notice says of one alarm, in sentences that every form of it shares."""

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta, tzinfo

import msgspec

from monitor.alarms.alarm import SAID, Alarm, AlarmState, Dweller
from monitor.alarms.words import ConditionWords
from monitor.notices.phrases import (
    NAME,
    PRIORITY,
    amount,
    instant,
    is_switched,
    plain,
    sentence,
    since,
    span,
    trend,
    which_way,
)
from monitor.site.words import Priority

COMMAND = "rearing-monitor"
NAME_LIMIT = 80
WORDS_LIMIT = 600
"""Longest name and longest sentence that are passed on. [characters]"""

_NEVER = timedelta.max
_CAUTIONS = 6
_STAGES = 4


class Group(msgspec.Struct, frozen=True):
    """
    Cohorts of one species and stage, which are to be treated alike.

    Attributes:
        who: Species and stage.
        where: How many in which places, in words; equal numbers together.
        counted: How many cohorts these are.
        acts: What may be done, in words.
        caution: What must not be done, or "".
    """

    who: str
    where: tuple[str, ...]
    counted: int
    acts: str
    caution: str


class Story(msgspec.Struct, frozen=True, kw_only=True):
    """
    One alarm in words. Every text may be "" where there is nothing to say.

    Attributes:
        alarm: What is told.
        words: Words of its kind.
        priority: The keeper's word for it.
        what: A few words, such as "too cold".
        title: The name of the kind.
        where: Room > shelf > enclosure, in names.
        figure: The value that matters, alone.
        beside: Its limit, or when it was measured.
        going: Which way it is going.
        left: How long is left.
        begun: Since when.
        status: What became of it so far.
        cautions: What not to do, each once, with the stage that it is about.
        groups: Who is at risk.
        counted: How many cohorts are at risk.
        hidden: How many of them the groups leave out.
        answer: The command that answers.
    """

    alarm: Alarm
    words: ConditionWords
    priority: str
    what: str
    title: str
    where: str
    figure: str
    beside: str
    going: str
    left: str
    begun: str
    status: str
    cautions: tuple[str, ...]
    groups: tuple[Group, ...]
    counted: int
    hidden: int
    answer: str

    @property
    def headline(self) -> str:
        """What and where, in one line."""
        return f"{self.what} in {self.where}" if self.where else self.what


def worst_first(alarms: Sequence[Alarm]) -> list[Alarm]:
    """Put the most pressing alarm first: priority, then still on, then least time."""
    return sorted(
        alarms,
        key=lambda a: (
            a.priority.rank,
            not a.active,
            a.time_left if a.time_left is not None else _NEVER,
            -len(a.at_risk),
            a.since,
            a.id,
        ),
    )


def careful_first(dwellers: Sequence[Dweller]) -> list[Dweller]:
    """Those who can be hurt by handling come first, else as the alarm lists them."""
    return sorted(dwellers, key=lambda d: d.caution is None)


def tell(
    alarm: Alarm,
    *,
    by: str,
    place_names: Mapping[str, str],
    now: datetime,
    zone: tzinfo,
    words: Mapping[str, ConditionWords],
    most: int,
) -> Story:
    """
    Put one alarm into words.

    Args:
        alarm: What is told.
        by: Id of the keeper who is told.
        place_names: Id of a place or sensor to its names, "Warm room > Shelf A".
        now: Instant of telling.
        zone: Time zone of the site.
        words: Words of each kind; an unknown kind is told by its id.
        most: Most cohorts to list.
    """
    kind = words.get(alarm.kind) or ConditionWords(
        title=alarm.kind.replace("-", " "), meaning="", first_action="Go and look."
    )
    shown = careful_first(alarm.at_risk)[:most]
    figure, beside = _figures(alarm, now, zone)
    way = which_way(alarm.quantity, alarm.side) if alarm.limit is not None else ""
    if way and not alarm.active:
        way = f"no longer {way}"
    where = "" if alarm.thing == "system" else place_names.get(alarm.thing, alarm.thing)
    return Story(
        alarm=alarm,
        words=kind,
        priority=PRIORITY[alarm.priority],
        what=way or plain(kind.title, NAME_LIMIT),
        title=plain(kind.title, NAME_LIMIT),
        where=plain(where, 2 * NAME_LIMIT),
        figure=figure,
        beside=beside,
        going=_going(alarm),
        left=_left(alarm),
        begun=since(alarm.since, now, zone),
        status=_status(alarm, now, zone),
        cautions=_cautions(alarm.at_risk),
        groups=_groups(shown, place_names),
        counted=len(alarm.at_risk),
        hidden=len(alarm.at_risk) - len(shown),
        answer=f"{COMMAND} alarms acknowledge {alarm.id} --by {by}",
    )


def _figures(alarm: Alarm, now: datetime, zone: tzinfo) -> tuple[str, str]:
    quantity, value, limit = alarm.quantity, alarm.value, alarm.limit
    if value is None or quantity is None:
        return "", ""
    figure = f"{NAME[quantity]} {amount(value, quantity, beside=limit)}"
    if limit is None:
        at = alarm.value_at
        return f"last {figure}", f"at {since(at, now, zone)}" if at else ""
    if is_switched(quantity, value):
        return figure, ""
    return figure, f"limit {amount(limit, quantity, beside=value)}"


def _going(alarm: Alarm) -> str:
    if alarm.trend_per_hour is None or alarm.quantity is None or not alarm.active:
        return ""
    return trend(alarm.trend_per_hour, alarm.quantity)


def _left(alarm: Alarm) -> str:
    if alarm.time_left is None or not alarm.active:
        return ""
    return f"about {span(alarm.time_left)} until the danger limit"


def _status(alarm: Alarm, now: datetime, zone: tzinfo) -> str:
    said = []
    if not alarm.active:
        over = alarm.over_at or now
        said.append(f"Over since {instant(over, now, zone)}")
        said.append(f"it lasted {span(over - alarm.since)}")
        if alarm.worst is not None and alarm.quantity is not None:
            said.append(f"worst {amount(alarm.worst, alarm.quantity)}")
    elif alarm.answered_by and alarm.answered_at:
        by = plain(alarm.answered_by, NAME_LIMIT)
        said.append(f"Answered by {by}, {since(alarm.answered_at, now, zone)}")
    if alarm.state is AlarmState.RETURNED:
        said.append(SAID[alarm.state])
    return sentence("; ".join(said))


def _cautions(dwellers: Sequence[Dweller]) -> tuple[str, ...]:
    about: dict[str, list[str]] = {}
    for dweller in dwellers:
        if dweller.caution:
            stages = about.setdefault(plain(dweller.caution, WORDS_LIMIT), [])
            stage = plain(dweller.stage, NAME_LIMIT)
            if stage not in stages:
                stages.append(stage)
    told = [
        f"{', '.join(stages[:_STAGES]).capitalize()}: {sentence(caution)}"
        for caution, stages in about.items()
    ]
    if len(told) > _CAUTIONS:
        told[_CAUTIONS:] = [f"And {len(told) - _CAUTIONS} more cautions."]
    return tuple(told)


def _groups(
    dwellers: Sequence[Dweller], place_names: Mapping[str, str]
) -> tuple[Group, ...]:
    gathered: dict[tuple[str, str, str], dict[str, list[str]]] = {}
    for dweller in dwellers:
        who = plain(f"{dweller.species}, {dweller.stage}", 2 * NAME_LIMIT)
        acts = plain(", ".join(dweller.acts).replace("-", " "), WORDS_LIMIT)
        caution = plain(dweller.caution or "", WORDS_LIMIT)
        place = place_names.get(dweller.place, dweller.place).rpartition(" > ")[2]
        counts = gathered.setdefault((who, acts, caution), {})
        count = plain(dweller.count, NAME_LIMIT)
        counts.setdefault(count, []).append(plain(place, NAME_LIMIT))
    return tuple(
        Group(
            who=who,
            where=tuple(
                f"{count}{' each' if len(places) > 1 else ''} in {', '.join(places)}"
                for count, places in counts.items()
            ),
            counted=sum(len(places) for places in counts.values()),
            acts=acts or "none named, so only look",
            caution=sentence(caution),
        )
        for (who, acts, caution), counts in gathered.items()
    )


def escalation(
    *,
    priority: Priority,
    wait: timedelta,
    next_name: str | None,
    again: bool,
    now: datetime,
    zone: tzinfo,
) -> str:
    """
    Say who is told next and when, if nobody answers.

    Args:
        priority: Of the most pressing alarm.
        wait: How long an answer is waited for.
        next_name: Who is told then; None where nobody is left.
        again: The next one is the same keeper.
        now: Instant of telling.
        zone: Time zone of the site.
    """
    at = f"{instant(now + wait, now, zone)} ({span(wait)} from now)"
    if next_name is None:
        if priority is Priority.NOTE:
            return ""
        return "If nobody answers there is nobody else to tell: it rests with you."
    whom = "you are told again" if again else f"{next_name} is told"
    return f"If nobody answers, {whom} at {at}."
