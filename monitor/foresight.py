"""Stages that nobody sees: from the forecast to what must be watched."""

import logging
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import UTC, datetime, timedelta

from monitor.accounts.forecast_gather import forecaster
from monitor.accounts.heat import CohortHeat
from monitor.accounts.instruments import Declared
from monitor.accounts.known import Known, known
from monitor.site.figures import HouseFigures
from monitor.store.queries import Queries
from monitor.store.reader import Reader

log = logging.getLogger(__name__)

EVERY = timedelta(hours=1)
"""A forecast moves by days; it is asked this often, and when a stage changed."""

LEARNED_EVERY = timedelta(days=1)
"""To learn asks for every reading that a cohort of the house ever had."""

Stages = Mapping[int, tuple[str, ...]]
"""Cohort to the unseen later stages that it may be in."""


class Foresight:
    """
    Asks now and then which cohorts may be in a stage that nobody sees.

    What the house learned stands before the species files, as in every forecast.

    Args:
        reader: The store.
        configuration: As it holds now.
        houses: What other houses tell.
        now: Tells the time. UTC.
        hand_over: Takes what was found.
        beat: Called now and then, to show that the thread lives.
    """

    def __init__(
        self,
        reader: Reader,
        configuration: Callable[[], Declared],
        *,
        houses: Callable[[], Sequence[HouseFigures]],
        now: Callable[[], datetime],
        hand_over: Callable[[Stages], None],
        beat: Callable[[], None] = lambda: None,
    ) -> None:
        self._reader, self._configuration = reader, configuration
        self._houses, self._now = houses, now
        self._hand_over, self._beat = hand_over, beat
        self._asked_at: datetime | None = None
        self._asked_of: frozenset[tuple[int, str]] = frozenset()
        self._known, self._learned_at = Known(), datetime.min.replace(tzinfo=UTC)
        self._learned_by: Declared | None = None

    def look(self, heats: Iterable[CohortHeat]) -> None:
        """
        Ask the forecast if it is time to.

        Args:
            heats: The accounts of all living cohorts, up to now.
        """
        now, accounts = self._now(), {heat.cohort: heat for heat in heats}
        of = frozenset((heat.cohort, heat.stage) for heat in accounts.values())
        fresh = self._asked_at is not None and _within(now - self._asked_at, EVERY)
        if fresh and of == self._asked_of:
            return
        self._asked_at, self._asked_of = now, of
        declared = self._configuration()
        try:
            # two, so that none pins what was written since for long
            with self._reader.snapshot() as store:
                self._learn(store, declared, now)
            with self._reader.snapshot() as store:
                made = forecaster(
                    store,
                    declared,
                    now=now,
                    heats=accounts,
                    learned=self._known.requirements,
                )
                found = made.perhaps(self._beat)
        except Exception:
            # a forecast that fails must not end the accounts, and with them the watch
            log.exception("no forecast of unseen stages")
            return
        self._hand_over(found)

    def _learn(self, store: Queries, declared: Declared, now: datetime) -> None:
        fresh = _within(now - self._learned_at, LEARNED_EVERY)
        if fresh and declared is self._learned_by:
            return
        # set first: what fails is tried again tomorrow, not every hour
        self._learned_at, self._learned_by = now, declared
        self._known = known(store, declared, self._houses(), now=now, beat=self._beat)


def _within(passed: timedelta, span: timedelta) -> bool:
    """Whether so little time has passed; none, where a clock was ahead before."""
    return timedelta() <= passed < span
