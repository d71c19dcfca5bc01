"""Stages that nobody sees: from the forecast to what must be watched."""

import logging
from collections.abc import Callable, Iterable, Mapping
from datetime import datetime, timedelta

from monitor.accounts.forecast_gather import forecaster
from monitor.accounts.heat import CohortHeat
from monitor.site.site_file import Site
from monitor.site.species_file import Library
from monitor.store.reader import Reader

log = logging.getLogger(__name__)

EVERY = timedelta(hours=1)
"""A forecast moves by days; it is asked this often, and when a stage changed."""

Stages = Mapping[int, tuple[str, ...]]
"""Cohort to the unseen later stages that it may be in."""


class Foresight:
    """
    Asks now and then which cohorts may be in a stage that nobody sees.

    Args:
        reader: The store.
        configuration: Site and library as they hold now.
        now: Tells the time. UTC.
        hand_over: Takes what was found.
    """

    def __init__(
        self,
        reader: Reader,
        configuration: Callable[[], tuple[Site, Library]],
        *,
        now: Callable[[], datetime],
        hand_over: Callable[[Stages], None],
    ) -> None:
        self._reader, self._configuration = reader, configuration
        self._now, self._hand_over = now, hand_over
        self._asked_at: datetime | None = None
        self._asked_of: frozenset[tuple[int, str]] = frozenset()

    def look(self, heats: Iterable[CohortHeat]) -> None:
        """
        Ask the forecast if it is time to.

        Args:
            heats: The accounts of all living cohorts, up to now.
        """
        now, accounts = self._now(), {heat.cohort: heat for heat in heats}
        of = frozenset((heat.cohort, heat.stage) for heat in accounts.values())
        fresh = self._asked_at is not None and now - self._asked_at < EVERY
        if fresh and of == self._asked_of:
            return
        self._asked_at, self._asked_of = now, of
        site, library = self._configuration()
        try:
            with self._reader.snapshot() as store:
                made = forecaster(store, site, library, now=now, heats=accounts)
                found = made.perhaps()
        except Exception:
            # a forecast that fails must not end the accounts, and with them the watch
            log.exception("no forecast of unseen stages")
            return
        self._hand_over(found)
