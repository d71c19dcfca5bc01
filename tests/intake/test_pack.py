"""Which record of a SenML pack becomes whose reading."""

import json
import math
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.intake.decode import Decoded, Decoder, Rejected
from monitor.intake.units import SWITCHES
from monitor.site.words import Quantity, Unit
from tests.intake.test_senml import (
    ACTUATOR,
    COLLECTION,
    DATA_TYPES,
    MEASUREMENTS,
    RESOLVED,
    SINGLE,
    SIX_CURRENTS,
    VOLTAGE_AND_CURRENT,
)
from tests.support.intakes import sensor

T0 = datetime(2026, 3, 1, 6, tzinfo=UTC)
HUMIDITY = Quantity.RELATIVE_HUMIDITY


def _on(*sensors, at=T0):
    """A decoder, and what a pack on the topic "t" becomes in it."""
    decoder = Decoder(sensors)

    def decode(pack, topic="t"):
        text = pack if isinstance(pack, str) else json.dumps(pack)
        return decoder.decode(topic, text.encode(), at)

    return decode


def _one(id_="t1", quantity=Quantity.AIR_TEMPERATURE, topic="t", **declared):
    return sensor(id_, quantity, topic=topic, **declared)


def _values(found):
    """Sensor, seconds from T0 and value of every reading; nothing set apart."""
    assert not [one.reason for one in found if isinstance(one, Rejected)]
    return [
        (r.sensor, (r.time - T0).total_seconds(), r.value)
        for r in (one.reading for one in found)
    ]


def _apart(found):
    (only,) = (one for one in found if isinstance(one, Rejected))
    assert only.reason.isprintable()
    return only.reason


def _said(found):
    """Sensor and value of every reading, and why something is none."""
    readings = [one.reading for one in found if isinstance(one, Decoded)]
    return [(r.sensor, r.value) for r in readings], _apart(found)


# The examples of RFC 8428 as a house would hear them.


def test_rfc_a_single_point_is_a_reading_of_now():
    """RFC 8428, 5.1.1: Cel, and the time of its arrival."""
    (found,) = _on(_one())(SINGLE)

    assert isinstance(found, Decoded)
    assert (found.reading.value, found.reading.time, found.timed) == (23.1, T0, False)


def test_rfc_a_current_goes_to_the_clamp_and_the_voltage_to_nobody():
    """RFC 8428, 5.1.2: 1.2 A; the rest of the pack is told, not lost."""
    clamp = _one("heater-a", Quantity.HEATER, unit=Unit.AMPERE)

    values, reason = _said(_on(clamp)(VOLTAGE_AND_CURRENT))

    assert values == [("heater-a", 1.2)]
    assert "1 of 2 records" in reason
    assert "no sensor of this site measures V: leave it out" in reason


def test_rfc_six_records_of_one_series_are_six_readings():
    """RFC 8428, 5.1.2: Tue Jun 8 18:01:16.001 UTC 2010, and each second before."""
    clamp = _one("heater-a", Quantity.HEATER, unit=Unit.AMPERE)

    found = _on(clamp, at=T0)(SIX_CURRENTS)
    readings = [one for one in found if isinstance(one, Decoded)]

    last = datetime(2010, 6, 8, 18, 1, 16, 1000, UTC)
    assert [r.reading.time for r in readings] == [
        last - timedelta(seconds=s) for s in (5, 4, 3, 2, 1, 0)
    ]
    assert [r.reading.value for r in readings] == [1.2, 1.3, 1.4, 1.5, 1.6, 1.7]
    assert all(r.timed for r in readings)


def test_rfc_humidity_is_found_among_other_things():
    """RFC 8428, 5.1.3: 20, 20.3, 20.7 and 21.2 %RH from 13:24:24 UTC on."""
    found = _on(_one("h", HUMIDITY))(MEASUREMENTS)
    readings = [one.reading for one in found if isinstance(one, Decoded)]

    first = datetime(2011, 10, 31, 13, 24, 24, tzinfo=UTC)
    assert [(r.value, r.time - first) for r in readings] == [
        (20.0, timedelta(0)),
        (20.3, timedelta(minutes=1)),
        (20.7, timedelta(minutes=2)),
        (21.2, timedelta(minutes=3)),
    ]
    assert "9 of 13 records" in _apart(found)


