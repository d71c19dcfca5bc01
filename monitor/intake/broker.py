"""
A broker of our own for trials and tests: iotcore, as a child process.

Nothing in it survives its restart and it has no access list, so it listens on the
loopback address alone and is not for animals. The listener that sensors use speaks
MQTT 3.1.1 (what mosquitto_pub speaks unless told otherwise) and no other version;
our own connection needs MQTT 5 and has a port of its own.
"""

import ipaddress
import logging
import signal
import socket
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.errors import ConfigError, UnreachableError

if TYPE_CHECKING:
    from iotcore.broker import Broker

log = logging.getLogger(__name__)

_STOP_WITHIN_S = 3.0

# Segments of 1 MiB x 4 per filter: the defaults keep up to 1 GiB of messages.
# Payloads above our own bound still arrive, to be refused in words.
_CONFIG = """\
id = 0

[router]
id = 0
max_connections = 1000
max_outgoing_packet_count = 200
max_segment_size = 1048576
max_segment_count = 4

[v4.sensors]
name = "sensors"
listen = "{host}:{port}"
next_connection_delay_ms = 1

[v4.sensors.connections]
connection_timeout_ms = 60000
max_payload_size = 262144
max_inflight_count = 100
dynamic_filters = true

[v5.monitor]
name = "monitor"
listen = "{host}:{client_port}"
next_connection_delay_ms = 1

[v5.monitor.connections]
connection_timeout_ms = 60000
max_payload_size = 262144
max_inflight_count = 100
dynamic_filters = true
"""


class EmbeddedBroker:
    """
    Runs the broker, restarts it when it died, and takes it along at the end.

    The child ends by itself within seconds when this process is killed.

    Args:
        listen: "127.0.0.1:1883"; port 0 takes a free one.
        directory: Where its configuration is written.

    Attributes:
        host: The loopback address.
        port: For sensors: MQTT 3.1.1.
        client_port: For `MqttIntake`: MQTT 5.

    Raises:
        ConfigError: If *listen* is no loopback address with a port.
    """

    def __init__(self, listen: str, directory: Path) -> None:
        self.host, self.port = _loopback(listen)
        self.client_port = 0
        self._directory = directory
        self._broker: Broker | None = None

    def start(self, timeout: float = 10.0) -> None:
        """
        Start it and wait until it takes connections.

        Args:
            timeout: Longest wait. [s]

        Raises:
            ConfigError: If the port is in use.
            UnreachableError: If it does not come up.
        """
        from iotcore.broker import Broker  # noqa: PLC0415 - loaded only when used

        self.port = self.port or _free_port(self.host)
        self.client_port = self.client_port or _free_port(self.host)
        self._directory.mkdir(parents=True, exist_ok=True)
        config = self._directory / "broker.toml"
        config.write_text(
            _CONFIG.format(host=self.host, port=self.port, client_port=self.client_port)
        )
        broker = Broker(config_path=str(config))
        # Ctrl-C goes to us; the child inherits the mask and ends when we say so.
        before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        try:
            broker.start(timeout)
        except OSError as exc:
            raise ConfigError(
                f"site.toml: broker: listen: {self.host}:{self.port} is in use by "
                f"another program ({exc}): stop that one, or give another port"
            ) from exc
        except RuntimeError as exc:
            raise UnreachableError(
                f"the embedded broker does not start on {self.host}:{self.port} "
                f"({exc}): see its lines above, or use a broker of your own"
            ) from exc
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)
        self._broker = broker

    @property
    def running(self) -> bool:
        """The child lives."""
        return self._broker is not None and self._broker.is_running

    def watch(self) -> bool:
        """
        Start it again if it died.

        Returns:
            Whether it had died; if the new one does not come up, the next call
            tries again.
        """
        if self._broker is None or self._broker.is_running:
            return False
        log.warning("embedded broker died; starting it again: what it kept is lost")
        self._broker.stop(_STOP_WITHIN_S)
        died = self._broker
        try:
            self.start()
        except (ConfigError, UnreachableError) as exc:
            self._broker = died
            log.warning("embedded broker not started: %s", exc)
        return True

    def stop(self) -> None:
        """End the child within a few seconds. Safe to call twice."""
        if self._broker is not None:
            self._broker.stop(_STOP_WITHIN_S)
            self._broker = None


def _loopback(listen: str) -> tuple[str, int]:
    host, _, port = listen.rpartition(":")
    host = "127.0.0.1" if host == "localhost" else host
    try:
        local = ipaddress.IPv4Address(host).is_loopback
        number = int(port)
    except ValueError:
        local, number = False, 0
    if not local or not 0 <= number <= 65535:  # noqa: PLR2004 - a TCP port
        raise ConfigError(
            f'site.toml: broker: listen: "{listen}" is no loopback address with a '
            "port; the embedded broker has no access list: write "
            '"127.0.0.1:1883", or use a broker of your own for other machines'
        )
    return host, number


def _free_port(host: str) -> int:
    with socket.socket() as probe:
        probe.bind((host, 0))
        port: int = probe.getsockname()[1]
        return port
