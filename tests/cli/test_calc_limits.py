"""
What no thermometer reads, no clock tells and no stage does: one line each.

And what looks odd, but is right: negative numbers in any notation, quoted line ends.
"""

import json

import pytest

from monitor.cli.main import build_parser
from monitor.cli.registry import COMMANDS

RATE = "calc rate --temperature 25 --model"
CHECKS = "[gross_range]\nfail = [-20, 60]\n"


@pytest.fixture
def table(tmp_path):
    """Write lines below a header and give the name of the file."""

    def write(*lines, header="time,temperature"):
        path = tmp_path / "table.csv"
        path.write_text("\n".join([header, *lines]) + "\n", encoding="utf-8")
        return str(path)

    return write


def hours(*values):
    """Lines of readings an hour apart."""
    return [f"2026-03-01T{h:02}:00:00Z,{value}" for h, value in enumerate(values)]


def refused(ended, *parts):
    """Whether it ended with one line that holds these words, and nothing else."""
    assert (ended.code, ended.out) == (2, "")
    assert ended.err.count("\n") == 1
    for part in parts:
        assert part in ended.err


@pytest.mark.parametrize("as_json", [[], ["--json"]])
@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("999", "999 °C is above 100 °C"),
        ("100.1", "if it is °F, convert it first: (F - 32) / 1.8"),
        ("1e308", "1e+308 °C is above 100 °C, which no thermometer of an insect house"),
        ("-127", "-127 °C is below -60 °C"),
        ("-1e308", "leave the line out, and its time counts as missing"),
    ],
)
def test_what_no_thermometer_reads_is_refused(command, table, value, words, as_json):
    """One line among good ones is enough; file, line, value, limit and mend."""
    path = table(*hours(20, value, 21))

    summed = command("calc", "degree-days", "--readings", path, "--lower", "10",
                     *as_json)  # fmt: skip
    grown = command("calc", "rate", "--model", "linear", "--parameter", "T0=10",
                    "K=200", "--readings", path, *as_json)  # fmt: skip

    refused(summed, f"{path}: line 3: ", words)
    refused(grown, f"{path}: line 3: ", words)


def test_what_a_thermometer_may_read_is_summed(command, table):
    """Both limits themselves; the rule of more than half above 50 degC stays."""
    path = table(*hours(-60, 100, 20))

    ended = command(
        "calc", "degree-days", "--readings", path, "--lower", "10", "--json"
    )

    assert ended.code == 0
    assert json.loads(ended.out)["degree_days"] > 0
    refused(
        command("calc", "degree-days", "--readings", table(*hours(68, 70, 72)),
                "--lower", "10"),
        "3 of 3 readings are above 50 °C: they look like °F; convert them first",
    )  # fmt: skip


def test_the_quality_of_such_values_is_judged(command, table, tmp_path):
    """`calc quality` refuses none of them: that is its work."""
    (tmp_path / "checks.toml").write_text(CHECKS, encoding="utf-8")
    path = table(*hours(20, 999, 1e308, -127, "inf", ""), header="time,value")

    ended = command("calc", "quality", "--readings", path, "--checks",
                    str(tmp_path / "checks.toml"), "--json")  # fmt: skip

    assert json.loads(ended.out)["flags"] == [1, 4, 4, 4, 4, 9]


@pytest.mark.parametrize(
    "time",
    [
        "9999-12-31T23:59:59-14:00",
        "0001-01-01T00:00:00+14:00",
        "1969-12-31T23:59:59.999999Z",
        "2200-01-01T00:00:00Z",
        "2026-03-01T02:00:00Z".replace("2026", "2626"),
    ],
)
def test_times_that_no_reading_has_are_refused(command, table, tmp_path, time):
    """Before anything is printed, for people and for programs."""
    (tmp_path / "checks.toml").write_text(CHECKS, encoding="utf-8")
    path = table(*hours(20), f"{time},22")
    words = f"line 3: {time!r} is not between 1970 and 2200, in UTC: correct the year"

    refused(command("calc", "degree-days", "--readings", path, "--lower", "10"), words)
    path = table(*hours(20), f"{time},22", header="time,value")
    refused(command("calc", "quality", "--readings", path, "--checks",
                    str(tmp_path / "checks.toml")), words)  # fmt: skip


