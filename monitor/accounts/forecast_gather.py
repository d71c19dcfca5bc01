"""A forecast from the store alone, beside the daemon or without it."""

from collections.abc import Mapping
from datetime import datetime

from monitor.accounts.begins import present_spans
from monitor.accounts.forecast import Forecaster
from monitor.accounts.forecast_needs import Learned
from monitor.accounts.forecast_warmth import Assumptions
from monitor.accounts.heat import CohortHeat
from monitor.accounts.instruments import Declared, Instruments
from monitor.accounts.worker import AccountSource, AccountsWorker
from monitor.site.house import House, fold


def forecaster(
    source: AccountSource,
    declared: Declared,
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
        declared: The configuration.
        now: The present. UTC.
        stated: A set point, and how far the animals are from the probe.
        learned: Requirements that stand before those of the files.
        heats: Accounts that are up to now already, by cohort; None to compute them.
        house: The house as it is now; None to fold the journal.
    """
    if heats is None:
        worker = AccountsWorker(source, lambda: declared)
        heats = {heat.cohort: heat for heat in worker.run_once(now).heats}
    entries = source.entries()
    if house is None:
        house = fold(declared.site, entries, until=now)
    return Forecaster(
        site=declared.site,
        library=declared.library,
        house=house,
        heats=heats,
        readings=source.readings,
        now=now,
        stated=stated or Assumptions(),
        learned=learned or {},
        instruments=Instruments(declared.site, entries, declared.checks),
        begun=present_spans(house, declared.library, entries, now=now),
    )
