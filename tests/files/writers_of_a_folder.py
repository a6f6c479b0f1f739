"""Writers of one speaker folder: five at once, and one that is killed. Run as a script:

    python writers_of_a_folder.py FOLDER TRIALS KILLS SEED

Each writer is a process of its own, forked from this one, so that the program is loaded once. Prints outcomes as JSON.
The same by whole commands: `python tests/benchmarks/killed_writers.py`.
"""

import json
import os
import random
import signal
import sys
import time
import tomllib
from collections import Counter
from pathlib import Path

from xover.errors import XoverError
from xover.files.changes import JOURNAL, take_back
from xover.files.toml_edit import add_network

TOML = b'# Gr\xf6\xdfe\r\n[drivers.woofer]\r\nre_ohm = 6\r\n[networks.found]\r\ncircuit = "found.cir"\r\n'
CARDS = "* board\nL1 in w 1mH\nXlow w 0 woofer\n.end\n"
LONG = CARDS.replace(".end", "* and on\n" * 20_000 + ".end")
LONGEST_WAIT_S = 0.25


def forked(work):
    """The number of a process that does it; its status is 0, or 2 where it was refused."""
    process = os.fork()
    if process == 0:
        status = 3
        try:
            work()
            status = 0
        except XoverError:
            status = 2
        finally:
            os._exit(status)
    return process


def start(folder):
    for path in folder.iterdir():
        path.unlink()
    (folder / "speaker.toml").write_bytes(TOML)
    (folder / "found.cir").write_text(CARDS)
    return folder / "speaker.toml"


def at_once(folder, trials):
    counted = Counter()
    for _ in range(trials):
        toml = start(folder)
        names = [f"n{k}" for k in range(5)]
        writers = {forked(lambda toml=toml, name=name: add_network(toml, name, CARDS)): name for name in names}
        told = {writers[p]: os.waitstatus_to_exitcode(status) for p, status in (os.waitpid(p, 0) for p in writers)}
        there = set(tomllib.loads(toml.read_bytes().decode("latin-1"))["networks"])
        counted["told as done"] += sum(status == 0 for status in told.values())
        counted["lost"] += sum(status == 0 and name not in there for name, status in told.items())
        counted["other"] += sum(status != 0 for status in told.values())
        counted["bytes kept"] += toml.read_bytes().startswith(TOML)
        for _ in names:
            take_back(toml)
        counted["taken back"] += toml.read_bytes() == TOML and sorted(os.listdir(folder)) == [
            "found.cir",
            "speaker.toml",
        ]
    return counted


def write_for_ever(toml):
    """What is killed."""
    while True:
        add_network(toml, "new", LONG)
        add_network(toml, "new", CARDS, force=True)
        take_back(toml)
        take_back(toml)


def killed(folder, kills, seed):
    draw, counted = random.Random(seed), Counter()
    for _ in range(kills):
        toml = start(folder)
        writer = forked(lambda toml=toml: write_for_ever(toml))
        time.sleep(draw.uniform(0.001, LONGEST_WAIT_S))
        os.kill(writer, signal.SIGKILL)
        assert os.waitstatus_to_exitcode(os.waitpid(writer, 0)[1]) == -signal.SIGKILL
        text = toml.read_bytes().decode("latin-1")
        named = {entry["circuit"] for entry in tomllib.loads(text)["networks"].values()}
        there = {p.name for p in folder.iterdir()}
        counted["networks: " + " and ".join(sorted(named))] += 1
        counted["broken"] += not text.encode("latin-1").startswith(TOML) or not named <= there
        counted["broken"] += any((folder / n).read_text() not in (CARDS, LONG) for n in there if n.endswith(".cir"))
        counted["scratch"] += len(there - {"speaker.toml", "found.cir", "new.cir", JOURNAL})
        try:
            while True:
                take_back(toml)
        except XoverError:
            counted["taken back"] += toml.read_bytes() == TOML and not (folder / "new.cir").exists()
    return counted


if __name__ == "__main__":
    own = Path(sys.argv[1])
    trials, kills, seed = map(int, sys.argv[2:])
    json.dump({"at once": at_once(own, trials), "killed": killed(own, kills, seed)}, sys.stdout)
