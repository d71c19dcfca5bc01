"""What other threads want of the recorder: one bounded box, emptied once a cycle."""

import queue
from collections.abc import Iterator, Mapping
from concurrent.futures import Future
from dataclasses import dataclass, field

from monitor.accounts.worker import AccountResults
from monitor.chores import ChoreDone, ChoreFailed
from monitor.desk.view import Reply, Request
from monitor.site.load import Configuration
from monitor.store.rows import NoticeUpdate

MOST = 1_000
"""Requests, results and changes that may wait."""

ASK_S = 5.0
"""A keeper's request is answered within this. [s]"""


@dataclass(frozen=True, slots=True)
class Asked:
    """A keeper's request, and where its answer goes."""

    request: Request
    reply: Future[Reply] = field(default_factory=Future)


@dataclass(frozen=True, slots=True)
class Reload:
    """Another configuration to go by."""

    configuration: Configuration


@dataclass(frozen=True, slots=True)
class MaybeHere:
    """Unseen later stages that cohorts may be in, by cohort."""

    stages: Mapping[int, tuple[str, ...]]


Message = (
    Asked | Reload | MaybeHere | NoticeUpdate | AccountResults | ChoreDone | ChoreFailed
)


class Mailbox:
    """Safe for use from several threads; the recorder alone takes."""

    def __init__(self) -> None:
        self._held: queue.Queue[Message] = queue.Queue(MOST)

    @property
    def empty(self) -> bool:
        """Nothing waits."""
        return self._held.empty()

    def put(self, message: Message) -> None:
        """Leave a message; waits while the box is full."""
        self._held.put(message)

    def ask(self, request: Request) -> Reply:
        """Let the recorder answer a request; bounded in time."""
        asked = Asked(request)
        try:
            self._held.put(asked, timeout=ASK_S)
            return asked.reply.result(timeout=ASK_S)
        except (queue.Full, TimeoutError):
            return Reply(
                ok=False, error="the daemon is too busy to answer: try again", exit=69
            )

    def take(self) -> Iterator[Message]:
        """All that waits now."""
        for _ in range(MOST):
            try:
                yield self._held.get_nowait()
            except queue.Empty:
                return
