"""What deploy/README.md tells to type can be typed, and fits unit and broker file."""

import re
import shlex
import shutil
import subprocess

import pytest

from monitor.cli.main import build_parser
from monitor.errors import UsageError
from tests.deploy.guide import DEPLOY, GUIDE, UNIT, Unit, calls, monitor_lines, steps
from tests.docs.pages import links

PACKAGES = {
    # program: the package of Debian 12 that has it
    "apt-get": "apt",
    "cat": "coreutils",
    "chgrp": "coreutils",
    "chmod": "coreutils",
    "date": "coreutils",
    "editor": "nano",
    "git": "git",
    "head": "coreutils",
    "install": "coreutils",
    "journalctl": "systemd",
    "ls": "coreutils",
    "mosquitto_passwd": "mosquitto",
    "mosquitto_pub": "mosquitto-clients",
    "printf": "coreutils",
    "python3": "python3",
    "rm": "coreutils",
    "rsync": "rsync",
    "runuser": "util-linux",
    "sleep": "coreutils",
    "sqlite3": "sqlite3",
    "systemctl": "systemd",
    "tar": "tar",
    "timedatectl": "systemd",
    "useradd": "passwd",
    "userdel": "passwd",
    "usermod": "passwd",
}
BASE = {"apt", "coreutils", "nano", "passwd", "systemd", "tar", "util-linux"}
"""In every Debian 12 that was installed as usual."""
AT_HAND = {"git", "python3"}
"""A checkout lies there, and python3-venv brings python3."""
OURS = {
    "rearing-monitor",
    "/opt/rearing-monitor/.venv/bin/pip",
    "wheel-venv/bin/pip",
    "wheel-venv/bin/python",
    "/etc/cron.daily/rearing-monitor-copy",
}
"""What the steps themselves put there."""

EVERY = [c for step in steps() for c in calls(step.block.text)]


def test_every_block_is_plain_shell():
    """`sh` parses each."""
    bad = [
        step
        for step in steps()
        if subprocess.run(
            ["sh", "-n"], input=step.block.text.encode(), check=False
        ).returncode
    ]

    assert not bad
    assert len(steps()) > 20


def test_every_program_is_one_of_debian():
    """Or one that an earlier step has put there."""
    used = {words[0] for words in EVERY}

    assert used - OURS == used & PACKAGES.keys()
    assert used >= {"apt-get", "runuser", "systemctl", "mosquitto_passwd"}


def test_every_package_that_is_needed_is_installed():
    """By a step of the guide, where Debian does not bring it anyway."""
    asked = {
        word
        for words in EVERY
        if words[:2] == ["apt-get", "install"]
        for word in words[2:]
        if not word.startswith("-")
    }
    needed = {PACKAGES[w[0]] for w in EVERY if w[0] in PACKAGES}

    assert needed - BASE - AT_HAND <= asked
    assert "python3-venv" in asked


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("a b | c -d && e", ["a", "c", "e"]),
        ('X=1 a "$(b | c)" > d', ["b", "c", "a"]),
        ("for x in 1 2; do\n  a $x\ndone", ["a"]),
        ("cat > f <<'END'\nrm x\nEND\na", ["cat", "a"]),
        ("runuser -u x -- a b", ["runuser", "a"]),
        ("a \\\n  --long", ["a"]),
    ],
)
def test_the_reader_of_blocks_finds_programs(text, found):
    """So that the tests above can fail."""
    assert [words[0] for words in calls(text)] == found


@pytest.mark.parametrize("words", monitor_lines(), ids=shlex.join)
def test_every_line_of_the_program_parses(words):
    """What the guide calls is accepted by the program's own parser."""
    if words == ["--version"]:
        with pytest.raises(SystemExit) as ended:
            build_parser().parse_args(words)
        assert ended.value.code == 0
    else:
        assert build_parser().parse_args(words).run


def test_a_line_that_does_not_parse_is_found():
    """The parser of the test above refuses what is no command."""
    with pytest.raises(UsageError):
        build_parser().parse_args(["bakup"])


def paths_of(text):
    """Absolute paths below the directories that are ours."""
    return set(re.findall(r"/(?:etc|opt|run|var/lib|usr/local)/[\w./-]*\w", text))


def test_the_paths_of_the_unit_are_those_of_the_guide():
    """Program, configuration, secrets, state, socket: parsed from both."""
    unit = Unit(UNIT)
    program, *words = unit["Service"]["ExecStart"].split()
    wanted = {
        program.rsplit("/bin/", 1)[0],
        words[words.index("--config") + 1],
        *unit.credentials.values(),
        f"/var/lib/{unit['Service']['StateDirectory']}",
        f"/run/{unit['Service']['RuntimeDirectory']}/control.sock",
        unit["Unit"]["Documentation"].removeprefix("file:"),
        f"/etc/systemd/system/{UNIT.name}",
    }

    assert wanted <= paths_of(GUIDE.read_text(encoding="utf-8"))
    assert unit.credentials.keys() == {"broker_password", "mail_password"}
    assert [w[-1] for w in EVERY if w[0] == "useradd"] == [unit["Service"]["User"]]


