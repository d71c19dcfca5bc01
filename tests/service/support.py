"""A daemon with keepers, a mail server and a broker of a test's own."""

import contextlib
import csv
import io
import subprocess
import sys
from datetime import UTC, datetime, timedelta

from tests.support.brokers import wait_for
from tests.support.daemon import Daemon, notify_socket

TOPIC = "rearing/warm-room/air_temperature"
LOGIN = ("monitor@quillmere.example", "a long password of letters")

PEOPLE = """
[[keeper]]
id = "ines"
name = "Ines"
mail = "ines@quillmere.example"
role = "keeper"

[[keeper]]
id = "tom"
name = "Tom"
mail = "tom@quillmere.example"
role = "keeper"

[mail]
host = "127.0.0.1"
port = {port}
security = "{security}"
from = "monitor@quillmere.example"
"""


def people(post, *, login=False):
    """Two keepers and the way to their mail."""
    text = PEOPLE.format(port=post.port, security="starttls" if login else "none")
    return text + (f'username = "{LOGIN[0]}"\n' if login else "")


def own_broker(port):
    """A [broker] that a test runs."""
    return f'host = "127.0.0.1"\nport = {port}\nclient_id = "quillmere-monitor"'


@contextlib.contextmanager
def daemon(folder, *, broker, more="", **variables):
    """A daemon that is ready, and gone afterwards."""
    folder.mkdir(exist_ok=True)
    with notify_socket(str(folder / "notify")) as notify:
        made = Daemon(folder, broker, notify, environment=variables, more=more)
        try:
            yield again(made)
        finally:
            made.kill()


def again(made):
    """Start a daemon, at first or after its end, until it hears its broker."""
    made.notify.heard.clear()
    before = times_connected(made)
    made.start()
    made.wait_for("READY=1")
    # ready means store and configuration (S6); a message needs a subscription too
    wait_for(lambda: times_connected(made) > before, 20.0)
    return made


def times_connected(made):
    """How often a daemon has said that it is connected."""
    log = made.folder / "log"
    return log.read_text().count("connected=True") if log.exists() else 0


def stored(made):
    """(time, value) of every stored reading, as `export readings` gives them."""
    command = [sys.executable, "-m", "monitor", "export", "readings"]
    ended = subprocess.run(
        [*command, "--config", str(made.folder / "config")],
        env=made.variables(),
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    rows = csv.DictReader(io.StringIO(ended.stdout))
    return [(row["time"], float(row["value"])) for row in rows]


def stamp(at):
    """An instant as sensors write it."""
    return at.isoformat().replace("+00:00", "Z")


def payload(at, value):
    """A timed payload of the contract."""
    return f'{{"value": {value}, "time": "{stamp(at)}"}}'


def recent(count, step=timedelta(milliseconds=40)):
    """Instants that end just before now, oldest first."""
    end = datetime.now(tz=UTC).replace(microsecond=0) - timedelta(seconds=1)
    return [end - step * (count - i) for i in range(count)]
