"""Payloads of the contract, of devices with a pointer, and nonsense."""

import json
import math
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.intake.decode import KEPT_BYTES, Decoded, Decoder, Rejected
from monitor.site.words import Quantity, Unit
from tests.support.intakes import sensor

T0 = datetime(2026, 3, 1, 6, tzinfo=UTC)
TOPIC = "rearing/shelf-a/air_temperature"


def _one(payload: bytes, /, at: datetime = T0, **declared) -> Decoded | Rejected:
    (found,) = Decoder([sensor(topic="t", **declared)]).decode("t", payload, at)
    return found


def _value(payload: bytes, /, **declared) -> float:
    found = _one(payload, **declared)
    assert isinstance(found, Decoded), found
    return found.reading.value


def _reason(payload: bytes, /, **declared) -> str:
    found = _one(payload, **declared)
    assert isinstance(found, Rejected), found
    return found.reason


def test_a_bare_number_is_a_reading_of_now():
    """The contract's shortest payload, on the default topic."""
    (found,) = Decoder([sensor()]).decode(TOPIC, b"24.3", T0)

    assert isinstance(found, Decoded)
    assert not found.timed
    reading = found.reading
    assert (reading.sensor, reading.quantity) == ("shelf-a-air", "air_temperature")
    assert (reading.value, reading.time) == (24.3, T0)


@pytest.mark.parametrize(
    ("payload", "expected"),
    [
        (b"21", 21.0),
        (b"-3.50", -3.5),
        (b"+2.1e1", 21.0),
        (b".5", 0.5),
        (b"5.", 5.0),
        (b" 21.5\r\n", 21.5),
        (b'{"value": 24.3}', 24.3),
        (b'{"value": 24, "time": null, "battery": 91}', 24.0),
    ],
)
def test_numbers_as_devices_write_them(payload, expected):
    """Decimal, exponent, and the line end of a shell."""
    assert _value(payload) == expected


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        b"  ",
        b"nan",
        b"NaN",
        b"-inf",
        b"Infinity",
        b"1e999",
        b"0x1F",
        b"1_0",
        b"1,5",
        b"1 2",
        b"21.5 C",
        b"--1",
        b".",
        b"1e",
        b"1" * 65,
        "٢١".encode(),
        b"\xff\xfe",
        b"21\x00",
        b"null",
        b"true",
        b'"21.5"',
        b"{",
        b"{}",
        b'{"value": NaN}',
        b'{"value": Infinity}',
        b'{"value": 1e999}',
        b'{"value": "21.5"}',
        b'{"value": null}',
        b'{"value": true}',
        b'{"value": [21.5]}',
        b'{"temperature": 21.5}',
        b'{"value": 21.5} x',
        b"[21.5]",
        b"[" * 50_000,
        b'{"value":' * 7_000,
    ],
    ids=lambda payload: repr(payload[:12]),
)
def test_c9_nonsense_is_rejected_with_a_sentence(payload):
    """C9, M1: nothing of this is a temperature, and each says what to mend."""
    reason = _reason(payload)

    assert reason.startswith("Sensor shelf-a-air: ")
    assert reason.endswith((".", "…}."))
    assert reason.isprintable()


@pytest.mark.parametrize(
    ("payload", "words"),
    [
        (b"21,5", '"21,5" is no decimal number'),
        (b'{"temperature": 21.5}', 'no member "value"'),
        (b'{"value": "21.5"}', "without quotes"),
        (b"[21.5]", '"21.5" in place 1 of the array is no SenML record'),
        (b'{"e": [{"n": "t1", "v": 21.5}]}', "SenML of an old draft"),
        (b'{"value": 1, "time": 1772344800}', "no RFC 3339 time"),
        (b'{"value": 1, "time": "2026-03-01T06:00:00"}', "time without zone"),
        (b'{"value": 1, "time": "1999-12-31T23:59:59Z"}', "clock wrong"),
        (b'{"value": 1, "time": "2026-03-01T06:07:00Z"}', "clock wrong: 7 min ahead"),
        (b"-127", "disconnected probe"),
        (b"127.94", "conversion that failed"),
        (b"125.1", "-55 to 125 degC"),
        (b"300", "300 degC is outside"),
    ],
)
def test_the_reason_names_value_and_mend(payload, words):
    """A keeper reads it in the quarantine."""
    assert words in _reason(payload)


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("2026-03-01T05:30:00Z", datetime(2026, 3, 1, 5, 30, tzinfo=UTC)),
        ("2026-03-01T06:30:00+01:00", datetime(2026, 3, 1, 5, 30, tzinfo=UTC)),
        ("2026-03-01t05:30:00.25z", datetime(2026, 3, 1, 5, 30, 0, 250000, UTC)),
        ("2026-03-01T06:05:00Z", datetime(2026, 3, 1, 6, 5, tzinfo=UTC)),
        ("2000-01-01T00:00:00Z", datetime(2000, 1, 1, tzinfo=UTC)),
    ],
)
def test_a_time_is_kept_in_utc_to_the_microsecond(said, meant):
    """RFC 3339, up to five minutes ahead of ours."""
    found = _one(json.dumps({"value": 21.5, "time": said}).encode())

    assert isinstance(found, Decoded), found
    assert found.timed
    assert found.reading.time == meant
    assert found.reading.time.tzinfo is UTC