def test_rfc_resolved_data_are_the_same_readings():
    """RFC 8428, 5.1.4."""
    one, other = _on(_one("h", HUMIDITY)), _on(_one("h", HUMIDITY))

    def readings(found):
        return [r.reading for r in found if isinstance(r, Decoded)]

    assert readings(one(RESOLVED)) == readings(other(MEASUREMENTS))


def test_rfc_a_boolean_is_open_or_closed():
    """RFC 8428, 5.1.5: temp by its unit, open by vb; text is nobody's."""
    values, reason = _said(_on(_one(), _one("d", Quantity.DOOR))(DATA_TYPES))

    assert values == [("t1", 23.1), ("d", 0.0)]
    assert 'record 2 ("urn:dev:ow:10e2073a01080063:label")' in reason


def test_rfc_devices_behind_one_gateway_are_told_apart_by_full_names():
    """RFC 8428, 5.1.6: 25.2 Cel and 30 %RH of ::2, 12.3 Cel and 67 %RH of ::1."""
    names = {
        "t2": ("2001:db8::2/temperature", Quantity.AIR_TEMPERATURE),
        "h2": ("2001:db8::2/humidity", HUMIDITY),
        "t1": ("2001:db8::1/temperature", Quantity.AIR_TEMPERATURE),
        "h1": ("2001:db8::1/humidity", HUMIDITY),
    }
    sensors = [_one(i, q, name_in_pack=n) for i, (n, q) in names.items()]

    found = _on(*sensors)(COLLECTION)

    assert {r[0]: r[2] for r in _values(found)} == {
        "t2": 25.2,
        "h2": 30.0,
        "t1": 12.3,
        "h1": 67.0,
    }


def test_rfc_a_switch_is_a_ratio_of_0_or_1():
    """RFC 8428, 5.1.7 and 12.1, note 2: 1.0 is on."""
    sensors = [
        _one(),
        _one("heater-a", Quantity.HEATER, name_in_pack="heat"),
        _one("fan", Quantity.HUMIDIFIER, name_in_pack="fan"),
    ]

    assert _values(_on(*sensors)(ACTUATOR)) == [
        ("t1", 0.0, 23.1),
        ("heater-a", 0.0, 1.0),
        ("fan", 0.0, 0.0),
    ]


# Whose record it is.


def test_the_name_without_the_base_name_is_enough():
    """The contract's "t1" in a pack of one device."""
    decode = _on(_one("a", name_in_pack="t1"), _one("b", name_in_pack="t2"))

    found = decode(
        [{"bn": "dev7:", "n": "t2", "u": "Cel", "v": 2}, {"n": "t1", "v": 1}]
    )

    assert {r[0]: r[2] for r in _values(found)} == {"a": 1.0, "b": 2.0}


def test_a_full_name_goes_before_a_short_one():
    """A record belongs to the sensor that asked for exactly it."""
    decode = _on(_one("short", name_in_pack="t1"), _one("full", name_in_pack="dev7:t1"))

    assert [r[0] for r in _values(decode([{"n": "dev7:t1", "v": 1}]))] == ["full"]


def test_units_tell_nameless_sensors_apart():
    """One air sensor, one humidity sensor, one device."""
    decode = _on(_one(), _one("h", HUMIDITY))

    found = decode([{"bn": "d:", "n": "x", "u": "%RH", "v": 60}, {"u": "Cel", "v": 21}])

    assert [(r[0], r[2]) for r in _values(found)] == [("h", 60.0), ("t1", 21.0)]


@pytest.mark.parametrize(
    ("quantity", "unit", "value", "expected"),
    [
        (Quantity.AIR_TEMPERATURE, "Cel", 21.5, 21.5),
        (Quantity.SUBSTRATE_TEMPERATURE, "K", 293.15, 20.0),
        (HUMIDITY, "%RH", 55, 55.0),
        (HUMIDITY, "%RH", 103, 100.0),
        (Quantity.SUBSTRATE_MOISTURE, "/", 0.62, 62.0),
        (Quantity.SUBSTRATE_MOISTURE, "%", 0.62, 62.0),
        (Quantity.SUBSTRATE_MOISTURE, "/100", 62, 62.0),
        (Quantity.CARBON_DIOXIDE, "ppm", 640, 640.0),
        (Quantity.AMMONIA, "ppm", 3, 3.0),
        (Quantity.DOOR, "/", 1, 1.0),
        (Quantity.LEAK, "%", 0, 0.0),
    ],
)
def test_registered_units_become_ours(quantity, unit, value, expected):
    """IANA registry of SenML units, RFC 8428 12.1 and RFC 8798, the deprecated too."""
    found = _on(_one("s", quantity))([{"n": "x", "u": unit, "v": value}])

    assert _values(found) == [("s", 0.0, expected)]


