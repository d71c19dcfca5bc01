"""All quality checks of one quantity, and the flags of a series by them."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import timedelta

import numpy as np

from monitor.science.curve import Times, Values
from monitor.science.quality_checks import (
    NOTHING,
    AttenuatedSignal,
    Check,
    FlatLine,
    Gap,
    GrossRange,
    RateOfChange,
    Spike,
)
from monitor.science.quality_flags import (
    FAIL,
    MISSING,
    FlagArray,
    not_evaluated,
    worst,
)
from monitor.science.signatures import Signatures
from monitor.science.stretches import stretches

__all__ = [
    "AttenuatedSignal",
    "Check",
    "Checks",
    "Flags",
    "FlatLine",
    "Gap",
    "GrossRange",
    "RateOfChange",
    "Signatures",
    "Spike",
    "flag",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Checks:
    """
    The checks of one quantity; each is optional.

    Attributes:
        gross_range: Outside of what can be.
        spike: One reading stands out.
        rate_of_change: Changes too fast.
        flat_line: Does not move.
        attenuated_signal: Moves too little.
        gap: A reading is missing before this one; it also ends what the others look
            back on.
        signature: Known failure values.
    """

    gross_range: GrossRange | None = None
    spike: Spike | None = None
    rate_of_change: RateOfChange | None = None
    flat_line: FlatLine | None = None
    attenuated_signal: AttenuatedSignal | None = None
    gap: Gap | None = None
    signature: Signatures | None = None

    @property
    def given(self) -> dict[str, Check]:
        """The checks that there are, by name."""
        found = {field.name: getattr(self, field.name) for field in fields(self)}
        return {name: check for name, check in found.items() if check is not None}

    @property
    def lookback(self) -> timedelta:
        """
        How far back the flag of a reading depends on others.

        Flags of a part of a series are those of the whole if `flag` also gets every
        reading within this span before the part, one more before these, and the one
        reading after the part (of which a spike is known). With a bridge every reading
        within this span and the bridge before it, and within the bridge after it,
        suffices.
        """
        return max((check.lookback for check in self.given.values()), default=NOTHING)


@dataclass(frozen=True, slots=True)
class Flags:
    """
    Flags of a series: 1 pass, 2 not evaluated, 3 suspect, 4 fail, 9 missing.

    Attributes:
        by_check: One array per check that was given, by its name.
        aggregate: The worst of each reading, in the order 4, 3, 9, 2, 1.
    """

    by_check: Mapping[str, FlagArray]
    aggregate: FlagArray


def flag(
    times_us: Times,
    values: Values,
    checks: Checks,
    *,
    bridge: timedelta | None = None,
) -> Flags:
    """
    Flag every reading of a series.

    A missing value (NaN) is 9 in every check, an infinite one 4: nothing measures it.
    Without any check all else is 2.

    Args:
        times_us: Strictly rising. [us since 1970-01-01 UTC]
        values: One per time, as measured. [unit of the checks]
        checks: What to check.
        bridge: Readings further apart than this know nothing of each other, so that
            the flags of a part of a series rest on a bounded span of it; None where
            the whole series is given.

    Raises:
        ValueError: If the arrays are not one-dimensional and of one length, or times
            do not rise strictly.
    """
    gap = None if checks.gap is None else checks.gap.longest
    readings = stretches(times_us, values, gap, bridge=bridge)
    by_check = {}
    # differences of huge values overflow to infinity, which is beyond any limit
    with np.errstate(over="ignore"):
        for name, check in checks.given.items():
            by_check[name] = _with_unusable(check.judge(readings), values)
    every = list(by_check.values())
    none = _with_unusable(not_evaluated(readings.values.shape[0]), values)
    return Flags(by_check, worst(every) if every else none)


def _with_unusable(flags: FlagArray, values: Values) -> FlagArray:
    flags[np.isnan(values)] = MISSING
    flags[np.isinf(values)] = FAIL
    return flags
