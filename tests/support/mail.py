"""A real SMTP server on loopback that catches mail, and misbehaves where told to."""

import asyncio
import email
import email.policy
import ssl
import threading
import time
from dataclasses import dataclass
from email.message import EmailMessage
from typing import Literal, Self

import trustme
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, LoginPassword

HOST = "127.0.0.1"


@dataclass(frozen=True)
class Caught:
    """A message that the server took."""

    sender: str
    recipients: tuple[str, ...]
    raw: bytes

    @property
    def mail(self) -> EmailMessage:
        """The message, parsed."""
        return email.message_from_bytes(self.raw, policy=email.policy.default)


class CatchingServer:
    """
    An SMTP server that keeps what it gets; used as a context manager.

    Args:
        tls: "starttls" (demanded before mail), "tls" from the first byte, or None.
        auth: User and password that are demanded, or None.

    Attributes:
        refuse: Address to the answer that it gets, such as "550 no such keeper".
        hang: Addresses after which the server says nothing more.
        drop_after_data: So many more messages are kept and then not answered: the
            connection breaks instead.
        data_reply: The answer to the next messages instead of "250 taken".
        messages: What was taken, the oldest first.
        attempts: Addresses of all RCPT commands.
        port: Where it listens on 127.0.0.1; after a stop and start the same again.
    """

    def __init__(
        self,
        *,
        tls: Literal["starttls", "tls"] | None = None,
        auth: tuple[str, str] | None = None,
        port: int = 0,
    ) -> None:
        self.refuse: dict[str, str] = {}
        self.hang: set[str] = set()
        self.drop_after_data = 0
        self.data_reply: str | None = None
        self.messages: list[Caught] = []
        self.attempts: list[str] = []
        self.port = port
        self._tls, self._auth = tls, auth
        self._changed = threading.Condition()
        self._authority = trustme.CA()
        self._controller: _Controller | None = None

    def client_context(self) -> ssl.SSLContext:
        """A context that trusts this server and the system's authorities."""
        context = ssl.create_default_context()
        self._authority.configure_trust(context)
        return context

    def authority_pem(self) -> bytes:
        """The certificate of the authority, for a client that reads a file."""
        return self._authority.cert_pem.bytes()

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def start(self) -> None:
        """Listen; returns when it does."""
        context = None
        if self._tls is not None:
            context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
            self._authority.issue_cert(HOST, "localhost").configure_cert(context)
        starttls = self._tls == "starttls"
        self._controller = _Controller(
            _Handler(self),
            hostname=HOST,
            port=self.port,
            ssl_context=context if self._tls == "tls" else None,
            tls_context=context if starttls else None,
            require_starttls=starttls,
            authenticator=self._check if self._auth else None,
            auth_require_tls=starttls,
        )
        self._controller.start()
        self.port = self._controller.port

    def stop(self) -> None:
        """Stop listening and break all connections."""
        if self._controller is not None:
            self._controller.stop()
            self._controller = None

    def wait_for(self, count: int, deadline: float = 10.0) -> list[Caught]:
        """
        Wait until so many messages were taken.

        Args:
            count: How many.
            deadline: Longest wait. [s]

        Raises:
            AssertionError: If they have not come by then.
        """
        ends = time.monotonic() + deadline
        with self._changed:
            while len(self.messages) < count:
                left = ends - time.monotonic()
                if left <= 0:
                    raise AssertionError(
                        f"{len(self.messages)} of {count} messages after {deadline} s"
                    )
                self._changed.wait(left)
            return list(self.messages)

    def _check(self, _server, _session, _envelope, _mechanism, data) -> AuthResult:
        wanted = tuple(part.encode() for part in self._auth or ())
        good = isinstance(data, LoginPassword) and (data.login, data.password) == wanted
        return AuthResult(success=good, handled=False)

    def _take(self, envelope) -> None:
        with self._changed:
            self.messages.append(
                Caught(
                    envelope.mail_from,
                    tuple(envelope.rcpt_tos),
                    bytes(envelope.content),
                )
            )
            self._changed.notify_all()


class _Controller(Controller):
    """A controller that finds its own port."""

    def _trigger_server(self) -> None:
        self.port = self.server.sockets[0].getsockname()[1]
        super()._trigger_server()


class _Handler:
    def __init__(self, server: CatchingServer) -> None:
        self._server = server

    async def handle_MAIL(self, _server, session, envelope, address, options):  # noqa: N802
        # aiosmtpd's own auth_required warns where TLS came before SMTP
        if self._server._auth is not None and not session.authenticated:
            return "530 5.7.0 Authentication required"
        envelope.mail_from = address
        envelope.mail_options.extend(options)
        return "250 OK"

    async def handle_RCPT(self, _server, _session, envelope, address, _options):  # noqa: N802
        self._server.attempts.append(address)
        if address in self._server.hang:
            await asyncio.Event().wait()
        if address in self._server.refuse:
            return self._server.refuse[address]
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, _session, envelope):  # noqa: N802
        if self._server.data_reply is not None:
            return self._server.data_reply
        self._server._take(envelope)
        if self._server.drop_after_data > 0:
            self._server.drop_after_data -= 1
            server.transport.abort()
            await asyncio.Event().wait()
        return "250 taken"
