"""A mail as bytes on the wire: headers, alternatives, pictures (E3 to E6, E10)."""

import logging
import re
from collections.abc import Sequence
from datetime import datetime
from email.message import EmailMessage, MIMEPart
from email.policy import SMTP
from email.utils import format_datetime, parseaddr
from pathlib import Path

import msgspec

log = logging.getLogger(__name__)

HEADER_LIMIT = 200
"""A longer subject is cut: some servers refuse endless headers. [characters]"""

FALLBACK_SUBJECT = "Rearing monitor: a notice that could not be laid out"
"""Fixed, so that no name can spoil it (E10)."""

_CID = re.compile(r"""src\s*=\s*["']?cid:([^"'\s>]+)""", re.IGNORECASE)
_IMG = re.compile(r"""<img\b[^>]*?src="cid:([A-Za-z0-9._-]+)"[^>]*>""")
_OUTSIDE = re.compile(
    r"""(?:src|background)\s*=\s*["']?\s*(?:data:|https?:|//)|url\(""",
    re.IGNORECASE,
)


class InlineImage(msgspec.Struct, frozen=True):
    """
    A PNG that the HTML shows.

    Attributes:
        cid: As in ``src="cid:…"``, without angle brackets.
        png: The picture.
        filename: What it is called when saved.
    """

    cid: str
    png: bytes
    filename: str


class Attachment(msgspec.Struct, frozen=True):
    """
    A file sent along.

    Attributes:
        filename: Its name.
        content: Its bytes.
        mime_type: Such as "text/csv".
    """

    filename: str
    content: bytes
    mime_type: str


def pictures_of(html: str, folder: Path) -> tuple[str, tuple[InlineImage, ...]]:
    """
    Fetch the pictures that an HTML text shows, each as NAME.png of a folder.

    A picture that is not there leaves a word in its place: no mail waits for a
    picture (P4).

    Returns:
        The HTML to send, and its pictures.
    """
    images: dict[str, InlineImage] = {}

    def shown(tag: re.Match[str]) -> str:
        name = tag[1]
        path = folder / f"{name}.png"
        if name not in images:
            try:
                png = path.read_bytes()
            except OSError:
                log.warning("picture missing file=%s", path)
                return "[picture missing]"
            images[name] = InlineImage(name, png, path.name)
        return tag[0]

    sent = _IMG.sub(shown, html)
    return sent, tuple(images.values())


def domain_of(address: str) -> str:
    """The part after the at-sign; "localhost" where there is none."""
    return parseaddr(address)[1].rpartition("@")[2] or "localhost"


def message_id(row: int, store: str, sender: str) -> str:
    """
    Name the mail of an outbox row, the same at each try (E4).

    Args:
        row: Id of the row.
        store: Identity of the store, since a new store counts from one again.
        sender: The From address; its domain is ours to name things in (RFC 5322,
            section 3.6.4).
    """
    return f"<notice-{row}.{clean_header(store)}@{clean_header(domain_of(sender))}>"


def clean_header(text: str) -> str:
    """Put a text on one line that no mail library refuses, and not endless."""
    line = "".join(c if c.isprintable() else " " for c in text)
    line = line.encode("utf-8", "replace").decode("utf-8")
    return " ".join(line.split())[:HEADER_LIMIT]


def build_message(
    *,
    sender: str,
    to: str,
    subject: str,
    text: str,
    html: str,
    images: Sequence[InlineImage] = (),
    attachments: Sequence[Attachment] = (),
    message_id: str,
    date: datetime,
) -> EmailMessage:
    """
    Build a mail that goes out whatever stands in its text.

    The tree is alternative[plain, related[html, png …]], inside mixed[…] where files
    are attached; without HTML only the plain text. Should anything in it not be
    buildable, the plain text goes alone under a fixed subject.

    Args:
        sender: Address of the account that sends.
        to: One address: each keeper gets a mail of their own (E2).
        subject: Any text; cleaned.
        text: Complete in itself.
        html: May be empty. Pictures by ``cid:`` only.
        images: What the HTML shows, each once.
        attachments: Files sent along.
        message_id: With its angle brackets, the same at each try.
        date: When the notice was made. UTC.

    Raises:
        ValueError: If sender or recipient cannot stand in a header at all.
    """
    try:
        mail = _headed(sender, to, clean_header(subject), message_id, date)
        _check_pictures(html, images)
        _fill(mail, text, html, images, attachments)
        mail.as_bytes()
    except (ValueError, LookupError, TypeError, AttributeError):
        # E10: an alarm must not be lost by its own text
        log.exception("notice could not be laid out message=%s", message_id)
        mail = _headed(sender, to, FALLBACK_SUBJECT, message_id, date)
        bare = text.encode("ascii", "replace").decode("ascii").replace("\0", " ")
        mail.set_content(bare, cte="quoted-printable")
        mail.as_bytes()
    return mail


def _headed(
    sender: str, to: str, subject: str, message_id: str, date: datetime
) -> EmailMessage:
    for name, address in (("sender", sender), ("recipient", to)):
        if "@" not in parseaddr(address)[1] or clean_header(address) != address:
            raise ValueError(f"{name}: {address!r} is no mail address")
    mail = EmailMessage(policy=SMTP)
    mail["From"] = sender
    mail["To"] = to
    mail["Subject"] = subject
    mail["Date"] = format_datetime(date)
    mail["Message-ID"] = message_id
    mail["Auto-Submitted"] = "auto-generated"
    return mail


def _check_pictures(html: str, images: Sequence[InlineImage]) -> None:
    """Refuse what mail readers strip (E6) and pictures that nothing shows or holds."""
    if outside := _OUTSIDE.search(html):
        raise ValueError(f"a mail loads nothing from outside: {outside[0]!r}")
    shown, held = set(_CID.findall(html)), {image.cid for image in images}
    if shown != held:
        raise ValueError(
            f"pictures shown {sorted(shown)}, pictures held {sorted(held)}"
        )


def _fill(
    mail: EmailMessage,
    text: str,
    html: str,
    images: Sequence[InlineImage],
    attachments: Sequence[Attachment],
) -> None:
    # quoted-printable: servers without 8BITMIME and lines beyond 998 bytes do no harm
    mail.set_content(text, cte="quoted-printable")
    if html:
        mail.add_alternative(html, subtype="html", cte="quoted-printable")
        page = mail.get_payload(1)
        if not isinstance(page, MIMEPart):
            raise TypeError("the HTML part is missing")
        for image in images:
            page.add_related(
                image.png,
                maintype="image",
                subtype="png",
                cid=f"<{image.cid}>",
                filename=clean_header(image.filename),
                disposition="inline",
            )
    for attachment in attachments:
        maintype, _, subtype = attachment.mime_type.partition("/")
        mail.add_attachment(
            attachment.content,
            maintype=maintype,
            subtype=subtype,
            filename=clean_header(attachment.filename),
        )
