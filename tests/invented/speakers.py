"""Invented loudspeakers as records: each driver's own, and recordings of drivers together, each with errors of its own.

The sound of a driver is made of poles and zeros (box, baffle step, cone resonances above its band, roll-off), so that
its phase is minimum; ripple is a sum of cosines over the octaves with the minimum phase that goes with them; what a
gate leaves of a room are weak late reflections; every row has noise besides. No two records share any of it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from xover.curve import log_grid

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class Errors:
    """Of a record: rms of its ripple in dB, of each row's noise in dB, and whether late reflections are in it."""

    ripple_db: float = 0.35
    noise_db: float = 0.1
    reflections: bool = True


def _high_pass(s: Complex, hz: float, q: float) -> Complex:
    x = s / (2 * math.pi * hz)
    return x**2 / (x**2 + x / q + 1)


def _low_pass(s: Complex, hz: float, q: float) -> Complex:
    x = s / (2 * math.pi * hz)
    return 1 / (x**2 + x / q + 1)


def _bell(s: Complex, hz: float, q: float, db: float) -> Complex:
    x, a = s / (2 * math.pi * hz), 10 ** (db / 40)
    return (x**2 + x * a / q + 1) / (x**2 + x / (a * q) + 1)


def _shelf(s: Complex, hz: float, db: float) -> Complex:
    a = 10 ** (db / 40)
    x = s / (2 * math.pi * hz)
    return (x * a + 1) / (x / a + 1)


class Voice:
    """The true sound of a driver, of minimum phase; drawn by chance for its band: "woofer", "mid" or "tweeter"."""

    def __init__(self, band: str, chance: np.random.Generator) -> None:
        u = chance.uniform
        self._factors = []
        if band == "woofer":
            self._add(_high_pass, u(30, 70), u(0.5, 1.1))
            if u() < 0.5:
                self._add(_high_pass, u(25, 45), u(0.6, 1.3))
            self._add(_shelf, u(300, 700), u(2, 6))
            self._breaks(chance, 1500, 6000)
            self._add(_low_pass, u(2500, 6000), u(0.6, 1.2))
            if u() < 0.5:
                self._add(_low_pass, u(5000, 9000), u(0.6, 1.5))
            self.level_db = u(84, 90)
        elif band == "mid":
            self._add(_high_pass, u(120, 300), u(0.5, 1.0))
            self._add(_shelf, u(500, 900), u(0, 3))
            self._breaks(chance, 4000, 9000)
            self._add(_low_pass, u(6000, 12000), u(0.6, 1.2))
            self.level_db = u(86, 91)
        else:
            self._add(_high_pass, u(600, 1600), u(0.45, 1.1))
            self._add(_bell, u(2000, 8000), u(0.5, 1.5), u(-2, 2))
            self._breaks(chance, 9000, 24000)
            self._add(_low_pass, u(22000, 34000), u(0.6, 1.2))
            self.level_db = u(88, 94)

    def _add(self, kind, *values: float) -> None:
        self._factors.append((kind, values))

    def _breaks(self, chance: np.random.Generator, low: float, high: float) -> None:
        for _ in range(chance.integers(1, 4)):
            hz = math.exp(chance.uniform(math.log(low), math.log(high)))
            self._add(_bell, hz, chance.uniform(2, 8), chance.uniform(-5, 8))

    def __call__(self, frequency_hz: Float) -> Complex:
        """(n,) complex pressure."""
        s = 2j * math.pi * frequency_hz
        total = np.full(frequency_hz.shape, 10 ** (self.level_db / 20), dtype=complex)
        for kind, values in self._factors:
            total = total * kind(s, *values)
        return total


def recorded(true: Complex, frequency_hz: Float, errors: Errors, chance: np.random.Generator) -> Complex:
    """(n,) a record of what is true, with errors drawn anew."""
    log = np.zeros(frequency_hz.shape, dtype=complex)
    octaves = np.log2(frequency_hz)
    periods = 2.0 ** chance.uniform(-1.6, 2.3, 12)
    weight = periods**0.3
    weight *= math.sqrt(2) * errors.ripple_db / 8.686 / math.sqrt(np.sum(weight**2))
    for period, size in zip(periods, weight, strict=True):
        w = 2 * math.pi / (period * math.log(2))
        wave = size * np.exp(1j * (2 * math.pi * octaves / period + chance.uniform(0, 2 * math.pi)))
        log += wave.real - 1j * math.tanh(math.pi * w / 2) * wave.imag
    value = true * np.exp(log)
    if errors.reflections:
        for _ in range(6):
            late, size = chance.uniform(0.7e-3, 5e-3), abs(chance.normal(0, 0.012))
            value = value * (1 + size * np.exp(-2j * math.pi * frequency_hz * late - (frequency_hz / 12e3) ** 2))
    noise = chance.normal(size=(2, frequency_hz.size)) * errors.noise_db / 8.686
    return value * np.exp(noise[0] + 1j * noise[1])


