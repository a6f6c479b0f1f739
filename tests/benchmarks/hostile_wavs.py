"""Hostile WAV files, each given to a command in a process of its own: what came of it, its time and memory.

    python tests/benchmarks/hostile_wavs.py                # 370 files, and the table of what came of them
    python tests/benchmarks/hostile_wavs.py --files 74

A good one is refused in one line with status 2, within 1 s of the processor and 300 MB, all of the process counted: the
start of the interpreter and its libraries among it. Memory is the largest resident size.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Final

# As the command line does: threads of small solves only wait, and count as time.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from invented.recorded_files import LARGE, hostile_files

MOST_SECONDS: Final = 1.0
MOST_BYTES: Final = 300 << 20
START: Final = "from xover.cli.main import run; run()"
# A small process between: the largest size of a child counts that of whoever started it.
MEASURE: Final = """
import os, sys
os.dup2(1, 2)
_, status, used = os.wait4(os.spawnv(os.P_NOWAIT, sys.argv[1], sys.argv[1:]), 0)
print(os.waitstatus_to_exitcode(status), used.ru_utime + used.ru_stime, used.ru_maxrss)
"""


@dataclass(frozen=True)
class Outcome:
    """What came of one; `wrong` is empty where nothing is."""

    kind: str
    wrong: str
    cpu_s: float
    wall_s: float
    bytes: int
    said: str


def refused(words: list[str], kind: str) -> Outcome:
    """Run the command on a file, from outside."""
    begun = time.perf_counter()
    child = [sys.executable, "-S", "-c", MEASURE, sys.executable, "-c", START, *words]
    text = subprocess.run(child, capture_output=True, text=True, errors="replace", check=True).stdout
    wall = time.perf_counter() - begun
    text, _, figures = text.rstrip("\n").rpartition("\n")
    status, cpu, size = int(figures.split()[0]), float(figures.split()[1]), int(figures.split()[2]) * 1024
    wrong = [
        "" if status == 2 else f"status {status}",
        "" if text.startswith("error: ") and "\n" not in text else "not one line",
        "" if cpu <= MOST_SECONDS else "over 1 s",
        "" if size <= MOST_BYTES else "over 300 MB",
    ]
    return Outcome(kind, ", ".join(filter(None, wrong)), cpu, wall, size, text)


def outcomes(count: int, folder: Path, large: bool = True) -> list[Outcome]:
    """Of so many files; two of three as a recording of the jig or of a response, each third as what was played."""
    sweep = folder / "sweep.wav"
    subprocess.run([sys.executable, "-c", START, "sweep", "--seconds", "4", "-o", str(sweep)], check=True, stdout=-3)
    path = folder / "a.wav"
    ways = (
        ["jig", str(path), "--played", str(sweep), "--resistor", "10"],
        ["response", str(path), "--played", str(sweep)],
        ["response", str(sweep), "--played", str(path)],
    )
    done = []
    for number, (kind, data) in enumerate(hostile_files(count)):
        path.write_bytes(data)
        done.append(refused(ways[number % 3], kind))
    for kind, make in LARGE.items() if large else ():
        make(path)
        done.append(refused(ways[0], kind))
    return done


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--files", type=int, default=370)
    with tempfile.TemporaryDirectory() as folder:
        done = outcomes(parser.parse_args().files, Path(folder))
    wrong = [one for one in done if one.wrong]
    print(f"{len(done)} files, {len({one.kind for one in done})} kinds: {len(done) - len(wrong)} refused in one line")
    slow, big = max(done, key=lambda one: one.cpu_s), max(done, key=lambda one: one.bytes)
    print(f"worst: {slow.cpu_s:.2f} s CPU ({slow.kind}), {max(o.wall_s for o in done):.2f} s wall")
    print(f"       {big.bytes >> 20} MB ({big.kind}); median {sorted(o.cpu_s for o in done)[len(done) // 2]:.2f} s CPU")
    for (kind, fault), count in Counter((one.kind, one.wrong) for one in wrong).items():
        print(f"  {count} {kind}: {fault}: {next(o.said for o in wrong if o.kind == kind)[:300]}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
