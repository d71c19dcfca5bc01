"""Animals kept and followed together: begun, moved, advanced, counted, ended."""

from datetime import datetime
from typing import Literal, cast

import msgspec

from monitor.desk.asked import Asked
from monitor.desk.bands import clash
from monitor.desk.counts import FORMS, parse_count, spell_count
from monitor.desk.said import cohort_words, iso, iso_or_none, species_words, unknown
from monitor.desk.view import Outcome, View
from monitor.errors import RefusedError, UsageError
from monitor.site.house import Cohort, Place
from monitor.site.journal import (
    CohortAdvanced,
    CohortCounted,
    CohortEnded,
    CohortMoved,
    CohortStarted,
    Count,
)
from monitor.site.species_file import Species
from monitor.site.stays import Stay
from monitor.site.words import CountKind, PlaceKind

Sex = Literal["any", "female", "male"]
_SEXES = ("any", "female", "male")
_OPEN_PLACES = (PlaceKind.ROOM, PlaceKind.SHELF)


def start(asked: Asked) -> Outcome:
    """
    Begin to follow animals.

    Raises:
        UsageError: If species, stage, place, count or time is wrong.
        RefusedError: If they cannot live there, unless ``anyway``.
    """
    species = _species(asked)
    stage = _stage(species, asked.need("stage", "the stage"))
    count, place, at = _count(asked), asked.place("place"), asked.at()
    sex = asked.text("sex") or "any"
    if sex not in _SEXES:
        raise UsageError(f"--sex: {unknown('sex', sex, _SEXES)}")
    started = CohortStarted(
        asked.view.next_cohort,
        species.id,
        stage,
        count,
        place.id,
        cast("Sex", sex),
        asked.flag("colony"),
    )
    cohort = _new_cohort(started, at)
    name = f"the new {species.species.name} ({stage})"
    warnings = _may_live(asked, cohort, name, place)
    warnings += _before_place(asked, place, at)
    said = (
        f"Cohort {cohort.id}: {_how_many(cohort)} {species.species.name}, {stage}, in"
        f" {place.id} since {asked.when(at)}."
    )
    provisional = species.id in asked.view.library.provisional
    if provisional:
        said += " Its bands are provisional: from a template, not of this species."
    result = asked.told(
        said, at, id=cohort.id, provisional=provisional, warnings=warnings
    )
    return Outcome(result, entries=(asked.entry(started, at),))


def move(asked: Asked) -> Outcome:
    """
    Put a cohort into another place.

    Raises:
        UsageError: If cohort, place or time is wrong.
        RefusedError: If it lives there already, or cannot, unless ``anyway``.
    """
    at = asked.at()
    cohort, place = asked.cohort(at), asked.place("to", "where to")
    if cohort.place == place.id:
        raise RefusedError(f"cohort {cohort.id} lives in {place.id} already")
    name = cohort_words(cohort, asked.view.library)
    warnings = _may_live(asked, cohort, name, place)
    warnings += _before_place(asked, place, at)
    said = f"{_capital(name)} moved to {place.id} at {asked.when(at)}."
    return Outcome(
        asked.told(said, at, id=cohort.id, place=place.id, warnings=warnings),
        entries=(asked.entry(CohortMoved(cohort.id, place.id), at),),
    )


def advance(asked: Asked) -> Outcome:
    """
    Find a cohort in a later stage.

    Stages that are passed over get an entry each, as never seen. ``never_seen``
    says that nobody saw the new stage either: it is taken to have begun.

    Raises:
        UsageError: If cohort, stage or a time is wrong.
        RefusedError: If the stage is not a later one, unless ``anyway``.
    """
    at = asked.at()
    cohort = asked.cohort(at)
    species = asked.view.library.species.get(cohort.species)
    if species is None:
        raise RefusedError(
            f"no file describes {cohort.species!r}, the species of cohort"
            f" {cohort.id}: put its file back to advance it"
        )
    wanted, last_seen = asked.text("stage"), _last_seen(asked, cohort, at)
    passed, stage = _way(species, cohort, wanted, anyway=asked.flag("anyway"))
    seen = not asked.flag("never_seen")
    facts = [
        CohortAdvanced(cohort.id, skipped, seen=False, not_before=last_seen)
        for skipped in passed
    ]
    facts.append(CohortAdvanced(cohort.id, stage, seen=seen, not_before=last_seen))
    name = cohort_words(cohort, asked.view.library)
    verb = "found as" if seen else "taken to be"
    said = f"{_capital(name)} {verb} {stage} at {asked.when(at)}."
    if passed:
        said += f" Never seen: {', '.join(passed)}."
    later = msgspec.structs.replace(cohort, stage=stage)
    found = clash(
        later,
        cohort_words(later, asked.view.library),
        cohort.place,
        view=asked.view,
    )
    result = asked.told(
        said,
        at,
        id=cohort.id,
        stage=stage,
        never_seen=passed if seen else [*passed, stage],
        warnings=[f"{found}: move one of them"] if found else [],
    )
    return Outcome(result, entries=tuple(asked.entry(fact, at) for fact in facts))


