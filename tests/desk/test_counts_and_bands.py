"""Laws of counts and bands."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.desk.bands import Claim, common
from monitor.desk.counts import MOST, parse_count, spell_count
from monitor.errors import UsageError
from monitor.site.journal import Count
from monitor.site.words import CountKind

KINDS = st.sampled_from([CountKind.COUNTED, CountKind.AT_LEAST, CountKind.ESTIMATE])
COUNTS = st.builds(Count, KINDS, st.integers(1, MOST)) | st.just(
    Count(CountKind.UNKNOWN)
)
DEGREES = st.floats(-20, 60).map(lambda v: round(v, 1))
BANDS = st.tuples(DEGREES, DEGREES).filter(lambda b: b[0] < b[1])


@given(COUNTS)
def test_a_count_reads_back_as_it_was_written(counted):
    """Spelling and reading are each other's inverse."""
    assert parse_count(spell_count(counted)) == counted


@given(st.text(max_size=12))
def test_any_text_is_a_count_or_a_usage_error(text):
    """Nothing else comes of what somebody types."""
    try:
        counted = parse_count(text)
    except UsageError:
        return
    assert counted.number is None or 1 <= counted.number <= MOST


@pytest.mark.parametrize(
    ("text", "kind", "number"),
    [
        ("12", CountKind.COUNTED, 12),
        (12, CountKind.COUNTED, 12),
        ("12+", CountKind.AT_LEAST, 12),
        ("~40", CountKind.ESTIMATE, 40),
        ("~ 40", CountKind.ESTIMATE, 40),
        ("Unknown", CountKind.UNKNOWN, None),
    ],
)
def test_the_four_forms(text, kind, number):
    """Counted, at least, about, not known."""
    assert parse_count(text) == Count(kind, number)


@pytest.mark.parametrize("text", ["", "-3", "1.5", "~12+", "12++", "٣", "1e3", True])
def test_other_forms_are_refused(text):
    """A count is never guessed."""
    with pytest.raises(UsageError, match="is no count"):
        parse_count(text)


def test_too_many_are_refused():
    """A slip of the hand makes no cohort of a billion."""
    with pytest.raises(UsageError, match="too many: at most 10000000"):
        parse_count("9" * 30)


@given(st.lists(BANDS, min_size=1, max_size=5), DEGREES)
def test_what_is_inside_the_common_band_is_inside_every_band(bands, value):
    """And what is strictly inside every band is inside the common one."""
    found = common(Claim("x", band, 1) for band in bands)

    inside_all = all(low < value < high for low, high in bands)
    inside_common = found is not None and found[0] < value < found[1]
    assert inside_common == inside_all


@given(st.lists(BANDS, min_size=1, max_size=5))
def test_bands_have_nothing_in_common_only_where_two_have_nothing(bands):
    """Helly's theorem on the line: why a refusal can always name two."""
    claims = [Claim(str(i), band, i) for i, band in enumerate(bands)]

    pairs = [common((a, b)) for a in claims for b in claims]
    assert (common(claims) is None) == (None in pairs)


@given(st.lists(BANDS, min_size=1, max_size=5))
def test_the_order_of_bands_does_not_matter(bands):
    """Who came first has no better right."""
    claims = [Claim("x", band, 1) for band in bands]

    assert common(claims) == common(claims[::-1])


def test_bands_that_touch_have_nothing_in_common():
    """No heater holds a point."""
    assert common((Claim("a", (13, 20), 1), Claim("b", (20, 29), 2))) is None


def test_no_bands_are_a_mistake_of_the_caller():
    """There is no band of nobody."""
    with pytest.raises(ValueError, match="no bands"):
        common(())
