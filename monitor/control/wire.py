"""The form of both lines on the control socket, and its bounds."""

from datetime import timedelta

import msgspec

from monitor.desk.view import Reply, Request
from monitor.errors import (
    MonitorError,
    RefusedError,
    UnreachableError,
    UsageError,
)

LONGEST_REQUEST = 1 << 20
"""A request longer than this is refused. [byte]"""
LONGEST_REPLY = 1 << 26
"""No reply is longer than this. [byte]"""
PATIENCE = timedelta(seconds=5)
"""How long either side waits for the other."""

_REQUESTS = msgspec.json.Decoder(Request)
_REPLIES = msgspec.json.Decoder(Reply)
_FORM = '{"do": "now", "args": {}} and a newline'


def read_request(line: bytes) -> Request:
    """
    Read a request.

    Raises:
        UsageError: If the line is none; the text tells the form.
    """
    try:
        return _REQUESTS.decode(line)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise UsageError(f"no request: {error}; send {_FORM}") from None
    except RecursionError:
        raise UsageError(f"no request: nested too deeply; send {_FORM}") from None


def read_reply(line: bytes) -> Reply:
    """
    Read a reply.

    Raises:
        UnreachableError: If the line is none: something else answers there.
    """
    try:
        return _REPLIES.decode(line)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise UnreachableError(f"the daemon's reply makes no sense: {error}") from None


def write_line(message: Request | Reply) -> bytes:
    """One line of JSON with its newline."""
    return msgspec.json.encode(message) + b"\n"


def reply_of(error: MonitorError) -> Reply:
    """What went wrong, as a reply."""
    return Reply(ok=False, error=" ".join(str(error).split()), exit=error.exit_code)


def error_of(reply: Reply) -> MonitorError:
    """What went wrong, as an error with the exit code of the reply."""
    for kind in (UsageError, RefusedError, UnreachableError):
        if kind.exit_code == reply.exit:
            return kind(reply.error)
    error = MonitorError(reply.error)
    error.exit_code = reply.exit or 1
    return error
