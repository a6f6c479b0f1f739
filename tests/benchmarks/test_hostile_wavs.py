"""A share of the files of `hostile_wavs.py`, each by a whole process; and whether it notices what it looks for."""

import os
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

if not hasattr(os, "wait4"):
    pytest.skip("processes cannot be measured here", allow_module_level=True)

from hostile_wavs import refused
from invented.recorded_files import LARGE


def test_a_large_file_costs_little_time_and_memory(tmp_path: Path) -> None:
    LARGE["156 MB, its last sample not a number"](tmp_path / "a.wav")
    words = ["jig", str(tmp_path / "a.wav"), "--played", str(tmp_path / "a.wav"), "--resistor", "10"]
    got = refused(words, "large")
    assert not got.wrong
    assert "no numbers" in got.said


def test_what_is_not_refused_is_noticed() -> None:
    assert refused(["--version"], "none").wrong == "status 0, not one line"
