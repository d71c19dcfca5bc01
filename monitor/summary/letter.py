"""The week as the plain text of its mail, complete in itself, the worst first."""

from monitor import __version__
from monitor.summary.findings import Finding
from monitor.summary.headline import Occasion, at_a_glance, headline
from monitor.summary.sections.alarms import ALARMS
from monitor.summary.summary import Summary, headed, times
from monitor.summary.words import folded, instant

LISTED = 40
"""So many things to look at are named in plain text."""
TO_LOOK_AT = "To look at"


def letter(
    summary: Summary,
    found: tuple[Finding, ...],
    occasion: Occasion,
    *,
    without_pictures: str,
) -> str:
    """
    Write the mail's text, in lines of at most 72 letters.

    Args:
        summary: The week.
        found: What to look at, the worst first.
        occasion: Number, next date, lateness.
        without_pictures: Why there are no pictures; "" where there are.
    """
    lines = folded(headline(summary, found, late=occasion.late))
    lines += [*folded(summary.site), *times(summary)]
    lines += [line for said in opening(summary, occasion) for line in folded(said)]
    parts = [
        headed(section.title, (section.brief or section.text)(figures))
        for section, figures in summary.parts
    ]
    look = headed(TO_LOOK_AT, _look(found))
    # alarms first, then what else asks for a look, then all the rest
    first = summary.parts[:1] and summary.parts[0][0].id == ALARMS.id
    parts.insert(1 if first else 0, look)
    for part in parts:
        lines += part
    lines += ["", *_closing(summary, occasion, without_pictures)]
    return "\n".join(lines) + "\n"


def _look(found: tuple[Finding, ...]) -> list[str]:
    if not found:
        return ["Nothing."]
    lines = []
    for one in found[:LISTED]:
        lines += folded(f"{one.where}: {one.what}", "  ")
    more = len(found) - LISTED
    return [*lines, f"  and {more} more"] if more > 0 else lines


def opening(summary: Summary, occasion: Occasion) -> list[str]:
    """What stands before everything else: lateness, and the week in two figures."""
    said = []
    if occasion.late:
        made = instant(occasion.made_at, summary.time_zone)
        said.append(
            f"LATE: made {made}, after its time. The monitor or its machine was off "
            "or busy when it was due."
        )
    return said + at_a_glance(summary)


def closing(summary: Summary, occasion: Occasion, without_pictures: str) -> list[str]:
    """What stands after everything else: pictures, number, the next one, the maker."""
    said = []
    if without_pictures:
        said.append(f"Without pictures: {without_pictures}. The figures are complete.")
    number = f"This is summary {occasion.number}. " if occasion.number else ""
    if occasion.next_due:
        said.append(
            f"{number}The next one is due {occasion.next_due}. If it has not come an "
            "hour later, that is no good news: the monitor, its machine, its network "
            "or the mail may be off, so look at once with rearing-monitor now."
        )
    else:
        said.append(f"{number}No date is set for the next one.")
    made = instant(occasion.made_at, summary.time_zone)
    said.append(f"rearing monitor {__version__}, {summary.site}, made {made}")
    return said


def _closing(summary: Summary, occasion: Occasion, without_pictures: str) -> list[str]:
    *said, footer = closing(summary, occasion, without_pictures)
    lines = [line for one in said for line in folded(one)]
    return [*lines, "", "--", *folded(footer)]
