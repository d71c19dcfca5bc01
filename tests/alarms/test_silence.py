"""Who a silence put at risk."""

from monitor.site.journal import CohortEnded, CohortStarted, Count
from monitor.site.words import CountKind
from tests.heart.house import MIN, T0, Run, begin, entry


def test_who_came_after_a_silence_was_not_at_risk():
    """An unanswered alarm that is over goes on naming those of its time."""
    run = Run(begin(), quiet=True)
    run.read(24.0)
    run.wait(20 * MIN)
    run.read(24.0)
    later = begin(
        entry(CohortEnded(1, "given away"), T0),
        entry(CohortStarted(3, "beetle", "egg", Count(CountKind.COUNTED, 9), "tub-1")),
    ).plan
    run.state = type(run.state)(
        later, run.state.series, run.state.timers, run.state.alarms, run.state.core
    )
    run.wait(MIN)

    [alarm] = [a for a in run.alarms("silent") if a.thing == "shelf-a-air"]
    assert not alarm.active
    assert [(d.cohort, d.stage) for d in alarm.at_risk] == [(1, "larva")]
