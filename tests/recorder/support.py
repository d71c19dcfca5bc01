"""A recorder on a real store, driven cycle by cycle on a clock that stands still."""

from datetime import timedelta

from monitor.desk.view import Request
from monitor.intake.arrival import Arrival, Inbox
from monitor.recorder.recorder import Recorder
from monitor.recorder.starting import open_store
from monitor.site.load import Configuration
from monitor.testing import FakeClock
from tests.heart.house import LIBRARY, T0, site

TOPIC = "rearing/shelf-a/air_temperature"


class FakeIntake:
    """An intake that keeps what was acknowledged."""

    def __init__(self):
        self.draining = False
        self.through = True
        self.acknowledged = []
        self.on_acknowledge = lambda: None

    def note_empty(self, _now):
        """The backlog is through, unless a test says otherwise."""
        self.draining = self.draining and not self.through

    def acknowledge(self, arrivals):
        """Keep them."""
        self.on_acknowledge()
        self.acknowledged += arrivals


def configuration(tmp_path, **changes):
    """The small house as a loaded configuration."""
    return Configuration(
        site=site(**changes),
        library=LIBRARY,
        sources={},
        path=tmp_path,
        hash="c0ffee",
        text={"site.toml": "invented"},
    )


class Bench:
    """A recorder and all that it touches."""

    def __init__(self, tmp_path, *, at=T0, **changes):
        self.path = tmp_path / "state"
        self.path.mkdir(exist_ok=True)
        self.configuration = configuration(tmp_path, **changes)
        self.clock = FakeClock(at)
        self.mids = 0
        self.open()

    def open(self):
        """Open the store and make a recorder of what it holds."""
        self.store = open_store(self.path, self.configuration, self.clock)
        self.writer = self.store.ledger.writer
        self.intake = FakeIntake()
        self.recorder = Recorder(
            living=self.store.living,
            ledger=self.store.ledger,
            inbox=Inbox(),
            intake=self.intake,
            clock=self.clock,
            latest=self.store.latest,
        )

    def close(self):
        """End without a word, as a kill does."""
        self.writer.close()

    def arrival(self, payload, *, topic=TOPIC, **more):
        """A message that has just come."""
        self.mids += 1
        fields = {"retain": False, "dup": False, "qos": 1, "generation": 1} | more
        return Arrival(
            topic=topic,
            payload=payload if isinstance(payload, bytes) else str(payload).encode(),
            mid=self.mids,
            arrived_at=self.clock.now() + timedelta(microseconds=self.mids),
            **fields,
        )

    def cycle(self, *payloads, after=timedelta(0)):
        """Some time, then a cycle with messages."""
        self.clock.advance(after)
        self.recorder.cycle([self.arrival(p) for p in payloads])

    def wait(self, span, step=timedelta(seconds=10)):
        """Cycles without messages."""
        end = self.clock.now() + span
        while self.clock.now() < end:
            self.cycle(after=step)

    def ask(self, do, **args):
        """A request, answered in the next cycle."""
        return self.recorder.serve(Request(do, args), self.clock.now())

    def alarms(self, kind=None):
        """Live alarms, of one kind where it is given."""
        alarms = self.recorder.living.state.alarms.values()
        return [a for a in alarms if kind in (None, a.kind)]

    def stored(self):
        """(seconds since T0, value) of shelf A's air as the store has it."""
        queries = self.writer.reader()
        day = timedelta(days=3)
        times, values = queries.readings(
            "shelf-a-air", "air_temperature", T0 - day, T0 + day
        )
        zero = int(T0.timestamp() * 1e6)
        return [
            ((t - zero) // 1_000_000, v)
            for t, v in zip(times.tolist(), values.tolist(), strict=True)
        ]

    def notices(self):
        """(keeper, why) of every notice of the outbox."""
        return [(n.keeper, n.why) for n in self.writer.reader().notices()]
