"""A mail server on 127.0.0.1 that delivers nothing and keeps all mail as files."""

import re
import socket
import threading
from collections.abc import Callable
from dataclasses import dataclass
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path
from typing import Any, Self, cast

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

LARGEST_BYTES = 5_000_000
"""A message above this is refused: own choice, far above any notice."""


@dataclass(frozen=True, slots=True)
class Caught:
    """
    One mail as it would have gone out.

    Attributes:
        path: The .eml file.
        to: Recipient of the envelope.
        message: What was sent.
    """

    path: Path
    to: str
    message: EmailMessage

    @property
    def subject(self) -> str:
        """Its subject."""
        return str(self.message["Subject"] or "")

    @property
    def text(self) -> str:
        """Its plain text, or "" where it has none."""
        body = self.message.get_body(("plain",))
        return str(body.get_content()) if body is not None else ""


def free_port() -> int:
    """A port of 127.0.0.1 that nobody listens on at this moment."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Post:
    """
    Catches mail into a directory; use it as a context.

    Attributes:
        directory: Where the .eml files go.
        port: The port of 127.0.0.1 that it listens on.
    """

    def __init__(self, directory: Path) -> None:
        self.directory = directory
        self._caught: list[Caught] = []
        self._changed = threading.Condition()
        self.port = free_port()
        # its start connects to the port once, so that 0 for "any" is not possible
        self._controller = Controller(
            cast("Any", self),
            hostname="127.0.0.1",
            port=self.port,
            data_size_limit=LARGEST_BYTES,
        )

    def __enter__(self) -> Self:
        """Listen."""
        self.directory.mkdir(parents=True, exist_ok=True)
        self._controller.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Stop listening."""
        self._controller.stop(no_assert=True)

    async def handle_DATA(  # noqa: N802 - the name that the server calls
        self, server: SMTP, session: Session, envelope: Envelope
    ) -> str:
        """Keep one message, one file for each recipient."""
        del server, session
        content = envelope.content
        raw = content if isinstance(content, bytes) else str(content).encode()
        message = message_from_bytes(raw, policy=policy.default)
        with self._changed:
            for to in envelope.rcpt_tos:
                number = len(self._caught) + 1
                who = re.sub(r"[^\w-]", "_", to.partition("@")[0])
                path = self.directory / f"{number:03d}-{who}.eml"
                path.write_bytes(raw)
                self._caught.append(Caught(path, to, message))
            self._changed.notify_all()
        return "250 kept"

    def caught(self) -> tuple[Caught, ...]:
        """All mail so far, in order of arrival."""
        with self._changed:
            return tuple(self._caught)

    def wait(
        self, wanted: Callable[[Caught], bool], *, seconds: float
    ) -> Caught | None:
        """Wait for the first mail that is *wanted*, or None after so many seconds."""

        def found() -> Caught | None:
            return next((c for c in self._caught if wanted(c)), None)

        with self._changed:
            self._changed.wait_for(lambda: found() is not None, timeout=seconds)
            return found()
