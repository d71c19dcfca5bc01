"""
SenML packs (RFC 8428, JSON form): records with their base fields applied.

A record without a value is never taken to be 0 or the base value: section 4.2 demands
a value field, and a default would be a reading that nobody measured.
"""

import math
import re
from collections.abc import Mapping

import msgspec

from monitor.intake.found import NoReadingError, shown, shown_json

MOST_RECORDS = 1000
"""A longer pack is refused."""

NOW_BELOW_S = 2.0**28
"""Times below this count from now, the others from 1970 (section 4.5.3). [s]"""

VERSION = 10
"""Of RFC 8428, and of a pack that tells none. Its own examples bear 5."""

FEATURES = 0b11010
"""
What we understand of a version above `VERSION`, bit by bit (RFC 9100, section 2):
the two bits of 10, and secondary units.
"""

NAME = re.compile(r"[A-Za-z0-9][-A-Za-z0-9:./_]*")
"""A resolved name (section 4.5.1)."""

_TEXTS = frozenset({"bn", "bu"})
_NUMBERS = frozenset({"bt", "bv", "bs", "bver"})
_VALUES = ("v", "vb", "vs", "vd")
_JSON_TYPES = {"v": "a number", "vb": "true or false", "vs": "text", "vd": "text"}


class Record(msgspec.Struct, frozen=True):
    """
    A record with the base fields applied (section 4.6).

    Attributes:
        at: Where it stands in the pack, from 1.
        name: Base name and name; "" where neither is given.
        own_name: The name without the base name.
        unit: Its unit or the base unit; "" where neither is given.
        value: A number with the base value added, or on and off.
        time: As it is told: from 1970, or where below `NOW_BELOW_S` from now; None
            where neither time nor base time is given. [s]
    """

    at: int
    name: str
    own_name: str
    unit: str
    value: float | bool
    time: float | None

    @property
    def label(self) -> str:
        """Number, name and unit, for a sentence."""
        return label(self.at, self.name, self.unit)


class Unusable(msgspec.Struct, frozen=True):
    """
    A record that measures nothing, or nothing that can be read.

    Attributes:
        label: Number, name and unit.
        reason: Why, and the mend.
        text: It holds text or data, which nobody here measures.
    """

    label: str
    reason: str
    text: bool = False


class _TextError(NoReadingError):
    """A record of text or data."""


class Base(msgspec.Struct):
    """The base fields in force; each stands until the next of its kind."""

    bn: str = ""
    bt: float | None = None
    bu: str = ""
    bv: float = 0.0
    bs: float | None = None


def label(at: int, name: str, unit: str) -> str:
    """Name a record in a sentence: record 2 ("t1", Cel)."""
    said = [shown(name.encode()) if name else "", unit and shown(unit.encode())[1:-1]]
    inside = ", ".join(part for part in said if part)
    return f"record {at} ({inside})" if inside else f"record {at}"


def resolve(pack: object) -> tuple[list[Record], list[Unusable]]:
    """
    Apply the base fields to every record of a pack.

    Args:
        pack: A JSON array, decoded.

    Returns:
        The measurements in their order, and what is none. A record that holds base
        fields alone only carries them, as in section 5.1.7.

    Raises:
        NoReadingError: If the pack as a whole must not be used.
    """
    records = _objects(pack)
    _understood(records)
    base = Base()
    found: list[Record] = []
    unusable: list[Unusable] = []
    for at, record in enumerate(records, 1):
        _take_base(base, record, at)
        if record and all(key.startswith("b") for key in record):
            continue
        try:
            found.append(_resolved(base, record, at))
        except NoReadingError as exc:
            name = record.get("n")
            said = label(at, base.bn + name if isinstance(name, str) else base.bn, "")
            text = isinstance(exc, _TextError)
            unusable.append(Unusable(said, str(exc), text=text))
    return found, unusable


def _objects(pack: object) -> list[dict[str, object]]:
    if not isinstance(pack, list) or not pack:
        raise NoReadingError("the pack is empty: send at least one record.")
    if len(pack) > MOST_RECORDS:
        raise NoReadingError(
            f"the pack holds {len(pack)} records, more than {MOST_RECORDS}: "
            "send smaller packs."
        )
    for at, record in enumerate(pack, 1):
        if not isinstance(record, dict):
            raise NoReadingError(
                f"{shown_json(record)} in place {at} of the array is no SenML record: "
                'send [{"n": "t1", "u": "Cel", "v": 24.3}], '
                "or give the sensor a pointer."
            )
    return pack


