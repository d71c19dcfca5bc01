"""The wheel, installed outside the checkout, is the whole program."""

import json
import os
import re
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path

import pytest

from monitor import __version__
from tests.source import ROOT

# one worker builds and installs once for all of them
pytestmark = pytest.mark.xdist_group("package")

DEMO_BOUND = 150
"""Seconds; the demo's story lasts about 60 behind its back-fill."""


def run(*words, cwd, timeout=60, **extra):
    return subprocess.run(
        words,
        cwd=cwd,
        env=outside() | extra,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=timeout,
        check=False,
    )


def outside():
    """The environment of someone who never saw the checkout."""
    kept = ("PATH", "HOME", "LANG", "TMPDIR")
    return {name: os.environ[name] for name in kept if name in os.environ}


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    """The wheel as the pinned backend builds it."""
    folder = tmp_path_factory.mktemp("wheel")
    built = run(
        *(sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", folder),
        cwd=ROOT,
    )
    assert built.returncode == 0, built.stderr
    (path,) = folder.glob("*.whl")
    return path


@pytest.fixture(scope="module")
def installed(wheel, tmp_path_factory):
    """A venv of its own that borrows the libraries of this one; nothing is fetched."""
    folder = tmp_path_factory.mktemp("elsewhere") / "venv"
    venv.create(folder, with_pip=False, symlinks=True)
    installing = run(
        *(sys.executable, "-m", "pip", "--python", folder / "bin/python", "install"),
        *("--quiet", "--no-deps", "--no-index", "--no-compile", wheel),
        cwd=folder,
    )
    assert installing.returncode == 0, installing.stderr
    (site,) = folder.glob("lib/python*/site-packages")
    # a .pth inside a folder named by a .pth is not read, so that the editable
    # install of the checkout stays out
    (site / "borrowed.pth").write_text(sysconfig.get_path("purelib") + "\n")
    return folder


def test_the_wheel_holds_every_file_of_config(wheel):
    """Species, templates, the example site and the sources travel with the code."""
    config = ROOT / "config"
    wanted = {
        f"monitor/config/{path.relative_to(config)}"
        for path in config.rglob("*")
        if path.is_file()
    }

    names = set(zipfile.ZipFile(wheel).namelist())

    assert "monitor/config/site.toml" in wanted
    assert any(name.startswith("monitor/config/species/") for name in wanted)
    assert wanted <= names


def test_the_wheel_holds_every_file_beside_the_code(wheel):
    """The schema lies beside the code that reads it, also when installed."""
    wanted = {
        str(path.relative_to(ROOT))
        for path in (ROOT / "monitor").rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }

    names = set(zipfile.ZipFile(wheel).namelist())

    assert "monitor/store/schema.sql" in wanted
    assert wanted <= names


def test_the_wheel_holds_nothing_else(wheel):
    """No tests, no scripts, no state of a trial."""
    tops = {name.split("/")[0] for name in zipfile.ZipFile(wheel).namelist()}

    assert tops == {"monitor", f"rearing_monitor-{__version__}.dist-info"}


def test_the_installed_program_is_its_own(installed, tmp_path):
    """What is run below comes from the wheel, and not from the checkout."""
    code = "import monitor; print(monitor.__file__)"
    got = run(installed / "bin/python", "-c", code, cwd=tmp_path)

    assert Path(got.stdout.strip()).is_relative_to(installed)


def test_it_tells_its_version(installed, tmp_path):
    """--version is the version of the project."""
    got = run(installed / "bin/rearing-monitor", "--version", cwd=tmp_path)

    assert (got.returncode, got.stdout) == (0, f"{__version__}\n")


def test_it_computes_without_a_house(installed, tmp_path):
    """At 20 degC 2339 Pa (IAPWS, as in tests/science), and half at 50 %."""
    got = run(
        *(installed / "bin/rearing-monitor", "calc", "air", "--json"),
        *("--temperature", "20", "--humidity", "50"),
        cwd=tmp_path,
    )

    assert got.returncode == 0, got.stderr
    air = json.loads(got.stdout)
    assert air["saturation_vapour_pressure_pa"] == pytest.approx(2339, rel=0.002)
    assert air["vapour_pressure_deficit_pa"] == pytest.approx(1170, rel=0.002)


def test_it_tells_the_whole_story(installed, tmp_path):
    """The demo needs nothing but the wheel: a mail is caught, and it ends with 0."""
    got = run(
        *(installed / "bin/rearing-monitor", "demo", "--once"),
        cwd=tmp_path,
        timeout=DEMO_BOUND,
        TMPDIR=str(tmp_path),
    )

    assert got.returncode == 0, got.stdout[-3000:] + got.stderr[-3000:]
    mails = [Path(path) for path in re.findall(r"(\S+\.eml)\b", got.stdout)]
    assert mails, got.stdout[-3000:]
    assert all(b"Message-ID" in path.read_bytes() for path in mails)
