from datetime import UTC, datetime, timedelta

import pytest

from monitor.testing import FakeClock
from tests.support.mail import CatchingServer

NOW = datetime(2026, 11, 25, 2, 40, tzinfo=UTC)


@pytest.fixture
def clock():
    return FakeClock(NOW)


@pytest.fixture
def deadline(clock):
    return clock.now() + timedelta(seconds=20)


@pytest.fixture
def server():
    with CatchingServer() as running:
        yield running
