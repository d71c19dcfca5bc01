from functools import partial
from types import SimpleNamespace

import pytest

from monitor.cli import explain_command, replay_command
from monitor.cli.main import build_parser, main
from monitor.testing import FakeClock
from tests.explain.day import Recorded, live_through, post
from tests.life.house import write_site

COMMANDS = (*explain_command.COMMANDS, *replay_command.COMMANDS)


@pytest.fixture
def command(capsys, monkeypatch):
    """Run one command line: its exit code, stdout and stderr."""
    monkeypatch.setattr(
        "monitor.cli.main.build_parser", partial(build_parser, COMMANDS)
    )

    def run(*argv):
        code = main(argv)
        said = capsys.readouterr()
        return SimpleNamespace(code=code, out=said.out, err=said.err)

    return run


@pytest.fixture(scope="package")
def recorded(tmp_path_factory):
    """The recorded day: state directory, configuration, the end. Read only."""
    tmp_path = tmp_path_factory.mktemp("recorded")
    files = tmp_path / "config"
    files.mkdir()
    bench = live_through(Recorded(tmp_path, write_site(files)))
    post(bench)
    bench.recorder.finish()
    bench.close()
    return SimpleNamespace(state=bench.path, files=files, end=bench.clock.now())


@pytest.fixture
def day(recorded, monkeypatch):
    """The recorded day as the commands find it, at its end."""
    monkeypatch.setenv("REARING_STATE", str(recorded.state))
    monkeypatch.setenv("REARING_CONFIG", str(recorded.files))
    monkeypatch.setattr(
        "monitor.cli.replay_command.clock_from_environment",
        lambda: FakeClock(recorded.end),
    )
    return recorded
