"""
The daemon: build, start, wait, stop. The only place that starts threads.

The main thread waits, feeds the watchdog while every thread beats, and restarts the
embedded broker. Whatever dies ends the process; the service manager starts it anew.
"""

import logging
import signal
import threading
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import CancelledError, Future
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from types import FrameType

from monitor.accounts.worker import AccountResults, AccountsWorker
from monitor.channels import Named, channels_of
from monitor.chores import ChildSummary, Chores
from monitor.clock import ScaledClock, SteadyClock, clock_from_environment
from monitor.control.server import ControlServer
from monitor.desk.view import Reply, Request
from monitor.errors import ConfigError, MonitorError
from monitor.foresight import Foresight
from monitor.health import (
    Heartbeats,
    Supervised,
    Watch,
    bound_shutdown,
    exit_code,
    watch_other_threads,
)
from monitor.intake.address import BrokerAddress
from monitor.intake.arrival import Inbox
from monitor.intake.broker import EmbeddedBroker
from monitor.intake.filters import filters_for
from monitor.intake.mqtt import MqttIntake
from monitor.notices.sender import Sender
from monitor.recorder.recorder import Recorder
from monitor.recorder.starting import OpenStore, open_store
from monitor.scheduling import scheduled
from monitor.site.load import load, require_broker
from monitor.site.secrets import BROKER_PASSWORD, Secrets
from monitor.site.site_file import Broker
from monitor.store.figures import kept
from monitor.store.reader import Reader
from monitor.store.rows import NoticeRow
from monitor.systemd import Notifier

log = logging.getLogger(__name__)

STOP_WITHIN = timedelta(seconds=8)
"""From SIGTERM to exit; the unit's TimeoutStopSec is longer."""

LOOK_S = 0.5
"""How often the main thread looks at the others. [s]"""

HUNG = {
    "recorder": timedelta(seconds=60),
    "control": timedelta(seconds=60),
    # longer than one try of a notice, or one batch of accounts, may take
    "sender": timedelta(seconds=180),
    "accounts": timedelta(seconds=180),
    # a summary's child has 240 s, a backup of a large store may take as long
    "chores": timedelta(seconds=900),
}
"""A thread that does not beat for so long hangs. [real s]"""

CHORES_EVERY_S = 20.0
"""How often the schedule is asked. [real s]"""

JOIN_S = 3.0
"""How long the end of one thread is waited for. [s]"""

ACCOUNTS_EVERY_S = 20.0
"""Rest of the accounts worker between two rounds. [real s]"""


@dataclass(frozen=True, slots=True)
class Paths:
    """
    Where the daemon finds and keeps things.

    Attributes:
        config: Directory of site.toml.
        state: Directory of the store.
        socket: Where keepers' commands come in; None for none.
    """

    config: Path
    state: Path
    socket: Path | None


