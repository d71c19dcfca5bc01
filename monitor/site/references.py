"""What only the whole of a table shows: references, repeats, limits in limits."""

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Protocol

from monitor.site import checking
from monitor.site.model import Key, Problem
from monitor.site.words import TEMPERATURES, Quantity, Unit

if TYPE_CHECKING:
    from monitor.site.site_file import Broker, Mail, Sensor, Site

PLAIN_MAIL_PORT = 25
RESERVED = "system"
HAND = "hand-"

NO_BROKER = (
    '[broker] host = "..." for your own broker, or embedded = true, '
    'listen = "127.0.0.1:1883" for a trial'
)
"""The two choices of a broker, in words."""

_DEGREES = {Unit.DEG_C, Unit.DEG_F, Unit.KELVIN}
_SHARES = {Unit.PERCENT, Unit.FRACTION}
_GASES = {Quantity.CARBON_DIOXIDE, Quantity.AMMONIA}
_CURRENTS = {Quantity.MAINS, Quantity.HEATER, Quantity.HUMIDIFIER, Quantity.LIGHT}


class Layers(Protocol):
    """Limits inside one another."""

    @property
    def target(self) -> tuple[float, float] | None:
        """Where animals do best."""

    @property
    def tolerated(self) -> tuple[float, float] | None:
        """Outside: alarm."""

    @property
    def danger(self) -> tuple[float, float] | None:
        """Outside: urgent alarm."""


def layer_problems(quantity: Quantity, layers: Layers) -> Iterator[Problem]:
    """Limits that are not of the quantity, or that do not enclose one another."""
    for name in ("target", "tolerated", "danger"):
        pair: tuple[float, float] | None = getattr(layers, name)
        text = checking.fault_of_quantity(quantity, pair) if pair else None
        if text:
            yield Problem((name,), f"{checking.spell(pair)}: {text}")
    fault = checking.fault_of_layers(layers.target, layers.tolerated, layers.danger)
    if fault:
        yield Problem((fault[0],), fault[1])


def units_of(quantity: Quantity) -> frozenset[Unit]:
    """Units that a payload of the quantity may be in."""
    if quantity in TEMPERATURES:
        return frozenset(_DEGREES)
    if quantity in {Quantity.RELATIVE_HUMIDITY, Quantity.SUBSTRATE_MOISTURE}:
        return frozenset(_SHARES)
    if quantity in _GASES:
        return frozenset({Unit.PPM})
    if quantity in _CURRENTS:
        return frozenset({Unit.ON_OFF, Unit.AMPERE})
    return frozenset({Unit.ON_OFF})


def unit_problems(sensor: "Sensor") -> Iterator[Problem]:
    """A unit that its quantity is never in, and ids that mean something else."""
    units = units_of(sensor.quantity)
    if sensor.unit is not None and sensor.unit not in units:
        known = " or ".join(sorted(f'"{unit}"' for unit in units))
        text = f'"{sensor.unit}" is no unit of {sensor.quantity}: write {known}'
        yield Problem(("unit",), text)
    if sensor.id.startswith(HAND) or sensor.id == RESERVED:
        text = f'"{sensor.id}" is kept for readings by hand and the system itself'
        yield Problem(("id",), f"{text}: choose another id")


def broker_problems(broker: "Broker") -> Iterator[Problem]:
    """Neither or both of the two kinds of broker, or an embedded one on the network."""
    given = broker.model_fields_set
    if broker.embedded:
        if broker.host is not None:
            text = "an embedded broker has no host: leave out host, or embedded"
            yield Problem(("host",), text)
        if broker.tls is not False:
            text = "the embedded broker speaks no TLS: leave tls out"
            yield Problem(("tls",), text)
        if not checking.is_loopback(checking.endpoint(broker.listen)[0]):
            text = (
                f'"{broker.listen}" can be reached from the network, and the embedded '
            )
            text += 'broker asks for no password: listen on "127.0.0.1:1883"'
            yield Problem(("listen",), text)
    elif broker.host is None:
        yield Problem((), f"names no broker: write {NO_BROKER}")
    elif "listen" in given:
        text = "is of the embedded broker alone: leave it out"
        yield Problem(("listen",), text)


def mail_problems(mail: "Mail") -> Iterator[Problem]:
    """Mail that would go over the network in the clear (E8)."""
    if mail.security == "none":
        if mail.port == PLAIN_MAIL_PORT:
            text = (
                "port 25 without TLS: submit by port 587 with starttls or 465 with tls"
            )
            yield Problem(("port",), text)
        elif not checking.is_loopback(mail.host):
            text = f'"none" to {mail.host}: only mail to 127.0.0.1 may go without TLS; '
            text += 'write "starttls" or "tls"'
            yield Problem(("security",), text)


def site_problems(site: "Site") -> Iterator[Problem]:
    """Everything that does not hang together in a site."""
    yield from _repeats(site)
    yield from _places(site)
    yield from _topics(site)
    yield from _keepers(site)
    yield from _rota_and_summary(site)


