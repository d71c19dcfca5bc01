"""The demo from end to end: directories, back-fill, processes, story, and the end."""

import signal
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType
from zoneinfo import ZoneInfo

import msgspec

from monitor.clock import ScaledClock
from monitor.demo.backfill import fill
from monitor.demo.desk import Desk, wait_for
from monitor.demo.house import READY
from monitor.demo.post import Post, free_port
from monitor.demo.processes import environment, start_daemon, start_house
from monitor.demo.residents import journal
from monitor.demo.settings import Directories, make_directories, write_config
from monitor.demo.story import Scene, StoryError, go_on, tell
from monitor.site.load import Configuration, load, shipped

RATE = 60.0
"""Minutes of the house in a minute."""

SEED = 20260301
"""Of everything that is random; the same demo each time."""

START_S = 20.0
"""The daemon must answer within so long [s]."""

OPENS = 10
"""The story begins at this hour of the house's local time."""


def beginning(now: datetime, zone: ZoneInfo) -> datetime:
    """
    When the story begins: today at ten, a time of day at which keepers are awake.

    Args:
        now: The real time. UTC.
        zone: Of the house.
    """
    today = now.astimezone(zone)
    return today.replace(hour=OPENS, minute=0, second=0, microsecond=0).astimezone(UTC)


def run_demo(*, state: Path | None, once: bool, rate: float = RATE) -> int:
    """
    Run the demo.

    Args:
        state: Directory for everything that it leaves; None for a temporary one.
        once: Tell the story and end; else go on until interrupted.
        rate: How much faster than real time the house lives.

    Returns:
        The exit code: 0, also after Ctrl-C.

    Raises:
        MonitorError: If something did not come or cannot be.
    """
    with interruptible():
        dirs = make_directories(state)
        print(
            f"Quillmere Insectarium, an invented house; files in {dirs.root}",
            flush=True,
        )
        try:
            with ExitStack() as stack:
                scene = prepare(dirs, stack, rate=rate)
                tell(scene)
                if not once:
                    scene.say("The house goes on with small faults; Ctrl-C ends it.")
                    go_on(scene, seed=SEED)
        except KeyboardInterrupt:
            print("\nStopped.")
        print(
            f"Look: mails {dirs.mail}, store {dirs.store}, "
            f"log {dirs.log}, configuration {dirs.config}"
        )
    return 0


def prepare(dirs: Directories, stack: ExitStack, *, rate: float) -> Scene:
    """Everything up to the first line of the story; *stack* ends what was begun."""
    post = stack.enter_context(Post(dirs.mail))
    broker_port = free_port()
    write_config(shipped(), dirs.config, broker_port=broker_port, mail_port=post.port)
    configuration = load(dirs.config)
    zone = ZoneInfo(configuration.site.site.time_zone)
    began_at = beginning(datetime.now(UTC), zone)
    sensors = configuration.site.sensors
    entries = journal(began_at=began_at, seed=SEED)
    begin = fill(dirs.store, sensors, entries, began_at=began_at, seed=SEED)
    dirs.begin.write_bytes(msgspec.json.encode(begin))
    clock = ScaledClock(
        rate=rate,
        began_at=began_at,
        began_boot=time.clock_gettime(time.CLOCK_BOOTTIME),
    )
    env = environment(dirs, clock.spelled())
    house = stack.enter_context(start_house(dirs, env, port=broker_port))
    # the daemon counts silence from its start, so the sensors are there before it
    wait_for(
        lambda: READY in dirs.house_log.read_text() or None,
        seconds=START_S,
        alive=lambda: house.ended is None,
    )
    daemon = stack.enter_context(start_daemon(dirs, env))
    desk = Desk(dirs.socket)
    answers = wait_for(
        lambda: desk.answers() or None,
        seconds=START_S,
        alive=lambda: daemon.ended is None,
    )
    if not answers:
        how = "" if daemon.ended is None else f", it ended with code {daemon.ended}"
        raise StoryError(f"the daemon does not answer{how}: see {dirs.log}")
    return Scene(dirs, clock, zone, daemon, house, desk, post, _keepers(configuration))


def _keepers(configuration: Configuration) -> dict[str, str]:
    return {k.mail: k.id for k in configuration.site.keepers if k.mail}


@contextmanager
def interruptible() -> Iterator[None]:
    """Let SIGTERM and a closed terminal end the demo as Ctrl-C does."""

    def interrupt(number: int, frame: FrameType | None) -> None:
        del number, frame
        # the end is under way: a second signal must not cut it short
        for one in signals:
            signal.signal(one, signal.SIG_IGN)
        raise KeyboardInterrupt

    signals = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    before = {one: signal.signal(one, interrupt) for one in signals}
    try:
        yield
    finally:
        for one, handler in before.items():
            signal.signal(one, handler)
