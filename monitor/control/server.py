"""The control socket of the daemon: one line of JSON each way."""

import errno
import logging
import selectors
import socket
import stat
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Self

from monitor.control.wire import (
    LONGEST_REQUEST,
    PATIENCE,
    read_request,
    reply_of,
    write_line,
)
from monitor.desk.view import Reply, Request
from monitor.errors import ConfigError, MonitorError, UnreachableError, UsageError

MODE = 0o660
"""The owner and the group of the daemon may speak to it, nobody else."""
MOST_CLIENTS = 32
"""More wait in the backlog of the socket."""
_BEAT = 0.2
_PIECE = 1 << 16

log = logging.getLogger(__name__)


class _Client:
    """One connection: what was heard, what is still to be said, and until when."""

    def __init__(self, talk: socket.socket, deadline: float) -> None:
        self.talk, self.deadline = talk, deadline
        self.heard = bytearray()
        self.saying = b""
        self.answered = False
        self.ended = False


class ControlServer:
    """
    Serves requests one after the other; a slow client holds up nobody else.

    The caller owns the thread: it calls `run`, which ends soon after *stop* is set.

    Args:
        path: Where the socket is made.
        handle: Answers a request within about 5 s. What it raises becomes a reply.
        heartbeat: Called several times a second while the server lives.
        patience: How long a client may take to send, and again to fetch. [s]
    """

    def __init__(
        self,
        path: Path,
        handle: Callable[[Request], Reply],
        heartbeat: Callable[[], None],
        *,
        patience: float = PATIENCE.total_seconds(),
    ) -> None:
        self._path, self._handle, self._heartbeat = path, handle, heartbeat
        self._patience = patience
        self._listener: socket.socket | None = None
        self._inode = 0
        self._selector = selectors.DefaultSelector()
        self._clients: dict[socket.socket, _Client] = {}

    def open(self) -> Self:
        """
        Make the socket; `run` does it where nobody did it before.

        Raises:
            UnreachableError: If another daemon listens there.
            ConfigError: If the path cannot hold a socket.
        """
        if self._listener is not None:
            return self
        _clear(self._path)
        listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            listener.bind(str(self._path))
            # nobody can connect between bind and listen, so the mode comes in time
            self._path.chmod(MODE)
            listener.listen(MOST_CLIENTS)
        except OSError as error:
            listener.close()
            raise ConfigError(
                f"REARING_SOCKET: no socket can be made at {self._path}: {error};"
                " name a path of at most 100 characters in a directory of the daemon"
            ) from error
        listener.settimeout(0)
        self._inode = self._path.stat().st_ino
        self._listener = listener
        self._selector.register(listener, selectors.EVENT_READ)
        return self

    def run(self, stop: threading.Event) -> None:
        """Serve until *stop* is set, then remove the socket."""
        try:
            self.open()
            while not stop.is_set():
                self._heartbeat()
                self._turn()
        finally:
            self.close()

    def close(self) -> None:
        """Drop every client and remove the socket, unless another took its place."""
        for client in list(self._clients.values()):
            self._drop(client)
        if self._listener is not None:
            self._listener.close()
            self._listener = None
            if self._path.exists() and self._path.stat().st_ino == self._inode:
                self._path.unlink(missing_ok=True)
        self._selector.close()

    def _turn(self) -> None:
        for key, mask in self._selector.select(_BEAT):
            if key.fileobj is self._listener:
                self._accept()
                continue
            client: _Client = key.data
            try:
                if mask & selectors.EVENT_READ:
                    self._hear(client)
                if mask & selectors.EVENT_WRITE:
                    self._say(client)
            except OSError:
                # the client went away; its request was carried out or never complete
                self._drop(client)
        self._forget_slow()

    def _accept(self) -> None:
        if self._listener is None or len(self._clients) >= MOST_CLIENTS:
            return
        try:
            talk, _ = self._listener.accept()
        except OSError as error:
            log.warning("control socket cannot accept", extra={"error": str(error)})
            return
        talk.settimeout(0)
        client = _Client(talk, time.monotonic() + self._patience)
        self._clients[talk] = client
        self._selector.register(talk, selectors.EVENT_READ, client)
        if len(self._clients) >= MOST_CLIENTS:
            self._selector.unregister(self._listener)

    def _hear(self, client: _Client) -> None:
        part = client.talk.recv(_PIECE)
        if client.answered:
            # the rest of a request that was refused, or the far side hanging up
            if not part:
                self._hang_up(client)
            return
        client.heard += part
        client.ended = not part
        end = client.heard.find(b"\n")
        if (len(client.heard) if end < 0 else end) > LONGEST_REQUEST:
            long = f"the request is longer than {LONGEST_REQUEST} bytes: send less"
            self._answer(client, reply_of(UsageError(long)))
        elif end >= 0:
            self._answer(client, self._reply(bytes(client.heard[:end])))
        elif not part:
            if client.heard.strip():
                self._answer(client, self._reply(bytes(client.heard)))
            else:
                self._drop(client)

    def _reply(self, line: bytes) -> Reply:
        try:
            return self._handle(read_request(line))
        except MonitorError as error:
            return reply_of(error)
        except Exception as error:
            # a bug in one request must not end the socket for all others
            log.exception("a request failed", extra={"line": line[:200]})
            return Reply(
                ok=False, error=f"the daemon failed: {error!r}; see its log", exit=1
            )

    def _answer(self, client: _Client, reply: Reply) -> None:
        client.heard.clear()
        client.answered = True
        client.saying = _encoded(reply)
        client.deadline = time.monotonic() + self._patience
        self._listen_to(client)

    def _hang_up(self, client: _Client) -> None:
        client.ended = True
        if client.saying:
            # it has said all that it will, and still waits for the reply
            self._listen_to(client)
        else:
            self._drop(client)

    def _listen_to(self, client: _Client) -> None:
        mask = 0 if client.ended else selectors.EVENT_READ
        if client.saying:
            mask |= selectors.EVENT_WRITE
        self._selector.modify(client.talk, mask, client)

    def _say(self, client: _Client) -> None:
        sent = client.talk.send(client.saying)
        client.saying = client.saying[sent:]
        if client.saying:
            return
        if client.ended:
            self._drop(client)
            return
        # closing with unread input would reset the connection and lose the reply
        client.talk.shutdown(socket.SHUT_WR)
        self._listen_to(client)

    def _forget_slow(self) -> None:
        now = time.monotonic()
        for client in [c for c in self._clients.values() if c.deadline < now]:
            if client.answered:
                self._drop(client)
                continue
            late = UsageError(f"no whole line came within {self._patience:g} s")
            self._answer(client, reply_of(late))

    def _drop(self, client: _Client) -> None:
        if self._clients.pop(client.talk, None) is None:
            return
        full = len(self._clients) == MOST_CLIENTS - 1
        self._selector.unregister(client.talk)
        client.talk.close()
        if full and self._listener is not None:
            self._selector.register(self._listener, selectors.EVENT_READ)


def _encoded(reply: Reply) -> bytes:
    try:
        return write_line(reply)
    except (TypeError, ValueError) as error:
        log.exception("a reply cannot be written")
        return write_line(
            Reply(ok=False, error=f"the daemon failed: {error}; see its log", exit=1)
        )


def _clear(path: Path) -> None:
    """Remove a socket that a killed daemon left behind; nothing else."""
    try:
        kind = path.lstat().st_mode
    except FileNotFoundError:
        return
    if not stat.S_ISSOCK(kind):
        raise ConfigError(
            f"REARING_SOCKET: {path} exists and is no socket: name another path"
        )
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
        probe.settimeout(1)
        try:
            probe.connect(str(path))
        except OSError as error:
            if error.errno not in {errno.ECONNREFUSED, errno.ENOENT}:
                raise UnreachableError(
                    f"{path} cannot be taken over: {error}; is another daemon running?"
                ) from error
        else:
            raise UnreachableError(f"another daemon listens at {path} already")
    path.unlink(missing_ok=True)
