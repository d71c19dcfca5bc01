"""
Which messages count as readings, and with which time.

A message that tells no time means "now", unless it may have waited: one that the
broker kept for us, one that stood in the queue while we were away, or one that it
sends again. Those would turn an old value into the present state of an animal's
home.
"""

from collections.abc import Iterable, Mapping, Sequence
from operator import attrgetter

import msgspec

from monitor.heart.events import Reading
from monitor.intake.arrival import Arrival
from monitor.intake.decode import Decoded, Decoder, Rejected
from monitor.intake.found import rejected as set_apart
from monitor.intake.sources import Sources

QUEUED = "queued, time unknown"
"""Begins the reason of every message that waited and told no time."""
_WAITED = f"{QUEUED}: it may be hours old; let the device send the time with the value."


_NOBODY: frozenset[str] = frozenset()


class Promoted(msgspec.Struct, frozen=True):
    """
    The newest waiting value of a series, now a reading.

    Attributes:
        reading: With the arrival time of its message.
        was: The quarantined message; its topic and at find it there.
    """

    reading: Reading
    was: Rejected


class Sorted(msgspec.Struct, frozen=True):
    """
    What came out of a batch.

    Attributes:
        readings: In order of time.
        rejected: For the quarantine; those of `waiting` are among them.
        waiting: Untimed messages of the queue, with the reading each may become.
        retained_untimed: Kept values without a time: never readings.
        untimed_repeat: Repeats of the value that is stored already: dropped.
    """

    readings: list[Reading]
    rejected: list[Rejected]
    waiting: list[Promoted]
    retained_untimed: int = 0
    untimed_repeat: int = 0


class Sorter:
    """
    Sorts batches by one decoder; remembers what waits and what is stored last.

    Attributes:
        decoder: May be exchanged when the configuration is.
    """

    def __init__(
        self, decoder: Decoder, stored: Mapping[str, float] | None = None
    ) -> None:
        """
        Begin with nothing waiting.

        Args:
            decoder: Reads the payloads.
            stored: The newest stored value of each sensor; a broker may repeat
                what was stored just before a crash.
        """
        self.decoder = decoder
        self._stored: dict[str, float] = dict(stored or {})
        self._waiting: dict[str, Promoted] = {}
        self._sources = Sources()

    def sort(self, batch: Sequence[Arrival], *, draining: bool) -> Sorted:
        """
        Tell readings from what must not become one.

        Args:
            batch: Messages in order of arrival.
            draining: The queue of the broker has not been through yet since the
                last connect.
        """
        readings: list[Reading] = []
        rejected: list[Rejected] = []
        waiting: list[Promoted] = []
        retained = repeats = 0
        for arrival in batch:
            held: Rejected | None = None
            mixed: set[str] = set()
            results = self.decoder.decode(
                arrival.topic, arrival.payload, arrival.arrived_at
            )
            stored = self._stored_already(results) if arrival.dup else _NOBODY
            for found in results:
                if isinstance(found, Rejected):
                    rejected.append(found)
                elif arrival.retain and not found.timed:
                    retained += 1
                elif (reason := self._sources.mixed(found)) is not None:
                    if reason not in mixed:
                        mixed.add(reason)
                        rejected.append(_apart(arrival, reason))
                elif found.timed:
                    readings.append(found.reading)
                elif found.reading.sensor in stored:
                    repeats += 1
                    # Redelivery keeps the order: what waits is older than this.
                    self._waiting.pop(found.reading.sensor, None)
                elif draining:
                    if held is None:
                        held = _apart(arrival, _WAITED)
                        rejected.append(held)
                    promoted = Promoted(found.reading, held)
                    self._waiting[found.reading.sensor] = promoted
                    waiting.append(promoted)
                else:
                    readings.append(found.reading)
        readings.sort(key=attrgetter("time"))
        return Sorted(readings, rejected, waiting, retained, repeats)

    def drained(self) -> list[Promoted]:
        """
        Promote the newest waiting message of each series; the rest stays quarantined.

        Call it when the queue has been through. The readings go to the store and
        the messages out of the quarantine in one transaction.
        """
        promoted = sorted(self._waiting.values(), key=attrgetter("reading.time"))
        self._waiting.clear()
        return promoted

    def stored(self, readings: Iterable[Reading]) -> None:
        """Remember what a commit has made durable."""
        for reading in readings:
            self._stored[reading.sensor] = reading.value

    def _stored_already(self, results: Iterable[Decoded | Rejected]) -> frozenset[str]:
        """Tell whose newest untimed value of a message is the one stored last."""
        newest = {
            found.reading.sensor: found.reading.value
            for found in results
            if isinstance(found, Decoded) and not found.timed
        }
        return frozenset(
            sensor
            for sensor, value in newest.items()
            if self._stored.get(sensor) == value
        )


def _apart(arrival: Arrival, reason: str) -> Rejected:
    return set_apart(arrival.topic, arrival.payload, reason, arrival.arrived_at)
