"""Every transition of the standard, and no other."""

import itertools

import pytest

from monitor.alarms.alarm import AlarmState as S
from monitor.alarms.states import Move, after

# ANSI/ISA-18.2-2016, alarm state transition diagram, as drawn in a public
# documentation source; the last row from memory. (from, move, active, to)
A, B, C, D, E, F, G = S
TRANSITIONS = [
    (A, Move.ABNORMAL, True, B),
    (B, Move.ACKNOWLEDGE, True, C),
    (B, Move.RETURN, False, D),
    (C, Move.RETURN, False, A),
    (C, Move.REALARM, True, B),
    (D, Move.ACKNOWLEDGE, False, A),
    *((s, Move.SHELVE, True, E) for s in (A, B, C, D)),
    *((s, Move.SUPPRESS, True, F) for s in (A, B, C, D)),
    *((s, Move.REMOVE, True, G) for s in (A, B, C, D)),
    (E, Move.UNSHELVE, False, A),
    (E, Move.UNSHELVE, True, B),
    (F, Move.UNSUPPRESS, False, A),
    (F, Move.UNSUPPRESS, True, B),
    (G, Move.PUT_BACK, False, A),
    (G, Move.PUT_BACK, True, B),
    (D, Move.ABNORMAL, True, B),
]


@pytest.mark.parametrize(("state", "move", "active", "to"), TRANSITIONS)
def test_each_transition_of_the_standard(state, move, active, to):
    """The machine goes where the figure goes."""
    assert after(state, move, active=active) is to


def test_no_transition_beyond_the_standard():
    """Whatever the figure does not show is refused."""
    known = {(s, m) for s, m, _, _ in TRANSITIONS}
    others = [p for p in itertools.product(S, Move) if p not in known]

    assert others
    assert all(after(s, m, active=a) is None for s, m in others for a in (True, False))