class Service:
    """
    The daemon in one process.

    Args:
        paths: Where things are.
        environment: Secrets, clock and the service manager's socket.

    Raises:
        MonitorError: If configuration, store or socket do not allow a start.
    """

    def __init__(self, paths: Paths, environment: Mapping[str, str]) -> None:
        self._paths, self._environment = paths, environment
        self._stop, self._fatal = threading.Event(), threading.Event()
        self._reload_asked = threading.Event()
        self._wake_sender = threading.Event()
        self._hearts = Heartbeats()
        self._notifier = Notifier.from_environment(environment)
        self._clock: SteadyClock | ScaledClock = clock_from_environment()
        self._secrets = Secrets.from_environment(environment)
        self._listen_to_signals()
        self._configuration = load(paths.config)
        self._broker_table = require_broker(self._configuration)
        self._opened: Future[OpenStore] = Future()
        self._handed: Future[Recorder] = Future()
        self._writing = Supervised(
            "recorder", self._record, stop=self._stop, fatal=self._fatal
        )
        self._writing.start()
        # raises here what kept the store from being opened
        self._store = self._opened.result()
        self._broker: EmbeddedBroker | None = None
        try:
            self._build()
        except BaseException:
            self._stop.set()
            self._handed.cancel()
            self._writing.join(timeout=JOIN_S)
            if self._broker is not None:
                self._broker.stop()
            raise

    def _record(self) -> None:
        """The recorder's thread: it alone opens, writes and closes the store (Q10)."""
        try:
            store = open_store(self._paths.state, self._configuration, self._clock)
        except BaseException as error:  # noqa: BLE001 - raised again by who waits
            self._stop.set()
            self._opened.set_exception(error)
            return
        with store.ledger.writer:
            self._opened.set_result(store)
            try:
                recorder = self._handed.result()
            except CancelledError:
                return
            recorder.run(self._stop)

    def _build(self) -> None:
        configuration, clock, store = self._configuration, self._clock, self._store
        self._reader = Reader.open(self._paths.state)
        self._channels = channels_of(
            configuration,
            self._secrets,
            clock,
            store=store.identity,
            directory=self._paths.state,
        )
        self._broker = self._embedded_broker(self._broker_table)
        self._inbox = Inbox()
        self._intake = MqttIntake(
            self._address(self._broker_table),
            filters_for(configuration.site.sensors),
            self._inbox,
            clock,
            status_topic=f"rearing-monitor/{self._broker_table.client_id}/status",
            on_change=self._broker_changed,
        )
        self._recorder = Recorder(
            living=store.living,
            ledger=store.ledger,
            inbox=self._inbox,
            intake=self._intake,
            clock=clock,
            latest=store.latest,
            beat=lambda: self._hearts.beat("recorder"),
            wake_sender=self._wake_sender.set,
            counted=lambda: self._intake.health().counters(),
        )
        if store.mishap:
            self._recorder.signals.once("store-damaged", store.mishap)
        self._sender = Sender(
            channels_of=self._channels_of,
            pending=self._pending,
            report=self._recorder.report,
            clock=clock,
            wake=self._wake_sender,
            heartbeat=lambda: self._hearts.beat("sender"),
        )
        self._accounts = AccountsWorker(self._reader, lambda: self._configuration)
        self._foresight = Foresight(
            self._reader,
            lambda: self._configuration,
            houses=lambda: [each.told for each in kept(self._paths.state)[0]],
            now=clock.now,
            hand_over=self._recorder.take_perhaps,
            beat=lambda: self._hearts.beat("accounts"),
        )
        self._child = ChildSummary(
            self._paths.config,
            {**self._environment, "REARING_STATE": str(self._paths.state)},
        )
        self._chores = self._chores_of(self._reader)
        self._control = self._control_server(self._paths.socket)

    def _chores_of(self, reader: Reader) -> Chores:
        return Chores(
            site=lambda: self._configuration.site,
            reader=reader,
            state=self._paths.state,
            commission=self._child,
            hand_over=self._recorder.take_chore,
            now=self._clock.now,
        )

    def _do_chores(self) -> None:
        self._hearts.beat("chores")
        self._chores.look()
        self._hearts.beat("chores")

    def _control_server(self, path: Path | None) -> ControlServer | None:
        if path is None:
            log.warning("no socket: keepers' commands cannot reach this daemon")
            return None
        beat = partial(self._hearts.beat, "control")
        return ControlServer(path, self._handle, beat).open()

    def _embedded_broker(self, table: Broker) -> EmbeddedBroker | None:
        if not table.embedded:
            return None
        broker = EmbeddedBroker(table.listen, self._paths.state / "broker")
        broker.start()
        return broker

    def _address(self, table: Broker) -> BrokerAddress:
        if self._broker is not None:
            return BrokerAddress(
                self._broker.host, self._broker.client_port, client_id=table.client_id
            )
        if table.host is None:
            raise ConfigError("site.toml: broker: host is missing: name the broker")
        password = self._secrets.get(BROKER_PASSWORD) if table.username else None
        return BrokerAddress(
            table.host,
            table.port,
            username=table.username,
            password=password,
            tls=table.tls,
            client_id=table.client_id,
        )

    # What the threads call

    def _broker_changed(self, connected: bool, words: str) -> None:  # noqa: FBT001
        log.info("broker", extra={"connected": connected, "words": words})
        self._recorder.signals.broker(connected, words)

    def _channels_of(self, keeper: str) -> Sequence[Named]:
        return self._channels(keeper)

    def _pending(self, now: datetime) -> list[NoticeRow]:
        return [*self._recorder.unsent(), *self._reader.pending_notices(now)]

    def _take_accounts(self, results: AccountResults) -> None:
        self._recorder.take_accounts(results)
        if results.finished:
            self._foresight.look(results.heats)

    def _handle(self, request: Request) -> Reply:
        self._hearts.beat("control")
        return self._recorder.ask(request)

    # Build, start, wait, stop

    def run(self) -> int:
        """
        Run until SIGTERM or SIGINT, or until a thread dies.

        Returns:
            0 after a signal, 1 if a thread ended the process.
        """
        watch_other_threads(stop=self._stop, fatal=self._fatal)
        threads = self._threads()
        self._handed.set_result(self._recorder)
        for thread in threads:
            thread.start()
        scheduler = scheduled(self._do_chores, every_s=CHORES_EVERY_S)
        self._notifier.ready("watching")
        site = self._configuration.site.site.name
        log.info("started", extra={"site": site, "hash": self._configuration.hash})
        self._wait()
        # a chore under way is not waited for (A9); what it did is done again
        scheduler.shutdown(wait=False)
        self._child.end()
        self._shut_down(threads)
        return exit_code(self._fatal)

    def _threads(self) -> list[Supervised]:
        """Every thread but the recorder's, which runs already."""
        work: dict[str, Callable[[], None]] = {
            # the network thread proves itself by readings: silence is its alarm
            "intake": self._intake.run,
            "sender": lambda: self._sender.run(self._stop),
            "accounts": lambda: self._accounts.run(
                self._stop,
                self._take_accounts,
                now=self._clock.now,
                pause_s=ACCOUNTS_EVERY_S,
                beat=lambda: self._hearts.beat("accounts"),
            ),
        }
        if self._control is not None:
            control = self._control
            work["control"] = lambda: control.run(self._stop)
        for name in ("recorder", "chores", *work):
            if name in HUNG:
                self._hearts.register(name, HUNG[name])
        return [
            Supervised(name, target, stop=self._stop, fatal=self._fatal)
            for name, target in work.items()
        ]

    def _listen_to_signals(self) -> None:
        def end(number: int, frame: FrameType | None) -> None:
            del number, frame
            self._stop.set()

        def reload(number: int, frame: FrameType | None) -> None:
            del number, frame
            self._reload_asked.set()

        # S4: handlers only set an event; everything else happens in threads
        signal.signal(signal.SIGTERM, end)
        signal.signal(signal.SIGINT, end)
        signal.signal(signal.SIGHUP, reload)

    def _wait(self) -> None:
        watch = Watch(self._hearts, self._notifier)
        while not self._stop.wait(LOOK_S):
            watch.look()
            if self._broker is not None:
                self._broker.watch()
            if self._reload_asked.is_set():
                self._reload_asked.clear()
                self._reload()

    def _reload(self) -> None:
        """Swap the configuration whole, or keep the old one and say why."""
        try:
            configuration = load(self._paths.config)
            table = require_broker(configuration)
            channels = channels_of(
                configuration,
                self._secrets,
                self._clock,
                store=self._store.identity,
                directory=self._paths.state,
            )
        except MonitorError as error:
            said = {"reason": str(error)}
            log.warning("configuration refused, the old one stays", extra=said)
            self._notifier.status(f"old configuration kept: {error}")
            return
        if table != self._broker_table:
            log.warning("a change of [broker] needs a restart")
        self._configuration, self._channels = configuration, channels
        self._intake.subscribe(filters_for(configuration.site.sensors))
        self._recorder.reload(configuration)
        self._notifier.status(f"configuration {configuration.hash} in force")

    def _shut_down(self, threads: list[Supervised]) -> None:
        self._notifier.stopping()
        # S4: whatever hangs, the process ends in time
        bound_shutdown(STOP_WITHIN)
        self._wake_sender.set()
        self._intake.stop()
        for thread in (*threads, self._writing):
            thread.join(timeout=JOIN_S)
        if self._broker is not None:
            self._broker.stop()
        log.info("stopped")


def run(paths: Paths, environment: Mapping[str, str]) -> int:
    """Build the daemon and run it to its end."""
    return Service(paths, environment).run()
