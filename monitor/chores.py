"""
Chores: what comes once a period, done outside the recorder and handed to it.

The schedule says what is due; the work itself runs in a short-lived child process with
a deadline, so that a chart that hangs or eats memory never touches the watch. Notices
and the mark that a chore is done are one commit of the recorder's.
"""

import json
import logging
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Protocol

import msgspec

from monitor.errors import MonitorError
from monitor.heart.events import Signal
from monitor.schedule import Due, due, next_summary
from monitor.site.site_file import Site
from monitor.site.words import Priority
from monitor.store.backup import make_backup
from monitor.store.reader import Reader
from monitor.store.rows import NewNotice

log = logging.getLogger(__name__)

DEADLINE_S = 240.0
"""A child that is not done by then is ended. [real s]"""

AGAIN_S = 900.0
"""A chore that failed is tried again after this. [real s]"""

KEPT_BACKUPS = 14
"""Daily backups that are kept."""


class ChoreDone(msgspec.Struct, frozen=True):
    """
    A chore and what it brings; stored whole in one commit.

    Attributes:
        key: Of the schedule.
        at: When it was done. UTC.
        detail: A few words for the record.
        notices: For the outbox.
    """

    key: str
    at: datetime
    detail: str = ""
    notices: tuple[NewNotice, ...] = ()


class ChoreFailed(msgspec.Struct, frozen=True):
    """A chore that failed or works again, as a state of the system."""

    signal: Signal


class Written(msgspec.Struct, frozen=True):
    """
    What the summary's child tells on stdout.

    Attributes:
        subject: Of the mail.
        short: For channels that carry no more.
        text: Plain, complete in itself.
        html: Shows pictures as ``cid:NAME``.
        folder: Where NAME.png lie, below the state directory.
    """

    subject: str
    short: str
    text: str
    html: str
    folder: str


class Commission(Protocol):
    """Has the summary of a week made; the real one runs a child process."""

    def __call__(self, work: Due, *, number: int, following: str) -> Written:
        """Make it, or raise `MonitorError`."""


class Chores:
    """
    Looks for due work and does it; one call at a time.

    Args:
        site: As configured now.
        reader: The store.
        state: Directory of the store.
        commission: Makes a summary.
        hand_over: Takes what was done; the recorder stores it.
        now: Tells the time. UTC.
    """

    def __init__(
        self,
        *,
        site: Callable[[], Site],
        reader: Reader,
        state: Path,
        commission: Commission,
        hand_over: Callable[[ChoreDone | ChoreFailed], None],
        now: Callable[[], datetime],
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._site, self._reader, self._state = site, reader, state
        self._commission, self._hand_over, self._now = commission, hand_over, now
        self._monotonic = monotonic
        self._not_before: dict[str, float] = {}
        self._failing: set[str] = set()

    def look(self) -> None:
        """Do everything that is due now."""
        now = self._now()
        since = self._reader.made_at()
        if since is None:
            return
        done = self._reader.done()
        for work in due(now, self._site(), done=done, since=since):
            waits = self._not_before.get(work.key, float("-inf"))
            if self._monotonic() >= waits:
                self._try(work, done, now)

    def _try(self, work: Due, done: Mapping[str, datetime], now: datetime) -> None:
        log.info("due", extra={"key": work.key, "late": work.late})
        # the mark comes with the recorder's commit; until then once is enough
        self._not_before[work.key] = self._monotonic() + AGAIN_S
        try:
            if work.kind == "summary":
                number = 1 + sum(key.startswith("summary/") for key in done)
                made = self._summary(work, number, now)
            else:
                made = self._backup(work, now)
        except MonitorError as error:
            log.warning("chore failed", extra={"key": work.key, "reason": str(error)})
            self._say(work.kind, now, failed=str(error))
            return
        self._say(work.kind, now, failed="")
        self._hand_over(made)

    def _say(self, kind: str, now: datetime, *, failed: str) -> None:
        if bool(failed) == (kind in self._failing):
            return
        (self._failing.add if failed else self._failing.discard)(kind)
        signal = Signal(now, f"{kind}-failing", active=bool(failed), detail=failed)
        self._hand_over(ChoreFailed(signal))

    def _summary(self, work: Due, number: int, now: datetime) -> ChoreDone:
        site = self._site()
        following = next_summary(now, site)
        written = self._commission(
            work, number=number, following="" if following is None else str(following)
        )
        to = site.summary.to if site.summary is not None else ()
        notices = tuple(
            NewNotice(
                keeper=keeper,
                why="summary",
                priority=Priority.NOTE,
                alarms=(),
                created=now,
                subject=written.subject,
                short=written.short,
                long=written.text,
                html=written.html,
                pictures=written.folder,
            )
            for keeper in to
        )
        return ChoreDone(work.key, now, "late" if work.late else "", notices)

    def _backup(self, work: Due, now: datetime) -> ChoreDone:
        made = make_backup(
            self._reader, self._state / "backups", now=now, keep=KEPT_BACKUPS
        )
        return ChoreDone(work.key, now, str(made.path.name))


class ChildSummary:
    """
    Makes a summary by our own command in a child process (P2).

    Args:
        command: The program and the words before ``summary``.
        config: Directory of site.toml.
        environment: Of the child.
    """

    def __init__(
        self,
        config: Path,
        environment: Mapping[str, str],
        *,
        command: Sequence[str] = (sys.executable, "-m", "monitor"),
        deadline_s: float = DEADLINE_S,
    ) -> None:
        self._config, self._environment = config, dict(environment)
        self._command, self._deadline_s = tuple(command), deadline_s
        self._running: subprocess.Popen[bytes] | None = None

    def __call__(self, work: Due, *, number: int, following: str) -> Written:
        """
        Run it and read what it says.

        Raises:
            MonitorError: If it fails, hangs or says something else.
        """
        words = ["summary", "--week", work.period, "--write", "--json"]
        words += ["--number", str(number)]
        words += ["--next-due", following] if following else []
        words += ["--late"] if work.late else []
        words += ["--config", str(self._config)]
        code, out, err = self._run(words, work.period)
        if code != 0:
            last = err.decode(errors="replace").strip().splitlines()
            raise MonitorError(
                f"the summary of {work.period} ended with {code}: "
                f"{last[-1] if last else 'no word why'}"
            )
        try:
            return msgspec.convert(json.loads(out), Written)
        except (ValueError, msgspec.ValidationError) as error:
            raise MonitorError(
                f"the summary of {work.period} said something else: {error}"
            ) from error

    def _run(self, words: Sequence[str], period: str) -> tuple[int, bytes, bytes]:
        try:
            child = subprocess.Popen(  # noqa: S603 - our own command
                [*self._command, *words],
                env=self._environment,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
            )
        except OSError as error:
            raise MonitorError(f"the summary could not be started: {error}") from error
        with child:
            self._running = child
            try:
                out, err = child.communicate(timeout=self._deadline_s)
            except subprocess.TimeoutExpired:
                child.kill()
                raise MonitorError(
                    f"the summary of {period} was not done within "
                    f"{self._deadline_s:.0f} s and was ended"
                ) from None
            finally:
                self._running = None
        return child.returncode, out, err

    def end(self) -> None:
        """Kill a child that runs: the daemon stops."""
        running = self._running
        if running is not None:
            running.kill()
