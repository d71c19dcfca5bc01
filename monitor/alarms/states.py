"""The state machine of one alarm: ANSI/ISA-18.2-2016, alarm state transitions."""

import enum

from monitor.alarms.alarm import AlarmState as S


class Move(enum.StrEnum):
    """What can happen to an alarm."""

    ABNORMAL = "abnormal condition"
    ACKNOWLEDGE = "acknowledge"
    RETURN = "return to normal"
    REALARM = "re-alarm"
    SHELVE = "shelve"
    UNSHELVE = "un-shelve"
    SUPPRESS = "designed suppression"
    UNSUPPRESS = "designed un-suppression"
    REMOVE = "remove from service"
    PUT_BACK = "return to service"


_OPEN = (S.NORMAL, S.UNACKNOWLEDGED, S.ACKNOWLEDGED, S.RETURNED)
_AWAY = {
    Move.SHELVE: S.SHELVED,
    Move.SUPPRESS: S.SUPPRESSED,
    Move.REMOVE: S.OUT_OF_SERVICE,
}
_BACK = {
    Move.UNSHELVE: S.SHELVED,
    Move.UNSUPPRESS: S.SUPPRESSED,
    Move.PUT_BACK: S.OUT_OF_SERVICE,
}
_PLAIN = {
    (S.NORMAL, Move.ABNORMAL): S.UNACKNOWLEDGED,
    (S.UNACKNOWLEDGED, Move.ACKNOWLEDGE): S.ACKNOWLEDGED,
    (S.UNACKNOWLEDGED, Move.RETURN): S.RETURNED,
    (S.ACKNOWLEDGED, Move.RETURN): S.NORMAL,
    (S.ACKNOWLEDGED, Move.REALARM): S.UNACKNOWLEDGED,
    (S.RETURNED, Move.ACKNOWLEDGE): S.NORMAL,
    # in the standard's figure; from memory, not seen in the source of the others
    (S.RETURNED, Move.ABNORMAL): S.UNACKNOWLEDGED,
}


def after(state: S, move: Move, *, active: bool = False) -> S | None:
    """
    Tell the state that a move leads to.

    Args:
        state: Where the alarm is.
        move: What happens to it.
        active: Whether the condition holds; decides where an alarm goes that
            comes back from shelf, suppression or out of service.

    Returns:
        The new state, or None where the standard has no such transition.
    """
    if move in _AWAY:
        return _AWAY[move] if state in _OPEN else None
    if move in _BACK:
        if state is not _BACK[move]:
            return None
        return S.UNACKNOWLEDGED if active else S.NORMAL
    return _PLAIN.get((state, move))
