"""
The connection to the broker: bytes in, acknowledgements out.

paho's network loop runs here in its documented form for a loop of one's own
(`loop_read`, `loop_write`, `loop_misc`), in the thread that calls `run`. So every
packet is written by one thread: an acknowledgement asked for by the recorder is
handed over and sent here, where it cannot meet a reconnect halfway. An end of the
loop is an end of `run`, which the supervisor sees (M1).
"""

import logging
import select
import socket
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from datetime import datetime, timedelta
from importlib.metadata import version

import msgspec
from paho.mqtt.client import (
    Client,
    ConnectFlags,
    DisconnectFlags,
    MQTTMessage,
    MQTTv5,
)
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from monitor.clock import MICROSECOND, Clock
from monitor.errors import ConfigError
from monitor.intake.arrival import Arrival, Inbox
from monitor.intake.filters import filters_for

__all__ = ["BrokerAddress", "IntakeHealth", "MqttIntake", "filters_for"]

log = logging.getLogger(__name__)

SESSION_EXPIRY_S = 7 * 86_400
"""The broker keeps our queue this long. [s]"""
CONNECT_TIMEOUT_S = 5.0
SHORTEST_DELAY_S, LONGEST_DELAY_S = 1.0, 30.0
"""Between two attempts to connect, doubling. [s]"""
SHORTEST_DRAIN = timedelta(seconds=1)
LONGEST_WAIT_FOR_MARK = timedelta(seconds=30)
SHORTEST_BETWEEN_CUTS_S = 5.0
STOP_WITHIN_S = 2.5
_LOOP_S = 1.0
_WARN_EVERY_S = 60.0
_STATUS_QUEUE = 100


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


class IntakeHealth(msgspec.Struct, frozen=True):
    """
    What can be said of the connection; "connected" is no proof of life (M7).

    Attributes:
        connected: Subscribed to everything, as far as is known.
        draining: The broker's queue has not been through since the connect.
        connects: Connections so far.
        failed_connects: Attempts that did not become one.
        refused_filters: Filters that the broker would not grant.
        failed_messages: Messages that our own callback could not handle.
        refused_messages: Messages that found the inbox full.
        words: The state in words.
    """

    connected: bool
    draining: bool
    connects: int
    failed_connects: int
    refused_filters: tuple[str, ...]
    failed_messages: int
    refused_messages: int
    words: str


class MqttIntake:
    """
    Subscribes, enqueues what comes, and acknowledges what was committed.

    Args:
        address: The broker and who we are there.
        filters: What to subscribe to, from `filters_for`.
        inbox: Takes the messages.
        clock: Tells when they came.
        status_topic: Where "online" and "offline" are published, retained.
        on_change: Told at each change of "we hear everything", with words; called
            in the thread of `run`, so it must only enqueue.
        keepalive: A silent broker is noticed after up to twice this. [s]
        receive_maximum: Unacknowledged messages that we allow.

    Raises:
        ConfigError: If the CA file cannot be read.
    """

    def __init__(
        self,
        address: BrokerAddress,
        filters: Sequence[str],
        inbox: Inbox,
        clock: Clock,
        *,
        status_topic: str,
        on_change: Callable[[bool, str], None],
        keepalive: int = 20,
        receive_maximum: int = 1000,
    ) -> None:
        self._address, self._filters = address, tuple(filters)
        self._inbox, self._clock = inbox, clock
        self._status_topic, self._on_change = status_topic, on_change
        self._keepalive, self._receive_maximum = keepalive, receive_maximum
        self._stopping = threading.Event()
        self._ended = threading.Event()
        self._ended.set()
        self._to_acknowledge: deque[tuple[int, list[int]]] = deque()
        self._wake_read, self._wake_write = socket.socketpair()
        self._wake_read.setblocking(False)
        self._wake_write.setblocking(False)
        self._generation = 0
        self._last_at = clock.now()
        self._told: bool | None = None
        self._words = "not connected yet"
        self._up_at: datetime | None = None
        self._marked = False
        self._draining = True
        self._owed = False
        self._cut_at = 0.0
        self._failed_connects = 0
        self._failed_messages = 0
        self._refused_filters: tuple[str, ...] = ()
        self._warned_at: float | None = None
        self._client = self._built()
