"""site.toml: what is accepted, and each refusal with its mend."""

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.errors import ConfigError
from monitor.site import house, references
from monitor.site.mending import validated
from monitor.site.site_file import Broker, Sensor, Site
from monitor.site.words import Quantity, Unit
from tests.site import forms


def read(*edits):
    return validated(Site, tomllib.loads(forms.edited(forms.SITE, *edits)), "site.toml")


def complaint(*edits):
    with pytest.raises(ConfigError) as caught:
        read(*edits)
    return str(caught.value)


def test_the_complete_form_loads_with_its_own_types():
    """Every table and key of the contract is read, words as words, lists as tuples."""
    site = read()

    assert site.sensors[0].quantity is Quantity.AIR_TEMPERATURE
    assert site.sensors[0].unit is Unit.DEG_C
    assert site.limits[0].tolerated == (20.0, 29.0)
    assert (site.rota.weekday, site.rota.change_time.hour) == (0, 9)
    assert site.alarms.deadband[Quantity.RELATIVE_HUMIDITY] == 3.0


def test_data_straight_from_toml_validates():
    """Site.model_validate takes what tomllib gives, without our loader."""
    site = Site.model_validate(forms.site_data())

    assert site == read()


def test_whole_numbers_are_fine_where_a_float_is_wanted():
    """[22, 26] is [22.0, 26.0]."""
    site = read(("target = [22.0, 26.0]", "target = [22, 26]"))

    assert site.limits[0].target == (22.0, 26.0)


def test_a_sensor_without_topic_has_that_of_the_contract():
    """The default topic is rearing/<place>/<quantity>."""
    named = read()
    plain = read(('topic = "rearing/warm-room-a/air_temperature"\n', ""))

    assert plain.sensors[0].topic is None
    assert plain.sensors[0].effective_topic == named.sensors[0].effective_topic


