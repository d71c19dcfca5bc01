"""
Channels beyond mail, by the library apprise (N1 to N4).

One object for one recipient and one address: its answer then means one thing. The
library logs addresses, which hold tokens, so it is not heard (S9).
"""

import logging
import warnings
from datetime import datetime
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

if TYPE_CHECKING:
    from apprise import Apprise

TIMEOUT = 60.0
"""Longest wait for one try. [s]"""


_QUIET = {
    "apprise": logging.CRITICAL + 1,
    "urllib3": logging.WARNING,
    "requests": logging.WARNING,
}
"""
S9: below these levels the logs show whole addresses, so REARING_LOG does not count.
"""


class AppriseChannel:
    """
    Short messages to one keeper.

    Args:
        name: Id of the channel in site.toml.
        address: The secret channel_<name>.
        clock: Tells how long is left until a deadline.
        timeout: Longest wait for one try. [s]

    Raises:
        ConfigError: If the address is none (N2); the text does not show it.
    """

    def __init__(
        self, *, name: str, address: str, clock: Clock, timeout: float = TIMEOUT
    ) -> None:
        self._name, self._clock, self._timeout = name, clock, timeout
        self._apprise = _one(name, address)

    def send(self, notice: OutgoingNotice, *, deadline: datetime) -> SendResult:
        """Try once; see `Channel.send`."""
        text = notice.short.strip() or notice.subject.strip()
        if not text:
            return FailedForGood(f"channel {self._name}: the notice has no words")
        left = self._clock.seconds(deadline - self._clock.now())
        if left <= 0:
            return FailedForNow(f"channel {self._name}: no time left")
        result = self._apprise.notify(
            body=text,
            body_format="text",
            interpret_escapes=False,
            timeout=min(self._timeout, left),
        )
        return outcome(self._name, result.status.name)


def outcome(name: str, status: str) -> SendResult:
    """
    Read the library's answer: only SUCCESS is sent (N1).

    PARTIAL cannot come of one recipient; if it does, nobody knows who was reached.

    Args:
        name: Id of the channel.
        status: Name of an `apprise.AppriseResultStatus`.
    """
    if status == "SUCCESS":
        return Sent()
    if status == "NOMATCH":
        return FailedForGood(f"channel {name}: no service behind its address")
    return FailedForNow(f"channel {name}: {status.lower()}, the library says no more")


def _one(name: str, address: str) -> "Apprise":
    # heavy, and of no use to a house that has only mail
    import apprise  # noqa: PLC0415

    for name_of_log, level in _QUIET.items():
        logging.getLogger(name_of_log).setLevel(level)
    found = apprise.Apprise()
    try:
        with warnings.catch_warnings():
            # its plugins are imported here, with deprecations that nobody can mend
            warnings.simplefilter("ignore", DeprecationWarning)
            added = found.add(address) and len(found) == 1
    except Exception as exc:  # noqa: BLE001 - a plugin's own; its text may hold the address
        raise ConfigError(_bad(name, type(exc).__name__)) from None
    if not added:
        raise ConfigError(_bad(name, "not understood"))
    return found


def _bad(name: str, what: str) -> str:
    return (
        f"secret channel_{name}: no address of exactly one recipient ({what}; not "
        "shown here); see the list of address forms of the apprise library, and its "
        "spelling of your service"
    )
