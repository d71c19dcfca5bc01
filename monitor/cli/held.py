"""What a store holds, in words and for programs; needs no configuration."""

from monitor.desk.said import iso
from monitor.heart.events import Reading
from monitor.store.tally import Tally

_MB, _GB = 1e6, 1e9


def held(found: Tally) -> str:
    """Counts and the newest reading, on one line."""
    counts = [
        _counted(found.readings, "reading", "readings"),
        _counted(found.alarms, "alarm", "alarms"),
        _counted(found.entries, "journal entry", "journal entries"),
    ]
    if found.newest is not None:
        counts.append(f"newest reading {instant(found.newest)}")
    return ", ".join(counts)


def instant(reading: Reading) -> str:
    """When a reading was measured, UTC: the zone of a site may not be known here."""
    return f"{reading.time:%Y-%m-%d %H:%M} UTC"


def held_json(found: Tally) -> dict[str, object]:
    """The same for programs."""
    newest = found.newest
    return {
        "readings": found.readings,
        "alarms": found.alarms,
        "entries": found.entries,
        "newest_reading": None
        if newest is None
        else {
            "sensor": newest.sensor,
            "quantity": newest.quantity,
            "time": iso(newest.time),
        },
    }


def size_words(size: int) -> str:
    """Bytes as people say them; SI prefixes."""
    return f"{size / _GB:.2f} GB" if size >= _GB else f"{size / _MB:.1f} MB"


def _counted(number: int, one: str, more: str) -> str:
    return f"{number} {one if number == 1 else more}"
