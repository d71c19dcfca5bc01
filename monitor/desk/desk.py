"""The desk: every request, and who answers it. Pure: nothing is stored here."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

from monitor.desk import alarms, cohorts, now, places, readings, sensors, surveys
from monitor.desk.asked import Asked, spelled
from monitor.desk.said import listed, unknown
from monitor.desk.view import Outcome, Request, View
from monitor.errors import UsageError


@dataclass(frozen=True, slots=True)
class Verb:
    """
    One kind of request.

    Attributes:
        answer: Answers it.
        args: The arguments that it knows; others are refused.
        changes: Whether it changes anything, so that only a daemon can do it.
    """

    answer: Callable[[Asked], Outcome]
    args: frozenset[str]
    changes: bool = True


def _verb(
    answer: Callable[[Asked], Outcome], names: str, *, changes: bool = True
) -> Verb:
    common = " at by note" if changes else ""
    return Verb(answer, frozenset((names + common).split()), changes)


def _answer(verb: alarms.Verb, names: str = "") -> Verb:
    # an answer counts from the moment it is given: it has no --at
    known = frozenset(f"id by note {names}".split())
    return Verb(partial(alarms.answer, verb=verb), known)


VERBS: Mapping[str, Verb] = {
    "now": _verb(now.now, "", changes=False),
    "alarms list": _verb(alarms.list_alarms, "all", changes=False),
    "alarms acknowledge": _answer("acknowledge"),
    "alarms shelve": _answer("shelve", "for"),
    "alarms unshelve": _answer("unshelve"),
    "alarms out-of-service": _answer("out-of-service"),
    "alarms return": _answer("return"),
    "place create": _verb(places.create, "ids kind in name"),
    "place move": _verb(places.move, "ids to"),
    "place scrap": _verb(places.scrap, "ids"),
    "place survey": _verb(
        surveys.add,
        "place sensor offset spread against since until pairs measured_s",
    ),
    "place list": _verb(places.list_places, "all", changes=False),
    "cohort start": _verb(cohorts.start, "species stage count place sex colony anyway"),
    "cohort move": _verb(cohorts.move, "id to anyway"),
    "cohort advance": _verb(cohorts.advance, "id stage never_seen last_seen anyway"),
    "cohort count": _verb(cohorts.count, "id count"),
    "cohort end": _verb(cohorts.end, "id reason"),
    "cohort list": _verb(cohorts.list_cohorts, "all", changes=False),
    "reading add": _verb(
        readings.add, "place quantity value minimum maximum since unit thermometer"
    ),
    "sensor move": _verb(sensors.move, "id to"),
    "sensor list": _verb(sensors.list_sensors, "", changes=False),
}
"""Every request by name; adding one is a line here."""


def perform(request: Request, view: View) -> Outcome:
    """
    Answer a request from a view, and say what must be carried out for it.

    Args:
        request: What is asked.
        view: The state of everything at one instant.

    Returns:
        Entries, answers and readings to carry out, and the result to reply with.

    Raises:
        UsageError: If the request or a value of it is wrong.
        RefusedError: If the rules of the house do not allow it.
    """
    verb = VERBS.get(request.do)
    if verb is None:
        raise UsageError(unknown("request", request.do, sorted(VERBS)))
    strange = sorted(request.args.keys() - verb.args)
    if strange:
        raise UsageError(
            f"{request.do}: no argument {listed(map(spelled, strange))}; there are:"
            f" {listed(map(spelled, sorted(verb.args)))}"
        )
    return verb.answer(Asked(request, view))
