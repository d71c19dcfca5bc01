"""The outbox's way to the keepers: one loop in a thread that its caller owns."""

import logging
import threading
from collections import defaultdict, deque
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta

import msgspec

from monitor.clock import Clock
from monitor.errors import MonitorError
from monitor.notices.channel import (
    Channel,
    FailedForNow,
    OutgoingNotice,
    SendResult,
    Sent,
)
from monitor.notices.policy import after, unreachable
from monitor.site.words import Priority
from monitor.store.rows import NoticeRow, NoticeUpdate

log = logging.getLogger(__name__)

BUDGET = 120.0
"""All of one try must end within it: S1's bound for a sender that hangs. [real s]"""

POLL = 1.0
"""Longest sleep between two looks into the outbox. [real s]"""

STORM_COUNT = 10
STORM_SPAN = timedelta(minutes=10)
"""
N7: a keeper gets at most so many messages in so long a time; further ones wait their
turn in the outbox. Urgent ones never wait, and count.
"""

COMMIT_GRACE = timedelta(minutes=1)
"""How long after its next try was due a report may still be on its way to the store."""

REMEMBERED = 10_000
"""Most reports that are remembered; the oldest is forgotten."""


class Sender:
    """
    Sends what waits in the outbox, the urgent first, then the oldest.

    A notice that was tried is left alone until the store shows the report of that try,
    so no commit that comes late makes it go twice. Should the store not be able to
    write, the report itself counts once its next try is overdue.

    Args:
        channels_of: Id of a keeper to their channels with names, in order of trying.
        pending: Notices of state "waiting" as the store shows them.
        report: Takes what came of a try, to be committed.
        clock: The program's clock.
        wake: Set by whoever adds a notice, and to stop.
        heartbeat: Called before and after each try and at least each `POLL`.
    """

    def __init__(
        self,
        *,
        channels_of: Callable[[str], Sequence[tuple[str, Channel]]],
        pending: Callable[[datetime], Sequence[NoticeRow]],
        report: Callable[[NoticeUpdate], None],
        clock: Clock,
        wake: threading.Event,
        heartbeat: Callable[[], None],
    ) -> None:
        self._channels_of, self._pending, self._report = channels_of, pending, report
        self._clock, self._wake, self._heartbeat = clock, wake, heartbeat
        self._reported: dict[int, NoticeUpdate] = {}
        self._recent: defaultdict[str, deque[datetime]] = defaultdict(deque)
        self._deadline: datetime | None = None
        self._blind = False

    @property
    def deadline(self) -> datetime | None:
        """When the try under way must have ended; None between tries."""
        return self._deadline

    def run(self, stop: threading.Event) -> None:
        """Send until *stop* is set (and *wake*, to notice it at once)."""
        while not stop.is_set():
            self._wake.clear()
            while not stop.is_set() and self.send_one():
                pass
            self._heartbeat()
            if not stop.is_set():
                self._wake.wait(POLL)

    def send_one(self) -> bool:
        """Try the notice whose turn it is; False if none is due."""
        now = self._clock.now()
        row = self._next(now)
        if row is None:
            return False
        self._heartbeat()
        channels = self._channels_of(row.keeper)
        if not channels:
            reason = f"keeper {row.keeper} has no channel"
            self._done(row, unreachable(row, reason), "none")
            return True
        name, channel = channels[row.channel % len(channels)]
        second = self._clock.seconds(timedelta(seconds=1))
        self._deadline = now + timedelta(seconds=BUDGET / second)
        try:
            result = self._try(channel, row, self._deadline)
        finally:
            self._deadline = None
        ended = self._clock.now()
        if isinstance(result, Sent):
            self._recent[row.keeper].append(ended)
        self._done(row, after(row, result, channels=len(channels), now=ended), name)
        self._heartbeat()
        return True

    def _try(self, channel: Channel, row: NoticeRow, deadline: datetime) -> SendResult:
        notice = OutgoingNotice(
            id=row.id,
            keeper=row.keeper,
            priority=row.priority,
            created=row.created,
            subject=row.subject,
            short=row.short,
            long=row.long,
            html=row.html,
            pictures=row.pictures,
        )
        try:
            return channel.send(notice, deadline=deadline)
        except Exception as exc:  # noqa: BLE001 - see below
            # one notice that breaks a channel must not end the thread and with it all
            # notices; the text of a foreign error may hold an address (S9)
            log.error(  # noqa: TRY400 - the traceback shows foreign text
                "channel broke notice=%s error=%s", row.id, type(exc).__name__
            )
            return FailedForNow(f"error of our own: {type(exc).__name__}")

    def _done(self, row: NoticeRow, update: NoticeUpdate, channel: str) -> None:
        self._reported.pop(row.id, None)
        self._reported[row.id] = update
        while len(self._reported) > REMEMBERED:
            del self._reported[next(iter(self._reported))]
        level = logging.INFO if update.state == "sent" else logging.WARNING
        log.log(
            level,
            "notice=%s keeper=%s channel=%s state=%s attempts=%s error=%r",
            row.id,
            row.keeper,
            channel,
            update.state,
            update.attempts,
            update.last_error,
        )
        self._report(update)

    def _next(self, now: datetime) -> NoticeRow | None:
        try:
            rows = self._pending(now)
        except MonitorError as exc:
            if not self._blind:
                log.warning("outbox cannot be read error=%r", str(exc))
            self._blind = True
            return None
        self._blind = False
        due = [
            row
            for row in map(self._as_it_stands, rows)
            if row.state == "waiting"
            and self._is_due(row, now)
            and self._may_hear(row, now)
        ]
        return min(due, key=lambda r: (r.priority.rank, r.created, r.id), default=None)

    def _as_it_stands(self, row: NoticeRow) -> NoticeRow:
        """The row, or the row with a report that the store does not show yet."""
        update = self._reported.get(row.id)
        if update is None:
            return row
        if row.attempts >= update.attempts:
            del self._reported[row.id]
            return row
        return msgspec.structs.replace(
            row,
            state=update.state,
            channel=update.channel,
            attempts=update.attempts,
            next_try=update.next_try,
            last_error=update.last_error,
        )

    def _is_due(self, row: NoticeRow, now: datetime) -> bool:
        due = row.next_try
        if due is None:
            return True
        return due + COMMIT_GRACE <= now if row.id in self._reported else due <= now

    def _may_hear(self, row: NoticeRow, now: datetime) -> bool:
        """Tell whether the keeper has had few enough messages lately (N7)."""
        recent = self._recent[row.keeper]
        while recent and recent[0] + STORM_SPAN <= now:
            recent.popleft()
        return row.priority is Priority.URGENT or len(recent) < STORM_COUNT
