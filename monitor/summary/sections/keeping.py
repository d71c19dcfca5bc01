"""The store of the readings: its size, the room on its disk, its backups."""

from datetime import datetime, timedelta

import msgspec

from monitor.summary.section import Section
from monitor.summary.view import WeekView
from monitor.summary.words import folded, instant, many, percent, span

FRESH = timedelta(days=2)
"""A newest backup older than this is said loudly: one is made each day. Own choice."""
_KILO = 1000


class Figures(msgspec.Struct, frozen=True, kw_only=True):
    """
    The store at the present, whatever week is told.

    Attributes:
        size: Of its file and the log beside it. [bytes]; None where nobody knows.
        free_share: Share of its disk that is free.
        backups: So many copies lie in the directory of backups.
        newest_at: When the newest of them was made. UTC.
        newest_size: Its size. [bytes]
        newest_age_s: How old it is. [s]
    """

    time_zone: str
    size: int | None
    free_share: float | None
    backups: int
    newest_at: datetime | None
    newest_size: int | None
    newest_age_s: float | None


def figures(week: WeekView) -> Figures:
    """Tell how the store stands."""
    kept = week.kept
    newest = kept.backups[0] if kept is not None and kept.backups else None
    age = week.now - newest.made_at if newest and week.now else None
    return Figures(
        time_zone=week.zone,
        size=kept.size if kept else None,
        free_share=kept.free_share if kept else None,
        backups=len(kept.backups) if kept else 0,
        newest_at=newest.made_at if newest else None,
        newest_size=newest.size if newest else None,
        newest_age_s=age.total_seconds() if age is not None else None,
    )


def text(told: Figures) -> list[str]:
    """Say it in two sentences."""
    return [line for said in sentences(told) for line in folded(said)]


def sentences(told: Figures) -> list[str]:
    """How large the store is, and how it is kept safe."""
    if told.size is None:
        return ["Nothing is known of the store itself."]
    share = told.free_share
    free = "" if share is None else f", {percent(share)} of its disk is free"
    return [f"The store has {octets(told.size)}{free}.", _backups(told)]


def is_stale(told: Figures) -> bool:
    """Whether the readings lie in one file alone, or the newest copy is old."""
    age = told.newest_age_s
    return told.size is not None and (age is None or age > FRESH.total_seconds())


def _backups(told: Figures) -> str:
    if told.newest_at is None or told.newest_size is None or told.newest_age_s is None:
        return "THERE IS NO BACKUP beside it: run rearing-monitor backup."
    old = "OLD: " if is_stale(told) else ""
    return (
        f"{old}{many(told.backups, 'backup')}, the newest of "
        f"{instant(told.newest_at, told.time_zone)} ({octets(told.newest_size)}), "
        f"{span(told.newest_age_s)} ago."
    )


def octets(size: float) -> str:
    """A size in decimal units: "1.7 GB"."""
    for word in ("bytes", "kB", "MB"):
        if size < _KILO:
            return f"{size:.3g} {word}"
        size /= _KILO
    return f"{size:.3g} GB"


KEEPING = Section("store", "Store and backups", figures, text)
