"""``calc air`` and ``calc degree-days`` as the command line shows them."""

import json
import random
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from monitor.cli.calc import COMMANDS
from monitor.cli.calc_readings import read_readings
from monitor.cli.command import Context
from monitor.cli.main import build_parser
from monitor.errors import UsageError


def run(*words):
    """Parse and run one command as the program would."""
    arguments = build_parser(COMMANDS).parse_args(["calc", *map(str, words)])
    return arguments.run(arguments, Context(Path()))


@pytest.fixture
def readings(tmp_path):
    """Write a file of readings; lines without the header."""

    def write(*lines, header="time,temperature", name="shelf.csv"):
        path = tmp_path / name
        path.write_text("\n".join([header, *lines]) + "\n", encoding="utf-8")
        return path

    return write


STEADY = ["2026-03-01T00:00:00Z,20", "2026-03-01T01:00:00Z,20"]


def test_air_prints_the_keys_of_the_contract(capsys):
    """Five figures; 25 degC and 80 % by PsychroLib 2.5.0's docstring: 21.309."""
    code = run("air", "--temperature", 25, "--humidity", 80, "--json")

    printed = json.loads(capsys.readouterr().out)
    assert code == 0
    assert set(printed) == {
        "saturation_vapour_pressure_pa",
        "vapour_pressure_deficit_pa",
        "dew_point_c",
        "absolute_humidity_g_m3",
        "wet_bulb_c",
    }
    assert printed["dew_point_c"] == pytest.approx(21.3094, abs=0.01)


def test_air_takes_temperatures_below_zero_and_a_pressure(capsys):
    """A wet bulb falls with the pressure; negative numbers are no options."""
    run("air", "--temperature", -5, "--humidity", 50, "--json")
    sea = json.loads(capsys.readouterr().out)
    run("air", "--temperature", -5, "--humidity", 50, "--pressure", 70000, "--json")
    hill = json.loads(capsys.readouterr().out)

    assert hill["wet_bulb_c"] < sea["wet_bulb_c"] < -5


def test_air_prints_a_table_with_units(capsys):
    """For people: one line per figure, with its unit."""
    run("air", "--temperature", 25, "--humidity", 80)

    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 5
    assert lines[0].endswith("Pa")
    assert lines[2].split()[:3] == ["dew", "point", "21.31"]


def test_degree_days_print_the_keys_of_the_contract(capsys, readings):
    """Case P05: a day from 0 to 40 between 10 and 30 is 10."""
    path = readings("2026-03-02T00:00:00Z,40", "2026-03-01T00:00:00Z,0")

    run(*f"degree-days --readings {path} --lower 10 --upper 30".split(), "--json",
        "--max-gap", "24h")  # fmt: skip

    assert json.loads(capsys.readouterr().out) == {
        "degree_days": pytest.approx(10),
        "estimate": pytest.approx(10),
        "low": pytest.approx(10),
        "high": pytest.approx(10),
        "coverage": 1,
    }


@pytest.mark.parametrize(
    ("cutoff", "expected"), [("vertical", 5), ("intermediate", 8.75)]
)
def test_degree_days_under_the_other_cutoffs(capsys, readings, cutoff, expected):
    """Case P05 again, cut off vertically and in between."""
    path = readings("2026-03-01T00:00:00Z,0", "2026-03-02T00:00:00Z,40")

    run("degree-days", "--readings", path, "--lower", 10, "--upper", 30, "--cutoff",
        cutoff, "--json", "--max-gap", "1 d")  # fmt: skip

    assert json.loads(capsys.readouterr().out)["degree_days"] == pytest.approx(expected)


@pytest.mark.parametrize("spelled", [(), ("--max-gap", "2h"), ("--max-gap", "2 h")])
def test_a_gap_widens_the_bounds(capsys, readings, spelled):
    """One hour of 20 degC, then four silent hours: coverage a fifth."""
    path = readings(*STEADY, "2026-03-01T05:00:00Z,20")

    run("degree-days", "--readings", path, "--lower", 10, "--upper", 34, *spelled,
        "--json")  # fmt: skip

    assert json.loads(capsys.readouterr().out) == {
        "degree_days": pytest.approx(10 / 24),
        "estimate": pytest.approx(50 / 24),
        "low": pytest.approx(10 / 24),
        "high": pytest.approx(10 / 24 + 4),
        "coverage": pytest.approx(0.2),
    }


def test_without_an_upper_threshold_there_is_no_upper_bound(capsys, readings):
    """High is null; the cutoff is ignored."""
    path = readings(*STEADY)

    run("degree-days", "--readings", path, "--lower", 10, "--cutoff", "vertical",
        "--json")  # fmt: skip

    printed = json.loads(capsys.readouterr().out)
    assert printed["high"] is None
    assert printed["degree_days"] == pytest.approx(10 / 24)


def test_nothing_measured_is_no_estimate(capsys, readings):
    """Two readings too far apart: no warmth is known, and it says so."""
    path = readings("2026-03-01T00:00:00Z,20", "2026-03-02T00:00:00Z,20")
    asked = ["degree-days", "--readings", path, "--lower", 10, "--upper", 30]

    run(*asked, "--json")
    printed = json.loads(capsys.readouterr().out)
    run(*asked)
    said = capsys.readouterr().out

    assert printed == {
        "degree_days": 0,
        "estimate": None,
        "low": 0,
        "high": 20,
        "coverage": 0,
    }
    assert "unknown" in said
    assert "readings more than 2 h apart count as missing" in said


