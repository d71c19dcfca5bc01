"""
Odd files and odd values, as the program itself answers them.

`calc` promises one line on stderr, an empty stdout and exit code 2; a line that names
the file (or the option), the value, and what to do about it.
"""

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

READINGS = "time,temperature\n2026-03-01T00:00:00Z,20\n2026-03-01T01:00:00Z,22\n"
"""Two readings an hour apart: above 10 degC they give 11 / 24 degree-days."""

DURATIONS = "temperature,days\n18,28.2\n21.5,21.6\n25,16.1\n28,15.0\n"
"""Gastrophysa viridula, see published_durations: 7.1 degC and 304.6 degree-days."""

SAME_IN_OTHER_BYTES = {
    "plain": lambda text: text.encode(),
    "byte order mark": lambda text: b"\xef\xbb\xbf" + text.encode(),
    "CR LF": lambda text: text.replace("\n", "\r\n").encode(),
    "CR": lambda text: text.replace("\n", "\r").encode(),
    "no last line end": lambda text: text.rstrip().encode(),
    "blank lines": lambda text: text.replace("\n", "\n\n").encode(),
    "spaces": lambda text: text.replace(",", " , ").encode(),
    "quotes": lambda text: text.replace(",", '","').replace("\n", '"\n"').encode()[:-1],
}

NO_FILE = {
    "empty": (b"", "line 1: the header must be"),
    "of another table": (b"date,value\n1,2\n", "line 1: the header must be"),
    "semicolons": (None, "line 1: the header must be"),
    "UTF-16": ("temperature,days\n".encode("utf-16"), "is no CSV file in UTF-8"),
    "Latin-1": ("temperatur °,days\n".encode("latin-1"), "is no CSV file in UTF-8"),
    "a field without end": (None, "is no CSV file in UTF-8"),
}


def one_line(ended, *parts):
    """Whether a command ended as promised, with these words in its line."""
    assert ended.code == 2
    assert ended.out == ""
    assert ended.err.endswith("\n")
    assert ended.err.count("\n") == 1
    for part in parts:
        assert part in ended.err


@pytest.fixture
def file(tmp_path):
    """Write bytes to a file and give its name."""

    def write(content, name="table.csv"):
        path = tmp_path / name
        path.write_bytes(content)
        return str(path)

    return write


@pytest.mark.parametrize("form", SAME_IN_OTHER_BYTES)
def test_however_a_table_is_written_it_is_the_same_table(command, file, form):
    """What spreadsheets do to line ends, quotes and the first bytes."""
    encode = SAME_IN_OTHER_BYTES[form]
    quoted = '"' if form == "quotes" else ""
    readings = file(quoted.encode() + encode(READINGS), "readings.csv")
    durations = file(quoted.encode() + encode(DURATIONS), "durations.csv")

    summed = command("calc", "degree-days", "--readings", readings, "--lower", "10")
    fitted = command("calc", "fit", "--durations", durations)

    assert (summed.code, summed.err) == (0, "")
    assert " 0.46 " in summed.out
    assert (fitted.code, fitted.err) == (0, "")
    assert "7.10 ± 1.89 °C" in fitted.out


@pytest.mark.parametrize("fault", NO_FILE)
@pytest.mark.parametrize("table", ["readings", "durations"])
def test_what_is_no_table_is_refused_in_one_line(command, file, table, fault):
    """The file is named, and what was looked for."""
    content, words = NO_FILE[fault]
    plain = READINGS if table == "readings" else DURATIONS
    if fault == "semicolons":
        content = plain.replace(",", ";").encode()
    if fault == "a field without end":
        content = (plain + '"' + 200_000 * "1").encode()
    path = file(content)
    asked = {
        "readings": ["degree-days", "--readings", path, "--lower", "10"],
        "durations": ["fit", "--durations", path],
    }

    one_line(command("calc", *asked[table]), path, words)


