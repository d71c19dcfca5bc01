from pathlib import Path

import pytest

from monitor.store import Writer
from tests.store.support import NOW


@pytest.fixture
def writer(tmp_path: Path):
    with Writer.open(tmp_path / "state", now=NOW) as opened:
        yield opened
