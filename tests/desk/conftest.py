import pytest

from tests.desk.quillmere import Quillmere


@pytest.fixture
def quillmere():
    """A house with two tubs on shelf A."""
    house = Quillmere()
    house.do(
        "place create", ids=["tub-1", "tub-2"], in_="shelf-a", at="2026-02-01 09:00"
    )
    return house
