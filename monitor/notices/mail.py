"""
Mail by submission to a server, one message for one keeper (E1 to E4, E8, E9).

Nothing here waits without a bound: each answer of the server has 30 s, and all of them
together end at the deadline, also where a server sends its answer letter by letter.
"""

import io
import smtplib
import socket
import ssl
import time
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from ipaddress import ip_address
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.clock import Clock
from monitor.errors import ConfigError
from monitor.notices.channel import (
    FailedForGood,
    FailedForNow,
    OutgoingNotice,
    SendResult,
    Sent,
)
from monitor.notices.message import build_message, message_id, pictures_of
from monitor.site.site_file import Mail

if TYPE_CHECKING:
    from _typeshed import ReadableBuffer as Buffer

TIMEOUT = 30.0
"""Longest wait for one answer of the server (E1). [s]"""

_PERMANENT = 500

_REPLY_LIMIT = 8192
_SAID_LIMIT = 200
_HELLO = "[127.0.0.1]"
"""An address literal (RFC 5321, section 4.1.3): asking for our own name may block."""


class MailChannel:
    """
    Mail to one keeper.

    Args:
        mail: The server, from site.toml.
        to: The keeper's address.
        password: The secret mail_password; None where there is no login.
        clock: Tells how long is left until a deadline.
        store: Identity of the store, part of each Message-ID.
        directory: Where folders of pictures lie.
        timeout: Longest wait for one answer. [s]
        ssl_context: Whom to trust; None for the system's authorities.

    Raises:
        ConfigError: If mail would leave this machine unencrypted, or the server wants a
            login and there is no password.
    """

    def __init__(
        self,
        mail: Mail,
        *,
        to: str,
        password: str | None,
        clock: Clock,
        store: str,
        directory: Path = Path(),
        timeout: float = TIMEOUT,
        ssl_context: ssl.SSLContext | None = None,
    ) -> None:
        if mail.security == "none" and not _is_loopback(mail.host):
            raise ConfigError(
                f'site.toml: [mail] security = "none" to {mail.host}: mail would go '
                'unencrypted; use "starttls" or "tls" ("none" only to 127.0.0.1)'
            )
        if mail.username is not None and not password:
            raise ConfigError(
                f"site.toml: [mail] username = {mail.username!r} needs the secret "
                "mail_password; store it, or leave username out"
            )
        if not f"{mail.username or ''}{password or ''}".isascii():
            raise ConfigError(
                "site.toml: [mail] username or the secret mail_password holds letters "
                "beyond ASCII, which this login cannot carry; choose another password"
            )
        self._mail, self._to, self._password = mail, to, password
        self._clock, self._store, self._timeout = clock, store, timeout
        self._directory = directory
        self._context = ssl_context or ssl.create_default_context()

    def send(self, notice: OutgoingNotice, *, deadline: datetime) -> SendResult:
        """Try once; see `Channel.send`."""
        html, images = pictures_of(notice.html, self._directory / notice.pictures)
        try:
            mail = build_message(
                sender=self._mail.sender,
                to=self._to,
                subject=notice.subject,
                text=notice.long,
                html=html,
                images=images,
                message_id=message_id(notice.id, self._store, self._mail.sender),
                date=notice.created,
            )
        except ValueError as exc:
            return FailedForGood(str(exc))
        ends = time.monotonic() + self._clock.seconds(deadline - self._clock.now())

        def left() -> float:
            rest = min(self._timeout, ends - time.monotonic())
            if rest <= 0:
                raise TimeoutError("deadline of this notice passed")
            return rest

        try:
            server = self._connect(left)
            try:
                refused = server.send_message(mail, self._mail.sender, [self._to])
            finally:
                server.leave()
        except _Refused as exc:
            return FailedForGood(str(exc))
        except (smtplib.SMTPException, OSError) as exc:
            return _why(exc)
        # E2: with one recipient a refusal is raised; should it be returned, it counts
        return _refusal(refused) if refused else Sent()

    def _connect(self, left: Callable[[], float]) -> "_BoundedSMTP":
        """Connect, encrypt, log in; whatever fails leaves no socket behind."""
        mail = self._mail
        server: _BoundedSMTP
        if mail.security == "tls":
            server = _BoundedSMTPS(left, mail.host, mail.port, self._context)
        else:
            server = _BoundedSMTP(left, mail.host, mail.port)
        try:
            if mail.security == "starttls":
                _encrypt(server, self._context)
            if mail.username is not None and self._password is not None:
                server.login(mail.username, self._password)
        except BaseException:
            server.close()
            raise
        return server


class _Refused(Exception):  # noqa: N818 - an answer, not an error of ours
    """The far side will never do what we need of it."""


