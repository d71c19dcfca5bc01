"""
The connection to the broker: bytes in, acknowledgements out.

paho's network loop runs here in its documented form for a loop of one's own
(`loop_read`, `loop_write`, `loop_misc`), in the thread that calls `run`. So every
packet is written by one thread: the recorder's acknowledgements are sent here,
where they cannot meet a reconnect halfway or cut a packet in two. An end of the
loop is an end of `run`, which the supervisor sees (M1).
"""

import logging
import select
import socket
import ssl
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from datetime import datetime

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
from paho.mqtt.enums import MQTTErrorCode
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from monitor.clock import Clock
from monitor.intake.address import (
    BrokerAddress,
    new_client,
    say_goodbye,
    status_payload,
)
from monitor.intake.arrival import Arrival, Inbox, Stamp
from monitor.intake.draining import Drain
from monitor.intake.filters import covers, filters_for
from monitor.intake.health import IntakeHealth
from monitor.logs import Counted

__all__ = ["BrokerAddress", "IntakeHealth", "MqttIntake", "filters_for"]

log = logging.getLogger(__name__)

SHORTEST_DELAY_S, LONGEST_DELAY_S = 1.0, 30.0
"""Between two attempts to connect, doubling. [s]"""
BETWEEN_CUTS_S = 5.0
"""Least time between two disconnects of our own. [s]"""
SHORT_LIVED_S = 10.0
"""Connections that end sooner, one after the other, are a fight for our id (M14)."""
STOP_WITHIN_S = 2.5
_LOOP_MS = 500
_WARN_EVERY_S = 60.0
_FIRST_BYTES = 40
_OFTEN = 2


