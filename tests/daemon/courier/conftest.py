"""A courier with real servers before it: a database's and a phone's."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from daemon.courier.beside import Phone, World
from receivers import Endpoint, endpoint


@pytest.fixture
def base() -> Iterator[Endpoint]:
    with endpoint() as made:
        yield made


@pytest.fixture
def owner() -> Iterator[Phone]:
    made = Phone()
    yield made
    made.close()


@pytest.fixture
def world(tmp_path: Path, base: Endpoint, owner: Phone) -> Iterator[World]:
    made = World(tmp_path / "store", base, owner)
    yield made
    made.close()
