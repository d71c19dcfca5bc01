"""Figures between houses: signed, verified, kept; every alteration is found."""

import base64
import json
import stat
from datetime import date

import msgspec
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from monitor.errors import StoreError, UsageError
from monitor.site.figures import Figure, HouseFigures, Rule, Survived, problem
from monitor.store.figures import (
    FOLDER,
    KEY,
    LARGEST,
    fingerprint,
    keep,
    kept,
    own_fingerprint,
    parse_fingerprint,
    raw_of,
    sign,
    spelled,
    verified,
)

RULE = Rule(10.0, 30.0, "horizontal", assumed_threshold=False)


def figure(**changes):
    fields = {
        "species": "scarab",
        "name": "Exemplum scarabaeus",
        "stage": "egg",
        "sex": "any",
        "unit": "degC d",
        "rule": RULE,
        "n": 9,
        "worth": 8.5,
        "mean": 240.1,
        "sd": 24.0,
        "warmth_low": 23.0,
        "warmth_high": 25.5,
        "coverage": 0.98,
    }
    return Figure(**(fields | changes))


def house(*figures, name="Overmere", day=1):
    return HouseFigures(
        house=name, made_on=date(2026, 9, day), figures=figures or (figure(),)
    )


def survived(**changes):
    fields = {
        "species": "scarab",
        "name": "Exemplum scarabaeus",
        "begin": "egg",
        "n": 3,
        "worth": 17,
        "share": 0.33,
        "warmth_low": 23.0,
        "warmth_high": 25.5,
    }
    return Survived(**(fields | changes))


def counted(*survival):
    told = house()
    return msgspec.structs.replace(told, survival=survival or (survived(),))


OLD = b"""{"form": "rearing-figures", "version": 1, "figures": {"house": "Overmere",
"made_on": "2026-09-01", "figures": [{"species": "scarab", "name":
"Exemplum scarabaeus", "stage": "egg", "sex": "any", "unit": "degC d", "rule":
{"lower_threshold": 10.0, "upper_threshold": 30.0, "cutoff": "horizontal",
"assumed_threshold": false}, "n": 9, "worth": 8.5, "mean": 240.1, "sd": 24.0,
"warmth_low": 23.0, "warmth_high": 25.5, "coverage": 0.98}]},
"key": "tDb47d+83bK7Nb08u+melPl8cuIT9Lox+8n/lX6kzY4=",
"signature":
"ZCoqWYck7M8dTqg9Dw59iho24lTTtN5CI0NzGsEyh5UZG/kxIdkhev+FBMDrRediCrkzYjj/zNYmY8EfnOM9Ag=="}
"""
"""As the program made it before survival was told."""


@pytest.fixture
def signed(tmp_path):
    """A file as another house sends it."""
    raw, _ = sign(tmp_path / "overmere", house())
    return raw


@pytest.fixture
def telling(tmp_path):
    """A file with survival as another house sends it."""
    raw, _ = sign(tmp_path / "overmere", counted())
    return raw


@pytest.fixture(autouse=True)
def states(tmp_path):
    for name in ("overmere", "quillmere"):
        (tmp_path / name).mkdir()


def test_what_is_signed_is_read_again(signed, tmp_path):
    """Figures and fingerprint come out as they went in, without any secret."""
    got = verified(signed, "x.json")

    assert got.told == house()
    assert got.fingerprint == own_fingerprint(tmp_path / "overmere")


def test_the_signature_is_plain_ed25519(signed):
    """Anybody can check it: RFC 8032 over one spelling of the figures."""
    plain = json.loads(signed)
    key, signature = (base64.b64decode(plain[k]) for k in ("key", "signature"))
    part = json.dumps(plain["figures"], sort_keys=True, separators=(",", ":"))

    public = Ed25519PublicKey.from_public_bytes(key)
    public.verify(signature, b"rearing-figures 1\n" + part.encode())

    assert len(fingerprint(key)) == 32


