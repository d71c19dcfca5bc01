"""
Learned figures on their way between houses: signed, verified, kept beside the store.

A house signs with an Ed25519 key (RFC 8032) of its own, made at the first export and
kept in the state directory, readable by its owner alone. Others need no secret: the
file carries the public key, and people compare its fingerprint by another way, such
as the telephone, before they trust it.
"""

import hashlib
import json
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from monitor.errors import StoreError, UsageError
from monitor.site.figures import FORM, OLDEST, VERSION, HouseFigures, problem

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

FOLDER = "figures"
"""Below the state directory: the key, and one file for each other house."""

KEY = "signing.key"
LARGEST = 1_000_000
"""A file of more bytes is none of a house."""

_NOT_READABLE = (msgspec.DecodeError, UnicodeDecodeError, RecursionError)
_FINGERPRINT = re.compile(r"[0-9a-f]{32}")


class Signed(msgspec.Struct, frozen=True, kw_only=True):
    """
    Figures whose signature holds.

    Attributes:
        fingerprint: Of the key that signed them, 32 hexadecimal digits.
        told: What it signed.
    """

    fingerprint: str
    told: HouseFigures


class _Document(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    form: str
    version: int
    figures: HouseFigures
    key: bytes
    signature: bytes


class _Head(msgspec.Struct, frozen=True):
    """What is looked at before the rest of a file means anything."""

    form: str = ""
    version: int = 0


def sign(state: Path, told: HouseFigures) -> tuple[bytes, str]:
    """
    Sign figures with the key of this house, making it at the first time.

    Args:
        state: The state directory.
        told: What to sign.

    Returns:
        The file, and the fingerprint of the key.

    Raises:
        StoreError: If the key cannot be read or made.
        ValueError: If the figures are none.
    """
    if (wrong := problem(told)) is not None:
        raise ValueError(wrong)
    key = _key(state)
    public = key.public_key().public_bytes_raw()
    signature = key.sign(_signed_part(told, told.version))
    document = _Document(FORM, told.version, told, public, signature)
    raw = msgspec.json.format(msgspec.json.encode(document), indent=1) + b"\n"
    return raw, fingerprint(public)


def verified(raw: bytes, name: str) -> Signed:
    """
    Read a file of figures, and believe it only if its signature holds.

    Args:
        raw: The file.
        name: Its name, for the message.

    Raises:
        UsageError: If it is none, of a newer form, altered, or tells nonsense.
    """
    document = _document(raw, name)
    if not _holds(document):
        raise UsageError(
            f"{name}: the signature does not hold: the file was altered after it was"
            " signed, or cut short; ask the house for it again"
        )
    if (wrong := problem(document.figures)) is not None:
        raise UsageError(
            f"{name}: {wrong}; nothing of the file is taken: ask the house to export"
            " its figures anew"
        )
    return Signed(fingerprint=fingerprint(document.key), told=document.figures)


def fingerprint(public: bytes) -> str:
    """The first 128 bits of SHA-256 of a public key, in hexadecimal digits."""
    return hashlib.sha256(public).hexdigest()[:32]


def spelled(found: str) -> str:
    """A fingerprint as people read it to each other: eight groups of four."""
    return "-".join(found[at : at + 4] for at in range(0, len(found), 4))


def parse_fingerprint(text: str) -> str:
    """
    Read a fingerprint as people write it.

    Raises:
        UsageError: If it has not 32 hexadecimal digits.
    """
    found = re.sub(r"[-\s:]", "", text).lower()
    if not _FINGERPRINT.fullmatch(found):
        raise UsageError(
            f"{text!r} is no fingerprint: write its 32 digits 0-9 and a-f, with or"
            " without hyphens"
        )
    return found


def own_fingerprint(state: Path) -> str | None:
    """The fingerprint of this house; None before its first export."""
    if not (state / FOLDER / KEY).exists():
        return None
    return fingerprint(_key(state).public_key().public_bytes_raw())


def kept(state: Path) -> tuple[tuple[Signed, ...], tuple[str, ...]]:
    """
    Read the figures of all other houses.

    Returns:
        Those whose signature still holds, in order of fingerprint, and a line for
        each file that is left out.
    """
    found: list[Signed] = []
    bad: list[str] = []
    for path in sorted((state / FOLDER).glob("*.json")):
        try:
            signed = read(path)
        except UsageError as error:
            bad.append(str(error))
            continue
        if signed.fingerprint == path.stem:
            found.append(signed)
        else:
            bad.append(f"{path}: is signed by {signed.fingerprint}: import it anew")
    return tuple(found), tuple(bad)


def keep(state: Path, raw: bytes, signed: Signed) -> Path:
    """
    Keep the figures of another house, in place of older ones of the same.

    Args:
        state: The state directory.
        raw: The file, as it came.
        signed: The same, verified.

    Raises:
        StoreError: If it cannot be written.
    """
    path = state / FOLDER / f"{signed.fingerprint}.json"
    with _writing(state):
        _put(path, raw, 0o640)
    return path


def read(path: Path) -> Signed:
    """
    Read a file of figures.

    Raises:
        UsageError: If it cannot be read, and as `verified`.
    """
    return verified(raw_of(path), str(path))


def raw_of(path: Path) -> bytes:
    """
    The bytes of a file of figures, at most `LARGEST`.

    Raises:
        UsageError: If it cannot be read or is too large.
    """
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST + 1)
    except OSError as exc:
        raise UsageError(f"{path}: cannot be read ({exc.strerror})") from exc
    if len(raw) > LARGEST:
        raise UsageError(f"{path}: is larger than {LARGEST} bytes: no file of figures")
    return raw