class _BoundedSMTP(smtplib.SMTP):
    """An SMTP client of which every step ends in time."""

    def __init__(self, left: Callable[[], float], host: str, port: int) -> None:
        self._left = left
        super().__init__(host, port, local_hostname=_HELLO, timeout=left())

    def _get_socket(self, host: str, port: int, timeout: float) -> socket.socket:
        del timeout
        return socket.create_connection((host, port), self._left())

    def getreply(self) -> tuple[int, bytes]:
        """Read an answer, however slowly it comes, for as long as is left."""
        if self.file is None and self.sock is not None:
            self.file = _Answers(self.sock, self._left)
        return super().getreply()

    def send(self, s: "Buffer | str") -> None:
        """Send for as long as is left."""
        if self.sock is not None:
            self.sock.settimeout(self._left())
        super().send(s)

    def leave(self) -> None:
        """Take leave if the server still listens; what was sent stays sent."""
        try:
            with suppress(smtplib.SMTPException, OSError):
                self.docmd("QUIT")
        finally:
            self.close()


class _BoundedSMTPS(_BoundedSMTP):
    """The same with TLS from the first byte (RFC 8314)."""

    def __init__(
        self, left: Callable[[], float], host: str, port: int, context: ssl.SSLContext
    ) -> None:
        self._context = context
        super().__init__(left, host, port)

    def _get_socket(self, host: str, port: int, timeout: float) -> socket.socket:
        plain = super()._get_socket(host, port, timeout)
        return self._context.wrap_socket(plain, server_hostname=host)


class _Answers(io.RawIOBase):
    """Lines of a socket, each read under the time that is left."""

    def __init__(self, sock: socket.socket, left: Callable[[], float]) -> None:
        super().__init__()
        self._sock, self._left, self._waiting = sock, left, b""

    def readline(self, size: int | None = -1) -> bytes:
        """One line, b"" at the end of the connection."""
        most = _REPLY_LIMIT if size is None or size < 0 else size
        while b"\n" not in self._waiting and len(self._waiting) < most:
            self._sock.settimeout(self._left())
            some = self._sock.recv(_REPLY_LIMIT)
            if not some:
                break
            self._waiting += some
        end = self._waiting.find(b"\n") + 1 or len(self._waiting)
        line, self._waiting = (
            self._waiting[: min(end, most)],
            self._waiting[min(end, most) :],
        )
        return line


def _encrypt(server: _BoundedSMTP, context: ssl.SSLContext) -> None:
    """Start TLS, or raise: never in plain text instead (E8)."""
    server.ehlo()
    if not server.has_extn("starttls"):
        raise _Refused("mail server offers no STARTTLS; nothing is sent in plain text")
    code, said = server.starttls(context=context)
    if code >= _PERMANENT:
        raise _Refused(f"mail server refuses STARTTLS: {code} {_text(said)}")
    if not isinstance(server.sock, ssl.SSLSocket):
        raise smtplib.SMTPResponseException(code, said)


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False


def _text(said: bytes | str) -> str:
    text = said.decode("utf-8", "replace") if isinstance(said, bytes) else said
    line = "".join(c if c.isprintable() else " " for c in text)
    return " ".join(line.split())[:_SAID_LIMIT]


def _refusal(refused: dict[str, tuple[int, bytes]]) -> SendResult:
    """Read the answer for one recipient."""
    code, said = next(iter(refused.values()))
    return _by_code(code, said)


def _by_code(code: int, said: bytes | str) -> SendResult:
    """5xx is for good, 4xx and nonsense for now (RFC 5321, section 4.2.1)."""
    reason = f"mail server: {code} {_text(said)}"
    return FailedForGood(reason) if code >= _PERMANENT else FailedForNow(reason)


def _why(exc: smtplib.SMTPException | OSError) -> SendResult:
    """Map what the library raised to what it means for the notice."""
    if isinstance(exc, smtplib.SMTPRecipientsRefused):
        return _refusal(exc.recipients)
    if isinstance(exc, smtplib.SMTPAuthenticationError):
        return _login(exc.smtp_code)
    if isinstance(exc, smtplib.SMTPResponseException):
        return _by_code(exc.smtp_code, exc.smtp_error)
    if isinstance(exc, smtplib.SMTPNotSupportedError):
        return FailedForGood(f"mail server cannot do what is needed: {_text(str(exc))}")
    if isinstance(exc, ssl.SSLCertVerificationError):
        return FailedForGood(f"certificate not trusted: {_text(exc.verify_message)}")
    late = isinstance(exc, TimeoutError) or isinstance(exc.__context__, TimeoutError)
    return FailedForNow(
        "mail server did not answer in time"
        if late
        else f"no connection to the mail server: {_text(str(exc))}"
    )


def _login(code: int) -> SendResult:
    """E9: what the server says about it may repeat the password, so it is not told."""
    if code >= _PERMANENT:
        return FailedForGood(
            f"mail server refuses the login: {code}; is mail_password still right, and "
            "does the account allow a login by password?"
        )
    return FailedForNow(f"login is not possible now: {code}")
