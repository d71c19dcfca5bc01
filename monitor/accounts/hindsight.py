"""What the house believed at an instant, and how its forecasts from that held."""

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime

from monitor.accounts.instruments import Declared, Instruments, Readings
from monitor.accounts.learning import Key, Record, learned, records
from monitor.accounts.observing import Observation, Observer
from monitor.accounts.scoring import Hindcaster, Scored
from monitor.site.figures import HouseFigures
from monitor.site.house import House
from monitor.site.journal import Entry
from monitor.site.species_file import Library
from monitor.store.rows import AccountDay


class Believed:
    """
    What was learned by an instant, from changes that had been found by then.

    Stages that lasted then are left out: what they had had by then is not kept.

    Args:
        observations: What the cohorts needed, as it is known now.
        library: The species.
        houses: What other houses told, each from the day of its export on.
    """

    def __init__(
        self,
        observations: Iterable[Observation],
        library: Library,
        houses: Sequence[HouseFigures] = (),
    ) -> None:
        self._library, self._houses = library, houses
        self._over: dict[Key, list[tuple[datetime, Observation]]] = {}
        for row in observations:
            if row.span.ended_by is not None:
                key = row.species, row.stage, row.sex
                self._over.setdefault(key, []).append((row.span.ended_by, row))
        self._made: dict[tuple[Key, int, int], Record | None] = {}

    def __call__(self, key: Key, at: datetime) -> Record | None:
        """
        Tell what a stage was believed to need; None for what the file says.

        Args:
            key: Species, stage and sex; what is known of any sex stands in for one.
            at: The instant. UTC.
        """
        species, stage, sex = key
        for whose in dict.fromkeys((sex, "any")):
            found = self._record((species, stage, whose), at)
            if found is not None:
                return found
        return None

    def _record(self, key: Key, at: datetime) -> Record | None:
        rows = [row for found, row in self._over.get(key, ()) if found <= at]
        houses = [h for h in self._houses if h.made_on <= at.date()]
        memo = key, len(rows), len(houses)
        if memo not in self._made:
            made = learned(rows, self._library, houses)
            self._made[memo] = records(made, self._library).get(key)
        return self._made[memo]


def scores(
    declared: Declared,
    house: House,
    entries: Sequence[Entry],
    *,
    readings: Readings,
    account_days: Callable[[int], Sequence[AccountDay]],
    houses: Sequence[HouseFigures],
    now: datetime,
    since: datetime,
    most: int,
) -> tuple[Scored, ...]:
    """
    Score the latest forecasts, each made again from what was believed then.

    Args:
        declared: The configuration.
        house: With all that the journal moved.
        entries: The journal.
        readings: Asks the store.
        account_days: The cached account of a cohort.
        houses: What other houses told.
        now: The present. UTC.
        since: What was over before this is left out. UTC.
        most: Score no more than this, the latest.
    """
    library = declared.library
    instruments = Instruments(declared.site, entries, declared.checks)
    observer = Observer(instruments, library, house, readings, account_days, now=now)
    made = Hindcaster(
        instruments,
        library,
        house,
        readings,
        now=now,
        record_of=Believed(observer.all(entries), library, houses),
    )
    return made.scored(entries, since=since, most=most)