def _document(raw: bytes, name: str) -> _Document:
    try:
        head = msgspec.json.decode(raw, type=_Head)
    except _NOT_READABLE as exc:
        raise UsageError(f"{name}: is no file of learned figures ({exc})") from exc
    if head.form != FORM:
        raise UsageError(
            f"{name}: is no file of learned figures: its form is {head.form!r}, not"
            f" {FORM!r}"
        )
    if not OLDEST <= head.version <= VERSION:
        how = "newer" if head.version > VERSION else "no known"
        raise UsageError(
            f"{name}: is of {how} form, version {head.version}; this program reads"
            f" versions {OLDEST} to {VERSION}: update it, or ask for the older form"
        )
    try:
        document = msgspec.json.decode(raw, type=_Document)
    except _NOT_READABLE as exc:
        raise UsageError(f"{name}: tells no figures ({exc})") from exc
    if document.version < document.figures.version:
        raise UsageError(
            f"{name}: tells no figures (version {document.version} knows no `survival`)"
        )
    return document


def _holds(document: _Document) -> bool:
    from cryptography.exceptions import InvalidSignature  # noqa: PLC0415
    from cryptography.hazmat.primitives.asymmetric.ed25519 import (  # noqa: PLC0415
        Ed25519PublicKey,
    )

    try:
        public = Ed25519PublicKey.from_public_bytes(document.key)
        part = _signed_part(document.figures, document.version)
        public.verify(document.signature, part)
    except (InvalidSignature, ValueError):
        return False
    return True


def _signed_part(told: HouseFigures, version: int) -> bytes:
    # one spelling for one meaning: whoever indents the file anew alters nothing
    plain = msgspec.to_builtins(told)
    text = json.dumps(plain, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return f"{FORM} {version}\n{text}".encode("ascii")


def _key(state: Path) -> "Ed25519PrivateKey":
    from cryptography.hazmat.primitives.asymmetric.ed25519 import (  # noqa: PLC0415
        Ed25519PrivateKey,
    )

    path = state / FOLDER / KEY
    with _writing(state):
        if not path.exists():
            made = Ed25519PrivateKey.generate().private_bytes_raw()
            _put(path, made.hex().encode("ascii") + b"\n", 0o600)
        try:
            raw = bytes.fromhex(path.read_text(encoding="ascii").strip())
            return Ed25519PrivateKey.from_private_bytes(raw)
        except ValueError as exc:
            raise StoreError(
                f"{path}: is no signing key: restore it from a copy, or remove it and"
                " tell other houses the fingerprint of the new one"
            ) from exc


def _put(path: Path, raw: bytes, mode: int) -> None:
    """Write a file whole or not at all."""
    path.parent.mkdir(mode=0o750, exist_ok=True)
    beside = path.with_name(f".{path.name}.new")
    beside.unlink(missing_ok=True)
    handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    with os.fdopen(handle, "wb") as file:
        file.write(raw)
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)


@contextmanager
def _writing(state: Path) -> Iterator[None]:
    try:
        yield
    except OSError as exc:
        raise StoreError(
            f"{state / FOLDER}: cannot be used ({exc.strerror}); the state directory"
            " must belong to whoever exports and imports figures"
        ) from exc
