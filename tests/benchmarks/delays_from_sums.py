"""How well delay, level and polarity of drivers are read from recordings of them together, on invented speakers.

    PYTHONPATH=.:tests python tests/benchmarks/delays_from_sums.py [two-ways, 40] [three-ways, 8]

Each driver's own record and each recording have ripple of 0.2 to 0.5 dB rms, late reflections and noise of their own
(tests/invented/speakers.py); delays are up to 150 us either way, levels a dB off, half the drivers wired round. "put
in" is the delay that was put in; "as read" the delay that makes the record, with its phase as it is read here, fit the
sum: with a rebuilt phase they differ by what the record does beyond its ends. Intervals are of 95 %.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from invented.speakers import ROWS_HZ, InventedSpeaker

from xover.acoustic.level import level_db
from xover.driver.minimum_phase import minimum_phase
from xover.network import solve
from xover.speaker import open_speaker
from xover.studies.does.delay.study import study_delay

BAND_HZ = (200.0, 15_000.0)


@dataclass(frozen=True)
class Way:
    """What is recorded: through the network or bare, with phase or not, and which drivers, one with a minus turned."""

    name: str
    finished: bool
    phase: bool
    together: Sequence[str] = ("",)
    ways: int = 2


WAYS = (
    Way("one bare sum, levels only", False, False),
    Way("one finished sum, levels only", True, False),
    Way("two bare sums, one driver turned, levels", False, False, ("", "woofer,-tweeter")),
    Way("two finished sums, one turned, levels", True, False, ("", "woofer,-tweeter")),
    Way("one bare sum, with phase", False, True),
    Way("one finished sum, with phase", True, True),
    Way("three-way, bare at once, with phase", False, True, ("",), 3),
    Way("three-way, bare at once, levels", False, False, ("",), 3),
    Way("three-way, finished at once, with phase", True, True, ("",), 3),
    Way("three-way, bare by pairs, levels", False, False, ("woofer,mid", "mid,tweeter"), 3),
)


@dataclass(frozen=True)
class Outcome:
    """Of one driver: errors over half the interval for put in, as read and level; error in us; what was told."""

    told: bool
    put_in: float
    as_read: float
    gain: float
    put_in_us: float
    as_read_us: float
    polarity: str


def outcomes(way: Way, seed: int, folder: Path) -> Iterator[Outcome]:
    """One speaker, recorded and read."""
    made = InventedSpeaker(seed, way.ways)
    made.write(folder, way.phase)
    speaker = open_speaker(folder)
    network = speaker.network("found")
    solution = solve(network, ROWS_HZ, speaker.impedances_ohm(network, ROWS_HZ))
    drive = {c.driver: solution.drive[c.key] for c in network.drivers}
    given = []
    for i, words in enumerate(way.together):
        playing = {w.lstrip("-"): -1.0 if w.startswith("-") else 1.0 for w in words.split(",") if w}
        playing = playing or dict.fromkeys(made.names, 1.0)
        fed = {n: sign * (drive[n] if way.finished else 1.0) for n, sign in playing.items()}
        made.together(folder / f"together{i}.txt", fed, way.phase)
        given.append((folder / f"together{i}.txt", words))
    bare, finished = ((), given) if way.finished else (given, ())
    study = study_delay(speaker, bare, finished, None, BAND_HZ, None)
    for d in study.drivers:
        right = d.reversed == (made.sign[d.driver] < 0)
        true_us = 1e6 * made.delay_s[d.driver]
        read_us = true_us + (0.0 if way.phase else 1e6 * _rebuilt_s(made, d.driver, drive if way.finished else None))
        yield Outcome(
            told=d.told,
            put_in=(d.delay_us - true_us) / (d.high_us - d.delay_us),
            as_read=(d.delay_us - read_us) / d.as_read_us,
            gain=(d.gain_db - made.gain_db[d.driver]) / (d.gain_high_db - d.gain_db),
            put_in_us=abs(d.delay_us - true_us),
            as_read_us=abs(d.delay_us - read_us),
            polarity=("right" if right else "wrong") if d.polarity_told else "cannot tell",
        )


def _rebuilt_s(made: InventedSpeaker, name: str, drive: dict[str, np.ndarray] | None) -> float:
    """How much later a driver's true phase is than its rebuilt one, against the woofer's, where both play."""
    rows = np.clip(ROWS_HZ, *BAND_HZ) == ROWS_HZ
    size, off = {}, {}
    for n in made.names:
        true = made.voices[n](ROWS_HZ)
        off[n] = np.angle(true * np.exp(-1j * np.radians(minimum_phase(ROWS_HZ, level_db(true)).phase_deg)))
        size[n] = np.abs(true * (1.0 if drive is None else drive[n]))
    lower = made.names[made.names.index(name) - 1]
    omega = 2 * np.pi * ROWS_HZ[rows]
    weight = ((size[name] * size[lower]) / (size[name] ** 2 + size[lower] ** 2))[rows] ** 2
    own = -np.sum(weight * omega * (off[name] - off[lower])[rows]) / np.sum(weight * omega**2)
    return float(own) + (0.0 if lower == made.names[0] else _rebuilt_s(made, lower, drive))


def row(way: Way, seeds: Sequence[int]) -> tuple[str, list[Outcome]]:
    """One line of the table, and what it is made of."""
    with tempfile.TemporaryDirectory() as place:
        found = [o for seed in seeds for o in outcomes(way, seed, Path(place) / str(seed))]
    told = [o for o in found if o.told]

    def held(values: Sequence[float]) -> str:
        return f"{100 * np.mean(np.abs(values) <= 1):4.0f} %" if values else "   -  "

    polarity = [sum(o.polarity == p for o in found) for p in ("right", "cannot tell", "wrong")]
    middle = [np.median([getattr(o, k) for o in told]) if told else np.nan for k in ("put_in_us", "as_read_us")]
    shares = " ".join(held([getattr(o, k) for o in told]) for k in ("put_in", "as_read", "gain"))
    words = f"{way.name:42} {len(found):3} {len(told):5}  {shares}  {middle[0]:6.1f} {middle[1]:6.1f}   "
    words += " ".join(f"{n:4}" for n in polarity)
    return words, found


def main(two: int = 40, three: int = 8) -> None:
    """The table."""
    print(f"{'':42} {'of':>3}  told  interval holds the      median error     polarity")
    print(f"{'':42} {'':3}        put in  read  level   put in  read us  right cannot wrong", flush=True)
    for way in WAYS:
        count = two if way.ways == 2 else three
        print(row(way, range(900_000, 900_000 + count))[0], flush=True)


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:]))
