"""Files of quality checks, alone and as a part of the configuration."""

from datetime import timedelta
from pathlib import Path

import pytest

from monitor.errors import ConfigError
from monitor.science import quality, quality_flags
from monitor.site.advice import warnings
from monitor.site.checks_file import checks_for, checks_lines, read_checks
from monitor.site.effective import effective
from monitor.site.load import load, load_checks
from monitor.site.words import SWITCHES, TEMPERATURES, Flag, Quantity
from tests.site import forms

CONFIG = Path(__file__).parents[2] / "config"
MINUTE = timedelta(minutes=1)

AIR = Quantity.AIR_TEMPERATURE


def with_checks(house, text=forms.CHECKS, name="air_temperature.toml"):
    """The house with a file of checks."""
    (house / "checks").mkdir(exist_ok=True)
    (house / "checks" / name).write_text(text)
    return house


def test_flags_of_the_science_are_the_words_of_the_site():
    """Numbers there, an enum here: one meaning."""
    assert {each.name: each.value for each in Flag} == {
        name: getattr(quality_flags, name) for name in Flag.__members__
    }
    assert set(quality_flags.BEST_FIRST) == set(Flag)


def test_the_complete_form_is_read():
    """Every key of the contract arrives where it belongs."""
    got = read_checks(forms.checks_data(), "checks.toml")

    assert got == quality.Checks(
        gross_range=quality.GrossRange((-10, 60), (5, 40)),
        spike=quality.Spike(2, 5),
        rate_of_change=quality.RateOfChange(24, 60),
        flat_line=quality.FlatLine(30 * MINUTE, 0.005, 50 * MINUTE),
        attenuated_signal=quality.AttenuatedSignal(120 * MINUTE, 0.05, 0.01),
        gap=quality.Gap(15 * MINUTE),
    )
    assert got.lookback == 120 * MINUTE


@pytest.mark.parametrize("table", forms.checks_data())
def test_each_table_is_optional(table):
    """Alone, and left out."""
    data = forms.checks_data()

    alone = read_checks({table: data[table]}, "x")
    without = read_checks({k: v for k, v in data.items() if k != table}, "x")

    assert list(alone.given) == [table]
    assert table not in without.given
    assert len(without.given) == len(data) - 1


@pytest.mark.parametrize(
    ("edit", "said"),
    [
        (
            ("suspect = [5.0, 40.0]", "suspect = [-20.0, 40.0]"),
            r"gross_range: suspect \[-20.0, 40.0\] does not lie within fail \[-10.0, 6",
        ),
        (
            ("suspect = 2.0", "suspect = 6.0"),
            r"spike: suspect 6.0 is not below fail 5.0 \(swap them\?\)",
        ),
        (("suspect = 24.0", "suspect = -24"), "rate_of_change: suspect -24.0 must be"),
        (("fail = 60.0", "fail = 24"), "suspect 24.0 is not below fail 24.0"),
        (("30 min", "55 min"), "flat_line: suspect 0:55:00 must be shorter than fail"),
        (("0.005", "-0.1"), "flat_line: tolerance -0.1 must not be below zero"),
        (("tolerance = 0.005", ""), "flat_line.tolerance: is missing, and has no def"),
        (("fail = 0.01", "fail = 0.06"), "attenuated_signal: fail 0.06 is not below"),
        (('"15 min"', "15"), "gap.longest: 15 is no span: write"),
        (('"15 min"', '"0 min"'), 'gap.longest: "0 min" is no time at all'),
        (("[spike]", "[spikes]"), 'spikes: unknown key: do you mean "spike"?'),
        (("[gap]", "[spike.gap]"), "spike.gap: unknown key: there are fail, suspect"),
    ],
)
def test_what_contradicts_itself_names_key_value_and_mend(house, edit, said):
    """One line, that begins with the file."""
    with_checks(house, forms.edited(forms.CHECKS, edit))

    with pytest.raises(ConfigError, match=said) as caught:
        load(house)

    assert str(caught.value).startswith("checks/air_temperature.toml: ")


def test_without_the_folder_nothing_is_declared(house):
    """The shipped checks are an example: limits are the house's own."""
    assert load(house).checks == {}


