"""An intake that runs in a thread of its own, and sensors for it."""

import contextlib
import threading
from collections.abc import Iterator, Sequence
from datetime import timedelta

from monitor.clock import SteadyClock
from monitor.intake.arrival import Arrival, Inbox
from monitor.intake.mqtt import BrokerAddress, MqttIntake
from monitor.site.site_file import Sensor
from monitor.site.words import Quantity, Unit
from tests.support.brokers import wait_for


def sensor(
    id_: str = "shelf-a-air",
    quantity: Quantity = Quantity.AIR_TEMPERATURE,
    *,
    place: str = "shelf-a",
    topic: str | None = None,
    pointer: str | None = None,
    unit: Unit | None = None,
    name_in_pack: str | None = None,
) -> Sensor:
    """Declare a sensor of the Quillmere Insectarium."""
    return Sensor(
        id=id_,
        place=place,
        quantity=quantity,
        topic=topic,
        interval=timedelta(minutes=5),
        pointer=pointer,
        unit=unit,
        name_in_pack=name_in_pack,
    )


class RunningIntake:
    """An intake in its thread, with all that it said."""

    def __init__(
        self,
        address: BrokerAddress,
        *,
        filters: Sequence[str] = ("rearing/#",),
        inbox: Inbox | None = None,
        keepalive: int = 20,
        receive_maximum: int = 1000,
    ) -> None:
        self.clock = SteadyClock()
        self.inbox = Inbox() if inbox is None else inbox
        self.changes: list[tuple[bool, str]] = []
        self.raised: BaseException | None = None
        self.intake = MqttIntake(
            address,
            filters,
            self.inbox,
            self.clock,
            status_topic="rearing-monitor/status",
            on_change=lambda up, words: self.changes.append((up, words)),
            keepalive=keepalive,
            receive_maximum=receive_maximum,
        )
        self.thread = threading.Thread(target=self._run, name="intake")

    def _run(self) -> None:
        try:
            self.intake.run()
        except BaseException as exc:  # noqa: BLE001 - kept for the test
            self.raised = exc

    @property
    def up(self) -> bool:
        """Whether it last said that it hears everything."""
        return bool(self.changes) and self.changes[-1][0]

    def take(self, count: int, within: float = 10.0) -> list[Arrival]:
        """Wait for messages, take and acknowledge them."""
        got: list[Arrival] = []

        def enough() -> bool:
            batch = self.inbox.take(count - len(got), 0.05)
            self.intake.acknowledge(batch)
            got.extend(batch)
            return len(got) >= count

        wait_for(enough, within)
        return got

    def stop(self) -> None:
        """Stop it within its bound."""
        assert self.intake.stop()
        self.thread.join(5)
        assert not self.thread.is_alive()


@contextlib.contextmanager
def running(
    port: int, *, wait: bool = True, address: BrokerAddress | None = None, **options
) -> Iterator[RunningIntake]:
    """Run an intake against a broker on 127.0.0.1; wait until it hears everything."""
    one = RunningIntake(address or BrokerAddress("127.0.0.1", port), **options)
    one.thread.start()
    try:
        if wait:
            wait_for(lambda: one.up)
        yield one
    finally:
        one.stop()