def _understood(records: list[dict[str, object]]) -> None:
    """Refuse a pack of which we would misread something (section 4.4, RFC 9100)."""
    versions: set[str] = set()
    version: object = VERSION
    for at, record in enumerate(records, 1):
        for key in record:
            if key.endswith("_"):
                raise NoReadingError(
                    f"record {at} has the field {shown(key.encode())}, which must be "
                    "understood (RFC 8428, 4.4) and is not: send packs without it."
                )
        version = record.get("bver", version)
        whole = isinstance(version, int) and not isinstance(version, bool)
        if not whole or not _known(version):
            raise NoReadingError(
                f"version {shown_json(version)} of SenML is not understood: send 10 "
                "or 26, or leave bver out."
            )
        versions.add(str(version))
    if len(versions) > 1:
        raise NoReadingError(
            f"the pack has the versions {', '.join(sorted(versions))}: "
            "send bver in the first record alone."
        )


def _known(version: object) -> bool:
    if not isinstance(version, int) or version < 1:
        return False
    if version <= VERSION:
        return True
    return version & VERSION == VERSION and not version & ~FEATURES


def _take_base(base: Base, record: Mapping[str, object], at: int) -> None:
    for key, value in record.items():
        if key in _TEXTS:
            if not isinstance(value, str):
                raise NoReadingError(
                    f"{key} {shown_json(value)} of record {at} is no text, so the pack "
                    "cannot be read: correct what the device sends."
                )
            setattr(base, key, value)
        elif key in _NUMBERS:
            number = _number(value)
            if number is None:
                raise NoReadingError(
                    f"{key} {shown_json(value)} of record {at} is no finite number, so "
                    "the pack cannot be read: correct what the device sends."
                )
            if key != "bver":
                setattr(base, key, number)


def _number(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def _resolved(base: Base, record: Mapping[str, object], at: int) -> Record:
    own = _text(record, "n")
    name = base.bn + own
    if name and NAME.fullmatch(name) is None:
        raise NoReadingError(
            f"the name {shown(name.encode())} begins with no letter or digit, or holds "
            "more than those and - : . / _ (RFC 8428, 4.5.1): rename it."
        )
    unit = _text(record, "u") or base.bu
    value = _value(base, record)
    return Record(at, name, own, unit, value, _time(base, record))


def _text(record: Mapping[str, object], key: str) -> str:
    said = record.get(key, "")
    if not isinstance(said, str):
        raise NoReadingError(f"{key} {shown_json(said)} is no text: send it in quotes.")
    return said


def _value(base: Base, record: Mapping[str, object]) -> float | bool:
    given = [key for key in _VALUES if key in record]
    if len(given) > 1:
        raise NoReadingError(
            f"{' and '.join(given)} stand in one record: send one value a record."
        )
    if not given:
        if "s" in record or base.bs is not None:
            raise NoReadingError(
                "a sum alone is no reading, and sums are not used: send v as well."
            )
        raise NoReadingError("it holds no value: send v, or vb for on and off.")
    (key,) = given
    value = record[key]
    if key == "vb" and isinstance(value, bool):
        return value
    if key == "v" and (number := _number(value)) is not None:
        total = base.bv + number
        if math.isfinite(total):
            return total
        raise NoReadingError("the value is too large: check what the device sends.")
    if key in ("vs", "vd") and isinstance(value, str):
        raise _TextError(
            f"{key} {shown_json(value)} is no number: send v, or vb for on and off."
        )
    raise NoReadingError(
        f"{key} {shown_json(value)} is not {_JSON_TYPES[key]}: "
        "correct what the device sends."
    )


def _time(base: Base, record: Mapping[str, object]) -> float | None:
    if "t" not in record:
        return base.bt
    number = _number(record["t"])
    total = math.inf if number is None else (base.bt or 0.0) + number
    if not math.isfinite(total):
        raise NoReadingError(
            f"time {shown_json(record['t'])} is no number of seconds: "
            "correct what the device sends."
        )
    return total
