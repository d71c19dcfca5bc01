"""Directories of the demo, and the shipped configuration bent to one machine."""

import pytest

from monitor.demo.settings import bend, make_directories, write_config
from monitor.errors import UsageError
from monitor.site.load import load, shipped


@pytest.fixture
def bent(tmp_path):
    write_config(shipped(), tmp_path / "config", broker_port=4711, mail_port=4712)
    return load(tmp_path / "config").site


def test_the_demo_has_an_embedded_broker_and_a_catcher_for_mail(bent):
    """Broker and mail server are the demo's own, without logins."""
    assert (bent.broker.embedded, bent.broker.listen) == (True, "127.0.0.1:4711")
    assert bent.broker.username is None
    assert (bent.mail.host, bent.mail.port) == ("127.0.0.1", 4712)
    assert (bent.mail.security, bent.mail.username) == ("none", None)


def test_all_else_stays_as_it_is_shipped(bent):
    """Places, limits, sensors, rota, alarms and summary are those of the example."""
    original = load(shipped()).site
    same = [
        "site",
        "rooms",
        "shelves",
        "enclosures",
        "limits",
        "sensors",
        "rota",
        "alarms",
        "summary",
    ]

    assert [getattr(bent, n) for n in same] == [getattr(original, n) for n in same]
    assert [k.mail for k in bent.keepers] == [k.mail for k in original.keepers]
    assert bent.mail.sender == original.mail.sender


def test_what_needs_a_secret_or_a_fixed_port_is_left_out(bent):
    """No telephone, page or mirror in the demo."""
    assert (bent.channels, bent.page, bent.mirror) == ((), None, None)
    assert {k.channels for k in bent.keepers} == {("mail",)}


def test_comments_in_front_of_tables_do_no_harm():
    """A table mentioned in a comment is no table."""
    text = '# [broker]\n[site]\nname = "x"\n[broker]\nhost = "y"\n[[room]]\nid = "r"\n'

    got = bend(text, broker_port=1, mail_port=2)

    assert got.count("embedded = true") == 1
    assert 'host = "y"' not in got
    assert '[[room]]\nid = "r"\n' in got


def test_a_fresh_directory_is_made_where_none_is_named():
    """Two demos never share files."""
    first, second = make_directories(None), make_directories(None)

    assert first.root != second.root
    assert first.store.is_dir()
    assert first.mail.is_dir()
    assert first.secrets.is_dir()


def test_a_directory_that_holds_a_demo_is_refused(tmp_path):
    """Nothing is written over an older demo; the error says what to do."""
    make_directories(tmp_path / "demo")

    with pytest.raises(UsageError, match="holds a demo already"):
        make_directories(tmp_path / "demo")


def test_a_directory_that_cannot_be_made_is_one_line(tmp_path):
    """A file in the way is told with its path."""
    (tmp_path / "file").write_text("x")

    with pytest.raises(UsageError, match="file"):
        make_directories(tmp_path / "file" / "demo")


def test_a_deep_directory_gets_its_socket_elsewhere(tmp_path):
    """A Unix socket's path is short, however deep the state lies."""
    deep = tmp_path.joinpath(*["long-name-of-a-directory"] * 6)

    made = make_directories(deep)

    assert len(str(made.socket)) < 100
    assert made.root == deep