@pytest.mark.parametrize(
    ("quantity", "unit", "value", "expected"),
    [
        (HUMIDITY, "/", 0.55, 55.0),
        (HUMIDITY, "/100", 55, 55.0),
        (Quantity.CARBON_DIOXIDE, "/", 0.00064, 640.0),
    ],
)
def test_a_plain_ratio_is_taken_by_name(quantity, unit, value, expected):
    """It may be of many things, so its unit alone points at none of these."""
    record = [{"n": "x", "u": unit, "v": value}]

    named = _on(_one("s", quantity, name_in_pack="x"))(record)
    nameless = _on(_one("s", quantity))(record)

    assert _values(named) == [("s", 0.0, expected)]
    assert "no sensor of this topic takes it" in _apart(nameless)


@pytest.mark.parametrize(("unit", "value"), [("A", 1.7), ("mA", 1700)])
def test_amperes_are_for_clamps_alone(unit, value):
    """A heater that is only on or off is not told in A, nor a clamp by vb."""
    clamp = _one("c", Quantity.HEATER, unit=Unit.AMPERE)

    assert _values(_on(clamp)([{"u": unit, "v": value}])) == [("c", 0.0, 1.7)]
    assert "takes it" in _apart(
        _on(_one("s", Quantity.HEATER))([{"u": unit, "v": value}])
    )
    assert "is on or off" in _apart(_on(clamp)([{"vb": True}]))


def test_the_unit_of_the_record_goes_before_that_of_the_file():
    """The device knows; without a unit the file tells."""
    decode = _on(_one(unit=Unit.DEG_F))

    assert _values(decode([{"u": "Cel", "v": 21.5}])) == [("t1", 0.0, 21.5)]
    assert _values(decode([{"v": 212}])) == [("t1", 0.0, 100.0)]


@pytest.mark.parametrize(
    ("pack", "words"),
    [
        ([{"n": "p", "u": "Pa", "v": 1e5}], "measures Pa: leave it out"),
        ([{"n": "x", "u": "degC", "v": 21}], '"degC" is no unit of SenML: send Cel'),
        ([{"n": "x", "u": "furlong", "v": 1}], "no unit that is known here"),
        ([{"n": "x", "u": "ppm", "v": 1}], "no sensor of this topic takes it"),
        ([{"n": "x", "vb": True}], "no sensor of this topic is on or off"),
        ([{"n": "x", "v": 1}], "it may be of t1, h: give each its name_in_pack"),
        ([{"n": "x", "u": "%RH", "v": 130}], 'record 1 ("x", %RH): sensor h: 130 %'),
        ([{"n": "x", "u": "Cel", "v": -127}], "disconnected probe"),
        ([{"n": "x", "u": "Cel", "v": 21, "t": 5}], "5 s in the future"),
        ([{"n": "x", "u": "Cel", "v": 21, "t": 3e8}], "before 2000"),
        ([{"n": "x", "u": "Cel", "v": 21, "t": 1e300}], "beyond every calendar"),
        ([{"n": "x", "u": "Cel", "v": 21, "t": -1e300}], "beyond every calendar"),
        ([{"n": "x", "u": "Cel", "v": 21, "t": -1e9}], "before 2000"),
        (
            [{"n": "x", "u": "Cel", "v": 21, "t": 1772345220}],
            "clock wrong: 7 min ahead",
        ),
        ([{"n": "x", "u": "Cel", "v": "21"}], "is not a number"),
        ([{"n": "x", "s": 4}], "a sum alone"),
    ],
)
def test_a_record_that_fits_nobody_is_set_apart_in_words(pack, words):
    """With record, value and mend; both sensors of the topic are named."""
    found = _on(_one(), _one("h", HUMIDITY))(pack)

    reason = _apart(found)
    assert len(found) == 1
    assert words in reason
    assert reason.startswith("Sensors t1, h: 1 of 1 record of the pack set apart. ")


