"""How often what `phone` tells of a table of levels is true: `python tests/benchmarks/phone_rooms.py [--of 500]`.

Speakers, rooms and phones are invented (tests/invented/rooms.py): direct over reverberant sound 0 to 12 dB, a
microphone up to 8 dB off, noise of 5 to 20 s or of a period read whole, background, steps of 0.1 or 0.5 dB. In every
second room the phone stays in its place, and in half of those the table says so and has no `again`; in the others it
is put back, up to 2 cm off, before each column. The files go through the question itself. The truth is worked out
without noise, steps and background:

- change and pair: the same change at the same place of the room, without noise and without moving the phone. Where one
  driver lies 20 dB above all others, "ruled", the ratio of its drives, without any room, is held to as well; elsewhere,
  "shared", the sum of direct sounds at that place, and there it should hold less often: told are bands that the
  question holds to a prediction, and it should hold no shared one where they are apart.
- octaves: "changed" is wrong below 0.1 dB, "not changed" above 0.5 dB.
- polarity: every second speaker has its tweeter's wires swapped against its netlist.
- typing: one level wrong, by its size, in `found`, `reversed` or a driver's column: of two ways their sums can tell, a
  driver that adds little to a sum hides there. automatic gain: a phone that takes back a share.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from invented import rooms
from invented.rooms import CENTRE_HZ, NOMINAL_HZ, Network, Room, Session

from xover.rules.audibility import DIRECT_DB
from xover.speaker import open_speaker
from xover.studies.aged.phone.result import Changed, PhoneStudy, Wired
from xover.studies.aged.phone.study import study_phone

MOVED_M = 0.02
RULED_DB = 20.0
SIZES = (0.5, 1.0, 2.0, 4.0, 1000.0)


class Heard:
    """One room: what was there, and its files."""

    def __init__(self, seed: int, folder: Path) -> None:
        self.chance = chance = np.random.default_rng(seed)
        self.ways, self.moves, self.folder = 2 + seed % 2, seed // 2 % 2 == 1, folder
        self.known, self.fixed = bool(seed // 8 % 2), not self.moves and seed // 16 % 2 == 1
        self.drawn = rooms.speaker(chance, self.ways)
        self.turned = bool(seed // 4 % 2)
        self.found = rooms.reverse(self.drawn, "tweeter") if self.turned else self.drawn
        self.changed = other(self.drawn, chance)
        built = rooms.reverse(self.changed, "tweeter") if self.turned else self.changed
        room = Room.drawn(chance, self.ways)
        self.session = Session(chance, self.found, room, rooms.drawn_phone(chance))
        self.mate = mate(self.found, chance)
        self.built = built
        apart = float(room.drivers_m[1, 2] - room.drivers_m[0, 2])
        rooms.write_folder(folder, {"found": self.drawn, "changed": self.changed}, apart)
        self.speaker = open_speaker(folder)
        self.read()

    def read(self) -> None:
        """All columns, in the order in which they would be read."""
        s, turned = self.session, rooms.reverse(self.found, "tweeter")
        s.read("silence", None)
        s.read("found", self.found)
        s.read("again", self.found, s.moved(MOVED_M))
        s.read("quieter", self.found, None, -10.0)
        s.read("changed", self.built, self.place())
        s.read("reversed", turned, self.place())
        s.read("right", self.mate, s.moved(MOVED_M))
        for way in self.found:
            s.read(way.name, rooms.alone(self.found, way.name), self.place())
        if self.known:  # an even speaker where the tweeter is
            even = tuple(replace(way, links=(), voice=lambda f: np.ones(f.size, dtype=complex)) for way in self.found)
            beside = Session(self.chance, even, s.room, s.phone)
            s.level_db["known"] = beside.read("known", rooms.alone(even, "tweeter"))

    def place(self) -> np.ndarray | None:
        """Of the phone for the next column."""
        return self.session.moved(MOVED_M) if self.moves else None

    def study(self, text: str | None = None) -> PhoneStudy:
        """What the question tells of the table, or of another text."""
        order = ["silence", "found", "again", "quieter", "reversed", "right", "changed", *(w.name for w in self.found)]
        order += ["known"] * self.known
        if self.fixed:
            order.remove("again")
        away = float(np.linalg.norm(self.session.room.drivers_m[-1] - self.session.room.phone_m))
        path = self.folder / "levels.csv"
        text = text or self.session.text(f"{away:.2f} m, tweeter axis", order, self.fixed)
        path.write_text(text.replace("; place", "; reversed tweeter; place"), encoding="utf-8")
        return study_phone(self.speaker, path, "found")

    def true_db(self, one: Network, other: Network) -> np.ndarray:
        """(b,) change in this room at the phone's place, without noise."""
        s = self.session
        curve = 10 ** (s.phone.curve_db / 10)
        return s.band_db(s.power(one) * curve) - s.band_db(s.power(other) * curve)


