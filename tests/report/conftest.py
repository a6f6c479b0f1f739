"""Lets the tests of this folder import the helpers beside them, and gives them one browser for all."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent))


@pytest.fixture(scope="session")
def browser():
    """One browser for the whole run."""
    from browser import Browser, need_browser

    need_browser()
    with Browser() as running:
        yield running