def test_degree_days_print_a_table_with_units(capsys, readings):
    """For people: figures with units, and the time that they are of."""
    run("degree-days", "--readings", readings(*STEADY), "--lower", 10)

    lines = capsys.readouterr().out.splitlines()
    assert lines[0].split() == ["measured", "0.42", "°C·d"]
    assert "no limit" in lines[3]
    assert "2026-03-01 00:00 to 2026-03-01 01:00 UTC" in lines[-1]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 10**6), repeats=st.lists(st.integers(0, 9), max_size=5))
def test_order_and_repeats_of_lines_do_not_matter(readings, seed, repeats):
    """A shuffled file with repeated lines is the same file."""
    lines = [f"2026-03-01T{hour:02}:00:00Z,{20 + hour / 3:.3f}" for hour in range(10)]
    mixed = lines + [lines[n] for n in repeats]
    random.Random(seed).shuffle(mixed)  # noqa: S311 - a repeatable order

    times, values = read_readings(readings(*mixed, name="mixed.csv"))
    expected = read_readings(readings(*lines))

    assert times.tolist() == expected[0].tolist()
    assert values.tolist() == expected[1].tolist()


def test_one_instant_in_two_zones_is_one_instant(readings):
    """01:00+01:00 is 00:00Z: equal values collapse; a BOM and blank lines pass."""
    path = readings(
        "2026-03-01T01:00:00+01:00,20", "", *STEADY, header="\ufefftime,temperature"
    )

    times, _values = read_readings(path)

    assert times.size == 2


WRONG = {
    "two values": (
        [*STEADY, "2026-03-01T02:00:00+01:00,21.5"],
        r"2026-03-01T01:00:00\+00:00 has two values, 20 \(line 3\) and 21.5 \(line 4\)",
    ),
    "naive": (["2026-03-01T00:00:00,20"], "line 2: .* has no time zone: write Z"),
    "no time": ([*STEADY, "yesterday,20"], "line 4: 'yesterday' is no time"),
    "NaN": ([*STEADY, "2026-03-01T02:00:00Z,nan"], "line 4: 'nan' is not a finite"),
    "infinite": ([*STEADY, "2026-03-01T02:00:00Z,1e999"], "line 4: '1e999' is not a"),
    "grouped": ([*STEADY, "2026-03-01T02:00:00Z,2_0"], "line 4: '2_0' is not a finite"),
    "empty": ([*STEADY, "2026-03-01T02:00:00Z,"], "line 4: '' is not a finite number"),
    "three fields": ([*STEADY, "2026-03-01T02:00:00Z,2,0"], "line 4: two fields"),
    "absolute zero": ([*STEADY, "2026-03-01T02:00:00Z,-300"], "line 4: -300 °C is"),
    "one reading": ([STEADY[0], STEADY[0]], "at least two readings .* found 1"),
    "no reading": ([], "at least two readings .* found 0"),
    "Fahrenheit": (
        [f"2026-03-01T{h:02}:00:00Z,{v}" for h, v in enumerate([48, 68, 75])],
        r"2 of 3 readings are above 50 °C: they look like °F; .* \(F - 32\) / 1.8",
    ),
}


@pytest.mark.parametrize("fault", WRONG)
def test_a_wrong_file_is_refused_in_one_line(capsys, readings, fault):
    """File, line, value and mend; exit code 2; nothing on stdout."""
    lines, words = WRONG[fault]
    path = readings(*lines)

    with pytest.raises(UsageError, match=words) as refused:
        run("degree-days", "--readings", path, "--lower", 10, "--json")

    assert refused.value.exit_code == 2
    assert str(path) in str(refused.value)
    assert capsys.readouterr().out == ""


def test_a_wrong_header_is_refused(readings):
    """The header says what the columns are."""
    path = readings(*STEADY, header="temperature,time")

    with pytest.raises(UsageError, match="the header must be time,temperature, found"):
        read_readings(path)


def test_files_that_cannot_be_read_are_refused(tmp_path):
    """Missing, a directory, not text."""
    (tmp_path / "bytes.csv").write_bytes(b"time,temperature\n\xff\xfe,1\n")

    for name, words in [
        ("none.csv", "cannot be read: No such file"),
        ("", "cannot be read: Is a directory"),
        ("bytes.csv", "is no CSV file in UTF-8"),
    ]:
        with pytest.raises(UsageError, match=words):
            read_readings(tmp_path / name)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (
            "--lower 30 --upper 10",
            r"30 is not below upper threshold 10 \(swap them\?\)",
        ),
        ("--lower nan", "'nan' is not a finite number"),
        ("--lower 10 --upper inf", "'inf' is not a finite number"),
        ("--lower 10 --max-gap 2", "2. is no span: write"),
        ("--lower 10 --max-gap 0h", "give a span above zero"),
        ("--lower 10 --max-gap 9999999999d", "max-gap"),
        ("--lower 10 --cutoff sideways", "invalid choice: 'sideways'"),
        ("", "required: --lower"),
    ],
)
def test_wrong_usage_of_degree_days_is_refused(readings, words, said):
    """Swapped thresholds, values that are none, spans without unit."""
    with pytest.raises(UsageError, match=said):
        run("degree-days", "--readings", readings(*STEADY), *words.split())


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("--temperature 25 --humidity 0", "perfectly dry air has no dew point"),
        ("--temperature 25 --humidity 101", "between 0 and 100 %, got 101"),
        ("--temperature 250 --humidity 50", "between -100 and 100 C, got 250"),
        ("--temperature 25 --humidity 50 --pressure 1013", "1013 hPa are 101300 Pa"),
        ("--temperature warm --humidity 50", "'warm' is not a finite number"),
        ("--temperature 25", "required: --humidity"),
    ],
)
def test_wrong_usage_of_air_is_refused(capsys, words, said):
    """One line in words, nothing on stdout."""
    with pytest.raises(UsageError, match=said):
        run("air", *words.split())

    assert capsys.readouterr().out == ""
