"""One request being answered: its arguments, read strictly, and the view."""

from datetime import datetime
from zoneinfo import ZoneInfo

from monitor.desk.instants import past_instant
from monitor.desk.said import iso, unknown
from monitor.desk.view import Request, View
from monitor.errors import RefusedError, UsageError
from monitor.site.house import Cohort, Place
from monitor.site.journal import Entry, Fact

NOT_SAID = "not said"
"""Who entered something, where nobody said so."""


class Asked:
    """The arguments of a request; every wrong one is named with its mend."""

    def __init__(self, request: Request, view: View) -> None:
        self.view = view
        self._args = request.args
        self.zone = ZoneInfo(view.site.site.time_zone)

    def text(self, name: str) -> str | None:
        """A text that may be left out; whole numbers count as text."""
        value = self._args.get(name)
        if isinstance(value, int) and not isinstance(value, bool):
            return str(value)
        if value is None or (isinstance(value, str) and value.strip()):
            return value.strip() if value else None
        raise UsageError(f"{spelled(name)}: {value!r} is no text")

    def need(self, name: str, what: str) -> str:
        """A text that must be there."""
        value = self.text(name)
        if value is None:
            raise UsageError(f"{what} is missing: give {spelled(name)}")
        return value

    def flag(self, name: str) -> bool:
        """Yes or no; no where it is left out."""
        value = self._args.get(name)
        if value is None or isinstance(value, bool):
            return bool(value)
        raise UsageError(f"{spelled(name)}: {value!r} is not true or false")

    def number(self, name: str) -> float | None:
        """A finite number that may be left out."""
        value = self._args.get(name)
        if value is None:
            return None
        try:
            number = float("" if isinstance(value, bool | list) else value)
        except (ValueError, OverflowError):
            raise UsageError(f"{spelled(name)}: {value!r} is no number") from None
        if not abs(number) < float("inf"):
            raise UsageError(f"{spelled(name)}: {value!r} is no finite number")
        return number

    def names(self, name: str, what: str) -> list[str]:
        """One or several texts, each once."""
        value = self._args.get(name)
        listed = value if isinstance(value, list) else [self.need(name, what)]
        if not listed:
            raise UsageError(f"{what} is missing: give {spelled(name)}")
        for one in listed:
            if listed.count(one) > 1:
                raise UsageError(f"{spelled(name)}: {one!r} is named twice")
        return listed

    def instant(self, name: str = "at") -> datetime | None:
        """An instant in the past that may be left out. UTC."""
        text = self.text(name)
        if text is None:
            return None
        return past_instant(text, zone=self.zone, now=self.view.now)

    def at(self) -> datetime:
        """When it happened: ``at``, else now."""
        return self.instant("at") or self.view.now

    def note(self) -> str:
        """Free words."""
        return self.text("note") or ""

    def keeper(self) -> str | None:
        """Who says so, who must be a keeper of site.toml."""
        by = self.text("by")
        known = [keeper.id for keeper in self.view.site.keepers]
        if by is not None and by not in known:
            raise UsageError(f"--by: {unknown('keeper', by, known)}")
        return by

    def place(self, name: str, what: str = "the place") -> Place:
        """A place that still stands."""
        return self.find_place(self.need(name, what))

    def find_place(self, place_id: str) -> Place:
        """
        Find a place that still stands.

        Raises:
            UsageError: If there is none of that id.
            RefusedError: If it was scrapped.
        """
        places = self.view.house.places
        if place_id not in places:
            standing = sorted(p.id for p in places.values() if not p.scrapped_at)
            raise UsageError(unknown("place", place_id, standing))
        found = places[place_id]
        if found.scrapped_at:
            raise RefusedError(
                f"{place_id} was scrapped at {self.local(found.scrapped_at)};"
                " set it up again with `place create`, or name another place"
            )
        return found

    def cohort(self, at: datetime) -> Cohort:
        """
        Find the cohort that ``id`` names, living at an instant.

        Raises:
            UsageError: If there is none, or it began later than *at*.
            RefusedError: If it has ended.
        """
        asked = self.need("id", "the cohort")
        living = {str(c.id): c for c in self.view.house.living()}
        every = {str(c.id): c for c in self.view.house.cohorts.values()}
        if asked not in every:
            raise UsageError(unknown("cohort", asked, sorted(living, key=int)))
        found = every[asked]
        if found.ended_at is not None:
            raise RefusedError(
                f"cohort {asked} ended at {self.local(found.ended_at)}:"
                f" {found.end_reason}"
            )
        if at < found.started_at:
            raise UsageError(
                f"--at: {self.local(at)} is before cohort {asked} began, at"
                f" {self.local(found.started_at)}"
            )
        return found

    def local(self, at: datetime) -> str:
        """An instant in the time of the site."""
        return f"{at.astimezone(self.zone):%Y-%m-%d %H:%M}"

    def when(self, at: datetime) -> str:
        """An instant in the time of the site and in UTC."""
        return f"{self.local(at)} ({at:%Y-%m-%d %H:%M:%S} UTC)"

    def entry(self, fact: Fact, at: datetime) -> Entry:
        """A line of the journal from this request."""
        return Entry(
            happened_at=at,
            entered_at=self.view.now,
            by=self.keeper() or NOT_SAID,
            fact=fact,
            note=self.note(),
        )

    def told(self, said: str, at: datetime, **more: object) -> dict[str, object]:
        """A result that tells in words what was done, and the instant used."""
        return {
            **more,
            "at": iso(at),
            "said": said,
            "time_zone": self.zone.key,
        }


def spelled(name: str) -> str:
    """An argument as the command line spells it."""
    return "--" + name.replace("_", "-")
