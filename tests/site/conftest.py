import pytest

from monitor.cli import check_command, main
from tests.site import forms


@pytest.fixture
def house(tmp_path):
    """A directory with the site of the complete form; the shipped library."""
    return forms.config_dir(tmp_path / "config")


@pytest.fixture
def secrets(tmp_path, monkeypatch):
    """A directory with every secret of that site, and REARING_SECRETS naming it."""
    where = forms.secrets_dir(tmp_path / "secrets")
    monkeypatch.delenv("CREDENTIALS_DIRECTORY", raising=False)
    monkeypatch.setenv("REARING_SECRETS", str(where))
    return where


@pytest.fixture
def check(monkeypatch, capsys):
    """Run ``check`` through the real main; gives exit code, stdout, stderr."""
    parser = main.build_parser(check_command.COMMANDS)
    monkeypatch.setattr(main, "build_parser", lambda: parser)

    def run(where, *more):
        code = main.main(["--config", str(where), "check", *more])
        said = capsys.readouterr()
        return code, said.out, said.err

    return run