@pytest.mark.parametrize("name", ["", "none.csv", "table.csv/under-a-file.csv"])
@pytest.mark.parametrize("as_json", [[], ["--json"]])
def test_a_path_that_cannot_be_read_is_refused(command, file, tmp_path, name, as_json):
    """A directory, nothing, and a file taken for a directory."""
    file(READINGS.encode())
    path = str(tmp_path / name)

    summed = command(
        "calc", "degree-days", "--readings", path, "--lower", "1", *as_json
    )
    fitted = command("calc", "fit", "--durations", path, *as_json)

    one_line(summed, path.rstrip("/"), "cannot be read")
    one_line(fitted, path.rstrip("/"), "cannot be read")


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("2026-03-01T02:00:00Z,nan", "line 4: 'nan' is not a finite number"),
        ("2026-03-01T02:00:00Z,-inf", "line 4: '-inf' is not a finite number"),
        ("2026-03-01T02:00:00Z,20\x00", "line 4: '20\\x00' is not a finite number"),
        ('2026-03-01T02:00:00Z,"20,5"', "line 4: '20,5' is not a finite number"),
        ("2026-03-01T02:00:00Z,20,5", "line 4: two fields are needed, found 3"),
        ("2026-03-01T02:00:00Z", "line 4: two fields are needed, found 1"),
        ("2026-03-01T02:00:00,20", "line 4: '2026-03-01T02:00:00' has no time zone"),
        ("2026-02-30T02:00:00Z,20", "line 4: '2026-02-30T02:00:00Z' is no time"),
        ("01.03.2026 02:00,20", "line 4: '01.03.2026 02:00' is no time"),
        ("2026-03-01T02:00:00+25:00,20", "is no time: write 2026-03-01T06:00:00Z"),
        ("2026-03-01T01:00:00Z,22.5", "22 (line 3) and 22.5 (line 4): keep one"),
        ("2026-03-01T02:00:00+01:00,23", "22 (line 3) and 23 (line 4): keep one"),
        ("2026-03-01T02:00:00Z,-274", "line 4: -274 °C is below -60 °C"),
    ],
)
def test_one_bad_reading_is_named_by_its_line(command, file, line, words):
    """Value and line; the file is never summed without it."""
    path = file((READINGS + line + "\n").encode())

    ended = command("calc", "degree-days", "--readings", path, "--lower", "10")

    one_line(ended, path, words)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("temperature,days\n", "3 or more different temperatures, found 0 (none)"),
        ("temperature,days\n20,9\n25,6\n", "found 2 (20, 25)"),
        ("temperature,days\n20,9\n20,8\n20,7\n20,6\n", "found 1 (20)"),
        (
            "temperature,days\n20,\n25,\n30,\n",
            "found 0 (none) (without the 3 left out)",
        ),
        ("temperature,days\n20,9\n25,-6\n30,4\n", "line 3: '-6' is no duration"),
        ("temperature,days\n20,9\n25,0\n30,4\n", "line 3: '0' is no duration"),
        ("temperature,days\n20,9\n25,inf\n30,4\n", "line 3: 'inf' is no duration"),
        ("temperature,days\n20,9\nnan,6\n30,4\n", "line 3: 'nan' is not a finite"),
        (
            "temperature,days\n64,28\n71,22\n77,16\n",
            "64 °C, and nothing develops above",
        ),
        ("temperature,days\n291,28\n294,22\n298,16\n", "291 °C, and nothing develops"),
        ("temperature,days\n20,6\n25,6\n30,6\n", "does not get faster"),
        ("temperature,days\n20,4\n25,6\n30,9\n", "look for swapped columns"),
        ("days,temperature\n9,20\n6,25\n4,30\n", "line 1: the header must be"),
        ("temperature,days,n\n20,9,0\n25,6,1\n30,4,1\n", "line 2: n is '0'"),
        ("temperature,days,n\n20,9,1.5\n25,6,1\n30,4,1\n", "line 2: n is '1.5'"),
    ],
)
def test_durations_that_give_no_fit_are_refused(command, file, text, words):
    """Too few temperatures, no durations, Fahrenheit, kelvin, swapped columns."""
    path = file(text.encode())

    one_line(command("calc", "fit", "--durations", path, "--json"), path, words)


@pytest.mark.parametrize(
    ("name", "more", "words"),
    [
        ("lines.jpg", [], "give a name that ends in .png"),
        ("lines", [], "give a name that ends in .png"),
        ("none/lines.png", [], "cannot be written: No such file or directory"),
        ("table.csv/lines.png", [], "cannot be written: Not a directory"),
        ("there.png", [], "is there already; give --force"),
        ("folder.png", ["--force"], "cannot be written: Is a directory"),
        (300 * "a" + ".png", [], "cannot be written: File name too long"),
    ],
)
def test_a_picture_that_cannot_be_drawn_leaves_nothing(  # noqa: PLR0917 - fixtures
    command, file, tmp_path, name, more, words
):
    """Neither figures on stdout nor half a file."""
    durations, there = file(DURATIONS.encode()), file(b"kept", "there.png")
    (tmp_path / "folder.png").mkdir()
    before = sorted(tmp_path.iterdir())

    ended = command(
        "calc", "fit", "--durations", durations, "--plot", str(tmp_path / name), *more
    )

    one_line(ended, "--plot", words)
    assert sorted(tmp_path.iterdir()) == before
    assert (tmp_path / there).read_bytes() == b"kept"


