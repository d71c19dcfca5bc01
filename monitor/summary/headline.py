"""The week in a line: for the subject, the heading and the shortest message."""

import string
import unicodedata
from datetime import datetime

import msgspec

from monitor.alarms.alarm import SAID, AlarmState
from monitor.summary.findings import Finding
from monitor.summary.sections.alarms import ALARMS, matter
from monitor.summary.sections.conditions import CONDITIONS
from monitor.summary.sections.sensors import SENSORS
from monitor.summary.summary import Summary, part_of
from monitor.summary.words import cut, instant, many, percent, span

SUBJECT_LIMIT = 78
"""RFC 5322, section 2.1.1: a line should be no longer. [characters]"""
SHORT_LIMIT = 160
"""Letters of one short message that is not split (3GPP TS 23.038)."""

_SEPTETS = frozenset(string.ascii_letters + string.digits + " !\"#%&'()*+,-./:;<=>?@")
"""What ASCII and the basic GSM alphabet have in common, each one septet."""
_LIKE = str.maketrans({"[": "(", "]": ")", "{": "(", "}": ")", "|": "/", "~": "-"})


class Occasion(msgspec.Struct, frozen=True, kw_only=True):
    """
    What a summary says of itself.

    Attributes:
        made_at: UTC.
        number: In the row of the mailed ones; None for one made by hand.
        next_due: When the next one is due, in words; "" where nobody knows.
        late: It was made clearly after its time.
    """

    made_at: datetime
    number: int | None = None
    next_due: str = ""
    late: bool = False


def next_in_words(text: str, zone: str) -> str:
    """An instant as ISO 8601 in site time; any other text as it is."""
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return text
    return instant(at, zone) if at.tzinfo is not None else text


def week_name(summary: Summary, *, late: bool) -> str:
    """Name the week: "Week 9", "Week 9 (late)" or "Week 9 so far"."""
    name = f"Week {int(summary.week.rpartition('W')[2])}"
    if late:
        name += " (late)"
    return name if summary.until == summary.end else f"{name} so far"


def state(summary: Summary, found: tuple[Finding, ...]) -> str:
    """The state of the week in words, the worst first."""
    if nothing_heard(summary):
        return f"NOTHING WAS HEARD, {_alarms(summary)}"
    said = _alarms(summary)
    if off := unheard_s(summary):
        said += f", nothing heard for {span(off)}"
    outside = len({f.place for f in found if f.rank in {0, 2}})
    if outside:
        said += f", out of range in {many(outside, 'place')}"
    elif found and not off:
        said += f", {many(len(found), 'thing')} to look at"
    return said


def headline(summary: Summary, found: tuple[Finding, ...], *, late: bool) -> str:
    """The heading: "Week 9: 2 alarms, 1 still standing"."""
    return f"{week_name(summary, late=late)}: {state(summary, found)}"


def subject(summary: Summary, found: tuple[Finding, ...], *, late: bool) -> str:
    """The heading and the site, in one line of a mail's head."""
    said = headline(summary, found, late=late)
    whole = f"{said} - {summary.site}"
    return whole if len(whole) <= SUBJECT_LIMIT else cut(said, SUBJECT_LIMIT)


def _alarms(summary: Summary) -> str:
    told = part_of(summary, ALARMS)
    if told is None or not told.told:
        return "no alarm"
    said = many(told.told, "alarm")
    if told.standing:
        return f"{said}, {told.standing} still standing"
    unanswered = sum(
        a.state == SAID[AlarmState.RETURNED] and a.covered_by is None
        for a in told.alarms
    )
    if unanswered:
        return f"{said}, all over, {unanswered} unanswered"
    return f"{said}, {'all over' if told.told > 1 else 'over'}"


def nothing_heard(summary: Summary) -> bool:
    """Whether there are sensors and not one of them was heard."""
    told = part_of(summary, SENSORS)
    return (
        told is not None and bool(told.sensors) and not any(s.n for s in told.sensors)
    )


def unheard_s(summary: Summary) -> float:
    """How long no sensor at all was heard, in seconds."""
    told = part_of(summary, SENSORS)
    return sum(one.seconds for one in told.unheard) if told is not None else 0.0


def at_a_glance(summary: Summary) -> list[str]:
    """Two short sentences: how much was in band, how much was heard."""
    said = []
    conditions, sensors = part_of(summary, CONDITIONS), part_of(summary, SENSORS)
    if conditions is not None:
        watched = sum(p.watched_s for p in conditions.probes)
        if watched:
            inside = sum(p.in_band_s for p in conditions.probes) / watched
            said.append(f"In band {percent(inside)} of the measured time.")
    if sensors is not None and (expected := sum(s.expected for s in sensors.sensors)):
        heard = sum(min(s.n, s.expected) for s in sensors.sensors) / expected
        said.append(f"{percent(heard)} of all expected readings came.")
    return said


def short_form(summary: Summary, found: tuple[Finding, ...], occasion: Occasion) -> str:
    """
    The week for channels that carry no more than one short message.

    At most 160 letters that are one septet each in the GSM alphabet.
    """
    parts = [f"{summary.site}, {headline(summary, found, late=occasion.late)}."]
    told = part_of(summary, ALARMS)
    worst = told.alarms[0] if told is not None and told.alarms else None
    if worst is not None and worst.standing:
        parts.append(f"{worst.where}: {matter(worst)}.")
    elif found:
        parts.append(f"{found[0].where}: {found[0].what}.")
    parts += at_a_glance(summary)
    end = f"Next due {occasion.next_due}." if occasion.next_due else ""
    said = septets(" ".join(parts))
    # the date of the next one is what makes its absence tell something
    room = SHORT_LIMIT - len(septets(end)) - bool(end)
    return f"{cut(said, room)} {septets(end)}".strip()


def septets(text: str) -> str:
    """A text in letters that ASCII and the GSM alphabet share, on one line."""
    bare = unicodedata.normalize("NFKD", text.translate(_LIKE))
    letters = (c for c in bare if not unicodedata.combining(c))
    return " ".join("".join(c if c in _SEPTETS else _other(c) for c in letters).split())


def _other(letter: str) -> str:
    return " " if letter.isspace() else "?"