def test_an_embedded_broker_needs_no_host():
    """A trial names embedded and listen alone."""
    site = read(
        (
            'host = "127.0.0.1"\nport = 1883\nusername = "monitor"\ntls = false\n',
            'embedded = true\nlisten = "127.0.0.1:1999"\n',
        )
    )

    assert (site.broker.embedded, site.broker.listen) == (True, "127.0.0.1:1999")


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"5 min"\npointer', '"5 minutes"\npointer', '"5 minutes" is no span: write'),
        ('"5 min"\npointer', '"0 s"\npointer', '"0 s" is no time at all'),
        ('"5 min"\npointer', '"99999 d"\npointer', "longer than ten years"),
        ('"5 min"\npointer', "300\npointer", "300 is no span"),
        ('"20 min"', '"20"', 'alarms.on_delay.air_temperature: "20" is no span'),
        ('"Mon 09:00"', '"Monday 9"', 'rota.change: "Monday 9" is no time of the week'),
        ("2026-01-05", "2026-01-06", "rota.first_change: 2026-01-06 is a Tue"),
        ("2026-01-05", '"2026-01-05"', "is no date: write it without quotes"),
        ("2026-01-05", "2026-01-05T09:00:00", "is no date"),
        ('"07:00"', '"7:00"', 'summary.time: "7:00" is no clock time'),
        ('"07:00"', '"24:00"', 'summary.time: "24:00" is no clock time'),
        ('"07:00"', "07:00:00", "summary.time: 07:00:00 is no text"),
        ("Europe/Dublin", "Dublin", "do you mean Europe/Dublin?"),
        ("Europe/Dublin", "../etc", "is no time zone"),
        ("[20.0, 29.0]", "[29.0, 20.0]", "low 29.0 is not below high 20.0 (swap"),
        ("[20.0, 29.0]", "[20.0, 20.0]", "low 20.0 is not below high 20.0"),
        ("[20.0, 29.0]", "[20.0]", "tolerated[2]: is missing"),
        ("[20.0, 29.0]", "[20.0, 29.0, 30.0]", "has too many entries"),
        ("[20.0, 29.0]", "[23.0, 29.0]", "does not enclose target [22.0, 26.0]"),
        ("[15.0, 34.0]", "[21.0, 34.0]", "does not enclose tolerated [20.0, 29.0]"),
        ("[15.0, 34.0]", "[15.0, 134.0]", "in degC, from -60 to 100"),
        ('"degC"', '"percent"', "is no unit of air_temperature: write"),
        ('"degC"', '"celsius"', 'is none of "degC"'),
        ('kind = "incubator"', 'kind = "shelf"', "is no kind of enclosure"),
        (
            'role = "keeper"',
            'role = "boss"',
            'keeper[1] (ines).role: "boss" is none of',
        ),
        ("tls = false", "tls = 1", "broker.tls: 1 is neither"),
        ("port = 1883", "port = 0", "broker.port: 0 should be greater"),
        ("port = 1883", "port = 70000", "broker.port: 70000 should be less"),
        (
            'host = "127.0.0.1"\nport = 1883',
            'host = "10.0.0.1:1883"\nport = 1883',
            'broker.host: "10.0.0.1:1883" is no host',
        ),
        ('listen = "127.0.0.1:8460"', 'listen = "8460"', "is no address to listen on"),
        ('"http://127.0.0.1:8086"', '"127.0.0.1:8086"', "is no web address"),
        ('"http://127.0.0.1:8086"', '"http://[::1"', "is no web address"),
        ('"/temperature"', '"temperature"', "is no JSON pointer (RFC 6901)"),
        ('"/temperature"', '"/a~2"', "is no JSON pointer (RFC 6901)"),
        (
            '"ines@quillmere.example"',
            '"ines"',
            'keeper[1] (ines).mail: "ines" is no mail',
        ),
        ('id = "warm-room"\n', 'id = "Warm Room"\n', "is no id: write small letters"),
        ("[rota]", "[[rota]]", "rota: "),
        ("[[room]]", "[room]", "room: is no list"),
        ('to = ["ines"]', "to = []", "summary.to: [] has too few entries"),
        ("= 0.5", "= -0.5", "alarms.deadband.air_temperature: -0.5 should be greater"),
    ],
)
def test_a_wrong_value_is_refused_with_its_mend(old, new, said):
    """File, key, value and mend stand in one line."""
    text = complaint((old, new))

    assert text.startswith("site.toml: ")
    assert said in text
    assert "\n" not in text


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            'room = "warm-room"',
            'room = "cold-room"',
            'shelf[1] (warm-room-a).room: "cold',
        ),
        (
            'place = "warm-room"\nkind',
            'place = "x"\nkind',
            "no room or shelf of this file",
        ),
        (
            'place = "warm-room"\nquantity',
            'place = "x"\nquantity',
            "limit[1] (x).place",
        ),
        ('place = "warm-room-a"', 'place = "warm-rom-a"', 'do you mean "warm-room-a"?'),
        (
            'order = ["ines"]',
            'order = ["inez"]',
            'rota.order[1]: "inez" is no [[keeper]]',
        ),
        ('fallback = "ines"', 'fallback = "x"', 'rota.fallback: "x" is no [[keeper]]'),
        ('to = ["ines"]', 'to = ["x"]', 'summary.to[1]: "x" is no [[keeper]]'),
        ('"mail", "ines-text"', '"mail", "text"', "keeper[1] (ines).channels[2]"),
        (
            'mail = "ines@quillmere.example"\n',
            "",
            'has the channel "mail" but no address',
        ),
    ],
)
def test_a_reference_to_nothing_is_refused(old, new, said):
    """Every id that is named must exist."""
    assert said in complaint((old, new))


def test_mail_without_a_mail_table_is_refused():
    """A keeper with the channel mail needs a [mail] table."""
    mail = forms.SITE[forms.SITE.index("[mail]") : forms.SITE.index("[alarms]")]

    text = complaint((mail, ""))

    assert "keeper[1] (ines).channels[1]: there is no [mail] table" in text


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ('[[room]]\nid = "warm-room-a"\nname = "x"\n', '"warm-room-a" stands twice'),
        (
            '[[enclosure]]\nid = "warm-room"\nplace = "warm-room"\nkind = "rearing"\n',
            'enclosure[2] (warm-room).id: "warm-room" stands twice',
        ),
        (
            '[[keeper]]\nid = "ines"\nname = "I"\nrole = "cover"\nchannels = []\n',
            'keeper[2] (ines).id: "ines" stands twice',
        ),
        (
            '[[channel]]\nid = "ines-text"\n',
            'channel[2] (ines-text).id: "ines-text" stands',
        ),
        ('[[channel]]\nid = "mail"\n', "is for what is beyond mail"),
        ('[[room]]\nid = "system"\nname = "x"\n', "kept for the system itself"),
        (
            (
                '[[limit]]\nplace = "warm-room"\nquantity = "air_temperature"\n'
                "tolerated = [1.0, 2.0]\n"
            ),
            "a second limit of air_temperature in warm-room",
        ),
        (
            (
                '[[sensor]]\nid = "hand-x"\nplace = "warm-room"\nquantity = "light"\n'
                'interval = "1 h"\n'
            ),
            "kept for readings by hand",
        ),
    ],
)
def test_ids_are_unique_and_free(table, said):
    """Nothing has two meanings."""
    text = complaint(("[[limit]]", f"{table}\n[[limit]]"))

    assert said in text


