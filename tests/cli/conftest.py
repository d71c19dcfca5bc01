import threading
from types import SimpleNamespace

import pytest

from monitor.cli.main import main
from monitor.control.server import ControlServer
from monitor.desk.desk import perform
from monitor.desk.view import Reply
from tests.desk.quillmere import LOWLAND, MONTANE, SITE, Quillmere


@pytest.fixture
def command(capsys):
    """Run one command line: its exit code, stdout and stderr."""

    def run(*argv):
        code = main(argv)
        said = capsys.readouterr()
        return SimpleNamespace(code=code, out=said.out, err=said.err)

    return run


@pytest.fixture
def quillmere(tmp_path, monkeypatch):
    """A house behind a real socket, which the commands find by the environment."""
    house = Quillmere()
    house.do(
        "place create", ids=["tub-1", "tub-2"], in_="shelf-a", at="2026-02-01 09:00"
    )

    def handle(request):
        outcome = perform(request, house.view())
        return Reply(ok=True, result=house.carry_out(outcome))

    path = tmp_path / "control.sock"
    server, stop = ControlServer(path, handle, lambda: None).open(), threading.Event()
    thread = threading.Thread(target=server.run, args=(stop,))
    thread.start()
    monkeypatch.setenv("REARING_SOCKET", str(path))
    yield house
    stop.set()
    thread.join(5)


@pytest.fixture
def configured(tmp_path, monkeypatch):
    """The files of the same house, found by the environment."""
    config = tmp_path / "config"
    (config / "species").mkdir(parents=True)
    (config / "templates").mkdir()
    (config / "site.toml").write_text(SITE, encoding="utf-8")
    (config / "species/lowland.toml").write_text(LOWLAND, encoding="utf-8")
    (config / "species/montane.toml").write_text(MONTANE, encoding="utf-8")
    monkeypatch.setenv("REARING_CONFIG", str(config))
    return config
