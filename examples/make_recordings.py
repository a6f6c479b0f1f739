"""Make the simulated recordings of the invented speaker in recorded-two-way.

    python make_recordings.py [FOLDER]

FOLDER is where recorded-two-way is written, by default the folder that holds this script. Nobody recorded anything: a
sweep is worked out, an invented circuit answers it, and an invented sound card with unlike inputs, crosstalk, noise and
hum takes it down. No such loudspeaker exists, and a second run gives the same bytes.

Nothing of xover is imported: what reads the recordings and what makes them share no line. `speaker.toml` and
`original.cir` beside them are written by hand. `FOUND` below is what the parts of the board are today; `truth()` says
what a faultless measurement would read.

Conventions: e^{+jwt}, SI units; every impedance is a function of (n,) Hz that gives (n,) ohm.
"""

from __future__ import annotations

import struct
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]
Impedance = Callable[[Float], Complex]

NOTE = "invented: simulated by make_recordings.py, no such loudspeaker, nothing was recorded"
RATE = 8000
RESISTOR_OHM, KNOWN_OHM = 9.96, 22.1

# The parts as they are today. Marked: L1 1.2 mH, C1 15 uF, C2 12 uF, L2 1 mH, R1 3.3 ohm (original.cir).
FOUND: Mapping[str, float] = {"L1": 1.22e-3, "C1": 17.6e-6, "C2": 14.5e-6, "L2": 0.99e-3, "R1": 3.7}
LOSS_OHM: Mapping[str, float] = {"L1": 0.42, "C1": 0.35, "C2": 0.5, "L2": 0.38}


@dataclass(frozen=True)
class Driver:
    """DC resistance, resonance in the cabinet, and a coil K (jw)^n by its |Z| at 1 kHz."""

    re_ohm: float
    fs_hz: float
    qms: float
    qes: float
    coil_ohm: float
    coil_power: float

    def __call__(self, f: Float) -> Complex:
        moving = self.re_ohm * self.qms / self.qes / (1 + 1j * self.qms * (f / self.fs_hz - self.fs_hz / f))
        return np.asarray(self.re_ohm + moving + self.coil_ohm * (1j * f / 1e3) ** self.coil_power)


WOOFER = Driver(6.1, 48.0, 4.2, 0.55, 2.4, 0.68)
TWEETER = Driver(5.6, 420.0, 2.5, 1.4, 0.75, 0.7)


def parallel(one: Complex, other: Complex) -> Complex:
    return np.asarray(1 / (1 / one + 1 / other))


def board(f: Float, parts: Mapping[str, float] = FOUND) -> Complex:
    """The whole speaker at its terminals: L1 before the woofer, C1 across it; C2, L2 and R1 before the tweeter."""
    s = 2j * np.pi * f
    coils = {k: s * parts[k] + LOSS_OHM[k] for k in ("L1", "L2")}
    caps = {k: 1 / (s * parts[k]) + LOSS_OHM[k] for k in ("C1", "C2")}
    low = coils["L1"] + parallel(caps["C1"], WOOFER(f))
    high = caps["C2"] + parallel(coils["L2"], parts["R1"] + TWEETER(f))
    return parallel(low, high)


def constant(ohm: float) -> Impedance:
    return lambda f: np.full(f.shape, ohm, dtype=complex)


TAKES: Mapping[str, tuple[Impedance, float]] = {
    "open": (constant(1e12), 20.0),
    "short": (constant(0.0), 20.0),
    "known": (constant(KNOWN_OHM), 20.0),
    "woofer": (WOOFER, 20.0),
    "tweeter": (TWEETER, 200.0),
    "found": (board, 20.0),
}
"""What stands in the driver's place, and from where the sweep starts: a woofer's, or a tweeter's."""


def truth(name: str, f: Float) -> Complex:
    """(n,) ohm that a faultless measurement would read."""
    return TAKES[name][0](f)


def rise(share: Float) -> Float:
    return np.asarray(np.sin(np.clip(share, 0, 1) * np.pi / 2) ** 2)


