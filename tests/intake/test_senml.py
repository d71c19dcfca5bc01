"""
SenML records with their base fields applied.

Examples and figures: RFC 8428 (August 2018), sections 4.4 to 4.6 and 5.1; versions:
RFC 9100.
"""

import json
import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.intake.found import NoReadingError
from monitor.intake.senml import MOST_RECORDS, resolve

SINGLE = '[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]'  # 5.1.1

VOLTAGE_AND_CURRENT = """[
  {"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},
  {"n":"current","u":"A","v":1.2}
]"""  # 5.1.2, first

SIX_CURRENTS = """[
  {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,
   "bu":"A","bver":5,
   "n":"voltage","u":"V","v":120.1},
  {"n":"current","t":-5,"v":1.2},
  {"n":"current","t":-4,"v":1.3},
  {"n":"current","t":-3,"v":1.4},
  {"n":"current","t":-2,"v":1.5},
  {"n":"current","t":-1,"v":1.6},
  {"n":"current","v":1.7}
]"""  # 5.1.2, second

MEASUREMENTS = """[
  {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,
   "bu":"%RH","v":20},
  {"u":"lon","v":24.30621},
  {"u":"lat","v":60.07965},
  {"t":60,"v":20.3},
  {"u":"lon","t":60,"v":24.30622},
  {"u":"lat","t":60,"v":60.07965},
  {"t":120,"v":20.7},
  {"u":"lon","t":120,"v":24.30623},
  {"u":"lat","t":120,"v":60.07966},
  {"u":"%EL","t":150,"v":98},
  {"t":180,"v":21.2},
  {"u":"lon","t":180,"v":24.30628},
  {"u":"lat","t":180,"v":60.07967}
]"""  # 5.1.3

RESOLVED = """[
  {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067464e+09,"v":20},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067464e+09,"v":24.30621},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067464e+09,"v":60.07965},
  {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067524e+09,"v":20.3},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067524e+09,"v":24.30622},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067524e+09,"v":60.07965},
  {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067584e+09,"v":20.7},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067584e+09,"v":24.30623},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067584e+09,"v":60.07966},
  {"n":"urn:dev:ow:10e2073a01080063","u":"%EL","t":1.320067614e+09,"v":98},
  {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067644e+09,"v":21.2},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067644e+09,"v":24.30628},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067644e+09,"v":60.07967}
]"""  # 5.1.4

DATA_TYPES = """[
  {"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
  {"n":"label","vs":"Machine Room"},
  {"n":"open","vb":false},
  {"n":"nfv-reader","vd":"aGkgCg"}
]"""  # 5.1.5

COLLECTION = """[
  {"bn":"2001:db8::2/","bt":1.320078429e+09,
   "n":"temperature","u":"Cel","v":25.2},
  {"n":"humidity","u":"%RH","v":30},
  {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},
  {"n":"humidity","u":"%RH","v":67}
]"""  # 5.1.6

ACTUATOR = """[
  {"bn":"urn:dev:ow:10e2073a01080063:"},
  {"n":"temp","u":"Cel","v":23.1},
  {"n":"heat","u":"/","v":1},
  {"n":"fan","u":"/","v":0}
]"""  # 5.1.7, first


def _resolved(text):
    found, unusable = resolve(json.loads(text))
    assert unusable == []
    return [(one.name, one.unit, one.time, one.value) for one in found]


def _refused(pack):
    with pytest.raises(NoReadingError) as caught:
        resolve(pack)
    return str(caught.value)


def _why(record):
    found, (one,) = resolve([record])
    assert found == []
    return one.reason


def test_a_single_data_point():
    """RFC 8428, 5.1.1: no time is said."""
    assert _resolved(SINGLE) == [("urn:dev:ow:10e2073a01080063", "Cel", None, 23.1)]


def test_two_points_share_the_base_name():
    """RFC 8428, 5.1.2, first example."""
    assert _resolved(VOLTAGE_AND_CURRENT) == [
        ("urn:dev:ow:10e2073a01080063:voltage", "V", None, 120.1),
        ("urn:dev:ow:10e2073a01080063:current", "A", None, 1.2),
    ]


def test_seconds_are_added_to_the_base_time():
    """RFC 8428, 5.1.2, second: the last five seconds before 1276020076.001."""
    current = "urn:dev:ow:10e2073a0108006:current"

    voltage, *currents = _resolved(SIX_CURRENTS)

    assert voltage == ("urn:dev:ow:10e2073a0108006:voltage", "V", 1276020076.001, 120.1)
    assert currents == [
        (current, "A", 1276020076.001 - before, value)
        for before, value in zip((5, 4, 3, 2, 1, 0), (1.2, 1.3, 1.4, 1.5, 1.6, 1.7))  # noqa: B905 - the same length
    ]


