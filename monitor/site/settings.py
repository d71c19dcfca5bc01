"""Settings of the process, from the environment by the prefix REARING_ alone (C3)."""

from collections.abc import Iterable
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BeforeValidator, ValidationError
from pydantic_settings import BaseSettings, SettingsConfigDict

from monitor.errors import ConfigError
from monitor.logs import LEVELS
from monitor.site.checking import nearest, spell

PREFIX = "REARING_"
BEYOND = ("REARING_CLOCK",)
"""Variables of ours that other rooms read themselves."""


def _level(spelled: object) -> object:
    """A level in capitals, as either case is meant; what is none stays as it is."""
    known = isinstance(spelled, str) and spelled.lower() in LEVELS
    return str(spelled).upper() if known else spelled


class ProcessSettings(BaseSettings):
    """
    Where a process finds its things, and how much it says.

    Attributes:
        config: REARING_CONFIG, the directory of site.toml.
        state: REARING_STATE, where the store lies.
        socket: REARING_SOCKET, where changing commands speak to the daemon.
        secrets: REARING_SECRETS, where $CREDENTIALS_DIRECTORY is not set.
        log: REARING_LOG, the level of what is logged.
    """

    model_config = SettingsConfigDict(
        env_prefix=PREFIX, env_ignore_empty=True, extra="ignore", frozen=True
    )

    config: Path = Path("/etc/rearing-monitor")
    state: Path | None = None
    socket: Path | None = None
    secrets: Path | None = None
    log: Annotated[
        Literal["DEBUG", "INFO", "WARNING", "ERROR", "CRITICAL"],
        BeforeValidator(_level),
    ] = "INFO"


def process_settings() -> ProcessSettings:
    """
    Read the settings of this process.

    Raises:
        ConfigError: If one has a value that it cannot have.
    """
    try:
        return ProcessSettings()
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
    name = PREFIX + str(first["loc"][0]).upper()
    raise ConfigError(f"{name}: {spell(first['input'])}: {first['msg']}")


def unheard(names: Iterable[str]) -> list[str]:
    """
    Tell of variables that look like settings of ours and are none (C5).

    Args:
        names: Of all variables of the environment.
    """
    known = [PREFIX + name.upper() for name in ProcessSettings.model_fields]
    known.extend(BEYOND)
    return [
        f"{name} is set and means nothing: {nearest(name, known)}"
        for name in sorted(names)
        if name.startswith(PREFIX) and name not in known
    ]
