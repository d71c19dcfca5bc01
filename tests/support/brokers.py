"""Real brokers on free loopback ports."""

import contextlib
import os
import signal
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest


def free_port() -> int:
    """Find a TCP port on 127.0.0.1 that nobody uses at the moment."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def wait_for(condition: Callable[[], object], within: float = 10.0) -> None:
    """Wait until a condition holds; fail when it does not in time."""
    deadline = time.monotonic() + within
    while not condition():
        if time.monotonic() > deadline:
            pytest.fail(f"not within {within} s")
        time.sleep(0.01)


def accepts(port: int) -> bool:
    """Whether something takes TCP connections there."""
    with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
        return True
    return False


class Mosquitto:
    """A mosquitto process with a configuration file of its own."""

    def __init__(self, config: Path, port: int) -> None:
        self.config, self.port = config, port
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it and wait for its port."""
        with self.config.with_suffix(".log").open("ab") as out:
            self.process = subprocess.Popen(
                ["mosquitto", "-c", str(self.config)], stdout=out, stderr=out
            )
        wait_for(lambda: accepts(self.port) or self.process.poll() is not None)
        assert self.process.poll() is None, self.log()

    def freeze(self) -> None:
        """Let it answer nothing more, with every connection open."""
        self.process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        """Let it go on."""
        self.process.send_signal(signal.SIGCONT)

    def stop(self, number: int = signal.SIGTERM) -> None:
        """End it, with SIGKILL at once and without saving."""
        if self.process is not None:
            self.process.send_signal(signal.SIGCONT)
            self.process.send_signal(number)
            self.process.wait(10)
            self.process = None

    def restart(self, number: int = signal.SIGTERM) -> None:
        """Stop and start on the same port."""
        self.stop(number)
        self.start()

    def log(self) -> str:
        """Everything that it said."""
        return self.config.with_suffix(".log").read_text()

    def publish(
        self,
        topic: str,
        payload: str | bytes,
        *,
        qos: int = 1,
        retain: bool = False,
        login: tuple[str, str] | None = None,
        more: tuple[str, ...] = (),
    ) -> subprocess.CompletedProcess[str]:
        """Publish one message with mosquitto_pub."""
        return publish(
            self.port,
            topic,
            payload,
            qos=qos,
            retain=retain,
            login=login,
            more=more,
        )


def publish(
    port: int,
    topic: str,
    payload: str | bytes,
    *,
    qos: int = 1,
    retain: bool = False,
    login: tuple[str, str] | None = None,
    more: tuple[str, ...] = (),
) -> subprocess.CompletedProcess[str]:
    """Publish one message with mosquitto_pub to any broker on 127.0.0.1."""
    command = ["mosquitto_pub", "-h", "127.0.0.1", "-p", str(port), "-t", topic]
    command += ["-q", str(qos), *more]
    command += ["-s"] if payload else ["-n"]
    command += ["-r"] if retain else []
    command += ["-u", login[0], "-P", login[1]] if login else []
    data = payload.encode() if isinstance(payload, str) else payload
    ran = subprocess.run(
        command, input=data, capture_output=True, timeout=20, check=False
    )
    return subprocess.CompletedProcess(
        command, ran.returncode, ran.stdout.decode(), ran.stderr.decode()
    )


def publish_lines(port: int, topic: str, lines: list[str]) -> None:
    """Publish many messages on one connection, QoS 1, each acknowledged."""
    command = ["mosquitto_pub", "-h", "127.0.0.1", "-p", str(port), "-t", topic]
    text = "".join(f"{line}\n" for line in lines)
    subprocess.run(
        [*command, "-q", "1", "-l"], input=text.encode(), check=True, timeout=60
    )


@contextlib.contextmanager
def mosquitto(
    tmp_path: Path,
    *,
    port: int | None = None,
    config: str | None = None,
    **options: str,
) -> Iterator[Mosquitto]:
    """
    Run mosquitto on a free port of 127.0.0.1, anonymous unless told otherwise.

    Args:
        tmp_path: Where its configuration, log and persistence go.
        port: Instead of a free one.
        config: The whole configuration; it must listen on *port*.
        options: Further settings, as ``persistence="true"``.
    """
    port = port or free_port()
    if config is None:
        lines = [f"listener {port} 127.0.0.1", f"persistence_location {tmp_path}/"]
        options.setdefault("allow_anonymous", "true")
        options.setdefault("max_queued_messages", "100000")
        config = "\n".join([*lines, *(f"{k} {v}" for k, v in options.items())]) + "\n"
    # Started by root it would become the user mosquitto, who cannot read tmp_path.
    owner = "user root\n" if os.geteuid() == 0 else ""
    path = tmp_path / f"mosquitto-{port}.conf"
    path.write_text(owner + config)
    broker = Mosquitto(path, port)
    broker.start()
    try:
        yield broker
    finally:
        broker.stop()