class MqttIntake:
    """
    Subscribes, enqueues what comes, and acknowledges what was committed.

    Args:
        address: The broker and who we are there.
        filters: What to subscribe to, from `filters_for`.
        inbox: Takes the messages.
        clock: Tells when they came.
        status_topic: Where "online" and "offline" are published, retained.
        on_change: Told at each change of "we hear everything" or of its reason;
            called in the thread of `run`, so it must only enqueue.
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
        self._address = address
        self._filters = self._wanted = tuple(filters)
        self._inbox, self._clock = inbox, clock
        self._status_topic, self._on_change = status_topic, on_change
        self._drain = Drain(clock)
        self._stopping, self._ended = threading.Event(), threading.Event()
        self._ended.set()
        self._wake: socket.socket | None = None
        self._to_acknowledge: deque[tuple[int, list[int]]] = deque()
        self._generation = self._short_lived = 0
        self._answered = self._explained = False
        self._stamp = Stamp(clock)
        self._mark = b""
        self._told: tuple[bool | None, str] = (None, "not connected yet")
        self._owed = self._cutting = False
        self._cut_at = self._warned_at = float("-inf")
        self._failed_connects = self._failed_messages = 0
        self._refused_filters: tuple[str, ...] = ()
        self._repeats = Counted(log)  # S11: a broker that is down for hours
        self._client = client = new_client(
            address,
            status_topic=status_topic,
            keepalive=keepalive,
            receive_maximum=receive_maximum,
        )
        client.on_connect = self._connected
        client.on_subscribe = self._subscribed
        client.on_message = self._arrived
        client.on_disconnect = self._disconnected

    # What others call.

    @property
    def draining(self) -> bool:
        """Messages that waited for us may still come: untimed ones are not "now"."""
        return self._drain.active

    def note_empty(self, now: datetime) -> None:
        """The recorder took and sorted all there was; *now* is its clock's time."""
        self._drain.empty(now, waiting=len(self._inbox))

    def health(self) -> IntakeHealth:
        """Counts and words for the desk."""
        return IntakeHealth(
            connected=self._told[0] is True,
            draining=self.draining,
            connects=self._generation,
            failed_connects=self._failed_connects,
            refused_filters=self._refused_filters,
            failed_messages=self._failed_messages,
            refused_messages=self._inbox.refused,
            words=self._told[1],
        )

    def acknowledge(self, arrivals: Iterable[Arrival]) -> None:
        """
        Let the broker forget messages that are committed or in quarantine.

        Those of an older connection are passed over: the broker sends them again.
        May be called from any thread; never blocks.
        """
        now = self._generation
        mids = [one.mid for one in arrivals if one.qos and one.generation == now]
        if mids:
            self._to_acknowledge.append((now, mids))
            self._wake_up()

    def subscribe(self, filters: Sequence[str]) -> None:
        """Listen to these topics from now on, and to no others. From any thread."""
        self._wanted = tuple(filters)
        self._wake_up()

    def stop(self) -> bool:
        """Say goodbye and let `run` return; False if it does not within 2.5 s."""
        self._stopping.set()
        self._wake_up()
        return self._ended.wait(STOP_WITHIN_S)

    def run(self) -> None:
        """
        Stay connected until `stop`.

        Raises:
            MemoryError, SystemExit: What a callback raises beyond `Exception`; the
                caller must end the process.
        """
        self._ended.clear()
        wake_read, self._wake = socket.socketpair()
        try:
            with wake_read, self._wake:
                wake_read.settimeout(0)
                self._wake.settimeout(0)
                self._stay_connected(wake_read)
        finally:
            self._wake = None
            left = self._client.socket()
            if left is not None:
                left.close()
            self._ended.set()

    # The loop, all in the thread of `run`.

    def _stay_connected(self, wake_read: socket.socket) -> None:
        delay = SHORTEST_DELAY_S
        while not self._stopping.is_set():
            before, began = self._generation, time.monotonic()
            self._answered = self._explained = False
            try:
                self._client.reconnect()
                self._pump(wake_read)
            except MemoryError:
                raise
            except Exception as exc:  # noqa: BLE001 - M1: whatever paho meets, go on
                self._explained = True
                self._client.disconnect()
                self._failed(exc)
            if self._cutting:
                self._cutting = False
                continue
            if time.monotonic() - began > SHORT_LIVED_S:
                delay, self._short_lived = SHORTEST_DELAY_S, 0
            elif self._generation > before:
                self._short_lived += 1
            if self._stopping.wait(delay):
                break
            delay = min(2 * delay, LONGEST_DELAY_S)

    def _pump(self, wake_read: socket.socket) -> None:
        """Carry packets until the connection is gone or we are to stop."""
        client, sock = self._client, self._client.socket()
        if sock is None:
            return
        fd, wake_fd = sock.fileno(), wake_read.fileno()
        poll = select.poll()  # select() knows no descriptor above 1023
        poll.register(wake_fd, select.POLLIN)
        while client.socket() is sock:
            if self._stopping.is_set():
                self._send_acknowledgements()
                say_goodbye(client, self._status_topic)
                return
            writing = select.POLLOUT if client.want_write() else 0
            poll.register(fd, select.POLLIN | writing)
            unread = isinstance(sock, ssl.SSLSocket) and sock.pending() > 0
            ready = dict(poll.poll(0 if unread else _LOOP_MS))
            if wake_fd in ready:
                wake_read.recv(4096)
            self._send_acknowledgements()
            if (unread or ready.get(fd, 0) & ~select.POLLOUT) and client.loop_read():
                return
            if client.want_write() and client.loop_write():
                return
            client.loop_misc()
            if self._wanted is not self._filters and client.is_connected():
                self._ask(client)
            if self._owed:
                self._cut()

    def _send_acknowledgements(self) -> None:
        asked = self._to_acknowledge
        while asked:
            generation, mids = asked.popleft()
            if generation == self._generation and self._client.is_connected():
                for mid in mids:
                    self._client.ack(mid, 1)

    def _cut(self) -> None:
        """Connect anew once there is room: only that brings refused ones again."""
        now = time.monotonic()
        room = 2 * len(self._inbox) < self._inbox.limit
        if room and now - self._cut_at >= BETWEEN_CUTS_S:
            self._owed, self._cutting, self._cut_at = False, True, now
            log.info("connecting anew for messages that found the inbox full")
            self._client.disconnect()

    def _wake_up(self) -> None:
        wake = self._wake
        if wake is not None:
            try:
                wake.send(b"\0")
            except OSError:
                return  # full: it wakes anyway; closed: it has ended

    # paho's callbacks; they only enqueue (M8).

    def _connected(
        self,
        client: Client,
        _userdata: object,
        _flags: ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        self._answered = True
        if reason.is_failure:
            self._explained = True
            self._failed_connects += 1
            self._tell(up=False, words=self._address.refuses(str(reason)))
            return
        self._generation += 1
        self._owed, self._repeats = False, Counted(log)
        self._drain.begin()
        self._ask(client)

    def _ask(self, client: Client) -> None:
        """Subscribe to all that is wanted, and leave what is not wanted any more."""
        wanted = self._wanted
        dropped = [one for one in self._filters if one not in wanted]
        if dropped:
            client.unsubscribe(dropped)
        self._filters, filters = wanted, list(wanted)
        if not any(covers(have, self._status_topic) for have in filters):
            filters.append(self._status_topic)  # for the mark of the drain
        client.subscribe([(one, SubscribeOptions(qos=1)) for one in filters])  # M5

    def _subscribed(
        self,
        client: Client,
        _userdata: object,
        _mid: int,
        reasons: list[ReasonCode],
        _properties: Properties | None,
    ) -> None:
        pairs = list(zip(self._filters, reasons, strict=False))
        self._refused_filters = tuple(one for one, why in pairs if why.is_failure)
        now = self._clock.now()
        self._drain.subscribed(now)
        self._mark = status_payload("online", since=now.isoformat())
        sent = client.publish(self._status_topic, self._mark, qos=1, retain=True)
        if sent.rc is not MQTTErrorCode.MQTT_ERR_SUCCESS:
            log.warning("status not published: %s", sent.rc.name)
        if self._refused_filters:
            self._tell(
                up=False,
                words=self._address.withholds(self._refused_filters),
            )
        else:
            self._tell(up=True, words=f"connected to {self._address.place}")

    def _arrived(
        self, _client: Client, _userdata: object, message: MQTTMessage
    ) -> None:
        try:
            self._enqueue(message)
        except MemoryError:
            raise
        except Exception as exc:  # noqa: BLE001 - M1: it would end the network loop
            self._failed_messages += 1
            # A message that can never be handled must not fill the window (M10).
            self._to_acknowledge.append((self._generation, [message.mid]))
            first = message.payload[:_FIRST_BYTES]
            self._warn("message not handled: %r, payload %r", exc, first)

    def _enqueue(self, message: MQTTMessage) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError as exc:
            topic = exc.object.decode("utf-8", "backslashreplace")
        if topic == self._status_topic:
            if message.payload == self._mark:
                self._drain.marked()
            if message.qos:
                self._to_acknowledge.append((self._generation, [message.mid]))
            return
        at, m, now = self._stamp.next(), message, self._generation
        arrival = Arrival(
            topic, bytes(m.payload), m.retain, m.dup, m.qos, m.mid, now, at
        )
        if not self._inbox.put(arrival) and message.qos:
            self._owed = True

    def _disconnected(
        self,
        _client: Client,
        _userdata: object,
        _flags: DisconnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if self._explained or self._stopping.is_set() or self._cutting:
            return
        self._explained = True
        if self._answered:
            often = self._short_lived >= _OFTEN
            words = self._address.lost(str(reason), often=often)
            self._tell(up=False, words=words)
        else:
            self._failed_connects += 1
            self._tell(up=False, words=self._address.hangs_up())

    # Words.

    def _failed(self, exc: Exception) -> None:
        self._failed_connects += 1
        self._tell(up=False, words=self._address.unreachable(exc))
        self._repeats.again(f"connect failed: {type(exc).__name__}")

    def _tell(self, *, up: bool, words: str) -> None:
        if self._told == (up, words):
            return
        self._told = (up, words)
        log.log(logging.INFO if up else logging.WARNING, "broker: %s", words)
        try:
            self._on_change(up, words)
        except Exception as exc:  # noqa: BLE001 - M1
            self._warn("change of the connection not taken: %r", exc)

    def _warn(self, words: str, *values: object) -> None:
        """Log at most once a minute; `health` has the counts."""
        now = time.monotonic()
        if now - self._warned_at >= _WARN_EVERY_S:
            self._warned_at = now
            log.warning(words, *values)
