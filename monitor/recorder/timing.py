"""Time as the recorder meets it: ticks, a set clock, a sleep."""

import logging
from datetime import datetime, timedelta

from monitor.clock import Clock
from monitor.heart.drive import TICK, tick_after
from monitor.heart.events import ClockStepped, Event, Started, Tick

log = logging.getLogger(__name__)

ASLEEP = timedelta(minutes=2)
"""A cycle that comes later than this was asleep: nobody was silent meanwhile."""


class Timing:
    """Turns the clock into events; one per recorder."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        now = clock.now()
        self._cycled = now
        self._ticked = tick_after(now) - TICK
        self._starting = True

    def events(self, now: datetime) -> list[Event]:
        """What time alone brings since the last cycle, up to *now*."""
        by = self._clock.take_step()
        if by is not None:
            return [self._stepped(now + by, by)]
        events: list[Event] = []
        if self._starting or now - self._cycled > ASLEEP:
            events.append(Started(now))
            self._ticked = max(self._ticked, tick_after(now) - 2 * TICK)
        self._starting, self._cycled = False, now
        while self._ticked + TICK <= now:
            self._ticked += TICK
            events.append(Tick(self._ticked))
        return events

    def _stepped(self, now: datetime, by: timedelta) -> Event:
        log.warning("clock was set", extra={"by_seconds": by.total_seconds()})
        self._ticked, self._cycled = tick_after(now) - TICK, now
        return ClockStepped(now, by)
