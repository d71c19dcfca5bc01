"""Every transition of the standard, and no other."""

import itertools

import pytest

from monitor.alarms.alarm import AlarmState as S
from monitor.alarms.states import Move as M
from monitor.alarms.states import after

# ANSI/ISA-18.2-2016, alarm state transition diagram, as drawn in a public
# documentation source; the last row from memory. (from, move, active, to)
A, B, C, D, E, F, G = S
TRANSITIONS = [
    (A, M.ABNORMAL, True, B),
    (B, M.ACKNOWLEDGE, True, C),
    (B, M.RETURN, False, D),
    (C, M.RETURN, False, A),
    (C, M.REALARM, True, B),
    (D, M.ACKNOWLEDGE, False, A),
    *((s, M.SHELVE, True, E) for s in (A, B, C, D)),
    *((s, M.SUPPRESS, True, F) for s in (A, B, C, D)),
    *((s, M.REMOVE, True, G) for s in (A, B, C, D)),
    (E, M.UNSHELVE, False, A),
    (E, M.UNSHELVE, True, B),
    (F, M.UNSUPPRESS, False, A),
    (F, M.UNSUPPRESS, True, B),
    (G, M.PUT_BACK, False, A),
    (G, M.PUT_BACK, True, B),
    (D, M.ABNORMAL, True, B),
]


@pytest.mark.parametrize(("state", "move", "active", "to"), TRANSITIONS)
def test_each_transition_of_the_standard(state, move, active, to):
    """The machine goes where the figure goes."""
    assert after(state, move, active=active) is to


def test_no_transition_beyond_the_standard():
    """Whatever the figure does not show is refused."""
    known = {(s, m) for s, m, _, _ in TRANSITIONS}
    others = [p for p in itertools.product(S, M) if p not in known]

    assert others
    assert all(after(s, m, active=a) is None for s, m in others for a in (True, False))
