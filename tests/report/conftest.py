"""Lets the tests of this folder import the helpers beside them, and gives them one browser for all."""

import os
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent))


@pytest.fixture(scope="session")
def shared(tmp_path_factory):
    """A folder of this run that all workers know."""
    base = tmp_path_factory.getbasetemp()
    folder = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "made-reports"
    folder.mkdir(exist_ok=True)
    return folder


@pytest.fixture(scope="session")
def browser():
    """One browser for the whole run."""
    from browser import Browser, need_browser

    need_browser()
    with Browser() as running:
        yield running