def two_sensors(first: str, second: str) -> str:
    other = '[[sensor]]\nid = "b"\nplace = "warm-room"\ninterval = "5 min"\n'
    start = forms.SITE.index("[[sensor]]")
    end = forms.SITE.index("[[keeper]]")
    return (
        forms.SITE[:start]
        + other.replace('"b"', '"a"')
        + f"{first}\n\n{other}{second}\n\n"
        + forms.SITE[end:]
    )


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ('quantity = "light"', 'quantity = "light"'),
        ('quantity = "light"\ntopic = "t"', 'quantity = "door"\ntopic = "t"'),
        (
            'quantity = "air_temperature"\ntopic = "t"\npointer = "/x"',
            'quantity = "relative_humidity"\ntopic = "t"\npointer = "/x"',
        ),
        (
            'quantity = "air_temperature"\ntopic = "t"\nname_in_pack = "x"',
            'quantity = "relative_humidity"\ntopic = "t"\nname_in_pack = "x"',
        ),
    ],
)
def test_two_sensors_that_read_the_same_value_are_refused(first, second):
    """One value of one payload belongs to one sensor."""
    with pytest.raises(
        ConfigError, match=r"sensor\[2\] \(b\)\.topic: .* in the same way"
    ):
        validated(Site, tomllib.loads(two_sensors(first, second)), "site.toml")


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (
            'quantity = "air_temperature"\ntopic = "t"\npointer = "/t"',
            'quantity = "relative_humidity"\ntopic = "t"\npointer = "/h"',
        ),
        (
            'quantity = "air_temperature"\ntopic = "t"',
            'quantity = "relative_humidity"\ntopic = "t"',
        ),
    ],
)
def test_one_topic_may_carry_several_values(first, second):
    """Pointers, names and, in a SenML pack, units tell them apart."""
    site = validated(Site, tomllib.loads(two_sensors(first, second)), "site.toml")

    assert [s.effective_topic for s in site.sensors] == ["t", "t"]


@pytest.mark.parametrize(
    "topic", ["", "a/#/b", "a#", "a/b+", "$SYS/x", "a\x00b", "#/a"]
)
def test_a_topic_that_no_broker_takes_is_refused(topic):
    """Wildcards stand where MQTT 5, section 4.7, allows them."""
    data = forms.put(forms.site_data(), ("sensor", 0, "topic"), topic)

    with pytest.raises(ConfigError, match=r"sensor\[1\] \(warm-room-a-air\)\.topic"):
        validated(Site, data, "site.toml")


@pytest.mark.parametrize("topic", ["#", "+", "a/+/b", "a/#", "+/b/#", "/a", "a b"])
def test_a_topic_filter_may_hold_wildcards(topic):
    """Examples of MQTT 5, sections 4.7.1.2 and 4.7.1.3."""
    sensor = Sensor.model_validate(
        {
            "id": "s",
            "place": "p",
            "quantity": "light",
            "interval": "1 h",
            "topic": topic,
        }
    )

    assert sensor.effective_topic == topic


@pytest.mark.parametrize(
    ("table", "said"),
    [
        (
            {"embedded": True, "listen": "0.0.0.0:1883"},
            "can be reached from the network",
        ),
        ({"embedded": True, "host": "127.0.0.1"}, "an embedded broker has no host"),
        ({"embedded": True, "tls": True}, "speaks no TLS"),
        ({"host": "h", "listen": "127.0.0.1:1"}, "is of the embedded broker alone"),
        ({}, "host = .* embedded = true, listen = "),
    ],
)
def test_a_broker_is_our_own_or_embedded(table, said):
    """The two kinds do not mix, and the embedded one stays on this machine."""
    with pytest.raises(ConfigError, match=said):
        validated(Broker, table, "site.toml")


