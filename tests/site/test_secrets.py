"""Secrets are files: required, one line, never told."""

import pytest

from monitor.errors import ConfigError
from monitor.site.load import load
from monitor.site.secrets import Secrets, needed
from monitor.site.settings import process_settings, unheard
from tests.site import forms


def test_a_secret_is_the_file_without_its_last_newline(tmp_path):
    """One newline of an editor is taken off, nothing else."""
    (tmp_path / "a").write_bytes(b" p\xc3\xa4ss word \n")

    assert Secrets(tmp_path).get("a") == " p\u00e4ss word "


def test_credentials_of_the_service_come_first(tmp_path):
    """$CREDENTIALS_DIRECTORY wins over $REARING_SECRETS."""
    env = {"CREDENTIALS_DIRECTORY": str(tmp_path), "REARING_SECRETS": "/nowhere"}

    assert Secrets.from_environment(env).directory == tmp_path
    del env["CREDENTIALS_DIRECTORY"]
    assert str(Secrets.from_environment(env).directory) == "/nowhere"


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is empty"),
        (b"\n", "is empty"),
        (b"a\nb\n", "holds more than one line"),
        (b"\xff\xfe", "is no UTF-8 text"),
        (b"x" * 20000, "is too long for a secret"),
    ],
)
def test_a_file_that_is_no_secret_is_refused(tmp_path, content, said):
    """An empty or broken file is an error, never an empty password."""
    (tmp_path / "mail_password").write_bytes(content)

    with pytest.raises(ConfigError, match=said):
        Secrets(tmp_path).get("mail_password")


def test_presence_is_told_without_the_secret(tmp_path):
    """What is there and what is not, in a repr without contents."""
    secrets = Secrets(forms.secrets_dir(tmp_path, "canary"))

    assert secrets.present("mail_password")
    assert not secrets.present("other")
    assert "canary" not in repr(secrets)


def test_needed_are_those_that_the_site_uses(house):
    """Logins, channels in use and the mirror; in that order."""
    assert needed(load(house)) == forms.SECRETS


def test_what_is_not_used_needs_no_secret(house):
    """No login, no channel in use, no mirror: no secret."""
    text = forms.edited(
        forms.SITE,
        ('username = "monitor"\n', ""),
        ('username = "monitor@quillmere.example"\n', ""),
        (', "ines-text"]', "]"),
    )
    start, end = text.index("[mirror]"), text.index("[page]")
    (house / "site.toml").write_text(text[:start] + text[end:])

    assert needed(load(house)) == ()


def test_settings_of_the_process_come_by_prefix(monkeypatch):
    """REARING_LOG and its like are heard; an empty one is none."""
    monkeypatch.setenv("REARING_LOG", "DEBUG")
    monkeypatch.setenv("REARING_STATE", "")

    settings = process_settings()

    assert (settings.log, settings.state) == ("DEBUG", None)


def test_a_wrong_level_of_logging_is_one_line(monkeypatch):
    """A setting that cannot be is refused by its name."""
    monkeypatch.setenv("REARING_LOG", "loud")

    with pytest.raises(ConfigError, match=r'^REARING_LOG: "loud": '):
        process_settings()


def test_a_misspelt_variable_is_told():
    """REARING_STAET means nothing, and is said to."""
    said = unheard(["PATH", "REARING_STAET", "REARING_CLOCK", "REARING_LOG"])

    assert said == [
        'REARING_STAET is set and means nothing: do you mean "REARING_STATE"?'
    ]
