"""deploy/README.md carried out, with its paths below a directory of the test's own."""

import json
import os
import re
import shutil
import stat
import subprocess
import sys
import tarfile
from dataclasses import dataclass, field
from pathlib import Path

import pytest
import trustme

from tests.deploy.guide import DEPLOY, GUIDE, steps
from tests.deploy.manager import Manager
from tests.source import ROOT
from tests.support.brokers import accepts, free_port, publish, wait_for

pytestmark = pytest.mark.mosquitto

PLACES = re.compile(r"(?<![\w.}/])/(etc|opt|run|srv|var|usr/local)(?=[/ ])")
AIR = "rearing/warm-room/air_temperature"
CANARY = "a password with blanks"

DEBIANS_OWN = """\
pid_file /run/mosquitto/mosquitto.pid

persistence true
persistence_location /var/lib/mosquitto/

log_dest file /var/log/mosquitto/mosquitto.log

include_dir /etc/mosquitto/conf.d
"""
"""/etc/mosquitto/mosquitto.conf of Debian 12's package (2.0.11), without comments."""

STUBS = {
    # name: what stands for it; all else is the machine's own
    "apt-get": "",
    "useradd": "",
    "userdel": "",
    "chgrp": "",
    "timedatectl": "echo NTPSynchronized=yes",
    "journalctl": "cat {root}/run/rearing-monitor.log",
    "git": "",
    "editor": (
        'case "$1" in\n'
        "*mail_password) echo '{canary}' > \"$1\" ;;\n"
        "*ines-phone) echo 'json://127.0.0.1:9/canary' > \"$1\" ;;\n"
        "esac"
    ),
    "install": (
        'for word; do shift; case "$word" in\n'
        "-o | -g) skip=1 ;;\n"
        '*) if [ "${{skip:-}}" ]; then skip=""; else set -- "$@" "$word"; fi ;;\n'
        'esac; done\nexec {install} "$@"'
    ),
    "runuser": 'while [ "$1" != -- ]; do shift; done; shift; exec "$@"',
    "python3": (
        'if [ "$2" != venv ]; then exec {python} "$@"; fi\n'
        'mkdir -p "$3/bin" && cp {pip} "$3/bin/pip" && cp {program} '
        '"$3/bin/rearing-monitor"'
    ),
    "systemctl": (
        'case "$*" in daemon-reload | "enable "[!-]*) exit ;; esac\n'
        "cd {checkout} && exec {python} -m tests.deploy.manager {root} {port} "
        '"$@"'
    ),
}


@dataclass
class House:
    """
    A machine below *root*: what was run there, and what it said.

    Attributes:
        said: By section, everything that was printed.
        seen: What the test looked at between two sections.
    """

    root: Path
    port: int
    said: dict[str, str] = field(default_factory=dict)
    seen: dict[str, object] = field(default_factory=dict)

    def here(self, text):
        """A text with its paths below the root, and our port."""
        text = PLACES.sub(rf"{self.root}/\1", text)
        return re.sub(r"\b1883\b", str(self.port), text)

    def prepare(self):
        """Lay out what Debian brings, a checkout, and what stands for root's tools."""
        for name in (
            *("etc/mosquitto/conf.d", "etc/mosquitto/certs", "etc/systemd/system"),
            *("usr/local/bin", "var/lib/mosquitto", "var/log/mosquitto"),
            *("var/backups", "run/mosquitto", "bin", "checkout"),
        ):
            (self.root / name).mkdir(parents=True)
        owner = "user root\n" if os.geteuid() == 0 else ""
        main = self.root / "etc/mosquitto/mosquitto.conf"
        main.write_text(owner + self.here(DEBIANS_OWN))
        shipped = (path for path in DEPLOY.iterdir() if path.is_file())
        for path in (*shipped, ROOT / "config/site.toml", ROOT / "README.md"):
            to = self.root / "checkout" / path.relative_to(ROOT)
            to.parent.mkdir(exist_ok=True)
            to.write_text(self.here(path.read_text(encoding="utf-8")))
            to.chmod(path.stat().st_mode)
        self._stubs()

    def _stubs(self):
        values = {
            "root": self.root,
            "port": self.port,
            "canary": CANARY,
            "checkout": ROOT,
            "python": sys.executable,
            "install": shutil.which("install"),
            "pip": self.root / "bin/pip",
            "program": self.root / "bin/program",
        }
        more = {
            "pip": "",
            "program": 'PYTHONPATH={checkout} exec {python} -m monitor "$@"',
        }
        for name, body in {**STUBS, **more}.items():
            path = self.root / "bin" / name
            path.write_text(
                f'#!/bin/sh\necho "{name} $*" >> {self.root}/calls\n'
                f"{body.format(**values)}\n"
            )
            path.chmod(0o755)

    def environment(self):
        """Root's: our tools first, then what keepers call, then the machine's."""
        first = f"{self.root}/bin:{self.root}/usr/local/bin"
        return {
            "PATH": f"{first}:{os.environ['PATH']}:/usr/sbin",
            "REARING_CONFIG": str(self.root / "etc/rearing-monitor"),
        }

    def run(self, text):
        """One block, as root would."""
        ran = subprocess.run(
            ["sh", "-eu"],
            input=self.here(text),
            cwd=self.root / "checkout",
            env=self.environment(),
            capture_output=True,
            text=True,
            timeout=90,
            check=False,
        )
        assert ran.returncode == 0, f"{text}\n{ran.stdout}{ran.stderr}"
        return ran.stdout + ran.stderr

    def carry_out(self, section):
        """All blocks of a section that are for every house."""
        found = [s for s in steps("", "last") if s.section.startswith(section)]
        assert found, section
        self.said[section] = "".join(self.run(s.block.text) for s in found)

    def now(self):
        """`now` as a program reads it."""
        return json.loads(self.run("rearing-monitor now --json"))

    def secret(self, name):
        """What a secret says."""
        return (self.root / "etc/rearing-monitor/secrets" / name).read_text().strip()

    def manager(self):
        """The service manager of this machine."""
        return Manager(self.root, self.port)


