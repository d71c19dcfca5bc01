"""``forecast``: when animals reach their later stages, and adults for the show."""

import argparse
import math

import msgspec

from monitor.cli.command import Command, Context
from monitor.errors import UsageError
from monitor.site.sections.development import COLDEST, HOTTEST

WEEKS, MOST_WEEKS = 26, 520
SPARE_WEEKS = 8
"""Weeks in which a hole can still be filled by eggs laid now: own choice."""

MOST_HELD = 10_000
WIDEST = 10.0
"""A probe further from its animals than this tells nothing of them. [K]"""


class Asked(msgspec.Struct, frozen=True, kw_only=True):
    """
    What is asked for.

    Attributes:
        cohort: Only this one.
        species: Only cohorts of this one.
        every: Every cohort by itself.
        weeks: Of adults for the show; None for as many as it takes from the egg.
        set_point_c: Stands for the future of every place. [degC]
        spread_c: Of tubs about their probe or the set point; None for what surveys
            of the places say. [K]
        hold_back: Adults of each sex kept for breeding.
        degree_days: Tell them, and what each stage requires.
        published: Go by the species files alone.
        json: For programs.
    """

    cohort: str | None
    species: str | None
    every: bool
    weeks: int | None
    set_point_c: float | None
    spread_c: float | None
    hold_back: int
    degree_days: bool
    published: bool
    json: bool

    @property
    def whole_house(self) -> bool:
        """Like cohorts are told together, so that a house fits a screen."""
        one = self.cohort is not None or self.species is not None
        return not (one or self.every or self.degree_days)


def _arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--cohort", metavar="ID", help="only this one, stage by stage")
    parser.add_argument(
        "--species", metavar="ID", help="cohorts of this species, one by one"
    )
    parser.add_argument(
        "--every", action="store_true", help="every cohort of the house, one by one"
    )
    parser.add_argument(
        "--weeks",
        metavar="N",
        help="of adults for the show (default: as many as it takes from egg to adult"
        f" and {SPARE_WEEKS} more, at least {WEEKS})",
    )
    parser.add_argument(
        "--set-point",
        metavar="T",
        help="take the future at this temperature, in degC, not as the last 28 days",
    )
    parser.add_argument(
        "--spread",
        metavar="K",
        help="standard deviation of tubs about their probe or the set point, in K"
        " (default: as surveyed, else as assumed; none at a set point)",
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
        help="tell them, and what each stage requires, above which threshold, by whom",
    )
    parser.add_argument(
        "--published",
        action="store_true",
        help="go by the species files alone, not by what was learned",
    )


def _run(arguments: argparse.Namespace, context: Context) -> int:
    asked = Asked(
        cohort=arguments.cohort,
        species=arguments.species,
        every=arguments.every,
        weeks=(
            None
            if arguments.weeks is None
            else _whole("--weeks", arguments.weeks, 1, MOST_WEEKS)
        ),
        set_point_c=_set_point(arguments.set_point),
        spread_c=_spread(arguments.spread),
        hold_back=_whole("--hold-back", arguments.hold_back, 0, MOST_HELD),
        degree_days=arguments.degree_days,
        published=arguments.published,
        json=arguments.json,
    )
    # NumPy is loaded only where it is needed
    from monitor.cli.forecast_answer import answer  # noqa: PLC0415

    print(answer(asked, context))
    return 0


def _set_point(text: str | None) -> float | None:
    if text is None:
        return None
    set_point = _number("--set-point", text)
    if not COLDEST <= set_point <= HOTTEST:
        raise UsageError(
            f"--set-point: {set_point:g} lies outside {COLDEST:g} to {HOTTEST:g}"
            " degC: is it in degF?"
        )
    return set_point


def _spread(text: str | None) -> float | None:
    if text is None:
        return None
    spread = _number("--spread", text)
    if not 0 <= spread <= WIDEST:
        raise UsageError(f"--spread: {spread:g} lies outside 0 to {WIDEST:g} K")
    return spread


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


COMMANDS: tuple[Command, ...] = (
    Command(
        words=("forecast",),
        help="show when animals reach their later stages, and adults for the show",
        example="forecast --species dynastes-hercules --set-point 24 --hold-back 2",
        arguments=_arguments,
        run=_run,
    ),
)
"""The forecast, from the store alone."""
