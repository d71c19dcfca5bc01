"""Notices that the step wants, put into words for the outbox."""

import logging
from collections.abc import Iterable, Mapping
from datetime import datetime

from monitor.alarms.alarm import Alarm
from monitor.alarms.registry import WORDS
from monitor.heart.events import AlarmChanged, NoticeWanted, Record
from monitor.notices.places import place_paths
from monitor.notices.wording import compose
from monitor.recorder.living import Living
from monitor.site.rota import ladder
from monitor.site.site_file import Keeper, Site
from monitor.site.words import Role
from monitor.store.rows import NewNotice

log = logging.getLogger(__name__)


def notices_of(living: Living, records: Iterable[Record]) -> list[NewNotice]:
    """Word every notice that the records want, from the state after them."""
    records = tuple(records)
    wanted = [r for r in records if isinstance(r, NoticeWanted)]
    if not wanted:
        return []
    alarms: dict[int, Alarm] = {
        r.alarm.id: r.alarm for r in records if isinstance(r, AlarmChanged)
    }
    alarms |= living.state.alarms
    names = place_paths(living.house)
    return [_worded(living, want, alarms, names) for want in wanted]


def _worded(
    living: Living,
    want: NoticeWanted,
    alarms: Mapping[int, Alarm],
    names: Mapping[str, str],
) -> NewNotice:
    told = [alarms[i] for i in want.alarms if i in alarms]
    site = living.configuration.site
    try:
        words = compose(
            told,
            why=want.why,
            keeper=keeper_of(site, want.keeper),
            site=site,
            place_names=names,
            now=want.at,
            next_keeper=_next(site, want.keeper, want.at),
            words=WORDS,
        )
        subject, short, long, html = words.subject, words.short, words.long, words.html
    except Exception:
        # E10: an alarm must never be lost by its own text
        log.exception("notice could not be worded", extra={"alarms": want.alarms})
        numbers = ", ".join(str(i) for i in want.alarms)
        subject = short = f"{want.priority}: alarm {numbers} {want.why}"
        long = f"{subject}. See: rearing-monitor alarms list\n"
        html = ""
    return NewNotice(
        keeper=want.keeper,
        why=want.why,
        priority=want.priority,
        alarms=want.alarms,
        created=want.at,
        subject=subject,
        short=short,
        long=long,
        html=html,
    )


def keeper_of(site: Site, keeper: str) -> Keeper:
    """The keeper of this id, or a bare one where site.toml no longer has them."""
    for known in site.keepers:
        if known.id == keeper:
            return known
    return Keeper(id=keeper, name=keeper, role=Role.KEEPER, channels=())


def _next(site: Site, keeper: str, at: datetime) -> str | None:
    steps = ladder(site, at)
    if keeper not in steps:
        return steps[0] if steps else None
    return steps[(steps.index(keeper) + 1) % len(steps)]