@pytest.fixture(scope="module")
def house(tmp_path_factory):
    """Every section in order, and a look between some of them."""
    made = House(tmp_path_factory.mktemp("g"), free_port())
    made.prepare()
    try:
        for section in ("1", "2", "3", "4", "5", "6", "7", "8"):
            made.carry_out(f"{section}. ")
        _look_at_the_broker(made)
        before = made.manager().pid("rearing-monitor")
        made.carry_out("Change the configuration")
        made.seen["same"] = before == made.manager().pid("rearing-monitor")
        made.carry_out("Back up")
        made.seen["before"] = made.now()
        made.carry_out("Upgrade")
        publish(made.port, AIR, "19.5", login=_sensors(made))
        made.carry_out("Restore")
        made.seen["restored"] = made.now()
        made.carry_out("Move")
        made.seen["moved"] = made.manager().pid("rearing-monitor")
        made.seen["log"] = (made.root / "run/rearing-monitor.log").read_text()
        made.seen["modes"] = _modes(made.root)
        made.seen["tar"] = _names(made.root / "var/backups/rearing-monitor-etc.tar.gz")
        made.carry_out("Take it away")
        yield made
    finally:
        for name in ("rearing-monitor", "mosquitto"):
            made.manager().stop(name)


def _sensors(house):
    return ("sensors", house.secret("sensors_password"))


def _look_at_the_broker(house):
    monitor = ("monitor", house.secret("broker_password"))
    wrong = ("sensors", "guess")
    house.seen["publish"] = {
        "sensors": publish(house.port, AIR, "18.7", login=_sensors(house)),
        "wrong": publish(house.port, AIR, "99", login=wrong),
        "nobody": publish(house.port, AIR, "99"),
        "forbidden": publish(house.port, AIR, "99", login=monitor),
    }
    wait_for(lambda: house.now()["daemon"]["committed"] >= 2, 10)
    house.seen["stored"] = house.run("rearing-monitor export readings").splitlines()


def _modes(root):
    return {
        str(path.relative_to(root)): stat.S_IMODE(path.stat().st_mode)
        for path in (root / "etc").rglob("*")
    }


def _names(path):
    with tarfile.open(path) as tar:
        return tar.getnames(), stat.S_IMODE(path.stat().st_mode)


def test_the_first_reading_is_shown(house):
    """Sent as the guide says, it stands in `now` two seconds later."""
    said = house.said["8. "]

    assert "Quillmere Insectarium" in said
    assert "The daemon is running." in said
    assert "18.5 C" in said


def test_the_check_is_good(house):
    """With the secrets that the steps made."""
    assert "configuration is good" in house.said["6. "]
    assert "configuration is good" in house.said["Change the configuration"]


def test_a_reload_is_no_restart(house):
    """The unit's ExecReload reached the daemon, which goes on as the same process."""
    assert house.seen["same"]
    assert "configuration refused" not in house.seen["log"]


def test_start_upgrade_and_restore_each_start_the_daemon(house):
    """And each time it gets through to the broker."""
    log = house.seen["log"]

    assert log.count('event=started site="Quillmere Insectarium"') == 3
    assert log.count("connected=True") == 3


def test_m17_the_broker_lets_in_whom_it_should(house):
    """With Debian's own file before ours: password file and access list hold."""
    tried = house.seen["publish"]

    assert tried["sensors"].returncode == 0
    assert tried["wrong"].returncode != 0
    assert tried["nobody"].returncode != 0
    assert "not authorised" in tried["nobody"].stderr.lower()
    values = [line.split(",")[3] for line in house.seen["stored"][1:]]
    assert values == ["18.5", "18.7"]