def test_survival_is_signed_and_read_again(telling):
    """As another form, which an older program refuses in words."""
    got = verified(telling, "x.json")

    assert got.told == counted()
    assert json.loads(telling)["version"] == 2


def test_an_old_file_still_counts():
    """Its signature knows nothing of survival."""
    got = verified(OLD, "old.json")

    assert got.told == house()
    assert got.told.survival == ()
    assert got.fingerprint == "3b75292a7a0369065b2169e8a74f900f"


def test_without_survival_the_older_form_is_written(signed):
    """A house whose program is older can read it."""
    plain = json.loads(signed)

    assert plain["version"] == 1
    assert "survival" not in plain["figures"]


@pytest.mark.parametrize(
    ("key", "value"),
    [("share", 0.93), ("n", 4), ("worth", 18), ("species", "scarab-2")],
)
def test_an_altered_survival_is_refused_in_words(telling, key, value):
    """The signature covers it."""
    plain = json.loads(telling)
    plain["figures"]["survival"][0][key] = value

    with pytest.raises(UsageError, match=r"x\.json: .*altered after it was signed"):
        verified(json.dumps(plain).encode(), "x.json")


def test_survival_can_neither_be_added_nor_taken_away(signed, telling):
    """Nor does the number of the form alone turn one file into another."""
    without = json.loads(telling)
    del without["figures"]["survival"]
    added = json.loads(signed)
    added["figures"]["survival"] = json.loads(telling)["figures"]["survival"]

    for plain in (without, without | {"version": 1}, added | {"version": 2}):
        with pytest.raises(UsageError, match="altered after it was signed"):
            verified(json.dumps(plain).encode(), "x.json")
    with pytest.raises(UsageError, match=r"version 1 knows no `survival`"):
        verified(json.dumps(added).encode(), "x.json")


def test_an_unknown_key_of_a_survival_is_refused(telling):
    """As everywhere in the file."""
    plain = json.loads(telling)
    plain["figures"]["survival"][0]["animals"] = 36

    with pytest.raises(UsageError, match="unknown field `animals`"):
        verified(json.dumps(plain).encode(), "x.json")


def test_the_key_is_made_once_for_the_owner_alone(tmp_path):
    """Mode 0600, and the second export is signed by the same."""
    state = tmp_path / "overmere"
    assert own_fingerprint(state) is None

    first, second = sign(state, house())[1], sign(state, house(day=2))[1]

    assert first == second == own_fingerprint(state)
    assert stat.S_IMODE((state / FOLDER / KEY).stat().st_mode) == 0o600


def test_a_file_that_was_indented_anew_is_the_same(signed):
    """White space and the order of keys carry no figures."""
    plain = json.loads(signed)
    other = json.dumps(dict(reversed(plain.items())), indent=4).encode()

    assert verified(other, "x.json").told == house()


@settings(
    max_examples=150,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.data())
def test_no_altered_byte_passes(telling, data):
    """Another byte anywhere: refused in one line, or the figures are unchanged."""
    at = data.draw(st.integers(0, len(telling) - 1))
    byte = data.draw(st.integers(0, 255))
    raw = telling[:at] + bytes([byte]) + telling[at + 1 :]

    try:
        got = verified(raw, "x.json").told
    except UsageError as error:
        got = str(error)

    assert got == counted() or got.startswith("x.json: ")


@pytest.mark.parametrize(
    ("key", "value"), [("mean", 250.1), ("n", 90), ("species", "scarab-2")]
)
def test_an_altered_figure_is_refused_in_words(signed, key, value):
    """The file still reads well, and is not what was signed."""
    plain = json.loads(signed)
    plain["figures"]["figures"][0][key] = value

    with pytest.raises(UsageError, match=r"x\.json: .*altered after it was signed"):
        verified(json.dumps(plain).encode(), "x.json")


def test_a_key_of_somebody_else_is_refused(signed, tmp_path):
    """Figures of one house under the key of another."""
    other = json.loads(sign(tmp_path / "quillmere", house(day=2))[0])
    plain = json.loads(signed) | {"key": other["key"]}

    with pytest.raises(UsageError, match="signature does not hold"):
        verified(json.dumps(plain).encode(), "x.json")


