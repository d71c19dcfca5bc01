"""What stands, and keepers' answers to it."""

from datetime import datetime, timedelta
from typing import Literal

from monitor.alarms.alarm import SAID, Alarm, AlarmState
from monitor.alarms.registry import NEVER_MUTED, WORDS
from monitor.alarms.states import Move, after
from monitor.desk.asked import Asked
from monitor.desk.said import UNITS, iso, iso_or_none, listed, unknown, words
from monitor.desk.view import Outcome
from monitor.errors import RefusedError, UsageError
from monitor.heart.events import Answer
from monitor.site.spans import format_span, parse_span
from monitor.site.words import Quantity

SET_ASIDE = timedelta(hours=2)
"""How long an alarm is set aside where nobody says."""
LONGEST_ASIDE = timedelta(hours=24)
"""Nobody sets an alarm aside for longer: the next day somebody must look again."""

_ORDER = (
    AlarmState.UNACKNOWLEDGED,
    AlarmState.RETURNED,
    AlarmState.ACKNOWLEDGED,
    AlarmState.SHELVED,
    AlarmState.OUT_OF_SERVICE,
    AlarmState.SUPPRESSED,
    AlarmState.NORMAL,
)
_ASIDE = _ORDER.index(AlarmState.SHELVED)
Verb = Literal["acknowledge", "shelve", "unshelve", "out-of-service", "return"]
_MOVES: dict[Verb, Move] = {
    "acknowledge": Move.ACKNOWLEDGE,
    "shelve": Move.SHELVE,
    "unshelve": Move.UNSHELVE,
    "out-of-service": Move.REMOVE,
    "return": Move.PUT_BACK,
}
_DONE: dict[Verb, str] = {
    "acknowledge": "answered",
    "shelve": "set aside",
    "unshelve": "no longer set aside",
    "out-of-service": "taken out of use",
    "return": "back in use",
}


def pressing(alarm: Alarm) -> tuple[bool, int, int, datetime]:
    """Sorting key: what needs a keeper first comes first."""
    order = _ORDER.index(alarm.state)
    return (order >= _ASIDE, alarm.priority.rank, order, alarm.since)


def standing(alarms: tuple[Alarm, ...]) -> list[Alarm]:
    """Alarms that are not over, the most pressing first; those set aside last."""
    open_ones = (a for a in alarms if a.state is not AlarmState.NORMAL)
    return sorted(open_ones, key=pressing)


def alarm_row(alarm: Alarm) -> dict[str, object]:
    """An alarm as the contract and its readers want it."""
    unit = UNITS[Quantity(alarm.quantity)].value if alarm.quantity else None
    kind = WORDS.get(alarm.kind)
    return {
        "id": alarm.id,
        "thing": alarm.thing,
        "kind": alarm.kind,
        "title": kind.title if kind else alarm.kind,
        "first_action": kind.first_action if kind else "",
        "quantity": alarm.quantity.value if alarm.quantity else None,
        "unit": unit,
        "state": alarm.state.value,
        "said": SAID[alarm.state],
        "active": alarm.active,
        "priority": alarm.priority.value,
        "since": iso(alarm.since),
        "raised_at": iso(alarm.raised_at),
        "sensor": alarm.sensor,
        "value": alarm.value,
        "value_at": iso_or_none(alarm.value_at),
        "worst": alarm.worst,
        "limit": alarm.limit,
        "side": alarm.side.value if alarm.side else None,
        "trend_per_hour": alarm.trend_per_hour,
        "time_left_s": alarm.time_left.total_seconds() if alarm.time_left else None,
        "answered_by": alarm.answered_by,
        "answered_at": iso_or_none(alarm.answered_at),
        "set_aside_by": alarm.set_aside_by,
        "set_aside_until": iso_or_none(alarm.set_aside_until),
        "covered_by": alarm.covered_by,
        "over_at": iso_or_none(alarm.over_at),
        "detail": alarm.detail,
        "at_risk": [
            {
                "cohort": d.cohort,
                "species": d.species,
                "stage": d.stage,
                "count": d.count,
                "place": d.place,
                "acts": list(d.acts),
                "caution": d.caution,
            }
            for d in alarm.at_risk
        ],
        "told": [
            {"keeper": t.keeper, "at": iso(t.at), "why": t.why} for t in alarm.told
        ],
    }