def test_multiple_measurements_resolve_as_the_rfc_says():
    """RFC 8428: 5.1.3 resolved is 5.1.4, and that is resolved already."""
    assert _resolved(MEASUREMENTS) == _resolved(RESOLVED)
    assert _resolved(RESOLVED) == [
        (one["n"], one["u"], one["t"], one["v"]) for one in json.loads(RESOLVED)
    ]


def test_booleans_are_values_and_text_is_told():
    """RFC 8428, 5.1.5: temp and open measure, label and reader do not."""
    found, unusable = resolve(json.loads(DATA_TYPES))

    assert [(one.own_name, one.value) for one in found] == [
        ("temp", 23.1),
        ("open", False),
    ]
    assert [one.text for one in unusable] == [True, True]
    assert 'vs ""Machine Room"" is no number' in unusable[0].reason


def test_a_later_base_name_leaves_the_base_time_in_force():
    """RFC 8428, 5.1.6: the last record has the name of the third, time of the first."""
    assert _resolved(COLLECTION) == [
        ("2001:db8::2/temperature", "Cel", 1320078429.0, 25.2),
        ("2001:db8::2/humidity", "%RH", 1320078429.0, 30),
        ("2001:db8::1/temperature", "Cel", 1320078429.0, 12.3),
        ("2001:db8::1/humidity", "%RH", 1320078429.0, 67),
    ]


def test_a_record_of_base_fields_alone_measures_nothing():
    """RFC 8428, 5.1.7: and it is no 0 degrees either."""
    assert [value for *_, value in _resolved(ACTUATOR)] == [23.1, 1, 0]


def test_a_base_value_is_added():
    """RFC 8428, 4.5.4, up to the record with another one."""
    pack = '[{"bv":20,"n":"a","v":1.5},{"n":"b","v":-2},{"bv":0,"n":"c","v":3}]'

    assert [value for *_, value in _resolved(pack)] == [21.5, 18, 3]


@pytest.mark.parametrize("version", [1, 5, 10, 26])
def test_versions_that_are_understood(version):
    """RFC 8428, 4.4 (its own example has 5); RFC 9100: 26 adds secondary units."""
    found, _ = resolve([{"bver": version, "n": "a", "v": 1}, {"n": "b", "v": 2}])

    assert len(found) == 2


@pytest.mark.parametrize("version", [0, -1, 11, 16, 27, 42, 58, 10.5, "10", True, None])
def test_other_versions_must_not_be_used(version):
    """RFC 9100, 2.2: all features must be understood; 42 has one that is not."""
    reason = _refused([{"bver": version, "n": "a", "v": 1}])

    assert "of SenML is not understood: send 10 or 26" in reason


def test_a_pack_has_one_version():
    """RFC 8428, 4.4: also where the default of the first record is another."""
    assert "the versions 10, 5" in _refused([{"n": "a", "v": 1}, {"bver": 5, "v": 1}])


def test_a_field_that_must_be_understood_refuses_the_pack():
    """RFC 8428, 4.4; any other unknown field is passed over."""
    found, _ = resolve([{"n": "a", "v": 1, "x": {"y": []}, "b": 1, "_x": 2}])
    reason = _refused([{"n": "a", "v": 1}, {"n": "b", "v": 2, "scale_": 10}])

    assert len(found) == 1
    assert 'record 2 has the field "scale_", which must be understood' in reason


@pytest.mark.parametrize(
    ("pack", "words"),
    [
        ([], "the pack is empty"),
        ({"n": "a"}, "the pack is empty"),
        ([1], '"1" in place 1 of the array is no SenML record'),
        ([{"v": 1}, None], '"null" in place 2'),
        ([{"v": 1}] * (MOST_RECORDS + 1), "1001 records, more than 1000"),
        ([{"bn": 5, "v": 1}], 'bn "5" of record 1 is no text'),
        ([{"bu": None, "v": 1}], 'bu "null"'),
        ([{"bt": "now", "v": 1}], "bt"),
        ([{"bv": True, "v": 1}], 'bv "true" of record 1 is no finite number'),
        ([{"bs": [], "v": 1}], 'bs "[]"'),
        ([{"bt": 10**400, "v": 1}], "is no finite number"),
    ],
)
def test_a_pack_that_cannot_be_read_is_refused_whole(pack, words):
    """Nothing of it is guessed."""
    assert words in _refused(pack)


def test_a_thousand_records_are_read():
    """The limit itself is allowed."""
    found, _ = resolve([{"v": 1}] * MOST_RECORDS)

    assert len(found) == MOST_RECORDS