def test_a_newer_form_is_refused_in_words(signed):
    """Before its parts are looked at, which may be other ones."""
    plain = json.loads(signed) | {"version": 3, "more": []}

    with pytest.raises(UsageError, match=r"newer form, version 3.*versions 1 to 2"):
        verified(json.dumps(plain).encode(), "x.json")


@pytest.mark.parametrize(
    ("raw", "why"),
    [
        (b"", "no file of learned figures"),
        (b"sensor,quantity\n", "no file of learned figures"),
        (b'{"form": "recipe", "version": 1}', "its form is 'recipe'"),
        (b'{"form": "rearing-figures", "version": 0}', "no known form"),
        (b'{"form": "rearing-figures", "version": 1}', "tells no figures"),
        (b"[" * 5000, "no file of learned figures"),
        (b'{"form": "rearing-figures", "version": 1, "figures": NaN}', "learned"),
    ],
)
def test_what_is_no_file_of_figures_is_refused(raw, why):
    """One line that names the file."""
    with pytest.raises(UsageError, match=why) as caught:
        verified(raw, "x.json")

    assert str(caught.value).startswith("x.json: ")


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"mean": 0.0}, "mean 0.0"),
        ({"sd": -1.0}, "sd -1.0"),
        ({"n": 0}, "n 0"),
        ({"worth": 12.0}, "worth 12 is more than n 9"),
        ({"species": "../key"}, "is no id"),
        ({"stage": ""}, "is no id"),
        ({"name": "two\nlines"}, "is no name"),
        ({"coverage": 1.2}, "coverage 1.2"),
        ({"warmth_high": 90.0}, "warmth_high 90.0"),
        ({"unit": "d"}, "does not go with its rule"),
        ({"rule": msgspec.structs.replace(RULE, lower_threshold=31.0)}, "not below"),
        ({"rule": msgspec.structs.replace(RULE, cutoff=None)}, "go together"),
        ({"rule": msgspec.structs.replace(RULE, lower_threshold=75.0)}, "outside"),
    ],
)
def test_nonsense_is_not_signed_and_not_believed(changes, why, tmp_path, monkeypatch):
    """Not even when another program signed it."""
    wrong = house(figure(**changes))
    state = tmp_path / "overmere"
    with pytest.raises(ValueError, match=why):
        sign(state, wrong)

    monkeypatch.setattr("monitor.store.figures.problem", lambda _: None)
    raw, _ = sign(state, wrong)
    monkeypatch.undo()
    with pytest.raises(UsageError, match=why):
        verified(raw, "x.json")


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"share": 1.2}, "share 1.2 does not lie between 0 and 1"),
        ({"share": -0.1}, "share -0.1"),
        ({"n": 0}, "n 0"),
        ({"worth": 0}, "worth 0 does not lie between 0 and 30"),
        ({"worth": 31}, "worth 31 does not lie between 0 and 30, 10 for each"),
        ({"begin": "../key"}, "begin '../key' is no id"),
        ({"species": ""}, "is no id"),
        ({"name": ""}, "is no name"),
        ({"warmth_low": -90.0}, "warmth_low -90.0 lies outside -20 to 60"),
        ({"warmth_low": 26.0}, "warmth_low 26 is above warmth_high 25.5"),
        ({"warmth_low": None}, "go together"),
    ],
)
def test_a_survival_of_nonsense_is_not_signed_and_not_believed(
    changes, why, tmp_path, monkeypatch
):
    """File, key, value, limit and mend, even when another program signed it."""
    wrong = counted(survived(**changes))
    state = tmp_path / "overmere"
    with pytest.raises(ValueError, match=why):
        sign(state, wrong)

    monkeypatch.setattr("monitor.store.figures.problem", lambda _: None)
    raw, _ = sign(state, wrong)
    monkeypatch.undo()
    with pytest.raises(UsageError, match=why) as caught:
        verified(raw, "x.json")
    said = str(caught.value)
    assert said.startswith("x.json: survival 1 (")
    assert said.endswith("ask the house to export its figures anew")


