"""Which topics a site listens to."""

from collections.abc import Sequence

from monitor.site.site_file import Sensor

EVERYTHING = "rearing/#"
"""The default topics; whatever else comes below is told as unknown."""


def filters_for(sensors: Sequence[Sensor]) -> tuple[str, ...]:
    """
    Choose the filters to subscribe to: `EVERYTHING`, and what it leaves out.

    A filter that another one covers is left out, because some brokers deliver
    once per filter. Two filters that only cross, such as a/+/c and a/b/#, both
    stay: one that covered both would bring topics that nobody asked for.
    """
    chosen = [EVERYTHING]
    for wanted in dict.fromkeys(sensor.effective_topic for sensor in sensors):
        if any(covers(have, wanted) for have in chosen):
            continue
        chosen = [have for have in chosen if not covers(wanted, have)]
        chosen.append(wanted)
    return tuple(chosen)


def covers(wide: str, narrow: str) -> bool:
    """Whether every topic that matches *narrow* also matches *wide*."""
    wide_levels, narrow_levels = wide.split("/"), narrow.split("/")
    for at, level in enumerate(wide_levels):
        if level == "#":
            # MQTT 5 section 4.7.2: a leading wildcard leaves out $ topics.
            return at > 0 or not narrow.startswith("$")
        if at >= len(narrow_levels) or narrow_levels[at] == "#":
            return False
        if level == "+" and (at > 0 or not narrow.startswith("$")):
            continue
        if level != narrow_levels[at]:
            return False
    return len(wide_levels) == len(narrow_levels)