ROWS_HZ = log_grid(20.0, 20000.0, 48)
BANDS = {2: ("woofer", "tweeter"), 3: ("woofer", "mid", "tweeter")}
SHEETS = {
    "woofer": "re_ohm = 5.8\nfs_hz = 42\nqms = 3.1\nqes = 0.5\nle_mh = 0.7\n",
    "mid": "re_ohm = 5.6\nfs_hz = 160\nqms = 3.5\nqes = 0.7\nle_mh = 0.25\n",
    "tweeter": "re_ohm = 5.2\nfs_hz = 1000\nqms = 2.5\nqes = 1.1\nle_mh = 0.04\n",
}


class InventedSpeaker:
    """Drivers with delays of up to 150 us and levels a dB off their records, some wired round against what is said.

    Attributes
    ----------
    delay_s, gain_db, sign : by driver, against the first.
    """

    def __init__(self, seed: int, ways: int = 2, errors: Errors | None = None) -> None:
        self.chance = chance = np.random.default_rng(seed)
        self.names = BANDS[ways]
        self.voices = {n: Voice(n, chance) for n in self.names}
        self.delay_s = {n: 0.0 if n == "woofer" else chance.uniform(-150e-6, 150e-6) for n in self.names}
        self.gain_db = {n: 0.0 if n == "woofer" else chance.normal(0, 1) for n in self.names}
        self.sign = {n: 1 if n == "woofer" else int(chance.choice([1, -1])) for n in self.names}
        self.errors = errors or Errors(chance.uniform(0.2, 0.5), 0.1)
        self.netlist = _network(self.names, chance)

    def write(self, folder: Path, phase: bool) -> None:
        """speaker.toml, netlist and the record of each driver alone, measured phases against one reference."""
        folder.mkdir(parents=True, exist_ok=True)
        text = 'title = "Invented"\ntiming = "unknown"\n[networks.found]\ncircuit = "found.cir"\n'
        for n in self.names:
            kind = "measured" if phase else "minimum"
            text += f'[drivers.{n}]\nresponse = "{n}.txt"\nphase = "{kind}"\n[drivers.{n}.datasheet]\n{SHEETS[n]}'
            own = self.voices[n](ROWS_HZ) * 10 ** (-self.gain_db[n] / 20)
            write_table(folder / f"{n}.txt", recorded(own, ROWS_HZ, self.errors, self.chance), phase)
        (folder / "found.cir").write_text(self.netlist, encoding="utf-8")
        (folder / "speaker.toml").write_text(text, encoding="utf-8")

    def together(self, path: Path, fed: Mapping[str, Complex | float], phase: bool) -> None:
        """Record drivers that are fed together: their voltages by name, (n,) on ROWS_HZ."""
        late = 2j * math.pi * ROWS_HZ
        parts = [
            self.sign[n] * volts * self.voices[n](ROWS_HZ) * np.exp(-late * self.delay_s[n]) for n, volts in fed.items()
        ]
        value = recorded(np.sum(parts, axis=0), ROWS_HZ, self.errors, self.chance)
        level, flight = self.chance.normal(0, 1), self.chance.uniform(0, 3e-4)
        write_table(path, value * 10 ** (level / 20) * np.exp(-late * flight), phase)


def _network(names: tuple[str, ...], chance: np.random.Generator) -> str:
    """A netlist as it is drawn in the folder: filters of first to third order, a pad before the tweeter."""
    u = chance.uniform
    lines = ["* invented"]
    if len(names) == 3:
        lines += [f"L3 in w {u(3, 5):.3g}mH dcr=0.4", f"C3 w 0 {u(50, 90):.3g}uF", "Xw w 0 woofer"]
        lines += [f"C4 in m0 {u(25, 45):.3g}uF", f"L4 m0 m {u(0.3, 0.5):.3g}mH dcr=0.2", "Xm m 0 mid"]
    else:
        lines += [f"L1 in w {u(0.5, 1.8):.3g}mH dcr=0.4"]
        lines += [f"C1 w 0 {u(4, 15):.3g}uF"] * bool(chance.integers(0, 2)) + ["Xw w 0 woofer"]
    order = chance.integers(1, 4)
    lines.append(f"C2 in a {u(3, 9):.3g}uF")
    lines += [f"L2 a 0 {u(0.25, 0.5):.3g}mH dcr=0.3"] * bool(order > 1)
    lines += [f"C5 a b {u(8, 16):.3g}uF"] * bool(order > 2)
    lines.append(f"R1 {'b' if order > 2 else 'a'} t {u(1, 4):.3g}")
    lines.append("Xt t 0 tweeter" if chance.uniform() < 0.5 else "Xt 0 t tweeter")
    return "\n".join([*lines, ".end", ""])


def write_table(path: Path, value: Complex, phase: bool) -> None:
    """Hz, dB and, where it was measured, degrees."""
    columns = [ROWS_HZ, 20 * np.log10(np.abs(value)), *([np.degrees(np.angle(value))] if phase else [])]
    rows = [
        "\t".join(f"{v:.5g}" if i == 0 else f"{v:.3f}" for i, v in enumerate(r)) for r in zip(*columns, strict=True)
    ]
    path.write_text("\n".join(["Hz\tdB" + "\tdegrees" * phase, *rows, ""]), encoding="utf-8")
