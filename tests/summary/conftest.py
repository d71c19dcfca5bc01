import pytest

from monitor.site.load import load
from tests.summary.house import House, lay


@pytest.fixture(scope="session")
def declared(tmp_path_factory):
    """The files of the house, read once."""
    return load(lay(tmp_path_factory.mktemp("summary") / "config"))


@pytest.fixture
def quillmere(declared):
    """The house with nothing told yet."""
    return House(declared)