@pytest.mark.parametrize(
    ("said", "zone"),
    [("0001-01-01T00:00:00", "+14:00"), ("9999-12-31T23:59:59", "-14:00")],
)
def test_times_at_the_end_of_the_calendar_are_only_wrong(said, zone):
    """They cannot be written in UTC; still no exception."""
    reason = _reason(json.dumps({"value": 1, "time": said + zone}).encode())

    assert "clock wrong" in reason


def test_a_pointer_finds_the_value_and_the_time_beside():
    """RFC 6901 into the JSON of a device of another make."""
    payload = (
        b'{"time": "2026-03-01T05:59:00Z", "SHT": {"Temperature": 22.5}, "list": [7]}'
    )

    found = _one(payload, pointer="/SHT/Temperature")
    in_list = _value(payload, pointer="/list/0")

    assert isinstance(found, Decoded)
    assert (found.reading.value, found.timed) == (22.5, True)
    assert found.reading.time == datetime(2026, 3, 1, 5, 59, tzinfo=UTC)
    assert in_list == 7.0


@pytest.mark.parametrize(
    ("payload", "pointer", "words"),
    [
        (b'{"a": 1}', "/b", 'holds nothing at "/b"'),
        (b'{"a": "1"}', "/a", "is no number"),
        (b'{"a": null}', "/a", "is no number"),
        (b'{"a": 1, "time": 5}', "/a", "no RFC 3339 time"),
        (b"{", "/a", "is no JSON"),
        (b'{"a": NaN}', "/a", "is no JSON"),
        (b'{"a": true}', "/a", "true is no number"),
        (b"[" * 50_000, "/0", "nested too deep"),
    ],
)
def test_a_pointer_that_finds_no_number_says_so(payload, pointer, words):
    """The keeper learns whether the pointer or the device is wrong."""
    assert words in _reason(payload, pointer=pointer)


# Fixed points of the scales: NIST SP 811 (2008), appendix B.8.
@pytest.mark.parametrize(
    ("quantity", "unit", "payload", "expected"),
    [
        (Quantity.AIR_TEMPERATURE, Unit.DEG_F, b"32", 0.0),
        (Quantity.AIR_TEMPERATURE, Unit.DEG_F, b"212", 100.0),
        (Quantity.SUBSTRATE_TEMPERATURE, Unit.KELVIN, b"273.15", 0.0),
        (Quantity.AIR_TEMPERATURE, Unit.DEG_C, b"21.5", 21.5),
        (Quantity.RELATIVE_HUMIDITY, Unit.FRACTION, b"0.55", 55.0),
        (Quantity.RELATIVE_HUMIDITY, Unit.FRACTION, b"1.04", 100.0),
        (Quantity.CARBON_DIOXIDE, Unit.PPM, b"417", 417.0),
        (Quantity.HEATER, Unit.AMPERE, b"1.7", 1.7),
    ],
)
def test_units_become_canonical(quantity, unit, payload, expected):
    """degC, percent, ppm; amperes stay amperes."""
    assert _value(payload, quantity=quantity, unit=unit) == expected


