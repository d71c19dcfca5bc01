"""Small checks of values that stand in files; each refusal says the mend."""

import difflib
import ipaddress
import itertools
import json
import re
import unicodedata
from collections.abc import Iterable
from datetime import date, time, timedelta
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo, available_timezones

from monitor.site.words import TEMPERATURES, Quantity

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
LONGEST_TEXT = 500
LONGEST_TOPIC = 65535
LONGEST_SHOWN = 60
_PERCENTS = {Quantity.RELATIVE_HUMIDITY, Quantity.SUBSTRATE_MOISTURE}
_GASES = {Quantity.CARBON_DIOXIDE, Quantity.AMMONIA}
_CLOCK = re.compile(r"([01]\d|2[0-3]):([0-5]\d)")
_MAIL = re.compile(r"[^\s@<>,;:\"()\[\]\\]+@[^\s@<>,;:\"()\[\]\\]+")
_HIDDEN = {"Cc", "Cf", "Cs", "Zl", "Zp"}


def spell(value: object) -> str:
    """Write a value as it stands in a file, shortened where it is long."""
    if isinstance(value, bool | str):
        shown = json.dumps(value, ensure_ascii=False)
    elif isinstance(value, list | tuple):
        shown = f"[{', '.join(spell(part) for part in value)}]"
    elif isinstance(value, dict):
        inner = ", ".join(f"{key} = {spell(part)}" for key, part in value.items())
        shown = f"{{ {inner} }}"
    elif isinstance(value, date | time | timedelta):
        shown = str(value)
    else:
        shown = repr(value)
    return shown if len(shown) <= LONGEST_SHOWN else shown[: LONGEST_SHOWN - 3] + "..."


def clean(text: str) -> str:
    """
    Let through a text that can stand in a mail header and on one line (E10).

    Raises:
        ValueError: If it is empty, too long, or holds a control character.
    """
    if not text.strip():
        raise ValueError("is empty: write something")
    if len(text) > LONGEST_TEXT:
        raise ValueError(f"has {len(text)} characters: keep it under {LONGEST_TEXT}")
    for letter in text:
        if unicodedata.category(letter) in _HIDDEN:
            raise ValueError(
                f"holds the control character U+{ord(letter):04X}: write it on one "
                "line, in letters that can be seen"
            )
    return text


def mail_address(text: str) -> str:
    """Let through a bare mail address."""
    clean(text)
    if not _MAIL.fullmatch(text):
        raise ValueError('is no mail address: write it bare, as "ines@house.example"')
    return text


def endpoint(text: str) -> tuple[str, int]:
    """
    Take "host:port" apart; an IPv6 host stands in brackets.

    Raises:
        ValueError: If it has not that form.
    """
    host, colon, port = text.rpartition(":")
    host = host.removeprefix("[").removesuffix("]")
    if not colon or not port.isascii() or not port.isdigit() or not is_host(host):
        raise ValueError('is no address to listen on: write "127.0.0.1:1883"')
    if not 1 <= int(port) <= 65535:  # noqa: PLR2004  the range of a TCP port
        raise ValueError(f"port {port} is outside 1 to 65535")
    return host, int(port)


def endpoint_text(text: str) -> str:
    """Let through "host:port"."""
    endpoint(text)
    return text


def is_host(text: str) -> bool:
    """Whether a text could be the name or address of a machine."""
    if ":" in text:
        try:
            return ipaddress.ip_address(text).version == 6  # noqa: PLR2004
        except ValueError:
            return False
    return bool(re.fullmatch(r"[^\s/@\[\]]+", text))