def test_checks_are_a_part_of_the_configuration(house):
    """They are found by quantity, kept as text, and change the hash."""
    before = load(house)

    after = load(with_checks(house))

    assert after.checks == {AIR: read_checks(forms.checks_data(), "x")}
    assert after.text["checks/air_temperature.toml"] == forms.CHECKS
    assert before.hash != after.hash


def test_a_file_is_named_after_its_quantity(house):
    """Any other name is refused with the nearest that there is."""
    with_checks(house, name="air_temprature.toml")

    with pytest.raises(ConfigError) as caught:
        load(house)

    assert str(caught.value) == (
        'checks/air_temprature.toml: "air_temprature" is no quantity: do you mean'
        ' "air_temperature"?'
    )


def test_a_folder_that_is_none_is_refused(house):
    """It is not taken for a house without checks."""
    (house / "checks").write_text("")

    with pytest.raises(ConfigError, match="make it a readable directory"):
        load(house)


def test_check_finds_and_tells_them(house, secrets, check):
    """A wrong file ends with 78; a good one is told limit by limit."""
    with_checks(house)
    good = check(house)
    with_checks(house, "[gap]\nlongest = 15\n")

    code, out, err = check(house)

    assert good[0] == 0
    assert "# quality checks: air_temperature" in good[1]
    assert "#   gross_range fail -10 to 60, suspect 5 to 40" in good[1]
    assert "#   flat_line suspect 30 min, tolerance 0.005, fail 50 min" in good[1]
    assert (code, out) == (78, "")
    assert "checks/air_temperature.toml: gap.longest" in err


def test_a_gap_shorter_than_the_interval_is_advised_against(house):
    """Else every reading comes after a gap, and nothing that looks back works."""
    with_checks(house, '[gap]\nlongest = "4 min"\n')
    said = [text for text in warnings(load(house)) if "checks/" in text]
    with_checks(house)

    fits = [text for text in warnings(load(house)) if "checks/" in text]

    (line,) = said
    assert line.startswith("checks/air_temperature.toml: gap.longest, 4 min, is short")
    assert line.endswith("warm-room-a-air: each of their readings comes after a gap")
    assert fits == []


def test_known_failure_values_are_checked_whatever_is_declared(house):
    """Of temperatures and humidity, with and without a file; of nothing else."""
    declared = load(with_checks(house)).checks

    kinds = {q for q in Quantity if "signature" in checks_for(declared, q).given}

    assert kinds == TEMPERATURES | {Quantity.RELATIVE_HUMIDITY}
    assert not kinds & SWITCHES
    assert len(checks_for(declared, AIR).given) == 7


def test_one_file_is_read_wherever_it_lies(tmp_path):
    """The path as given stands in the message."""
    path = tmp_path / "mine.toml"
    path.write_text("[gap]\nlongest = 15\n")

    with pytest.raises(ConfigError) as caught:
        load_checks(path)

    assert str(caught.value).startswith(f"{path}: gap.longest: 15 is no span")


SHIPPED = load(CONFIG)


def test_the_shipped_checks_load_and_are_told():
    """Quillmere declares temperatures and humidity."""
    told = effective(SHIPPED, {})

    assert set(SHIPPED.checks) == TEMPERATURES | {Quantity.RELATIVE_HUMIDITY}
    assert all(f"#   {line}" in told for line in checks_lines(SHIPPED.checks[AIR]))


@pytest.mark.parametrize("quantity", sorted(SHIPPED.checks))
def test_the_shipped_checks_fail_only_what_cannot_be(quantity):
    """A failed reading is not believed, and a heap that burns must be."""
    checks = SHIPPED.checks[quantity]
    rest = [getattr(check, "fail", None) for check in checks.given.values()]

    assert rest.count(None) == len(rest) - 1
    assert checks.gross_range.fail[1] >= 85
    assert not [text for text in warnings(SHIPPED) if "checks/" in text]


def test_the_shipped_checks_let_a_door_open():
    """Eight degrees within five minutes, and still hours of an incubator, pass."""
    checks = SHIPPED.checks[AIR]

    assert checks.rate_of_change.suspect > 8 * 12
    assert checks.flat_line.suspect >= timedelta(hours=24)
