"""The answer to ``forecast``, from the store alone: beside the daemon or without it."""

import json
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import groupby
from zoneinfo import ZoneInfo

import msgspec

from monitor.accounts.forecast import Forecaster, Worked
from monitor.accounts.forecast_gather import forecaster
from monitor.accounts.forecast_show import (
    Lead,
    ShowForecast,
    SurvivalFigure,
    lead_of,
    show,
)
from monitor.accounts.forecast_values import NO_TEMPERATURE
from monitor.accounts.forecast_warmth import Assumptions
from monitor.accounts.known import Known, known
from monitor.cli.command import Context
from monitor.cli.forecast_cohorts import CohortWords
from monitor.cli.forecast_command import MOST_WEEKS, SPARE_WEEKS, WEEKS, Asked
from monitor.cli.forecast_notes import Told
from monitor.cli.forecast_overview import Overview
from monitor.cli.forecast_show_words import ShowWords
from monitor.cli.forecast_words import Calendar
from monitor.clock import clock_from_environment
from monitor.desk.said import iso, species_words, unknown
from monitor.errors import RefusedError, UnreachableError, UsageError
from monitor.site.house import Cohort
from monitor.site.load import load
from monitor.site.species_file import Species
from monitor.store.figures import kept
from monitor.store.reader import Reader


def answer(asked: Asked, context: Context) -> str:
    """
    Forecast, in words or as one JSON object.

    Raises:
        UnreachableError: If there is no store.
        UsageError: If there is no such cohort or species, or no temperature for the
            one cohort that was asked for.
        RefusedError: If that cohort has ended, or cannot be forecast.
    """
    if context.state is None:
        raise UnreachableError(
            "no store: set REARING_STATE to the state directory of the daemon"
        )
    reader = Reader.open(context.state)
    configuration = load(context.config)
    now = clock_from_environment().now()
    houses = [] if asked.published else [h.told for h in kept(context.state)[0]]
    with reader.snapshot() as store:
        found = Known()
        if not asked.published:
            found = known(store, configuration, houses, now=now)
        made = forecaster(
            store,
            configuration,
            now=now,
            stated=Assumptions(asked.set_point_c, asked.spread_c),
            learned=found.requirements,
        )
        chosen = _chosen(asked, made)
        works = [made.cohort(cohort) for cohort in chosen]
        shows: list[ShowForecast] = []
        if asked.cohort is not None:
            _refuse_trouble(works[0])
        else:
            shows = list(_shows(asked, made, works, found.survival))
    if asked.json:
        return _json(made, works, shows)
    return "\n".join(_lines(asked, made, works, shows)).rstrip()


def _chosen(asked: Asked, made: Forecaster) -> Sequence[Cohort]:
    """
    Find the cohorts that were asked for, by species, stage and id.

    Raises:
        UsageError: If there is no such cohort or species.
        RefusedError: If the cohort has ended.
    """
    living = {str(c.id): c for c in made.house.living()}
    if asked.species is not None and asked.species not in made.library.species:
        known = sorted(made.library.species)
        raise UsageError(f"--species: {unknown('species', asked.species, known)}")
    if asked.cohort is not None:
        found = living.get(asked.cohort)
        if found is None:
            if asked.cohort in map(str, made.house.cohorts):
                raise RefusedError(f"cohort {asked.cohort} has ended")
            known = sorted(living, key=int)
            raise UsageError(f"--cohort: {unknown('cohort', asked.cohort, known)}")
        if asked.species not in (None, found.species):
            raise UsageError(
                f"--species: cohort {found.id} is of {found.species}, not of"
                f" {asked.species}: leave one of them out"
            )
        return [found]
    every = [c for c in living.values() if asked.species in (None, c.species)]
    return sorted(every, key=lambda c: _order(c, made))


def _order(cohort: Cohort, made: Forecaster) -> tuple[str, int, int]:
    species = made.library.species.get(cohort.species)
    stages = [s.id for s in species.stages] if species else []
    number = stages.index(cohort.stage) if cohort.stage in stages else len(stages)
    return species_words(cohort.species, made.library), number, cohort.id


def _refuse_trouble(work: Worked) -> None:
    trouble, number = work.forecast.trouble, work.forecast.cohort
    if trouble == NO_TEMPERATURE:
        raise UsageError(f"cohort {number}: {trouble}")
    if trouble:
        raise RefusedError(f"cohort {number}: {trouble}")


def _shows(
    asked: Asked,
    made: Forecaster,
    works: Sequence[Worked],
    survived: Mapping[str, SurvivalFigure],
) -> Iterator[ShowForecast]:
    for each in dict.fromkeys(work.forecast.species for work in works):
        species = made.library.species.get(each)
        if species is not None:
            yield _show(asked, made, works, species, survived.get(each))


def _show(
    asked: Asked,
    made: Forecaster,
    works: Sequence[Worked],
    species: Species,
    survival: SurvivalFigure | None,
) -> ShowForecast:
    """Look as far ahead as asked, else until eggs laid now are adults."""
    return show(
        made,
        works,
        species,
        weeks=asked.weeks or horizon_weeks(lead_of(made, species)),
        hold_back=asked.hold_back,
        zone=ZoneInfo(made.site.site.time_zone),
        survival=survival,
    )


def horizon_weeks(lead: Lead | None) -> int:
    """So many weeks that an egg laid now is an adult in them, with two months left."""
    if lead is None:
        return WEEKS
    weeks = math.ceil(min(lead.p90_days, MOST_WEEKS * 7.0) / 7) + SPARE_WEEKS
    return min(max(weeks, WEEKS), MOST_WEEKS)


def _json(
    made: Forecaster, works: Iterable[Worked], shows: Iterable[ShowForecast]
) -> str:
    told = {
        "time": iso(made.now),
        "time_zone": made.site.site.time_zone,
        "set_point": made.stated.set_point_c,
        "spread": made.stated.spread_c,
        "cohorts": [work.forecast for work in works],
        "show": list(shows),
    }
    # as plain values: instants in UTC, days as YYYY-MM-DD
    plain = msgspec.json.decode(msgspec.json.encode(told))
    return json.dumps(plain, ensure_ascii=False, allow_nan=False)


def _lines(
    asked: Asked,
    made: Forecaster,
    works: Sequence[Worked],
    shows: Sequence[ShowForecast],
) -> Iterator[str]:
    zone = ZoneInfo(made.site.site.time_zone)
    calendar, told = Calendar(made.now, zone), _told(made, works)
    yield f"{made.site.site.name}, {made.now.astimezone(zone):%a %d %b %H:%M}"
    if not told:
        whose = f" of {asked.species}" if asked.species else ""
        yield f"No cohort{whose} is followed."
        return
    yield ""
    show_words = ShowWords(calendar)
    if asked.whole_house:
        yield from Overview(calendar, show_words).lines(told, shows)
        return
    closely = CohortWords(
        calendar,
        degree_days=asked.degree_days,
        closely=asked.cohort is not None,
    )
    found = {show.species: show for show in shows}
    for species, group in groupby(told, key=lambda each: each.cohort.species):
        yield from closely.species(list(group))
        if species in found:
            yield from show_words.whole(found[species])
            yield ""


def _told(made: Forecaster, works: Iterable[Worked]) -> list[Told]:
    found = []
    for work in works:
        cohort = made.house.cohorts[work.forecast.cohort]
        name = species_words(cohort.species, made.library)
        found.append(Told(cohort, name, work.forecast))
    return found
