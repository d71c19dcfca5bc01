"""Examples of alarms and notices, all from the Quillmere Insectarium."""

from datetime import UTC, datetime, timedelta

from monitor.alarms.alarm import Alarm, AlarmState, Dweller, Side
from monitor.alarms.words import ConditionWords
from monitor.notices.channel import OutgoingNotice
from monitor.notices.mail import MailChannel
from monitor.notices.wording import Wording, compose
from monitor.site.site_file import Keeper, Mail, Room, Site, SiteTable
from monitor.site.words import Priority, Quantity, Role
from monitor.store.rows import NoticeRow

NOW = datetime(2026, 11, 25, 2, 40, tzinfo=UTC)
INES = Keeper(id="ines", name="Ines", mail="ines@quillmere.example", role=Role.KEEPER)
TOM = Keeper(id="tom", name="Tom", mail="tom@quillmere.example", role=Role.KEEPER)
SENDER = "monitor@quillmere.example"
HEAT_WORDS = ConditionWords(
    title="outside the danger limit",
    meaning="Animals die or are harmed for life at such values.",
    first_action=(
        "Go now. Mains heaters near damp substrate: switch off at the wall before "
        "touching; leave wiring to a licensed electrician."
    ),
    causes=("heater failed", "door left open"),
)
WORDS = {
    "danger": HEAT_WORDS,
    "silent": ConditionWords("sensor not heard", "Nothing is known.", "Read by hand."),
}
NAMES = {
    "warm-room-a": "Warm room > Shelf A",
    **{f"tub-{n}": f"Warm room > Shelf A > Tub {n}" for n in range(400)},
}
CELL = "In its cell. No digging, no knocks, no weighing."


def site(name: str = "Quillmere Insectarium") -> Site:
    return Site(
        site=SiteTable(name=name, time_zone="Europe/Dublin"),
        rooms=(Room(id="warm-room", name="Warm room"),),
        keepers=(INES, TOM),
        mail=Mail(host="127.0.0.1", security="none", sender=SENDER),
    )


def dweller(number: int, *, stage: str = "L3", caution: str | None = None) -> Dweller:
    return Dweller(
        cohort=number,
        species="Quillmere giant scarab",
        stage=stage,
        count="1",
        place=f"tub-{number}",
        acts=("look", "carry-level"),
        caution=caution,
    )


def alarm(**changes: object) -> Alarm:
    """A shelf far too cold, falling, 25 minutes old."""
    facts: dict[str, object] = {
        "id": 12,
        "thing": "warm-room-a",
        "kind": "danger",
        "state": AlarmState.UNACKNOWLEDGED,
        "active": True,
        "priority": Priority.URGENT,
        "since": NOW - timedelta(minutes=25),
        "raised_at": NOW - timedelta(minutes=5),
        "quantity": Quantity.AIR_TEMPERATURE,
        "sensor": "warm-room-a-air",
        "value": 16.4,
        "value_at": NOW,
        "worst": 16.4,
        "limit": 18.0,
        "side": Side.BELOW,
        "trend_per_hour": -1.2,
        "at_risk": (dweller(1), dweller(2), dweller(3, stage="pupa", caution=CELL)),
    }
    return Alarm(**(facts | changes))  # type: ignore[arg-type]


def word(*alarms: Alarm, **changes: object) -> Wording:
    """The words of a notice to Ines."""
    told: dict[str, object] = {
        "why": "raised",
        "keeper": INES,
        "site": site(),
        "place_names": NAMES,
        "now": NOW,
        "next_keeper": "tom",
        "words": WORDS,
    }
    return compose(alarms or (alarm(),), **(told | changes))  # type: ignore[arg-type]


def notice(**changes: object) -> OutgoingNotice:
    """A notice of the outbox, ready to go."""
    wording = word()
    told: dict[str, object] = {
        "id": 7,
        "keeper": "ines",
        "priority": Priority.URGENT,
        "created": NOW,
        "subject": wording.subject,
        "short": wording.short,
        "long": wording.long,
        "html": wording.html,
    }
    return OutgoingNotice(**(told | changes))  # type: ignore[arg-type]


def row(number: int = 7, **changes: object) -> NoticeRow:
    """A row of the outbox that waits."""
    told: dict[str, object] = {
        "id": number,
        "keeper": "ines",
        "why": "raised",
        "priority": Priority.URGENT,
        "alarms": (12,),
        "created": NOW,
        "subject": "Urgent: too cold [12]",
        "short": "Urgent: air 16.4 C. Alarm 12",
        "long": "It is too cold.\n",
        "html": "<p>It is too cold.</p>",
    }
    return NoticeRow(**(told | changes))  # type: ignore[arg-type]


def mail_channel(port: int, clock: object, **changes: object) -> MailChannel:
    """A channel to Ines through a server of the test."""
    table = {
        "host": "127.0.0.1",
        "port": port,
        "security": changes.pop("security", "none"),
        "username": changes.pop("username", None),
        "sender": SENDER,
    }
    told: dict[str, object] = {
        "to": "ines@quillmere.example",
        "password": None,
        "clock": clock,
        "store": "5a4e",
        "timeout": 5.0,
    }
    return MailChannel(Mail(**table), **(told | changes))  # type: ignore[arg-type]
