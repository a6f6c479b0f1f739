"""From recordings alone to the values of a board: invented speakers, swept through invented sound cards, counted.

    python tests/benchmarks/recorded_speakers.py                # 20 speakers, some minutes
    python tests/benchmarks/recorded_speakers.py --first 100 --count 5

Each speaker is a board of 5 to 14 parts with aged losses (tests/invented/boards.py) and its drivers (drivers.py), none
of which the fit knows. The true commands do all of it: `xover sweep` writes what is played, a simulated card
(sound_card.py) takes it down, `xover jig --into` reads the impedances, `xover infer` the values. Beside them stands
the truth. Each card has errors of its own: inputs up to 0.5 dB apart and 0.3 samples askew, crosstalk of -70 to -50
dB, inputs of 10 to 100 kohm, leads of 0.05 to 0.25 ohm, hum up to 30 mHz off its name, two clocks up to 50 ppm apart,
noise, a cubic, 16 or 24 bit; and the known resistor is off by up to 0.3 %. Seeds are fixed.
"""

from __future__ import annotations

import argparse
import io
import json
import os
import sys
import tempfile
import time
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
for folder in (Path(__file__).parents[1], Path(__file__).parents[2]):
    sys.path.insert(0, str(folder))

import numpy as np  # noqa: E402
from invented.boards import Ageing, Board, draw_board  # noqa: E402
from invented.sound_card import SoundCard, divider, record  # noqa: E402

from xover.cli.main import main  # noqa: E402
from xover.curve import Evidence  # noqa: E402
from xover.files.tables import read_impedance  # noqa: E402
from xover.files.wav import read_wav, wav_bytes  # noqa: E402
from xover.network import solve, value_of  # noqa: E402

SEED = 61_000
RESISTOR_OHM, KNOWN_OHM, NOTHING_OHM = 10.0, 22.0, 1e12
LAWS = ("esr", "df", "phase")


@dataclass(frozen=True)
class Counted:
    """One speaker.

    held : of each value that is called seen, whether its interval holds the truth. half : half widths of them, of
    the truth. parts : of the board. worst : largest error of an impedance from 20 Hz to 20 kHz, of itself, beyond that
    of the known resistor, and degrees.
    within : share of the rows whose error lies within what the jig says of itself.
    """

    number: int
    fits: bool
    held: tuple[bool, ...]
    half: tuple[float, ...]
    parts: int
    worst: float
    worst_deg: float
    within: float
    seconds: float


def ran(*words: object) -> str:
    """What a command printed; anything but success is raised."""
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        status = main([str(w) for w in words])
    if status:
        raise RuntimeError(f"{words}: {status} {err.getvalue()}")
    return out.getvalue()


def terminals(board: Board, f: np.ndarray) -> np.ndarray:
    """(n,) ohm of the whole speaker."""
    drivers = {name: d.impedance_ohm(f) for name, d in board.drivers.items()}
    solution = solve(board.true, f, drivers, impedance_ohm=board.odd_ohm(f))
    return np.asarray(solution.impedance_ohm[board.true.channels[0].name]).reshape(-1)


def loads(board: Board) -> dict:
    """What is swept, by the recording's name, each (n,) Hz to (n,) ohm."""
    found = {name: driver.impedance_ohm for name, driver in board.drivers.items()}
    found["terminals"] = lambda f: terminals(board, f)
    found |= {
        name: (lambda f, ohm=ohm: np.full(f.shape, ohm, dtype=complex))
        for name, ohm in (("open", NOTHING_OHM), ("short", 0.0), ("known", KNOWN_OHM))
    }
    return found


