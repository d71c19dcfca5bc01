"""[stage.development]: thresholds, cutoff, method and sum are one record."""

from collections.abc import Iterator
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from monitor.site.model import Many, Model, Problem, Text, refuse
from monitor.site.sections.section import Section
from monitor.site.sources import Sourced

COLDEST, HOTTEST = -20.0, 60.0
"""Temperatures that a threshold or an observation lie within: own choice. [degC]"""


Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]


class Requirement(Model):
    """
    Degree-days that one sex needs, in degC d.

    The spread is None where nobody published one.
    """

    sex: Literal["any", "female", "male"] = "any"
    mean: Positive
    sd: NotNegative | None = None


class Duration(Model):
    """
    Days that one sex took at one temperature, in d at degC.

    The spread is None where nobody published one.
    """

    sex: Literal["any", "female", "male"] = "any"
    mean: Positive
    sd: NotNegative | None = None
    at: float


class Development(Sourced):
    """
    [stage.development]: thresholds, method, cutoff and requirement are one record.

    A requirement holds only for the thresholds and method it was fitted with.
    """

    driven_by: Literal["heat", "heat-earliest", "time"]
    lower_threshold: float | None = None
    upper_threshold: float | None = None
    cutoff: Literal["horizontal", "intermediate", "vertical"] | None = None
    fitted_with: Text | None = None
    required_degree_days: Many[Requirement] = ()
    duration_days: Many[Duration] = ()
    assumed_lower_threshold: float | None = None

    @model_validator(mode="after")
    def _one_record(self) -> Self:
        refuse(_problems(self))
        return self


def _problems(record: Development) -> Iterator[Problem]:
    """Everything in which a record of development is incomplete or contradictory."""
    yield from _thresholds(record)
    if record.driven_by == "time":
        yield from _by_time(record)
    elif record.required_degree_days and record.duration_days:
        text = (
            "stands beside required_degree_days: one of them must decide, leave one out"
        )
        yield Problem(("duration_days",), text)
    elif record.required_degree_days:
        yield from _by_sum(record)
    elif record.duration_days:
        yield from _by_duration(record)
    else:
        text = f'"{record.driven_by}" needs required_degree_days or duration_days'
        yield Problem(("driven_by",), text)
    yield from _sexes(record)


def _thresholds(record: Development) -> Iterator[Problem]:
    for name in ("lower_threshold", "upper_threshold", "assumed_lower_threshold"):
        value = getattr(record, name)
        if value is not None and not COLDEST <= value <= HOTTEST:
            text = f"{value} lies outside {COLDEST:g} to {HOTTEST:g} degC"
            yield Problem((name,), f"{text}: is it in degF?")
    for i, took in enumerate(record.duration_days):
        if not COLDEST <= took.at <= HOTTEST:
            text = f"{took.at} lies outside {COLDEST:g} to {HOTTEST:g} degC"
            yield Problem(("duration_days", i, "at"), f"{text}: is it in degF?")
    low, high = record.lower_threshold, record.upper_threshold
    if low is not None and high is not None and not low < high:
        text = f"{low} is not below upper_threshold {high} (swap them?)"
        yield Problem(("lower_threshold",), text)
    if high is not None and record.cutoff is None:
        text = "is missing: an upper_threshold means nothing without it"
        yield Problem(("cutoff",), text)
    if high is None and record.cutoff is not None:
        text = "has no upper_threshold to cut at: add that, or leave cutoff out"
        yield Problem(("cutoff",), text)


def _by_time(record: Development) -> Iterator[Problem]:
    if not record.duration_days:
        text = 'is missing: what is driven by "time" needs it'
        yield Problem(("duration_days",), text)
    for name in (
        "required_degree_days",
        "lower_threshold",
        "upper_threshold",
        "assumed_lower_threshold",
        "fitted_with",
    ):
        if getattr(record, name) not in (None, ()):
            text = (
                'has no meaning where time alone drives: leave it out, or write "heat"'
            )
            yield Problem((name,), text)


def _by_sum(record: Development) -> Iterator[Problem]:
    for name in ("lower_threshold", "fitted_with"):
        if getattr(record, name) is None:
            text = "is missing: required_degree_days hold only for the threshold and "
            yield Problem((name,), text + "the method that they were fitted with")
    if record.assumed_lower_threshold is not None:
        text = "is for durations alone: required_degree_days have a lower_threshold"
        yield Problem(("assumed_lower_threshold",), text)


def _by_duration(record: Development) -> Iterator[Problem]:
    for name in ("lower_threshold", "upper_threshold", "fitted_with"):
        if getattr(record, name) is not None:
            text = "belongs to required_degree_days: a duration at one temperature "
            yield Problem((name,), text + "has only an assumed_lower_threshold")
    assumed = record.assumed_lower_threshold
    if assumed is None:
        text = "is missing: a duration says nothing about another temperature without "
        text += 'it (or write driven_by = "time")'
        yield Problem(("assumed_lower_threshold",), text)
        return
    for i, took in enumerate(record.duration_days):
        if not assumed < took.at:
            text = f"{took.at} is not above assumed_lower_threshold {assumed}: nothing "
            yield Problem(("duration_days", i, "at"), text + "develops below it")


def _sexes(record: Development) -> Iterator[Problem]:
    sums = [
        ("required_degree_days", i, r.sex, None)
        for i, r in enumerate(record.required_degree_days)
    ]
    times = [
        ("duration_days", i, d.sex, d.at) for i, d in enumerate(record.duration_days)
    ]
    for rows in (sums, times):
        sexes = {sex for _, _, sex, _ in rows}
        seen: set[tuple[str, float | None]] = set()
        for name, i, sex, at in rows:
            if (sex, at) in seen:
                text = f'"{sex}" stands twice: keep one'
                yield Problem((name, i, "sex"), text)
            seen.add((sex, at))
            if sex == "any" and len(sexes) > 1:
                text = '"any" stands beside a sex: say it for each, or for any alone'
                yield Problem((name, i, "sex"), text)


def _lines(record: Development) -> Iterator[str]:
    said = {
        "heat": "development by heat",
        "heat-earliest": "development, at the earliest by heat",
        "time": "development by time",
    }[record.driven_by]
    if record.lower_threshold is not None:
        said += f" above {record.lower_threshold:g} degC"
    if record.upper_threshold is not None:
        said += f", {record.cutoff} cutoff at {record.upper_threshold:g} degC"
    if record.assumed_lower_threshold is not None:
        said += f" above an assumed {record.assumed_lower_threshold:g} degC"
    needs = [f"{_spread(r)} degC d" for r in record.required_degree_days]
    needs += [f"{_spread(d)} d at {d.at:g} degC" for d in record.duration_days]
    yield f"{said}: {', '.join(needs)} ({record.source})"


def _spread(need: Requirement | Duration) -> str:
    sex = "" if need.sex == "any" else f"{need.sex} "
    sd = "" if need.sd is None else f" +- {need.sd:g}"
    return f"{sex}{need.mean:g}{sd}"


DEVELOPMENT = Section("development", Development, _lines)
