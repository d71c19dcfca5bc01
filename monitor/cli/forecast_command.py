"""``forecast``: when animals reach their later stages, and adults for the show."""

import argparse
import json
import math
from collections.abc import Iterable, Iterator, Sequence
from zoneinfo import ZoneInfo

import msgspec

from monitor.accounts.forecast import Forecaster, Worked
from monitor.accounts.forecast_gather import forecaster
from monitor.accounts.forecast_show import ShowForecast, show
from monitor.accounts.forecast_values import NO_TEMPERATURE
from monitor.accounts.forecast_warmth import Assumptions
from monitor.cli.command import Command, Context
from monitor.cli.forecast_words import Words
from monitor.clock import clock_from_environment
from monitor.desk.said import iso, species_words, unknown
from monitor.errors import RefusedError, UnreachableError, UsageError
from monitor.site.house import Cohort
from monitor.site.load import Configuration, load
from monitor.site.sections.development import COLDEST, HOTTEST
from monitor.site.species_file import Species
from monitor.store.reader import Reader

WEEKS, MOST_WEEKS = 26, 520
MOST_HELD = 10_000
WIDEST = 10.0
"""A probe further from its animals than this tells nothing of them. [K]"""


def _arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--cohort", metavar="ID", help="only this one, stage by stage")
    parser.add_argument("--species", metavar="ID", help="only cohorts of this species")
    parser.add_argument(
        "--weeks",
        metavar="N",
        default=str(WEEKS),
        help=f"of adults for the show (default {WEEKS})",
    )
    parser.add_argument(
        "--set-point",
        metavar="T",
        help="take the future at this temperature, in degC, not as the last 28 days",
    )
    parser.add_argument(
        "--spread",
        metavar="K",
        default="0",
        help="standard deviation of tubs about their probe or the set point, in K",
    )
    parser.add_argument(
        "--hold-back",
        metavar="N",
        default="0",
        help="adults of each sex kept for breeding",
    )
    parser.add_argument(
        "--degree-days",
        action="store_true",
        help="tell them where the threshold is assumed, too",
    )


def _run(arguments: argparse.Namespace, context: Context) -> int:
    stated = _stated(arguments)
    weeks = _whole("--weeks", arguments.weeks, 1, MOST_WEEKS)
    hold_back = _whole("--hold-back", arguments.hold_back, 0, MOST_HELD)
    if context.state is None:
        raise UnreachableError(
            "no store: set REARING_STATE to the state directory of the daemon"
        )
    reader = Reader.open(context.state)
    configuration = load(context.config)
    now = clock_from_environment().now()
    with reader.snapshot() as store:
        made = forecaster(
            store, configuration.site, configuration.library, now=now, stated=stated
        )
        chosen = _chosen(arguments, made)
        works = [made.cohort(cohort) for cohort in chosen]
        if arguments.cohort is not None:
            _refuse_trouble(works[0])
            shows: list[ShowForecast] = []
        else:
            zone = ZoneInfo(configuration.site.site.time_zone)
            shows = [
                show(made, works, s, weeks=weeks, hold_back=hold_back, zone=zone)
                for s in _species_of(chosen, configuration)
            ]
    if arguments.json:
        print(_json(made, works, shows))
    else:
        print("\n".join(_lines(arguments, made, works, shows)))
    return 0


def _stated(arguments: argparse.Namespace) -> Assumptions:
    set_point = None
    if arguments.set_point is not None:
        set_point = _number("--set-point", arguments.set_point)
        if not COLDEST <= set_point <= HOTTEST:
            raise UsageError(
                f"--set-point: {set_point:g} lies outside {COLDEST:g} to {HOTTEST:g}"
                " degC: is it in degF?"
            )
    spread = _number("--spread", arguments.spread)
    if not 0 <= spread <= WIDEST:
        raise UsageError(f"--spread: {spread:g} lies outside 0 to {WIDEST:g} K")
    return Assumptions(set_point, spread)


def _number(name: str, text: str) -> float:
    try:
        number = float(text)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise UsageError(f"{name}: {text!r} is no number: write it as 24 or 24.5")
    return number


def _whole(name: str, text: str, least: int, most: int) -> int:
    # what has more digits than any of these is none of them
    digits = text.isascii() and text.isdecimal() and len(text) <= len(str(most))
    if not digits or not least <= int(text) <= most:
        raise UsageError(f"{name}: {text!r} is no whole number from {least} to {most}")
    return int(text)


def _chosen(arguments: argparse.Namespace, made: Forecaster) -> Sequence[Cohort]:
    """
    Find the cohorts that were asked for, by species, stage and id.

    Raises:
        UsageError: If there is no such cohort or species.
        RefusedError: If the cohort has ended.
    """
    living = {str(c.id): c for c in made.house.living()}
    if arguments.species is not None and arguments.species not in made.library.species:
        known = sorted(made.library.species)
        raise UsageError(f"--species: {unknown('species', arguments.species, known)}")
    if arguments.cohort is not None:
        found = living.get(arguments.cohort)
        if found is None:
            if arguments.cohort in map(str, made.house.cohorts):
                raise RefusedError(f"cohort {arguments.cohort} has ended")
            known = sorted(living, key=int)
            raise UsageError(f"--cohort: {unknown('cohort', arguments.cohort, known)}")
        if arguments.species not in (None, found.species):
            raise UsageError(
                f"--species: cohort {found.id} is of {found.species}, not of"
                f" {arguments.species}: leave one of them out"
            )
        return [found]
    asked = [c for c in living.values() if arguments.species in (None, c.species)]
    return sorted(asked, key=lambda c: _order(c, made))


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


def _species_of(
    cohorts: Iterable[Cohort], configuration: Configuration
) -> Iterator[Species]:
    for each in dict.fromkeys(cohort.species for cohort in cohorts):
        found = configuration.library.species.get(each)
        if found is not None:
            yield found


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
    arguments: argparse.Namespace,
    made: Forecaster,
    works: Sequence[Worked],
    shows: Iterable[ShowForecast],
) -> Iterator[str]:
    zone = ZoneInfo(made.site.site.time_zone)
    words = Words(
        made.now,
        zone,
        degree_days=arguments.degree_days,
        every=arguments.cohort is not None,
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


COMMANDS: tuple[Command, ...] = (
    Command(
        words=("forecast",),
        help="show when animals reach their later stages, and adults for the show",
        example="forecast --species mecynorhina-torquata --set-point 24 --hold-back 2",
        arguments=_arguments,
        run=_run,
    ),
)
"""The forecast, from the store alone."""
