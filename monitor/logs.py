"""Logs: one line of key=value per record on stderr, and repeats that are counted."""

import faulthandler
import json
import logging
import sys
import threading
from datetime import UTC, datetime

from monitor.errors import ConfigError

LEVELS = ("debug", "info", "warning", "error", "critical")
KEPT_KEYS = 1000
"""More than this many kinds of repeated error are counted as one."""

_STANDARD = frozenset(vars(logging.makeLogRecord({}))) | {"message", "asctime"}


class KeyValue(logging.Formatter):
    """
    Writes a record as one line of key=value.

    What was given as ``extra`` stands behind the event, in the order given. A value
    with blanks, quotes or control characters is quoted as in JSON, so that a
    traceback stays on the line of its record.
    """

    def format(self, record: logging.LogRecord) -> str:
        """One line, without the newline."""
        at = datetime.fromtimestamp(record.created, tz=UTC)
        fields: dict[str, object] = {
            "time": at.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
            "level": record.levelname.lower(),
            "from": record.name,
            "event": record.getMessage(),
        }
        fields |= {k: v for k, v in vars(record).items() if k not in _STANDARD}
        if record.exc_info:
            fields["exception"] = self.formatException(record.exc_info)
        if record.stack_info:
            fields["stack"] = record.stack_info
        return " ".join(f"{key}={_spelled(value)}" for key, value in fields.items())


def _spelled(value: object) -> str:
    text = str(value)
    plain = text.isprintable() and not set(text) & set(" \"'=\\")
    return text if text and plain else json.dumps(text, ensure_ascii=False)


def setup(level: str = "info") -> None:
    """
    Send all logs to stderr, warnings of Python and crashes of the interpreter too.

    Args:
        level: The lowest level that is written; a word of `LEVELS`.

    Raises:
        ConfigError: The level is none of `LEVELS`.
    """
    if level.lower() not in LEVELS:
        raise ConfigError(
            f"REARING_LOG: {level!r} is no level (one of {', '.join(LEVELS)})"
        )
    # S10: stdout is buffered under the journal and loses the lines before a crash
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(KeyValue())
    logging.basicConfig(level=level.upper(), handlers=[handler], force=True)
    logging.captureWarnings(capture=True)
    faulthandler.enable()


class Counted:
    """
    Logs an error that repeats at its 1st, 10th, 100th … time (S11).

    Safe for use from several threads.
    """

    def __init__(self, log: logging.Logger, level: int = logging.WARNING) -> None:
        self._log, self._level = log, level
        self._lock = threading.Lock()
        self._times: dict[str, int] = {}

    def again(self, event: str, /, *, key: str = "", **fields: object) -> int:
        """
        Count an error and log it if its number is a power of ten.

        Args:
            event: What happened, in words that stay the same.
            key: Tells errors apart whose event is the same, such as a host.
            fields: Added to the line.

        Returns:
            How often it happened since it was last `over`.
        """
        with self._lock:
            name = self._name(event, key)
            times = self._times[name] = self._times.get(name, 0) + 1
        if str(times).strip("0") == "1":
            self._log.log(self._level, "%s", event, extra=_extra(times, fields))
        return times

    def over(self, event: str, /, *, key: str = "", **fields: object) -> None:
        """Say once that a repeated error has ended; nothing where there was none."""
        with self._lock:
            times = self._times.pop(self._name(event, key), 0)
        if times:
            self._log.log(logging.INFO, "over: %s", event, extra=_extra(times, fields))

    def _name(self, event: str, key: str) -> str:
        name = f"{event}\0{key}"
        known = name in self._times or len(self._times) < KEPT_KEYS
        return name if known else "other"


def _extra(times: int, fields: dict[str, object]) -> dict[str, object]:
    # logging raises KeyError for a field that it names itself, such as "name"
    clear = {f"{k}_" if k in _STANDARD else k: v for k, v in fields.items()}
    return {"times": times, **clear}
