"""What was started, told by a mark in the environment that every process inherits."""

import time
from pathlib import Path

MARK = "XOVER_TEST_MARK"
CAN_SEE = Path("/proc/self/environ").exists()


def marked(mark):
    """Processes that were started, by whom ever, in an environment with that mark."""
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            if f"{MARK}={mark}".encode() in (folder / "environ").read_bytes():
                found.append(int(folder.name))
        except OSError:  # it has ended, or is somebody else's
            continue
    return found


def wait_until(true, seconds):
    """What `true` gives once it is so, or when the time is over."""
    ends = time.monotonic() + seconds
    while not (reached := true()) and time.monotonic() < ends:
        time.sleep(0.05)
    return reached
