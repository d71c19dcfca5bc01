"""checks/<quantity>.toml: which quality checks a house lets its readings pass."""

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass, replace
from datetime import timedelta
from typing import Any, Self

from pydantic import model_validator

from monitor.errors import ConfigError
from monitor.science import quality, signatures
from monitor.site.checking import nearest
from monitor.site.mending import validated
from monitor.site.model import Model, Range
from monitor.site.spans import Span, format_span
from monitor.site.words import TEMPERATURES, Quantity

__all__ = [
    "AttenuatedSignal",
    "ChecksFile",
    "FlatLine",
    "Gap",
    "GrossRange",
    "RateOfChange",
    "Spike",
    "checks_for",
    "checks_lines",
    "quantity_of",
    "read_checks",
    "with_signatures",
]


class GrossRange(Model):
    """[gross_range]. In the unit of the series."""

    fail: Range
    suspect: Range | None = None

    def check(self) -> quality.GrossRange:
        """The check itself."""
        return quality.GrossRange(self.fail, self.suspect)


class Spike(Model):
    """[spike]. In the unit of the series."""

    suspect: float
    fail: float | None = None

    def check(self) -> quality.Spike:
        """The check itself."""
        return quality.Spike(self.suspect, self.fail)


class RateOfChange(Model):
    """[rate_of_change]. In the unit of the series per hour."""

    suspect: float
    fail: float | None = None

    def check(self) -> quality.RateOfChange:
        """The check itself."""
        return quality.RateOfChange(self.suspect, self.fail)


class FlatLine(Model):
    """[flat_line]. The tolerance in the unit of the series."""

    suspect: Span
    fail: Span | None = None
    tolerance: float

    def check(self) -> quality.FlatLine:
        """The check itself."""
        return quality.FlatLine(self.suspect, self.tolerance, self.fail)


class AttenuatedSignal(Model):
    """[attenuated_signal]. Ranges in the unit of the series."""

    period: Span
    suspect: float
    fail: float | None = None

    def check(self) -> quality.AttenuatedSignal:
        """The check itself."""
        return quality.AttenuatedSignal(self.period, self.suspect, self.fail)


class Gap(Model):
    """[gap]."""

    longest: Span

    def check(self) -> quality.Gap:
        """The check itself."""
        return quality.Gap(self.longest)


Table = GrossRange | Spike | RateOfChange | FlatLine | AttenuatedSignal | Gap


class ChecksFile(Model):
    """The whole of a file of checks; each table is optional."""

    gross_range: GrossRange | None = None
    spike: Spike | None = None
    rate_of_change: RateOfChange | None = None
    flat_line: FlatLine | None = None
    attenuated_signal: AttenuatedSignal | None = None
    gap: Gap | None = None

    @model_validator(mode="after")
    def _thresholds_agree(self) -> Self:
        self.checks()
        return self

    def checks(self) -> quality.Checks:
        """
        The checks, without known failure values: see `with_signatures`.

        Raises:
            ValueError: If the thresholds of a table contradict one another.
        """
        made: dict[str, Any] = {}
        for name in type(self).model_fields:
            table: Table | None = getattr(self, name)
            if table is not None:
                try:
                    made[name] = table.check()
                except ValueError as error:
                    raise ValueError(f"{name}: {error}") from None
        return quality.Checks(**made)


def read_checks(data: Mapping[str, Any], file: str) -> quality.Checks:
    """
    Give the checks of the data of a file.

    Raises:
        ConfigError: With file, key, value and mend.
    """
    return validated(ChecksFile, data, file).checks()


def quantity_of(stem: str, file: str) -> Quantity:
    """
    Give the quantity that a file of checks is named after.

    Raises:
        ConfigError: If it is none.
    """
    known = [quantity.value for quantity in Quantity]
    if stem not in known:
        raise ConfigError(f'{file}: "{stem}" is no quantity: {nearest(stem, known)}')
    return Quantity(stem)


def with_signatures(checks: quality.Checks, quantity: Quantity) -> quality.Checks:
    """Add the known failure values of a quantity, where it has any."""
    if quantity in TEMPERATURES:
        known = signatures.TEMPERATURE
    elif quantity is Quantity.RELATIVE_HUMIDITY:
        known = signatures.HUMIDITY
    else:
        return checks
    return replace(checks, signature=signatures.Signatures(known))


def checks_for(
    declared: Mapping[Quantity, quality.Checks], quantity: Quantity
) -> quality.Checks:
    """
    Give all checks of a quantity: what the house declares, and known failure values.

    The latter are checked whether the house declares any or not.
    """
    return with_signatures(declared.get(quantity, quality.Checks()), quantity)


def checks_lines(checks: quality.Checks) -> Iterator[str]:
    """One line for people per check."""
    for name, check in checks.given.items():
        if is_dataclass(check) and name != "signature":
            values = {f.name: getattr(check, f.name) for f in fields(check)}
            said = (f"{k} {_said(v)}" for k, v in values.items() if v is not None)
            yield f"{name} {', '.join(said)}"


def _said(value: object) -> str:
    match value:
        case timedelta():
            return format_span(value)
        case tuple():
            return f"{value[0]:g} to {value[1]:g}"
        case _:
            return f"{value:g}"
