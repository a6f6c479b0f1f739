"""A share of the files of `hostile_wavs.py`, each by a whole process; and whether it notices what it looks for."""

import os
import random
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

if not hasattr(os, "wait4"):
    pytest.skip("processes cannot be measured here", allow_module_level=True)

from hostile_wavs import refused
from invented.recorded_files import HOSTILE, LARGE

from xover.errors import InputError
from xover.files.wav import wav_bytes
from xover.recordings.reading import read_plan, read_two_channels
from xover.recordings.sweep import SweepPlan, played


def test_a_large_file_costs_little_time_and_memory(tmp_path: Path) -> None:
    LARGE["156 MB, its last sample not a number"](tmp_path / "a.wav")
    words = ["jig", str(tmp_path / "a.wav"), "--played", str(tmp_path / "a.wav"), "--resistor", "10"]
    got = refused(words, "large")
    assert not got.wrong
    assert "no numbers" in got.said


def test_what_is_not_refused_is_noticed() -> None:
    assert refused(["--version"], "none").wrong == "status 0, not one line"


@pytest.mark.parametrize("kind", ["mangled", "short but whole"])
def test_what_is_a_file_but_no_recording_is_refused(tmp_path: Path, kind: str) -> None:
    plan = SweepPlan(8000, 50.0, 3500.0, 1.0, -6.0)
    (tmp_path / "sweep.wav").write_bytes(wav_bytes(played(plan), 8000, comment=plan.text))
    plan = read_plan(tmp_path / "sweep.wav")
    for seed in range(25):
        (tmp_path / "a.wav").write_bytes(HOSTILE[kind](random.Random(seed)))
        with pytest.raises(InputError):
            read_two_channels(tmp_path / "a.wav", plan)