def one(number: int, folder: Path, seconds: float) -> Counted:
    """Draw it, record it, read it, infer it."""
    random = np.random.default_rng([SEED, number])
    board = draw_board(random, Ageing("any", LAWS[number % 3]))
    card = SoundCard(
        gain_db=(0.0, random.uniform(-0.5, 0.5)),
        skew_samples=random.uniform(-0.3, 0.3),
        crosstalk_db=random.uniform(-70.0, -50.0),
        input_ohm=float(np.exp(random.uniform(np.log(10e3), np.log(100e3)))),
        leads_ohm=random.uniform(0.05, 0.25),
        noise=10.0 ** random.uniform(-5.0, -4.0),
        hum=10.0 ** random.uniform(-4.5, -3.3),
        hum_hz=random.choice([50.0, 60.0]) + random.uniform(-0.03, 0.03),
        clock_ppm=random.uniform(-50.0, 50.0),
        cubic=random.uniform(0.0, 0.005),
    )
    known = KNOWN_OHM * (1.0 + random.uniform(-0.003, 0.003))
    bits = int(random.choice([16, 24]))
    began = time.process_time()
    drivers = "".join(f"[drivers.{n}]\nre_ohm = {d.coil.re_ohm:.2f}\n" for n, d in board.drivers.items())
    (folder / "speaker.toml").write_text(f'{drivers}[networks.original]\ncircuit = "original.cir"\n', encoding="utf-8")
    (folder / "original.cir").write_text(board.text, encoding="utf-8")
    for name, words in (("sweep", ("woofer", "--band", "10..23k")), ("tweeter-sweep", ("tweeter",))):
        ran("sweep", "--for", *words, "--seconds", seconds, "-o", folder / f"{name}.wav")
    for seed, (name, load) in enumerate(loads(board).items()):
        played = read_wav(folder / ("tweeter-sweep.wav" if name == "tweeter" else "sweep.wav"))
        took = SoundCard(**{**vars(card), "seed": 1000 * number + seed})
        samples = record(
            took,
            played.samples[:, 0].astype(float),
            played.rate_hz,
            lambda f, load=load, took=took: divider(took, load(f), RESISTOR_OHM),
        )
        (folder / f"{name}.wav").write_bytes(wav_bytes(samples, played.rate_hz, bits))
    three = [w for n in ("open", "short") for w in (f"--{n}", folder / f"{n}.wav")]
    jig = (
        "--played",
        folder / "sweep.wav",
        "--played",
        folder / "tweeter-sweep.wav",
        "--resistor",
        RESISTOR_OHM,
        *three,
    )
    jig = (*jig, "--known", f"{folder / 'known.wav'}={known:.6g}", "--into", folder)
    worst, degrees, within = [], [], []
    for name in (*board.drivers, "terminals"):
        whose = () if name == "terminals" else ("--driver", name)
        told = json.loads(ran("jig", folder / f"{name}.wav", *jig, *whose, "--json"))
        table = folder / ("terminals-found.csv" if name == "terminals" else f"{name}-impedance.csv")
        curve, _ = read_impedance(table, Evidence.MEASURED)
        ratio = curve.value / loads(board)[name](curve.frequency_hz)
        band = (curve.frequency_hz >= 20.0) & (curve.frequency_hz <= 20_000.0)
        worst.append(float(np.abs(ratio * KNOWN_OHM / known - 1.0)[band].max()))
        degrees.append(float(np.degrees(np.abs(np.angle(ratio)))[band].max()))
        within.append(float(np.mean(np.abs(ratio - 1.0) <= np.array(told["error_share"]))))
    told = json.loads(ran("infer", folder, "--impedance", folder / "terminals-found.csv", "--json"))
    held, half = [], []
    for name, part in told["parts"].items() if told["topology_fits"] else ():
        if part["seen"]:
            truth = value_of(board.true.part(name))
            held.append(bool(part["low"] <= truth <= part["high"]))
            half.append(0.5 * (part["high"] - part["low"]) / truth)
    return Counted(
        number,
        bool(told["topology_fits"]),
        tuple(held),
        tuple(half),
        len(told["parts"]),
        max(worst),
        max(degrees),
        min(within),
        time.process_time() - began,
    )


def run(first: int, count: int, seconds: float) -> None:
    """Print a line for each, and the counts."""
    found = []
    print("speaker  fits  seen of parts  hold truth  +-%   worst %   deg  within bound %   s")
    for number in range(first, first + count):
        with tempfile.TemporaryDirectory() as folder:
            got = one(number, Path(folder), seconds)
        found.append(got)
        half = 100 * np.median(got.half) if got.half else np.nan
        seen = f"{len(got.held):>4} of {got.parts:<5}  {sum(got.held):>9}  {half:>4.1f}"
        errors = f"{100 * got.worst:>7.2f}  {got.worst_deg:>4.2f}  {100 * got.within:>13.1f}"
        print(f"{number:>7}  {'yes' if got.fits else 'NO':>4}  {seen}  {errors}  {got.seconds:>4.0f}", flush=True)
    values = [h for one in found for h in one.held]
    print(f"{sum(o.fits for o in found)} of {count} speakers fit; {sum(values)} of {len(values)} values held the truth")
    worst, degrees = 100 * max(o.worst for o in found), max(o.worst_deg for o in found)
    print(f"worst impedance {worst:.2f} % beyond the known resistor's own error, {degrees:.2f} deg")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--seconds", type=float, default=4.0)
    asked = parser.parse_args()
    run(asked.first, asked.count, asked.seconds)
