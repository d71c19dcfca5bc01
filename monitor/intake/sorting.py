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
        waiting: Untimed messages of the queue; each may yet become readings.
        retained_untimed: Kept values without a time: never readings.
        untimed_repeat: Repeats of the value that is stored already: dropped.
    """

    readings: list[Reading]
    rejected: list[Rejected]
    waiting: list[Rejected]
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
        waiting: list[Rejected] = []
        retained = repeats = 0
        for arrival in batch:
            results = self.decoder.decode(
                arrival.topic, arrival.payload, arrival.arrived_at
            )
            believed = self._believed(arrival, results, rejected)
            stored = self._stored_already(believed) if arrival.dup else _NOBODY
            held: Rejected | None = None
            for found in believed:
                sensor = found.reading.sensor
                if found.timed:
                    readings.append(found.reading)
                elif arrival.retain:
                    retained += 1
                elif sensor in stored:
                    repeats += 1
                    # Redelivery keeps the order: what waits is older than this.
                    self._waiting.pop(sensor, None)
                elif draining:
                    if held is None:
                        held = _apart(arrival, _WAITED)
                        rejected.append(held)
                        waiting.append(held)
                    self._waiting[sensor] = Promoted(found.reading, held)
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

    def _believed(
        self,
        arrival: Arrival,
        results: Iterable[Decoded | Rejected],
        rejected: list[Rejected],
    ) -> list[Decoded]:
        """Tell the readings of one device; sets apart all else."""
        believed: list[Decoded] = []
        mixed: dict[str, str] = {}
        for found in results:
            if isinstance(found, Rejected):
                rejected.append(found)
            elif found.origin is None or (arrival.retain and not found.timed):
                # what the broker kept and tells no time is no sign of a device
                believed.append(found)
            elif (reason := self._sources.mixed(found)) is not None:
                mixed.setdefault(found.reading.sensor, reason)
            else:
                believed.append(found)
        rejected += [_apart(arrival, reason) for reason in mixed.values()]
        return believed

    def _stored_already(self, results: Iterable[Decoded]) -> frozenset[str]:
        """Tell whose newest untimed value of a message is the one stored last."""
        newest = {
            found.reading.sensor: found.reading.value
            for found in results
            if not found.timed
        }
        return frozenset(
            sensor
            for sensor, value in newest.items()
            if self._stored.get(sensor) == value
        )


def _apart(arrival: Arrival, reason: str) -> Rejected:
    return set_apart(arrival.topic, arrival.payload, reason, arrival.arrived_at)
