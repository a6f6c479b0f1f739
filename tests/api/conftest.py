"""One opened example for all."""

from pathlib import Path

import pytest

import xover


@pytest.fixture(scope="session")
def examples():
    return Path(__file__).parents[2] / "examples"


@pytest.fixture(scope="session")
def speaker(examples):
    return xover.open(examples / "attic-two-way" / "left")
