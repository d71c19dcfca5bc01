"""What goes into the store and comes out of it, where no shared type says it."""

from datetime import date, datetime
from typing import Literal, Protocol

import msgspec

from monitor.heart.events import Reading
from monitor.site.words import Priority

NoticeState = Literal["waiting", "sent", "failed"]


class NewNotice(msgspec.Struct, frozen=True, kw_only=True):
    """
    A message for one keeper, fully worded, before it is in the outbox.

    Attributes:
        keeper: Whom it is for.
        why: "raised", "worse", "again", "escalated", "over", …
        priority: Of its most pressing alarm.
        alarms: Ids of the alarms it speaks of; may be empty.
        created: When it was decided. UTC.
        subject: One line.
        short: At most 160 characters, for channels that carry no more.
        long: Plain text.
        html: The same as HTML; may be empty.
        pictures: Folder below the state directory that holds, as NAME.png, what the
            HTML shows as ``cid:NAME``; "" for none.
    """

    keeper: str
    why: str
    priority: Priority
    alarms: tuple[int, ...]
    created: datetime
    subject: str
    short: str
    long: str
    html: str = ""
    pictures: str = ""


class NoticeRow(NewNotice, frozen=True, kw_only=True):
    """
    A message in the outbox.

    Attributes:
        id: Row in the outbox; never used again within one store identity.
        state: "waiting" until it was handed over or given up.
        channel: Which of the keeper's channels comes next, counted from 0.
        attempts: How often sending was tried.
        next_try: Not before this instant; None for at once.
        sent_at: When a channel took it.
        last_error: Why the last attempt failed, in words.
    """

    id: int
    state: NoticeState = "waiting"
    channel: int = 0
    attempts: int = 0
    next_try: datetime | None = None
    sent_at: datetime | None = None
    last_error: str = ""


class NoticeUpdate(msgspec.Struct, frozen=True, kw_only=True):
    """How sending stands after an attempt; attributes as in `NoticeRow`."""

    id: int
    state: NoticeState
    channel: int
    attempts: int
    next_try: datetime | None = None
    sent_at: datetime | None = None
    last_error: str = ""


class Refusable(Protocol):
    """A message that was refused, as the intake describes it."""

    @property
    def topic(self) -> str:
        """Where it came from."""

    @property
    def payload(self) -> bytes:
        """What it said, whole."""

    @property
    def reason(self) -> str:
        """Why it was refused, in words."""

    @property
    def at(self) -> datetime:
        """When it arrived. UTC."""


class Quarantined(msgspec.Struct, frozen=True):
    """
    A refused message as it is kept.

    Attributes:
        payload: The first 512 bytes.
        size: Of the whole payload. [bytes]
    """

    id: int
    at: datetime
    topic: str
    reason: str
    payload: bytes
    size: int


class SeriesRow(msgspec.Struct, frozen=True):
    """One quantity of one sensor."""

    id: int
    sensor: str
    quantity: str


class LoggedReading(msgspec.Struct, frozen=True):
    """A reading of the hot log with its row, which grows in order of arrival."""

    row: int
    reading: Reading


class AccountDay(msgspec.Struct, frozen=True):
    """The cached account of one cohort, stage and UTC day; its room knows the body."""

    cohort: int
    stage: str
    day: date
    body: bytes


class StaleDay(msgspec.Struct, frozen=True):
    """The account of a cohort no longer holds from this day on."""

    cohort: int
    day: date
    mark: int


class StaleSeries(msgspec.Struct, frozen=True):
    """A series got readings of a day that was already over."""

    sensor: str
    quantity: str
    day: date
    mark: int


class Configuration(msgspec.Struct, frozen=True):
    """A configuration that was accepted."""

    hash: str
    at: datetime
    body: str


class Checkpoint(msgspec.Struct, frozen=True):
    """
    How the write-ahead log stands after an attempt to empty it.

    Attributes:
        wal_bytes: Size of the write-ahead log. [bytes]
        pinned: A reader kept it from being emptied.
        warning: Words for the keeper where it has grown too large, else None.
    """

    wal_bytes: int
    pinned: bool
    warning: str | None = None
