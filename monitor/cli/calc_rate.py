"""``calc rate``: by a published model, at a temperature or summed over readings."""

import argparse
from collections.abc import Iterable

from monitor.cli.calc_input import (
    dumps,
    number,
    parse_number,
    table,
    take_negative_numbers,
)
from monitor.cli.calc_limits import HOTTEST_C, SHORTEST_D, check_option
from monitor.cli.calc_readings import read_readings
from monitor.cli.calc_sums import (
    DEFAULT_GAP,
    add_readings,
    print_json,
    print_table,
    said_of_time,
)
from monitor.cli.command import Command, Context
from monitor.errors import UsageError
from monitor.science.rate_models import MODELS, FittedRate, RateModel, model
from monitor.science.summation import develop, with_missing

_NAME = "calc rate"


def _arguments(parser: argparse.ArgumentParser) -> None:
    take_negative_numbers(parser)
    parser.add_argument("--model", metavar="NAME", help="one of those of --models")
    parser.add_argument(
        "--parameter",
        action="extend",
        nargs="+",
        default=[],
        metavar="NAME=NUMBER",
        help="every parameter of the model, in one option or in several",
    )
    parser.add_argument(
        "--temperature", type=number, metavar="C", help="in °C, instead of readings"
    )
    add_readings(parser)
    parser.add_argument(
        "--models",
        action="store_true",
        help="list the models with their parameters and equations, and nothing else",
    )


def _run(arguments: argparse.Namespace, _context: Context) -> int:
    of_readings = arguments.readings is not None
    given = {
        name
        for name in ("model", "temperature", "readings", "max_gap", "parameter")
        if getattr(arguments, name) not in (None, [])
    }
    if arguments.models:
        if given:
            raise UsageError(f"{_NAME}: --models stands alone")
        _list(as_json=arguments.json)
        return 0
    if {"temperature", "readings"} <= given:
        raise UsageError(f"{_NAME}: give --temperature or --readings, not both")
    if "max_gap" in given and not of_readings:
        raise UsageError(f"{_NAME}: --max-gap belongs to --readings")
    lacking = [] if "model" in given else ["--model"]
    if not given & {"temperature", "readings"}:
        lacking.append("--temperature or --readings")
    if lacking:
        options = ", and ".join(lacking)
        raise UsageError(f"{_NAME}: give {options}; --models lists the models")
    try:
        rate = model(arguments.model).fitted(_parameters(arguments.parameter))
        _check_pace(rate)
        if not of_readings:
            check_option("--temperature", arguments.temperature)
    except ValueError as error:
        raise UsageError(f"{_NAME}: {error}") from error
    if of_readings:
        return _run_readings(arguments, rate)
    return _run_temperature(arguments, rate)


def _check_pace(rate: FittedRate) -> None:
    """Refuse a stage that is over in no time, as by a scale printed in 1e-4."""
    top = rate.at(HOTTEST_C) if rate.peak is None else rate.peak
    if top * SHORTEST_D > 1:
        raise ValueError(
            f"{rate.model.name}: the highest rate is {top:.3g} a day, and no stage is"
            f" over in less than {SHORTEST_D:g} d: look for a wrong power of ten"
        )


def _run_temperature(arguments: argparse.Namespace, rate: FittedRate) -> int:
    found = rate.at(arguments.temperature)
    if arguments.json:
        print(dumps({"rate_per_day": found}))
        return 0
    rows = [("rate", f"{found:.6g}", "of the stage a day")]
    if found > 0:
        steady = f"d at a steady {arguments.temperature:g} °C"
        rows.append(("duration", f"{1 / found:.4g}", steady))
    print(table(rows))
    print(f"{rate.model.equation}\n{rate.model.reference}")
    return 0


def _run_readings(arguments: argparse.Namespace, rate: FittedRate) -> int:
    max_gap = arguments.max_gap or DEFAULT_GAP
    times, values = read_readings(arguments.readings)
    stage = develop(times, values, rate, max_gap=max_gap)
    bounds = with_missing(stage, rate)
    if arguments.json:
        print_json("development", stage.fraction, bounds)
        return 0
    print_table(stage.fraction, bounds, unit="% of the stage", places=1, factor=100)
    if bounds.low >= 1:
        print("the stage was over before the last reading: a whole one is 100 %")
    print(said_of_time(stage.first_us, stage.last_us, max_gap))
    print(f"{rate.model.equation}\n{rate.model.reference}")
    return 0


def _parameters(given: Iterable[str]) -> dict[str, float]:
    found: dict[str, float] = {}
    for text in given:
        name, equals, figure = text.partition("=")
        if not equals:
            raise ValueError(f"--parameter {text!r} is no NAME=NUMBER")
        if name in found:
            raise ValueError(f"--parameter {name} is given twice")
        try:
            found[name] = parse_number(figure)
        except ValueError as error:
            raise ValueError(f"--parameter {name}: {error}") from None
    return found


def _list(*, as_json: bool) -> None:
    if as_json:
        print(dumps({"models": [_described(each) for each in MODELS.values()]}))
        return
    print("\n\n".join("\n".join(_said(each)) for each in MODELS.values()))


def _described(each: RateModel) -> dict[str, object]:
    return {
        "name": each.name,
        "parameters": [
            {"name": p.name, "unit": p.unit, "meaning": p.meaning}
            for p in each.parameters
        ],
        "equation": each.equation,
        "outside": each.outside,
        "reference": each.reference,
    }


def _said(each: RateModel) -> Iterable[str]:
    yield each.name
    yield f"  {each.equation}"
    for p in each.parameters:
        yield f"  {p.name:<6} {p.meaning} [{p.unit}]"
    yield f"  {each.outside}"
    yield f"  {each.reference}"


COMMANDS: tuple[Command, ...] = (
    Command(
        ("calc", "rate"),
        "rate of development by a published model, or its sum over readings",
        "calc rate --model briere-1 --parameter a=2e-5 T0=9.6 Tm=36.6 --temperature 25",
        _arguments,
        _run,
    ),
)
