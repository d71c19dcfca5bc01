"""``calc rate``: the rate of development at a temperature by a published model."""

import argparse
import json
from collections.abc import Iterable

from monitor.cli.calc_input import number, parse_number, table
from monitor.cli.command import Command, Context
from monitor.errors import UsageError
from monitor.science.rate_models import MODELS, RateModel, model

_NAME = "calc rate"


def _arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--model", metavar="NAME", help="one of those of --models")
    parser.add_argument(
        "--parameter",
        action="extend",
        nargs="+",
        default=[],
        metavar="NAME=NUMBER",
        help="every parameter of the model, in one option or in several",
    )
    parser.add_argument("--temperature", type=number, metavar="C", help="in °C")
    parser.add_argument(
        "--models",
        action="store_true",
        help="list the models with their parameters and equations, and nothing else",
    )


def _run(arguments: argparse.Namespace, _context: Context) -> int:
    if arguments.models:
        given = (arguments.model, arguments.temperature, arguments.parameter or None)
        if any(each is not None for each in given):
            raise UsageError(f"{_NAME}: --models stands alone")
        _list(as_json=arguments.json)
        return 0
    lacking = [n for n in ("model", "temperature") if getattr(arguments, n) is None]
    if lacking:
        options = " and ".join(f"--{name}" for name in lacking)
        raise UsageError(f"{_NAME}: give {options} too; --models lists the models")
    temperature = arguments.temperature
    try:
        rate = model(arguments.model).fitted(_parameters(arguments.parameter))
        found = rate.at(temperature)
    except ValueError as error:
        raise UsageError(f"{_NAME}: {error}") from error
    if arguments.json:
        print(json.dumps({"rate_per_day": found}))
        return 0
    rows = [("rate", f"{found:.6g}", "of the stage a day")]
    if found > 0:
        rows.append(
            ("duration", f"{1 / found:.4g}", f"d at a steady {temperature:g} °C")
        )
    print(table(rows))
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
        print(json.dumps({"models": [_described(each) for each in MODELS.values()]}))
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
        "rate of development at a temperature by a published model",
        "calc rate --model briere-1 --parameter a=2e-5 T0=9.6 Tm=36.6 --temperature 25",
        _arguments,
        _run,
    ),
)
