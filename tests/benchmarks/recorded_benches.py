"""Recordings of an invented bench with all that is wrong at once, read by the true commands: how far off each is.

    python tests/benchmarks/recorded_benches.py                 # sweeps of 10 s; half a minute
    python tests/benchmarks/recorded_benches.py --seconds 4

Wrong with the card: 0.3 dB between its inputs, -55 dB of crosstalk, 0.1 sample between them, 0.15 ohm of leads, inputs
of 10 kohm, noise at -80 dB, hum 20 mHz off its name, and a player whose clock is 50 ppm off. Of a room besides: a floor
1.2 m below, a wall 2 m behind, and a microphone with a curve of its own. Goals: impedance within 0.3 % and 0.3 deg from
20 Hz to 20 kHz; response within 0.2 dB and 2 deg above 1/T. "Of what it says": the largest error of a row over what
the table says of that row.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import sys
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from invented.sound_card import SoundCard, divider, record

from xover.cli.main import main as command
from xover.curve import Complex, Evidence, Float
from xover.files.tables import read_impedance, read_response
from xover.files.wav import read_wav, wav_bytes

CARD: Final = SoundCard(
    gain_db=(0.0, 0.3),
    crosstalk_db=-55.0,
    skew_samples=0.1,
    leads_ohm=0.15,
    input_ohm=10e3,
    noise=1e-4,
    hum=0.003,
    hum_hz=50.02,
    clock_ppm=50.0,
)
SOUND: Final = 343.0
WAYS: Final = ((1.0, 1.0), (2.6, 0.5), (4.2, 0.4))
"""Of the sound, m, and what of it is left there: direct, by a floor 1.2 m below both, by a wall."""
Load = Callable[[Float], Complex]


def woofer(f: Float) -> Complex:
    """A resonance of Q 5 at 35 Hz and a lossy coil; invented."""
    s, w0 = 2j * np.pi * f, 2 * np.pi * 35.0
    return np.asarray(6.2 + 40.0 * (s * w0 / 5.0) / (s * s + s * w0 / 5.0 + w0**2) + 0.02 * s**0.65)


def tweeter(f: Float) -> Complex:
    """A resonance of Q 2 at 900 Hz, 4 ohm at the peak; invented."""
    s, w0 = 2j * np.pi * f, 2 * np.pi * 900.0
    return np.asarray(5.6 + 4.0 * (s * w0 / 2.0) / (s * s + s * w0 / 2.0 + w0**2) + 3e-5 * s)


def high_pass(f: Float) -> Complex:
    """Of the second order at 1 kHz: a tweeter that has rung out within a gate."""
    s = 1j * f / 1000.0
    return np.asarray(s * s / (s * s + s / 0.7 + 1))


def band_pass(f: Float) -> Complex:
    """From 60 Hz to 3 kHz: a woofer that rings on beyond the gate."""
    s, t = 1j * f / 60.0, 1j * f / 3000.0
    return np.asarray(s * s / (s * s + s / 0.7 + 1) / (t * t + t / 0.7 + 1))


def microphone(f: Float) -> Complex:
    """3 dB more at the top; of minimum phase; invented."""
    return np.asarray(1.0 + 0.41 * (1j * f / 9000.0) / (1 + 1j * f / 9000.0))


def run(*words: object) -> str:
    """What the command tells. Raises SystemExit where it refuses."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = command([str(word) for word in words])
    if status != 0:
        raise SystemExit(err.getvalue())
    return out.getvalue()


def recorded(path: Path, sweep: Path, card: SoundCard, voltages: Callable[[Float], tuple[Complex, Complex]]) -> Path:
    """A recording of the sweep."""
    played = read_wav(sweep)
    samples = record(card, played.samples[:, 0].astype(float), played.rate_hz, voltages)
    path.write_bytes(wav_bytes(samples, played.rate_hz))
    return path


def worst(off: Complex) -> tuple[float, float]:
    """Largest of a magnitude, as a share, and of a phase in degrees."""
    return float(np.abs(np.abs(off) - 1.0).max()), float(np.degrees(np.abs(np.angle(off))).max())


