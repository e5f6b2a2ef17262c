"""One nursery for all tests of this folder: getting it ready takes longer than what runs in it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.killing.nursery import Nursery, nursery


@pytest.fixture(scope="session")
def nest(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Nursery]:
    with nursery(tmp_path_factory.mktemp("said")) as ready:
        yield ready
