"""``now``: how the house is, to be read at three in the morning on a telephone."""

import argparse
from collections import Counter
from collections.abc import Iterator
from typing import Any

from monitor.cli.alarms import alarm_lines
from monitor.cli.ask import Result, look, stale_line
from monitor.cli.command import Command, Context
from monitor.cli.table import Sheet, band_words, brief, cut, value_words

_OPEN = ("room", "shelf")
_WORST = ("DANGER", "HIGH", "LOW", "NONE", "OLD")
"""Verdicts on a reading, the worst first; all others are quiet."""
_SPECIES_SHOWN = 4
_ALARMS_SHOWN = 8

Row = dict[str, Any]


def _no_arguments(parser: argparse.ArgumentParser) -> None:
    del parser


def _run(arguments: argparse.Namespace, context: Context) -> int:
    return look(arguments, context, "now", {}, _show)


def _show(result: Result) -> str:
    sheet = Sheet(result)
    lines = [cut(f"{sheet.text('site')}, {sheet.heading()}")]
    lines += stale_line(sheet) or _daemon(sheet)
    alarms = [a for a in sheet.rows("alarms") if a["covered_by"] is None]
    lines.append(_alarms_in_words(alarms))
    for alarm in alarms[:_ALARMS_SHOWN]:
        lines += alarm_lines(alarm, sheet)
    if len(alarms) > _ALARMS_SHOWN:
        lines.append(f"     {len(alarms) - _ALARMS_SHOWN} more: see `alarms list`")
    places = sheet.rows("places")
    for room in sorted(
        (p for p in places if p["parent"] is None), key=lambda p: _rank(p, places)
    ):
        lines += ["", *_open_place(room, places, sheet)]
    return "\n".join(lines)


def _daemon(sheet: Sheet) -> list[str]:
    daemon = sheet.result["daemon"]
    lines = [f"The daemon is {daemon['state']}."]
    if daemon["queue"]:
        lines.append(f"{daemon['queue']} messages wait to be stored.")
    if daemon["quarantined"]:
        count = daemon["quarantined"]
        were = "message was no reading" if count == 1 else "messages were no readings"
        lines.append(f"{count} {were}.")
        lines += [
            cut(f"  the newest, {m['topic']}: {m['reason']}")
            for m in daemon["set_apart"][:1]
        ]
    return lines


def _alarms_in_words(alarms: list[Row]) -> str:
    if not alarms:
        return "No alarm stands."
    urgent = sum(a["priority"] == "urgent" for a in alarms)
    stand = "1 alarm stands" if len(alarms) == 1 else f"{len(alarms)} alarms stand"
    return f"{stand}, {urgent} urgent:" if urgent else f"{stand}, none urgent:"


def _open_place(place: Row, places: list[Row], sheet: Sheet) -> Iterator[str]:
    """A room or shelf: its readings, then its enclosures, then its shelves."""
    mark = f" [alarm {', '.join(map(str, place['alarms']))}]" if place["alarms"] else ""
    indent = "" if place["kind"] == "room" else " "
    name = place["name"]
    known = "" if name == place["id"] else f" ({place['id']})"
    yield cut(f"{indent}{name}{known}{mark}")
    for reading in place["readings"]:
        if _own(reading):
            yield _line(reading, sheet)
    yield from _dwellers(place["cohorts"], "")
    inside = [p for p in _children(place, places) if p["kind"] not in _OPEN]
    plain = [p for p in inside if not _stands_out(p)]
    for enclosure in sorted(
        (p for p in inside if _stands_out(p)), key=lambda p: _rank(p, places)
    ):
        yield from _enclosure(enclosure, sheet)
    if plain:
        cohorts = [c for p in plain for c in p["cohorts"]]
        yield from _dwellers(cohorts, _how_many(plain, more=len(plain) < len(inside)))
    shelves = [p for p in _children(place, places) if p["kind"] in _OPEN]
    for shelf in sorted(shelves, key=lambda p: _rank(p, places)):
        yield from _open_place(shelf, places, sheet)


def _how_many(places: list[Row], *, more: bool) -> str:
    word = "tub" if all(p["kind"] == "rearing" for p in places) else "place"
    plural = "" if len(places) == 1 else "s"
    return f"{len(places)}{' more' if more else ''} {word}{plural}"


def _own(reading: Row) -> bool:
    """Whether a reading is of this very place; the others stand where they are from."""
    return reading["from"] in ("own probe", "hand")


def _enclosure(place: Row, sheet: Sheet) -> Iterator[str]:
    mark = f" [alarm {', '.join(map(str, place['alarms']))}]" if place["alarms"] else ""
    who = ", ".join(f"{c['name']} {c['stage']}" for c in place["cohorts"])
    yield cut(f"  {place['id']}{mark}{': ' if who else ''}{who}")
    for reading in place["readings"]:
        if _own(reading):
            yield _line(reading, sheet)


def _dwellers(cohorts: list[Row], where: str) -> Iterator[str]:
    if not cohorts:
        if where:
            yield f"  {where}, empty"
        return
    kinds = Counter(f"{c['name']} {c['stage']}" for c in cohorts)
    number = "1 cohort" if len(cohorts) == 1 else f"{len(cohorts)} cohorts"
    yield f"  {where}, {number}:" if where else f"  {number}:"
    for kind, count in kinds.most_common(_SPECIES_SHOWN):
        yield cut(f"    {count} x {kind}" if count > 1 else f"    {kind}")
    if len(kinds) > _SPECIES_SHOWN:
        yield f"    and {len(kinds) - _SPECIES_SHOWN} kinds more"


def _line(reading: Row, sheet: Sheet) -> str:
    found = verdict(reading)
    value = value_words(reading["value"], reading["unit"])
    source = "hand" if reading["from"] == "hand" else ""
    age = sheet.ago(reading["time"]) if reading["time"] else ""
    text = (
        f"  {found:<7}{brief(reading['quantity']):<10}{value:>10}"
        f"  {band_words(reading['tolerated']):<12}{source:<5}{age}"
    )
    return text.rstrip()


def verdict(reading: Row) -> str:
    """How a reading stands against its limits, in one word."""
    value = reading["value"]
    if value is None:
        return "NONE"
    # old before all else: an old value tells nothing of how it is
    if reading["flag"] == 9:  # noqa: PLR2004 - missing, in the flags of the contract
        return "OLD"
    danger, tolerated = reading["danger"], reading["tolerated"]
    if danger and not danger[0] <= value <= danger[1]:
        return "DANGER"
    if tolerated and not tolerated[0] <= value <= tolerated[1]:
        return "HIGH" if value > tolerated[1] else "LOW"
    return "ok" if tolerated else ""


def _stands_out(place: Row) -> bool:
    return bool(place["alarms"]) or any(map(_own, place["readings"]))


def _children(place: Row, places: list[Row]) -> list[Row]:
    return [p for p in places if p["parent"] == place["id"]]


def _rank(place: Row, places: list[Row]) -> tuple[bool, int]:
    """Sorting key: alarms first, then what is out of its band, then what is old."""
    worst, alarmed = len(_WORST), bool(place["alarms"])
    for reading in filter(_own, place["readings"]):
        found = verdict(reading)
        if found in _WORST:
            worst = min(worst, _WORST.index(found))
    for child in _children(place, places):
        calm, rank = _rank(child, places)
        alarmed, worst = alarmed or not calm, min(worst, rank)
    return (not alarmed, worst)


COMMANDS: tuple[Command, ...] = (
    Command(
        words=("now",),
        help="show how the house is: alarms, readings against their bands, animals",
        example="now",
        arguments=_no_arguments,
        run=_run,
    ),
)
