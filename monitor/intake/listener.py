"""A sensor as the decoding sees it: its pointer, its unit, its words, its limits."""

import math
from collections.abc import Mapping
from datetime import timedelta
from typing import NamedTuple

from monitor.intake.found import NoReadingError, shown_json
from monitor.intake.pointer import parse_pointer
from monitor.intake.switches import words_of
from monitor.intake.units import (
    CLIPPED,
    SATURATED_PERCENT,
    Convert,
    Judge,
    conversion,
    is_switch,
    judge,
)
from monitor.site.site_file import Sensor
from monitor.site.words import Quantity

SPEAKS_NO_MORE = timedelta(minutes=5)
"""A device may be quiet for three intervals, and for so long at least."""
_INTERVALS = 3


class Listener(NamedTuple):
    """
    A sensor with all that its payloads need.

    Attributes:
        words: What means 1 and 0; empty where the values are measures.
        most: What is above is set to this.
        wild: Several topics may feed it.
        window: A device that is quiet for so long speaks no more.
    """

    sensor: str
    quantity: Quantity
    convert: Convert | None
    judge: Judge
    words: Mapping[str, float]
    most: float
    pointer: str | None
    tokens: tuple[str, ...]
    name_in_pack: str | None
    wild: bool
    window: timedelta

    @property
    def switch(self) -> bool:
        """Whether the values are 0 and 1."""
        return bool(self.words)

    def value(
        self,
        raw: float | bool | str,  # noqa: FBT001 - a payload
        convert: Convert | None,
    ) -> float:
        """
        Turn what was sent into the canonical unit.

        Args:
            raw: As it was sent.
            convert: From the unit of the message; None where that is canonical.

        Raises:
            NoReadingError: If it is no number, or one that no sensor can mean.
        """
        if isinstance(raw, str):
            return self._word(raw)
        if isinstance(raw, bool) and not self.switch:
            raise NoReadingError(
                f"{str(raw).lower()} is no number for {self.quantity}: send a number."
            )
        try:
            value = float(raw)
        except OverflowError:
            value = math.inf
        if convert is not None:
            # Six decimals are beyond any sensor, and 1.04 stays 104 %.
            value = round(convert(value), 6)
        if not math.isfinite(value):
            raise NoReadingError(
                "the number is too large: check what the device sends."
            )
        impossible = self.judge(value)
        if impossible is not None:
            raise NoReadingError(impossible)
        return min(value, self.most)

    def _word(self, said: str) -> float:
        if not self.switch:
            raise NoReadingError(
                f"the value {shown_json(said)} is no number: send it without quotes."
            )
        value = self.words.get(said.strip().casefold())
        if value is None:
            known = ", ".join(self.words)
            raise NoReadingError(
                f"{shown_json(said)} is no word for {self.quantity}: send 1 or 0, "
                f"or one of {known}."
            )
        return value


def listener(sensor: Sensor) -> Listener:
    """Gather what the payloads of a sensor need."""
    topic = sensor.effective_topic
    return Listener(
        sensor=sensor.id,
        quantity=sensor.quantity,
        convert=conversion(sensor.unit),
        judge=judge(sensor),
        words=(
            words_of(sensor.quantity) if is_switch(sensor.quantity, sensor.unit) else {}
        ),
        most=SATURATED_PERCENT if sensor.quantity in CLIPPED else math.inf,
        pointer=sensor.pointer,
        tokens=parse_pointer(sensor.pointer or ""),
        name_in_pack=sensor.name_in_pack,
        wild="+" in topic or "#" in topic,
        window=max(_INTERVALS * sensor.interval, SPEAKS_NO_MORE),
    )
