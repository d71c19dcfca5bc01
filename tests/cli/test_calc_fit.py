"""``calc fit`` as the command line shows it."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from monitor.cli.calc_fit import COMMANDS, Row, read_durations
from monitor.cli.command import Context
from monitor.cli.main import build_parser
from monitor.errors import UsageError
from tests.science.published_durations import (
    ERYSIMI,
    GASTROPHYSA,
    SCIODREPOIDES_EGG,
    VARIVESTIS,
)

PNG = b"\x89PNG\r\n\x1a\n"


def run(*words):
    """Parse and run one command as the program would."""
    arguments = build_parser(COMMANDS).parse_args(["calc", "fit", *map(str, words)])
    return arguments.run(arguments, Context(Path()))


@pytest.fixture
def durations(tmp_path):
    """Write a file of durations; lines without the header, or rows."""

    def write(*lines, header="temperature,days", name="eggs.csv"):
        texts = [
            line if isinstance(line, str) else ",".join(map(str, line))
            for line in lines
        ]
        path = tmp_path / name
        path.write_text("\n".join([header, *texts]) + "\n", encoding="utf-8")
        return path

    return write


@pytest.fixture
def told(capsys):
    """Run with --json and read the one object."""

    def read(*words):
        code = run(*words, "--json")
        return code, json.loads(capsys.readouterr().out)

    return read


def test_prints_the_keys_of_the_contract(told, durations):
    """Gastrophysa viridula: published 7.1 degC and 304.6 degree-days (Honek 2003)."""
    code, printed = told("--durations", durations(*GASTROPHYSA))

    assert code == 0
    assert printed["lower_threshold"] == pytest.approx(7.1, abs=0.05)
    assert printed["required_degree_days"] == pytest.approx(304.6, abs=0.05)
    assert set(printed["methods"]) == {"ols_rate", "ikemoto_ols", "ikemoto_rma"}
    for method in printed["methods"].values():
        assert set(method) >= {
            "lower_threshold",
            "lower_threshold_se",
            "required_degree_days",
            "required_degree_days_se",
        }
    best = printed["methods"]["ols_rate"]
    assert best["lower_threshold"] == printed["lower_threshold"]
    assert best["required_degree_days"] == printed["required_degree_days"]


def test_animals_of_one_duration_are_counted(told, durations):
    """Published: 11.400 +- 0.368 degC over 222 eggs (Jakubec 2016, manuscript)."""
    rows = [(t, repr(hours / 24), n) for t, hours, n in SCIODREPOIDES_EGG]

    _, printed = told("--durations", durations(*rows, header="temperature,days,n"))

    line = printed["methods"]["ikemoto_ols"]
    assert (printed["n_counts"], printed["observations"]) == ("animals", 222)
    assert line["lower_threshold"] == pytest.approx(11.400, abs=0.0006)
    assert line["lower_threshold_se"] == pytest.approx(0.368, abs=0.0006)
    assert line["required_degree_days_se"] * 24 == pytest.approx(49.111, abs=0.006)


def test_n_of_means_weighs_and_does_not_multiply(told, durations):
    """One row per temperature: four observations, whatever n is; or as said."""
    rows = [(t, d, 50) for t, d in GASTROPHYSA]
    path = durations(*rows, header="temperature,days,n")

    _, means = told("--durations", path)
    _, animals = told("--durations", path, "--n-counts", "animals")

    assert (means["n_counts"], means["observations"]) == ("means", 4)
    assert animals["observations"] == 200
    assert animals["lower_threshold"] == pytest.approx(means["lower_threshold"])


def test_rows_outside_the_line_are_left_out_and_said(told, capsys, durations):
    """Epilachna up to 25 degC by least squares elsewhere: 8.4610 degC, 368.558."""
    path = durations("10,", *VARIVESTIS)

    _, printed = told("--durations", path, "--from", 11, "--to", 25)
    run("--durations", path, "--from", 11, "--to", 25)
    text = capsys.readouterr().out

    assert printed["lower_threshold"] == pytest.approx(8.4610, abs=6e-5)
    assert printed["required_degree_days"] == pytest.approx(368.558, abs=6e-4)
    assert [(r["line"], r["why"]) for r in printed["left_out"]] == [
        (2, "nothing developed"),
        (9, "above --to 25 °C"),
        (10, "above --to 25 °C"),
        (11, "above --to 25 °C"),
    ]
    assert "left out: line 2, 10 °C: nothing developed" in text
    assert text.count("above --to 25 °C") == 3


def test_colder_rows_are_left_out(told, durations):
    """The limit itself stays in."""
    _, printed = told("--durations", durations(*VARIVESTIS), "--from", 15, "--to", 25)

    assert printed["temperatures"] == [15, 17.5, 20, 22.5, 25]
    assert printed["left_out"][0]["why"] == "below --from 15 °C"


def test_rows_beyond_the_straight_part_are_noted_where_they_stay(capsys, durations):
    """The keeper is told what bends the line, and the option against it."""
    run("--durations", durations(*VARIVESTIS))

    assert "note: development is fastest at 27.5 °C" in capsys.readouterr().out


def test_prints_a_table_for_people(capsys, durations):
    """A line per method with both standard errors, then what it was made from."""
    run("--durations", durations(*GASTROPHYSA))

    head, *lines = capsys.readouterr().out.splitlines()
    assert head.split() == ["lower", "threshold", "required", "R²"]
    assert lines[0].startswith("rate on temperature, least squares")
    assert "7.10 ± 1.89 °C" in lines[0]
    assert "304.6 ± 35.1 °C·d" in lines[0]
    assert lines[1].startswith("Ikemoto-Takai, least squares")
    assert lines[2].startswith("Ikemoto-Takai, reduced major axis")
    assert lines[3].startswith("from 4 rows, used as they are, at 4 temperatures from")


def test_a_model_is_fitted_to_all_rows(told, durations):
    """The curve needs the hot rows that the lines leave out."""
    code, printed = told(
        "--durations", durations(*ERYSIMI), "--to", 25, "--model", "briere-1"
    )

    curve = printed["model"]
    assert code == 0
    assert (curve["name"], curve["converged"], curve["rows"]) == ("briere-1", True, 12)
    assert [p["name"] for p in curve["parameters"]] == ["a", "T0", "Tm"]
    assert curve["parameters"][1]["value"] == pytest.approx(4.1863, abs=6e-5)
    assert curve["parameters"][1]["standard_error"] == pytest.approx(0.545, abs=6e-4)
    assert curve["residual_sum"] == pytest.approx(1.17219e-4, rel=1e-5)
    assert curve["aicc"] < -100


def test_a_model_is_told_to_people(capsys, durations):
    """Parameters with unit and standard error, residual sum, AICc."""
    code = run("--durations", durations(*ERYSIMI), "--model", "briere-1")

    text = capsys.readouterr().out
    assert code == 0
    assert "briere-1, least squares on rate, all 12 rows with a duration:" in text
    assert "  T0 = 4.18631 ± 0.545 °C\n" in text
    assert "residual sum 0.0001172 1/d², AICc -124.72" in text


def test_a_model_that_did_not_converge_is_said_with_exit_code_1(capsys, durations):
    """Logan-6 has a parameter too many for these rows."""
    code = run("--durations", durations(*ERYSIMI), "--model", "logan-6")

    text = capsys.readouterr().out
    assert code == 1
    assert "did not converge: the rows do not tell phi, rho and dT apart" in text
    assert "phi = " in text
    assert "± ?" in text


def test_a_picture_is_drawn_and_not_overwritten(durations, tmp_path):
    """PNG, whole; --force overwrites; nothing else is left in the folder."""
    folder = tmp_path / "pictures"
    folder.mkdir()
    words = ["--durations", durations("8,", *VARIVESTIS), "--to", 25, "--plot",
             folder / "eggs.png"]  # fmt: skip

    run(*words, "--model", "taylor")
    first = (folder / "eggs.png").read_bytes()
    with pytest.raises(UsageError, match=r"eggs\.png: is there already; give --force"):
        run(*words)
    unchanged = (folder / "eggs.png").read_bytes()
    run(*words, "--force")
    forced = (folder / "eggs.png").read_bytes()

    assert first.startswith(PNG)
    assert unchanged == first
    assert forced.startswith(PNG)
    assert forced != first
    assert [path.name for path in folder.iterdir()] == ["eggs.png"]


@pytest.mark.parametrize(
    ("target", "words"),
    [
        ("none/eggs.png", r"cannot be written: No such file or directory"),
        ("eggs.csv/eggs.png", r"cannot be written: Not a directory"),
        ("folder.png", r"is there already"),
        ("eggs.pdf", r"give a name that ends in \.png"),
        ("x" * 300 + ".png", r"cannot be written: File name too long"),
    ],
)
def test_a_picture_that_cannot_be_written_is_one_line(
    capsys, durations, tmp_path, target, words
):
    """Named, with the cause; nothing printed before."""
    path = durations(*GASTROPHYSA)
    (tmp_path / "folder.png").mkdir()

    with pytest.raises(UsageError, match=words) as refused:
        run("--durations", path, "--plot", tmp_path / target)

    assert "\n" not in str(refused.value)
    assert capsys.readouterr().out == ""


def test_a_folder_is_not_overwritten_even_if_forced(durations, tmp_path):
    """And the half-written file beside it is gone."""
    path = durations(*GASTROPHYSA)
    (tmp_path / "folder.png").mkdir()

    with pytest.raises(UsageError, match="cannot be written: Is a directory"):
        run("--durations", path, "--plot", tmp_path / "folder.png", "--force")

    assert {p.name for p in tmp_path.iterdir()} == {"eggs.csv", "folder.png"}


def test_p1_pyplot_is_never_imported(durations, tmp_path):
    """Neither is SciPy or matplotlib where no option asks for it."""
    script = (
        "import sys; from pathlib import Path;"
        "from monitor.cli.calc_fit import COMMANDS;"
        "from monitor.cli.command import Context; import argparse;"
        "parser = argparse.ArgumentParser(); parser.add_argument('--json');"
        "COMMANDS[0].arguments(parser);"
        "run = lambda *words: COMMANDS[0].run("
        "    parser.parse_args(list(words)), Context(Path()));"
        "run('--durations', sys.argv[1]);"
        "early = {'scipy', 'matplotlib'} & set(sys.modules);"
        "run('--durations', sys.argv[1], '--plot', sys.argv[2]);"
        "print(sorted(early), 'matplotlib.pyplot' in sys.modules,"
        " 'matplotlib.figure' in sys.modules)"
    )

    ended = subprocess.run(
        [sys.executable, "-c", script, durations(*GASTROPHYSA), tmp_path / "a.png"],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )

    assert ended.stdout.splitlines()[-1] == "[] False True"


WRONG = {
    "zero": (["20,0"], r"line 2: '0' is no duration: write days, 0\.001 to 36500"),
    "negative": (["20,10", "25,-8"], "line 3: '-8' is no duration"),
    "NaN": (["20,nan"], "line 2: 'nan' is no duration"),
    "infinite": (["20,inf"], "'inf' is no duration: .* leave the field empty"),
    "overflow": (["20,1e999"], "'1e999' is no duration"),
    "a billion years": (["20,1e12"], "'1e12' is no duration"),
    "words": (["20,ten"], "line 2: 'ten' is no duration"),
    "no temperature": ([",10"], "line 2: '' is not a finite number"),
    "NaN temperature": (["nan,10"], "line 2: 'nan' is not a finite number"),
    "absolute zero": (["-300,10"], "line 2: -300 °C is below absolute zero"),
    "three fields": (["20,10,5"], "line 2: 2 fields are needed, found 3"),
    "one field": (["20"], "line 2: 2 fields are needed, found 1"),
    "no row": ([], r"3 or more different temperatures, found 0 \(none\)"),
    "two temperatures": (
        ["20,10", "25,8", "25,7"],
        r"3 or more different temperatures, found 2 \(20, 25\)",
    ),
    "two that developed": (
        ["15,", "20,10", "25,8"],
        r"found 2 \(20, 25\) \(without the 1 left out\)",
    ),
    "slower in the warm": (
        ["20,10", "25,12", "30,15"],
        "does not get faster with temperature .* --from and --to",
    ),
    "Fahrenheit": (
        ["64.4,28.2", "70.7,21.6", "77,16.1", "82.4,15"],
        r"line 2: 64.4 °C, .* \(4 of 4 rows are\): if this is °F, .* \(F - 32\) / 1.8",
    ),
    "one typing error": (["20,10", "250,8", "30,6"], r"line 3: 250 °C, .* \(1 of 3 "),
}


@pytest.mark.parametrize("fault", WRONG)
def test_a_wrong_file_is_refused_in_one_line(capsys, durations, fault):
    """File, line, value and mend; exit code 2; nothing on stdout."""
    lines, words = WRONG[fault]
    path = durations(*lines)

    with pytest.raises(UsageError, match=words) as refused:
        run("--durations", path, "--json")

    assert refused.value.exit_code == 2
    assert str(path) in str(refused.value)
    assert "\n" not in str(refused.value)
    assert capsys.readouterr().out == ""


@pytest.mark.parametrize("n", ["0", "-3", "2.5", "", "many", "1e3", "9" * 30])
def test_an_impossible_number_of_animals_is_refused(durations, n):
    """N counts animals."""
    path = durations(f"20,10,{n}", header="temperature,days,n")

    with pytest.raises(UsageError, match=f"line 2: n is '{n}': write how many animals"):
        run("--durations", path)


def test_a_row_without_development_needs_no_n(durations):
    """Nothing developed, nobody is counted; blank lines and a BOM pass."""
    path = durations("10,,", "", " 20 , 10 ,4", header="\ufefftemperature, days, n")

    assert read_durations(path) == [Row(2, 10, None, None), Row(4, 20, 10, 4)]


@pytest.mark.parametrize("header", ["days,temperature", "temperature", "", "t,d"])
def test_a_wrong_header_is_refused(durations, header):
    """The header says what the columns are."""
    path = durations("20,10", header=header)

    with pytest.raises(UsageError, match="header must be temperature,days or"):
        run("--durations", path)


def test_files_that_cannot_be_read_are_refused(tmp_path):
    """Missing, a directory, not text."""
    (tmp_path / "bytes.csv").write_bytes(b"temperature,days\n\xff\xfe,1\n")

    for name, words in [
        ("none.csv", "cannot be read: No such file"),
        ("", "cannot be read: Is a directory"),
        ("bytes.csv", "is no CSV file in UTF-8"),
    ]:
        with pytest.raises(UsageError, match=words):
            run("--durations", tmp_path / name)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("--from 30 --to 20", r"--from 30 is not below --to 20 \(swap them\?\)"),
        ("--from 20 --to 20", "--from 20 is not below --to 20"),
        ("--to nan", "'nan' is not a finite number"),
        ("--from 24", r"found 2 \(25, 28\) \(without the 2 left out\)"),
        ("--model briere", r"--model: no rate model 'briere' .*briere-1"),
        ("--model briere-2", "briere-2 has 4 parameters .* found 4 and 4"),
        ("--n-counts boxes", "invalid choice: 'boxes'"),
    ],
)
def test_wrong_usage_is_refused(capsys, durations, words, said):
    """One line in words, nothing on stdout."""
    with pytest.raises(UsageError, match=said):
        run("--durations", durations(*GASTROPHYSA), *words.split())

    assert capsys.readouterr().out == ""


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=20)
@given(order=st.permutations(range(len(VARIVESTIS))))
def test_the_order_of_lines_does_not_matter(durations, capsys, order):
    """A shuffled file says the same to every printed digit."""
    capsys.readouterr()
    run("--durations", durations(*VARIVESTIS, name="one.csv"))
    one = capsys.readouterr().out
    run("--durations", durations(*(VARIVESTIS[i] for i in order), name="two.csv"))

    assert capsys.readouterr().out == one
