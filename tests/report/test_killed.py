"""Killed at any moment, a report is the old one or the new one, whole."""

import json
import signal
import subprocess
import sys
from collections import Counter
from pathlib import Path

WRITER = Path(__file__).with_name("writer_to_kill.py")
KILLS = 200


def test_two_hundred_kills_leave_a_whole_report(tmp_path):
    done = subprocess.run(
        [sys.executable, WRITER, tmp_path, str(KILLS), "7"], capture_output=True, text=True, check=False, timeout=120
    )
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert len(told) == KILLS
    assert {kill["signal"] for kill in told} == {signal.SIGKILL}
    reports = Counter(kill["report"] for kill in told)
    assert reports["broken"] == 0
    assert min(reports["old"], reports["new"]) > KILLS / 20, "the kills came before anything was written"
    # What is written has no name until it is whole (where the system can do that: on Linux); a copy that is whole may
    # stay where the kill came between its name and its place.
    beside = Counter(kill["beside"] for kill in told)
    assert set(beside) <= {0, 1}
    assert beside[1] <= KILLS / 50
