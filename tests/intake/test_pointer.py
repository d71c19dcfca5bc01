"""RFC 6901."""

import pytest

from monitor.intake.pointer import NotThereError, follow, parse_pointer

# The document and every evaluation of RFC 6901 section 5.
DOCUMENT = {
    "foo": ["bar", "baz"],
    "": 0,
    "a/b": 1,
    "c%d": 2,
    "e^f": 3,
    "g|h": 4,
    "i\\j": 5,
    'k"l': 6,
    " ": 7,
    "m~n": 8,
}


@pytest.mark.parametrize(
    ("pointer", "expected"),
    [
        ("", DOCUMENT),
        ("/foo", ["bar", "baz"]),
        ("/foo/0", "bar"),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_the_examples_of_the_rfc(pointer, expected):
    """RFC 6901 section 5, all of them."""
    assert follow(DOCUMENT, parse_pointer(pointer)) == expected


def test_tilde_zero_one_is_a_tilde_and_a_one():
    """RFC 6901 section 4: ~01 becomes ~1, never a slash."""
    assert parse_pointer("/~01") == ("~1",)


@pytest.mark.parametrize(
    "pointer",
    [
        "/foo/2",
        "/foo/-",
        "/foo/00",
        "/foo/\N{ARABIC-INDIC DIGIT ZERO}",
        "/foo/+1",
        "/foo/a",
        "/x/y",
    ],
)
def test_what_leads_nowhere_is_told(pointer):
    """No index beyond the end, with a leading zero or in foreign digits."""
    with pytest.raises(NotThereError):
        follow(DOCUMENT, parse_pointer(pointer))


def test_a_pointer_begins_with_a_slash():
    """A name alone is no pointer."""
    with pytest.raises(ValueError, match='begin with "/"'):
        parse_pointer("temperature")