DAY = "calc degree-days --lower 10 --upper 30 --min 12 --max 24 --method single-sine"
DOUBLE = f"{DAY} --method double-sine"
FILE = "calc degree-days --readings table.csv --lower 10"
RATE = "calc rate --temperature 25"
SCHOOLFIELD = f"{RATE} --model sharpe-schoolfield-high"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (f"{DAY} --min 30", "minimum 30 is above maximum 24 (swap them?)"),
        (f"{DAY} --upper 10", "lower threshold 10 is not below upper threshold 10"),
        (f"{DAY} --lower 30", "lower threshold 30 is not below upper threshold 30"),
        (f"{DAY} --lower 31", "(swap them?)"),
        (f"{DAY} --lower 50 --upper 86", "--lower 50 °C is above 40 °C: it looks like"),
        (f"{DAY} --min 50 --max 86", "--max 86 °C is above 50 °C: it looks like °F"),
        (
            f"{DOUBLE} --next-min 54",
            "--next-min 54 °C is above 50 °C: it looks like °F",
        ),
        (f"{DAY} --next-min nan", "--next-min: 'nan' is not a finite number"),
        (f"{DAY} --max 1e999", "--max: '1e999' is not a finite number"),
        (f"{DAY} --min 12,5", "--min: '12,5' is not a finite number"),
        (f"{DAY} --min=-300", "minimum must be finite and not below -273.15 C"),
        (f"{DAY} --method sine", "invalid choice: 'sine'"),
        (f"{DAY} --cutoff none", "invalid choice: 'none'"),
        (f"{DAY} --unit K", "invalid choice: 'K'"),
        (f"{FILE} --upper 10", "lower threshold 10 is not below upper threshold 10"),
        (f"{FILE} --upper 5", "(swap them?)"),
        (f"{FILE} --upper 90", "--upper 90 °C is above 50 °C: it looks like °F"),
        (f"{FILE} --max-gap 2", '"2" is no span'),
        (f"{FILE} --max-gap=-2h", "--max-gap"),
        (
            "calc degree-days --lower 10",
            "give --readings, or --min, --max and --method",
        ),
        (f"{RATE} --model logan", "no rate model 'logan' (did you mean logan-6?)"),
        (f"{RATE} --model linear --parameter T0=9 K=0", "K must be above zero, got 0"),
        (
            f"{RATE} --model linear --parameter T0=9 K=-3",
            "K must be above zero, got -3",
        ),
        (f"{RATE} --model linear --parameter T0=nan K=3", "T0: 'nan' is not a finite"),
        (f"{RATE} --model taylor --parameter Rm=1 Tm=30 To=0", "To must be above zero"),
        (
            f"{RATE} --model briere-1 --parameter a=1e-5 T0=38 Tm=9",
            "Tm 9 is not above T0 38",
        ),
        (
            f"{SCHOOLFIELD} --parameter p25=0.1 HA=2e4 TH=31 HH=5e4",
            "TH is in kelvin, got 31",
        ),
        (
            f"{RATE} --model lactin-2 --parameter rho=0.1 Tm=40 dT=20 lambda=0",
            "rho * dT must be below 1",
        ),
    ],
)
def test_a_value_that_means_nothing_is_refused(command, words, said):
    """The option, its value, the limit and the mend."""
    one_line(command(*words.split()), said)


TABLES = st.one_of(
    st.binary(max_size=200),
    st.text(max_size=200).map(lambda text: text.encode("utf-8", "surrogatepass")),
    st.tuples(
        st.sampled_from(["time,temperature\n", "temperature,days\n"]),
        st.text("0123456789.-+eETZ:,;\"'\r\n nainf", max_size=200),
    ).map(lambda parts: "".join(parts).encode()),
)


@settings(max_examples=50, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(content=TABLES)
@example(content=b"time,temperature\r2026-03-01T00Z,1\r2026-03-01T01Z,2")
def test_whatever_a_file_holds_it_is_summed_or_refused_in_one_line(
    command, file, content
):
    """Bytes of any kind are a table, or one line; never a traceback."""
    path = file(content)

    for asked in (
        ["degree-days", "--readings", path, "--lower", "10"],
        ["fit", "--durations", path],
    ):
        ended = command("calc", *asked)
        if ended.code:
            one_line(ended, path)
        else:
            assert (ended.err, bool(ended.out)) == ("", True)
