"""The directory of configuration, the shipped library and `check`."""

import json
import tomllib
from pathlib import Path

import pytest

import monitor
from monitor.errors import ConfigError
from monitor.site import load as loading
from monitor.site.advice import warnings
from monitor.site.effective import effective
from monitor.site.load import load, require_broker, shipped
from monitor.site.mending import validated
from monitor.site.site_file import Site
from monitor.site.spans import format_span, parse_span
from tests.site import forms

CHECKOUT = Path(__file__).parents[2]


def test_a_site_alone_takes_the_shipped_library(house):
    """Without species of its own a house has every shipped one and the templates."""
    configuration = load(house)

    shipped_names = {
        folder: {path.stem for path in (shipped() / folder).glob("*.toml")}
        for folder in ("species", "templates")
    }
    assert {"dynastes-hercules", "tribolium-castaneum"} <= shipped_names["species"]
    assert configuration.library.provisional == shipped_names["templates"]
    assert set(configuration.library.species) == set().union(*shipped_names.values())


def test_text_and_hash_tell_the_files(house):
    """Every file is kept as read, and one changed byte changes the hash."""
    before = load(house)
    (house / "site.toml").write_text(forms.SITE + "\n")

    after = load(house)

    assert before.text["site.toml"] == forms.SITE
    assert "species/dynastes-hercules.toml" in before.text
    assert (len(before.hash), before.hash == after.hash) == (12, False)
    assert load(house).hash == after.hash


def test_a_source_that_does_not_resolve_is_refused(tmp_path):
    """A house species may cite only what its sources.toml holds."""
    species = forms.edited(
        forms.SPECIES, ('}]\nsource = "from-memory"', '}]\nsource = "hercules-clmate"')
    )
    house = forms.config_dir(tmp_path, species=species)

    with pytest.raises(ConfigError, match='do you mean "hercules-climate"') as caught:
        load(house)

    assert "stage[1] (egg).development.source" in str(caught.value)


def test_sources_of_the_house_replace_the_shipped_ones(tmp_path):
    """A sources.toml beside site.toml is the whole list."""
    species = forms.edited(
        forms.SPECIES, ('}]\nsource = "from-memory"', '}]\nsource = "our-book"')
    )
    house = forms.config_dir(tmp_path, species=species)
    (house / "templates").mkdir()
    (house / "sources.toml").write_text(
        '[our-book]\ntitle = "Notes"\nwhere = "shelf 3"\ngrade = "D"\n'
    )

    assert list(load(house).sources) == ["our-book"]


def test_two_files_with_one_id_are_refused(tmp_path):
    """A species stands in one file."""
    house = forms.config_dir(tmp_path, species=forms.SPECIES)
    (house / "species" / "second.toml").write_text(forms.SPECIES)

    with pytest.raises(ConfigError, match=r"second.toml: species\.id: .* another file"):
        load(house)


def test_a_template_may_not_take_the_id_of_a_species(tmp_path):
    """An id means one thing."""
    house = forms.config_dir(tmp_path, species=forms.SPECIES)
    (house / "templates").mkdir()
    (house / "templates" / "t.toml").write_text(forms.SPECIES)

    with pytest.raises(ConfigError, match='"example-scarab" is that of a species too'):
        load(house)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"[site\n", "is no TOML: .* line 1"),
        (b'[site]\nname = "\xff"\n', "line 2: byte 0xff is no UTF-8"),
        (b"x = " + b"[" * 5000, "is no TOML"),
        (b"x = " + b"1" * 5000, "is no TOML"),
        (b"[site]\nname = 'a'\nname = 'b'\n", "is no TOML"),
    ],
)
def test_a_file_that_is_no_toml_names_the_place(tmp_path, content, said):
    """What cannot be parsed is one line, not a traceback."""
    (tmp_path / "site.toml").write_bytes(content)

    with pytest.raises(ConfigError, match=said):
        load(tmp_path)


def test_files_of_other_editors_are_read(house):
    """A byte order mark and CR LF change nothing."""
    plain = load(house)
    (house / "site.toml").write_bytes(
        b"\xef\xbb\xbf" + forms.SITE.replace("\n", "\r\n").encode()
    )

    assert load(house).site == plain.site


def test_the_path_of_a_ca_file_is_seen_from_site_toml(house):
    """Tls = "ca.pem" is the file beside site.toml, wherever the daemon starts."""
    (house / "site.toml").write_text(
        forms.edited(forms.SITE, ("tls = false", 'tls = "ca.pem"'))
    )

    assert load(house).site.broker.tls == str(house.absolute() / "ca.pem")


def test_run_needs_a_broker_and_names_both_choices(house):
    """Without [broker] the rest of the program works; `run` says what to write."""
    start, end = forms.SITE.index("[broker]"), forms.SITE.index("[[room]]")
    (house / "site.toml").write_text(forms.SITE[:start] + forms.SITE[end:])
    configuration = load(house)

    with pytest.raises(ConfigError) as caught:
        require_broker(configuration)

    assert '[broker] host = "..."' in str(caught.value)
    assert 'embedded = true, listen = "127.0.0.1:1883"' in str(caught.value)
    assert any("no [broker]" in text for text in warnings(configuration))


def test_the_library_of_a_wheel_is_found_in_the_package(tmp_path, monkeypatch):
    """An installed wheel carries config inside the package."""
    package = tmp_path / "monitor"
    (package / "config").mkdir(parents=True)
    monkeypatch.setattr(loading.monitor, "__file__", str(package / "__init__.py"))

    assert shipped() == package / "config"


def test_the_library_of_a_checkout_lies_beside_the_package():
    """In a checkout config is next to monitor."""
    assert shipped() == Path(monitor.__file__).parents[1] / "config"


