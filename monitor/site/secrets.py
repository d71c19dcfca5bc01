"""Passwords, tokens and addresses that ring: files, required, never a default (C6)."""

import stat
from collections.abc import Mapping
from pathlib import Path

from monitor.errors import ConfigError
from monitor.site.load import Configuration

BROKER_PASSWORD = "broker_password"  # noqa: S105  the name of a file
MAIL_PASSWORD = "mail_password"  # noqa: S105  the name of a file
MIRROR_TOKEN = "mirror_token"  # noqa: S105  the name of a file
LARGEST = 16384


class Secrets:
    """The files of one directory, read when asked for and kept nowhere."""

    def __init__(self, directory: Path | None) -> None:
        self.directory = directory

    @classmethod
    def from_environment(cls, env: Mapping[str, str]) -> "Secrets":
        """Those of $CREDENTIALS_DIRECTORY, else of $REARING_SECRETS."""
        found = env.get("CREDENTIALS_DIRECTORY") or env.get("REARING_SECRETS")
        return cls(Path(found) if found else None)

    def get(self, name: str) -> str:
        """
        Read a secret, without the newline at its end.

        Args:
            name: Of the file, such as "broker_password".

        Raises:
            ConfigError: If there is no directory or file, or it is empty; names the
                file to make. Never tells what stands in it.
        """
        if self.directory is None:
            raise ConfigError(
                f"secret {name}: neither CREDENTIALS_DIRECTORY nor REARING_SECRETS is "
                f"set: make a directory with the file {name} (mode 0600) and set "
                "REARING_SECRETS to it"
            )
        path = self.directory / name
        try:
            content = path.read_bytes()
        except OSError as error:
            raise ConfigError(
                f"secret {name}: {path} cannot be read ({error.strerror}): make that "
                "file (mode 0600), the secret alone in it"
            ) from None
        return _text(content, path, name)

    def present(self, name: str) -> bool:
        """Whether a secret can be read."""
        try:
            self.get(name)
        except ConfigError:
            return False
        return True

    def open_to_others(self, name: str) -> bool:
        """Whether users other than its owner may read the file of a secret."""
        if self.directory is None:
            return False
        try:
            mode = (self.directory / name).stat().st_mode
        except OSError:
            return False
        return bool(mode & (stat.S_IRGRP | stat.S_IROTH))

    def __repr__(self) -> str:
        return f"Secrets({str(self.directory)!r})"


def _text(content: bytes, path: Path, name: str) -> str:
    fault = None
    text = ""
    if len(content) > LARGEST:
        fault = "is too long for a secret"
    else:
        try:
            text = content.decode()
        except UnicodeDecodeError:
            fault = "is no UTF-8 text"
    text = text.removesuffix("\n").removesuffix("\r")
    if fault is None and not text.strip():
        fault = "is empty"
    elif fault is None and ("\n" in text or "\0" in text):
        fault = "holds more than one line"
    if fault is not None:
        raise ConfigError(
            f"secret {name}: {path} {fault}: write the secret alone, on one line"
        )
    return text


def needed(configuration: Configuration) -> tuple[str, ...]:
    """
    Names of the secrets that a configuration uses.

    Args:
        configuration: As loaded.
    """
    site = configuration.site
    names: list[str] = []
    if site.broker is not None and site.broker.username is not None:
        names.append(BROKER_PASSWORD)
    if site.mail is not None and site.mail.username is not None:
        names.append(MAIL_PASSWORD)
    used = {channel for keeper in site.keepers for channel in keeper.channels}
    names.extend(channel_secret(c.id) for c in site.channels if c.id in used)
    if site.mirror is not None:
        names.append(MIRROR_TOKEN)
    return tuple(names)


def channel_secret(channel: str) -> str:
    """The name of the secret that holds the address of a channel."""
    return f"channel_{channel}"
