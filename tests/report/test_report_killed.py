"""xover report, killed while it works over an old page: the page stays whole, and no helper stays behind."""

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "pool"))
from left_behind import CAN_SEE, MARK, marked, wait_until

ROOT = Path(__file__).parents[2]
ATTIC = ROOT / "examples" / "attic-two-way" / "left"
KILLS = 5
RUN = "from xover.cli.main import run; run()"
LONGEST_LIFE_S = 5.0


@pytest.mark.skipif(not CAN_SEE, reason="needs /proc to see what is left")
def test_killed_at_any_moment(tmp_path):
    draw = random.Random(7)
    page = tmp_path / "report.html"
    page.write_text("<p>an old page</p>" * 1000)
    old = page.read_bytes()
    helped = 0
    for kill in range(KILLS):
        mark = f"{os.getpid()}-{kill}"
        command = [sys.executable, "-c", RUN, "report", ATTIC, "--processes", "2", "--force", "-o", page]
        started = subprocess.Popen(
            command, env={**os.environ, MARK: mark}, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        # The last three are killed once they have a helper beside their own process.
        wait_until(lambda mark=mark: len(marked(mark)) > 1, 20.0 if kill >= KILLS - 3 else 0.3)
        time.sleep(draw.uniform(0.0, 0.8))
        helped += len(marked(mark)) > 1
        started.send_signal(signal.SIGKILL)
        assert started.wait(5.0) == -signal.SIGKILL, "it had ended before it was killed"
        assert wait_until(lambda mark=mark: not marked(mark), LONGEST_LIFE_S), f"left behind: {marked(mark)}"
        data = page.read_bytes()
        assert data == old or (data.startswith(b"<!DOCTYPE html>") and data.endswith(b"</html>"))
        assert [p.name for p in tmp_path.iterdir() if not p.name.startswith(".")] == ["report.html"]
    assert helped >= 3, "no helper was at work when the kills came"


@pytest.mark.skipif(not CAN_SEE, reason="needs /proc to see what is left")
def test_interrupted(tmp_path):
    mark = f"{os.getpid()}-interrupted"
    command = [sys.executable, "-c", RUN, "report", ATTIC, "--processes", "2", "-o", tmp_path / "report.html"]
    with subprocess.Popen(
        command,
        env={**os.environ, MARK: mark},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as started:
        try:
            assert wait_until(lambda: len(marked(mark)) > 2, 20.0), "no helper was started"
            time.sleep(0.3)
            os.killpg(started.pid, signal.SIGINT)  # as a terminal does
            assert started.wait(10.0) == 130
            assert "Traceback" not in started.stderr.read()
            assert wait_until(lambda: not marked(mark), LONGEST_LIFE_S), f"left behind: {marked(mark)}"
            assert list(tmp_path.iterdir()) == []
        finally:
            started.kill()
