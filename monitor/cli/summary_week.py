"""What ``summary`` does: finds store and week, has it made, prints or writes it."""

import argparse
import json
import os
from datetime import datetime
from pathlib import Path

from monitor.cli.command import Context
from monitor.errors import UnreachableError, UsageError
from monitor.site.load import Configuration, load
from monitor.store.reader import Reader
from monitor.summary.gather import view_of
from monitor.summary.headline import Occasion, next_in_words
from monitor.summary.making import Made, make
from monitor.summary.shelving import INDEX, shelve
from monitor.summary.summary import Summary, as_json, as_text, summarise
from monitor.summary.week import Week, parse_week, week_asked


def tell(arguments: argparse.Namespace, context: Context, *, now: datetime) -> int:
    """Print the week that is asked for, or write everything of it."""
    state = context.state
    try:
        if arguments.week is not None:
            parse_week(arguments.week)
        if state is None:
            raise UnreachableError(
                "no store: set REARING_STATE to the state directory of the daemon"
            )
        reader = Reader.open(state)
        configuration = load(context.config)
        zone = configuration.site.site.time_zone
        week = week_asked(arguments.week, now=now, zone=zone)
    except UsageError as error:
        raise UsageError(f"--week: {error}") from None
    if not arguments.write:
        summary = _summary(reader, configuration, week, now)
        told = as_json(summary)
        print(_line(told) if arguments.json else as_text(summary))
        return 0
    occasion = Occasion(
        made_at=now,
        number=arguments.number,
        next_due=next_in_words(arguments.next_due or "", zone),
        late=arguments.late,
    )
    _keep_fonts(state)
    made = make(reader, configuration, week, occasion, now=now)
    folder = shelve(made, state)
    print(_for_the_daemon(made, folder) if arguments.json else _paths(made, folder))
    return 0


def _summary(
    reader: Reader, configuration: Configuration, week: Week, now: datetime
) -> Summary:
    with view_of(reader, configuration, week, now=now) as view:
        return summarise(view)


def _line(told: object) -> str:
    return json.dumps(told, ensure_ascii=False)


def _for_the_daemon(made: Made, folder: Path) -> str:
    """What `monitor.chores.Written` reads."""
    told = {name: getattr(made, name) for name in ("subject", "short", "text", "html")}
    return _line(told | {"folder": f"{folder.parent.name}/{folder.name}"})


def _paths(made: Made, folder: Path) -> str:
    without = made.without_pictures
    lines = [made.headline, *([f"Without pictures: {without}"] if without else [])]
    files = (*sorted(folder.iterdir()), folder.parent / INDEX)
    return "\n".join([*lines, *map(str, files)])


def _keep_fonts(state: Path) -> None:
    """P3: the drawing library keeps its fonts where the daemon may write."""
    cache = os.environ.get("CACHE_DIRECTORY")
    where = Path(cache.split(":")[0]) if cache else state / "cache"
    os.environ["MPLCONFIGDIR"] = str(where / "matplotlib")
