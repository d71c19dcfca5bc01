"""How many animals: counted, at least, about, or not counted."""

import re

from monitor.errors import UsageError
from monitor.site.journal import Count
from monitor.site.words import CountKind

MOST = 10_000_000
"""More animals than this in one cohort is a slip of the hand."""
FORMS = '"12" (counted), "12+" (at least), "~12" (about), or "unknown"'
_FORM = re.compile(r"^(~)?\s*(\d+)\s*(\+)?$", re.ASCII)


def parse_count(text: str | int) -> Count:
    """
    Read a count.

    Raises:
        UsageError: If it has none of the four forms, or is none or too many.
    """
    said = str(text).strip()
    if said.lower() == "unknown":
        return Count(CountKind.UNKNOWN)
    match = _FORM.match(said)
    if isinstance(text, bool) or match is None or (match[1] and match[3]):
        raise UsageError(f"{said!r} is no count: write {FORMS}")
    if len(match[2]) > len(str(MOST)) or int(match[2]) > MOST:
        raise UsageError(f"{said!r} animals are too many: at most {MOST}")
    number = int(match[2])
    if number == 0:
        raise UsageError("a cohort of 0 animals: end it with `cohort end` instead")
    if match[1]:
        return Count(CountKind.ESTIMATE, number)
    return Count(CountKind.AT_LEAST if match[3] else CountKind.COUNTED, number)


def spell_count(count: Count) -> str:
    """Write a count in the form that `parse_count` reads."""
    if count.number is None:
        return "unknown"
    return {
        CountKind.ESTIMATE: f"~{count.number}",
        CountKind.AT_LEAST: f"{count.number}+",
    }.get(count.kind, str(count.number))
