"""The README's first ten minutes, literally: its lines in a shell, in order."""

import email
import email.policy
import os
import re
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import pytest

from tests.docs.pages import README, blocks, trial_site
from tests.support.brokers import accepts, free_port, wait_for

pytestmark = pytest.mark.mosquitto  # for its mosquitto_pub

BROKER, POST = "1883", "8025"
"""The ports that the README names."""

_TIME = re.compile(
    r"\b(?:Mon|Tue|Wed|Thu|Fri|Sat|Sun)\b(?: \d\d [A-Z][a-z]{2})?|\b\d\d:\d\d\b"
    r"| +\d+ (?:s|min) ago| \(1[05] min from now\)"
)
_VERSION = re.compile(r"(?<=^rearing monitor )\S+(?=,)")


def timeless(text):
    """The lines of an output with what tells the time made the same."""
    lines = (_VERSION.sub("#", _TIME.sub("#", line)) for line in text.splitlines())
    return [re.sub(r"[ #]*#[ #]*", " # ", line).rstrip() for line in lines]


def told(output, expected):
    """
    Whether an output is what the README shows.

    Where the README leaves something out by "…", what it shows stands there in order.
    """
    got, wanted = timeless(output), timeless(expected)
    if "…" not in wanted:
        return got == wanted
    rest = iter(got)
    return all(line in rest for line in wanted if line != "…")


