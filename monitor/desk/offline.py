"""The view without a daemon: what the store last knew."""

from collections.abc import Iterable
from datetime import datetime
from pathlib import Path

from monitor.alarms.alarm import Alarm
from monitor.desk.view import Health, SetApart, View
from monitor.errors import UnreachableError
from monitor.site.house import fold
from monitor.site.load import load
from monitor.store.reader import Reader

NOT_RUNNING = "not running"
SHOWN_APART = 5
"""So many messages set apart are shown."""


def stored_view(
    config: Path, state: Path | None, now: datetime, *, closed: bool = False
) -> View:
    """
    Build a view from the files alone.

    Its readings are as old as they are, and its alarms stand as the daemon left
    them: whoever shows it says so.

    Args:
        config: Directory of site.toml.
        state: Directory of the store; None where none is known.
        now: The present.
        closed: Take the alarms that are over, too.

    Raises:
        UnreachableError: If there is no store.
        ConfigError: If the configuration is wrong.
    """
    if state is None:
        raise UnreachableError(
            "neither daemon nor store can be reached: set REARING_SOCKET to the"
            " daemon's socket, or REARING_STATE to the directory of its store"
        )
    reader = Reader.open(state)
    configuration = load(config)
    with reader.snapshot() as store:
        entries = store.entries()
        alarms: Iterable[Alarm] = store.alarms(open_only=not closed)
        latest = store.latest()
        apart = store.quarantined(SHOWN_APART)
        counters = store.counters()
        next_cohort = store.next_cohort_id()
    return View(
        now=now,
        site=configuration.site,
        library=configuration.library,
        house=fold(configuration.site, entries),
        alarms=tuple(alarms),
        latest=latest,
        heat={},
        health=Health(
            state=NOT_RUNNING,
            queue=0,
            quarantined=counters.get("quarantined", 0),
            committed=0,
            counters=counters,
            set_apart=tuple(SetApart(m.at, m.topic, m.reason) for m in apart),
        ),
        next_cohort=next_cohort,
    )
