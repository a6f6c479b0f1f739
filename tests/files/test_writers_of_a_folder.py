"""Five writers at once lose nothing; one that is killed leaves whole files, and what it did can be taken back."""

import json
import subprocess
import sys
from pathlib import Path

PROGRAM = Path(__file__).with_name("writers_of_a_folder.py")
TRIALS, KILLS = 12, 24


def test_writers_at_once_and_writers_killed(tmp_path):
    words = [sys.executable, PROGRAM, tmp_path, str(TRIALS), str(KILLS), "7"]
    done = subprocess.run(words, capture_output=True, text=True, check=False, timeout=120)
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["at once"] == {
        "told as done": 5 * TRIALS,
        "lost": 0,
        "other": 0,
        "bytes kept": TRIALS,
        "taken back": TRIALS,
    }
    killed = told["killed"]
    assert killed["broken"] == 0
    assert killed["taken back"] == KILLS
    # A whole copy may stay where the kill came between its name and its place: 3 of 200 did.
    assert killed["scratch"] <= 3
    assert min(killed["networks: found.cir"], killed["networks: found.cir and new.cir"]) > KILLS / 20