@pytest.mark.parametrize(
    "time", ["1970-01-01T00:00:00Z", "2199-12-31T23:59:59.999999Z"]
)
def test_the_first_and_the_last_time_are_taken(command, table, time):
    """The ends of the years that are allowed, to the microsecond."""
    path = table(*hours(20), f"{time},22")

    ended = command("calc", "degree-days", "--readings", path, "--lower", "10")

    assert ended.code == 0
    assert time[:10] in ended.out


@pytest.mark.parametrize("as_json", [[], ["--json"]])
@pytest.mark.parametrize(
    ("words", "said"),
    [
        (
            "linear --parameter T0=10 K=100 --temperature 77",
            "--temperature 77 °C is above 50 °C: it looks like °F; convert it first",
        ),
        (
            "linear --parameter T0=10 K=100 --temperature=-1e2",
            "--temperature -100 °C is below -60 °C, and no animal develops there",
        ),
        (
            "linear --parameter T0=10 K=1e-300 --temperature 1e308",
            "the highest rate is 4e+301 a day, and no stage is over in less than 0.001",
        ),
        ("linear --parameter T0=-1e308 K=1e-3", "no finite rates come of T0 -1e+308"),
        ("briere-1 --parameter a=2 T0=9.6 Tm=36.6", "look for a wrong power of ten"),
        ("briere-1 --parameter a=1e-5 T0=-1e200 Tm=1e200", "no finite rates come of a"),
        ("briere-2 --parameter a=1e-5 T0=9 Tm=40 m=1e-300", "no finite rates come of"),
        (
            "briere-2 --parameter a=1e-5 T0=9 Tm=40 m=1e300",
            "m 1e+300: look for a wrong",
        ),
        ("lactin-1 --parameter rho=1e-300 Tm=40 dT=1e-300", "no finite rates come of"),
        ("lactin-2 --parameter rho=0.1 Tm=40 dT=2 lambda=1e308", "is 1e+308 a day"),
        ("lactin-2 --parameter rho=1e-300 Tm=40 dT=1e-300 lambda=-1", "come of rho"),
        ("taylor --parameter Rm=1 Tm=25 To=1e-320", "no finite rates come of Rm 1"),
        ("taylor --parameter Rm=1e308 Tm=25 To=5", "the highest rate is 1e+308 a day"),
        ("logan-6 --parameter phi=1e308 rho=0.1 Tm=40 dT=2", "come of phi 1e+308, rho"),
    ],
)
def test_rates_that_no_animal_has_are_refused(command, words, said, as_json):
    """Fahrenheit, powers of ten and what no double holds; never Infinity."""
    refused(command(*f"{RATE} {words}".split(), *as_json), said)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("--max 1e308 --unit F", "--max 1e+308 °F is above 122 °F, and no animal"),
        ("--lower=-1e308 --upper 30", "lower threshold -1e+308 is below absolute zero"),
        ("--lower -100", "--lower -100 °C is below -60 °C, and no animal develops"),
        ("--min -200", "--min -200 °C is below -60 °C"),
    ],
)
def test_a_day_that_no_animal_lives_through_is_refused(command, words, said):
    """Both ends of both units."""
    day = "--min 12 --max 24 --lower 10 --method average"

    refused(command("calc", "degree-days", *day.split(), *words.split()), said)


def test_a_threshold_of_readings_has_the_same_limits(command, table):
    """A sum from -1e308 would be infinite."""
    path = table(*hours(20, 21))

    ended = command("calc", "degree-days", "--readings", path, "--lower", "-1e308")

    refused(ended, "--lower -1e+308 °C is below -60 °C")


@pytest.mark.parametrize("method", ["average", "clipped-average", "single-triangle"])
def test_a_next_minimum_needs_a_method_that_looks_at_it(command, method):
    """It was given for a reason, so it is not ignored."""
    day = "--min 12 --max 24 --lower 10 --next-min 3 --method"

    refused(
        command("calc", "degree-days", *day.split(), method),
        "--next-min belongs to --method double-sine and double-triangle",
        f"not to {method}: leave it out",
    )


