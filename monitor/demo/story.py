"""
What a keeper sees when a heater fails.

Readings, the failure, the alarm, its mail, the answer, and the return to normal.
Nothing is staged but the heater: each step waits until the daemon itself says that it
has come, and the story ends with one line and exit code 1 where it does not.
"""

import itertools
import random
import textwrap
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import timedelta
from typing import TypeVar
from zoneinfo import ZoneInfo

from monitor.clock import ScaledClock
from monitor.demo.desk import AlarmRow, Desk, Now, wait_for
from monitor.demo.plan import FAILING_SHELF
from monitor.demo.post import Caught, Post
from monitor.demo.processes import Child
from monitor.demo.settings import Directories
from monitor.errors import MonitorError
from monitor.store.reader import Reader

T = TypeVar("T")

LINES_OF_MAIL = 15
"""So much of a mail's text is shown."""

OVER = ", over"
"""What the subject of a mail says when an alarm is over."""

READING_THE_MAIL = timedelta(minutes=3)
"""A keeper's time between mail and answer."""

SHOWN = ("warm-room-a", FAILING_SHELF, "cool-room-b", "incubator-1", "exhibit-1")
"""Places of the compact line."""

MARGIN_S = 15.0
"""What a slow machine may take beyond the house's own time [s]."""


class StoryError(MonitorError):
    """The story did not go as the daemon should make it go."""


def print_line(text: str) -> None:
    """Print at once, also into a pipe."""
    print(text, flush=True)


@dataclass
class Scene:
    """
    Who plays, and on which clock.

    Attributes:
        keepers: Id of each keeper by mail address.
        seen: Alarms that were told already, by id, in their state.
    """

    dirs: Directories
    clock: ScaledClock
    zone: ZoneInfo
    daemon: Child
    house: Child
    desk: Desk
    post: Post
    keepers: dict[str, str]
    say: Callable[[str], None] = print_line
    seen: dict[int, str] = field(default_factory=dict)

    def tell(self, text: str) -> None:
        """Say a line with the house's local time."""
        local = self.clock.now().astimezone(self.zone)
        self.say(f"{local:%H:%M}  {text}")

    def alive(self) -> bool:
        """Whether both processes run."""
        return self.daemon.ended is None and self.house.ended is None

    def real(self, span: timedelta) -> float:
        """Real seconds to wait for something that the house needs *span* for."""
        return self.clock.seconds(span) + MARGIN_S

    def need(self, look: Callable[[], T | None], *, within: timedelta, what: str) -> T:
        """
        Wait for what must come.

        Raises:
            StoryError: If it does not come in time; names the log.
        """
        found = wait_for(look, seconds=self.real(within), alive=self.alive)
        if found is not None:
            return found
        raise StoryError(f"{what} did not come{self.ended()}: see {self.dirs.log}")

    def ended(self) -> str:
        """Which process ended, for an error."""
        for name, child in (("daemon", self.daemon), ("simulated house", self.house)):
            if child.ended is not None:
                return f", the {name} ended with code {child.ended}"
        return ""


def tell(scene: Scene) -> None:
    """
    Tell the whole story once.

    Raises:
        StoryError: If something did not come.
    """
    quiet(scene)
    scene.house.tell(f"heater {FAILING_SHELF} dead")
    scene.tell(f"the heater of {FAILING_SHELF} fails; nobody has noticed yet")
    alarm = falling(scene)
    scene.tell(f"ALARM standing: {alarm.words}")
    mail = notice(scene, lambda c: OVER not in c.subject, what="the alarm's mail")
    show_mail(scene, mail)
    keeper = scene.keepers.get(mail.to, mail.to)
    time.sleep(scene.clock.seconds(READING_THE_MAIL))
    answer(scene, alarm, keeper)
    scene.house.tell(f"heater {FAILING_SHELF} mended")
    scene.tell(f"{keeper} pushes the plug of the heater home: it warms again")
    recovery(scene, alarm)
    over = notice(
        scene,
        lambda c: c.to == mail.to and c.path != mail.path and OVER in c.subject,
        what="the mail of the return to normal",
    )
    scene.tell(f"back to normal; mail to {over.to}: {over.subject}")
    scene.say(f"       {over.path}")


def quiet(scene: Scene) -> None:
    """Show that readings come in, before anything happens."""
    start = scene.need(scene.desk.now, within=timedelta(), what="the first answer")

    def some(after: int) -> Now | None:
        now = scene.desk.now()
        return now if now.committed >= after else None

    for more in (10, 35):
        now = scene.need(
            lambda: some(start.committed + more),  # noqa: B023 - used within this turn
            within=timedelta(minutes=8),
            what="the first readings",
        )
        scene.tell(compact(now))
    others = scene.desk.alarms()
    if others:
        raise StoryError(
            f"the house should be quiet, but {others[0].words}: see {scene.dirs.log}"
        )


def falling(scene: Scene) -> AlarmRow:
    """Show the temperature while it falls, until the alarm stands."""
    lines = every(scene, timedelta(minutes=4))

    def alarm() -> AlarmRow | None:
        if next(lines):
            temperature = scene.desk.now().place(FAILING_SHELF).own("air_temperature")
            if temperature is not None:
                scene.tell(f"{FAILING_SHELF} {temperature:.1f} C")
        found = [a for a in scene.desk.alarms() if a.thing == FAILING_SHELF]
        return found[0] if found else None

    # the fall takes about 9 minutes, the on-delay 20
    return scene.need(
        alarm, within=timedelta(minutes=35), what=f"the alarm of {FAILING_SHELF}"
    )


