"""Traps of the scheduler: rows A1, A5 and A9."""

import threading
import time
from functools import partial

from monitor.scheduling import scheduled
from tests.support.brokers import wait_for


def test_a1_a_run_that_is_late_is_run_all_the_same():
    """A first run lasts past three due times: another comes after it (A1)."""
    runs, go_on = [], threading.Event()

    def work():
        runs.append(time.monotonic())
        if len(runs) == 1:
            go_on.wait(5)

    scheduler = scheduled(work, every_s=0.1)
    try:
        wait_for(lambda: len(runs) == 1)
        threading.Event().wait(0.5)
        assert len(runs) == 1
        go_on.set()
        wait_for(lambda: len(runs) >= 2)
    finally:
        go_on.set()
        scheduler.shutdown(wait=False)


def test_a_chore_that_raises_is_logged_and_comes_again(caplog):
    """An error ends one run, not the schedule."""
    runs = []

    def work():
        runs.append(1)
        raise RuntimeError("broken")

    scheduler = scheduled(work, every_s=0.05)
    try:
        wait_for(lambda: len(runs) >= 3)
    finally:
        scheduler.shutdown(wait=False)

    assert "chores did not run well" in caplog.text


def test_a9_the_end_waits_for_no_chore():
    """A chore that hangs does not hold up the stop (A9)."""
    hang = threading.Event()
    scheduler = scheduled(partial(hang.wait, 30), every_s=0.05)
    wait_for(scheduler.get_jobs)
    began = time.monotonic()
    scheduler.shutdown(wait=False)

    assert time.monotonic() - began < 2
    hang.set()
