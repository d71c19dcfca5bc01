"""``calc degree-days`` of a day's extremes, and ``calc rate``, on the command line."""

import json

import pytest

from monitor.errors import UsageError
from monitor.science.rate_models import MODELS
from tests.science.published_rates import fits
from tests.science.test_calc import run

UC_IPM_DAY = "--min 38 --max 75 --lower 50 --upper 70 --unit F"
"""24 February 2020 at Esparto.A; figures of UC IPM, see published_days."""


@pytest.mark.parametrize(
    ("method", "cutoff", "printed"),
    [
        ("single-sine", "horizontal", 8.72),
        ("single-sine", "vertical", 3.92),
        ("single-sine", "intermediate", 7.92),
        ("double-sine", "horizontal", 9.61),
        ("double-sine", "intermediate", 8.76),
        ("single-triangle", "vertical", 5.41),
        ("double-triangle", "intermediate", 9.02),
    ],
)
def test_a_day_by_its_extremes(capsys, method, cutoff, printed):
    """Every method and cutoff by its name, in Fahrenheit."""
    next_min = ["--next-min", 47] * method.startswith("double")
    asked = ["--method", method, "--cutoff", cutoff, *next_min, "--json"]

    code = run("degree-days", *UC_IPM_DAY.split(), *asked)

    assert code == 0
    told = json.loads(capsys.readouterr().out)
    assert told == {"degree_days": pytest.approx(printed, abs=0.0051)}


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        # McMaster & Wilhelm 1997 Table 1
        ("--min -2 --max 8 --lower 0 --method average", 3),
        ("--min -2 --max 8 --lower 0 --method clipped-average", 4),
        # horizontal is the default; without --upper the cutoff is ignored
        ("--min 20 --max 40 --lower 10 --upper 30 --method single-triangle", 17.5),
        ("--min 20 --max 40 --lower 10 --method average --cutoff vertical", 20),
        # the next minimum defaults to that of the day
        ("--min 12 --max 20 --lower 10 --method double-sine", 6),
    ],
)
def test_a_day_in_celsius(capsys, words, expected):
    """Defaults of unit, cutoff and next minimum; negative temperatures."""
    run("degree-days", *words.split(), "--json")

    assert json.loads(capsys.readouterr().out)["degree_days"] == pytest.approx(expected)


def test_a_day_for_people(capsys):
    """The figure with its unit, the same in degC, and what a requirement needs."""
    asked = [*UC_IPM_DAY.split(), "--next-min", 47]
    run("degree-days", *asked, "--method", "double-sine")

    lines = capsys.readouterr().out.splitlines()
    assert lines[0].split() == ["degree-days", "of", "the", "day", "9.61", "°F·d"]
    assert lines[1].split()[-2:] == ["5.34", "°C·d"]
    assert lines[2].startswith("by double-sine, horizontal cutoff; a requirement holds")


DAY = "--min 10 --max 25 --lower 10 --method average"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("--lower 10", "give --readings, or --min, --max and --method"),
        ("--min 10 --lower 10", "a day needs --max, --method too: one of average, "),
        ("--min 10 --max 20 --lower 10", "needs --method too: one of average, clipped"),
        ("--max 20 --lower 10 --method average", "a day needs --min too"),
        (f"{DAY} --min 30", r"minimum 30 is above maximum 25 \(swap them\?\)"),
        (f"{DAY} --upper 5", "lower threshold 10 is not below upper threshold 5 .swap"),
        (f"{DAY} --min nan", "'nan' is not a finite number"),
        (f"{DAY} --max inf", "'inf' is not a finite number"),
        (f"{DAY} --min -274", "minimum must be finite and not below -273.15 C"),
        (
            f"{DAY} --max 75",
            "--max 75 °C is above 50 °C: it looks like °F; .* --unit F",
        ),
        (f"{DAY} --lower 50", "--lower 50 °C is above 40 °C: it looks like °F"),
        (f"{DAY} --upper 88", "--upper 88 °C is above 50 °C: it looks like °F"),
        (
            f"{DAY} --next-min 9",
            "--next-min belongs to --method double-sine and double-triangle, not to",
        ),
        (
            f"{DAY} --method double-sine --next-min 61",
            "--next-min 61 °C is above 50 °C: it looks like °F",
        ),
        (f"{DAY} --method mean", "invalid choice: 'mean'"),
        (f"{DAY} --unit K", "invalid choice: 'K'"),
        (f"{DAY} --max-gap 2h", "--max-gap belongs to --readings, not to --min"),
        ("--readings x.csv --lower 10 --min 3", "--min belongs to --min and --max"),
        ("--readings x.csv --lower 10 --unit F", "--unit belongs to --min and --max"),
        ("--readings x.csv --lower 50", "--lower 50 °C .* °F; readings are in °C"),
    ],
)
def test_wrong_usage_of_a_day_is_refused(capsys, words, said):
    """One line with the value, the limit and the mend; nothing on stdout."""
    with pytest.raises(UsageError, match=said) as refused:
        run("degree-days", *words.split(), "--json")

    assert refused.value.exit_code == 2
    assert "\n" not in str(refused.value)
    assert capsys.readouterr().out == ""


