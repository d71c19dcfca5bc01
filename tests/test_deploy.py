"""The scripts, the pinned closure, the unit and the changes in deploy/."""

import configparser
import re
import shutil
import subprocess
import sys
import tomllib
from importlib.metadata import distributions

import pytest

from monitor import __version__
from tests.source import ROOT

DEPLOY = ROOT / "deploy"
SCRIPTS = sorted(DEPLOY.glob("*.sh"))


def normal(name):
    """Compare names as the packaging standard does (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def pinned():
    lines = (DEPLOY / "constraints.txt").read_text(encoding="utf-8").splitlines()
    return [line for line in lines if line and not line.startswith("#")]


# the pinned closure


def test_constraints_are_names_and_versions_only():
    """No address, no hash, no option: any index will do."""
    form = re.compile(r"[A-Za-z0-9_.-]+==[0-9][A-Za-z0-9.+!]*( ; python_version .+)?")

    assert [line for line in pinned() if not form.fullmatch(line)] == []


def test_constraints_are_what_is_installed():
    """Every installed distribution but our own and the installers is pinned so."""
    pins = {normal(n): v for n, v in (line.split("==") for line in pinned())}
    apart = {"rearing-monitor", "pip", "setuptools", "wheel"}
    installed = {
        normal(d.name): d.version
        for d in distributions(path=[p for p in sys.path if "site-packages" in p])
    }

    differing = {
        name: f"installed {version}, pinned {pins.get(name, 'nowhere')}"
        for name, version in installed.items()
        if name not in apart and pins.get(name) != version
    }

    assert not differing


def test_constraints_name_nothing_that_is_not_needed():
    """A pin that no installed distribution stands for is a leftover."""
    names = {normal(line.split("==")[0]) for line in pinned() if ";" not in line}

    assert names <= {normal(d.name) for d in distributions()}


def test_every_dependency_is_pinned():
    """What pyproject names, extras and build backend included, has one version."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    wanted = [
        *project["project"]["dependencies"],
        *(d for e in project["project"]["optional-dependencies"].values() for d in e),
        *project["build-system"]["requires"],
    ]
    names = {normal(re.match(r"[\w.-]+", line)[0]) for line in wanted}

    assert names <= {normal(line.split("==")[0]) for line in pinned()}


# the scripts


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda path: path.name)
def test_scripts_are_plain_shell(script):
    """They parse, stop at the first error and at unset names."""
    parsed = subprocess.run(
        ["sh", "-n", script], capture_output=True, text=True, check=False
    )
    text = script.read_text(encoding="utf-8")

    assert (parsed.returncode, parsed.stderr) == (0, "")
    assert text.startswith("#!/bin/sh\n")
    assert "\nset -eu\n" in text


STUB = """#!/bin/sh
# stands for an interpreter: notes what it was asked and makes a venv of itself
echo "$(basename "$0") $*" >>"$STUB_LOG"
case "$*" in
*version_info*) exit {version} ;;
*ensurepip*) exit {ensurepip} ;;
"-m venv"*) mkdir -p .venv/bin && cp "$0" .venv/bin/python ;;
*pip*install*) exit {pip} ;;
esac
"""


@pytest.fixture
def clone(tmp_path):
    """A checkout with nothing but what environment.sh reads."""
    folder = tmp_path / "clone"
    (folder / "deploy").mkdir(parents=True)
    for name in ("pyproject.toml", "deploy/environment.sh", "deploy/constraints.txt"):
        shutil.copy(ROOT / name, folder / name)
    return folder


@pytest.fixture
def set_up(clone, tmp_path):
    """Run environment.sh where only stubs and the basic tools are on PATH."""
    tools = tmp_path / "tools"
    tools.mkdir()
    for name in ("sh", "cat", "sha256sum", "dirname", "basename", "mkdir", "cp"):
        (tools / name).symlink_to(shutil.which(name))
    (tools / "tail").symlink_to(shutil.which("tail"))
    log = tmp_path / "calls"

    def run(names=("python3",), *, version=0, ensurepip=0, pip=0):
        log.write_text("")
        for name in names:
            stub = tools / name
            stub.write_text(STUB.format(version=version, ensurepip=ensurepip, pip=pip))
            stub.chmod(0o755)
        ended = subprocess.run(
            [tools / "sh", clone / "deploy/environment.sh"],
            env={"PATH": str(tools), "STUB_LOG": str(log)},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            check=False,
        )
        return ended, log.read_text().splitlines()

    return run


def test_a_missing_venv_module_names_the_package(set_up):
    """Debian splits it off: one line says what to install."""
    ended, _ = set_up(ensurepip=1)

    assert ended.returncode == 1
    assert ended.stderr == (
        "python3 cannot make a virtual environment here: apt-get install python3-venv\n"
    )


def test_a_missing_venv_module_of_a_named_python_names_its_package(set_up):
    """Beside an old python3 the newer one is taken, with its own package."""
    ended, _ = set_up(names=("python3.12",), ensurepip=1)

    assert ended.returncode == 1
    assert ended.stderr.endswith("apt-get install python3.12-venv\n")


def test_a_wrong_python_is_said(set_up):
    """No interpreter of the right age: the line names the versions."""
    ended, _ = set_up(version=1)

    assert ended.returncode == 1
    assert "Python 3.11, 3.12 or 3.13 is needed" in ended.stderr
    assert len(ended.stderr.splitlines()) == 1