NUMBERS = [
    ("degree-days", "--lower"),
    ("degree-days", "--upper"),
    ("degree-days", "--min"),
    ("degree-days", "--max"),
    ("degree-days", "--next-min"),
    ("air", "--temperature"),
    ("air", "--humidity"),
    ("air", "--pressure"),
    ("rate", "--temperature"),
    ("fit", "--from"),
    ("fit", "--to"),
]
NEEDED = {
    "degree-days": "--lower 10",
    "air": "--temperature 20 --humidity 50",
    "rate": "",
    "fit": "--durations eggs.csv",
}


@pytest.mark.parametrize("spelled", ["-1e-3", "-.001", "-0.001", "-1.0E-3"])
@pytest.mark.parametrize(("verb", "option"), NUMBERS)
def test_negative_numbers_are_no_options(verb, option, spelled):
    """In any notation, for every option of `calc` that takes a number."""
    words = ["calc", verb, *NEEDED[verb].split(), option, spelled]

    found = vars(build_parser().parse_args(words))

    name = {"--from": "coldest", "--to": "hottest"}.get(option, option.strip("-"))
    assert found[name.replace("-", "_")] == -0.001


def test_every_number_of_calc_is_in_the_list_above():
    """A new option, or a new command, is to be tried too."""
    parsers = build_parser(COMMANDS)._subparsers._group_actions[0].choices["calc"]
    verbs = parsers._subparsers._group_actions[0].choices

    found = {
        (verb, action.option_strings[0])
        for verb, parser in verbs.items()
        for action in parser._actions
        if getattr(action.type, "__name__", "") == "number"
    }

    assert found == set(NUMBERS)


def test_minus_infinity_is_told_to_be_no_number(command):
    """And not that an argument is missing."""
    ended = command("calc", "degree-days", "--lower", "-inf")

    refused(ended, "--lower: '-inf' is not a finite number")


@pytest.mark.parametrize(
    ("content", "line"),
    [
        (b"time,temperature\n2026-03-01T00:00:00Z,20\n2026-03-01T01:00:00Z,2\xb0\n", 3),
        (b"time,temperature\r2026-03-01T00:00:00Z,20\r\r\xff\r", 4),
        (
            b"time,temperature\r\n" + 9000 * b"2026-03-01T00:00:00Z,20\r\n" + b"\xe9",
            9002,
        ),
        (b"temp\xe9rature\n", 1),
    ],
)
def test_what_is_no_utf_8_is_told_by_its_line(command, tmp_path, content, line):
    """Of any line ends, however far down; durations as readings."""
    path = tmp_path / "table.csv"
    path.write_bytes(content)

    ended = command("calc", "degree-days", "--readings", str(path), "--lower", "10")

    refused(ended, f"table.csv: line {line}: ", "save it as UTF-8")


def test_letters_beyond_ascii_are_utf_8(command, table):
    """They are told as what they are: no number."""
    refused(
        command("calc", "degree-days", "--readings", table(*hours(20, "2°")),
                "--lower", "10"),
        "line 3: '2°' is not a finite number",
    )  # fmt: skip


def test_a_quoted_line_end_does_not_shift_what_is_told(command, table):
    """The line is the one that an editor shows, where the row begins."""
    fitted = table('18,"28\n"', '"21\n",21.6', "25,0", header="temperature,days")

    ended = command("calc", "fit", "--durations", fitted)

    refused(ended, "line 6: '0' is no duration")
    path = table('2026-03-01T00:00:00Z,"20\n"', '2026-03-01T01:00:00Z,"20\n\n"',
                 "2026-03-01T02:00:00Z,warm")  # fmt: skip
    ended = command("calc", "degree-days", "--readings", path, "--lower", "10")
    refused(ended, "line 7: 'warm' is not a finite number")


def test_two_values_of_one_time_are_told_by_their_lines(command, table):
    """However far apart in an unsorted file, the smaller line first."""
    path = table(*reversed(hours(20, 21, 22)), "", hours(20, 21.5)[1])

    ended = command("calc", "degree-days", "--readings", path, "--lower", "10")

    refused(ended, "01:00:00+00:00 has two values, 21 (line 3) and 21.5 (line 6)")