def other(network: Network, chance: np.random.Generator) -> Network:
    """Another state: one part of each way, at times of one way only, off by up to a factor of two or so."""
    keep = chance.integers(len(network) + 1)
    return tuple(
        way if i == keep else way.but(int(chance.integers(len(way.links))), float(np.exp(chance.normal(0, 0.35))))
        for i, way in enumerate(network)
    )


def mate(network: Network, chance: np.random.Generator) -> Network:
    """The other speaker of the pair: its parts within 10 %, at times the tweeter's resistor doubled."""
    found = rooms.as_built(network, chance, 0.1)
    return (*found[:-1], found[-1].but(len(found[-1].links) - 1, 2.0)) if chance.uniform() < 0.3 else found


def inside(told: np.ndarray, within: np.ndarray, truth: np.ndarray, rows: np.ndarray) -> Counter[str]:
    """Bands whose interval holds the truth, of those that are told."""
    known = np.isfinite(told) & np.isfinite(within) & rows
    held = np.abs(told - truth)[known] <= within[known] + 1e-9
    return Counter({"in": int(held.sum()), "out": int((~held).sum())})


def count(heard: Heard) -> dict[str, Counter[str]]:
    """All outcomes of one room."""
    found: dict[str, Counter[str]] = {}
    session, study = heard.session, heard.study()
    kind = "put back" if heard.moves else "fixed, and says so" if heard.fixed else "still"
    if study.automatic:
        return {"automatic gain, none there": Counter({"false alarm": 1})}
    found["automatic gain, none there"] = Counter({"none": 1})
    change = next(c for c in study.changes if c.second == "changed")
    everywhere = np.ones(CENTRE_HZ.size, dtype=bool)
    truth = heard.true_db(heard.built, heard.found)
    found[f"change, {kind}"] = inside(change.change_db, change.within_db, truth, everywhere)
    for low, high in ((40, 200), (200, 2000), (2000, 16_000)):
        rows = (low <= NOMINAL_HZ) & (high >= NOMINAL_HZ)
        found[f"change, {kind}, {low} to {high} Hz"] = inside(change.change_db, change.within_db, truth, rows)
    noise = "periodic" if session.phone.periodic else "random"
    found[f"change, {kind}, {noise}"] = inside(change.change_db, change.within_db, truth, everywhere)
    (above, who), (also, _) = session.rules_db(heard.found), session.rules_db(heard.built)
    ruled = (above >= RULED_DB) & (also >= RULED_DB)
    drives = session.drive_change_db(heard.built, heard.found)[who, np.arange(who.size)]
    direct = session.true_change_db(heard.built, heard.found)
    found["ratio of drives, ruled bands"] = inside(change.change_db, change.within_db, drives, ruled)
    found["direct sum, shared bands"] = inside(change.change_db, change.within_db, direct, ~ruled)
    held = change.predicted_within_db <= DIRECT_DB
    both = np.hypot(change.within_db, change.predicted_within_db)
    found["less predicted, held bands"] = inside(change.change_db, both, change.predicted_db, held)
    found["bands held to a prediction"] = Counter()
    for r, h in zip(ruled, held, strict=True):
        found["bands held to a prediction"][f"{'ruled' if r else 'shared'}, {'held' if h else 'left'}"] += 1
    found["octaves of a change"] = octaves(change, truth)
    found["octaves against the prediction"] = Counter(str(o.held) for o in change.octaves)
    if study.sides is not None:
        truth = heard.true_db(heard.mate, heard.found)
        found["left against right"] = inside(study.sides.change_db, study.sides.within_db, truth, everywhere)
        found["octaves of left against right"] = octaves(study.sides, truth)
    for p in study.polarity:
        own = heard.turned and "tweeter" in p.upper
        said = "right" if own == (p.wired is Wired.TURNED) else "wrong"
        told = "cannot tell" if p.wired is Wired.CANNOT_TELL else said
        found.setdefault(f"polarity, {heard.ways} ways", Counter())[told] += 1
    for b in study.balance:
        kind = "after an even speaker" if heard.known else "phone alone"
        found.setdefault(f"balance beyond its +-, {kind}", Counter())[str(b.off)] += 1
    found |= typed(heard, study)
    found |= automatic(heard)
    return found


