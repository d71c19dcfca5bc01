"""site.toml: what is screwed to the wall."""

from datetime import date, timedelta
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from monitor.site.model import Id, Model
from monitor.site.spans import Span
from monitor.site.words import PlaceKind, Quantity, Role, Unit

Range = Annotated[
    tuple[float, float],
    BeforeValidator(lambda v: tuple(v) if isinstance(v, list) else v),
]
"""Low and high, both inside; low below high."""


class SiteTable(Model):
    """[site]."""

    name: str
    time_zone: str


class Broker(Model):
    """[broker]: one of our own host, or the embedded one for a trial."""

    embedded: bool = False
    listen: str = "127.0.0.1:1883"
    host: str | None = None
    port: int = 1883
    username: str | None = None
    tls: bool | str = False
    client_id: str = "rearing-monitor"


class Room(Model):
    """[[room]]."""

    id: Id
    name: str


class Shelf(Model):
    """[[shelf]]."""

    id: Id
    room: Id
    name: str | None = None


class Enclosure(Model):
    """[[enclosure]]: a fixed one; tubs come and go in the journal."""

    id: Id
    place: Id
    kind: PlaceKind
    name: str | None = None


class Limit(Model):
    """[[limit]]: watch a place whoever lives there."""

    place: Id
    quantity: Quantity
    target: Range | None = None
    tolerated: Range
    danger: Range | None = None


class Sensor(Model):
    """[[sensor]]: one quantity measured by one probe."""

    id: Id
    place: Id
    quantity: Quantity
    topic: str | None = None
    interval: Span
    pointer: str | None = None
    unit: Unit | None = None
    name_in_pack: str | None = None


class Keeper(Model):
    """[[keeper]]."""

    id: Id
    name: str
    mail: str | None = None
    role: Role
    channels: tuple[str, ...] = ("mail",)


class Channel(Model):
    """[[channel]] beyond mail; its address is the secret channel_<id>."""

    id: Id
    rings: bool = False


class Rota(Model):
    """[rota]: one after the other."""

    order: tuple[Id, ...]
    first_change: date
    change: str
    fallback: Id | None = None


class Mail(Model):
    """[mail]: submission to a mail server."""

    host: str
    port: int = 587
    security: Literal["starttls", "tls", "none"] = "starttls"
    username: str | None = None
    sender: str = Field(alias="from")


class EscalateAfter(Model):
    """How long an unanswered alarm waits before the next keeper is told."""

    day: Span = timedelta(minutes=10)
    night: Span = timedelta(minutes=15)


class AlarmTable(Model):
    """[alarms]: every key optional; species files may say other delays."""

    on_delay: dict[Quantity, Span] = Field(default_factory=dict)
    off_delay: dict[Quantity, Span] = Field(default_factory=dict)
    deadband: dict[Quantity, float] = Field(default_factory=dict)
    escalate_after: EscalateAfter = EscalateAfter()


class Summary(Model):
    """[summary]: when the week is mailed, and to whom."""

    day: Literal["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
    time: str
    to: tuple[Id, ...]


class Mirror(Model):
    """[mirror]: a copy to InfluxDB."""

    url: str
    org: str
    bucket: str


class Page(Model):
    """[page]."""

    listen: str
    address: str | None = None


class Site(Model):
    """The whole of site.toml."""

    site: SiteTable
    broker: Broker | None = None
    rooms: tuple[Room, ...] = Field(alias="room")
    shelves: tuple[Shelf, ...] = Field(alias="shelf", default=())
    enclosures: tuple[Enclosure, ...] = Field(alias="enclosure", default=())
    limits: tuple[Limit, ...] = Field(alias="limit", default=())
    sensors: tuple[Sensor, ...] = Field(alias="sensor", default=())
    keepers: tuple[Keeper, ...] = Field(alias="keeper", default=())
    channels: tuple[Channel, ...] = Field(alias="channel", default=())
    rota: Rota | None = None
    mail: Mail | None = None
    alarms: AlarmTable = AlarmTable()
    summary: Summary | None = None
    mirror: Mirror | None = None
    page: Page | None = None
