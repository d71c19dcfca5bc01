"""Who is on call, and whom to tell after."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from monitor.site.local import local
from monitor.site.site_file import Rota, Site
from monitor.site.words import Role

WEEK = timedelta(weeks=1)


def on_call(site: Site, at: datetime) -> str | None:
    """
    Tell which keeper is on call.

    The keepers of the rota follow one another, each for one week of the wall clock
    of the site, from the first change on.

    Args:
        site: As declared.
        at: An aware instant.

    Returns:
        Id of the keeper. Before the first change and without a rota: the fallback,
        else the first keeper or administrator, else None.
    """
    rota = site.rota
    if rota is not None:
        week = _week(rota, at, site.site.time_zone)
        if week >= 0:
            return rota.order[week % len(rota.order)]
        if rota.fallback is not None:
            return rota.fallback
    for keeper in site.keepers:
        if keeper.role in {Role.KEEPER, Role.ADMINISTRATOR}:
            return keeper.id
    return None


def ladder(site: Site, at: datetime) -> tuple[str, ...]:
    """
    Tell whom to tell in turn until somebody answers, each once.

    First who is on call, then the others of the rota in its order, the night
    contacts, the administrators, the fallback. Without a rota all keepers stand
    before the night contacts. Cover is told only where the rota names it.

    Args:
        site: As declared.
        at: An aware instant.
    """
    first = on_call(site, at)
    told = [first] if first is not None else []
    if site.rota is not None:
        told.extend(site.rota.order)
    else:
        told.extend(k.id for k in site.keepers if k.role is Role.KEEPER)
    for role in (Role.NIGHT_CONTACT, Role.ADMINISTRATOR):
        told.extend(k.id for k in site.keepers if k.role is role)
    if site.rota is not None and site.rota.fallback is not None:
        told.append(site.rota.fallback)
    return tuple(dict.fromkeys(told))


def _week(rota: Rota, at: datetime, zone: str) -> int:
    """Count the changes of the rota before an instant; -1 before the first."""
    guess = (local(at, zone).date() - rota.first_change).days // 7 + 1
    # instants decide: the wall clock shows some times twice and others never
    while guess >= 0 and _change(rota, guess, zone) > at:
        guess -= 1
    return max(guess, -1)


def _change(rota: Rota, week: int, zone: str) -> datetime:
    day = rota.first_change + week * WEEK
    wall = datetime.combine(day, rota.change_time, tzinfo=ZoneInfo(zone))
    return wall.astimezone(UTC)
