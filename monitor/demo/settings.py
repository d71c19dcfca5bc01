"""The directories of a demo, and the shipped configuration bent to this machine."""

import os
import re
import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from monitor.errors import UsageError

LONGEST_SOCKET_PATH = 100
"""A Unix socket's path must fit into 108 bytes with its end [bytes]."""

_HEADER = re.compile(r"^\[\[?([a-z]+)\]\]?", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Directories:
    """
    Where everything of one demo lies.

    Attributes:
        root: The directory of ``--state``.
        socket: Of the daemon.
    """

    root: Path
    socket: Path

    @property
    def config(self) -> Path:
        """The daemon's configuration."""
        return self.root / "config"

    @property
    def secrets(self) -> Path:
        """The daemon's secrets: none."""
        return self.root / "secrets"

    @property
    def store(self) -> Path:
        """The daemon's state."""
        return self.root / "store"

    @property
    def mail(self) -> Path:
        """Mails as they were caught."""
        return self.root / "mail"

    @property
    def log(self) -> Path:
        """What the daemon says."""
        return self.root / "daemon.log"

    @property
    def house_log(self) -> Path:
        """What the simulated house says."""
        return self.root / "house.log"

    @property
    def begin(self) -> Path:
        """State in which the simulated house begins."""
        return self.root / "house.json"


def make_directories(root: Path | None) -> Directories:
    """
    Make the directories of a demo.

    Args:
        root: Where; None for a fresh temporary directory.

    Raises:
        UsageError: If there is a demo already, or it cannot be made.
    """
    if root is None:
        root = Path(tempfile.mkdtemp(prefix="quillmere-"))
    root = root.absolute()
    socket = root / "control.sock"
    if len(os.fsencode(socket)) > LONGEST_SOCKET_PATH:
        socket = Path(tempfile.mkdtemp(prefix="quillmere-")) / "control.sock"
    made = Directories(root, socket)
    if made.store.exists():
        raise UsageError(
            f"--state {root}: it holds a demo already; "
            "remove it or name another directory"
        )
    try:
        for directory in (made.secrets, made.store, made.mail):
            directory.mkdir(parents=True, exist_ok=True)
    except OSError as exc:
        raise UsageError(f"--state {root}: cannot be made ({exc.strerror})") from exc
    return made


def bend(text: str, *, broker_port: int, mail_port: int) -> str:
    """
    Turn the shipped site.toml into that of a demo on one machine.

    The broker is the embedded one, mail goes to the catcher. Left out is what the
    demo has not: telephones, whose addresses would be secrets, and fixed ports of
    other services. All else stays as it is shipped.

    Args:
        text: site.toml as shipped.
        broker_port: Free port for the embedded broker.
        mail_port: Port of the mail catcher.
    """
    told = re.search(r"^from = .*$", _table(text, "mail"), re.MULTILINE)
    sender = told[0] if told else 'from = "monitor@quillmere.example"'
    replaced = {
        "broker": f'[broker]\nembedded = true\nlisten = "127.0.0.1:{broker_port}"\n\n',
        "mail": (
            f'[mail]\nhost = "127.0.0.1"\nport = {mail_port}\n'
            f'security = "none"\n{sender}\n\n'
        ),
        "channel": "",
        "page": "",
        "mirror": "",
    }
    bent = "".join(_replaced(name, block, replaced) for name, block in _blocks(text))
    return re.sub(r"^channels = .*$", 'channels = ["mail"]', bent, flags=re.MULTILINE)


def _replaced(name: str, block: str, replaced: Mapping[str, str]) -> str:
    return replaced.get(name, block)


def _blocks(text: str) -> list[tuple[str, str]]:
    """The text in pieces that each begin with the header of a table."""
    starts = [(m.start(), m[1]) for m in _HEADER.finditer(text)]
    ends = [start for start, _ in starts[1:]] + [len(text)]
    first = starts[0][0] if starts else len(text)
    pieces = [
        (name, text[start:end]) for (start, name), end in zip(starts, ends, strict=True)
    ]
    return [("", text[:first]), *pieces]


def _table(text: str, name: str) -> str:
    return next((block for found, block in _blocks(text) if found == name), "")


def write_config(
    shipped: Path, target: Path, *, broker_port: int, mail_port: int
) -> None:
    """Copy the shipped configuration to *target*, with a site.toml for the demo."""
    shutil.copytree(shipped, target)
    site = target / "site.toml"
    bent = bend(
        site.read_text(encoding="utf-8"), broker_port=broker_port, mail_port=mail_port
    )
    site.write_text(bent, encoding="utf-8")