def is_loopback(host: str) -> bool:
    """Whether a host is this machine and nobody else's."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def rising(pair: tuple[float, float]) -> tuple[float, float]:
    """Let through low and high where low is below high (C10)."""
    low, high = pair
    if not low < high:
        raise ValueError(f"low {low} is not below high {high} (swap them?)")
    return pair


def clock_time(text: str) -> time:
    """Read "HH:MM", site time."""
    found = _CLOCK.fullmatch(text)
    if not found:
        raise ValueError('is no clock time: write "07:00"')
    return time(int(found[1]), int(found[2]))


def week_time(text: str) -> tuple[int, time]:
    """Read "Mon 09:00" as weekday (Monday is 0) and clock time, site time."""
    day, _, clock = text.partition(" ")
    if day not in WEEKDAYS or not _CLOCK.fullmatch(clock):
        raise ValueError('is no time of the week: write "Mon 09:00"')
    return WEEKDAYS.index(day), clock_time(clock)


def zone(name: str) -> str:
    """Let through a time zone that this machine knows (S12)."""
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        last = name.rpartition("/")[2].casefold()
        near = sorted(z for z in available_timezones() if last and last in z.casefold())
        hint = (
            f"do you mean {near[0]}?" if near else 'write one such as "Europe/Dublin"'
        )
        raise ValueError(f"is no time zone of the time zone database: {hint}") from None
    return name


def topic_filter(text: str) -> str:
    """
    Let through an MQTT topic, which may hold the wildcards + and # (MQTT 5, 4.7).

    Raises:
        ValueError: If it is empty, shared, or a wildcard stands where it may not.
    """
    if not text or len(text.encode()) > LONGEST_TOPIC:
        raise ValueError('is no topic: write one such as "rearing/warm-room/light"')
    if any(unicodedata.category(letter) in _HIDDEN for letter in text):
        raise ValueError("holds a control character: write the topic on one line")
    if text.startswith("$"):
        raise ValueError("begins with $, which brokers keep for themselves")
    levels = text.split("/")
    if any("#" in level for level in levels[:-1]) or (
        "#" in levels[-1] and levels[-1] != "#"
    ):
        raise ValueError("# may stand only at the end, alone in its level: house/#")
    if any("+" in level and level != "+" for level in levels):
        raise ValueError("+ must stand alone in its level: house/+/temperature")
    return text


def pointer(text: str) -> str:
    """Let through a JSON pointer (RFC 6901)."""
    if not text.startswith("/") or re.search(r"~(?![01])", text):
        raise ValueError(
            'is no JSON pointer (RFC 6901): begin with /, as "/data/temperature"; '
            "~ is written ~0 and / in a name ~1"
        )
    return clean(text)


def web_address(text: str) -> str:
    """Let through an http or https address; one with a password is not repeated."""
    clean(text)
    try:
        parts = urlsplit(text)
        login, host = "@" in parts.netloc, parts.hostname or ""
        usable = parts.scheme in {"http", "https"} and is_host(host) and parts.port != 0
    except ValueError:
        login, usable = "@" in text, False
    if login:
        raise ValueError("holds a login: secrets are files, none may stand here")
    if not usable:
        raise ValueError('is no web address: write "http://127.0.0.1:8086"')
    return text


def fault_of_layers(
    target: tuple[float, float] | None,
    tolerated: tuple[float, float] | None,
    danger: tuple[float, float] | None,
) -> tuple[str, str] | None:
    """
    Tell which limit does not enclose the one inside it.

    Returns:
        The key of the outer limit and the words, or None where all is well.
    """
    layers = [("target", target), ("tolerated", tolerated), ("danger", danger)]
    given = [(name, pair) for name, pair in layers if pair is not None]
    for (inner, small), (outer, wide) in itertools.pairwise(given):
        if not (wide[0] <= small[0] and small[1] <= wide[1]):
            return outer, (
                f"{outer} {list(wide)} does not enclose {inner} {list(small)}: "
                f"widen {outer} or narrow {inner}"
            )
    return None


def fault_of_quantity(quantity: Quantity, pair: tuple[float, float]) -> str | None:
    """
    Tell when limits cannot be of this quantity in its canonical unit.

    Temperatures in degF, or fractions for percent, would pass for limits else.
    The bounds are own choice: wider than anything that an animal or a fermenting
    heap meets.
    """
    low, high = pair
    if quantity in TEMPERATURES and not (low >= -60 and high <= 100):  # noqa: PLR2004
        return "limits of temperature are in degC, from -60 to 100"
    # a probe in wet air that reads a little over 100 is taken as 100
    if quantity in _PERCENTS and not (low >= 0 and high <= 100):  # noqa: PLR2004
        return "limits in percent lie from 0 to 100"
    if quantity in _PERCENTS and high <= 1:
        return "limits are in percent, not a fraction: write 65 for 0.65"
    if quantity in _GASES and low < 0:
        return "limits in ppm are not below 0"
    return None


def nearest(name: str, known: Iterable[str]) -> str:
    """Suggest the name that was meant, else tell the first few that there are."""
    names = sorted(known)
    near = difflib.get_close_matches(name, names, n=1, cutoff=0.6)
    if near:
        return f'do you mean "{near[0]}"?'
    if not names:
        return "there is none yet"
    few = ", ".join(names[:8])
    return f"there are {few}" + (" ..." if len(names) > 8 else "")  # noqa: PLR2004
