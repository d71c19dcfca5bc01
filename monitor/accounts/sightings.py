"""
Between which instants each stage of a cohort began and ended, as keepers saw it.

Nobody sees the change itself. A stage began after the last instant at which the
cohort was seen in an earlier one, and before the first at which it was seen in it or
in a later one; stages that nobody saw share the bounds of those around them.

Where a keeper found a visible change without saying when the stage before was last
seen, it is taken to have come since the look before: the shortest round of the stage,
else a week (common practice, no source). A cohort that still is in a visible stage is
taken to be in it up to one such look ago. What happens underground is known only from
what was found.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime, timedelta
from typing import NamedTuple

import msgspec

from monitor.site.house import Cohort
from monitor.site.journal import (
    CohortAdvanced,
    CohortCounted,
    CohortEnded,
    CohortStarted,
    Entry,
)
from monitor.site.species_file import Species, Stage

WEEK = timedelta(days=7)
"""Between two looks where the species file asks for no round: common practice."""

DIED = ("died", "dead", "death")
"""Words of a reason that say that animals died."""


class StageSpan(msgspec.Struct, frozen=True, kw_only=True):
    """
    A stage of a cohort between what is known of its ends.

    Attributes:
        cohort: The cohort's id.
        stage: The stage.
        begun_after: It began at this instant or later. UTC.
        begun_by: And at this or earlier. UTC.
        ended_after: It lasted at least to this instant. UTC.
        ended_by: And ended at this or earlier; None where nobody saw it end. UTC.
        taken: An end rests on the look before, which nobody noted.
        unseen: Nobody ever saw the stage.
    """

    cohort: int
    stage: str
    begun_after: datetime
    begun_by: datetime
    ended_after: datetime
    ended_by: datetime | None
    taken: bool = False
    unseen: bool = False


class _Sighting(NamedTuple):
    """At an instant a cohort was in one of the stages *least* to *most*."""

    at: datetime
    least: int
    most: int
    taken: bool = False


def spans_of(
    cohort: Cohort, species: Species, entries: Iterable[Entry], *, now: datetime
) -> tuple[StageSpan, ...]:
    """
    Tell what is known of each stage that a cohort went through here.

    The stage that it was in when it came is left out, unless it is the first of its
    species: eggs count from the day on which they are followed. Colonies have no
    stage of their own, and what an unknown stage follows cannot be told.

    Args:
        cohort: The animals.
        species: Theirs.
        entries: What the journal says of this cohort, in any order.
        now: The present. UTC.
    """
    if cohort.colony:
        return ()
    seeing = _Seeing(species)
    for entry in sorted(entries, key=lambda e: (e.happened_at, e.id)):
        if entry.happened_at <= now:
            seeing.take(entry)
    if seeing.stage is None:
        return ()
    if cohort.ended_at is None or cohort.ended_at > now:
        seeing.look_around(now)
    return tuple(_spans(cohort.id, species, seeing))


def died(reason: str | None) -> bool:
    """Whether the reason of an end says that the animals died."""
    return any(word in (reason or "").casefold().split() for word in DIED)


def adult(stage: Stage) -> bool:
    """Whether animals in a stage have come through to adults."""
    return "adult" in stage.id.casefold().split("-")


def by_cohort(entries: Iterable[Entry]) -> dict[int, list[Entry]]:
    """Sort what the journal says of cohorts by cohort."""
    found: dict[int, list[Entry]] = {}
    for entry in entries:
        fact = entry.fact
        if isinstance(
            fact, CohortStarted | CohortAdvanced | CohortCounted | CohortEnded
        ):
            found.setdefault(fact.cohort, []).append(entry)
    return found


class _Seeing:
    """What keepers saw of one cohort, in order."""

    def __init__(self, species: Species) -> None:
        self._stages = species.stages
        self._order = {s.id.casefold(): i for i, s in enumerate(species.stages)}
        self._recorded: list[tuple[datetime, int]] = []
        self.sightings: list[_Sighting] = []
        self.first: int | None = None

    @property
    def stage(self) -> int | None:
        """The stage that the journal holds the cohort to be in."""
        return self._recorded[-1][1] if self._recorded else None

    def take(self, entry: Entry) -> None:
        """Let an entry happen."""
        at, fact = entry.happened_at, entry.fact
        match fact:
            case CohortStarted(stage=stage):
                self.first = self._order.get(stage.casefold())
                if self.first is not None:
                    self._recorded.append((at, self.first))
                    self._see(at, self.first, self.first)
            case CohortAdvanced() if self.stage is not None:
                self._advance(at, fact)
            case CohortCounted() if self.stage is not None:
                self._see(at, self._least(), self.stage)
            case CohortEnded(reason=reason) if self.stage is not None:
                self.look_around(at)
                if self.stage == len(self._stages) - 1 and died(reason):
                    self._end_of_life(at)
            case _:
                pass

    def look_around(self, at: datetime) -> None:
        """Nothing new was noted by *at*: a visible change would have been."""
        here = self.stage
        if here is None or self._stages[here].unseen:
            return
        following = self._stages[here + 1 : here + 2]
        if not any(stage.unseen for stage in following):
            self._look_before(at, here)

    def _advance(self, at: datetime, fact: CohortAdvanced) -> None:
        there = self._order.get(fact.stage.casefold())
        here = self.stage
        if there is None or here is None:
            return
        if there < here:
            # a slip is mended: what was seen later was not there
            self.sightings = [s for s in self.sightings if s.least <= there]
            self._recorded = [r for r in self._recorded if r[1] <= there]
        before = self._recorded_at(fact.not_before, at)
        if fact.not_before is not None and before is not None and before < there:
            self._see(min(fact.not_before, at), min(self._least(), before), before)
        elif fact.seen and there > 0 and not self._stages[there].unseen:
            self._look_before(at, there - 1)
        self._recorded.append((at, there))
        if fact.seen:
            self._see(at, there, there)

    def _end_of_life(self, at: datetime) -> None:
        last = len(self._stages) - 1
        if adult(self._stages[last]):
            self._see(at, last + 1, last + 1)

    def _look_before(self, at: datetime, most: int) -> None:
        """Take it that a keeper looked one round before and saw nothing new."""
        if not self.sightings:
            return
        last = max(s.at for s in self.sightings)
        look = max(at - _round(self._stages[most]), last)
        self._see(min(look, at), self._least(), most, taken=look > last)

    def _recorded_at(self, not_before: datetime | None, at: datetime) -> int | None:
        """The stage that the journal told of before *at*, at *not_before*."""
        if not_before is None:
            return None
        known = [r for since, r in self._recorded if since <= not_before and since < at]
        return known[-1] if known else None

    def _least(self) -> int:
        return max((s.least for s in self.sightings), default=0)

    def _see(self, at: datetime, least: int, most: int, *, taken: bool = False) -> None:
        self.sightings.append(_Sighting(at, least, most, taken))


def _spans(cohort: int, species: Species, seeing: _Seeing) -> Iterator[StageSpan]:
    first = seeing.first
    if first is None:
        return
    for number in range(first if first == 0 else first + 1, len(species.stages)):
        begun = _bounds(seeing.sightings, number)
        ended = _bounds(seeing.sightings, number + 1)
        if begun is None or ended is None or begun[1] is None:
            continue
        after, by = begun[0].at, begun[1].at
        if number == 0:
            after = by
        last, found = ended
        if after > by or (found is not None and last.at > found.at):
            continue
        marks = [begun[0], last] if number else [last]
        yield StageSpan(
            cohort=cohort,
            stage=species.stages[number].id,
            begun_after=after,
            begun_by=by,
            ended_after=last.at,
            ended_by=None if found is None else found.at,
            taken=any(mark.taken for mark in marks),
            unseen=not any(s.least == s.most == number for s in seeing.sightings),
        )


def _bounds(
    sightings: Sequence[_Sighting], number: int
) -> tuple[_Sighting, _Sighting | None] | None:
    """The last sighting before a stage and the first in it or later."""
    before = [s for s in sightings if s.most < number]
    since = [s for s in sightings if s.least >= number]
    if not before:
        # the first stage: it began when the cohort was first seen
        return (min(since), min(since)) if since else None
    return max(before), min(since) if since else None


def _round(stage: Stage) -> timedelta:
    return min((due.every for due in stage.due), default=WEEK)
