"""What holds for every test."""

import shutil

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "ci",
    derandomize=True,
    deadline=None,
    print_blob=True,
    # two cores shared with brokers and mail servers: slow is no fault of a strategy
    suppress_health_check=[HealthCheck.too_slow],
)
settings.register_profile("deep", max_examples=2000, deadline=None)

NO_BROKER = "needs mosquitto: apt-get install mosquitto mosquitto-clients"


def pytest_collection_modifyitems(items):
    if shutil.which("mosquitto") and shutil.which("mosquitto_pub"):
        return
    for item in items:
        if item.get_closest_marker("mosquitto"):
            item.add_marker(pytest.mark.skip(reason=NO_BROKER))


@pytest.fixture(autouse=True)
def _no_settings_from_outside(monkeypatch):
    """A setting of the machine decides no test."""
    for name in (
        "CREDENTIALS_DIRECTORY",
        "NOTIFY_SOCKET",
        "REARING_CLOCK",
        "REARING_CONFIG",
        "REARING_LOG",
        "REARING_SECRETS",
        "REARING_SOCKET",
        "REARING_STATE",
        "RUNTIME_DIRECTORY",
        "STATE_DIRECTORY",
        "WATCHDOG_PID",
        "WATCHDOG_USEC",
    ):
        monkeypatch.delenv(name, raising=False)