def played(low_hz: float, high_hz: float = 3800.0, seconds: float = 1.0, level_db: float = -6.0) -> Float:
    """(n,) what 'xover sweep' writes: silence, chirp, silence, sweep, silence, chirp, silence.

    Synchronized exponential sweep: Novak, Lotton, Simon, J. Audio Eng. Soc. 63 (2015); faded over a sixth of an octave.
    """
    growth = round(low_hz * seconds / np.log(high_hz / low_hz)) / low_hz
    length = growth * np.log(high_hz / low_hz)
    fade = growth * np.log(2) / 6
    t = np.arange(int(np.ceil(length * RATE))) / RATE
    sweep = np.sin(2 * np.pi * low_hz * growth * np.exp(t / growth)) * rise(t / fade) * rise((length - t) / fade)
    top = high_hz / 2 ** (1 / 6)
    bottom = max(low_hz * 2 ** (1 / 6), top / 16)
    t, k = np.arange(int(np.ceil(0.05 * RATE))) / RATE, np.log(top / bottom) / 0.05
    chirp = np.sin(2 * np.pi * bottom * (np.exp(k * t) - 1) / k) * rise(t / 0.01) * rise((0.05 - t) / 0.01)
    end = 1.3 + length
    out = np.zeros(int(np.ceil((end + 2.55) * RATE)))
    for start, piece in ((0.5, chirp), (1.3, sweep), (end + 1.25, chirp)):
        at = round(start * RATE)
        out[at : at + len(piece)] += piece
    return np.asarray(out * 10 ** (level_db / 20))


def take(load: Impedance, wave: Float, seed: int) -> Float:
    """(n, 2) what both inputs take down: across resistor and load together, and across the load, behind its leads.

    Invented faults: 0.15 ohm of leads, inputs of 10 kohm, the second 0.24 dB less and a tenth of a sample late, each
    hears the other at -60 dB, a cubic of the amplifier, noise at -86 dB and hum 20 mHz beside 50 Hz.
    """
    rng = np.random.default_rng(seed)
    wave = 1.1 * (wave - 0.002 * wave**3)
    length = 1 << len(wave).bit_length()
    f = np.fft.rfftfreq(length, 1 / RATE)
    w = np.maximum(f, 1e-3)
    across = parallel(load(w) + 0.15, constant(10e3)(w))
    first = np.fft.rfft(wave, length) * np.exp(-2j * np.pi * f * 0.0313)
    second = first * across / (across + RESISTOR_OHM)
    first, second = first + 1e-3 * second, second + 1e-3 * first
    second = second * 10 ** (-0.24 / 20) * np.exp(-0.2j * np.pi * f / RATE)
    both = np.stack([np.fft.irfft(x, length)[: len(wave)] for x in (first, second)], axis=1)
    t = np.arange(len(wave))[:, None] / RATE
    for n, size in ((1, 3e-4), (3, 1.2e-4), (5, 6e-5)):
        both += size * np.sin(2 * np.pi * 50.02 * n * t + n + seed) * np.array([1.0, 0.6])
    both += 5e-5 * rng.standard_normal(both.shape)
    return np.asarray(both[int(0.4 * RATE) : len(wave) - int(1.1 * RATE)])


def wav(samples: Float) -> bytes:
    """A file of 16 bit that says in its comment what it is."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return name + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)

    channels = samples.shape[1]
    form = struct.pack("<HHIIHH", 1, channels, RATE, RATE * channels * 2, channels * 2, 16)
    data = np.round(np.clip(samples, -1, 1) * 32767).astype("<i2").tobytes()
    says = chunk(b"LIST", b"INFO" + chunk(b"ICMT", NOTE.encode() + b"\0"))
    return chunk(b"RIFF", b"WAVE" + chunk(b"fmt ", form) + says + chunk(b"data", data))


def main(folder: Path) -> None:
    out = folder / "recorded-two-way"
    out.mkdir(parents=True, exist_ok=True)
    for seed, (name, (load, low_hz)) in enumerate(TAKES.items(), 1):
        (out / f"{name}.wav").write_bytes(wav(take(load, played(low_hz), seed)))


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