@pytest.mark.parametrize(
    ("record", "words"),
    [
        ({}, "holds no value"),
        ({"n": "a"}, "holds no value"),
        ({"n": "a", "bv": 20}, "holds no value"),
        ({"n": "a", "s": 7}, "a sum alone is no reading"),
        ({"n": "a", "bs": 7}, "a sum alone is no reading"),
        ({"n": "a", "v": 1, "vb": True}, "v and vb stand in one record"),
        ({"n": "a", "v": "21.5"}, "is not a number"),
        ({"n": "a", "v": True}, "is not a number"),
        ({"n": "a", "v": None}, "is not a number"),
        ({"n": "a", "v": 10**400}, "is not a number"),
        ({"n": "a", "v": 1e308, "bv": 1e308}, "too large"),
        ({"n": "a", "vb": 1}, "is not true or false"),
        ({"n": "a", "vs": 1}, "is not text"),
        ({"n": "a", "vd": "aGkgCg"}, "is no number"),
        ({"n": 1, "v": 1}, "n "),
        ({"u": 1, "v": 1}, "u "),
        ({"n": "a", "v": 1, "t": "noon"}, "no number of seconds"),
        ({"n": "a", "v": 1, "t": False}, "no number of seconds"),
        ({"n": "a", "v": 1, "t": 1e308, "bt": 1e308}, "no number of seconds"),
        ({"n": "-a", "v": 1}, "begins with no letter or digit"),
        ({"n": "Küche", "v": 1}, "4.5.1"),
        ({"n": "a b", "v": 1}, "4.5.1"),
        ({"n": "a\n", "v": 1}, "4.5.1"),
    ],
)
def test_a_record_that_measures_nothing_says_why(record, words):
    """Each with the mend; the rest of its pack counts."""
    reason = _why(record)

    assert words in reason
    assert reason.isprintable()
    assert reason.endswith(".")


def test_one_bad_record_harms_no_other():
    """And its base fields count all the same."""
    found, unusable = resolve(
        [{"bn": "d:", "n": "a", "v": "x"}, {"n": "b", "v": 2}, {"n": "c", "vs": "y"}]
    )

    assert [one.name for one in found] == ["d:b"]
    assert [one.label for one in unusable] == ['record 1 ("d:a")', 'record 3 ("d:c")']


def _naive(pack):
    """Section 4.6 word by word, with none of the code under test."""
    out, base = [], {}
    for record in pack:
        base |= {k: v for k, v in record.items() if k in ("bn", "bt", "bu", "bv")}
        values = [k for k in ("v", "vb", "vs", "vd") if k in record]
        if len(values) != 1 or values[0] in ("vs", "vd"):
            continue
        name = base.get("bn", "") + record.get("n", "")
        if name and not re.fullmatch("[A-Za-z0-9][A-Za-z0-9:./_-]*", name):
            continue
        value = record[values[0]]
        if values == ["v"]:
            value = base.get("bv", 0) + value
        time = None
        if "t" in record or "bt" in base:
            time = base.get("bt", 0) + record.get("t", 0)
        out.append((name, record.get("u") or base.get("bu", ""), time, value))
    return out


_names = st.sampled_from(["a", "t1", "dev:", "x/y", "", "-z", "ü"])
_units = st.sampled_from(["Cel", "%RH", "A", "lon"])
_small = st.integers(-1000, 1000) | st.floats(-1e6, 1e6)
_records = st.fixed_dictionaries(
    {},
    optional={
        "bn": _names,
        "bt": st.sampled_from([0, -60, 1.3e9]),
        "bu": _units,
        "bv": _small,
        "n": _names,
        "u": _units,
        "v": _small,
        "vb": st.booleans(),
        "vs": st.text(max_size=3),
        "t": _small,
        "ut": _small,
        "s": _small,
        "other": st.integers(),
    },
)


@given(st.lists(_records, min_size=1, max_size=8))
def test_resolution_is_that_of_a_naive_reference(pack):
    """RFC 8428, 4.6 against a second, short reading of it."""
    found, unusable = resolve(pack)

    assert [(o.name, o.unit, o.time, o.value) for o in found] == _naive(pack)
    carriers = [r for r in pack if r and not any(k[0] != "b" for k in r)]
    assert len(found) + len(unusable) + len(carriers) == len(pack)


_json = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=4),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["n", "u", "v", "vb", "t", "bn", "bt", "bv", "bver", "x_"]),
            inner,
            max_size=4,
        )
    ),
    max_leaves=10,
)


@given(st.lists(_json, max_size=5))
def test_any_array_resolves_or_says_why(pack):
    """Whatever JSON holds: finite values, or a printable sentence."""
    said = ""
    found, unusable = [], []
    try:
        found, unusable = resolve(pack)
    except NoReadingError as exc:
        said = str(exc)

    assert said.isprintable()
    assert all(math.isfinite(one.value) for one in found)
    assert all(one.time is None or math.isfinite(one.time) for one in found)
    assert all(one.reason.isprintable() for one in unusable)
    assert all(one.label.isprintable() for one in (*found, *unusable))
