"""
The simulated house, a process of its own: ``python -m monitor.demo.house``.

It knows nothing of the daemon. It lives by the clock of REARING_CLOCK, publishes over
MQTT like the devices of a real house, and does what is said on its standard input,
one order a line, such as ``heater warm-room-d dead``. When its standard input ends,
it ends too, so that it cannot outlive whoever started it.
"""

import argparse
import os
import select
import sys
from collections.abc import Sequence
from pathlib import Path

import msgspec
import numpy as np
from paho.mqtt.client import Client, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

from monitor.clock import ScaledClock, SteadyClock, clock_from_environment, from_us
from monitor.demo.messages import messages
from monitor.demo.physics import Weather
from monitor.demo.plan import felt, offset_minutes
from monitor.demo.probes import LiveProbe, ProbeFault
from monitor.demo.simulate import LiveHouse, Snapshot
from monitor.errors import UsageError
from monitor.site.load import load
from monitor.site.site_file import Sensor

POLL_S = 0.1
"""Real seconds between two looks at the clock [s]."""

READY = "ready"
"""The house's first line: it lives, and waits for the broker."""

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
                    raise UsageError(f"house: nothing is called {what!r}")
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


def make_client() -> Client:
    """Speak MQTT 3.1.1 as most devices do, and say how the link is."""
    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id="quillmere-house",
        protocol=MQTTv311,
    )
    client.on_connect = lambda *a: print(f"broker: {a[3]}", flush=True)
    client.on_disconnect = lambda *a: print(f"broker gone: {a[3]}", flush=True)
    client.reconnect_delay_set(1, 2)
    return client


def reached(client: Client, port: int) -> bool:
    """Try once to reach the broker, which may not have started yet."""
    try:
        client.connect("127.0.0.1", port, keepalive=30)
    except OSError:
        return False
    client.loop_start()
    return True


class Orders:
    """Lines of a file descriptor, taken without waiting for them."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor
        self._begun = b""
        self.ended = False

    def take(self, *, seconds: float) -> list[str]:
        """Wait at most so long for something, and give the whole lines that came."""
        if not select.select([self._descriptor], [], [], seconds)[0]:
            return []
        got = os.read(self._descriptor, 4096)
        self.ended = not got
        *lines, self._begun = (self._begun + got).split(b"\n")
        return [line.decode() for line in lines if line.strip()]


def live(
    house: House,
    client: Client,
    clock: SteadyClock | ScaledClock,
    orders: Orders,
    *,
    port: int,
) -> None:
    """Go on until the orders end."""
    linked = False
    while not orders.ended:
        # later losses of the link are paho's to mend
        linked = linked or reached(client, port)
        for order in orders.take(seconds=POLL_S):
            try:
                print(f"done: {house.obey(order)}", flush=True)
            except UsageError as error:
                print(error, flush=True)
        for values, minute in house.until(clock.now().timestamp()):
            at = from_us(minute * MINUTE_S * 1_000_000)
            if not client.is_connected():
                continue  # a device without a link keeps no backlog here
            for sent in messages(values, at):
                client.publish(sent.topic, sent.payload, qos=1)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the house until its standard input ends."""
    parser = argparse.ArgumentParser(prog="monitor.demo.house", description=__doc__)
    parser.add_argument("--config", type=Path, required=True)
    parser.add_argument("--begin", type=Path, required=True, help="state of the house")
    parser.add_argument("--port", type=int, required=True, help="of the broker")
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args(argv)
    begin = msgspec.json.decode(arguments.begin.read_bytes(), type=Snapshot)
    sensors = load(arguments.config).site.sensors
    house = House(sensors, begin, Weather(), arguments.seed)
    client, orders = make_client(), Orders(sys.stdin.fileno())
    print(READY, flush=True)
    try:
        live(house, client, clock_from_environment(), orders, port=arguments.port)
    except KeyboardInterrupt:
        return 130
    finally:
        client.disconnect()
        client.loop_stop()
    return 0


if __name__ == "__main__":
    sys.exit(main())
