"""The embedded broker."""

import os
import signal
import socket
import subprocess
import sys
import time

import pytest

from monitor.errors import ConfigError
from monitor.intake.broker import EmbeddedBroker
from tests.support.brokers import accepts, free_port, publish, wait_for
from tests.support.intakes import running

AIR = "rearing/shelf-a/air_temperature"


@pytest.fixture
def broker(tmp_path):
    one = EmbeddedBroker("127.0.0.1:0", tmp_path)
    one.start()
    yield one
    one.stop()


@pytest.mark.mosquitto  # for mosquitto_pub
def test_what_mosquitto_pub_sends_reaches_the_intake(broker):
    """The plain line of the README, and MQTT 5 on the other port."""
    with running(broker.client_port) as one:
        plain = publish(broker.port, AIR, "21.5")
        five = publish(broker.client_port, AIR, "22.5", more=("-V", "mqttv5"))
        got = one.take(2)

    assert (plain.returncode, five.returncode) == (0, 0)
    assert [arrival.payload for arrival in got] == [b"21.5", b"22.5"]


@pytest.mark.mosquitto
def test_m4_what_came_while_we_were_away_is_kept(broker):
    """M4, with this broker too, and the drain ends by its mark."""
    with running(broker.client_port):
        pass
    publish(broker.port, AIR, "21.5")
    with running(broker.client_port) as one:
        (got,) = one.take(1)

        def drained() -> bool:
            one.intake.note_empty(one.clock.now())
            return not one.intake.draining

        wait_for(drained, 10)

    assert got.payload == b"21.5"


@pytest.mark.mosquitto
def test_a_killed_broker_is_started_again_and_readings_resume(broker):
    """The watch is ours: nobody else restarts it."""
    with running(broker.client_port) as one:
        os.kill(_child(broker), signal.SIGKILL)
        wait_for(lambda: not broker.running)
        restarted = [broker.watch(), broker.watch()]
        wait_for(lambda: one.intake.health().connects == 2 and one.up, 15)
        publish(broker.port, AIR, "21.5")
        (got,) = one.take(1)

    assert restarted == [True, False]
    assert got.payload == b"21.5"
    assert [up for up, _ in one.changes] == [True, False, True]


def _child(broker: EmbeddedBroker) -> int:
    return broker._broker._process.pid


def test_it_listens_on_loopback_alone(broker):
    """It has no password and no access list."""
    table = subprocess.run(
        ["cat", f"/proc/{_child(broker)}/net/tcp"],
        capture_output=True,
        check=True,
        text=True,
    ).stdout
    ports = {f"{port:04X}" for port in (broker.port, broker.client_port)}
    rows = [line.split() for line in table.splitlines()[1:]]
    listening = [row[1] for row in rows if row[3] == "0A"]

    ours = [address for address in listening if address.split(":")[1] in ports]
    assert sorted(ours) == sorted(f"0100007F:{port}" for port in ports)


def test_ctrl_c_of_the_terminal_is_left_to_us(broker):
    """The whole group gets it; the broker must outlive our own goodbye."""
    with open(f"/proc/{_child(broker)}/status", encoding="ascii") as status:  # noqa: PTH123
        blocked = next(line for line in status if line.startswith("SigBlk"))

    assert int(blocked.split()[1], 16) & 1 << (signal.SIGINT - 1)
    assert signal.SIGINT not in signal.pthread_sigmask(signal.SIG_BLOCK, ())


def test_a_port_in_use_is_told_with_a_mend(tmp_path):
    """At start, not by a silent second listener."""
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        broker = EmbeddedBroker(f"127.0.0.1:{port}", tmp_path)

        with pytest.raises(ConfigError, match=f"127.0.0.1:{port} is in use"):
            broker.start()

    assert not broker.running


@pytest.mark.parametrize(
    "listen", ["0.0.0.0:1883", "192.0.2.1:1883", "127.0.0.1", "127.0.0.1:x", ":1"]
)
def test_other_addresses_are_refused(listen, tmp_path):
    """Never open to a network by a slip of the pen."""
    with pytest.raises(ConfigError, match="no loopback address"):
        EmbeddedBroker(listen, tmp_path)


def test_stop_is_quick_frees_the_port_and_may_be_repeated(tmp_path):
    """Ctrl-C of the demo ends everything within seconds."""
    broker = EmbeddedBroker(f"127.0.0.1:{free_port()}", tmp_path)
    broker.start()

    began = time.monotonic()
    broker.stop()
    broker.stop()

    assert time.monotonic() - began < 3
    assert not accepts(broker.port)
    assert not broker.watch()


def test_no_broker_is_left_when_we_are_killed(tmp_path):
    """Kill -9 of the parent takes the child along within seconds."""
    program = (
        "import sys, time; from pathlib import Path; "
        "from monitor.intake.broker import EmbeddedBroker; "
        "broker = EmbeddedBroker('127.0.0.1:0', Path(sys.argv[1])); broker.start(); "
        "print(broker.port, flush=True); time.sleep(60)"
    )
    with subprocess.Popen(
        [sys.executable, "-c", program, str(tmp_path)], stdout=subprocess.PIPE
    ) as parent:
        port = int(parent.stdout.readline())
        there = accepts(port)
        parent.send_signal(signal.SIGKILL)
        parent.wait(5)

        wait_for(lambda: not accepts(port), 5)

    assert there