def octaves(change, truth: np.ndarray) -> Counter[str]:
    """What is said of each octave, right or wrong."""
    found: Counter[str] = Counter()
    for o in change.octaves:
        rows = (np.abs(np.log2(CENTRE_HZ / o.centre_hz)) < 0.5) & np.isfinite(change.change_db)
        size = abs(float(truth[rows].mean()))
        wrong = (o.changed is Changed.YES and size < 0.1) or (o.changed is Changed.NO and size > 0.5)
        found[f"{o.changed}{', wrong' if wrong else ''}"] += 1
    return found


def typed(heard: Heard, study: PhoneStudy) -> dict[str, Counter[str]]:
    """False alarms of slips, and one level typed wrongly."""
    many = study.sums is not None and study.sums.many
    found = {"nothing mistyped": Counter({"sums do not fit" if many else f"{len(study.slips)} lines named": 1})}
    s, chance = heard.session, heard.chance
    column = str(chance.choice(["found", "reversed", *(way.name for way in heard.found)]))
    row, how = int(chance.integers(NOMINAL_HZ.size)), str(chance.choice(["row", "ten", "one", "swap"]))
    was = s.level_db[column].copy()
    s.level_db[column] = was.copy()
    s.level_db[column][row] = rooms.mistyped(was, row, how)
    size = abs(s.level_db[column][row] - was[row])
    if size > 0.05:
        again = heard.study()
        line = int(again.table.line[row])
        hit = "found" if line in [slip.line for slip in again.slips] else "missed"
        of = next(limit for limit in SIZES if size <= limit + 1e-6)
        size_said = f"up to {of:g}" if of < 1000 else f"over {SIZES[-2]:g}"
        found[f"typed wrongly by {size_said} dB, {heard.ways} ways"] = Counter({hit: 1})
    s.level_db[column] = was
    return found


def automatic(heard: Heard) -> dict[str, Counter[str]]:
    """A phone that evens levels out: of the column turned down it takes a share back."""
    s, share = heard.session, float(heard.chance.choice([0.05, 0.1, 0.3, 0.7]))
    was, phone = s.level_db["quieter"], s.phone
    s.phone = replace(phone, automatic=share)
    s.read("quieter", heard.found, None, -10.0)
    said = heard.study().automatic
    s.phone, s.level_db["quieter"] = phone, was
    return {f"automatic gain of {100 * share:.0f} %": Counter({"found" if said else "missed": 1})}


def counted(seeds: Iterable[int]) -> dict[str, Counter[str]]:
    """All rooms."""
    total: dict[str, Counter[str]] = {}
    for seed in seeds:
        with tempfile.TemporaryDirectory() as scratch:
            for name, more in count(Heard(seed, Path(scratch) / "speaker")).items():
                total[name] = total.get(name, Counter()) + more
    return total


def usual_put_back(of: int, seed: int) -> str:
    """What putting the phone back within 2 cm does to levels, rms dB: the rule's figures."""
    moved = []
    for i in range(of):
        chance = np.random.default_rng(seed + i)
        network = rooms.speaker(chance, 2 + i % 2)
        s = Session(chance, network, Room.drawn(chance, len(network)), rooms.drawn_phone(chance))
        before = s.band_db(s.power(network))
        moved += [s.band_db(s.power(network, s.moved(MOVED_M))) - before for _ in range(3)]
    rms = np.sqrt(np.mean(np.square(moved), axis=0))
    return ", ".join(f"{hz:g} Hz {rms[hz == NOMINAL_HZ][0]:.2f} dB" for hz in (40, 160, 1000, 2500, 5000, 10_000))


def main() -> None:
    """Print the counts by kind."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--of", type=int, default=500)
    parser.add_argument("--seed", type=int, default=100_000)
    given = parser.parse_args()
    print(f"usual put-back: {usual_put_back(min(given.of, 100), given.seed)}")
    for name, counts in sorted(counted(range(given.seed, given.seed + given.of)).items()):
        share = f"{100 * counts['in'] / counts.total():6.1f} % hold the truth" if "in" in counts else ""
        print(f"{name:40s} {share:24s} " + ", ".join(f"{n} {v}" for n, v in sorted(counts.items())))


if __name__ == "__main__":
    main()
