"""The short form: one message of 160 septets, the worst fact first (N4, N6)."""

from collections.abc import Sequence

import msgspec

from monitor.alarms.alarm import Dweller
from monitor.notices.gsm import LIMIT, clip, gsm7_length, readable, to_gsm7
from monitor.notices.phrases import NAME, amount, sentence, span, trend
from monitor.notices.story import Story, careful_first

_FACT, _WHERE = 40, 48
_WORTH_CUTTING = 24
"""A sentence is cut to the room that is left only if this much of it remains."""


class _Piece(msgspec.Struct, frozen=True):
    """
    Something that is said if there is room.

    Attributes:
        place: Its turn in the message.
        text: What is said.
        cut: It may be shortened.
    """

    place: int
    text: str
    cut: bool = False


def short_form(stories: Sequence[Story], *, mark: str, over: bool) -> str:
    """
    Say the most that fits into one message.

    Priority, value or kind, place and alarm number are always there, and how many more
    alarms there are. The rest comes in by weight: how it goes, what not to do, who is
    at risk, what to do first, since when.

    Args:
        stories: The most pressing first; at least one.
        mark: What is added to the priority, such as ", worse".
        over: The alarms are over.
    """
    first = stories[0]
    more = f"+{len(stories) - 1} more" if len(stories) > 1 else ""
    head = f"{to_gsm7(first.priority + mark)}: {clip(_fact(first), _FACT)}"
    where = _where(first)
    tail = ". ".join(t for t in (more, f"Alarm {first.alarm.id}") if t)
    start = f"{head}, {where}" if where else head
    # at most 20 + _FACT + 2 + _WHERE + 2 + 30: what must be said always fits
    kept: list[_Piece] = [_Piece(0, start)]
    room = LIMIT - gsm7_length(tail) - len(". ") - gsm7_length(start)
    for piece in _pieces(first, over=over):
        text = to_gsm7(sentence(piece.text)).rstrip(".")
        free = room - len(". ")
        if gsm7_length(text) > free:
            if not piece.cut or free < _WORTH_CUTTING:
                continue
            text = clip(text, free)
        kept.append(_Piece(piece.place, text))
        room -= gsm7_length(text) + len(". ")
    kept.sort(key=lambda p: p.place)
    return ". ".join([*(p.text for p in kept), tail])


def _fact(story: Story) -> str:
    alarm = story.alarm
    if alarm.value is None or alarm.quantity is None or not story.figure:
        return to_gsm7(story.what)
    value = amount(alarm.value, alarm.quantity, short=True, beside=alarm.limit)
    if alarm.limit is None:
        return to_gsm7(story.what)
    fact = f"{NAME[alarm.quantity]} {value}"
    if story.beside:
        limit = amount(alarm.limit, alarm.quantity, short=True, beside=alarm.value)
        fact += f" (limit {limit})"
    return to_gsm7(fact)


def _where(story: Story) -> str:
    """The names, or the last of them, or the id where the alphabet has no letters."""
    whole = to_gsm7(story.where)
    if story.where and not readable(whole):
        whole = to_gsm7(story.alarm.thing)
    if gsm7_length(whole) > _WHERE:
        whole = whole.rpartition(" > ")[2]
    return clip(whole, _WHERE)


def _pieces(story: Story, *, over: bool) -> list[_Piece]:
    """What else there is to say, the weightiest first."""
    alarm = story.alarm
    if over:
        told = [_Piece(1, story.status, cut=True), _Piece(2, _who(story))]
        return [piece for piece in told if piece.text]
    going = []
    if alarm.trend_per_hour is not None and alarm.quantity is not None and alarm.active:
        going.append(trend(alarm.trend_per_hour, alarm.quantity, short=True))
    if alarm.time_left is not None and alarm.active:
        going.append(f"danger in {span(alarm.time_left)}")
    found = [_Piece(1, ", ".join(going))]
    careful = careful_first(alarm.at_risk)
    if careful and careful[0].caution:
        found.append(_Piece(2, _caution(careful[0]), cut=True))
    found.append(_Piece(3, _who(story)))
    found.append(_Piece(4, story.words.first_action, cut=True))
    found.append(_Piece(5, f"Since {story.begun.partition(',')[0]}"))
    return [p for p in found if p.text]


def _caution(dweller: Dweller) -> str:
    return f"{dweller.stage}: {dweller.caution}"


def _who(story: Story) -> str:
    careful = careful_first(story.alarm.at_risk)
    if not careful:
        return ""
    first = careful[0]
    species, stage = to_gsm7(first.species), to_gsm7(first.stage)
    who = f"{first.count} {species if readable(species) else ''} {stage}".strip()
    return f"At risk: {who}" + (f" +{len(careful) - 1}" if len(careful) > 1 else "")
