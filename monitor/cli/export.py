"""``export``: records out of the store, for other programs."""

import argparse
import csv
import json
import sys
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from itertools import chain
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from monitor.cli.command import Command, Context
from monitor.cli.journal import WHEN
from monitor.clock import clock_from_environment, from_us
from monitor.desk.instants import parse_instant
from monitor.desk.said import iso, unknown
from monitor.errors import ConfigError, UnreachableError, UsageError
from monitor.site.load import load
from monitor.site.words import Quantity
from monitor.store.reader import Reader

if TYPE_CHECKING:
    from monitor.accounts.instruments import Instruments

Row = tuple[str, str, str, str, int]
FIRST, LAST = datetime(1900, 1, 1, tzinfo=UTC), datetime(9000, 1, 1, tzinfo=UTC)
"""Nothing is measured before or after; checks look beyond what is asked for."""

COLUMNS = ("sensor", "quantity", "time", "value", "flag")


def _arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--sensor", metavar="ID", help="only of this sensor")
    parser.add_argument("--quantity", help="only of this quantity")
    parser.add_argument("--from", metavar="TIME", help=f"from this on: {WHEN}")
    parser.add_argument(
        "--to", metavar="TIME", help="to before this; a day is its start"
    )


def _run(arguments: argparse.Namespace, context: Context) -> int:
    """
    Write CSV to stdout, or with --json one object with a list of rows.

    Values are written so that reading them gives the same number again. Flags are
    what the checks in force say of each reading, whenever it came; where no
    configuration can be read, known failure values alone, for then most of all one
    saves data. The store is read beside the running daemon, which has nothing that is
    not in it.
    """
    if context.state is None:
        raise UnreachableError(
            "no store: set REARING_STATE to the state directory of the daemon"
        )
    reader = Reader.open(context.state)
    start, end = (_instant(arguments, name, context) for name in ("from", "to"))
    if start is not None and end is not None and not start < end:
        raise UsageError(f"--from {iso(start)} is not before --to {iso(end)}")
    known = reader.series()
    sensor, quantity = arguments.sensor, arguments.quantity
    if sensor is not None and sensor not in {row.sensor for row in known}:
        raise UsageError(
            f"--sensor: {unknown('sensor', sensor, sorted({r.sensor for r in known}))}"
        )
    if quantity is not None and quantity not in list(Quantity):
        names = [q.value for q in Quantity]
        raise UsageError(f"--quantity: {unknown('quantity', quantity, names)}")
    span = _within(start or FIRST), _within(end or LAST)
    # before the first line: what is wrong must not leave half a file
    rows = _rows(reader, _instruments(context), sensor, quantity, span)
    if arguments.json:
        _write_json(rows)
    else:
        csv.writer(sys.stdout, lineterminator="\n").writerows(chain((COLUMNS,), rows))
    return 0


def _within(at: datetime) -> datetime:
    return min(max(at, FIRST), LAST)


def _instruments(context: Context) -> "Instruments":
    """Judge by the checks in force, or without a configuration by none of them."""
    # NumPy is loaded only where it is needed
    from monitor.accounts.instruments import Instruments  # noqa: PLC0415

    try:
        configuration = load(context.config)
    except ConfigError as error:
        why = " ".join(str(error).split())
        print(
            f"Warning: flags tell known failure values alone, not your checks: {why}",
            file=sys.stderr,
        )
        return Instruments(None)
    return Instruments(configuration.site, (), configuration.checks)


def _rows(
    reader: Reader,
    instruments: "Instruments",
    sensor: str | None,
    quantity: str | None,
    span: tuple[datetime, datetime],
) -> Iterator[Row]:
    """Readings with their flags, ordered by sensor, quantity and time."""
    for series in sorted((r.sensor, r.quantity) for r in reader.series()):
        if sensor in {None, series[0]} and quantity in {None, series[1]}:
            times, values, flags = instruments.flagged(
                reader.readings, series[0], Quantity(series[1]), *span
            )
            for ts_us, value, flag in zip(
                times.tolist(), values.tolist(), flags.tolist(), strict=True
            ):
                yield *series, iso(from_us(ts_us)), repr(value), flag


def _instant(
    arguments: argparse.Namespace, name: str, context: Context
) -> datetime | None:
    """The instant of an argument; the zone of the site only where it is needed."""
    text = getattr(arguments, name)
    if text is None:
        return None
    zone = ZoneInfo("UTC")
    try:
        local = datetime.fromisoformat(text).tzinfo is None
    except ValueError:
        local = True
    if local:
        zone = _zone(name, text, context)
    now = clock_from_environment().now()
    try:
        return parse_instant(text, zone=zone, now=now)
    except UsageError as error:
        raise UsageError(f"--{name}: {error}") from None


def _zone(name: str, text: str, context: Context) -> ZoneInfo:
    try:
        return ZoneInfo(load(context.config).site.site.time_zone)
    except ConfigError as error:
        raise ConfigError(
            f"--{name} {text}: the time zone of the site is not known; give the time"
            f" with an offset, such as 2026-03-01T14:00:00Z, or mend this: {error}"
        ) from None


def _write_json(rows: Iterable[Row]) -> None:
    # one series at a time: not all of them need fit into memory together
    print('{"readings": [', end="")
    for number, (sensor, quantity, time, value, flag) in enumerate(rows):
        names = f'"sensor": {json.dumps(sensor)}, "quantity": {json.dumps(quantity)}'
        row = f'{{{names}, "time": "{time}", "value": {value}, "flag": {flag}}}'
        print(",\n" if number else "\n", row, sep="", end="")
    print("\n]}")


COMMANDS: tuple[Command, ...] = (
    Command(
        words=("export", "readings"),
        help="write readings as CSV: sensor, quantity, time (UTC), value, flag",
        example=(
            "export readings --sensor warm-room-air --from 2026-03-01 --to 2026-03-02"
        ),
        arguments=_arguments,
        run=_run,
    ),
)
