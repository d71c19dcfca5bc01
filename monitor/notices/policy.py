"""What follows from a try to send: the same channel later, the next one, or the end."""

from datetime import datetime, timedelta

from monitor.notices.channel import FailedForGood, FailedForNow, SendResult, Sent
from monitor.site.words import Priority
from monitor.store.rows import NoticeRow, NoticeUpdate

_MIN = timedelta(minutes=1)

BACKOFF = (timedelta(seconds=30), _MIN, 2 * _MIN, 5 * _MIN, 10 * _MIN, 15 * _MIN)
"""Waits after the first, second … try; the last one goes on. Own choice."""

URGENT_CAP = 2 * _MIN
"""An urgent notice never waits longer for its next try."""

TRIES = 3
"""Passing failures on one channel before the next one is tried."""

GIVE_UP_AFTER = 24
"""
A notice that one channel refuses for good and another cannot carry for now is given up
after so many tries: about 45 minutes if urgent, else five hours.
"""


def after(
    row: NoticeRow, result: SendResult, *, channels: int, now: datetime
) -> NoticeUpdate:
    """
    Decide how a notice stands after a try.

    - Sent: done.
    - Failed for now: the same channel later; after every third try the next channel,
      at once, and after the last one the first again, later.
    - Failed for good: the next channel at once. If the last one fails so, the notice
      has "failed" and the next keeper is to be told, unless an earlier channel had
      failed only for now: then it begins again there, up to `GIVE_UP_AFTER` tries.

    Args:
        row: The notice as it was tried.
        result: What came of it.
        channels: How many channels its keeper has; at least one.
        now: Instant of the result.
    """
    attempts = row.attempts + 1
    tried = row.channel % channels
    if isinstance(result, Sent):
        return NoticeUpdate(
            id=row.id, state="sent", channel=tried, attempts=attempts, sent_at=now
        )
    last = tried == channels - 1
    if isinstance(result, FailedForGood):
        only_refusals = attempts == tried + 1
        if last and (channels == 1 or only_refusals or attempts >= GIVE_UP_AFTER):
            return _failed(row, tried, attempts, result.reason)
        move, at_once = True, not last
    else:
        move = channels > 1 and attempts % TRIES == 0
        at_once = move and not last
    wait = timedelta(0) if at_once else pause(attempts, row.priority, result)
    return NoticeUpdate(
        id=row.id,
        state="waiting",
        channel=(tried + 1) % channels if move else tried,
        attempts=attempts,
        next_try=now + wait,
        last_error=result.reason,
    )


def unreachable(row: NoticeRow, reason: str) -> NoticeUpdate:
    """A keeper without any channel: failed, without a try."""
    return _failed(row, row.channel, row.attempts + 1, reason)


def pause(
    attempts: int, priority: Priority, result: FailedForNow | FailedForGood
) -> timedelta:
    """
    Tell how long to wait after so many tries, the latest included.

    A wish of the far side is heard as far as the longest wait of the priority.
    """
    cap = URGENT_CAP if priority is Priority.URGENT else BACKOFF[-1]
    wait = BACKOFF[min(attempts, len(BACKOFF)) - 1]
    if isinstance(result, FailedForNow) and result.retry_after is not None:
        wait = max(wait, result.retry_after)
    return min(wait, cap)


def _failed(row: NoticeRow, channel: int, attempts: int, reason: str) -> NoticeUpdate:
    return NoticeUpdate(
        id=row.id,
        state="failed",
        channel=channel,
        attempts=attempts,
        last_error=reason,
    )