def impedances(
    folder: Path, sweep: Path, load: Load, low_hz: float, card: SoundCard
) -> dict[str, tuple[Complex, Float]]:
    """What is read over what is true, and how sure it is said to be: from one recording and in better ways."""
    made = {
        "driver": load,
        "open": lambda f: np.full(len(f), 1e12 + 0j),
        "short": lambda f: np.zeros(len(f), complex),
        "known": lambda f: np.full(len(f), 22.0 + 0j),
    }
    wav = {
        name: recorded(
            folder / f"{name}.wav", sweep, replace(card, seed=seed), lambda f, z=z: divider(card, z(f), 10.0)
        )
        for seed, (name, z) in enumerate(made.items())
    }
    wav["both"] = recorded(folder / "both.wav", sweep, replace(card, seed=9), lambda f: (np.ones(len(f)),) * 2)
    ways = {
        "one recording": (),
        "both inputs on one point": ("--both", wav["both"]),
        "... and the leads off": ("--both", wav["both"], "--leads", f"{card.leads_ohm:g}"),
        "open, short, known": ("--open", wav["open"], "--short", wav["short"], "--known", f"{wav['known']}=22"),
    }
    out = {}
    for name, more in ways.items():
        table = folder / "z.csv"
        run("jig", wav["driver"], "--played", sweep, "--resistor", "10", *more, "-o", table, "--force")
        curve, _ = read_impedance(table, Evidence.MEASURED)
        inside = (curve.frequency_hz >= low_hz) & (curve.frequency_hz <= 20_000.0)
        stated = np.full(len(inside), np.nan) if curve.stated is None else curve.stated.share
        out[name] = np.asarray((curve.value / load(curve.frequency_hz))[inside]), stated[inside]
    return out


def response(folder: Path, sweep: Path, driver: Load, low_hz: float, card: SoundCard) -> tuple[Float, Complex]:
    """Frequencies from 1/T or from `low_hz` on, and read over true, with what the card adds to every one taken off."""

    def voltages(f: Float) -> tuple[Complex, Complex]:
        heard = sum(g / d * np.exp(-2j * np.pi * f * d / SOUND) for d, g in WAYS) * driver(f) * microphone(f)
        return np.asarray(0.5 * heard), np.ones(len(f), complex)

    wav = recorded(folder / "room.wav", sweep, card, voltages)
    f = np.geomspace(15, 22_000, 400)
    rows = zip(f, 20 * np.log10(np.abs(microphone(f))), strict=True)
    (folder / "mic.txt").write_text("Hz dB\n" + "".join(f"{a:.6g} {b:.5f}\n" for a, b in rows))
    words = ("--curve", folder / "mic.txt", "--curve-is", "response", "-o", folder / "r.csv", "--force")
    run("response", wav, "--played", sweep, *words)
    curve, _ = read_response(folder / "r.csv", Evidence.MEASURED)
    off = curve.value / (0.5 * driver(curve.frequency_hz))
    # Every recording of this card has them alike: the inputs' 0.3 dB and 0.1 sample.
    late = card.skew_samples / read_wav(sweep).rate_hz
    off *= 10.0 ** ((card.gain_db[1] - card.gain_db[0]) / 20.0) * np.exp(-2j * np.pi * curve.frequency_hz * late)
    inside = (curve.frequency_hz >= low_hz) & (curve.frequency_hz <= 20_000.0)
    return curve.frequency_hz[inside], np.asarray(off[inside])


def main() -> int:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--seconds", type=float, default=10.0)
    parser.add_argument("--rate", type=int, default=48_000)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)

        def sweep(purpose: str) -> Path:
            path = folder / f"{purpose}.wav"
            run("sweep", "--for", purpose, "--seconds", given.seconds, "--rate", given.rate, "-o", path)
            return path

        for title, load, purpose, low in (("woofer", woofer, "woofer", 20.0), ("tweeter", tweeter, "tweeter", 230.0)):
            print(f"impedance of the {title}, {low:g} Hz to 20 kHz, {given.seconds:g} s at {given.rate} Hz")
            for way, (off, stated) in impedances(folder, sweep(purpose), load, low, CARD).items():
                share, degrees = worst(off)
                most = (np.abs(off - 1.0) / stated).max()
                print(f"  {way:26} {100 * share:8.3f} %  {degrees:7.3f} deg  {most:6.2f} of what it says")
        path = sweep("microphone")
        print("response, with the microphone's file, two reflections, and what the card adds to every one taken off")
        for title, driver, low in (
            ("tweeter", high_pass, 0.0),
            ("woofer", band_pass, 0.0),
            ("woofer", band_pass, 500.0),
        ):
            f, off = response(folder, path, driver, low, CARD)
            print(
                f"  {title} from {f[0]:4.0f} Hz {np.abs(20 * np.log10(np.abs(off))).max():8.3f} dB "
                f"{worst(off)[1]:7.3f} deg"
            )
    return 0


if __name__ == "__main__":
    sys.exit(main())
