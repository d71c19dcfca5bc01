"""A way to reach one keeper, and what came of trying."""

from datetime import datetime, timedelta
from typing import Protocol

import msgspec

from monitor.site.words import Priority


class OutgoingNotice(msgspec.Struct, frozen=True, kw_only=True):
    """
    A notice as a channel needs it.

    Attributes:
        id: Row of the outbox; makes a repeat recognisable (E4).
        keeper: Whom it is for.
        created: When it was made; the date of a mail.
        pictures: Folder of what the HTML shows as ``cid:NAME``; "" for none.
    """

    id: int
    keeper: str
    priority: Priority
    created: datetime
    subject: str
    short: str
    long: str
    html: str
    pictures: str = ""


class Sent(msgspec.Struct, frozen=True):
    """
    The far side took it. That is not "delivered", still less "read" (N5).

    Attributes:
        note: Something about it that was not as it should be, or "".
    """

    note: str = ""


class FailedForNow(msgspec.Struct, frozen=True):
    """
    It may go another time.

    Attributes:
        reason: For the log and the keeper; holds no secret.
        retry_after: How long the far side wants to be left alone.
    """

    reason: str
    retry_after: timedelta | None = None


class FailedForGood(msgspec.Struct, frozen=True):
    """
    It will never go this way: the next channel is tried at once.

    Attributes:
        reason: For the log and the keeper; holds no secret.
    """

    reason: str


SendResult = Sent | FailedForNow | FailedForGood


class Channel(Protocol):
    """A way to reach one keeper."""

    def send(self, notice: OutgoingNotice, *, deadline: datetime) -> SendResult:
        """Try once. Never raises for what the far side does; returns why it failed."""