def test_a_share_and_all_broods_that_died_can_be_told():
    """None and all are shares; a species stands once."""
    assert problem(counted(survived(share=0.0))) is None
    assert problem(counted(survived(share=1.0, n=2, worth=20))) is None
    assert "survival 2 (scarab): stands twice" in problem(
        counted(survived(), survived(share=0.5))
    )


def test_a_house_may_tell_survival_alone(tmp_path):
    """Counted broods whose changes of stage nobody saw."""
    told = msgspec.structs.replace(counted(), figures=())
    raw, _ = sign(tmp_path / "overmere", told)

    assert verified(raw, "x.json").told == told


def test_a_house_tells_each_figure_once_and_has_a_name():
    """Twice the same key, none at all, or a label of nothing."""
    assert "stands twice" in problem(house(figure(), figure(mean=1.0)))
    assert "0 of them" in problem(
        HouseFigures(house="Overmere", made_on=date(2026, 9, 1), figures=())
    )
    assert "is no name" in problem(house(name=""))


def test_what_is_kept_is_verified_whenever_it_is_read(signed, tmp_path):
    """A file altered on the disk counts for nothing, and is named."""
    state = tmp_path / "quillmere"
    got = verified(signed, "x.json")
    path = keep(state, signed, got)
    assert kept(state) == ((got,), ())

    path.write_bytes(signed.replace(b"240.1", b"140.1"))
    found, bad = kept(state)

    assert found == ()
    assert len(bad) == 1
    assert bad[0].startswith(f"{path}: the signature does not hold")


def test_a_newer_file_of_a_house_takes_the_place_of_the_older(tmp_path):
    """One file for each key."""
    state = tmp_path / "quillmere"
    for day in (1, 2):
        raw, _ = sign(tmp_path / "overmere", house(day=day))
        keep(state, raw, verified(raw, "x.json"))

    ((got,), bad) = kept(state)

    assert (got.told.made_on.day, bad) == (2, ())


def test_a_file_under_the_name_of_another_key_is_left_out(signed, tmp_path):
    """Somebody renamed it."""
    state = tmp_path / "quillmere"
    path = keep(state, signed, verified(signed, "x.json"))
    path.rename(path.with_name(f"{'0' * 32}.json"))

    found, bad = kept(state)

    assert found == ()
    assert "import it anew" in bad[0]


def test_without_a_folder_nothing_is_kept(tmp_path):
    """A house that never heard of another."""
    assert kept(tmp_path / "nowhere") == ((), ())


def test_a_spoilt_key_is_named(tmp_path):
    """Which file, and what to do."""
    state = tmp_path / "overmere"
    sign(state, house())
    (state / FOLDER / KEY).write_text("nonsense")

    with pytest.raises(StoreError, match=r"signing\.key: is no signing key"):
        sign(state, house())


def test_a_state_that_is_not_there_is_named(tmp_path):
    """The state directory is made by the daemon, not here."""
    with pytest.raises(StoreError, match="cannot be used"):
        sign(tmp_path / "nowhere", house())


def test_fingerprints_are_read_as_people_write_them():
    """With hyphens, blanks, capitals; anything else is refused."""
    found = "0123456789abcdef0123456789abcdef"

    assert parse_fingerprint(spelled(found)) == found
    assert parse_fingerprint(spelled(found).upper().replace("-", " ")) == found
    for wrong in ("", "0123", found + "0", "g" * 32):
        with pytest.raises(UsageError, match="is no fingerprint"):
            parse_fingerprint(wrong)


def test_a_huge_or_missing_file_is_refused(tmp_path):
    """Before anything of it is parsed."""
    large = tmp_path / "large.json"
    large.write_bytes(b" " * (LARGEST + 1))

    with pytest.raises(UsageError, match="larger than"):
        raw_of(large)
    with pytest.raises(UsageError, match="cannot be read"):
        raw_of(tmp_path / "none.json")