def count(asked: Asked) -> Outcome:
    """
    Count a cohort.

    Raises:
        UsageError: If cohort or count is wrong.
        RefusedError: If it is a colony or has ended.
    """
    at = asked.at()
    cohort = asked.cohort(at)
    if cohort.colony:
        raise RefusedError(f"cohort {cohort.id} is a colony, which has no count")
    counted = parse_count(asked.need("count", "the count"))
    said = (
        f"{_capital(cohort_words(cohort, asked.view.library))}: {counted} at"
        f" {asked.when(at)}, before that {cohort.count}."
    )
    return Outcome(
        asked.told(said, at, id=cohort.id, **_count_row(counted)),
        entries=(asked.entry(CohortCounted(cohort.id, counted), at),),
    )


def end(asked: Asked) -> Outcome:
    """
    Follow a cohort no longer.

    Raises:
        UsageError: If cohort, reason or time is wrong.
        RefusedError: If it has ended.
    """
    at = asked.at()
    cohort = asked.cohort(at)
    last = max(s.since for s in (*cohort.places, *cohort.stages))
    if at < last:
        raise UsageError(
            f"--at: {asked.local(at)} is before the last move or change of stage of"
            f" cohort {cohort.id}, at {asked.local(last)}"
        )
    reason = asked.need("reason", "the reason")
    name = _capital(cohort_words(cohort, asked.view.library))
    said = f"{name} ended at {asked.when(at)}: {reason}."
    return Outcome(
        asked.told(said, at, id=cohort.id, reason=reason),
        entries=(asked.entry(CohortEnded(cohort.id, reason), at),),
    )


def list_cohorts(asked: Asked) -> Outcome:
    """Answer ``cohort list``: the living, or all that ever were."""
    view, everything = asked.view, asked.flag("all")
    chosen = view.house.cohorts.values() if everything else view.house.living()
    return Outcome(
        {
            "time": iso(view.now),
            "time_zone": asked.zone.key,
            "daemon": {"state": view.health.state},
            "cohorts": [
                cohort_row(cohort, view)
                for cohort in sorted(chosen, key=lambda c: c.id)
            ],
        }
    )


def cohort_row(cohort: Cohort, view: View) -> dict[str, object]:
    """A cohort with its account of warmth in the present stage, where it has one."""
    heat = view.heat.get(cohort.id)
    if heat is not None and heat.stage != cohort.stage:
        heat = None
    stage = view.library.stage(cohort.species, cohort.stage)
    return {
        "id": cohort.id,
        "species": cohort.species,
        "name": species_words(cohort.species, view.library),
        "provisional": cohort.species in view.library.provisional,
        "stage": cohort.stage,
        "stage_since": iso(cohort.stages[-1].since),
        "place": cohort.place,
        "place_since": iso(cohort.places[-1].since),
        "sex": cohort.sex,
        "colony": cohort.colony,
        **_count_row(cohort.count),
        "started_at": iso(cohort.started_at),
        "ended_at": iso_or_none(cohort.ended_at),
        "end_reason": cohort.end_reason,
        "degree_days": heat.degree_days if heat else None,
        "degree_days_low": heat.low if heat else None,
        "degree_days_high": heat.high if heat else None,
        "degree_days_required": heat.required if heat else None,
        "assumed_threshold": heat.assumed_threshold if heat else None,
        "coverage": heat.coverage if heat else None,
        "up_to": iso(heat.up_to) if heat else None,
        "sources": list(heat.sources) if heat else [],
        "acts": list(stage.acts) if stage else [],
        "caution": stage.caution if stage else None,
    }


def _count_row(count: Count) -> dict[str, object]:
    return {
        "count": count.number,
        "count_kind": count.kind.value,
        "count_spelled": spell_count(count),
    }


