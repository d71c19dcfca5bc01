"""The house in memory: journal, places, what to watch and the state of alarms."""

from collections.abc import Iterable, Mapping
from datetime import datetime

import msgspec

from monitor.accounts.heat import CohortHeat
from monitor.alarms.perhaps import taken_up
from monitor.alarms.plan import Perhaps, Plan, make_plan
from monitor.desk.view import Health, View
from monitor.heart.events import Event, PlanChanged, Reading, Record
from monitor.heart.state import State
from monitor.heart.step import step
from monitor.site.house import House, fold
from monitor.site.journal import CohortStarted, Entry
from monitor.site.load import Configuration

replace = msgspec.structs.replace


class Living(msgspec.Struct, frozen=True):
    """
    What is true now. A change makes a new one; it is adopted once it is stored.

    Attributes:
        entries: The whole journal.
        house: The journal folded.
        state: Of the pure step, with the plan made of house and configuration.
        perhaps: Unseen later stages that cohorts may be in, as the forecast says.
    """

    configuration: Configuration
    entries: tuple[Entry, ...]
    house: House
    state: State
    perhaps: Perhaps = {}

    def stepped(self, events: Iterable[Event]) -> tuple["Living", tuple[Record, ...]]:
        """Let events happen, one after the other."""
        state = self.state
        records: list[Record] = []
        for event in events:
            state, made = step(state, event)
            records += made
        return replace(self, state=state), tuple(records)

    def with_entries(
        self, entries: Iterable[Entry], at: datetime
    ) -> tuple["Living", tuple[Record, ...]]:
        """Add entries to the journal and watch what they change."""
        used = max((e.id for e in self.entries), default=0)
        # the recorder is the only writer: these are the ids that the store gives
        numbered = (replace(e, id=used + i) for i, e in enumerate(entries, 1))
        every = (*self.entries, *numbered)
        house = fold(self.configuration.site, every)
        return _replanned(replace(self, entries=every, house=house), at)

    def with_configuration(
        self, configuration: Configuration, at: datetime
    ) -> tuple["Living", tuple[Record, ...]]:
        """Go by another configuration from now on."""
        house = fold(configuration.site, self.entries)
        other = replace(self, configuration=configuration, house=house)
        return _replanned(other, at)

    def with_perhaps(
        self, perhaps: Perhaps, at: datetime
    ) -> tuple["Living", tuple[Record, ...]]:
        """Watch for the needs of unseen stages too; what is new is a record first."""
        living, records = _replanned(replace(self, perhaps=perhaps), at)
        return living, (*taken_up(self.perhaps, perhaps, at), *records)

    def next_cohort(self) -> int:
        """An id that no cohort ever had."""
        used = (
            e.fact.cohort for e in self.entries if isinstance(e.fact, CohortStarted)
        )
        return max(used, default=0) + 1

    def view(
        self,
        now: datetime,
        *,
        latest: Mapping[tuple[str, str], Reading],
        heat: Mapping[int, CohortHeat],
        health: Health,
    ) -> View:
        """Everything that a request may ask about."""
        alarms = tuple(sorted(self.state.alarms.values(), key=lambda a: a.id))
        return View(
            now,
            self.configuration.site,
            self.configuration.library,
            self.house,
            alarms,
            latest,
            heat,
            health,
            self.next_cohort(),
        )


def _replanned(living: Living, at: datetime) -> tuple[Living, tuple[Record, ...]]:
    plan = plan_of(living.configuration, living.house, living.perhaps)
    return living.stepped([PlanChanged(at, plan)])


def plan_of(
    configuration: Configuration,
    house: House,
    perhaps: Perhaps | None = None,
) -> Plan:
    """What must be watched in a house under a configuration."""
    return make_plan(
        configuration.site,
        configuration.library,
        house,
        configuration=configuration.hash,
        perhaps=perhaps,
    )
