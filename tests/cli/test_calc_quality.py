"""``calc quality`` as the command line shows it."""

import json

import pytest

from tests.site import forms


@pytest.fixture
def files(tmp_path):
    """A file of readings from its lines, and the checks of the complete form."""

    def write(*lines, header="time,value", checks=forms.CHECKS):
        readings, limits = tmp_path / "shelf.csv", tmp_path / "checks.toml"
        readings.write_text("\n".join([header, *lines]) + "\n", encoding="utf-8")
        limits.write_text(checks, encoding="utf-8")
        return ["--readings", str(readings), "--checks", str(limits)]

    return write


def minutes(*values, step=5):
    """Lines of readings at a steady interval."""
    return [
        f"2026-03-01T{i * step // 60:02}:{i * step % 60:02}:00Z,{value}"
        for i, value in enumerate(values)
    ]


DAY = minutes(24.0, 24.3, 35.1, 24.1, "", 24.2, 70, 24.4)


def test_it_prints_the_keys_of_the_contract(command, files):
    """Flags of each check and together, one for each reading."""
    said = command("calc", "quality", *files(*DAY), "--json")

    got = json.loads(said.out)
    assert (said.code, said.err) == (0, "")
    assert list(got["by_check"]) == [
        *("gross_range", "spike", "rate_of_change"),
        *("flat_line", "attenuated_signal", "gap"),
    ]
    assert got["by_check"]["gross_range"] == [1, 1, 1, 1, 9, 1, 4, 1]
    assert got["by_check"]["spike"] == [2, 1, 4, 2, 9, 2, 4, 2]
    assert got["by_check"]["rate_of_change"] == [2, 1, 4, 4, 9, 2, 4, 4]
    assert got["flags"] == [2, 2, 4, 4, 9, 2, 4, 4]
    assert got["times"][0] == "2026-03-01T00:00:00Z"


def test_people_get_counts_and_the_first_times(command, files):
    """How many of each flag, and where to look."""
    said = command("calc", "quality", *files(*DAY))

    lines = said.out.splitlines()
    assert lines[0] == "readings           pass  not evaluated  suspect  fail  missing"
    assert lines[1].split() == ["gross_range", "6", "0", "0", "1", "1"]
    assert lines[7].split() == ["worst", "of", "all", "0", "3", "0", "4", "1"]
    assert "2026-03-01T00:10:00Z  35.1   fail  spike, rate_of_change" in said.out
    assert "2026-03-01T00:30:00Z  70     fail  gross_range, spike," in said.out


def test_a_long_list_is_cut_and_a_good_series_is_said_to_be_good(command, files):
    """Ten times are shown, the rest is counted."""
    bad = command("calc", "quality", *files(*minutes(*[70] * 14)))
    good = command("calc", "quality", *files(*minutes(24.0, 24.1)))

    assert "and 4 more: --json has all" in bad.out
    assert bad.out.count("gross_range") == 11
    assert "nothing is suspect or failed" in good.out


def test_known_failure_values_need_the_quantity(command, files):
    """85 out of nowhere means failure only where the values are degC."""
    given = files(*minutes(24, 85, 24), checks='[gap]\nlongest = "1 h"\n')

    told = command("calc", "quality", *given, "--json", "--quantity", "air_temperature")
    untold = command("calc", "quality", *given, "--json")

    assert json.loads(told.out)["by_check"]["signature"] == [1, 4, 1]
    assert json.loads(untold.out)["flags"] == [1, 1, 1]


def test_lines_are_sorted_and_repeats_collapse(command, files):
    """Order does not matter, nor does a line that stands twice, missing or not."""
    turned = [*reversed(DAY), DAY[4], DAY[2]]

    plain = command("calc", "quality", *files(*DAY), "--json")
    other = command("calc", "quality", *files(*turned), "--json")

    assert other.out == plain.out


def test_values_as_probes_send_them_are_data(command, files):
    """NaN is missing and infinity fails; neither is an error of the file."""
    said = command("calc", "quality", *files(*minutes(24, "NaN", "inf")), "--json")

    assert json.loads(said.out)["by_check"]["gross_range"] == [1, 9, 4]


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (
            ["2026-03-01T00:00:00Z,24", "2026-03-01T01:00:00+01:00,25"],
            "2026-03-01T00:00:00+00:00 has two values, 24 (line 2) and 25 (line 3)",
        ),
        (
            ["2026-03-01T00:00:00Z,24", "2026-03-01T00:00:00Z,"],
            "has two values, 24 (line 2) and none (line 3): keep one",
        ),
        (["2026-03-01T00:00:00,24"], "line 2: '2026-03-01T00:00:00' has no time zone"),
        (["today,24"], "line 2: 'today' is no time: write 2026-03-01T06:00:00Z"),
        (["2026-03-01T00:00:00Z,warm"], "'warm' is no number: leave a missing value"),
        (["2026-03-01T00:00:00Z"], "line 2: two fields are needed, found 1"),
        ([], "holds no reading"),
    ],
)
def test_a_bad_line_ends_with_2_and_names_it(command, files, lines, said):
    """One line on stderr, nothing on stdout."""
    got = command("calc", "quality", *files(*lines))

    assert (got.code, got.out) == (2, "")
    assert said in got.err
    assert got.err.count("\n") == 1


def test_the_header_is_the_one_of_the_contract(command, files):
    """Not that of a file of temperatures."""
    got = command("calc", "quality", *files(*DAY, header="time,temperature"))

    assert got.code == 2
    assert "line 1: the header must be time,value, found 'time,temperature'" in got.err


@pytest.mark.parametrize(
    ("checks", "said"),
    [
        (
            "[spike]\nsuspect = 5\nfail = 2\n",
            "spike: suspect 5.0 is not below",
        ),
        ("[spikes]\n", 'spikes: unknown key: do you mean "spike"?'),
        ("[gap\n", "is no TOML"),
    ],
)
def test_bad_checks_end_with_2_too(command, files, checks, said):
    """A file named on the command line is no configuration of the house."""
    got = command("calc", "quality", *files(*DAY, checks=checks))

    assert (got.code, got.out) == (2, "")
    assert "checks.toml: " in got.err
    assert said in got.err


def test_a_file_of_checks_that_is_not_there_ends_with_2(command, files, tmp_path):
    """It is named."""
    given = [*files(*DAY)[:2], "--checks", str(tmp_path / "none.toml")]

    got = command("calc", "quality", *given)

    assert (got.code, got.out) == (2, "")
    assert "none.toml: cannot be read" in got.err
