"""One runner of ngspice for all the proving ground's tests."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.proving.spice import Runner


@pytest.fixture(scope="session")
def runner() -> Iterator[Runner]:
    with Runner() as made:
        yield made
