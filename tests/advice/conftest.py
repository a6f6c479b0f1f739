"""The modules beside the tests are imported by their names."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent))


@pytest.fixture(scope="session", autouse=True)
def commands_built_once():
    """Build the tree of commands once, not at each call."""
    import typer.main

    import xover.cli.main

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(xover.cli.main, "app", typer.main.get_command(xover.cli.main.app))
        yield
