"""Writes a report over another, again and again, in processes that are killed at moments nobody chose. Run as a script:

    python writer_to_kill.py FOLDER KILLS SEED

Each kill ends a process of its own, forked from this one, so that the program is loaded once. Prints, as JSON,
what was found in FOLDER after each kill: whether the report was the old, the new or a broken one, and how many files
lay beside it.
"""

import json
import os
import random
import signal
import sys
import time
from pathlib import Path
from types import SimpleNamespace

from xover.report.report import write_report

OLD = SimpleNamespace(html="<p>old</p>\n" + "0123456789abcdef\n" * 60_000)
NEW = SimpleNamespace(html="<p>new</p>\n" + "fedcba9876543210\n" * 90_000)
LONGEST_WAIT_S = 0.03


def write_for_ever(path: Path) -> None:
    """What is killed."""
    while True:
        write_report(NEW, path, force=True)
        write_report(OLD, path, force=True)


def found(path: Path) -> str:
    """Which report lies there, judged by every byte."""
    data = path.read_bytes()
    return "old" if data == OLD.html.encode() else "new" if data == NEW.html.encode() else "broken"


def main(folder: Path, kills: int, seed: int) -> None:
    """Kill so many writers and tell what they left."""
    draw = random.Random(seed)
    path = folder / "report.html"
    write_report(OLD, path)
    told = []
    for _ in range(kills):
        writer = os.fork()
        if writer == 0:
            try:
                write_for_ever(path)
            finally:
                os._exit(1)
        time.sleep(draw.uniform(0.001, LONGEST_WAIT_S))
        os.kill(writer, signal.SIGKILL)
        _, status = os.waitpid(writer, 0)
        beside = [other for other in folder.iterdir() if other != path]
        told.append({"signal": os.WTERMSIG(status), "report": found(path), "beside": len(beside)})
        for other in beside:
            other.unlink()
    json.dump(told, sys.stdout)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