def _how_many(cohort: Cohort) -> str:
    return "a colony of" if cohort.colony else str(cohort.count)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _new_cohort(started: CohortStarted, at: datetime) -> Cohort:
    return Cohort(
        started.cohort,
        started.species,
        started.stage,
        started.place,
        started.count,
        started.sex,
        started.colony,
        at,
        (Stay(started.stage, at),),
        (Stay(started.place, at),),
    )


def _species(asked: Asked) -> Species:
    wanted, known = asked.need("species", "the species"), asked.view.library.species
    if wanted in known:
        return known[wanted]
    for species in known.values():
        names = (species.species.name, species.species.common_name or "")
        if wanted.casefold() in (name.casefold() for name in names):
            return species
    raise UsageError(unknown("species", wanted, sorted(known)))


def _stage(species: Species, wanted: str) -> str:
    """The stage as the species file spells it, in whatever case it was typed."""
    found = species.stage(wanted)
    if found is None:
        known = [stage.id for stage in species.stages]
        raise UsageError(unknown(f"stage of {species.id}", wanted, known))
    return found.id


def _count(asked: Asked) -> Count:
    text, colony = asked.text("count"), asked.flag("colony")
    if colony:
        if text is not None:
            raise UsageError("a colony has no count: leave out --count or --colony")
        return Count(CountKind.UNKNOWN)
    if text is None:
        raise UsageError(f"how many is missing: give --count {FORMS}, or --colony")
    return parse_count(text)


def _may_live(asked: Asked, cohort: Cohort, name: str, place: Place) -> list[str]:
    """Refuse what animals cannot bear together; tell it only, where they must."""
    view = asked.view
    found = [
        clash(cohort, name, place.id, view=view),
        _eaten(asked, cohort, name, place),
    ]
    told = [why for why in found if why]
    if told and not asked.flag("anyway"):
        raise RefusedError(
            f"{'; '.join(told)}; choose another place, or repeat it with --anyway"
        )
    alone = cohort.count == Count(CountKind.COUNTED, 1) and not cohort.colony
    if _eats_its_own(asked, cohort) and not alone:
        told.append(f"{name} eats its own kind: keep each in a tub of its own")
    return told


def _eats_its_own(asked: Asked, cohort: Cohort) -> bool:
    species = asked.view.library.species.get(cohort.species)
    return species is not None and species.species.eats_its_own


def _eaten(asked: Asked, cohort: Cohort, name: str, place: Place) -> str | None:
    if place.kind in _OPEN_PLACES or not _eats_its_own(asked, cohort):
        return None
    for other in asked.view.house.dwellers(place.id):
        if other.species == cohort.species and other.id != cohort.id:
            there = cohort_words(other, asked.view.library)
            return f"{name} eats its own kind, and {there} lives in {place.id}"
    return None


def _before_place(asked: Asked, place: Place, at: datetime) -> list[str]:
    if place.begun_at is None or at >= place.begun_at:
        return []
    said = f"{place.id} was set up at {asked.local(place.begun_at)}: "
    if place.parent_at(at) is not None:
        return [f"{said}warmth from before is that of the scrapped one of its number"]
    return [f"{said}no reading is known from before"]


def _last_seen(asked: Asked, cohort: Cohort, at: datetime) -> datetime | None:
    last_seen = asked.instant("last_seen")
    if last_seen is None:
        return None
    begun = cohort.stages[-1].since
    if not begun <= last_seen <= at:
        raise UsageError(
            f"--last-seen: {asked.local(last_seen)} is not between the beginning of"
            f" {cohort.stage}, {asked.local(begun)}, and {asked.local(at)}"
        )
    return last_seen


def _way(
    species: Species, cohort: Cohort, wanted: str | None, *, anyway: bool
) -> tuple[list[str], str]:
    """The stages passed over, and the stage come to."""
    order = [stage.id for stage in species.stages]
    # old journals have a stage as it was typed; a species file may have lost it
    known = species.stage(cohort.stage)
    here = order.index(known.id) if known else -1
    if wanted is None:
        if here + 1 >= len(order):
            raise RefusedError(
                f"cohort {cohort.id} is in the last stage of {species.id},"
                f" {cohort.stage}; use `cohort end` when it is no longer followed"
            )
        return [], order[here + 1]
    stage = _stage(species, wanted)
    there = order.index(stage)
    if there > here:
        return order[here + 1 : there] if here >= 0 else [], stage
    if anyway and there != here:
        return [], stage
    raise RefusedError(
        f"cohort {cohort.id} is {cohort.stage}; {stage} is not a later stage of"
        f" {species.id} ({', '.join(order)}); to mend a slip repeat it with --anyway"
    )