def test_s9_secrets_are_root_s_alone(house):
    """Files 0600 in a directory 0700; in the broker's file only hashes."""
    modes = house.seen["modes"]
    secrets = {p: m for p, m in modes.items() if "/secrets/" in p}

    assert modes["etc/rearing-monitor/secrets"] == 0o700
    assert set(secrets.values()) == {0o600}
    assert len(secrets) == 4
    assert modes["etc/mosquitto/rearing-monitor.passwd"] == 0o640
    assert modes["etc/rearing-monitor/site.toml"] == 0o640


def test_s9_no_secret_was_said(house):
    """In no output of any step, nor in the log of the daemon."""
    said = "".join(house.said.values()) + house.seen["log"]

    assert CANARY not in said
    assert "canary" not in said
    assert not re.search(r"\b[0-9a-f]{32}\b", said)


def test_a_backup_was_made_and_restored(house):
    """The newest one is that before the upgrade; what came after it is gone."""
    assert "2 readings, 0 alarms" in house.said["Back up"]
    assert "before-" in house.said["Restore"]
    assert "The store that was there is kept: " in house.said["Restore"]
    assert house.seen["before"]["daemon"]["state"] == "running"
    assert house.seen["restored"]["daemon"]["state"] == "running"


def test_what_is_not_in_the_store_was_kept_too(house):
    """Configuration, secrets and logins, for root alone."""
    names, mode = house.seen["tar"]

    assert mode == 0o600
    assert {
        "rearing-monitor/site.toml",
        "rearing-monitor/secrets/mail_password",
        "mosquitto/rearing-monitor.passwd",
    } <= set(names)


def test_the_old_machine_watches_no_more(house):
    """After the move's first step its daemon is stopped, and there is one file."""
    assert house.seen["moved"] is None
    assert "move.sqlite3" in house.said["Move"]


def test_nothing_is_left_when_it_is_taken_away(house):
    """But what Debian brought, and what keepers keep."""
    left = {
        str(p.relative_to(house.root))
        for top in ("etc", "opt", "usr", "var/lib")
        for p in (house.root / top).rglob("*")
        if p.is_file()
    }

    assert {p for p in left if "rearing" in p} == set()
    assert "etc/mosquitto/mosquitto.conf" in left


def test_the_tools_of_root_were_called_as_the_unit_wants_it(house):
    """The user of the unit is made; the clock is waited for."""
    calls = (house.root / "calls").read_text().splitlines()

    assert any(c.startswith("useradd --system --user-group") for c in calls)
    assert "systemctl enable systemd-time-wait-sync" in calls
    assert "timedatectl set-ntp true" in calls
    assert any(c.startswith("apt-get install --yes python3-venv") for c in calls)


# the listener for sensors elsewhere


@pytest.fixture
def encrypted(tmp_path_factory):
    """A broker by step 5 and the block on TLS, with a certificate for 127.0.0.1."""
    made = House(tmp_path_factory.mktemp("t"), free_port())
    made.prepare()
    port, authority = free_port(), trustme.CA()
    certificate = authority.issue_cert("127.0.0.1")
    certs = made.root / "etc/mosquitto/certs"
    authority.cert_pem.write_to_path(certs / "ca.pem")
    certificate.cert_chain_pems[0].write_to_path(certs / "broker.crt")
    certificate.private_key_pem.write_to_path(certs / "broker.key")
    [tls] = steps("tls")
    text = tls.block.text.replace("8883 192.0.2.10", f"{port} 127.0.0.1")
    assert text != tls.block.text
    try:
        for section in ("2", "4", "5"):
            made.carry_out(f"{section}. ")
        made.run(text)
        wait_for(lambda: accepts(port))
        yield made, port, certs / "ca.pem"
    finally:
        made.manager().stop("mosquitto")


def test_sensors_elsewhere_speak_tls_and_log_in(encrypted):
    """The logins hold on the second listener; without TLS nobody is heard."""
    made, port, authority = encrypted
    trust = ("--cafile", str(authority))

    good = publish(port, AIR, "21.5", login=_sensors(made), more=trust)
    wrong = publish(port, AIR, "21.5", login=("sensors", "guess"), more=trust)
    plain = publish(port, AIR, "21.5", login=_sensors(made))

    assert good.returncode == 0, good.stderr
    assert wrong.returncode != 0
    assert plain.returncode != 0


def test_examples_are_no_steps():
    """What a house may leave out is marked so, and nothing is marked by mistake."""
    uses = [s.block.use for s in steps()]

    assert set(uses) == {"", "example", "elsewhere", "tls", "last"}
    assert uses.count("last") == uses.count("tls") == 1
    assert GUIDE.read_text(encoding="utf-8").count("```sh") == len(uses)