def test_a_named_record_in_a_foreign_unit_says_so():
    """The name is right and the unit is not."""
    decode = _on(_one(name_in_pack="t1"))

    assert 'air_temperature is never told in "V"' in _apart(
        decode([{"n": "t1", "u": "V", "v": 3}])
    )
    assert "send Cel" in _apart(decode([{"n": "t1", "u": "°C", "v": 21}]))
    assert "only for t1" in _apart(decode([{"n": "t9", "u": "Cel", "v": 21}]))


def test_a_percentage_in_the_deprecated_unit_is_explained():
    """RFC 8428, 12.1, note 2: % is the absolute ratio."""
    reason = _apart(_on(_one("m", Quantity.SUBSTRATE_MOISTURE))([{"u": "%", "v": 62}]))

    assert "6200 % moisture is outside" in reason
    assert "% is a ratio from 0 to 1, not a percentage" in reason


def test_two_names_never_feed_one_series():
    """Air and processor are both in Cel: neither is believed, by unit or short name."""
    two = [{"n": "air", "u": "Cel", "v": 21}, {"n": "cpu", "u": "Cel", "v": 48}]
    bases = [{"bn": "d1:", "n": "t1", "v": 20}, {"bn": "d2:", "n": "t1", "v": 30}]

    by_unit = _apart(_on(_one())(two))
    by_name = _apart(_on(_one(name_in_pack="t1"))(bases))

    assert '"air", "cpu" would all feed t1' in by_unit
    assert '"d1:t1", "d2:t1" would all feed t1' in by_name


def test_without_a_unit_a_pack_of_several_things_is_not_guessed():
    """55 is no temperature only because it has no unit."""
    values, reason = _said(
        _on(_one())([{"n": "t", "u": "Cel", "v": 21}, {"n": "h", "v": 55}])
    )

    assert values == [("t1", 21.0)]
    assert "it has no unit, and its pack measures several things" in reason


def test_two_values_of_one_instant_are_none():
    """Nobody knows which is right; equal ones are one."""
    differ = [{"n": "a", "v": 20}, {"n": "a", "v": 21}]
    agree = [{"n": "a", "v": 20}, {"n": "a", "v": 20}]

    assert "20, 21 are all of one instant" in _apart(_on(_one())(differ))
    assert _values(_on(_one())(agree)) == [("t1", 0.0, 20.0)]


def test_seconds_before_now_count_from_the_arrival():
    """RFC 8428, 4.5.3; the clock is ours, so they are not timed."""
    found = _on(_one())(
        [
            {"n": "a", "v": 22},
            {"n": "a", "v": 20, "t": -60},
            {"n": "a", "v": 21, "t": -5},
        ]
    )

    assert _values(found) == [("t1", -60, 20.0), ("t1", -5, 21.0), ("t1", 0, 22.0)]
    assert not any(one.timed for one in found)


def test_a_relative_base_time_stays_relative_until_2_to_the_28():
    """RFC 8428, 4.5.3: 2**28 is 1978-07-04 21:24:16 UTC, before any set clock."""
    decode = _on(_one())

    near = _apart(decode([{"n": "a", "bt": 2**28 - 1, "v": 1}]))
    absolute = _apart(decode([{"n": "a", "bt": 2**28 - 1, "t": 1, "v": 1}]))

    assert "in the future" in near
    assert "1978-07-04T21:24:16+00:00 is before 2000" in absolute


def test_a_record_for_nobody_is_told_once_beside_readings():
    """The battery in every pack must not fill the quarantine; alone it is told."""
    decode = _on(_one())
    pack = [{"n": "a", "u": "Cel", "v": 21}, {"n": "batt", "u": "%EL", "v": 90}]

    first, second = decode(pack), decode(pack)
    alone = decode(pack[1:])

    assert "measures %EL: leave it out" in _apart(first)
    assert _values(second) == [("t1", 0.0, 21.0)]
    assert _apart(alone)


def test_a_faulty_record_is_told_every_time():
    """A disconnected probe is no battery."""
    decode = _on(_one("a", name_in_pack="a"), _one("b", name_in_pack="b"))
    pack = [{"n": "a", "u": "Cel", "v": 21}, {"n": "b", "u": "Cel", "v": -127}]

    assert [_said(decode(pack)) for _ in range(2)] == [
        ([("a", 21.0)], _apart(decode(pack)))
    ] * 2