def test_the_second_run_installs_nothing(set_up):
    """Where pyproject and constraints are the same, nothing is asked of pip."""
    first, asked = set_up()
    second, again = set_up()

    assert (first.returncode, second.returncode) == (0, 0)
    assert sum("install" in line for line in asked) == 2
    assert (again, second.stdout) == ([], "")


def test_other_constraints_are_installed(set_up, clone):
    """A changed pin is taken over by the next run."""
    set_up()
    with (clone / "deploy/constraints.txt").open("a") as pins:
        pins.write("# changed\n")
    ended, asked = set_up()

    assert ended.returncode == 0
    assert sum("install" in line for line in asked) == 2


def test_a_failed_installation_is_tried_again(set_up):
    """A failure says where to look and leaves no stamp behind."""
    failed, _ = set_up(pip=1)
    again, asked = set_up(pip=1)

    assert (failed.returncode, again.returncode) == (1, 1)
    assert "look in .venv/install.log" in failed.stderr
    assert sum("install" in line for line in asked) == 1


def test_the_test_script_refuses_an_unknown_word():
    """A misspelled --long must not pass for a whole run."""
    ended = subprocess.run(
        ["sh", DEPLOY / "test.sh", "--lng"], capture_output=True, text=True, check=False
    )

    assert ended.returncode == 2
    assert "usage: sh deploy/test.sh [--long]" in ended.stderr


# the unit


class Unit(configparser.RawConfigParser):
    """A unit file: keys keep their case; of a key given twice the last stands."""

    def __init__(self):
        super().__init__(strict=False, delimiters=("=",), interpolation=None)
        self.optionxform = str


@pytest.fixture(scope="module")
def unit():
    parsed = Unit()
    parsed.read(DEPLOY / "rearing-monitor.service", encoding="utf-8")
    return parsed


@pytest.mark.parametrize(
    ("section", "key", "value"),
    [
        ("Unit", "StartLimitIntervalSec", "0"),
        ("Service", "Type", "notify"),
        ("Service", "NotifyAccess", "main"),
        ("Service", "Restart", "always"),
        ("Service", "RestartSec", "10"),
        ("Service", "WatchdogSec", "60"),
        ("Service", "TimeoutStopSec", "15"),
        ("Service", "User", "rearing-monitor"),
        ("Service", "StateDirectory", "rearing-monitor"),
        ("Service", "RuntimeDirectory", "rearing-monitor"),
        ("Service", "CacheDirectory", "rearing-monitor"),
        ("Service", "ProtectSystem", "strict"),
        ("Service", "ProtectHome", "yes"),
        ("Service", "PrivateTmp", "yes"),
        ("Service", "NoNewPrivileges", "yes"),
        ("Install", "WantedBy", "multi-user.target"),
    ],
)
def test_s2_s3_s7_the_unit_says(unit, section, key, value):
    """It restarts for ever, writes only its own folders, and is watched."""
    assert unit[section][key] == value


def test_s8_the_unit_waits_for_the_clock_and_the_network(unit):
    """No reading is dated before the clock is set."""
    after = unit["Unit"]["After"].split()

    assert {"time-sync.target", "network-online.target"} <= set(after)
    assert "network-online.target" in unit["Unit"]["Wants"].split()


def test_s9_secrets_come_as_files(unit):
    """No password stands in the environment of the unit."""
    text = (DEPLOY / "rearing-monitor.service").read_text(encoding="utf-8")

    assert "\nLoadCredential=broker_password:" in text
    assert "\nLoadCredential=mail_password:" in text
    assert not re.search(r"(?im)^(Environment|SetCredential)=.*(password|token)", text)


def test_s10_nothing_waits_in_a_buffer(unit):
    """The journal has every line at once; `logs.setup` writes crashes there too."""
    assert "PYTHONUNBUFFERED=1" in unit["Service"]["Environment"].split()


def test_the_unit_runs_the_daemon_with_its_configuration(unit):
    """What it starts is the command that the project installs."""
    program, *words = unit["Service"]["ExecStart"].split()

    assert program.startswith("/")
    assert program.endswith("/bin/rearing-monitor")
    assert words == ["run", "--config", "/etc/rearing-monitor"]


@pytest.mark.skipif(
    not shutil.which("systemd-analyze"), reason="needs systemd-analyze: apt-get systemd"
)
def test_systemd_understands_the_unit(tmp_path):
    """Nothing is misspelled; only the program is not installed here."""
    text = (DEPLOY / "rearing-monitor.service").read_text(encoding="utf-8")
    copy = tmp_path / "rearing-monitor.service"
    copy.write_text(re.sub(r"(?m)^ExecStart=\S+", "ExecStart=/bin/true", text))
    ended = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", copy],
        capture_output=True,
        text=True,
        check=False,
    )

    ours = [line for line in ended.stderr.splitlines() if copy.name in line]
    assert not ours


# the changes


def test_the_changes_name_the_running_version():
    """The newest heading is the version that --version prints."""
    text = (DEPLOY / "CHANGES.md").read_text(encoding="utf-8")
    headings = re.findall(r"(?m)^## (\S+)", text)

    assert headings[0] == __version__
