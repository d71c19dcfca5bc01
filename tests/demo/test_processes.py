"""Children of the demo end in time and leave nothing behind."""

import os
import time
from pathlib import Path

import pytest

from monitor.demo import processes
from monitor.demo.processes import Child, environment
from monitor.demo.settings import make_directories

STUBBORN = """\
import signal, subprocess, sys, time
signal.signal(signal.SIGTERM, signal.SIG_IGN)
child = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"])
print(child.pid, flush=True)
time.sleep(60)
"""


@pytest.fixture
def module(tmp_path, monkeypatch):
    """Turns a text into a module that a child can run."""

    def make(name, text):
        (tmp_path / f"{name}.py").write_text(text)
        return [name]

    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    return make


def gone(pid):
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    # a zombie of another parent is gone too
    stat = Path(f"/proc/{pid}/stat").read_text()
    return stat.rpartition(")")[2].split()[0] == "Z"


def eventually(look, seconds=5.0):
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline and not look():
        time.sleep(0.02)
    return look()


def test_a_child_that_ignores_sigterm_is_killed_with_its_children(
    module, tmp_path, monkeypatch
):
    """After the patience of a stop, the whole session is ended."""
    monkeypatch.setattr(processes, "STOP_S", 0.3)
    log = tmp_path / "log"
    arguments = module("stubborn", STUBBORN)

    with Child(arguments, env=os.environ, log=log) as child:
        assert eventually(lambda: log.read_text().strip())
        grandchild = int(log.read_text())

    assert child.ended is not None
    assert eventually(lambda: gone(grandchild))


def test_a_child_hears_orders_and_ends_with_its_input(module, tmp_path):
    """What is told arrives; the end of input ends it without a signal."""
    log = tmp_path / "log"
    arguments = module(
        "echo", "import sys\nfor line in sys.stdin:\n print(line, flush=True)\n"
    )

    with Child(arguments, env=os.environ, log=log) as child:
        child.tell("heater a dead")
        child.tell("heater a mended")
        heard = eventually(lambda: log.read_text().count("heater a") == 2)

    assert heard
    assert child.ended is not None


def test_the_environment_is_the_demo_s_own(tmp_path, monkeypatch):
    """Settings of a service manager or of a real daemon do not reach the children."""
    monkeypatch.setenv("REARING_STATE", "/var/lib/real")
    monkeypatch.setenv("CREDENTIALS_DIRECTORY", "/run/real")
    monkeypatch.setenv("WATCHDOG_USEC", "1")
    dirs = make_directories(tmp_path / "demo")

    got = environment(dirs, "60:0:1.5")

    assert got["REARING_STATE"] == str(dirs.store)
    assert got["REARING_CLOCK"] == "60:0:1.5"
    assert got["PATH"] == os.environ["PATH"]
    assert not {"CREDENTIALS_DIRECTORY", "WATCHDOG_USEC"} & set(got)
