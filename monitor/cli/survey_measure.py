"""What a spare probe found in a place, from the store alone."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import msgspec

from monitor.accounts.instruments import Instruments, Readings
from monitor.cli.command import Context
from monitor.clock import EPOCH, clock_from_environment, from_us, to_us
from monitor.control.client import Argument
from monitor.desk.instants import past_instant
from monitor.desk.said import iso, listed, unknown
from monitor.desk.surveys import (
    behind,
    long_enough,
    no_reference,
    temperature_of,
    too_short,
)
from monitor.errors import RefusedError, UnreachableError, UsageError
from monitor.science.survey import Compared, compare
from monitor.site.house import Feed, House, Probe, fold
from monitor.site.load import load
from monitor.site.stays import Stay
from monitor.store.reader import Reader


def measure(
    place: str, sensor: str, since: str | None, until: str | None, context: Context
) -> dict[str, Argument]:
    """
    Compare a probe that was left in a place with what speaks for it otherwise.

    Args:
        place: The place.
        sensor: The probe.
        since: Only from this on; None for its whole last stay in the place.
        until: Only to this; None for all of it.
        context: Tells where store and configuration are.

    Returns:
        The arguments of the request ``place survey`` that rest on readings.

    Raises:
        UnreachableError: If there is no store.
        UsageError: If place, sensor or a time is wrong.
        RefusedError: If nothing is there to compare with, or too little of it.
    """
    if context.state is None:
        raise UnreachableError(
            "no store: set REARING_STATE to the state directory of the daemon"
        )
    reader, configuration = Reader.open(context.state), load(context.config)
    site = configuration.site
    now, zone = clock_from_environment().now(), ZoneInfo(site.site.time_zone)
    first, last = (
        _instant(name, text, zone, now)
        for name, text in (("since", since), ("until", until))
    )
    with reader.snapshot() as store:
        entries = store.entries()
        house = fold(site, entries, until=now)
        hung = _Hung(house, place, _probe(house, place, sensor), zone)
        begin, end = hung.window(first, last, now)
        feed = hung.reference(begin, end)
        # what is suspect for the accounts is so for a survey
        instruments = Instruments(site, entries, configuration.checks)
        found = _compared(store.readings, instruments, hung.probe, feed, (begin, end))
    return {
        "offset": found.offset_k,
        "spread": found.spread_k,
        "against": feed.place,
        "since": iso(from_us(found.first_us)),
        "until": iso(from_us(found.last_us)),
        "pairs": found.pairs,
        "measured_s": found.measured.total_seconds(),
    }


def _instant(
    name: str, text: str | None, zone: ZoneInfo, now: datetime
) -> datetime | None:
    if text is None:
        return None
    try:
        return past_instant(text, zone=zone, now=now)
    except UsageError as error:
        raise UsageError(f"--{name}: {error}") from None


def _probe(house: House, place: str, sensor: str) -> Probe:
    standing = sorted(p.id for p in house.places.values() if not p.scrapped_at)
    if place not in house.places:
        raise UsageError(unknown("place", place, standing))
    if place not in standing:
        raise RefusedError(f"{place} was scrapped: name a place that stands")
    if sensor not in house.probes:
        raise UsageError(f"--sensor: {unknown('sensor', sensor, sorted(house.probes))}")
    temperature_of(house, sensor)
    return house.probes[sensor]


class _Hung(msgspec.Struct, frozen=True):
    """A probe that hung in a place."""

    house: House
    place: str
    probe: Probe
    zone: ZoneInfo

    def window(
        self, since: datetime | None, until: datetime | None, now: datetime
    ) -> tuple[datetime, datetime]:
        """The last stay of the probe in the place, or the asked part of one."""
        probe, place = self.probe, self.place
        if since is not None and until is not None and not since < until:
            raise UsageError(
                f"--since {self._local(since)} is not before --until"
                f" {self._local(until)}"
            )
        stays = list(self._stays(now))
        if not stays:
            raise RefusedError(
                f"{probe.sensor} never hung in {place}; it hangs in {probe.place}:"
                f" `sensor move {probe.sensor} --to {place}` and leave it there for"
                " some days"
            )
        begin, end = since or EPOCH, until or now
        for first, last in reversed(stays):
            if first < end and begin < last:
                return max(first, begin), min(last, end)
        first, last = stays[-1]
        begun = "" if first == EPOCH else f"from {self._local(first)} "
        raise UsageError(
            f"{probe.sensor} did not hang in {place} then; last"
            f" {begun}to {self._local(last)}: mend --since or --until"
        )

    def _stays(self, now: datetime) -> Iterator[tuple[datetime, datetime]]:
        """When it hung there; its first stay has no beginning."""
        here, moves = self.house.places[self.place], self.probe.stays
        # what hung in a tub of the same number that was scrapped is not of this one
        begun = here.begun_at or EPOCH
        first = moves[0].since if moves else None
        for stay in (Stay(self.probe.first_place, EPOCH, first), *moves):
            until = stay.until or now
            if stay.what == self.place and until > begun:
                yield max(stay.since, begun), until

    def reference(self, begin: datetime, end: datetime) -> Feed:
        """
        What would have fed the place all the time, by probes that hung there always.

        Raises:
            RefusedError: If nothing would have, or something else for a part of it.
        """
        stays = [s for p in self.house.places.values() for s in p.stays]
        stays += [s for p in self.house.probes.values() for s in p.stays]
        found = self._behind(begin)
        for at in sorted({s.since for s in stays if begin < s.since < end}):
            feed = self._behind(at)
            kept = tuple(s for s in found.sensors if s in feed.sensors)
            if (feed.place, feed.quantity) != (found.place, found.quantity) or not kept:
                raise RefusedError(
                    f"{self.place} would have gone by {listed(found.sensors)} of"
                    f" {found.place} until {self._local(at)}, then by"
                    f" {listed(feed.sensors)} of {feed.place}: give --since or --until,"
                    " to survey one of them"
                )
            found = msgspec.structs.replace(found, sensors=kept)
        return found

    def _behind(self, at: datetime) -> Feed:
        found = behind(self.house, self.place, self.probe.quantity, at)
        if found is None:
            raise no_reference(self.place)
        return found

    def _local(self, at: datetime) -> str:
        return f"{at.astimezone(self.zone):%Y-%m-%d %H:%M}"


def _compared(
    readings: Readings,
    instruments: Instruments,
    probe: Probe,
    feed: Feed,
    window: tuple[datetime, datetime],
) -> Compared:
    """Compare with the probe of the reference that measured most of the time."""
    begin, end = window
    times, values = instruments.read(readings, probe.sensor, probe.quantity, begin, end)
    hung = (times >= to_us(begin)) & (times < to_us(end))
    best: Compared | None = None
    for sensor in feed.sensors:
        other = instruments.read(readings, sensor, feed.quantity, begin, end)
        widest = max(instruments.gap(probe.sensor), instruments.gap(sensor))
        try:
            found = compare(times[hung], values[hung], *other, max_gap=widest)
        except ValueError:
            # the store's times rise and its values are finite: too few pairs
            continue
        if best is None or found.measured > best.measured:
            best = found
    if best is None:
        raise too_short(probe.sensor, feed, timedelta(), 0)
    if not long_enough(best.measured, best.pairs):
        raise too_short(probe.sensor, feed, best.measured, best.pairs)
    return best
