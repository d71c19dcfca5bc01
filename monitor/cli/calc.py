"""``calc``: what the program computes, on numbers and files given to it."""

import argparse
from dataclasses import asdict

from monitor.cli import calc_degree_days, calc_quality, calc_rate
from monitor.cli.calc_input import dumps, number, table, take_negative_numbers
from monitor.cli.command import Command, Context
from monitor.errors import UsageError
from monitor.science import air


def _air_arguments(parser: argparse.ArgumentParser) -> None:
    take_negative_numbers(parser)
    parser.add_argument(
        "--temperature", type=number, required=True, metavar="C", help="in °C"
    )
    parser.add_argument(
        "--humidity", type=number, required=True, metavar="RH", help="relative, in %%"
    )
    parser.add_argument(
        "--pressure",
        type=number,
        default=air.STANDARD_PA,
        metavar="PA",
        help="of the air, in pascal (else %(default)g)",
    )


def _run_air(arguments: argparse.Namespace, _context: Context) -> int:
    try:
        state = air.describe(
            arguments.temperature, arguments.humidity, pressure_pa=arguments.pressure
        )
    except ValueError as error:
        raise UsageError(f"calc air: {error}") from error
    if arguments.json:
        print(dumps(asdict(state)))
        return 0
    print(
        table(
            [
                (
                    "saturation vapour pressure",
                    f"{state.saturation_vapour_pressure_pa:.1f}",
                    "Pa",
                ),
                (
                    "vapour pressure deficit",
                    f"{state.vapour_pressure_deficit_pa:.1f}",
                    "Pa",
                ),
                ("dew point", f"{state.dew_point_c:.2f}", "°C, over water"),
                ("absolute humidity", f"{state.absolute_humidity_g_m3:.2f}", "g/m³"),
                ("wet bulb", f"{state.wet_bulb_c:.2f}", "°C, over water"),
            ]
        )
    )
    return 0


COMMANDS: tuple[Command, ...] = (
    Command(
        ("calc", "air"),
        "vapour pressure deficit, dew point, absolute humidity and wet bulb of air",
        "calc air --temperature 25 --humidity 80",
        _air_arguments,
        _run_air,
    ),
    *calc_degree_days.COMMANDS,
    *calc_rate.COMMANDS,
    *calc_quality.COMMANDS,
)
