"""The answer to ``forecast``, from the store alone: beside the daemon or without it."""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from zoneinfo import ZoneInfo

import msgspec

from monitor.accounts.forecast import Forecaster, Worked
from monitor.accounts.forecast_gather import forecaster
from monitor.accounts.forecast_show import ShowForecast, SurvivalFigure, show
from monitor.accounts.forecast_values import NO_TEMPERATURE
from monitor.accounts.forecast_warmth import Assumptions
from monitor.accounts.known import Known, known
from monitor.cli.command import Context
from monitor.cli.forecast_command import Asked
from monitor.cli.forecast_words import Words
from monitor.clock import clock_from_environment
from monitor.desk.said import iso, species_words, unknown
from monitor.errors import RefusedError, UnreachableError, UsageError
from monitor.site.house import Cohort
from monitor.site.load import load
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
    return "\n".join(_lines(asked, made, works, shows))


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
    zone = ZoneInfo(made.site.site.time_zone)
    for each in dict.fromkeys(work.forecast.species for work in works):
        species = made.library.species.get(each)
        if species is not None:
            yield show(
                made,
                works,
                species,
                weeks=asked.weeks,
                hold_back=asked.hold_back,
                zone=zone,
                survival=survived.get(each),
            )


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
    shows: Iterable[ShowForecast],
) -> Iterator[str]:
    zone = ZoneInfo(made.site.site.time_zone)
    words = Words(
        made.now,
        zone,
        degree_days=asked.degree_days,
        every=asked.cohort is not None,
    )
    yield f"{made.site.site.name}, {made.now.astimezone(zone):%a %d %b %H:%M}"
    if not works:
        yield "No cohort is followed."
    for work in works:
        cohort = made.house.cohorts[work.forecast.cohort]
        name = species_words(cohort.species, made.library)
        yield ""
        yield from words.cohort(cohort, name, work.forecast)
    for told in shows:
        yield ""
        yield from words.show(told)
