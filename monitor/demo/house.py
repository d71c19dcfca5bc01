"""
The simulated house, a process of its own: ``python -m monitor.demo.house``.

It knows nothing of the daemon. It lives by the clock of REARING_CLOCK, publishes over
MQTT like the devices of a real house, and does what is said on its standard input,
one order a line, such as ``heater warm-room-d dead``. When its standard input ends,
it ends too, so that it cannot outlive whoever started it.
"""

import argparse
import contextlib
import sys
import threading
import time
from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path
from queue import Empty, SimpleQueue

import msgspec
import numpy as np
import paho.mqtt.client as mqtt

from monitor.clock import ScaledClock, SteadyClock, clock_from_environment, from_us
from monitor.demo.messages import messages
from monitor.demo.physics import Weather
from monitor.demo.plan import felt, offset_minutes
from monitor.demo.probes import LiveProbe, ProbeFault
from monitor.demo.simulate import LiveHouse, Snapshot
from monitor.errors import UsageError
from monitor.site.site_file import Sensor

POLL_S = 0.1
"""Real seconds between two looks at the clock."""

MINUTE_S = 60

_WORKS = {"dead": False, "mended": True}


class House:
    """Rooms, shelves and tubs with their probes, in step with a clock."""

    def __init__(
        self, sensors: Sequence[Sensor], begin: Snapshot, weather: Weather, seed: int
    ) -> None:
        self._live = LiveHouse(begin, weather)
        self._sensors = {s.id: s for s in sensors}
        self._felt = {s.id: felt(s.id, s.place, s.quantity) for s in sensors}
        streams = np.random.default_rng(seed).spawn(len(sensors))
        self.probes = {
            s.id: LiveProbe(s.quantity, stream)
            for s, stream in zip(sensors, streams, strict=True)
        }
        self._minute = int(begin.at_s // MINUTE_S)

    def obey(self, order: str) -> str:
        """
        Break or mend something.

        Args:
            order: ``heater PLACE dead|mended``, ``humidifier PLACE dead|mended`` or
                ``probe SENSOR silent|stuck|reads-85-once|mended``.

        Returns:
            The order, as it was understood.

        Raises:
            UsageError: If there is no such thing or verb.
        """
        try:
            what, which, verb = order.split()
            match what:
                case "heater":
                    self._live.set_heater(which, works=_WORKS[verb])
                case "humidifier":
                    self._live.set_humidifier(which, works=_WORKS[verb])
                case "probe":
                    fault = None if verb == "mended" else ProbeFault(verb)
                    self.probes[which].fault = fault
                case _:
                    raise ValueError(what)
        except (KeyError, ValueError) as exc:
            raise UsageError(f"house: nobody understands {order!r} ({exc})") from exc
        return f"{what} {which} {verb}"

    def until(self, epoch_s: float) -> list[tuple[list[tuple[Sensor, float]], int]]:
        """
        Live on until an instant, and collect what the probes send meanwhile.

        Args:
            epoch_s: Instant. [s since 1970-01-01 UTC]

        Returns:
            For each whole minute that passed, the values, and the minute.
        """
        heard: list[tuple[list[tuple[Sensor, float]], int]] = []
        while (self._minute + 1) * MINUTE_S <= epoch_s:
            self._minute += 1
            self._live.advance(self._minute * MINUTE_S)
            values = [
                (self._sensors[s], value)
                for s in self._due()
                if (value := self._read(s)) is not None
            ]
            heard.append((values, self._minute))
        return heard

    def _due(self) -> list[str]:
        due = []
        for sensor in self._sensors.values():
            every = max(int(sensor.interval.total_seconds() // MINUTE_S), 1)
            # a device sends all its values together
            spread_by = sensor.effective_topic if sensor.pointer else sensor.id
            if self._minute % every == offset_minutes(spread_by, every):
                due.append(sensor.id)
        return due

    def _read(self, sensor: str) -> float | None:
        return self.probes[sensor].read(self._live.feels(self._felt[sensor]))


def _connect(port: int) -> mqtt.Client:
    client = mqtt.Client(
        mqtt.CallbackAPIVersion.VERSION2,
        client_id="quillmere-house",
        protocol=mqtt.MQTTv5,
    )
    client.reconnect_delay_set(1, 2)
    client.connect_async("127.0.0.1", port, keepalive=30)
    client.loop_start()
    return client


def _listen(orders: SimpleQueue[str | None]) -> None:
    """Hand on each line of standard input, and None at its end."""
    for line in sys.stdin:
        if line.strip():
            orders.put(line.strip())
    orders.put(None)


def live(
    house: House,
    client: mqtt.Client,
    clock: SteadyClock | ScaledClock,
    orders: SimpleQueue[str | None],
) -> None:
    """Go on until the orders end."""
    while True:
        with contextlib.suppress(Empty):
            while True:
                order = orders.get_nowait()
                if order is None:
                    return
                try:
                    print(f"done: {house.obey(order)}", flush=True)
                except UsageError as error:
                    print(error, flush=True)
        for values, minute in house.until(clock.now().timestamp()):
            at = from_us(minute * MINUTE_S * 1_000_000)
            if not client.is_connected() and clock.now() - at > timedelta(minutes=1):
                continue  # devices without a link keep no backlog here
            for sent in messages(values, at):
                client.publish(sent.topic, sent.payload, qos=1)
        time.sleep(POLL_S)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the house until its standard input ends."""
    parser = argparse.ArgumentParser(prog="monitor.demo.house", description=__doc__)
    parser.add_argument("--config", type=Path, required=True)
    parser.add_argument("--begin", type=Path, required=True, help="state of the house")
    parser.add_argument("--port", type=int, required=True, help="of the broker")
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args(argv)
    begin = msgspec.json.decode(arguments.begin.read_bytes(), type=Snapshot)
    sensors = load_sensors(arguments.config)
    house = House(sensors, begin, Weather(), arguments.seed)
    orders: SimpleQueue[str | None] = SimpleQueue()
    threading.Thread(target=_listen, args=(orders,), daemon=True, name="orders").start()
    client = _connect(arguments.port)
    try:
        live(house, client, clock_from_environment(), orders)
    except KeyboardInterrupt:
        return 130
    finally:
        client.disconnect()
        client.loop_stop()
    return 0


def load_sensors(config: Path) -> Sequence[Sensor]:
    """The sensors that site.toml of a directory declares."""
    from monitor.site.load import load_site

    return load_site(config).sensors


if __name__ == "__main__":
    sys.exit(main())