def notice(scene: Scene, wanted: Callable[[Caught], bool], *, what: str) -> Caught:
    """Wait for a mail at the catcher."""
    caught = scene.post.wait(wanted, seconds=scene.real(timedelta(minutes=3)))
    if caught is None:
        raise StoryError(f"{what} did not come{scene.ended()}: see {scene.dirs.log}")
    return caught


def show_mail(scene: Scene, mail: Caught) -> None:
    """Show a mail as it would have gone out."""
    scene.tell(f"mail to {mail.to}, caught as {mail.path}")
    scene.say(f"       Subject: {mail.subject}")
    for row in Reader.open(scene.dirs.store).notices():
        if row.subject == mail.subject:
            scene.say(f"       Short form, for a phone: {row.short}")
            break
    lines = [line for line in mail.text.splitlines() if line.strip()]
    for line in lines[:LINES_OF_MAIL]:
        for part in textwrap.wrap(line, 84) or [""]:
            scene.say(f"       | {part}")
    if len(lines) > LINES_OF_MAIL:
        scene.say(f"       | … {len(lines) - LINES_OF_MAIL} more lines")


def answer(scene: Scene, alarm: AlarmRow, keeper: str) -> None:
    """Answer as a keeper would, and see that it is answered."""
    scene.tell(f"{keeper}: rearing-monitor alarms acknowledge {alarm.id} --by {keeper}")
    scene.desk.acknowledge(alarm.id, by=keeper, note="on my way")

    def answered() -> AlarmRow | None:
        found = scene.desk.alarm(alarm.id)
        return found if found and found.state == "acknowledged" else None

    now = scene.need(answered, within=timedelta(minutes=1), what="the answered state")
    scene.tell(f"alarm {alarm.id} {now.said or now.state}: nobody else is called")


def recovery(scene: Scene, alarm: AlarmRow) -> None:
    """Show the temperature while it rises, until the alarm is over."""
    lines = every(scene, timedelta(minutes=4))

    def over() -> bool | None:
        if next(lines):
            temperature = scene.desk.now().place(FAILING_SHELF).own("air_temperature")
            if temperature is not None:
                scene.tell(f"{FAILING_SHELF} {temperature:.1f} C")
        return True if scene.desk.alarm(alarm.id) is None else None

    # the rise takes about 6 minutes, the off-delay 10
    scene.need(over, within=timedelta(minutes=25), what="the return to normal")
    scene.tell(f"alarm {alarm.id} is over")


def every(scene: Scene, span: timedelta) -> Iterator[bool]:
    """True once in each *span* of the house's time, False between."""
    due = scene.clock.now()
    while True:
        now = scene.clock.now()
        if now >= due:
            due = now + span
            yield True
        else:
            yield False


def compact(now: Now) -> str:
    """One line of how the house is."""
    parts = []
    for place in SHOWN:
        row = now.place(place)
        temperature = row.own("air_temperature")
        if temperature is not None:
            parts.append(f"{place} {temperature:.1f} C")
    return f"{now.committed} readings stored; " + ", ".join(parts)


FAULTS: tuple[tuple[str, str], ...] = (
    ("probe cool-room-a-air silent", "the battery of cool-room-a-air is empty"),
    ("humidifier exhibit-1 dead", "the humidifier of exhibit-1 has run dry"),
    ("heater incubator-1 dead", "the heater of incubator-1 fails"),
    (
        "probe bin-2-core reads-85-once",
        "bin-2-core reads 85.0 once: the next reading takes it back, nobody is woken",
    ),
)
"""Small faults of the endless demo: the order to the house, and words."""

FAULT_EVERY_S = 180.0
"""Real seconds from one small fault to the next."""

MENDED_AFTER_S = 100.0
"""Real seconds until somebody mends it."""

LINE_EVERY_S = 10.0
"""Real seconds between two compact lines."""


def go_on(scene: Scene, *, seed: int) -> None:
    """
    Go on with small faults until interrupted.

    Raises:
        StoryError: If daemon or house ended by themselves.
    """
    order = list(FAULTS)
    random.Random(seed).shuffle(order)  # noqa: S311 - no secret hangs on it
    faults = itertools.cycle(order)
    mails = len(scene.post.caught())
    started = time.monotonic()
    next_fault, next_line = started + 20.0, started
    mending: tuple[float, str] | None = None
    while scene.alive():
        now = time.monotonic()
        if mending and now >= mending[0]:
            scene.house.tell(mending[1])
            scene.tell(mending[1])
            mending = None
        if now >= next_fault:
            what, words = next(faults)
            scene.house.tell(what)
            scene.tell(words)
            mending = (now + MENDED_AFTER_S, f"{what.rpartition(' ')[0]} mended")
            next_fault = now + FAULT_EVERY_S
        with suppress(MonitorError):
            if now >= next_line:
                scene.tell(compact(scene.desk.now()))
                next_line = now + LINE_EVERY_S
            changes(scene)
        for mail in scene.post.caught()[mails:]:
            scene.tell(f"mail to {mail.to}: {mail.subject}")
            scene.say(f"       {mail.path}")
            mails += 1
        time.sleep(0.5)
    raise StoryError(f"the demo stopped{scene.ended()}: see {scene.dirs.log}")


def changes(scene: Scene) -> None:
    """Tell each alarm once in each of its states."""
    standing = {a.id: a for a in scene.desk.alarms()}
    for alarm in standing.values():
        if scene.seen.get(alarm.id) != alarm.state:
            scene.seen[alarm.id] = alarm.state
            scene.tell(f"{alarm.said or alarm.state}: {alarm.words}")
    for gone in [i for i in scene.seen if i not in standing]:
        del scene.seen[gone]
        scene.tell(f"over: alarm {gone}")
