"""``figures``: what the house learned, and what it exchanges with other houses."""

import argparse
import json
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from monitor.cli.command import Command, Context
from monitor.clock import clock_from_environment
from monitor.desk.said import iso, unknown
from monitor.errors import UnreachableError, UsageError
from monitor.site.figures import HouseFigures
from monitor.site.house import fold
from monitor.site.load import load
from monitor.site.species_file import Library
from monitor.store.figures import (
    FOLDER,
    Signed,
    keep,
    kept,
    own_fingerprint,
    parse_fingerprint,
    raw_of,
    read,
    sign,
    spelled,
    verified,
)
from monitor.store.queries import Queries
from monitor.store.reader import Reader

if TYPE_CHECKING:
    from monitor.accounts.learning import Learned
    from monitor.accounts.observing import Observation
    from monitor.accounts.survival import LearnedSurvival


class _Seen:
    """A state of the store and all that the cohorts in it needed."""

    def __init__(self, context: Context) -> None:
        self.state = _state(context)
        self.now = clock_from_environment().now()
        self.configuration = load(context.config)

    def observations(self, store: Queries) -> "tuple[Observation, ...]":
        # NumPy is loaded only where it is needed
        from monitor.accounts.instruments import Instruments  # noqa: PLC0415
        from monitor.accounts.observing import Observer  # noqa: PLC0415

        declared, entries = self.configuration, store.entries()
        observer = Observer(
            Instruments(declared.site, entries, declared.checks),
            declared.library,
            fold(declared.site, entries, until=self.now),
            store.readings,
            store.account_days,
            now=self.now,
        )
        return observer.all(entries)

    @contextmanager
    def store(self) -> Iterator[Queries]:
        """The store as it is now."""
        with Reader.open(self.state).snapshot() as store:
            yield store


def _learned_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--species", metavar="ID", help="only of this species")


def _learned(arguments: argparse.Namespace, context: Context) -> int:
    from monitor.accounts.learning import learned  # noqa: PLC0415
    from monitor.accounts.survival import survivals  # noqa: PLC0415

    seen = _Seen(context)
    library, wanted = seen.configuration.library, arguments.species
    if wanted is not None and wanted not in library.species:
        known = sorted(library.species)
        raise UsageError(f"--species: {unknown('species', wanted, known)}")
    houses, bad = kept(seen.state)
    with seen.store() as store:
        observations = seen.observations(store)
        entries = store.entries()
    house = fold(seen.configuration.site, entries, until=seen.now)
    others = [each.told for each in houses]
    told = learned(observations, library, others)
    lives = survivals(house, library, entries, others)
    found = [each for each in told if wanted in {None, each.species}]
    lived = [each for each in lives if wanted in {None, each.species}]
    used = [_judged(other, library).count(None) for other in others]
    for line in bad:
        print(f"Warning: {line}", file=sys.stderr)
    if arguments.json:
        _print_learned(seen.now, found, lived, houses)
        return 0
    _show_learned(found, lived, zip(houses, used, strict=True))
    return 0


def _print_learned(
    now: datetime,
    found: Sequence[msgspec.Struct],
    lived: Sequence[msgspec.Struct],
    houses: Sequence[Signed],
) -> None:
    plain = {
        "time": iso(now),
        "learned": msgspec.to_builtins(found),
        "survival": msgspec.to_builtins(lived),
        "houses": [
            {
                "house": each.told.house,
                "made_on": each.told.made_on.isoformat(),
                "fingerprint": each.fingerprint,
            }
            for each in houses
        ],
    }
    print(json.dumps(plain, ensure_ascii=False, allow_nan=False))


def _show_learned(
    found: "Sequence[Learned]",
    lived: "Sequence[LearnedSurvival]",
    houses: Iterator[tuple[Signed, int]],
) -> None:
    from monitor.cli.figures_words import (  # noqa: PLC0415
        house_line,
        learned_lines,
        survival_lines,
    )

    blocks = [list(learned_lines(each)) for each in found]
    blocks += [list(survival_lines(each)) for each in lived]
    lines = [house_line(signed, used) for signed, used in houses]
    if lines:
        blocks.append(["Other houses:", *(f"  {line}" for line in lines)])
    if not blocks:
        blocks = [["Nothing is learned yet: no change of stage was noted."]]
    print("\n\n".join("\n".join(block) for block in blocks))


def _export_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--to", metavar="FILE", required=True, type=Path, help="a file that is not yet"
    )
    parser.add_argument(
        "--house",
        metavar="LABEL",
        required=True,
        help="what this house calls itself towards others",
    )


