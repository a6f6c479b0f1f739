"""Long sweeps without phase: what each step of the work on a driver takes, and how far its phase is from the exact one.

    python tests/benchmarks/long_sweeps.py            # 32,768 and 200,000 rows; closed form on up to 8,192
    python tests/benchmarks/long_sweeps.py --whole    # the closed form on 32,768 rows too: some minutes

Run from the project's folder, with the project installed. Impedance and response are invented; their rows stand evenly
in Hz, as an analyser writes them, or evenly in ln f. Time is that of one process (`time.process_time`), all in one run.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from invented.drivers import DRIVERS
from invented.filters import chain, rows_of

import xover.driver.fit  # noqa: F401  (loading is not what is timed)
from xover.curve import Evidence, Float
from xover.driver import minimum_phase as module
from xover.driver.beyond import with_minimum_phase
from xover.driver.fit import fit_driver
from xover.driver.minimum_phase import minimum_phase, minimum_phase_curve
from xover.files.tables import read_impedance, read_response
from xover.sound.resonance import swept_resonance_hz
from xover.speaker import open_speaker
from xover.studies.desk.check import check
from xover.studies.does.load import load
from xover.studies.does.predict import predict

Result = TypeVar("Result")
NOISE_OHM, NOISE_DB = 0.002, 0.3
"""Of each row: share of the impedance, and dB of the response."""
NETWORK = "one driver\nL1 in a 1m\nXwoofer a 0 woofer\n"
SPEAKER = """
[drivers.woofer]
impedance = "z.txt"
response = "p.txt"
phase = "minimum"
position_mm = [0, 0, 0]

[networks.found]
circuit = "found.cir"
"""


def timed(work: Callable[[], Result]) -> tuple[float, Result]:
    """Seconds, and what came out."""
    begun = time.process_time()
    result = work()
    return time.process_time() - begun, result


def write_folder(folder: Path, f: Float) -> None:
    """One driver on one coil; no phase anywhere."""
    rng = np.random.default_rng(0)
    ohm = np.abs(DRIVERS[0].impedance_ohm(f)) * np.exp(NOISE_OHM * rng.standard_normal(f.size))
    db = 80.0 + chain(3).level_db(f) - chain(3).level_db(np.array([500.0])) + NOISE_DB * rng.standard_normal(f.size)
    for name, unit, values in (("z.txt", "ohm", ohm), ("p.txt", "dB", db)):
        rows = "".join(f"{hz:.5f} {value:.4f}\n" for hz, value in zip(f, values, strict=True))
        (folder / name).write_text(f"* invented\nHz {unit}\n{rows}")
    (folder / "found.cir").write_text(NETWORK)
    (folder / "speaker.toml").write_text(SPEAKER)


def stages(count: int) -> dict[str, float]:
    """Seconds of each step of the work on one driver of so many rows, and of whole questions."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_folder(folder, rows_of("linear", 0.0, 24e3, count))
        took: dict[str, float] = {}
        took["reads the impedance"], (bare, _) = timed(lambda: read_impedance(folder / "z.txt", Evidence.MEASURED))
        took["fits its model"], _ = timed(lambda: fit_driver(bare))
        took["rebuilds its phase"], (whole, _) = timed(lambda: with_minimum_phase(bare))
        took["fits with that phase"], _ = timed(lambda: fit_driver(whole))
        took["finds the resonance"], _ = timed(lambda: swept_resonance_hz(whole))
        took["reads the response"], (heard, _) = timed(lambda: read_response(folder / "p.txt", Evidence.MEASURED))
        took["rebuilds its phase too"], _ = timed(lambda: minimum_phase_curve(heard))
        took["all the work on that driver"] = sum(took.values())
        took["opens the folder"], speaker = timed(lambda: open_speaker(folder))
        took["and answers predict"], _ = timed(lambda: predict(speaker))
        took["and answers load"], _ = timed(lambda: load(speaker))
        took["and answers check"], _ = timed(lambda: check(speaker))
        return took


def against_the_closed_form(spacing: str, count: int, noise_db: float, seed: int) -> tuple[float, float, Float, float]:
    """Seconds by FFT and by the closed form, (count,) degrees between them, and the degrees that are told."""
    f = rows_of(spacing, 5.0, 24e3, count)
    level = chain(seed).level_db(f) + noise_db * np.random.default_rng(seed).standard_normal(count)
    fast_s, fast = timed(lambda: minimum_phase(f, level))
    kept, module.EXACT_ROWS = module.EXACT_ROWS, 10**9  # type: ignore[misc]
    try:
        exact_s, exact = timed(lambda: minimum_phase(f, level))
    finally:
        module.EXACT_ROWS = kept  # type: ignore[misc]
    return fast_s, exact_s, np.abs(fast.phase_deg - exact.phase_deg), fast.smoothed_deg


def main() -> None:
    """Print both tables."""
    warm = stages(2000)  # what is loaded at the first question
    counts = (575, 32_768, 200_000)
    columns = [stages(count) for count in counts]
    print("CPU seconds; rows:".ljust(30) + "".join(f"{count:>10,}" for count in counts))
    for name in warm:
        print(name.ljust(30) + "".join(f"{took[name]:>10.3f}" for took in columns))
    print("\nPhase by FFT against the closed form, six sections and two slopes drawn by chance, 5 Hz to 24 kHz")
    print("rows      spaced  noise dB   FFT s  exact s   largest deg   rms deg   told deg")
    for count in (2048, 8192, *((32_768,) if "--whole" in sys.argv else ())):
        for spacing in ("linear", "log"):
            for noise_db in (0.0, 0.1, 0.3):
                fast_s, exact_s, off, told = against_the_closed_form(spacing, count, noise_db, count)
                rms = float(np.sqrt(np.mean(off**2)))
                print(
                    f"{count:<9,} {spacing:<8} {noise_db:>7.1f} {fast_s:>7.3f} {exact_s:>8.2f} {off.max():>13.4f}"
                    f" {rms:>9.4f} {told:>10.4f}"
                )


if __name__ == "__main__":
    main()
