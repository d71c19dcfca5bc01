"""A forecast from the store alone, beside the daemon or without it."""

from collections.abc import Mapping
from datetime import datetime

from monitor.accounts.by_hand import hand_logs
from monitor.accounts.forecast import Forecaster
from monitor.accounts.forecast_needs import Learned
from monitor.accounts.forecast_warmth import Assumptions
from monitor.accounts.heat import CohortHeat
from monitor.accounts.worker import AccountSource, AccountsWorker
from monitor.site.house import House, fold
from monitor.site.site_file import Site
from monitor.site.species_file import Library


def forecaster(
    source: AccountSource,
    site: Site,
    library: Library,
    *,
    now: datetime,
    stated: Assumptions | None = None,
    learned: Learned | None = None,
    heats: Mapping[int, CohortHeat] | None = None,
    house: House | None = None,
) -> Forecaster:
    """
    Bring the accounts up to now, without writing, and forecast from them.

    Args:
        source: The store, for reading; one snapshot of it is best.
        site: The declared house.
        library: The species.
        now: The present. UTC.
        stated: A set point, and how far the animals are from the probe.
        learned: Requirements that stand before those of the files.
        heats: Accounts that are up to now already, by cohort; None to compute them.
        house: The house as it is now; None to fold the journal.
    """
    if heats is None:
        worker = AccountsWorker(source, lambda: (site, library))
        heats = {heat.cohort: heat for heat in worker.run_once(now).heats}
    entries = source.entries()
    return Forecaster(
        site=site,
        library=library,
        house=fold(site, entries, until=now) if house is None else house,
        heats=heats,
        readings=source.readings,
        now=now,
        stated=stated or Assumptions(),
        learned=learned or {},
        by_hand=hand_logs(entries),
    )