def list_alarms(asked: Asked) -> Outcome:
    """Answer ``alarms list``."""
    view = asked.view
    chosen = (
        sorted(view.alarms, key=pressing)
        if asked.flag("all")
        else [a for a in standing(view.alarms) if a.state is not AlarmState.SUPPRESSED]
    )
    return Outcome(
        {
            "time": iso(view.now),
            "time_zone": asked.zone.key,
            "daemon": {"state": view.health.state},
            "alarms": [alarm_row(alarm) for alarm in chosen],
        }
    )


def answer(asked: Asked, verb: Verb) -> Outcome:
    """
    Take a keeper's word on an alarm.

    Raises:
        UsageError: If the alarm or the keeper is unknown, or a value is wrong.
        RefusedError: If the rules do not allow it in this state.
    """
    alarm = _find(asked)
    by = asked.keeper()
    if by is None:
        keepers = listed(k.id for k in asked.view.site.keepers)
        raise UsageError(f"who answers is missing: give --by KEEPER ({keepers})")
    note = asked.note()
    if verb == "out-of-service" and not note:
        raise UsageError(
            f"taking alarm {alarm.id} out of use needs a reason: give --note"
        )
    at = asked.view.now
    until = _until(asked, at) if verb == "shelve" else None
    if verb == "shelve" and alarm.kind in NEVER_MUTED:
        raise RefusedError(
            f"alarm {alarm.id} ({_named(alarm)}) says that animals are in danger:"
            " setting aside never mutes the danger limit; acknowledge it instead"
        )
    if after(alarm.state, _MOVES[verb], active=alarm.active) is None:
        raise RefusedError(_not_now(alarm, verb))
    said = f"Alarm {alarm.id} ({_named(alarm)}) is {_DONE[verb]} by {by}"
    if until is not None:
        said += f" until {asked.when(until)}"
    return Outcome(
        asked.told(
            said + ".", at, id=alarm.id, verb=verb, by=by, until=iso_or_none(until)
        ),
        answers=(Answer(at, alarm.id, verb, by, until, note),),
    )


def _find(asked: Asked) -> Alarm:
    name = asked.need("id", "the alarm")
    alarms = {str(alarm.id): alarm for alarm in asked.view.alarms}
    if name not in alarms:
        known = [f"{a.id} ({_named(a)})" for a in standing(asked.view.alarms)]
        if not known:
            raise UsageError(f"no alarm {name!r}: no alarm stands")
        raise UsageError(unknown("alarm", name, known))
    return alarms[name]


def _until(asked: Asked, at: datetime) -> datetime:
    text = asked.text("for")
    try:
        span = parse_span(text) if text else SET_ASIDE
    except ValueError as error:
        raise UsageError(f"--for: {error}") from None
    if span > LONGEST_ASIDE:
        raise UsageError(
            f"--for: {format_span(span)} is too long: at most"
            f" {format_span(LONGEST_ASIDE)}; for longer use `alarms out-of-service`"
        )
    return at + span


def _named(alarm: Alarm) -> str:
    parts = [alarm.thing, words(alarm.quantity) if alarm.quantity else "", alarm.kind]
    return " ".join(part for part in parts if part)


def _not_now(alarm: Alarm, verb: Verb) -> str:
    state = SAID[alarm.state]
    if alarm.state is AlarmState.ACKNOWLEDGED and verb == "acknowledge":
        return f"alarm {alarm.id} is answered already, by {alarm.answered_by}"
    mend = {
        AlarmState.SHELVED: "`alarms unshelve` it first",
        AlarmState.OUT_OF_SERVICE: "`alarms return` it first",
        AlarmState.SUPPRESSED: f"answer alarm {alarm.covered_by}, which covers it",
    }.get(alarm.state, "nothing is to be done about it this way")
    return f"alarm {alarm.id} is {state}, so it cannot be {_DONE[verb]}: {mend}"
