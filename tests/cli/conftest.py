"""Run the command line in process, as a user would see it."""

import io
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path

import pytest

from xover.cli.main import main

ROOT = Path(__file__).parents[2]


@dataclass(frozen=True)
class Ran:
    """What a command printed and its exit status."""

    status: int
    out: str
    err: str


@pytest.fixture
def run():
    def call(*arguments):
        out, err = io.StringIO(), io.StringIO()
        with redirect_stdout(out), redirect_stderr(err):
            status = main([str(a) for a in arguments])
        return Ran(status, out.getvalue(), err.getvalue())

    return call


@pytest.fixture
def examples():
    return ROOT / "examples"


@pytest.fixture
def attic(tmp_path):
    """A copy of an example that a test may damage."""
    import shutil

    shutil.copytree(ROOT / "examples" / "attic-two-way", tmp_path / "attic")
    return tmp_path / "attic" / "left"
