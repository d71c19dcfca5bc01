"""What a house knows beyond the species files: learned here, and told by others."""

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from types import MappingProxyType
from typing import NamedTuple

from monitor.accounts.forecast_needs import Learned
from monitor.accounts.forecast_show import SurvivalFigure
from monitor.accounts.instruments import Declared, Instruments
from monitor.accounts.learning import learned, records
from monitor.accounts.observing import Observer
from monitor.accounts.survival import survival_figures, survivals
from monitor.accounts.worker import AccountSource
from monitor.site.figures import HouseFigures
from monitor.site.house import fold


class Known(NamedTuple):
    """
    What stands before the figures of the species files.

    Attributes:
        requirements: By species, stage and sex.
        survival: From egg to adult, by species.
    """

    requirements: Learned = MappingProxyType({})
    survival: Mapping[str, SurvivalFigure] = MappingProxyType({})


def known(
    source: AccountSource,
    declared: Declared,
    houses: Iterable[HouseFigures],
    *,
    now: datetime,
    beat: Callable[[], None] = lambda: None,
) -> Known:
    """
    Learn from the whole journal and from other houses.

    Stages that nobody saw end tell too little to leave the files for.

    Args:
        source: The store, for reading; one snapshot of it is best.
        declared: The configuration.
        houses: What other houses tell.
        now: The present. UTC.
        beat: Called now and then, to show that the thread lives.
    """
    site, library, houses = declared.site, declared.library, list(houses)
    entries = source.entries()
    house = fold(site, entries, until=now)
    observer = Observer(
        Instruments(site, entries, declared.checks),
        library,
        house,
        source.readings,
        source.account_days,
        now=now,
    )
    found = learned(observer.all(entries, beat=beat), library, houses)
    return Known(
        records([each for each in found if each.n or each.houses], library),
        survival_figures(survivals(house, library, entries, houses)),
    )