def test_many_bad_records_are_one_refusal():
    """A thousand of them fill no quarantine."""
    found = _on(_one())([{"n": f"x{n}", "u": "furlong", "v": n} for n in range(1000)])

    assert "1000 of 1000 records" in _apart(found)
    assert "and 996 more: " in _apart(found)
    assert len(_apart(found)) < 600


@pytest.mark.parametrize(
    ("payload", "words"),
    [
        ("[]", "the pack is empty"),
        ("[{}", "is no JSON"),
        ('[{"v": NaN}]', "is no JSON"),
        ("[" * 50_000, "nested too deep"),
        (json.dumps([{"v": 1}] * 1001), "1001 records, more than 1000"),
        ('[{"n": "a", "v": 1, "w_": 0}]', "must be understood"),
    ],
)
def test_c9_nonsense_in_brackets_is_set_apart_whole(payload, words):
    """C9, M1: in words, with the sensor."""
    reason = _apart(_on(_one())(payload))

    assert reason.startswith("Sensor t1: ")
    assert words in reason


def test_a_pointer_reads_an_array_as_plain_json():
    """A sensor with a pointer has nothing to do with packs."""
    decode = _on(_one(pointer="/1/v"), _one("h", HUMIDITY))

    found = decode([{"u": "%RH", "v": 60}, {"n": "x", "u": "lon", "v": 7}])
    values, _ = _said(found)

    assert values == [("t1", 7.0), ("h", 60.0)]


def test_a_base_unit_is_not_of_on_and_off():
    """The pack is in Cel, and the door is open."""
    decode = _on(_one(), _one("d", Quantity.DOOR, name_in_pack="door"))

    found = decode([{"bu": "Cel", "n": "a", "v": 21}, {"n": "door", "vb": True}])

    assert [(r[0], r[2]) for r in _values(found)] == [("t1", 21.0), ("d", 1.0)]


@pytest.mark.parametrize("quantity", sorted(SWITCHES))
def test_every_switch_takes_a_boolean(quantity):
    """In SenML on and off is vb."""
    found = _on(_one("s", quantity))([{"n": "a", "vb": True}])

    assert _values(found) == [("s", 0.0, 1.0)]


HOUSE = (
    _one("t", name_in_pack="t1"),
    _one("h", HUMIDITY),
    _one("d", Quantity.DOOR),
    _one("c", Quantity.HEATER, unit=Unit.AMPERE),
    _one("w", topic="w/+"),
    _one("p", pointer="/0/v"),
)
_json = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=4),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner),
    max_leaves=4,
)
_numbers = (
    st.integers(-200, 200) | st.floats(-1e3, 1e3) | st.sampled_from([1.8e9, 1e300])
)
_records = st.fixed_dictionaries(
    {},
    optional={
        "n": st.sampled_from(["t1", "h", "x:t1", ""]),
        "bn": st.sampled_from(["", "x:", "y:"]),
        "u": st.sampled_from(["Cel", "K", "%RH", "%", "/", "A", "mA", "lat", "oops"]),
        "v": _numbers | _json,
        "vb": st.booleans(),
        "t": _numbers,
        "bt": st.sampled_from([0, -5, 1772344000, 1e300]),
        "bv": _numbers,
    },
)


@given(
    st.sampled_from(["t", "w/1"]),
    st.lists(_records, max_size=6) | st.lists(_json, max_size=4),
)
def test_c9_any_array_is_readings_in_range_or_reasons(topic, pack):
    """C9, M1: never an exception; in order of time, finite, not of the future."""
    found = _on(*HOUSE)(pack, topic)

    readings = [one.reading for one in found if isinstance(one, Decoded)]
    assert found
    assert all(math.isfinite(r.value) and -55 <= r.value <= 200 for r in readings)
    assert all(r.time <= T0 + timedelta(minutes=5) for r in readings)
    instants = [(r.sensor, r.time) for r in readings if r.sensor != "p"]
    assert len(set(instants)) == len(instants)
    assert [t for _, t in instants] == sorted(t for _, t in instants)
    assert all(o.reason.isprintable() for o in found if isinstance(o, Rejected))
