"""The shipped library, and the arithmetic of its records."""

from functools import lru_cache

from monitor.site.load import load
from tests.source import ROOT


@lru_cache
def shipped():
    """The configuration of the checkout."""
    return load(ROOT / "config")


def found(species):
    """A species or template."""
    return shipped().library.species[species]


def stages():
    """Every stage of every species and template, with the id of that."""
    return [
        (s.id, stage) for s in shipped().library.species.values() for stage in s.stages
    ]


def record(species, stage):
    """How a stage develops; it must say so."""
    development = found(species).stage(stage).development
    assert development is not None, f"{species} {stage} has no development"
    return development


def days(species, stage, temperature, sex="any"):
    """
    Days that a stage takes at a constant temperature: K / (T - LDT).

    A duration stands for K = days x (T observed - assumed LDT), the mean of those where
    several temperatures were observed. What time alone drives takes its time.
    """
    needs = record(species, stage)
    took = [d for d in needs.duration_days if d.sex in (sex, "any")]
    if needs.driven_by == "time":
        return took[0].mean
    if took:
        lower = needs.assumed_lower_threshold
        total = sum(d.mean * (d.at - lower) for d in took) / len(took)
    else:
        lower = needs.lower_threshold
        (total,) = (r.mean for r in needs.required_degree_days if r.sex in (sex, "any"))
    top = needs.upper_threshold
    # every upper threshold of the library cuts horizontally
    felt = temperature if top is None else min(temperature, top)
    return total / (felt - lower)


def way(species, temperature, sex="any", *, first="egg", last="pupa"):
    """Days from the beginning of one stage to the end of another."""
    names = [s.id for s in found(species).stages]
    part = names[names.index(first) : names.index(last) + 1]
    return sum(days(species, stage, temperature, sex) for stage in part)