@pytest.mark.parametrize(
    ("quantity", "payload", "expected"),
    [
        (Quantity.AIR_TEMPERATURE, b"-55", -55.0),
        (Quantity.AIR_TEMPERATURE, b"125", 125.0),
        (Quantity.RELATIVE_HUMIDITY, b"0", 0.0),
        (Quantity.RELATIVE_HUMIDITY, b"104", 100.0),
        (Quantity.SUBSTRATE_MOISTURE, b"100", 100.0),
        (Quantity.AMMONIA, b"0", 0.0),
        (Quantity.MAINS, b"0", 0.0),
        (Quantity.MAINS, b"true", 1.0),
        (Quantity.DOOR, b'{"value": false}', 0.0),
    ],
)
def test_the_last_possible_values_are_readings(quantity, payload, expected):
    """Ranges of sensor_facts and met_qc_limits, ends included."""
    assert _value(payload, quantity=quantity) == expected


@pytest.mark.parametrize(
    ("quantity", "payload", "limit"),
    [
        (Quantity.AIR_TEMPERATURE, b"-55.1", "-55 to 125 degC"),
        (Quantity.RELATIVE_HUMIDITY, b"-0.1", "0 to 104 %"),
        (Quantity.RELATIVE_HUMIDITY, b"104.1", "0 to 104 %"),
        (Quantity.SUBSTRATE_MOISTURE, b"100.1", "0 to 100 %"),
        (Quantity.CARBON_DIOXIDE, b"-1", "0 to 1000000 ppm"),
        (Quantity.LEAK, b"2", "neither 0 (off) nor 1 (on)"),
        (Quantity.HEATER, b"0.5", "neither 0 (off) nor 1 (on)"),
    ],
)
def test_impossible_values_are_rejected_with_value_and_limit(quantity, payload, limit):
    """A value that no sensor can mean never reaches a band."""
    reason = _reason(payload, quantity=quantity)

    assert limit in reason
    assert payload.decode() in reason


def test_a_current_below_zero_is_rejected():
    """The clamp sits the wrong way round, or not at all."""
    reason = _reason(b"-0.2", quantity=Quantity.HEATER, unit=Unit.AMPERE)

    assert "-0.2 A is below 0 A" in reason


@pytest.mark.parametrize(
    ("quantity", "payload", "expected"),
    [
        (Quantity.MAINS, b"on", 1.0),
        (Quantity.MAINS, b"OFF\n", 0.0),
        (Quantity.HEATER, b'"On"', 1.0),
        (Quantity.LIGHT, b"TRUE", 1.0),
        (Quantity.HUMIDIFIER, b"false", 0.0),
        (Quantity.DOOR, b"open", 1.0),
        (Quantity.DOOR, b'"CLOSED"', 0.0),
        (Quantity.DOOR, b"off", 0.0),
        (Quantity.LEAK, b"Wet", 1.0),
        (Quantity.LEAK, b'{"value": "dry"}', 0.0),
        (Quantity.MAINS, b'{"value": true}', 1.0),
    ],
)
def test_words_for_on_and_off(quantity, payload, expected):
    """A short list in any case, bare or as a JSON string."""
    assert _value(payload, quantity=quantity) == expected


def test_a_pointer_may_find_a_word():
    """The relay of another make says POWER."""
    found = _value(
        b'{"Relay": {"state": "ON"}}', quantity=Quantity.LIGHT, pointer="/Relay/state"
    )

    assert found == 1.0


@pytest.mark.parametrize(
    ("quantity", "payload", "words"),
    [
        (Quantity.MAINS, b"open", "one of on, off, true, false."),
        (Quantity.DOOR, b"ajar", "one of on, off, true, false, open, closed."),
        (Quantity.LEAK, b'"damp"', "one of on, off, true, false, wet, dry."),
        (Quantity.DOOR, b'{"value": "dry"}', "no word for door"),
        (Quantity.DOOR, b"null", "no word for door"),
        (Quantity.DOOR, b"\xf6ffen", "neither a number nor"),
        (Quantity.DOOR, b"o" * 17, "neither a number nor"),
        (Quantity.AIR_TEMPERATURE, b"on", "neither a number nor"),
        (Quantity.AIR_TEMPERATURE, b'{"value": "on"}', "without quotes"),
    ],
)
def test_other_words_are_rejected_with_the_list(quantity, payload, words):
    """Nobody guesses what ajar means."""
    assert words in _reason(payload, quantity=quantity)


@pytest.mark.parametrize("payload", [b"on", b"true", b'{"value": "off"}'])
def test_a_current_is_no_word(payload):
    """A clamp that says on is another device than the one declared."""
    reason = _reason(payload, quantity=Quantity.HEATER, unit=Unit.AMPERE)

    assert "number" in reason


