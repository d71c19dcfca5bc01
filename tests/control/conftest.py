import threading
import time

import pytest

from monitor.control.server import ControlServer
from monitor.desk.view import Reply


def until(condition, seconds=5.0):
    """Wait until something holds; whether it did."""
    deadline = time.monotonic() + seconds
    while not condition() and time.monotonic() < deadline:
        threading.Event().wait(0.005)
    return condition()


class Served:
    """A server on a thread of its own, with a handler that tests give it."""

    def __init__(self, path, **more):
        self.path, self.beats, self.asked = path, 0, []
        self.handle = lambda request: Reply(ok=True, result={"do": request.do})
        self.server = ControlServer(path, self._hear, self._beat, **more).open()
        self.stop = threading.Event()
        self.thread = threading.Thread(target=self.server.run, args=(self.stop,))
        self.thread.start()

    def _hear(self, request):
        self.asked.append(request)
        return self.handle(request)

    def _beat(self):
        self.beats += 1

    def end(self):
        self.stop.set()
        self.thread.join(5)
        assert not self.thread.is_alive()


@pytest.fixture
def serve(tmp_path):
    """Start servers; all are ended after the test."""
    started = []

    def start(path=tmp_path / "control.sock", **more):
        started.append(Served(path, **more))
        return started[-1]

    yield start
    for served in started:
        served.end()