@pytest.mark.parametrize(
    "way", [w for w in forms.keys(forms.site_data()) if not isinstance(w[-1], int)]
)
def test_each_key_is_required_or_has_a_default(way):
    """Only what has no sensible default is required, and its absence is named."""
    data = forms.without(forms.site_data(), way)

    assert outcome(data) == (EXPECTED_WITHOUT.get(way, "loads"))


def outcome(data):
    try:
        validated(Site, data, "site.toml")
    except ConfigError as error:
        return str(error).removeprefix("site.toml: ").split(": ")[0]
    return "loads"


ROOM = ("room", 0)
SENSOR, LIMIT = ("sensor", 0), ("limit", 0)
AIR = "sensor[1] (warm-room-a-air)"
EXPECTED_WITHOUT = {
    ("site",): "site",
    ("site", "name"): "site.name",
    ("site", "time_zone"): "site.time_zone",
    ("broker", "host"): "broker",
    ("room",): "room",
    (*ROOM, "id"): "room[1].id",
    (*ROOM, "name"): "room[1] (warm-room).name",
    ("shelf",): f"{AIR}.place",
    ("shelf", 0, "id"): "shelf[1].id",
    ("shelf", 0, "room"): "shelf[1] (warm-room-a).room",
    ("enclosure", 0, "id"): "enclosure[1] (warm-room).id",
    ("enclosure", 0, "place"): "enclosure[1] (incubator-1).place",
    ("enclosure", 0, "kind"): "enclosure[1] (incubator-1).kind",
    (*LIMIT, "place"): "limit[1].place",
    (*LIMIT, "quantity"): "limit[1] (warm-room).quantity",
    (*LIMIT, "tolerated"): "limit[1] (warm-room).tolerated",
    (*SENSOR, "id"): "sensor[1] (warm-room-a).id",
    (*SENSOR, "place"): f"{AIR}.place",
    (*SENSOR, "quantity"): f"{AIR}.quantity",
    (*SENSOR, "interval"): f"{AIR}.interval",
    ("keeper",): "rota.order[1]",
    ("keeper", 0, "id"): "keeper[1].id",
    ("keeper", 0, "name"): "keeper[1] (ines).name",
    ("keeper", 0, "mail"): "keeper[1] (ines).mail",
    ("keeper", 0, "role"): "keeper[1] (ines).role",
    ("channel",): "keeper[1] (ines).channels[2]",
    ("channel", 0, "id"): "channel[1].id",
    ("rota", "order"): "rota.order",
    ("rota", "first_change"): "rota.first_change",
    ("rota", "change"): "rota.change",
    ("mail",): "keeper[1] (ines).channels[1]",
    ("mail", "host"): "mail.host",
    ("mail", "from"): "mail.from",
    ("summary", "day"): "summary.day",
    ("summary", "time"): "summary.time",
    ("summary", "to"): "summary.to",
    ("mirror", "url"): "mirror.url",
    ("mirror", "org"): "mirror.org",
    ("mirror", "bucket"): "mirror.bucket",
    ("page", "listen"): "page.listen",
}
"""Where the first complaint stands when a key is left out; all others may be."""

SCALARS = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=20),
    st.dates(),
    st.times(),
    st.datetimes(),
    st.lists(st.one_of(st.floats(), st.text(max_size=5)), max_size=3),
    st.dictionaries(st.text(max_size=5), st.integers(), max_size=2),
)


@given(
    way=st.sampled_from([w for w, _ in forms.leaves(forms.site_data())]), value=SCALARS
)
def test_whatever_stands_in_a_file_gives_one_line_or_a_site(way, value):
    """No value of any type ends in anything but a site or a complaint of one line."""
    data = forms.put(forms.site_data(), way, value)

    said = outcome(data)

    assert said == "loads" or (said and "\n" not in said)


def test_the_prefix_of_hand_readings_is_one_word():
    """The id that the files keep free is the one that the house uses."""
    assert references.HAND == house.HAND