def test_a_bare_value_on_a_topic_of_several_is_nobodys():
    """21 is no humidity only because a humidity is read from the same topic."""
    decoder = Decoder(
        [sensor("t", topic="dev"), sensor("h", Quantity.RELATIVE_HUMIDITY, topic="dev")]
    )

    (found,) = decoder.decode("dev", b"21", T0)

    assert isinstance(found, Rejected)
    assert 'Sensors t, h: "21" does not tell whose value it is' in found.reason


def test_an_unknown_topic_says_so():
    """Nobody listens; the message is kept to look at."""
    (found,) = Decoder([sensor()]).decode("rearing/shelf-b/mains", b"1", T0)

    assert isinstance(found, Rejected)
    assert found.reason.startswith("No sensor listens to this topic")
    assert (found.topic, found.payload, found.at) == (
        "rearing/shelf-b/mains",
        b"1",
        T0,
    )


def test_a_huge_payload_is_refused_by_its_size_and_kept_in_part():
    """The quarantine stays small."""
    (found,) = Decoder([sensor()]).decode(TOPIC, b"1" * 65_537, T0)

    assert isinstance(found, Rejected)
    assert "65537 bytes" in found.reason
    assert len(found.payload) == KEPT_BYTES


def test_every_sensor_of_a_topic_gets_its_own_value():
    """One device, two quantities, one of them missing."""
    decoder = Decoder(
        [
            sensor("t", topic="dev/1", pointer="/t"),
            sensor("h", Quantity.RELATIVE_HUMIDITY, topic="dev/1", pointer="/h"),
        ]
    )

    found = decoder.decode("dev/1", b'{"t": 21}', T0)

    assert [type(one) for one in found] == [Decoded, Rejected]


def test_wildcards_find_their_sensor_and_an_exact_topic_goes_first():
    """MQTT section 4.7; $ topics are no match for a leading wildcard."""
    decoder = Decoder(
        [
            sensor("any", topic="dev/+/t"),
            sensor("deep", topic="+/deep/#"),
            sensor("one", topic="dev/1/t"),
        ]
    )

    heard = [
        [one.reading.sensor for one in decoder.decode(topic, b"21", T0)]
        for topic in ("dev/1/t", "dev/2/t", "x/deep", "x/deep/a/b", "dev/2/t")
    ]
    (hidden,) = decoder.decode("$x/deep", b"21", T0)

    assert heard == [["one"], ["any"], ["deep"], ["deep"], ["any"]]
    assert isinstance(hidden, Rejected)


SITE = Decoder(
    [
        sensor(),
        sensor("h", Quantity.RELATIVE_HUMIDITY, topic="h", unit=Unit.FRACTION),
        sensor("p", topic="p/+", pointer="/a/0"),
        sensor("m", Quantity.MAINS, topic="m"),
    ]
)
_topics = st.sampled_from([TOPIC, "h", "p/x", "m"]) | st.text(max_size=20)
_json = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["value", "time", "a"]), inner, max_size=3)
    ),
    max_leaves=8,
).map(lambda document: json.dumps(document).encode())
_numbers = st.floats().map(lambda value: repr(value).encode())
_timed = st.builds(
    lambda value, time: json.dumps({"value": value, "time": time}).encode(),
    st.floats(),
    st.datetimes(
        timezones=st.sampled_from([None, UTC, timezone(timedelta(hours=14))])
    ).map(datetime.isoformat)
    | st.text(max_size=10),
)


@given(_topics, st.binary(max_size=60) | _json | _numbers | _timed)
def test_c9_whatever_comes_is_a_finite_reading_or_a_reason(topic, payload):
    """C9, M1: never an exception, never a value outside its quantity's range."""
    found = SITE.decode(topic, payload, T0)

    assert found
    for one in found:
        if isinstance(one, Rejected):
            assert one.reason.isprintable()
        else:
            assert math.isfinite(one.reading.value)
            assert -55 <= one.reading.value <= 125
            assert one.reading.time <= T0 + timedelta(minutes=5)


@given(st.floats(min_value=-55, max_value=125))
def test_number_and_object_say_the_same(value):
    """Both payloads of the contract carry a double unharmed."""
    text = repr(value)

    assert _value(text.encode()) == value
    assert _value(f'{{"value": {text}}}'.encode()) == value