def test_effective_settings_are_a_site_file_again(house):
    """What check prints as settings can be read back and means the same."""
    configuration = load(house)

    printed = effective(configuration, {})

    assert validated(Site, tomllib.loads(printed), "x") == configuration.site


def test_effective_settings_of_a_short_site_say_the_defaults(tmp_path):
    """Defaults are filled in, for an embedded broker without what it does not use."""
    short = (
        '[site]\nname = "Q"\ntime_zone = "UTC"\n[broker]\nembedded = true\n'
        '[[room]]\nid = "r"\nname = "R"\n'
    )
    printed = effective(load(forms.config_dir(tmp_path, short)), {})

    assert printed.split("\n\n")[1:5] == [
        '[site]\nname = "Q"\ntime_zone = "UTC"',
        (
            '[broker]\nembedded = true\nlisten = "127.0.0.1:1883"\ntls = false\n'
            'client_id = "rearing-monitor"'
        ),
        '[[room]]\nid = "r"\nname = "R"',
        (
            "[alarms]\non_delay = {}\noff_delay = {}\ndeadband = {}\n"
            'escalate_after = { day = "10 min", night = "15 min" }'
        ),
    ]


@pytest.mark.parametrize(
    ("edits", "said"),
    [
        ([("rings = true", "rings = false")], "nobody who can be rung"),
        ([('fallback = "ines"\n', "")], "the rota has no fallback"),
        (
            [('name_in_pack = "t1"\n', "")],
            "read by pointer may carry no time: warm-room-a-a",
        ),
        ([('username = "monitor"\n', "")], "the broker asks for no login"),
        (
            [('host = "127.0.0.1"\nport = 1883', 'host = "b.example"\nport = 1883')],
            "and the password go to b.example in the clear",
        ),
        ([], "the limit of air_temperature in warm-room has no sensor"),
        ([], "provisional, from templates: "),
        ([], "[mirror] is checked and kept, but this version has none yet"),
    ],
)
def test_advice_is_given_where_a_night_would_go_wrong(tmp_path, edits, said):
    """What is allowed and still dangerous is said."""
    house = forms.config_dir(tmp_path, forms.edited(forms.SITE, *edits))

    assert [text for text in warnings(load(house)) if said in text]


def test_advice_is_not_given_where_all_is_well(tmp_path):
    """A complete house hears of the templates, and of what is not there yet."""
    site = forms.edited(
        forms.SITE, ('place = "warm-room-a"\nquantity', 'place = "warm-room"\nquantity')
    )

    said = warnings(load(forms.config_dir(tmp_path, site)))

    assert [text.partition(":")[0] for text in said] == [
        "provisional, from templates",
        "[mirror] is checked and kept, but this version has none yet",
        "[page] is checked and kept, but this version has none yet",
    ]


def test_a_house_without_keepers_is_told(tmp_path):
    """Nobody to tell, no mail, a band without tolerated: each is a line."""
    species = forms.edited(forms.SPECIES, ("tolerated = [19.0, 29.0]\n", ""))
    house = forms.config_dir(
        tmp_path,
        '[site]\nname = "Q"\ntime_zone = "UTC"\n[[room]]\nid = "r"\nname = "R"\n',
        species=species,
    )

    said = " | ".join(warnings(load(house)))

    assert "there is no [[keeper]]" in said
    assert "there is no [[sensor]]" in said
    assert "example-scarab: no tolerated band, so no alarm, for pupa, resting" in said
    assert "without tolerated alarms late or never: egg substrate_temperature" in said


def test_check_prints_the_effective_settings(house, secrets, check):
    """A good configuration is told in full, secrets masked, and ends with 0."""
    code, out, err = check(house)

    assert (code, err) == (0, "")
    assert out.startswith("configuration is good\n")
    assert "# secret broker_password: present (hidden)" in out
    assert "# air_temperature: on-delay 20 min, off-delay 10 min, deadband 0.5" in out
    assert "# warning: provisional, from templates" in out


def test_check_prints_one_object_for_programs(house, secrets, check):
    """--json tells ok, hash and warnings."""
    code, out, _ = check(house, "--json")

    found = json.loads(out)
    assert code == 0
    assert (found["ok"], found["hash"]) == (True, load(house).hash)
    assert any("templates" in text for text in found["warnings"])


def test_check_reads_the_certificate_of_the_authority(house, secrets, check):
    """A CA file that is not there is found before the night."""
    (house / "site.toml").write_text(
        forms.edited(forms.SITE, ("tls = false", 'tls = "ca.pem"'))
    )

    code, out, err = check(house)

    assert (code, out) == (78, "")
    assert "broker.tls" in err


def test_check_warns_of_secrets_that_others_can_read(house, secrets, check):
    """Mode 0644 of a password is said, with the mend."""
    (secrets / "mail_password").chmod(0o644)

    _, out, _ = check(house)

    assert "the secret mail_password can be read by other users: chmod 600 it" in out


@pytest.mark.skipif(
    not (CHECKOUT / "config" / "site.toml").exists(), reason="no example yet"
)
def test_the_shipped_example_loads():
    """config/site.toml, the Quillmere example, is a good configuration."""
    configuration = load(CHECKOUT / "config")

    assert configuration.site.site.name == "Quillmere Insectarium"


@pytest.mark.parametrize("text", ["90 s", "5 min", "2 h", "3 d", "1.5 h", "0.5 s"])
def test_a_span_is_written_as_it_was_meant(text):
    """Reading what was written gives the same span."""
    span = parse_span(text)

    assert parse_span(format_span(span)) == span
