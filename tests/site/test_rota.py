"""Who is on call, over weeks and both changes of the clock; night on the wall."""

from datetime import UTC, date, datetime, timedelta

import pytest

from monitor.site.local import is_night, local
from monitor.site.rota import ladder, on_call
from monitor.site.site_file import Site
from tests.site import forms

KEEPERS = [
    {"id": "vol", "name": "Vol", "role": "cover", "channels": []},
    {"id": "ines", "name": "Ines", "role": "keeper", "channels": []},
    {"id": "jo", "name": "Jo", "role": "keeper", "channels": []},
    {"id": "kit", "name": "Kit", "role": "administrator", "channels": []},
    {"id": "nan", "name": "Nan", "role": "night-contact", "channels": []},
]
ROTA = {
    "order": ["ines", "jo", "vol"],
    "first_change": date(2026, 1, 5),
    "change": "Mon 09:00",
    "fallback": "kit",
}


def site(*, keepers=KEEPERS, rota=ROTA, zone="Europe/Dublin"):
    data = {
        "site": {"name": "Q", "time_zone": zone},
        "room": [{"id": "r", "name": "R"}],
        "keeper": keepers,
    }
    return Site.model_validate(data | ({"rota": rota} if rota else {}))


def utc(*parts):
    return datetime(*parts, tzinfo=UTC)


@pytest.mark.parametrize(
    ("at", "keeper"),
    [
        (utc(2025, 6, 1), "kit"),
        (utc(2026, 1, 5, 8, 59, 59), "kit"),
        (utc(2026, 1, 5, 9), "ines"),
        (utc(2026, 1, 12, 8, 59, 59), "ines"),
        (utc(2026, 1, 12, 9), "jo"),
        (utc(2026, 1, 19, 9), "vol"),
        (utc(2026, 1, 26, 9), "ines"),
        # summer time: 09:00 in Dublin is 08:00 UTC
        (utc(2026, 3, 30, 7, 59, 59), "vol"),
        (utc(2026, 3, 30, 8), "ines"),
        (utc(2026, 10, 26, 8, 59, 59), "vol"),
        (utc(2026, 10, 26, 9), "ines"),
    ],
)
def test_keepers_follow_one_another_weekly(at, keeper):
    """Each has one week of the wall clock; before the first it is the fallback."""
    assert on_call(site(), at) == keeper


def test_a_change_in_the_hour_that_comes_twice_happens_once():
    """The last Sunday of October shows 01:30 twice in Dublin; the first one counts."""
    rota = ROTA | {"first_change": date(2026, 1, 4), "change": "Sun 01:30"}
    minutes = [utc(2026, 10, 25) + timedelta(minutes=10 * n) for n in range(18)]

    seen = [on_call(site(rota=rota), at) for at in minutes]

    assert seen == ["vol"] * 3 + ["ines"] * 15


def test_a_change_in_the_hour_that_never_comes_happens():
    """The last Sunday of March has no 01:30 in Dublin; the change is not lost."""
    rota = ROTA | {"first_change": date(2026, 1, 4), "change": "Sun 01:30"}

    before = on_call(site(rota=rota), utc(2026, 3, 29, 0, 59))
    after = on_call(site(rota=rota), utc(2026, 3, 29, 2))

    assert (before, after) == ("vol", "ines")


@pytest.mark.parametrize(
    ("keepers", "rota", "keeper"),
    [
        (KEEPERS, None, "ines"),
        (KEEPERS[3:], None, "kit"),
        (KEEPERS[:1], None, None),
        ([], None, None),
        (KEEPERS, {k: v for k, v in ROTA.items() if k != "fallback"}, "ines"),
    ],
)
def test_without_rota_or_before_it_somebody_is_on_call(keepers, rota, keeper):
    """The first keeper or administrator; never cover, never an invented one."""
    assert on_call(site(keepers=keepers, rota=rota), utc(2026, 1, 1)) == keeper


def test_the_ladder_tells_each_once_and_the_one_on_call_first():
    """On call, the others of the rota, night contacts, administrators, fallback."""
    week_of_jo = utc(2026, 1, 13)

    told = ladder(site(), week_of_jo)

    assert told == ("jo", "ines", "vol", "nan", "kit")


def test_cover_outside_the_rota_is_not_told():
    """A volunteer who is not in the rota sleeps."""
    told = ladder(site(rota=ROTA | {"order": ["ines"]}), utc(2026, 1, 13))

    assert told == ("ines", "nan", "kit")


def test_without_a_rota_every_keeper_is_told():
    """Nobody but cover is left out where there is no order."""
    assert ladder(site(rota=None), utc(2026, 1, 13)) == ("ines", "jo", "nan", "kit")


@pytest.mark.parametrize(
    ("at", "night"),
    [
        (utc(2026, 1, 5, 19, 59), False),
        (utc(2026, 1, 5, 20), True),
        (utc(2026, 1, 5, 7, 59), True),
        (utc(2026, 1, 5, 8), False),
        (utc(2026, 7, 5, 18, 59), False),
        (utc(2026, 7, 5, 19), True),
        (utc(2026, 7, 5, 7), False),
    ],
)
def test_night_is_from_20_to_8_on_the_wall(at, night):
    """In summer the wall of Dublin is an hour ahead of UTC."""
    assert is_night(at, "Europe/Dublin") is night


def test_local_is_the_same_instant():
    """Only the clock face differs."""
    at = utc(2026, 7, 5, 12)

    assert (local(at, "Europe/Dublin"), local(at, "Europe/Dublin").hour) == (at, 13)


def test_the_complete_form_has_a_ladder():
    """The keeper of the example is told once."""
    found = Site.model_validate(forms.site_data())

    assert ladder(found, utc(2026, 2, 1)) == ("ines",)
