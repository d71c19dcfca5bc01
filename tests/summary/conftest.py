"""A house with nothing told yet, a store of one week, and the command."""

from types import SimpleNamespace

import pytest

from monitor.cli import main, summary_command
from monitor.heart.events import Reading
from monitor.intake.decode import Rejected
from monitor.site.load import load
from monitor.store import Writer
from tests.summary.house import AIR, DAY, END, HOUR, START, House, changed, lay

NOW = END + 9 * HOUR


@pytest.fixture(scope="session")
def declared(tmp_path_factory):
    """The files of the house, read once."""
    return load(lay(tmp_path_factory.mktemp("summary") / "config"))


@pytest.fixture
def quillmere(declared):
    """The house with nothing told yet."""
    return House(declared)


class Standing:
    """A clock that stands still."""

    def __init__(self, at):
        self._at = at

    def now(self):
        """The instant."""
        return self._at


@pytest.fixture
def command(monkeypatch, capsys):
    """Run ``summary`` through the real main: exit code, stdout, stderr."""
    parser = main.build_parser(summary_command.COMMANDS)
    monkeypatch.setattr(main, "build_parser", lambda: parser)
    monkeypatch.setattr(
        summary_command, "clock_from_environment", lambda: Standing(NOW)
    )

    def run(*argv):
        code = main.main(["summary", *argv])
        said = capsys.readouterr()
        return SimpleNamespace(code=code, out=said.out, err=said.err)

    return run


@pytest.fixture
def config(tmp_path, monkeypatch):
    where = lay(tmp_path / "config")
    monkeypatch.setenv("REARING_CONFIG", str(where))
    monkeypatch.delenv("STATE_DIRECTORY", raising=False)
    return where


@pytest.fixture
def store(tmp_path, monkeypatch, config, declared):
    """A week that a daemon recorded; it runs no longer."""
    state = tmp_path / "state"
    house = House(declared).tub(START - DAY).start(START - DAY, stage="L1")
    house.read(START + HOUR, value=23.0).carry(END + HOUR, "shelf-b")
    values = [24.0] * 100 + [27.0] * 68
    readings = [
        Reading("a-air", AIR, START + hour * HOUR, value)
        for hour, value in enumerate(values)
    ]
    outside = [
        Reading("a-air", AIR, START - HOUR, 24.0),
        Reading("a-air", AIR, END, 27.0),
        Reading("a-air", AIR, END + HOUR, 50.0),
    ]
    over = END + HOUR
    with Writer.open(state, now=START) as writer:
        with writer.transaction():
            writer.add_entries(house.entries)
            writer.add_readings([*readings, *outside], now=NOW)
            for change in (
                changed(START + 100 * HOUR, raised_at=START + 100 * HOUR),
                changed(over, "acknowledge", by="ines", closed_at=over, active=False),
            ):
                writer.save_alarm(change.alarm, change.event, change.at, change.by)
            gone = {"id": 13, "closed_at": START - HOUR}
            old = changed(START - HOUR, raised_at=START - DAY, **gone)
            writer.save_alarm(old.alarm, old.event, old.at, "ines")
            writer.quarantine(
                [
                    Rejected("x/y", b"?", "no number", at)
                    for at in (START - HOUR, START + HOUR, END)
                ]
            )
        writer.seal(START + 4 * DAY)
    monkeypatch.setenv("REARING_STATE", str(state))
    return state
