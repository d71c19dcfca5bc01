"""
A service manager for two units, below a root of a test's own: `systemctl` there.

It does with the shipped unit file what systemd does with it as far as a process needs
it: drop-ins, LoadCredential=, StateDirectory=, RuntimeDirectory=, Environment=, ready
by notification, ExecReload=. Users and confinement are not played.
"""

import contextlib
import os
import shlex
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

from tests.deploy.guide import Unit
from tests.support.brokers import accepts, wait_for
from tests.support.daemon import notify_socket

READY_S = 30.0


class Manager:
    """What runs below *root*, by files with process ids."""

    def __init__(self, root: Path, port: int) -> None:
        self.root, self.port = root, port

    def pid(self, name: str) -> int | None:
        """The running process of a unit."""
        with contextlib.suppress(OSError, ValueError):
            found = int((self.root / f"run/{name}.pid").read_text())
            return None if _ended(found) else found
        return None

    def start(self, name: str) -> None:
        """Start a unit and wait until it is ready."""
        if self.pid(name) is None:
            self._broker() if name == "mosquitto" else self._daemon(name)

    def stop(self, name: str) -> None:
        """SIGTERM, and wait for the end."""
        found = self.pid(name)
        if found is not None:
            os.kill(found, signal.SIGTERM)
            wait_for(lambda: _ended(found), 15)

    def reload(self, name: str) -> None:
        """ExecReload= of the unit."""
        unit = self._unit(name)
        line = unit["Service"]["ExecReload"].replace("$MAINPID", str(self.pid(name)))
        subprocess.run(shlex.split(line), check=True)

    def _launch(self, name: str, command: list[str], **more: object) -> int:
        with (self.root / f"run/{name}.log").open("ab") as log:
            made = subprocess.Popen(
                command,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                start_new_session=True,
                **more,
            )
        (self.root / f"run/{name}.pid").write_text(str(made.pid))
        return made.pid

    def _broker(self) -> None:
        if not any((self.root / "etc/mosquitto/conf.d").iterdir()):
            return  # Debian's own would take port 1883 of this machine
        config = self.root / "etc/mosquitto/mosquitto.conf"
        pid = self._launch("mosquitto", ["mosquitto", "-c", str(config)])
        wait_for(lambda: accepts(self.port) or _ended(pid), 10)
        if _ended(pid):
            sys.exit((self.root / "run/mosquitto.log").read_text())

    def _unit(self, name: str) -> Unit:
        path = self.root / f"etc/systemd/system/{name}.service"
        return Unit(path, *sorted(Path(f"{path}.d").glob("*.conf")))

    def _daemon(self, name: str) -> None:
        unit = self._unit(name)
        service = unit["Service"]
        credentials = self.root / f"run/credentials-{name}"
        shutil.rmtree(credentials, ignore_errors=True)
        credentials.mkdir()
        for secret, source in unit.credentials.items():
            shutil.copy(source, credentials / secret)
        state = self.root / "var/lib" / service["StateDirectory"]
        runtime = self.root / "run" / service["RuntimeDirectory"]
        for folder in (state, runtime):
            folder.mkdir(exist_ok=True)
        given = dict(word.split("=", 1) for word in service["Environment"].split())
        address = f"@{self.root}"[:100]
        with notify_socket(address) as notify:
            environment = {
                "PATH": os.environ["PATH"],
                "STATE_DIRECTORY": str(state),
                "RUNTIME_DIRECTORY": str(runtime),
                "CREDENTIALS_DIRECTORY": str(credentials),
                "NOTIFY_SOCKET": address,
                **given,
            }
            pid = self._launch(name, service["ExecStart"].split(), env=environment)
            deadline = time.monotonic() + READY_S
            while "READY=1" not in notify.heard:
                if _ended(pid) or time.monotonic() > deadline:
                    sys.exit((self.root / f"run/{name}.log").read_text())
                notify.listen(0.1)


def _ended(pid: int) -> bool:
    """Whether a process runs no more; nobody may have waited for it yet."""
    try:
        stat = Path(f"/proc/{pid}/stat").read_text()
    except OSError:
        return True
    return stat.rsplit(")", 1)[1].split()[0] == "Z"


def main(root: str, port: str, *words: str) -> None:
    """``systemctl`` of a test."""
    manager = Manager(Path(root), int(port))
    verb, *rest = words
    names = [w for w in rest if not w.startswith("-")]
    ours = [n for n in names if n in {"mosquitto", "rearing-monitor"}]
    for name in ours:
        if verb in {"stop", "restart"} or (verb == "disable" and "--now" in rest):
            manager.stop(name)
        if verb in {"start", "restart"} or (verb == "enable" and "--now" in rest):
            manager.start(name)
        if verb == "reload":
            manager.reload(name)
        if verb == "status" and manager.pid(name) is None:
            sys.exit(3)


if __name__ == "__main__":
    main(*sys.argv[1:])
