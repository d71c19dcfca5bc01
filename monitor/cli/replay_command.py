"""``replay``: which alarms a recorded time would have brought under a configuration."""

import argparse
import json
from collections.abc import Iterator
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from monitor.alarms.registry import WORDS
from monitor.cli.command import Command, Context
from monitor.cli.journal import WHEN
from monitor.cli.table import brief, value_words
from monitor.clock import clock_from_environment
from monitor.desk.instants import parse_instant
from monitor.desk.said import UNITS, iso, iso_or_none
from monitor.errors import UnreachableError, UsageError
from monitor.explain.comparing import Compared, Occurrence
from monitor.explain.past import Past, WhatIf, past, what_if
from monitor.site.load import Configuration, load
from monitor.store.reader import Reader

LONGEST = timedelta(days=35)
"""A longer time is refused: it would take minutes, and memory for all its readings."""

Told = tuple[datetime, str, str]
"""When, whom, why."""

CAVEAT = (
    "The store does not keep when a late reading arrived, nor when the daemon was off:",
    "alarms of silence, and of readings that came late, may differ for that alone.",
)


FORESEEN = (
    "Stages that cohorts were then taken to be perhaps in, seen by nobody, hold here",
    "too, with the bands of this configuration.",
)


def _arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--from", metavar="TIME", required=True, help=f"from this on: {WHEN}"
    )
    parser.add_argument("--to", metavar="TIME", required=True, help="up to this")


def _run(arguments: argparse.Namespace, context: Context) -> int:
    if context.state is None:
        raise UnreachableError(
            "no store: set REARING_STATE to the state directory of the daemon"
        )
    configuration = load(context.config)
    zone = ZoneInfo(configuration.site.site.time_zone)
    start, end = (_instant(arguments, name, zone) for name in ("from", "to"))
    if not start < end:
        raise UsageError(f"--from {iso(start)} is not before --to {iso(end)}")
    if end - start > LONGEST:
        raise UsageError(
            f"--from {iso(start)} --to {iso(end)} is longer than {LONGEST.days} days: "
            "replay it in parts"
        )
    then = past(Reader.open(context.state), start, end)
    made = what_if(then, configuration)
    if arguments.json:
        print(json.dumps(_table(then, made, configuration), ensure_ascii=False))
    else:
        print("\n".join(_lines(then, made, configuration, zone)))
    return 0


def _instant(arguments: argparse.Namespace, name: str, zone: ZoneInfo) -> datetime:
    now = clock_from_environment().now()
    try:
        return min(parse_instant(getattr(arguments, name), zone=zone, now=now), now)
    except UsageError as error:
        raise UsageError(f"--{name}: {error}") from None


def _table(then: Past, made: WhatIf, configuration: Configuration) -> dict[str, object]:
    marks = [c.mark for c in made.compared]
    return {
        "from": iso(then.start),
        "to": iso(then.end),
        "configuration": configuration.hash,
        "readings": made.readings,
        "same": marks.count("same"),
        "only_then": marks.count("only then"),
        "only_now": marks.count("only now"),
        "alarms": [_alarm_table(c, made) for c in made.compared],
    }


def _alarm_table(one: Compared, made: WhatIf) -> dict[str, object]:
    alarm = _either(one).alarm
    return {
        "mark": one.mark,
        "thing": alarm.thing,
        "kind": alarm.kind,
        "quantity": alarm.quantity.value if alarm.quantity else None,
        "then": _side_table(one.then, _told_then(one, made), number=True),
        "now": _side_table(one.now, _told_now(one, made), number=False),
    }


def _side_table(
    one: Occurrence | None,
    told: list[Told],
    *,
    number: bool,
) -> dict[str, object] | None:
    if one is None:
        return None
    notices = [{"at": iso(at), "keeper": k, "why": why} for at, k, why in told]
    return ({"id": one.alarm.id} if number else {}) | {
        "priority": one.alarm.priority.value,
        "raised_at": iso(one.at),
        "over_at": iso_or_none(one.over_at),
        "value": one.alarm.value,
        "limit": one.alarm.limit,
        "covered": one.covered,
        "notices": notices,
    }


def _either(one: Compared) -> Occurrence:
    found = one.now or one.then
    if found is None:
        raise ValueError("a comparison has at least one side")
    return found


def _told_then(one: Compared, made: WhatIf) -> list[Told]:
    if one.then is None:
        return []
    number = one.then.alarm.id
    return [
        (n.created, n.keeper, n.why)
        for n in made.notices_then
        if number in n.alarms and _during(one.then, n.created)
    ]


def _told_now(one: Compared, made: WhatIf) -> list[Told]:
    if one.now is None:
        return []
    number = one.now.alarm.id
    return [
        (n.at, n.keeper, n.why)
        for n in made.notices_now
        if number in n.alarms and _during(one.now, n.at)
    ]


def _during(one: Occurrence, at: datetime) -> bool:
    # who was told that it is over was told at that instant
    return one.at <= at and (one.over_at is None or at <= one.over_at)


def _lines(
    then: Past, made: WhatIf, configuration: Configuration, zone: ZoneInfo
) -> Iterator[str]:
    start, end = _wall(then.start, zone), _wall(then.end, zone)
    yield f"Replay from {start} to {end}, {zone.key}"
    yield f"  configuration {configuration.hash}, {made.readings} readings"
    for one in made.compared:
        yield ""
        yield f"{one.mark.upper()}: {_title(one)}"
        old, new = _told_then(one, made), _told_now(one, made)
        if one.then is not None:
            yield f"  then {_stood(one.then, zone)}, as alarm {one.then.alarm.id}"
            yield from _notices(old, zone)
        if one.now is not None:
            yield f"  now  {_stood(one.now, zone)}"
            alike = old and [t[1:] for t in old] == [t[1:] for t in new]
            yield from (["       the same notices"] if alike else _notices(new, zone))
    marks = [c.mark for c in made.compared]
    yield ""
    yield (
        f"{marks.count('same')} the same, {marks.count('only then')} only then, "
        f"{marks.count('only now')} only now."
    )
    if then.perhaps:
        yield from FORESEEN
    yield from CAVEAT


def _wall(at: datetime, zone: ZoneInfo) -> str:
    return f"{at.astimezone(zone):%a %d %b %H:%M}"


def _stood(one: Occurrence, zone: ZoneInfo) -> str:
    over = f"over {_wall(one.over_at, zone)}" if one.over_at else "not over"
    covered = ", covered by another" if one.covered else ""
    return f"{_wall(one.at, zone)}, {over}{covered}"


def _notices(told: list[Told], zone: ZoneInfo) -> Iterator[str]:
    for at, keeper, why in told:
        yield f"       {_wall(at, zone)}  {keeper}, {why}"


def _title(one: Compared) -> str:
    alarm = _either(one).alarm
    words = WORDS.get(alarm.kind)
    said = f"{alarm.priority.upper()} {alarm.thing}"
    if alarm.quantity:
        unit = UNITS[alarm.quantity].value
        said += f" {brief(alarm.quantity.value)} {value_words(alarm.value, unit)}"
    if alarm.limit is not None:
        said += f" {alarm.side or 'limit'} {alarm.limit:g}"
    return f"{said}: {words.title if words else alarm.kind}"


COMMANDS: tuple[Command, ...] = (
    Command(
        words=("replay",),
        help="show which alarms a recorded time would have brought (what if)",
        example="replay --from 2026-03-01 --to 2026-03-08 --config ./trial",
        arguments=_arguments,
        run=_run,
    ),
)