def test_the_guide_knows_no_other_places():
    """A path below our directories that nothing else speaks of is a slip."""
    known = paths_of(UNIT.read_text() + (DEPLOY / "command.sh").read_text())
    known |= paths_of((DEPLOY / "mosquitto.conf").read_text())
    roots = {
        "/etc/cron.daily/rearing-monitor-copy",
        "/etc/mosquitto/certs",
        "/etc/mosquitto/conf.d",
        "/etc/systemd/system",
        "/etc/rearing-monitor",
        "/opt/rearing-monitor",
        "/usr/local/bin/rearing-monitor",
        "/var/lib/rearing-monitor",
        *known,
    }

    odd = {
        path
        for path in paths_of(GUIDE.read_text(encoding="utf-8"))
        if not any(path == r or path.startswith(f"{r}/") for r in roots)
    }
    assert not odd


def test_the_command_of_keepers_finds_what_the_unit_runs():
    """The same program, socket and state as the daemon's."""
    unit, text = Unit(UNIT), (DEPLOY / "command.sh").read_text(encoding="utf-8")
    service = unit["Service"]

    assert f"exec {service['ExecStart'].split()[0]} " in text
    assert f"-/run/{service['RuntimeDirectory']}/control.sock}}" in text
    assert f"-/var/lib/{service['StateDirectory']}}}" in text


def test_every_file_of_deploy_is_explained():
    """In the table of what each file is, and nothing that is not there."""
    section = GUIDE.read_text(encoding="utf-8").split("## What each file is")[1]
    table = section.split("And on the machine")[0]
    named = {
        name
        for row in re.findall(r"(?m)^\| (`.*?) \|", table)
        for name in re.findall(r"`([^`]+)`", row)
    }

    assert named == {p.name for p in DEPLOY.iterdir() if p.name != GUIDE.name}


def test_a_reload_is_what_the_unit_understands():
    """`systemctl reload` is SIGHUP to the daemon."""
    assert Unit(UNIT)["Service"]["ExecReload"] == "/bin/kill -HUP $MAINPID"
    assert ["systemctl", "reload", "rearing-monitor"] in EVERY


def test_no_password_stands_in_the_guide_s_files():
    """What is secret is made with mode 0600 before anything is written into it."""
    made = {
        words[-1]
        for words in EVERY
        if words[:4] == ["install", "-m", "0600", "/dev/null"]
    }
    edited = {w[-1] for w in EVERY if w[0] == "editor" and "/secrets/" in w[-1]}

    assert edited
    assert edited <= made
    assert "/etc/rearing-monitor/secrets/$who" in made


def test_safety_comes_first():
    """Before any command: what the monitor is not, and whose word goes before its."""
    head = GUIDE.read_text(encoding="utf-8").split("```")[0]

    assert "does not replace the heater's own thermostat and cut-out" in head
    assert "Local electrical codes and licensed practice come first" in head


def test_no_link_is_dead():
    """What the guide points to in this project is there."""
    inside = [a for a in links(GUIDE) if not a.startswith("https://")]

    assert inside
    assert [a for a in inside if not (DEPLOY / a).exists()] == []


def test_one_sentence_stands_on_a_line():
    """So that a change of one sentence is a change of one line."""
    prose = re.sub(r"(?ms)^```.*?^```$", "", GUIDE.read_text(encoding="utf-8"))
    bad = [li for li in prose.splitlines() if re.search(r"[a-z)`][.!?] [A-Z]\w+ ", li)]

    assert not bad


analyze = pytest.mark.skipif(
    not shutil.which("systemd-analyze"), reason="needs systemd-analyze: apt-get systemd"
)


@analyze
def test_systemd_understands_unit_and_drop_in(tmp_path):
    """Nothing is misspelled; only the program is not installed here."""
    text = UNIT.read_text(encoding="utf-8")
    copy = tmp_path / UNIT.name
    copy.write_text(re.sub(r"(?m)^ExecStart=\S+", "ExecStart=/bin/true", text))
    waiting = tmp_path / "systemd-time-wait-sync.service"
    waiting.write_text("[Service]\nType=oneshot\nExecStart=/bin/true\n")
    (tmp_path / f"{waiting.name}.d").mkdir()
    shutil.copy(DEPLOY / "time-wait-sync.conf", tmp_path / f"{waiting.name}.d")

    ended = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", copy, waiting],
        capture_output=True,
        text=True,
        check=False,
    )

    told = ended.stderr.splitlines()
    assert not [li for li in told if copy.name in li or "time-wait-sync" in li]


@analyze
def test_systemd_finds_a_misspelling(tmp_path):
    """The search of the test above can fail."""
    copy = tmp_path / UNIT.name
    text = UNIT.read_text(encoding="utf-8").replace("WatchdogSec=", "WatchDogSecs=")
    copy.write_text(re.sub(r"(?m)^ExecStart=\S+", "ExecStart=/bin/true", text))

    ended = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", copy],
        capture_output=True,
        text=True,
        check=False,
    )

    assert copy.name in ended.stderr


@analyze
def test_s7_systemd_rates_the_unit_as_well_confined():
    """Exposure as `systemd-analyze security` counts it, 0 to 10: at most 2.5."""
    ended = subprocess.run(
        ["systemd-analyze", "security", "--offline=true", "--no-pager", UNIT],
        capture_output=True,
        text=True,
        check=False,
    )

    found = re.search(r"Overall exposure level for \S+: ([0-9.]+)", ended.stdout)
    assert found, ended.stderr
    assert float(found[1]) <= 2.5