def test_fahrenheit_is_not_held_to_what_celsius_is(capsys):
    """75 F is a mild day."""
    run("degree-days", *DAY.split(), "--max", 75, "--unit", "F", "--json")

    assert json.loads(capsys.readouterr().out)["degree_days"] == 32.5


@pytest.mark.parametrize("fit", fits()[::5], ids=lambda f: f"{f[0]}-{f[1]}-{f[2]}")
def test_a_rate_at_a_temperature(capsys, fit):
    """Published fits at 25 degC, parameters in one option or in several."""
    _, _, name, given, rates = fit
    pairs = [f"{key}={value!r}" for key, value in given.items()]
    several = [word for pair in pairs for word in ("--parameter", pair)]
    asked = ["--temperature", 25, "--json"]

    run("rate", "--model", name, "--parameter", *pairs, *asked)
    one = json.loads(capsys.readouterr().out)
    run("rate", "--model", name, *several, *asked)
    other = json.loads(capsys.readouterr().out)

    assert one == other == {"rate_per_day": pytest.approx(rates[2], rel=6e-6)}


def test_a_rate_for_people(capsys):
    """The rate, the days that it means, the equation and where it comes from."""
    asked = ["rate", "--model", "linear", "--parameter", "T0=10", "K=200"]
    run(*asked, "--temperature", 20)
    warm = capsys.readouterr().out
    run(*asked, "--temperature", -5)
    cold = capsys.readouterr().out

    rate, duration, *_ = (" ".join(line.split()) for line in warm.splitlines())
    assert rate == "rate 0.05 of the stage a day"
    assert duration == "duration 20 d at a steady 20 °C"
    assert "r = (T - T0) / K" in warm
    assert "Campbell" in warm
    assert "duration" not in cold


def test_the_models_are_listed(capsys):
    """Name, parameters with unit and meaning, equation, domain, reference."""
    run("rate", "--models", "--json")
    told = json.loads(capsys.readouterr().out)["models"]
    run("rate", "--models")
    said = capsys.readouterr().out

    assert [each["name"] for each in told] == list(MODELS)
    for each in told:
        assert [p["name"] for p in each["parameters"]] == list(
            MODELS[each["name"]].names
        )
        assert all(each[key] for key in ("equation", "outside", "reference"))
        assert each["equation"] in said
        assert each["reference"] in said


RATE = "rate --model briere-1 --parameter a=2e-5 T0=9.6 Tm=36.6"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (
            "rate",
            "give --model, and --temperature or --readings; --models lists the models",
        ),
        (RATE, "give --temperature or --readings; --models lists"),
        (f"{RATE} --temperature nan", "'nan' is not a finite number"),
        (f"{RATE} --temperature -300", "--temperature -300 °C is below -60 °C"),
        (f"{RATE} T1=3 --temperature 25", "briere-1 has no parameter 'T1'"),
        (f"{RATE} a=3 --temperature 25", "--parameter a is given twice"),
        (f"{RATE} b --temperature 25", "--parameter 'b' is no NAME=NUMBER"),
        (f"{RATE} m=x --temperature 25", "--parameter m: 'x' is not a finite number"),
        ("rate --model briere-1 --temperature 25", "briere-1 lacks a, T0, Tm"),
        ("rate --model brier-1 --temperature 25", r"did you mean briere-1\?"),
        (f"{RATE} --models", "--models stands alone"),
        ("rate --models --max-gap 2h", "--models stands alone"),
        ("rate --models --readings x.csv", "--models stands alone"),
        (f"{RATE} --temperature 20 --max-gap 2h", "--max-gap belongs to --readings"),
        (
            f"{RATE} --temperature 20 --readings x.csv",
            "give --temperature or --readings, not both",
        ),
    ],
)
def test_wrong_usage_of_rate_is_refused(capsys, words, said):
    """One line, exit code 2, nothing on stdout."""
    with pytest.raises(UsageError, match=said) as refused:
        run(*words.split())

    assert refused.value.exit_code == 2
    assert capsys.readouterr().out == ""
