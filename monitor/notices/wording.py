"""
Words of a notice: one short message, one complete text, one picture of it in HTML.

Pure: the same alarms at the same instant give the same words. The most pressing fact
stands first in each form (N4, E7), and the short form is one unsplit message (N6).
"""

from collections.abc import Mapping, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

import msgspec

from monitor import __version__
from monitor.alarms.alarm import Alarm
from monitor.alarms.words import ConditionWords
from monitor.notices.layout import HTML_LIMIT, render
from monitor.notices.phrases import plain, sentence
from monitor.notices.short import short_form
from monitor.notices.story import (
    COMMAND,
    NAME_LIMIT,
    WORDS_LIMIT,
    Story,
    escalation,
    tell,
    worst_first,
)
from monitor.site.local import is_night
from monitor.site.site_file import Keeper, Site

DWELLERS = 30
"""Most cohorts that one alarm lists by name."""

DETAILED = 8
"""Most alarms told in full; the others get one line each."""

LISTED = 40
"""Most alarms that are told at all; the rest is a number and a command."""

SUBJECT_LIMIT = 78
"""RFC 5322, section 2.1.1: a line should be no longer. [characters]"""

WHY = {
    "raised": "",
    "worse": "It has got worse.",
    "again": "It rings again: it is no better.",
    "escalated": "Nobody has answered yet, so it comes to you.",
    "over": "",
}
"""What a notice says of its own reason."""

_MARK = {
    "raised": "",
    "worse": ", worse",
    "again": ", again",
    "escalated": ", unanswered",
    "over": ", over",
}


class Wording(msgspec.Struct, frozen=True):
    """
    A notice in words.

    Attributes:
        subject: At most 78 characters, the priority first.
        short: At most 160 septets of the GSM 7-bit alphabet.
        long: Plain text, complete in itself.
        html: The same for a mail reader; below 90 kB, nothing loaded from outside.
    """

    subject: str
    short: str
    long: str
    html: str


class Letter(msgspec.Struct, frozen=True):
    """What the long text and the HTML are made from."""

    why: str
    opening: str
    stories: tuple[Story, ...]
    others: tuple[Story, ...]
    untold: int
    answer_by: str
    footer: str


def compose(
    alarms: Sequence[Alarm],
    *,
    why: str,
    keeper: Keeper,
    site: Site,
    place_names: Mapping[str, str],
    now: datetime,
    next_keeper: str | None,
    words: Mapping[str, ConditionWords],
) -> Wording:
    """
    Say everything that a keeper must know of some alarms.

    Args:
        alarms: What is told; at least one.
        why: "raised", "worse", "again", "escalated" or "over".
        keeper: Who is told.
        site: Name, zone, keepers, and how long an answer is waited for.
        place_names: Id of a place or sensor to its names, "Warm room > Shelf A"
            (`place_paths` makes them); an id that is missing is shown as it is.
        now: Instant of telling.
        next_keeper: Id of who is told next if nobody answers.
        words: Words of each kind of alarm.

    Raises:
        ValueError: If there is no alarm, or *why* is none of the five.
    """
    if not alarms:
        raise ValueError("a notice tells of at least one alarm")
    if why not in WHY:
        raise ValueError(f"why must be one of {', '.join(WHY)}, got {why!r}")
    zone = ZoneInfo(site.site.time_zone)
    stories = [
        tell(
            alarm,
            by=keeper.id,
            place_names=place_names,
            now=now,
            zone=zone,
            words=words,
            most=DWELLERS,
        )
        for alarm in worst_first(alarms)
    ]
    night = is_night(now, site.site.time_zone)
    after = site.alarms.escalate_after
    names = {k.id: k.name for k in site.keepers}
    answer_by = escalation(
        priority=stories[0].alarm.priority,
        wait=after.night if night else after.day,
        next_name=plain(names.get(next_keeper, next_keeper), NAME_LIMIT)
        if next_keeper
        else None,
        again=next_keeper == keeper.id,
        now=now,
        zone=zone,
    )
    letter = Letter(
        why=why,
        opening=WHY[why],
        stories=tuple(stories[:DETAILED]),
        others=tuple(stories[DETAILED:LISTED]),
        untold=max(0, len(stories) - LISTED),
        answer_by="" if why == "over" else answer_by,
        footer=f"rearing monitor {__version__}, {plain(site.site.name, NAME_LIMIT)}",
    )
    return Wording(
        subject=_subject(stories, why),
        short=short_form(stories, mark=_MARK[why], over=why == "over"),
        long=_long(letter),
        html=_fitting_html(letter),
    )


