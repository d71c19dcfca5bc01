"""site.toml: what is screwed to the wall."""

from datetime import date, time, timedelta
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from monitor.site import checking, references
from monitor.site.model import (
    Address,
    AKind,
    AQuantity,
    ARole,
    AUnit,
    Endpoint,
    Id,
    Many,
    Model,
    Port,
    Problem,
    Range,
    Text,
    refuse,
)
from monitor.site.spans import Span
from monitor.site.words import PlaceKind

Topic = Annotated[str, AfterValidator(checking.topic_filter)]
Pointer = Annotated[str, AfterValidator(checking.pointer)]
WebAddress = Annotated[str, AfterValidator(checking.web_address)]
Zone = Annotated[str, AfterValidator(checking.zone)]
Deadband = Annotated[float, Field(ge=0)]


def _clock(text: str) -> str:
    checking.clock_time(text)
    return text


def _week_time(text: str) -> str:
    checking.week_time(text)
    return text


def _host(text: str) -> str:
    if not checking.is_host(text):
        raise ValueError("is no host: write its name or address alone, without port")
    return text


def _tls(value: object) -> object:
    if not isinstance(value, bool) and not (isinstance(value, str) and value.strip()):
        raise ValueError("is neither true, false nor the path of a CA file")
    return value


Host = Annotated[str, AfterValidator(_host)]


class SiteTable(Model):
    """[site]."""

    name: Text
    time_zone: Zone


class Broker(Model):
    """[broker]: one of our own host, or the embedded one for a trial."""

    embedded: bool = False
    listen: Endpoint = "127.0.0.1:1883"
    host: Host | None = None
    port: Port = 1883
    username: Text | None = None
    tls: Annotated[bool | str, BeforeValidator(_tls)] = False
    client_id: Text = "rearing-monitor"

    @model_validator(mode="after")
    def _one_of_two(self) -> Self:
        refuse(references.broker_problems(self))
        return self


class Room(Model):
    """[[room]]."""

    id: Id
    name: Text


class Shelf(Model):
    """[[shelf]]."""

    id: Id
    room: Id
    name: Text | None = None


class Enclosure(Model):
    """[[enclosure]]: a fixed one; tubs come and go in the journal."""

    id: Id
    place: Id
    kind: AKind
    name: Text | None = None

    @model_validator(mode="after")
    def _is_enclosure(self) -> Self:
        if self.kind in {PlaceKind.ROOM, PlaceKind.SHELF}:
            text = f'"{self.kind}" is no kind of enclosure: write a [[{self.kind}]]'
            refuse([Problem(("kind",), text)])
        return self


class Limit(Model):
    """[[limit]]: watch a place whoever lives there."""

    place: Id
    quantity: AQuantity
    target: Range | None = None
    tolerated: Range
    danger: Range | None = None

    @model_validator(mode="after")
    def _layers(self) -> Self:
        refuse(references.layer_problems(self.quantity, self))
        return self


class Sensor(Model):
    """[[sensor]]: one quantity measured by one probe."""

    id: Id
    place: Id
    quantity: AQuantity
    topic: Topic | None = None
    interval: Span
    pointer: Pointer | None = None
    unit: AUnit | None = None
    name_in_pack: Text | None = None

    @property
    def effective_topic(self) -> str:
        """The topic filter of this sensor: its own, or rearing/<place>/<quantity>."""
        return self.topic or f"rearing/{self.place}/{self.quantity.value}"

    @model_validator(mode="after")
    def _unit_fits(self) -> Self:
        refuse(references.unit_problems(self))
        return self


class Keeper(Model):
    """[[keeper]]."""

    id: Id
    name: Text
    mail: Address | None = None
    role: ARole
    channels: Many[Id] = ("mail",)


class Channel(Model):
    """[[channel]] beyond mail; its address is the secret channel_<id>."""

    id: Id
    rings: bool = False


class Rota(Model):
    """[rota]: one after the other."""

    order: Annotated[Many[Id], Field(min_length=1)]
    first_change: date
    change: Annotated[str, AfterValidator(_week_time)]
    fallback: Id | None = None

    @property
    def weekday(self) -> int:
        """Day of the week of the change, Monday is 0."""
        return checking.week_time(self.change)[0]

    @property
    def change_time(self) -> time:
        """Clock time of the change, site time."""
        return checking.week_time(self.change)[1]

    @model_validator(mode="after")
    def _begins_on_its_day(self) -> Self:
        if self.first_change.weekday() != self.weekday:
            day = checking.WEEKDAYS[self.first_change.weekday()]
            text = f"{self.first_change} is a {day}, but change = {self.change!r}"
            refuse([Problem(("first_change",), f"{text}: mend one of them")])
        return self


class Mail(Model):
    """[mail]: submission to a mail server."""

    host: Host
    port: Port = 587
    security: Literal["starttls", "tls", "none"] = "starttls"
    username: Text | None = None
    sender: Address = Field(alias="from")

    @model_validator(mode="after")
    def _is_submission(self) -> Self:
        refuse(references.mail_problems(self))
        return self


class EscalateAfter(Model):
    """How long an unanswered alarm waits before the next keeper is told."""

    day: Span = timedelta(minutes=10)
    night: Span = timedelta(minutes=15)


class AlarmTable(Model):
    """[alarms]: every key optional; species files may say other delays."""

    on_delay: dict[AQuantity, Span] = Field(default_factory=dict)
    off_delay: dict[AQuantity, Span] = Field(default_factory=dict)
    deadband: dict[AQuantity, Deadband] = Field(default_factory=dict)
    escalate_after: EscalateAfter = EscalateAfter()


class Summary(Model):
    """[summary]: when the week is mailed, and to whom."""

    day: Literal["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
    time: Annotated[str, AfterValidator(_clock)]
    to: Annotated[Many[Id], Field(min_length=1)]


class Mirror(Model):
    """[mirror]: a copy to InfluxDB."""

    url: WebAddress
    org: Text
    bucket: Text


class Page(Model):
    """[page]."""

    listen: Endpoint
    address: WebAddress | None = None


class Site(Model):
    """The whole of site.toml."""

    site: SiteTable
    broker: Broker | None = None
    rooms: Annotated[Many[Room], Field(min_length=1)] = Field(alias="room")
    shelves: Many[Shelf] = Field(alias="shelf", default=())
    enclosures: Many[Enclosure] = Field(alias="enclosure", default=())
    limits: Many[Limit] = Field(alias="limit", default=())
    sensors: Many[Sensor] = Field(alias="sensor", default=())
    keepers: Many[Keeper] = Field(alias="keeper", default=())
    channels: Many[Channel] = Field(alias="channel", default=())
    rota: Rota | None = None
    mail: Mail | None = None
    alarms: AlarmTable = AlarmTable()
    summary: Summary | None = None
    mirror: Mirror | None = None
    page: Page | None = None

    @model_validator(mode="after")
    def _hangs_together(self) -> Self:
        refuse(references.site_problems(self))
        return self
