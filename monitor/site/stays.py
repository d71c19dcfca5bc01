"""Times spent under one parent, in one place or in one stage, one after the other."""

from datetime import datetime

import msgspec


class Stay(msgspec.Struct, frozen=True):
    """A time under one parent, in one place or stage; open while until is None."""

    what: str
    since: datetime
    until: datetime | None = None


def what_at(stays: tuple[Stay, ...], at: datetime) -> str | None:
    """Under, or in, what it was at an instant; None before, between and after."""
    for stay in reversed(stays):
        if stay.since <= at and (stay.until is None or at < stay.until):
            return stay.what
    return None


def closed(stays: tuple[Stay, ...], at: datetime) -> tuple[Stay, ...]:
    """End the last stay, if it is open."""
    if not stays or stays[-1].until is not None:
        return stays
    last = stays[-1]
    return (*stays[:-1], Stay(last.what, last.since, max(at, last.since)))


def changed(stays: tuple[Stay, ...], what: str, at: datetime) -> tuple[Stay, ...]:
    """End the last stay and begin another one, no earlier than that."""
    begun = max(at, stays[-1].since) if stays else at
    return (*closed(stays, begun), Stay(what, begun))


def cut(stays: tuple[Stay, ...], at: datetime) -> tuple[Stay, ...]:
    """Leave nothing after an instant, whatever was entered for later."""
    return tuple(
        Stay(stay.what, stay.since, min(stay.until or at, at))
        for stay in stays
        if stay.since < at
    )
