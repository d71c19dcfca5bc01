"""A disk that is really full: promise of the disk row, and trap Q6."""

import contextlib
import os
import subprocess

import pytest

from tests.service.support import TOPIC, again, payload, people, recent, stored
from tests.support.brokers import free_port, publish, wait_for
from tests.support.daemon import Daemon, notify_socket
from tests.support.mail import CatchingServer


@pytest.fixture
def small_disk(tmp_path):
    """A file system of 12 MB; only root can make one."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=12m", "tmpfs", str(folder)]
    if os.geteuid() != 0 or subprocess.run(mount, check=False).returncode != 0:
        pytest.skip("needs root and mount: a small file system cannot be made here")
    yield folder
    subprocess.run(["umount", str(folder)], check=False)


@pytest.fixture
def post():
    """A mail server that takes everything."""
    with CatchingServer() as made:
        yield made


@pytest.mark.mosquitto
def test_q6_alarms_go_out_by_mail_while_the_store_cannot_write(
    tmp_path, small_disk, post
):
    """Full disk: an early alarm, the failure, and the danger all reach Ines (Q6)."""
    port = free_port()
    broker = f'embedded = true\nlisten = "127.0.0.1:{port}"'
    house = tmp_path / "house"
    house.mkdir()
    with contextlib.ExitStack() as stack:
        notify = stack.enter_context(notify_socket(str(tmp_path / "notify")))
        made = Daemon(house, broker, notify, state=small_disk, more=people(post))
        stack.callback(made.kill)
        again(made)
        with contextlib.suppress(OSError), (small_disk / "fill").open("wb") as fill:
            while True:
                fill.write(bytes(65536))
                fill.flush()
        for at in recent(2):
            publish(port, TOPIC, payload(at, 38.0))
        wait_for(lambda: len(post.messages) >= 2, 60.0)
        wait_for(lambda: any("38.0" in subject for subject in subjects(post)), 30.0)
        full = made.ask("now")["daemon"]
        (small_disk / "fill").unlink()

        def running():
            publish(port, TOPIC, payload(recent(1)[0], 25.0))
            return made.ask("now")["daemon"]["state"] == "running"

        wait_for(running, 30.0)
        alarms = {alarm["kind"] for alarm in made.ask("alarms", "list")["alarms"]}
        rows = stored(made)

    assert full["state"] == "store failing"
    assert full["counters"]["lost"] == 2
    assert any("the store cannot write" in subject for subject in subjects(post))
    # what memory kept is in the store when there is room again
    assert {"danger", "store-failing"} <= alarms
    assert {value for _, value in rows} == {25.0}


def subjects(post):
    """Subjects of what was caught."""
    return [caught.mail["Subject"] for caught in post.messages]
