"""Which topics a site subscribes to."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import topic_matches_sub

from monitor.intake.filters import covers, filters_for
from tests.support.intakes import sensor


def test_default_topics_need_no_filter_of_their_own():
    """One filter serves any number of default sensors, and unknown ones."""
    assert filters_for([sensor(), sensor(topic="rearing/+/x")]) == ("rearing/#",)


def test_foreign_topics_are_added_once_and_the_widest_stays():
    """What another filter covers would be delivered twice by some brokers."""
    topics = ["plant/1/t", "plant/+/t", "plant/2/t", "hall/#", "hall/a/b"]

    got = filters_for([sensor(topic=topic) for topic in topics])

    assert got == ("rearing/#", "plant/+/t", "hall/#")


def test_a_site_without_sensors_still_listens():
    """Unknown topics are to be seen."""
    assert filters_for([]) == ("rearing/#",)


@pytest.mark.parametrize(
    ("wide", "narrow", "expected"),
    [
        ("a/#", "a", True),  # MQTT 5 section 4.7.1.2: sport/# matches sport
        ("a/#", "a/b/c", True),
        ("a/+", "a/#", False),
        ("a/+", "a/b/c", False),
        ("+/b", "a/b", True),
        ("+/+", "a/+", True),
        ("a/b", "a/+", False),
        ("#", "$SYS/a", False),
        ("+/a", "$SYS/a", False),
        ("#", "a/+/#", True),
    ],
)
def test_covering(wide, narrow, expected):
    """Worked by hand from MQTT 5 section 4.7."""
    assert covers(wide, narrow) is expected


_levels = st.lists(st.sampled_from(["a", "b", "+", "$x", ""]), min_size=1, max_size=4)
_filters = st.builds(
    lambda levels, rest: "/".join([*levels, *rest]),
    _levels,
    st.sampled_from([[], ["#"]]),
)
_topics = st.lists(st.sampled_from(["a", "b", "$x", ""]), min_size=1, max_size=5).map(
    "/".join
)


@given(_filters, _filters, _topics)
def test_what_is_covered_matches_nothing_more(wide, narrow, topic):
    """Checked with the matching function of paho."""
    if covers(wide, narrow) and topic_matches_sub(narrow, topic):
        assert topic_matches_sub(wide, topic)
