import shutil
import subprocess

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.notices.gsm import BASIC, EXTENSION, clip, gsm7_length, readable, to_gsm7

PERL = shutil.which("perl")


def test_the_tables_have_the_size_of_the_standard():
    """TS 23.038, 6.2.1: 128 places, one of them the escape; 6.2.1.1: nine, and FF."""
    assert (len(BASIC), len(EXTENSION)) == (127, 10)


@pytest.mark.skipif(PERL is None, reason="needs perl with its Encode library")
def test_lengths_agree_with_a_reference_library():
    """
    Every character up to U+2FFF is as long as in Perl's Encode::GSM0338.

    That library's mapping is made from 3GPP TS 23.038; what it refuses is refused here.
    """
    script = (
        "use Encode; for my $n (1..0x2fff) { my $c = chr $n;"
        " my $b = eval { Encode::encode('gsm0338', $c, Encode::FB_CROAK) };"
        ' print "$n ", length($b), "\n" if defined $b; }'
    )
    run = subprocess.run(
        [PERL, "-e", script], capture_output=True, text=True, check=True, timeout=60
    )
    theirs = {
        chr(int(n)): int(length)
        for n, length in map(str.split, run.stdout.splitlines())
    }

    ours = dict.fromkeys(BASIC, 1) | dict.fromkeys(EXTENSION, 2)

    assert ours == theirs


@pytest.mark.parametrize(
    ("text", "length"), [("24.5 C", 6), ("[a]", 5), ("€", 2), ("ä\n", 2), ("", 0)]
)
def test_the_extension_table_counts_two(text, length):
    """Brackets, braces, tilde, caret, backslash, bar and euro cost two septets."""
    assert gsm7_length(text) == length


@pytest.mark.parametrize("char", ["°", "±", "\u2013", "\u2019", "ç", "Ж"])
def test_n6_what_would_double_the_cost_is_refused(char):
    """N6: one such character would turn the message into UCS-2."""
    with pytest.raises(ValueError, match="not in the GSM"):
        gsm7_length(f"24 {char}")


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("24.5 °C", "24.5 C"),
        ("Müller\u2019s \u2013 “Łódź”", 'Müller\'s - "Lodz"'),
        ("Señor Ça va, façade", "Señor Ça va, facade"),
        ("a\n\tb\x00c", "a bc"),
        ("ﬁg ½", "fig 1?2"),
    ],
)
def test_names_are_written_with_the_nearest_letters(text, plain):
    """Accents go only where the alphabet lacks them; white space is one space."""
    got = to_gsm7(text)

    assert got == plain


@given(st.text(max_size=200), st.integers(2, 60))
def test_what_is_written_is_of_the_alphabet_and_clips_to_any_length(text, limit):
    """For every text: in the alphabet, one line, and cut to the septets given."""
    plain = to_gsm7(text)

    assert gsm7_length(clip(plain, limit)) <= limit
    assert "\n" not in plain
    assert clip(plain, 10**6) == plain


def test_cutting_counts_the_extension_table_twice():
    """Three brackets are six septets: only two of them and the dots fit into seven."""
    assert clip("[[[[", 7) == "[[.."


def test_an_unreadable_name_is_known_as_such():
    """More than half question marks is no name."""
    assert not readable(to_gsm7("Тёплая"))
    assert not readable("")
    assert readable(to_gsm7("Shelf Ж"))