class Trial:
    """A keeper's three terminals, a home and a checkout, with ports of their own."""

    def __init__(self, folder):
        self.home, self.checkout = folder / "home", folder / "checkout"
        self.home.mkdir()
        self.checkout.mkdir()
        (self.checkout / ".venv").symlink_to(sys.prefix)
        self.ports = {BROKER: str(free_port()), POST: str(free_port())}
        self.entered, self.running, self.ended = [], [], []

    def here(self, text):
        """A text of the README with the ports of this run."""
        for port, other in self.ports.items():
            text = re.sub(rf"\b{port}\b", other, text)
        return text

    def shell(self, text, **more):
        """What a keeper's terminal runs."""
        # -u and -e: a line that fails, or uses what is not set, ends the test
        return subprocess.Popen(
            ["sh", "-eu", "-c", self.here(text)],
            cwd=self.checkout,
            env={
                "PATH": os.environ["PATH"],
                "HOME": str(self.home),
                # into a file as onto a terminal, line by line
                "PYTHONUNBUFFERED": "1",
            },
            stdin=subprocess.DEVNULL,
            start_new_session=True,
            **more,
        )

    def run(self, text):
        """Run a block in the first terminal; give what it printed."""
        script = "".join([*self.entered, text])
        made = self.shell(script, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        out, err = made.communicate(timeout=60)
        assert made.returncode == 0, f"{text}\n{err.decode()}\n{self.log(1)}"
        return out.decode()

    def enter(self, text):
        """Run a line that every later terminal begins with."""
        self.entered.append(text)

    def beside(self, text):
        """Run a block in a terminal of its own."""
        number = len(self.running)
        with (self.home / f"log-{number}").open("wb") as log:
            script = "".join([*self.entered, "exec ", text])
            self.running.append(self.shell(script, stdout=log, stderr=log))

    def log(self, number):
        """What the terminal beside printed."""
        path = self.home / f"log-{number}"
        return path.read_text(errors="replace") if path.exists() else ""

    def stop(self):
        """Ctrl-C in every terminal; the codes with which they end."""
        for made in reversed(self.running):
            with suppress(ProcessLookupError):
                os.killpg(made.pid, signal.SIGINT)
            with suppress(subprocess.TimeoutExpired):
                made.wait(12)
            with suppress(ProcessLookupError):
                os.killpg(made.pid, signal.SIGKILL)
            self.ended.append(made.wait(5))


def until_told(trial, block, expected):
    """
    Run a block, and its last line again until it prints what the README shows.

    A keeper looks a second later than a script does.
    """
    out = trial.run(block.text)
    last = block.text.splitlines()[-1] + "\n"
    deadline = time.monotonic() + 15
    while not told(out, trial.here(expected)):
        assert time.monotonic() < deadline, f"{last}printed\n{out}\nnot\n{expected}"
        out = trial.run(last)
    return out


@pytest.fixture(scope="module")
def trial(tmp_path_factory):
    """All steps of the trial that has been run to its end."""
    made = Trial(tmp_path_factory.mktemp("trial"))
    used = {"trial", "trial-beside"}
    steps = [b for b in blocks(README, "sh", "text") if b.use in used]
    made.steps, made.shown = [b.text for b in steps if b.language == "sh"], []
    try:
        for step, after in zip(steps, [*steps[1:], None], strict=True):
            if step.language == "text":
                continue
            if step.text.startswith(". "):
                made.enter(step.text)
                site = made.home / "quillmere/site.toml"
                site.write_text(made.here(trial_site()), encoding="utf-8")
            elif step.use == "trial-beside":
                made.beside(step.text)
                wait_for_terminal(made, step.text)
            elif after is not None and after.language == "text":
                made.shown.append(until_told(made, step, after.text))
            else:
                made.run(step.text)
        wait_for(lambda: "END MESSAGE" in made.log(0))
    finally:
        made.stop()
    return made


def wait_for_terminal(trial, text):
    """Wait as the README tells the keeper to."""
    if "aiosmtpd" in text:
        wait_for(lambda: accepts(int(trial.ports[POST])), 20)
        return
    running = trial.running[-1]
    wait_for(lambda: "connected=True" in trial.log(1) or running.poll() is not None, 30)
    assert running.poll() is None, trial.log(1)
    heard = time.monotonic()
    # "and three seconds more": nothing outside tells when the queue is through
    wait_for(lambda: time.monotonic() > heard + 3, 10)


def test_every_line_of_the_trial_ends_well_and_prints_what_is_shown(trial):
    """All blocks ran in order with exit code 0 and printed what the README shows."""
    lines = "".join(trial.steps)

    assert lines.count("mosquitto_pub ") == 5
    assert lines.count("rearing-monitor ") >= 9
    assert len(trial.shown) == 5


def test_the_terminals_end_with_ctrl_c(trial):
    """The daemon ends with 0; no terminal had to be killed."""
    assert trial.ended[0] == 0
    assert -signal.SIGKILL not in trial.ended


def test_the_mail_reads_as_the_readme_has_it(trial):
    """The first mail that the second terminal printed, decoded."""
    printed = trial.log(0).split("MESSAGE FOLLOWS ----------\n")[1]
    raw = printed.split("------------ END MESSAGE")[0]
    mail = email.message_from_string(raw, policy=email.policy.default)
    [shown] = [b.text for b in blocks(README, "text") if b.use == "mail"]

    text = mail.get_body(("plain",)).get_content()
    assert timeless(text.strip()) == timeless(shown.strip())
    assert mail["To"] == "ines@quillmere.example"


@pytest.mark.parametrize(
    ("output", "shown", "same"),
    [
        ("ok 22.4 C  2 s ago\n", "ok 22.4 C  14 s ago\n", True),
        ("ok 22.4 C  2 s ago\n", "ok 22.5 C  2 s ago\n", False),
        ("House, Wed 25 Nov 15:53\n", "House, Sun 01 Mar 09:00\n", True),
        ("a\nb\nc\n", "a\n…\nc\n", True),
        ("a\nb\nc\n", "c\n…\na\n", False),
        ("a\nb\n", "a\n", False),
    ],
)
def test_the_comparison_of_outputs_can_fail(output, shown, same):
    """Times may differ, and nothing else."""
    assert told(output, shown) is same


def test_the_paths_of_the_trial_stay_in_its_home(trial):
    """Nothing was written into the checkout."""
    assert [p.name for p in Path(trial.checkout).iterdir()] == [".venv"]
    assert (trial.home / "quillmere/state/rearing.sqlite3").exists()