def _subject(stories: Sequence[Story], why: str) -> str:
    first = stories[0]
    more = f" and {len(stories) - 1} more" if len(stories) > 1 else ""
    head = f"{first.priority}{_MARK[why]}: {first.what}"
    head += f", {first.figure}" if first.figure else ""
    tail = f"{more} [{first.alarm.id}]"
    room = SUBJECT_LIMIT - len(head) - len(tail) - len(" in ")
    where = first.where
    if len(where) > room:
        where = where.rpartition(" > ")[2]
    if where and room > 1:
        head += f" in {plain(where, room)}"
    return plain(head, SUBJECT_LIMIT - len(tail)) + tail


def _long(letter: Letter) -> str:
    blocks = []
    if len(letter.stories) > 1 or letter.others or letter.untold:
        total = len(letter.stories) + len(letter.others) + letter.untold
        blocks.append(f"{total} alarms, the most pressing first.")
    blocks += [
        block for story in letter.stories for block in _story_text(story, letter)
    ]
    if letter.others:
        lines = [f"- {one_line(story)}" for story in letter.others]
        blocks.append("\n".join(["Also:", *lines]))
    if letter.untold:
        blocks.append(f"And {letter.untold} more: {COMMAND} alarms list")
    if letter.answer_by:
        blocks.append(letter.answer_by)
    blocks.append(f"--\n{letter.footer}")
    return "\n\n".join(blocks) + "\n"


def _story_text(story: Story, letter: Letter) -> list[str]:
    """The paragraphs of one alarm."""
    over = letter.why == "over"
    head = [
        f"{story.priority.upper()}{_MARK[letter.why].upper()}: {story.headline}",
        *([_kind(story)] if story.title != story.what else []),
        f"Since {story.begun}.",
        *([letter.opening] if letter.opening else []),
        *([story.status] if story.status else []),
        *(
            [sentence(plain(story.alarm.detail, WORDS_LIMIT))]
            if story.alarm.detail
            else []
        ),
    ]
    figures = [
        sentence("; ".join(t for t in (story.figure, story.beside) if t)),
        sentence("; ".join(t for t in (story.going, story.left) if t)),
    ]
    blocks = ["\n".join(head)]
    if story.cautions:
        blocks.append(
            "\n".join(["WHAT NOT TO DO", *(f"! {c}" for c in story.cautions)])
        )
    blocks.append("\n".join(f for f in figures if f))
    if not over:
        blocks.append(
            "FIRST\n" + sentence(plain(story.words.first_action, WORDS_LIMIT))
        )
    blocks.append(_who_text(story, over=over))
    if not over:
        blocks.append(sentence(plain(story.words.meaning, WORDS_LIMIT)))
        causes = "; ".join(story.words.causes)
        blocks.append(f"Often: {plain(causes, WORDS_LIMIT)}." if causes else "")
    if not over or story.alarm.closed_at is None:
        blocks.append(f"ANSWER (alarm {story.alarm.id})\n{story.answer}")
    else:
        blocks.append(f"Alarm {story.alarm.id}. No answer is needed.")
    return [b for b in blocks if b]


def _kind(story: Story) -> str:
    return sentence(story.title if story.alarm.active else f"It was: {story.title}")


def _who_text(story: Story, *, over: bool) -> str:
    if not story.groups:
        return ""
    ask = "LOOK AT" if over else "WHO IS AT RISK"
    lines = [f"{ask} ({story.counted} {cohorts(story.counted)})"]
    for group in story.groups:
        lines.append(f"- {group.who}: {'; '.join(group.where)}.")
        lines.append(f"  Allowed: {group.acts}.")
        if group.caution:
            lines.append(f"  Caution: {group.caution}")
    if story.hidden:
        lines.append(f"- and {story.hidden} more")
    return "\n".join(lines)


def cohorts(count: int) -> str:
    """The word for so many."""
    return "cohort" if count == 1 else "cohorts"


def one_line(story: Story) -> str:
    """An alarm of many, in a line."""
    facts = (story.figure, story.beside, story.left)
    told = ", ".join(f for f in facts if f)
    return (
        f"{story.priority}: {story.headline}"
        f"{f' ({told})' if told else ''}, alarm {story.alarm.id}"
    )


def _fitting_html(letter: Letter) -> str:
    """Leave out the least pressing until the mail reader will not clip it (E7)."""
    kept, listed, groups = len(letter.stories), len(letter.others), DWELLERS
    while True:
        dropped = len(letter.stories) - kept + len(letter.others) - listed
        page = render(
            mark=_MARK[letter.why],
            over=letter.why == "over",
            opening=letter.opening,
            stories=letter.stories[:kept],
            others=[one_line(s) for s in letter.others[:listed]],
            untold=letter.untold + dropped,
            groups=groups,
            answer_by=letter.answer_by,
            footer=letter.footer,
        )
        if len(page.encode()) < HTML_LIMIT:
            return page
        if listed:
            listed //= 2
        elif kept > 1:
            kept //= 2
        else:
            groups //= 2
