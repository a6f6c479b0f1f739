"""How often levels of a phone tell a wrong build from a right one: `python tests/benchmarks/phone_builds.py`.

A speaker is invented with the network that its folder has as "found", known part by part, and a new one, "rebuilt".
Both are built of parts within 5 %, and heard in an invented room by an invented phone (tests/invented/rooms.py), which
in every other pair of rooms is taken away between the two and put back up to 2 cm off. Of each kind of build it is
counted what `compare --levels` says: as predicted, differs, or that it cannot tell; and what `verify` says of the
sweep at the terminals with these levels.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from invented import rooms
from invented.rooms import Network, Room, Session

from xover.curve import Evidence
from xover.files.tables import read_impedance
from xover.speaker import open_speaker
from xover.studies.aged.phone.result import Change, Held
from xover.studies.aged.phone.study import change_heard
from xover.studies.aged.verify.study import verify


def right(network: Network, _: np.random.Generator) -> Network:
    """As planned."""
    return network


def half_capacitor(network: Network, _: np.random.Generator) -> Network:
    """The tweeter's series capacitor of half its value."""
    return (*network[:-1], network[-1].but(0, 0.5))


def double_pad(network: Network, _: np.random.Generator) -> Network:
    """The tweeter's resistor of twice its value, the usual slip of reading a band."""
    return (*network[:-1], network[-1].but(len(network[-1].links) - 1, 2.0))


def tenth_coil(network: Network, _: np.random.Generator) -> Network:
    """The woofer's coil a tenth."""
    return (network[0].but(0, 0.1), *network[1:])


BUILDS = {"right": right, "half capacitor": half_capacitor, "double pad": double_pad, "tenth coil": tenth_coil}


def session(seed: int, build: str) -> tuple[Session, Network, Network, Network]:
    """One room; the networks as the folder has them, and the new one as it was built."""
    chance = np.random.default_rng(seed)
    new = rooms.speaker(chance, 2 + seed % 2)
    old = tuple(way.but(0, float(np.exp(chance.normal(0, 0.25)))) for way in new)
    heard = Session(chance, new, Room.drawn(chance, len(new)), rooms.drawn_phone(chance))
    made = rooms.as_built(BUILDS[build](new, chance), chance)
    heard.read("silence", None)
    heard.read("found", rooms.as_built(old, chance))
    heard.read("rebuilt", made, heard.moved(0.02) if seed // 2 % 2 else None)
    return heard, new, old, made


def hold(seed: int, build: str, folder: Path) -> Change:
    """What `compare --levels` is told."""
    heard, new, old, made = session(seed, build)
    rooms.write_folder(folder, {"found": old, "rebuilt": new})
    rooms.write_sweep(folder / "sweep.txt", made, heard.chance)
    (folder / "levels.csv").write_text(heard.text(fixed=not seed // 2 % 2), encoding="utf-8")
    return change_heard(open_speaker(folder), folder / "levels.csv", "rebuilt", "found")


def outcome(seed: int, build: str, folder: Path) -> tuple[str, Counter[str]]:
    """Of the whole, and of each octave."""
    heard = hold(seed, build, folder)
    octaves = Counter(str(o.held) for o in heard.octaves)
    if not heard.agrees:
        return "differs", octaves
    return ("as predicted" if heard.octaves_held(Held.AGREES) else "cannot tell"), octaves


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--of", type=int, default=50)
    parser.add_argument("--verified", type=int, default=50, help="how many of each go through verify as well")
    parser.add_argument("--seed", type=int, default=50_000)
    given = parser.parse_args()
    for build in BUILDS:
        whole, octaves, verdicts = Counter(), Counter(), Counter()
        for i in range(given.of):
            with tempfile.TemporaryDirectory() as scratch:
                folder = Path(scratch) / "speaker"
                said, each = outcome(given.seed + i, build, folder)
                whole[said] += 1
                octaves += each
                if i < given.verified:
                    sweep, _ = read_impedance(folder / "sweep.txt", Evidence.MEASURED)
                    found = verify(open_speaker(folder), "rebuilt", sweep, levels=folder / "levels.csv")
                    verdicts[str(found.verdict)] += 1
        print(f"{build:16s} levels {dict(whole)}; octaves {dict(octaves)}; verify {dict(verdicts)}")


if __name__ == "__main__":
    main()
