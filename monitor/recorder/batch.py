"""What one cycle of the recorder makes durable together."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from monitor.accounts.worker import AccountResults
from monitor.chores import ChoreDone
from monitor.heart.events import Reading, Record
from monitor.intake.decode import Rejected
from monitor.intake.sorting import Promoted
from monitor.site.journal import Entry
from monitor.site.load import Configuration
from monitor.store.rows import NewNotice, NoticeUpdate


@dataclass(slots=True)
class Batch:
    """
    Readings, refusals, alarm changes, notices and accounts of one commit.

    Attributes:
        at: Instant of the cycle.
        promoted: Quarantined messages that turned out to be readings.
        states: Records of the state to save; None to save none.
        configuration: Accepted now, to be kept with its hash.
    """

    at: datetime
    readings: list[Reading] = field(default_factory=list)
    rejected: list[Rejected] = field(default_factory=list)
    promoted: list[Promoted] = field(default_factory=list)
    entries: Sequence[Entry] = ()
    records: list[Record] = field(default_factory=list)
    notices: list[NewNotice] = field(default_factory=list)
    updates: list[NoticeUpdate] = field(default_factory=list)
    accounts: list[AccountResults] = field(default_factory=list)
    chores: list[ChoreDone] = field(default_factory=list)
    states: dict[str, bytes] | None = None
    configuration: Configuration | None = None

    @property
    def empty(self) -> bool:
        """Nothing to write."""
        return not (
            self.readings
            or self.rejected
            or self.promoted
            or self.entries
            or self.records
            or self.notices
            or self.updates
            or self.accounts
            or self.chores
            or self.states
            or self.configuration
        )
