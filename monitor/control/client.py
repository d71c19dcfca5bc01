"""Ask the running daemon."""

import socket
import time
from collections.abc import Mapping
from pathlib import Path

from monitor.control.wire import (
    LONGEST_REPLY,
    PATIENCE,
    error_of,
    read_reply,
    write_line,
)
from monitor.desk.view import Request
from monitor.errors import UnreachableError

Argument = str | int | float | bool | list[str] | None
QUEUE_FULL_S = 0.02
"""Rest before another try where too many clients wait already. [s]"""

_START = "start it with `rearing-monitor run`, or the service that runs it"


def ask(
    path: Path | None,
    do: str,
    args: Mapping[str, Argument],
    *,
    timeout: float = PATIENCE.total_seconds(),
) -> dict[str, object]:
    """
    Put one request to the daemon.

    Args:
        path: Its socket; None where none is configured.
        do: What to do, such as "cohort start".
        args: With what.
        timeout: How long to wait for connection and reply together. [s]

    Returns:
        The result of the reply.

    Raises:
        UnreachableError: If nobody answers there in time.
        UsageError: If the daemon finds a value wrong.
        RefusedError: If it says no, with its reason.
        MonitorError: If it failed otherwise; the exit code is the reply's.
    """
    if path is None:
        raise UnreachableError(
            "the daemon cannot be reached: set REARING_SOCKET to the path of its socket"
        )
    deadline = time.monotonic() + timeout
    line = _exchange(path, write_line(Request(do, dict(args))), deadline, timeout)
    reply = read_reply(line)
    if not reply.ok:
        raise error_of(reply)
    return reply.result


def _exchange(path: Path, line: bytes, deadline: float, timeout: float) -> bytes:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as talk:
        try:
            talk.settimeout(timeout)
            _connect(talk, path, deadline)
        except PermissionError as error:
            raise UnreachableError(
                f"the daemon is not reachable at {path}: {error.strerror}; you must be"
                " in the group of that socket"
            ) from error
        except OSError as error:
            raise UnreachableError(
                f"the daemon is not running, or not reachable at {path}: {_START}"
            ) from error
        try:
            return _say_and_hear(talk, line, deadline)
        except TimeoutError as error:
            raise UnreachableError(
                f"the daemon did not answer within {timeout:g} s at {path}: it may be"
                " busy or stuck; see its log"
            ) from error
        except OSError as error:
            raise UnreachableError(
                f"the daemon went away at {path} before it answered: see its log"
            ) from error


def _connect(talk: socket.socket, path: Path, deadline: float) -> None:
    while True:
        try:
            talk.connect(str(path))
        except BlockingIOError:
            # Linux says so at once when the queue of a listening socket is full
            if time.monotonic() >= deadline:
                raise
            time.sleep(QUEUE_FULL_S)
        else:
            return


def _say_and_hear(talk: socket.socket, line: bytes, deadline: float) -> bytes:
    _bound(talk, deadline)
    # a server that refuses the request may answer before it has read all of it
    cut: OSError | None = None
    try:
        talk.sendall(line)
    except BrokenPipeError as error:
        cut = error
    heard = bytearray()
    while b"\n" not in heard:
        _bound(talk, deadline)
        part = talk.recv(1 << 16)
        if not part:
            raise cut or ConnectionResetError("no reply")
        heard += part
        if len(heard) > LONGEST_REPLY:
            raise ConnectionError("endless reply")
    return bytes(heard[: heard.index(b"\n")])


def _bound(talk: socket.socket, deadline: float) -> None:
    left = deadline - time.monotonic()
    if left <= 0:
        raise TimeoutError
    talk.settimeout(left)
