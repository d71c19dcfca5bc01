"""The edge of the summary: a week out of the store, read-only."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

from monitor.accounts.feeding import longest_gap
from monitor.accounts.hindsight import scores
from monitor.alarms.perhaps import within
from monitor.heart.events import AlarmChanged
from monitor.science.degree_days import Times, Values
from monitor.site.house import fold
from monitor.site.load import Configuration
from monitor.store.backup import BACKUPS, own_backups
from monitor.store.disk import disk_share_free
from monitor.store.figures import kept
from monitor.store.queries import Queries
from monitor.store.reader import Reader
from monitor.summary.sections.forecasts import MOST, SPAN
from monitor.summary.view import Copy, Kept, Refused, WeekView
from monitor.summary.week import Week, bounds

KEPT_APART = 10_000
"""So many refused messages the store keeps at most."""
_MICROSECOND = timedelta(microseconds=1)


@contextmanager
def view_of(
    reader: Reader, configuration: Configuration, week: Week, *, now: datetime
) -> Iterator[WeekView]:
    """
    Show a week of the store while the block lasts.

    The store is seen as it was at the beginning of the block; leave it soon, while it
    is open the write-ahead log cannot shrink (Q4).

    Args:
        reader: The store.
        configuration: Site and species, as they are declared now.
        week: One that has begun.
        now: The present. UTC.

    Raises:
        StoreError: If the store cannot be read.
    """
    site = configuration.site
    start, end = bounds(week, site.site.time_zone)
    until = min(end, now)
    gap = longest_gap(site)
    with reader.snapshot() as store:
        entries = store.entries()
        house = fold(site, entries, until=until)

        def readings(sensor: str, quantity: str) -> tuple[Times, Values]:
            reach = gap(sensor)
            # the reading exactly one gap after the end still closes its pair
            last = until + reach + _MICROSECOND
            return store.readings(sensor, quantity, start - reach, last)

        yield WeekView(
            week=week,
            start=start,
            end=end,
            until=until,
            site=site,
            library=configuration.library,
            house=house,
            readings=readings,
            gap=gap,
            entries=tuple(e for e in entries if start <= e.happened_at < until),
            alarms=tuple(_alarms(store, start, until)),
            account_days={
                cohort.id: tuple(store.account_days(cohort.id))
                for cohort in house.cohorts.values()
                if cohort.ended_at is None or cohort.ended_at >= start
            },
            refused=_refused(store, start, until),
            now=now,
            taken=within(store.perhaps(), start, until),
            kept=_kept(reader.path),
            scores=scores(
                configuration,
                house,
                entries,
                readings=store.readings,
                account_days=store.account_days,
                houses=[each.told for each in kept(reader.path.parent)[0]],
                now=until,
                since=until - SPAN,
                most=MOST,
            ),
        )


def _alarms(
    store: Queries, start: datetime, until: datetime
) -> Iterator[tuple[AlarmChanged, ...]]:
    for alarm in store.alarms():
        closed_before = alarm.closed_at is not None and alarm.closed_at < start
        if alarm.raised_at >= until or closed_before:
            continue
        changes = tuple(c for c in store.alarm_changes(alarm.id) if c.at < until)
        if changes:
            yield changes


def _refused(store: Queries, start: datetime, until: datetime) -> Refused:
    kept = store.quarantined(KEPT_APART)
    dropped = len(kept) == KEPT_APART and kept[-1].at >= start
    topics = tuple(m.topic for m in kept if start <= m.at < until)
    return Refused(topics, complete=not dropped)


def _kept(path: Path) -> Kept:
    """Files may come and go while they are looked at: what is gone counts nothing."""
    try:
        share = disk_share_free(path.parent)
    except OSError:
        share = None
    beside = [path.with_name(path.name + end) for end in ("", "-wal")]
    copies = own_backups(path.parent / BACKUPS)
    return Kept(
        size=sum(_size(one) or 0 for one in beside),
        free_share=share,
        backups=tuple(
            Copy(_dated(copy), size)
            for copy in copies
            if (size := _size(copy)) is not None
        ),
    )


def _dated(copy: Path) -> datetime:
    """When a backup was made, by its name."""
    stamp = copy.name.split("-")[1][:16]
    return datetime.strptime(stamp, "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)


def _size(path: Path) -> int | None:
    try:
        return path.stat().st_size
    except OSError:
        return None
