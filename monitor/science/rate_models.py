"""
Rates of development by temperature: published models, by name.

A rate is the fraction of a stage that a day at the temperature T brings; a stage is
over when its rates add up to 1 (`monitor.science.summation`). T is in degC save where
a model says kelvin. Every rate is finite and never negative: where a formula goes
below zero or is not defined, nothing develops, and `RateModel.outside` says where.

Parameters are told apart by the names that the papers (or their later users) gave
them. A fit belongs to its model: the same animals have another threshold in each.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches

import numpy as np

from monitor.science import rate_formulas as f
from monitor.science.rate_formulas import KELVIN, Form, Numbers, Values

_PROBED_C: Values = np.array([-KELVIN, *np.arange(-60.0, 101.0)])
"""
Where every curve must be finite: all that a probe in an insect house may tell, each
whole degree, and absolute zero. (own choice)
"""


@dataclass(frozen=True, slots=True)
class Parameter:
    """A number that a fit of the model gives."""

    name: str
    unit: str
    meaning: str


@dataclass(frozen=True, slots=True)
class RateModel:
    """
    A published model without its parameters.

    Attributes:
        name: As `MODELS` and the command line know it.
        equation: In the names of the parameters; T in degC.
        reference: Where it was published.
        outside: What holds where the equation does not.
        parameters: In the order of *formula*.
        formula: Rates at temperatures, given parameters that *fault* finds right;
            also for fits. [1/d]
        fault: Tells in words what is wrong with parameters, or None.
        form: Tells the form of the curve.
    """

    name: str
    equation: str
    reference: str
    outside: str
    parameters: tuple[Parameter, ...]
    formula: Callable[[Values, Numbers], Values]
    fault: Callable[[Numbers], str | None]
    form: Callable[[Numbers], Form]

    @property
    def names(self) -> tuple[str, ...]:
        """The names of the parameters, in order."""
        return tuple(p.name for p in self.parameters)

    def fitted(self, values: Mapping[str, float]) -> "FittedRate":
        """
        Give the model its parameters.

        Raises:
            ValueError: If one is missing, unknown or not finite, or they make no
                curve of the model's kind, or none of finite rates.
        """
        known = ", ".join(self.names)
        for name in values:
            if name not in self.names:
                raise ValueError(
                    f"{self.name} has no parameter {name!r}: its parameters are {known}"
                )
        lacking = [name for name in self.names if name not in values]
        if lacking:
            raise ValueError(
                f"{self.name} lacks {', '.join(lacking)}: its parameters are {known}"
            )
        numbers = tuple(float(values[name]) for name in self.names)
        for name, number in zip(self.names, numbers, strict=True):
            if not math.isfinite(number):
                raise ValueError(f"{self.name}: {name} must be finite, got {number}")
        try:
            # numbers of odd size make a formula raise, warn, or end in no number
            with np.errstate(over="raise", divide="raise", invalid="raise"):
                fault = self.fault(numbers)
                made = None if fault else self._made(numbers)
        except (ArithmeticError, ValueError):
            fault = made = None
        if made is None:
            given = ", ".join(
                f"{name} {number:g}"
                for name, number in zip(self.names, numbers, strict=True)
            )
            none = f"no finite rates come of {given}: look for a wrong power of ten"
            raise ValueError(f"{self.name}: {fault or none}")
        return made

    def _made(self, numbers: Numbers) -> "FittedRate | None":
        """None where form or rates are no numbers."""
        form = self.form(numbers)
        best = () if form.optimum_c is None else (form.optimum_c,)
        own = np.array([*form.corners_c, *best], dtype=np.float64)
        rates = self.formula(np.concatenate((_PROBED_C, own)), numbers)
        finite = np.isfinite(own).all() and np.isfinite(rates).all()
        return FittedRate(self, numbers, form) if finite else None


@dataclass(frozen=True, slots=True)
class FittedRate:
    """
    A model with its parameters.

    Attributes:
        model: The model.
        values: Its parameters, in the model's order.
        form: The form of the curve.
    """

    model: RateModel
    values: Numbers
    form: Form

    @property
    def peak(self) -> float | None:
        """The highest rate; None where it rises for ever. [1/d]."""
        best = self.form.optimum_c
        return None if best is None else float(self.rates(np.array([best]))[0])

    def at(self, temperature_c: float) -> float:
        """
        Tell the rate at one temperature. [1/d].

        Raises:
            ValueError: If the temperature is not finite or below absolute zero.
        """
        if not math.isfinite(temperature_c) or temperature_c < -KELVIN:
            raise ValueError(
                f"temperature must be finite and not below {-KELVIN:g} C,"
                f" got {temperature_c:g}"
            )
        return float(self.rates(np.array([temperature_c], dtype=np.float64))[0])

    def rates(self, temperatures_c: Values) -> Values:
        """Tell the rates at finite temperatures; the shape is kept. [1/d]."""
        return self.model.formula(temperatures_c, self.values)


def model(name: str) -> RateModel:
    """
    Find a model by its name.

    Raises:
        ValueError: If there is none of that name.
    """
    found = MODELS.get(name)
    if found is None:
        near = get_close_matches(name, MODELS, 1)
        mend = f" (did you mean {near[0]}?)" if near else ""
        raise ValueError(f"no rate model {name!r}{mend}: there are {', '.join(MODELS)}")
    return found


_T0 = Parameter("T0", "degC", "lower threshold")
_TM = Parameter("Tm", "degC", "upper, lethal threshold")
_RHO = Parameter("rho", "1/degC", "growth of the rate at the optimum's cold side")
_LIMIT = Parameter("Tm", "degC", "lethal maximum; the rate is zero there")
_DT = Parameter("dT", "degC", "width of the fall below Tm")

_EVERY = (
    RateModel(
        "linear",
        "r = (T - T0) / K",
        "Campbell, Frazer, Gilbert, Gutierrez & Mackauer (1974) J Applied Ecology"
        " 11:431-438",
        "0 at T0 and below; rises for ever: for an upper threshold and a cutoff use"
        " degree-days",
        (_T0, Parameter("K", "degC d", "required degree-days")),
        f.linear,
        lambda p: f.above_zero("K", p[1:]),
        lambda p: Form((p[0],), None),
    ),
    RateModel(
        "briere-1",
        "r = a T (T - T0) (Tm - T)^(1/2)",
        "Briere, Pracros, le Roux & Pierre (1999) Environ Entomol 28:22-29",
        "0 at T0 and below, at Tm and above, and at 0 degC and below",
        (Parameter("a", "1/(d degC^2.5)", "scale; often printed in 1e-4"), _T0, _TM),
        f.briere,
        f.briere_fault,
        f.briere_form,
    ),
    RateModel(
        "briere-2",
        "r = a T (T - T0) (Tm - T)^(1/m)",
        "Briere, Pracros, le Roux & Pierre (1999) Environ Entomol 28:22-29",
        "0 at T0 and below, at Tm and above, and at 0 degC and below",
        (
            Parameter("a", "1/(d degC^(2+1/m))", "scale; often printed in 1e-4"),
            _T0,
            _TM,
            Parameter("m", "1", "sharpness of the fall below Tm; 2 is briere-1"),
        ),
        f.briere,
        f.briere_fault,
        f.briere_form,
    ),
    RateModel(
        "logan-6",
        "r = phi (exp(rho T) - exp(rho Tm - (Tm - T) / dT))",
        "Logan, Wollkind, Hoyt & Tanigoshi (1976) Environ Entomol 5:1133-1140",
        "0 at Tm and above; has no lower threshold: never quite 0 in the cold",
        (Parameter("phi", "1/d", "scale"), _RHO, _LIMIT, _DT),
        f.logan6,
        f.logan6_fault,
        f.logan6_form,
    ),
    RateModel(
        "lactin-1",
        "r = exp(rho T) - exp(rho Tm - (Tm - T) / dT)",
        "Lactin, Holliday, Johnson & Craigen (1995) Environ Entomol 24:68-75",
        "0 at Tm and above; has no lower threshold: never quite 0 in the cold",
        (_RHO, _LIMIT, _DT),
        f.lactin1,
        lambda p: f.difference_fault(*p),
        f.lactin1_form,
    ),
    RateModel(
        "lactin-2",
        "r = exp(rho T) - exp(rho Tm - (Tm - T) / dT) + lambda",
        "Lactin, Holliday, Johnson & Craigen (1995) Environ Entomol 24:68-75",
        "0 outside its two roots, the thresholds; with lambda above 0 there is no"
        " lower one",
        (
            _RHO,
            Parameter("Tm", "degC", "where the curve falls; not the upper threshold"),
            _DT,
            Parameter("lambda", "1/d", "shift; below 0 it makes a lower threshold"),
        ),
        f.lactin2,
        f.lactin2_fault,
        f.lactin2_form,
    ),
    RateModel(
        "sharpe-schoolfield-high",
        "r = p25 (TK/298) exp((HA/R)(1/298 - 1/TK))"
        " / (1 + exp((HH/R)(1/TH - 1/TK))), TK = T + 273.15, R = 1.987",
        "Schoolfield, Sharpe & Magnuson (1981) J Theor Biol 88:719-731, without"
        " inactivation by cold",
        "has no thresholds: small, and never quite 0, in cold and heat",
        (
            Parameter("p25", "1/d", "rate at 298 K if nothing were inactivated"),
            Parameter("HA", "cal/mol", "enthalpy of activation"),
            Parameter("TH", "K", "half is inactivated by heat there"),
            Parameter("HH", "cal/mol", "enthalpy of inactivation by heat"),
        ),
        f.schoolfield,
        f.schoolfield_fault,
        f.schoolfield_form,
    ),
    RateModel(
        "taylor",
        "r = Rm exp(-((T - Tm) / To)^2 / 2)",
        "Taylor (1981) American Naturalist 117:1-23",
        "has no thresholds; some users cut it above Tm, here both sides are equal",
        (
            Parameter("Rm", "1/d", "highest rate"),
            Parameter("Tm", "degC", "optimum: the rate is highest there"),
            Parameter("To", "degC", "standard deviation of the curve"),
        ),
        f.taylor,
        lambda p: f.above_zero("Rm To", (p[0], p[2])),
        lambda p: Form((), p[1]),
    ),
)

MODELS: Mapping[str, RateModel] = {each.name: each for each in _EVERY}
"""Every rate model by its name."""
