"""Where the broker is, who we are there, and a paho client made for that."""

import json
import logging
import select
import ssl
import time
from importlib.metadata import version

import msgspec
from paho.mqtt.client import Client, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from monitor.errors import ConfigError

SESSION_EXPIRY_S = 7 * 86_400
"""The broker keeps our queue this long while we are away. [s]"""
CONNECT_TIMEOUT_S = 5.0
_STATUS_QUEUE = 100
_GOODBYE_WITHIN_S = 1.0


class BrokerAddress(msgspec.Struct, frozen=True):
    """
    Where the broker is and who we are there.

    Attributes:
        tls: True for the authorities of the system, or the path of a CA file.
        client_id: The broker keeps our queue under this name.
    """

    host: str
    port: int = 1883
    username: str | None = None
    password: str | None = None
    tls: bool | str = False
    client_id: str = "rearing-monitor"

    def __repr__(self) -> str:
        """Without the password."""
        return f"BrokerAddress({self.place}, client_id={self.client_id!r})"

    @property
    def place(self) -> str:
        """Host and port."""
        return f"{self.host}:{self.port}"

    def refuses(self, reason: str) -> str:
        """Say that the login failed."""
        who = f'"{self.username}"' if self.username else "without a user name"
        return (
            f"the broker at {self.place} refuses us as {who} ({reason}): "
            "check broker.username and the secret broker_password"
        )

    def hangs_up(self) -> str:
        """Say that the connection ended before the broker answered."""
        return (
            f"the broker at {self.place} hangs up before it answers: check user name "
            "and password, and that it speaks MQTT 5 there"
        )

    def lost(self, reason: str, *, often: bool = False) -> str:
        """Say that a connection ended, or that each ends soon."""
        if often or "taken over" in reason.lower():
            return (
                f"the broker at {self.place} throws us out again and again ({reason}): "
                f'stop the other program with the client id "{self.client_id}", '
                "or look at the broker's log"
            )
        return f"lost the broker at {self.place} ({reason}): trying again"

    def unreachable(self, exc: Exception) -> str:
        """Say that there was no connection."""
        mend = "is it running, and are host and port right?"
        if isinstance(exc, ssl.SSLError):
            mend = "check its certificate and broker.tls"
        kind = type(exc).__name__
        return f"cannot reach the broker at {self.place} ({kind}: {exc}): {mend}"

    def withholds(self, filters: tuple[str, ...]) -> str:
        """Say that a subscription was not granted."""
        return (
            f"the broker at {self.place} refuses to hand out {', '.join(filters)}: "
            "correct its access list"
        )


def status_payload(state: str, *, since: str = "") -> bytes:
    """Tell others how the monitor is: "online" or "offline", with its version."""
    words = {"state": state, "version": version("rearing-monitor")}
    if since:
        words["since"] = since
    return json.dumps(words).encode()


def new_client(
    address: BrokerAddress,
    *,
    status_topic: str,
    keepalive: int,
    receive_maximum: int,
) -> Client:
    """
    Build a client with a lasting session, manual acknowledgement and a last will.

    Args:
        address: The broker and who we are there.
        status_topic: Where the last will says "offline".
        keepalive: Longest silence of ours. [s]
        receive_maximum: Unacknowledged messages that the broker may have open.

    Raises:
        ConfigError: If the CA file cannot be read.
    """
    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id=address.client_id,
        protocol=MQTTv5,
        manual_ack=True,
    )
    client.connect_timeout = CONNECT_TIMEOUT_S
    client.max_queued_messages_set(_STATUS_QUEUE)  # M15
    logger = logging.getLogger("monitor.intake.paho")
    logger.setLevel(max(logging.INFO, logging.getLogger("monitor").level))
    client.enable_logger(logger)  # M2
    if address.username is not None:
        client.username_pw_set(address.username, address.password)
    if address.tls:
        client.tls_set_context(_tls(address))
    client.will_set(status_topic, status_payload("offline"), qos=1, retain=True)
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.SessionExpiryInterval = SESSION_EXPIRY_S
    properties.ReceiveMaximum = receive_maximum
    client.connect_async(
        address.host,
        address.port,
        keepalive,
        clean_start=False,  # M4
        properties=properties,
    )
    return client


def say_goodbye(client: Client, status_topic: str) -> None:
    """
    Publish "offline" and wait shortly for its receipt before hanging up.

    A broker that answers it has taken our acknowledgements before; a socket
    closed with unread bytes in it could take them back.
    """
    sent = client.publish(status_topic, status_payload("offline"), qos=1, retain=True)
    deadline = time.monotonic() + _GOODBYE_WITHIN_S
    while (
        (sock := client.socket()) is not None
        and sent.rc is MQTTErrorCode.MQTT_ERR_SUCCESS
        and not sent.is_published()
        and time.monotonic() < deadline
    ):
        poll = select.poll()
        poll.register(sock, select.POLLIN)
        if poll.poll(100):
            client.loop_read()
        client.loop_write()
    client.disconnect()


def _tls(address: BrokerAddress) -> ssl.SSLContext:
    """Certificates and host names are verified, always."""
    if address.tls is True:
        return ssl.create_default_context()
    try:
        return ssl.create_default_context(cafile=str(address.tls))
    except (OSError, ssl.SSLError) as exc:
        raise ConfigError(
            f'site.toml: broker: tls: the CA file "{address.tls}" cannot be read '
            f"({exc}): give the path of a PEM file, or true for the system's own"
        ) from exc
