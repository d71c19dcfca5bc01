"""
Two devices in one series: whom to believe.

A wildcard topic, or a name in a pack that is not unique, may let several devices feed
one sensor. Which of them the keeper meant cannot be known, and to mix them would hide
what either of them says. So while two speak, neither is believed: the sensor falls
silent, which its own alarm tells, and the reason names both. A device that has been
quiet for as long as a silent sensor may be speaks no more: its successor counts.
"""

from datetime import datetime, timedelta

from monitor.intake.found import Decoded

MOST_ORIGINS = 16
"""So many devices are remembered per sensor, the latest."""

Span = tuple[datetime, datetime]


class Sources:
    """Remembers when which device measured for which sensor."""

    def __init__(self) -> None:
        self._heard: dict[str, dict[str, Span]] = {}

    def mixed(self, found: Decoded) -> str | None:
        """
        Take note of a reading.

        Args:
            found: A reading in whatever order of time.

        Returns:
            The sentence why it must not be used, or None.
        """
        origin, reading = found.origin, found.reading
        if origin is None:
            return None
        heard, at = self._heard.setdefault(reading.sensor, {}), reading.time
        rival = next(
            (
                name
                for name, (first, last) in heard.items()
                if name != origin.name
                and first - origin.window < at < last + origin.window
            ),
            None,
        )
        heard[origin.name] = _grown(heard.pop(origin.name, None), at, origin.window)
        while len(heard) > MOST_ORIGINS:
            del heard[next(iter(heard))]
        if rival is None:
            return None
        return (
            f"Sensor {reading.sensor}: {_shown(origin.name)} and {_shown(rival)} both "
            "feed it, so neither is believed: give each device a sensor with its own "
            "topic or full name_in_pack."
        )


def _grown(span: Span | None, at: datetime, window: timedelta) -> Span:
    """When a device has spoken lately, with a further reading of it."""
    if span is None or at - span[1] > window:
        return at, at
    first, last = span
    if first - at > window:
        return span
    return min(first, at), max(last, at)


def _shown(name: str) -> str:
    return "".join(c if c.isprintable() else repr(c)[1:-1] for c in name[:120])
