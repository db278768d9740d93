"""One whole scale, served to all tests of this folder that do nothing lasting to it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.real.served import Served, empty_deck, served


@pytest.fixture(scope="session")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    places = ("--serial", "pty", "--serial", "pty", "--tcp", "0", "--tcp", "localhost:0")
    with served(empty_deck(*places), tmp_path_factory.mktemp("bench")) as running:
        yield running
