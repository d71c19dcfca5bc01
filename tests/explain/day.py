"""A day of one room, recorded by the real recorder in a real store."""

from datetime import timedelta

from monitor.site.load import load
from monitor.store.rows import NoticeUpdate
from tests.heart.house import T0
from tests.life.house import PROBE
from tests.recorder.support import Bench

MIN = timedelta(minutes=1)
HOUR = timedelta(hours=1)
HALF = 30 * MIN


class Recorded(Bench):
    """A recorder that goes by the files of a directory."""

    def __init__(self, tmp_path, files):
        self.files = files
        super().__init__(tmp_path)

    def open(self):
        """Open the store under the configuration of the files."""
        self.configuration = load(self.files)
        super().open()
        # the machine that runs the tests is not what is recorded
        self.store.ledger.disk_share_free = lambda: 0.5
        self.recorder.signals.broker(True, "connected")  # noqa: FBT003 - a callback

    def hear(self, values, *, after=HALF):
        """Time in steps that no daemon sleeps through, then one message a sensor."""
        end = self.clock.now() + after
        while self.clock.now() + 100 * timedelta(seconds=1) < end:
            self.cycle(after=timedelta(seconds=100))
        self.clock.advance(end - self.clock.now())
        topics = {s: f"rearing/{place}/{q}" for s, (place, q) in PROBE.items()}
        self.recorder.cycle(
            [self.arrival(v, topic=topics[s]) for s, v in values.items()]
        )


def usual(**changed):
    """Each probe at 24 degC but those named; None leaves one out."""
    named = {name.replace("_", "-"): value for name, value in changed.items()}
    values = dict.fromkeys(PROBE, 24.0) | named
    return {sensor: value for sensor, value in values.items() if value is not None}


def live_through(bench):
    """
    Thirteen hours from noon: shelf A too cold for pupae, shelf C silent, no broker.

    At noon pupae come to shelf A. It is too cold for them from 13:30 to 15:30; Ines
    answers at 14:40. Shelf C is silent from 17:00 to 20:30. The broker is gone for
    two hours from 20:45 on.
    """
    assert bench.ask("place create", ids=["tub-1"], **{"in": "warm-room-a"}).ok
    started = bench.ask(
        "cohort start",
        species="dynastes-hercules",
        stage="pupa",
        count="4",
        place="tub-1",
    )
    assert started.ok, started.error
    for value in (24.0, 23.5, 19.0, 18.5):
        bench.hear(usual(shelf_a_air=value))
    [alarm] = bench.alarms("outside-tolerated")
    bench.hear(usual(shelf_a_air=18.2), after=HALF)
    bench.hear({}, after=10 * MIN)
    answered = bench.ask(
        "alarms acknowledge", id=str(alarm.id), by="ines", note="heater off, going"
    )
    assert answered.ok, answered.error
    bench.hear(usual(shelf_a_air=19.4), after=20 * MIN)
    bench.hear(usual(shelf_a_air=20.2))
    bench.hear(usual(shelf_a_air=22.0))
    bench.hear(usual(shelf_a_air=23.0))
    bench.hear(usual())
    for _ in range(6):
        bench.hear(usual(shelf_c_air=None))
    bench.hear(usual())
    _broker_goes(bench)
    for _ in range(4):
        bench.hear(usual())
    return bench


def _broker_goes(bench):
    bench.hear({}, after=15 * MIN)
    signals = bench.recorder.signals
    signals.broker(False, "connection refused")  # noqa: FBT003 - a callback
    signals._down_since -= 61
    bench.hear({}, after=2 * HOUR)
    signals.broker(True, "connected")  # noqa: FBT003 - a callback
    bench.hear(usual(), after=MIN)


def post(bench):
    """The first notice is sent, the second is refused for good."""
    at = T0 + 2 * HOUR
    first, second, *_ = bench.writer.reader().notices()
    bench.recorder.report(
        NoticeUpdate(id=first.id, state="sent", channel=0, attempts=1, sent_at=at)
    )
    bench.recorder.report(
        NoticeUpdate(
            id=second.id,
            state="failed",
            channel=0,
            attempts=3,
            last_error="550 no such mailbox",
        )
    )
    bench.cycle()
