"""A pool that is cut off while its copies send what they have: nobody waits for the rest of it."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

import xover

PROGRAM = Path(__file__).with_name("half_sent.py")


@pytest.mark.skipif(sys.platform != "linux", reason="copies of a process are made on Linux alone")
@pytest.mark.parametrize("after_s", [0.05, 0.09, 0.13, 0.17])
def test_it_ends(after_s):
    environment = {**os.environ, "PYTHONPATH": str(Path(xover.__file__).parents[1]), "OPENBLAS_NUM_THREADS": "1"}
    with subprocess.Popen([sys.executable, PROGRAM], stdout=subprocess.PIPE, text=True, env=environment) as program:
        assert program.stdout is not None
        assert program.stdout.readline() == "begun\n"
        time.sleep(after_s + 0.3)  # until joblib is loaded and the copies are at work
        program.send_signal(signal.SIGTERM)
        try:
            rest, _ = program.communicate(timeout=20)
        except subprocess.TimeoutExpired:
            program.kill()
            raise
    assert rest == "ended\n"