def repeats(
    named: Iterable[tuple[tuple[Key, ...], str]], what: str
) -> Iterator[Problem]:
    """Ids that stand twice."""
    seen: set[str] = set()
    for path, name in named:
        if name.casefold() in seen:
            text = f'"{name}" stands twice: give every {what} an id of its own'
            yield Problem(path, text)
        seen.add(name.casefold())


def _repeats(site: "Site") -> Iterator[Problem]:
    places: list[tuple[tuple[Key, ...], str]] = [
        *((("room", i, "id"), r.id) for i, r in enumerate(site.rooms)),
        *((("shelf", i, "id"), s.id) for i, s in enumerate(site.shelves)),
        *((("enclosure", i, "id"), e.id) for i, e in enumerate(site.enclosures)),
    ]
    yield from repeats(places, "room, shelf and enclosure")
    for path, name in places:
        if name == RESERVED:
            yield Problem(
                path, f'"{name}" is kept for the system itself: choose another'
            )
    for table, ids in (
        ("sensor", [s.id for s in site.sensors]),
        ("keeper", [k.id for k in site.keepers]),
        ("channel", [c.id for c in site.channels]),
    ):
        yield from repeats(
            (((table, i, "id"), name) for i, name in enumerate(ids)), table
        )
    limits: set[tuple[str, str]] = set()
    for i, limit in enumerate(site.limits):
        if (limit.place, limit.quantity) in limits:
            text = f"a second limit of {limit.quantity} in {limit.place}: keep one"
            yield Problem(("limit", i, "quantity"), text)
        limits.add((limit.place, limit.quantity))


def _places(site: "Site") -> Iterator[Problem]:
    rooms = {r.id for r in site.rooms}
    shelves = rooms | {s.id for s in site.shelves}
    places = shelves | {e.id for e in site.enclosures}
    for i, shelf in enumerate(site.shelves):
        yield from _known(("shelf", i, "room"), shelf.room, rooms, "room")
    for i, enclosure in enumerate(site.enclosures):
        path = ("enclosure", i, "place")
        yield from _known(path, enclosure.place, shelves, "room or shelf")
    for i, limit in enumerate(site.limits):
        yield from _known(("limit", i, "place"), limit.place, places, "place")
    for i, sensor in enumerate(site.sensors):
        yield from _known(("sensor", i, "place"), sensor.place, places, "place")


def _known(
    path: tuple[Key, ...], name: str, known: set[str], what: str
) -> Iterator[Problem]:
    if name not in known:
        yield Problem(path, unknown(name, known, what))


def unknown(name: str, known: Iterable[str], what: str) -> str:
    """Words for a reference to nothing, with the nearest name that there is."""
    hint = checking.nearest(name, known)
    return f'"{name}" is no {what} of this file: {hint}'


def _topics(site: "Site") -> Iterator[Problem]:
    seen: dict[tuple[str | None, ...], list[Sensor]] = {}
    for i, sensor in enumerate(site.sensors):
        key = (sensor.effective_topic, sensor.pointer, sensor.name_in_pack)
        plain = key[1:] == (None, None)
        for other in seen.setdefault(key, []):
            # without a pointer or name a SenML pack still tells them apart by unit
            if plain and not units_of(sensor.quantity) & units_of(other.quantity):
                continue
            text = f'"{key[0]}" is read by sensor {other.id} in the same way: give '
            text += "each its topic, pointer or name_in_pack"
            yield Problem(("sensor", i, "topic"), text)
            break
        seen[key].append(sensor)


def _keepers(site: "Site") -> Iterator[Problem]:
    channels = {c.id for c in site.channels}
    for i, channel in enumerate(site.channels):
        if channel.id == "mail":
            text = '"mail" is there already: [[channel]] is for what is beyond mail'
            yield Problem(("channel", i, "id"), text)
    for i, keeper in enumerate(site.keepers):
        for j, name in enumerate(keeper.channels):
            path: tuple[Key, ...] = ("keeper", i, "channels", j)
            if name != "mail":
                what = "[[channel]], nor mail,"
                yield from _known(path, name, channels | {"mail"}, what)
            elif keeper.mail is None:
                text = 'has the channel "mail" but no address: add mail = "..."'
                yield Problem(("keeper", i, "mail"), text)
            elif site.mail is None:
                text = "there is no [mail] table to send by: add it, or leave out mail"
                yield Problem(path, text)


def _rota_and_summary(site: "Site") -> Iterator[Problem]:
    keepers = {k.id: k for k in site.keepers}
    if site.rota is not None:
        for i, name in enumerate(site.rota.order):
            yield from _known(("rota", "order", i), name, set(keepers), "[[keeper]]")
        if site.rota.fallback is not None:
            path = ("rota", "fallback")
            yield from _known(path, site.rota.fallback, set(keepers), "[[keeper]]")
    for i, name in enumerate(site.summary.to if site.summary else ()):
        where: tuple[Key, ...] = ("summary", "to", i)
        yield from _known(where, name, set(keepers), "[[keeper]]")
        if name in keepers and keepers[name].mail is None:
            text = f'"{name}" has no mail address: add one to the keeper'
            yield Problem(where, text)
        elif site.mail is None:
            yield Problem(where, "there is no [mail] table to send by: add it")