def _export(arguments: argparse.Namespace, context: Context) -> int:
    """
    Write what this house alone learned: no animals, no places, no counts of them.

    The library of species is only read.
    """
    from monitor.accounts.learning import house_figures  # noqa: PLC0415
    from monitor.accounts.survival import house_survival  # noqa: PLC0415

    seen = _Seen(context)
    path: Path = arguments.to
    if path.exists():
        raise UsageError(f"--to: {path} is there already: name another file")
    library = seen.configuration.library
    with seen.store() as store:
        observations, entries = seen.observations(store), store.entries()
    house = fold(seen.configuration.site, entries, until=seen.now)
    told = msgspec.structs.replace(
        house_figures(
            observations, library, house=arguments.house, made_on=seen.now.date()
        ),
        survival=house_survival(house, library, entries, observations),
    )
    if not told.count:
        raise UsageError(
            "there is nothing to tell yet: a figure needs two changes of stage of one"
            " species, stage and sex, or two cohorts of a species counted both as eggs"
            " and as adults (see `forecast learned`)"
        )
    try:
        raw, found = sign(seen.state, told)
    except ValueError as error:
        raise UsageError(f"--house: {error}") from None
    try:
        with path.open("xb") as file:
            file.write(raw)
    except OSError as exc:
        raise UsageError(f"--to: {path}: cannot be written ({exc.strerror})") from exc
    if arguments.json:
        said = {
            "file": str(path),
            "figures": len(told.figures),
            "survival": len(told.survival),
            "fingerprint": found,
        }
        print(json.dumps(said, ensure_ascii=False))
        return 0
    plural = "" if told.count == 1 else "s"
    print(
        f"{path}: {told.count} figure{plural} of {told.house},"
        f" {len(told.survival)} of them of survival."
    )
    print(f"Fingerprint, to read out to whoever gets it: {spelled(found)}")
    return 0


def _import_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", type=Path, help="of another house")
    parser.add_argument(
        "--trust",
        metavar="FINGERPRINT",
        help="of the house's key, as it told you by another way; once per house",
    )


def _import(arguments: argparse.Namespace, context: Context) -> int:
    state, path = _state(context), arguments.file
    configuration = load(context.config)
    raw = raw_of(path)
    signed = verified(raw, str(path))
    _check_trust(state, path, signed, arguments.trust)
    judged = _judged(signed.told, configuration.library)
    used = judged.count(None)
    unused = list(dict.fromkeys(why for why in judged if why is not None))
    if not used:
        raise UsageError(f"{path}: none of its figures counts here: {unused[0]}")
    keep(state, raw, signed)
    if arguments.json:
        said = {
            "house": signed.told.house,
            "fingerprint": signed.fingerprint,
            "used": used,
            "not_used": unused,
        }
        print(json.dumps(said, ensure_ascii=False))
        return 0
    print(
        f"{signed.told.house}, {signed.told.made_on}: {used} of"
        f" {signed.told.count} figures count here from now on; to forget them,"
        f" remove {FOLDER}/{signed.fingerprint}.json from the state directory."
    )
    for line in unused:
        print(f"Warning: not used: {line}", file=sys.stderr)
    return 0


def _check_trust(state: Path, path: Path, signed: Signed, trust: str | None) -> None:
    found = signed.fingerprint
    if found == own_fingerprint(state):
        raise UsageError(f"{path}: is of this house itself, which counts what it saw")
    if trust is not None and parse_fingerprint(trust) != found:
        raise UsageError(
            f"{path}: is signed by {spelled(found)}, not by the key that you trust:"
            " somebody else made it; ask the house for another copy"
        )
    before = state / FOLDER / f"{found}.json"
    if not before.exists():
        if trust is None:
            raise UsageError(
                f"{path}: nobody here knows the key {spelled(found)} yet: ask"
                f" {signed.told.house} for its fingerprint by another way, such as the"
                " telephone, and repeat with --trust FINGERPRINT"
            )
        return
    try:
        held = read(before)
    except UsageError:
        # what is kept is spoilt: the new one takes its place
        return
    if held.told.made_on > signed.told.made_on:
        raise UsageError(
            f"{path}: is of {signed.told.made_on}, older than what is kept of that"
            f" house, of {held.told.made_on}"
        )


def _judged(told: HouseFigures, library: Library) -> list[str | None]:
    """For each figure of both kinds why it does not count here; None where it does."""
    from monitor.accounts.learning import counts  # noqa: PLC0415
    from monitor.accounts.survival import survival_counts  # noqa: PLC0415

    return [
        *(counts(each, library) for each in told.figures),
        *(survival_counts(each, library) for each in told.survival),
    ]


def _state(context: Context) -> Path:
    if context.state is None:
        raise UnreachableError(
            "no store: set REARING_STATE to the state directory of the daemon"
        )
    return context.state


COMMANDS: tuple[Command, ...] = (
    Command(
        words=("forecast", "learned"),
        help="show what each stage needs: published, seen here, and what follows",
        example="forecast learned --species dynastes-hercules",
        arguments=_learned_arguments,
        run=_learned,
    ),
    Command(
        words=("forecast", "export-figures"),
        help="write what this house learned, signed, for other houses; no stock data",
        example="forecast export-figures --to quillmere.json --house Quillmere",
        arguments=_export_arguments,
        run=_export,
    ),
    Command(
        words=("forecast", "import-figures"),
        help="let signed figures of another house count here",
        example=(
            "forecast import-figures quillmere.json"
            " --trust 0f4c-71d2-9a3e-55b0-c1d8-7e6f-2a90-43bb"
        ),
        arguments=_import_arguments,
        run=_import,
    ),
)
"""Learned figures, from the store and the files beside it."""
