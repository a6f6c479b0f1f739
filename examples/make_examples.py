"""Make the measurement tables of the invented example speakers.

    python make_examples.py [FOLDER]

FOLDER is where the speaker folders are written, by default the folder that holds this script. The
circuits and the `speaker.toml` files beside the tables are written by hand. No such loudspeaker
exists: every driver is a formula with seeded noise, so a second run gives the same bytes.

Nothing of xover is imported, so that the tables stay independent of what they are used to try. The
networks on the attic boards are worked out here by series and parallel arithmetic alone.

Conventions: e^{+jwt}, SI units, 343 m/s, responses re 20 uPa for 2.83 V at 1 m on the design axis.
A position is (right, up, forward) of the foot of the design axis on the baffle; forward is where
the sound starts, behind the baffle for a cone.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]

SPEED_OF_SOUND_M_S = 343.0
NOTE = "invented example data: no such loudspeaker exists"


@dataclass(frozen=True)
class Resonance:
    """A parallel R, L, C in series with the voice coil: peak height, place and sharpness."""

    peak_ohm: float
    hz: float
    q: float

    def impedance(self, f: Float) -> Complex:
        return np.asarray(self.peak_ohm / (1 + 1j * self.q * (f / self.hz - self.hz / f)))


@dataclass(frozen=True)
class Driver:
    """A driver in its cabinet, by formulas that a fitted model does not know.

    `coil_ohm` and `coil_power` are |Z| at 1 kHz and the power of the semi-inductance K (jw)^n; `fs_hz`,
    `qms`, `qes` those of the mounted driver; `sensitivity_db` is in half space; `step` is the baffle
    step (Hz, dB lost below); `bells` are (Hz, dB, Q); `roll_off` the upper end of the cone or dome (Hz, Q).
    `horn` replaces the resonance as the lower end of the response: high-passes of second order (Hz, Q).
    """

    re_ohm: float
    fs_hz: float
    qms: float
    qes: float
    coil_ohm: float
    coil_power: float
    sensitivity_db: float
    diameter_m: float
    position_m: tuple[float, float, float]
    step: tuple[float, float] = (300.0, 0.0)
    extra: tuple[Resonance, ...] = ()
    bells: tuple[tuple[float, float, float], ...] = ()
    roll_off: tuple[float, float] = (20e3, 0.7)
    horn: tuple[tuple[float, float], ...] = ()

    def main(self) -> Resonance:
        return Resonance(self.re_ohm * self.qms / self.qes, self.fs_hz, self.qms)

    def impedance(self, f: Float) -> Complex:
        """(n,) ohm at (n,) Hz."""
        coil = self.coil_ohm * (1j * f / 1e3) ** self.coil_power
        peaks = sum((r.impedance(f) for r in self.extra), self.main().impedance(f))
        return np.asarray(self.re_ohm + coil + peaks)

    def pressure(self, f: Float) -> Complex:
        """(n,) pressure re 20 uPa at (n,) Hz, delay beyond 1 m included."""
        if self.horn:
            p = np.prod([high_pass(f, *section) for section in self.horn], axis=0)
        else:
            # The cone's velocity goes with its back-emf, the pressure with its acceleration; 1 in the pass band.
            p = 1j * f * self.qes / self.fs_hz * self.main().impedance(f) / self.impedance(f)
        p = p * shelf(f, *self.step) * low_pass(f, *self.roll_off) * self.beam(f)
        for section in self.bells:
            p = p * bell(f, *section)
        return np.asarray(p * 10 ** (self.sensitivity_db / 20) * np.exp(-2j * np.pi * f * self.delay_s()))

    def distance_m(self) -> float:
        right, up, forward = self.position_m
        return float(np.hypot(1.0 - forward, np.hypot(right, up)))

    def delay_s(self) -> float:
        return (self.distance_m() - 1.0) / SPEED_OF_SOUND_M_S

    def beam(self, f: Float) -> Complex:
        """One pole where a piston of this size is 3 dB down towards the microphone: ka sin(angle) = 1.616."""
        sine = np.hypot(*self.position_m[:2]) / self.distance_m()
        if sine == 0:
            return np.ones_like(f, dtype=complex)
        corner = 1.616 * SPEED_OF_SOUND_M_S / (np.pi * self.diameter_m * sine)
        return np.asarray(1 / (1 + 1j * f / corner))


def high_pass(f: Float, hz: float, q: float) -> Complex:
    s = 1j * f / hz
    return np.asarray(s * s / (s * s + s / q + 1))


def low_pass(f: Float, hz: float, q: float) -> Complex:
    s = 1j * f / hz
    return np.asarray(1 / (s * s + s / q + 1))


def bell(f: Float, hz: float, db: float, q: float) -> Complex:
    s, a = 1j * f / hz, 10 ** (db / 40)
    return np.asarray((s * s + s * a / q + 1) / (s * s + s / (a * q) + 1))


def shelf(f: Float, hz: float, loss_db: float) -> Complex:
    """First order, `loss_db` down at 0 Hz, unity at the top, half the loss (in dB) at `hz`."""
    root = 10 ** (-loss_db / 40)
    s = 1j * f / hz
    return np.asarray((root + s) / (1 / root + s))


# ---- the drivers, all invented -------------------------------------------------------------------
# fmt: off

ATTIC_WOOFER = Driver(
    re_ohm=5.8, fs_hz=54.0, qms=4.4, qes=1.05, coil_ohm=3.6, coil_power=0.62,
    sensitivity_db=91.5, diameter_m=0.165, position_m=(0.0, -0.095, -0.024), step=(360.0, 4.4),
    extra=(Resonance(0.9, 690.0, 7.0),),
    bells=((690.0, -1.0, 5.0), (1700.0, 4.2, 0.8), (3600.0, 3.0, 3.0), (5400.0, 3.5, 5.0)),
    roll_off=(5200.0, 0.9),
)
ATTIC_NEW_WOOFER = Driver(
    re_ohm=6.7, fs_hz=47.0, qms=6.8, qes=0.82, coil_ohm=4.9, coil_power=0.70,
    sensitivity_db=93.3, diameter_m=0.165, position_m=(0.0, -0.095, -0.027), step=(360.0, 4.4),
    extra=(Resonance(0.7, 830.0, 8.0),),
    bells=((830.0, -0.8, 6.0), (1900.0, 4.6, 0.8), (4300.0, 5.0, 4.5), (6300.0, 3.0, 6.0)),
    roll_off=(5600.0, 0.8),
)
ATTIC_TWEETER = Driver(
    re_ohm=5.6, fs_hz=1050.0, qms=2.6, qes=1.9, coil_ohm=0.42, coil_power=0.76,
    sensitivity_db=92.0, diameter_m=0.025, position_m=(0.0, 0.07, -0.003),
    bells=((2400.0, 0.9, 2.5), (4300.0, -1.2, 3.0), (7600.0, 1.0, 3.0), (13500.0, 1.8, 2.5)),
    roll_off=(19500.0, 0.8),
)
ATTIC_RIGHT_TWEETER = replace(ATTIC_TWEETER, re_ohm=5.7, fs_hz=1110.0, qms=2.4, sensitivity_db=91.7)

HALL_WOOFER = Driver(
    re_ohm=6.1, fs_hz=46.0, qms=5.6, qes=0.62, coil_ohm=4.2, coil_power=0.66,
    sensitivity_db=98.0, diameter_m=0.33, position_m=(0.0, -0.28, -0.04), step=(230.0, 4.0),
    extra=(Resonance(1.4, 410.0, 6.0),),
    bells=((410.0, -0.9, 5.0), (900.0, 1.5, 0.8), (2300.0, 4.0, 3.5), (3400.0, 3.0, 5.0)),
    roll_off=(2600.0, 0.9),
)
HALL_HORN = Driver(
    re_ohm=6.4, fs_hz=690.0, qms=3.2, qes=1.05, coil_ohm=0.55, coil_power=0.72,
    sensitivity_db=109.0, diameter_m=0.12, position_m=(0.0, 0.21, -0.125),
    extra=(Resonance(10.5, 1380.0, 4.2), Resonance(1.2, 3100.0, 6.0)),
    horn=((640.0, 0.85), (430.0, 0.6)),
    bells=((1380.0, 1.2, 3.0), (3100.0, -1.0, 4.0), (9000.0, 1.0, 2.2), (13200.0, 2.0, 3.0)),
    roll_off=(12500.0, 0.7),
)

STUDIO_WOOFER = Driver(
    re_ohm=6.2, fs_hz=41.0, qms=5.0, qes=0.72, coil_ohm=3.4, coil_power=0.66,
    sensitivity_db=86.5, diameter_m=0.205, position_m=(0.0, 0.31, -0.035), step=(330.0, 4.2),
    extra=(Resonance(1.0, 560.0, 7.0),),
    bells=((560.0, -0.8, 6.0), (1300.0, 1.5, 1.5), (2600.0, 4.0, 4.0)),
    roll_off=(3600.0, 0.8),
)
STUDIO_MID = Driver(
    re_ohm=5.9, fs_hz=160.0, qms=3.4, qes=1.0, coil_ohm=1.3, coil_power=0.68,
    sensitivity_db=91.0, diameter_m=0.11, position_m=(0.0, -0.07, -0.018), step=(330.0, 3.0),
    extra=(Resonance(0.6, 1250.0, 8.0),),
    bells=((1250.0, -0.7, 6.0), (2400.0, 1.2, 1.5), (6800.0, 3.5, 4.0)),
    roll_off=(8200.0, 0.9),
)
STUDIO_TWEETER = Driver(
    re_ohm=5.2, fs_hz=820.0, qms=1.9, qes=1.5, coil_ohm=0.33, coil_power=0.78,
    sensitivity_db=92.0, diameter_m=0.028, position_m=(0.0, 0.07, -0.004),
    bells=((2900.0, 0.8, 2.5), (5200.0, -1.0, 3.0), (9800.0, 0.9, 3.0), (14500.0, 1.5, 3.0)),
    roll_off=(21000.0, 0.8),
)
# fmt: on


# ---- the boards of the attic two-way, for its sweeps at the terminals ------------------------------


@dataclass(frozen=True)
class Board:
    """A board as it stands: impedances (n,) of its capacitors, and what else may differ from side to side."""

    low_capacitor: Complex
    high_capacitor: Complex
    pad_series_ohm: float
    pad_shunt_ohm: float

    def solve(self, f: Float, woofer: Driver, tweeter: Driver) -> tuple[Complex, Complex, Complex]:
        """(n,) impedance at the terminals in ohm, drive of the woofer and of the tweeter in volts per volt."""
        jw = 2j * np.pi * f
        shunt = parallel(self.low_capacitor, woofer.impedance(f))
        low = jw * 1.8e-3 + 0.48 + shunt
        pad = parallel(self.pad_shunt_ohm, tweeter.impedance(f))
        padded = self.pad_series_ohm + pad
        tap = parallel(np.asarray(jw * 0.33e-3 + 0.38), padded)
        high = self.high_capacitor + tap
        return parallel(low, high), shunt / low, tap / high * pad / padded


def parallel(a: Complex | float, b: Complex) -> Complex:
    return np.asarray(1 / (1 / a + 1 / b))


def new_capacitor(f: Float, farad: float, dissipation: float) -> Complex:
    """A constant dissipation factor: the series resistance falls as 1/f."""
    return np.asarray((dissipation - 1j) / (2 * np.pi * f * farad))


def aged_capacitor(f: Float, farad: float, ohm_1k: float, ohm_10k: float) -> Complex:
    """A constant loss angle and a fixed resistance, through series-resistance readings at 1 and 10 kHz.

    The capacitance is taken as constant. A real electrolytic with this loss loses some percent of it in
    every decade upwards (a constant loss angle goes with a power of jw just under one).
    """
    falling_ohm = (ohm_1k - ohm_10k) / 0.9
    return np.asarray(ohm_1k - falling_ohm + falling_ohm * 1e3 / f - 1j / (2 * np.pi * f * farad))


# ---- the bench: noise, hum, and files --------------------------------------------------------------


def grid(from_hz: float, to_hz: float, per_octave: int) -> Float:
    steps = round(float(np.log2(to_hz / from_hz)) * per_octave)
    return np.asarray(from_hz * (to_hz / from_hz) ** (np.arange(steps + 1) / steps))


def noise(seed: int, size: int) -> Complex:
    """(size,) complex, each part of unit variance. RandomState: its stream is frozen by NumPy's policy (NEP 19)."""
    pair = np.random.RandomState(seed).standard_normal((size, 2))
    return np.asarray(pair[:, 0] + 1j * pair[:, 1])


def swept(f: Float, ohm: Complex, seed: int, spread: float = 0.004) -> Complex:
    """An impedance as a home bench reads it: noise in proportion, and a little mains hum."""
    hum = sum(size * np.exp(-((np.log2(f / hz) / 0.02) ** 2)) for hz, size in ((50.0, 0.012), (100.0, 0.007)))
    return np.asarray(ohm * (1 + spread * noise(seed, f.size)) * (1 + hum * np.exp(0.8j)))


def heard(f: Float, pressure: Complex, seed: int, floor_db: float = 26.0) -> Complex:
    """A response as a microphone reads it: noise of 0.2 dB and as much in phase, and a floor."""
    floor = 10 ** (floor_db / 20) * noise(seed + 1, f.size)
    return np.asarray(pressure * 10 ** (0.01 * noise(seed, f.size)) + floor)


def metered(f: Float, pressure: Complex, seed: int, floor_db: float = 26.0) -> Complex:
    """A level without phase, averaged over time: the floor adds by power."""
    power = abs(pressure * 10 ** (0.01 * noise(seed, f.size))) ** 2
    return np.asarray(np.sqrt(power + 10 ** (floor_db / 10)) + 0j)


@dataclass(frozen=True)
class Style:
    """How a table is spelt."""

    separator: str = ","
    comma: bool = False
    remark: str = "# "


def write_impedance(path: Path, title: str, f: Float, ohm: Complex, style: Style) -> None:
    rows = [(f"{hz:.6g}", f"{abs(z):#.4g}", degrees(z)) for hz, z in zip(f, ohm, strict=True)]
    write_table(path, title, [("frequency_hz", "impedance_ohm", "phase_deg"), *rows], style)


def write_response(path: Path, title: str, f: Float, pressure: Complex, style: Style, columns: int = 3) -> None:
    """Write frequency, level and phase; with two columns no phase."""
    rows = [(f"{hz:.6g}", f"{20 * np.log10(abs(p)):.2f}", degrees(p)) for hz, p in zip(f, pressure, strict=True)]
    write_table(path, title, [r[:columns] for r in [("frequency_hz", "level_db", "phase_deg"), *rows]], style)


def write_table(path: Path, title: str, rows: Sequence[tuple[str, ...]], style: Style) -> None:
    texts = [style.separator.join(row) for row in rows]
    if style.comma:
        texts = [text.replace(".", ",") for text in texts]
    write_lines(path, [style.remark + NOTE, style.remark + title, *texts])


def degrees(value: complex) -> str:
    return f"{np.degrees(np.angle(value)):.2f}"


def write_touchstone(path: Path, title: str, f: Float, ohm: Complex) -> None:
    """Version 1, one port, real and imaginary ohm (reference 1 ohm, so that nothing is scaled)."""
    rows = [f"{hz:.6g} {v.real:#.5g} {v.imag:#.5g}" for hz, v in zip(f, ohm, strict=True)]
    write_lines(path, ["! " + NOTE, "! " + title, "# Hz Z RI R 1", *rows])


def write_lines(path: Path, lines: Sequence[str]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")


# ---- the three speakers ----------------------------------------------------------------------------


def attic_two_way(folder: Path) -> None:
    """Left keeps its old woofer; right has a replacement, and was measured on another day with coarser steps."""
    wide, half, sound, treble = grid(10, 40e3, 48), grid(10, 20e3, 24), grid(20, 20e3, 48), grid(200, 20e3, 48)
    sides = (
        ("left", ATTIC_WOOFER, ATTIC_TWEETER, wide, Style(), "csv", 1000),
        ("right", ATTIC_NEW_WOOFER, ATTIC_RIGHT_TWEETER, half, Style("\t"), "txt", 2000),
    )
    for side, woofer, tweeter, f, style, ending, seed in sides:
        where = folder / side
        for name, driver, band, n in (("woofer", woofer, sound, 0), ("tweeter", tweeter, treble, 10)):
            ohm, pressure = swept(f, driver.impedance(f), seed + n), heard(band, driver.pressure(band), seed + n + 1)
            write_impedance(where / f"{name}-impedance.{ending}", f"{side} {name} in its cabinet", f, ohm, style)
            write_response(where / f"{name}-response.{ending}", f"{side} {name} on axis", band, pressure, style)
    attic_terminals(folder, wide, sound)


def attic_terminals(folder: Path, f: Float, sound: Float) -> None:
    """Sweeps of the finished speakers, with the values of the netlists `found` and, with a fault, `original`."""

    def left(f: Float) -> Board:
        return Board(aged_capacitor(f, 8.4e-6, 2.1, 0.56), aged_capacitor(f, 6.1e-6, 3.0, 1.05), 6.4, 15.0)

    right = Board(aged_capacitor(f, 7.7e-6, 1.6, 0.42), aged_capacitor(f, 5.4e-6, 2.0, 0.62), 5.9, 15.0)
    # The pad's shunt resistor has a cold joint: for the sweep it is as good as not there.
    rebuilt = Board(new_capacitor(f, 6.8e-6, 0.06), new_capacitor(f, 4.7e-6, 0.05), 5.6, 1e9)
    old, new = (ATTIC_WOOFER, ATTIC_TWEETER), (ATTIC_NEW_WOOFER, ATTIC_RIGHT_TWEETER)
    sweeps = (
        ("left", "found", left(f), old, "as found", 3000),
        ("right", "found", right, new, "as found", 3010),
        ("left", "rebuilt", rebuilt, old, "new parts of the marked values", 3020),
    )
    for side, state, board, drivers, words, seed in sweeps:
        ohm = swept(f, board.solve(f, *drivers)[0], seed)
        title = f"{side} speaker at its terminals, {words}"
        write_impedance(folder / side / f"terminals-{state}.csv", title, f, ohm, Style())
    _, low, high = left(sound).solve(sound, *old)
    whole = heard(sound, low * old[0].pressure(sound) + high * old[1].pressure(sound), 3030)
    write_response(folder / "left" / "whole-found.csv", "left speaker on axis, as found", sound, whole, Style())
    fine = grid(35, 18e3, 240)
    original = Board(new_capacitor(fine, 6.8e-6, 0.06), new_capacitor(fine, 4.7e-6, 0.05), 5.6, 15.0)
    write_phone(folder / "left" / "phone-levels.csv", fine, (left(fine), original), old)


def write_phone(path: Path, f: Float, boards: tuple[Board, Board], drivers: tuple[Driver, Driver]) -> None:
    """Levels of third octaves as a phone 1 m away shows them: a room, an uneven microphone, some noise of a street.

    Each driver has reflections of its own, a tenth as strong as its sound and later by 3 to 30 ms; put back, the phone
    stands 4 mm off. Noise of a period, read whole, does not scatter.
    """

    def at_phone(moved_m: float) -> list[Complex]:
        chance = np.random.RandomState(3040)
        late_s, turned = chance.uniform(3e-3, 30e-3, (2, 24)), chance.uniform(-1, 1, (2, 24))
        sounds = []
        for driver, late, turn in zip(drivers, late_s, turned, strict=True):
            rays = np.exp(-2j * np.pi * np.outer(f, late + turn * moved_m / SPEED_OF_SOUND_M_S))
            sounds.append(driver.pressure(f) * (1 + 0.1 * rays.sum(axis=1)))
        return sounds

    (_, low, high), (_, was_low, was_high) = (board.solve(f, *drivers) for board in boards)
    (bass, treble), again = at_phone(0.0), at_phone(4e-3)
    microphone = high_pass(f, 90.0, 0.7) * bell(f, 3500.0, -4.0, 1.0) * bell(f, 9000.0, 6.0, 2.0)
    band = np.round(10 * np.log10(f / 1e3)).astype(int)
    names = range(-14, 13)
    hush = [10 ** ((34 - 0.5 * k) / 10) for k in names]

    def shown(pressure: Complex, quieter_db: float = 0.0) -> list[str]:
        power = abs(pressure * microphone) ** 2 * 10 ** (-(15 + quieter_db) / 10)
        bands = [power[band == k].mean() + quiet for k, quiet in zip(names, hush, strict=True)]
        return [f"{10 * np.log10(one):.1f}" for one in bands]

    sum_found = low * bass + high * treble
    columns = {
        "silence": shown(0 * f + 0j),
        "found": shown(sum_found),
        "again": shown(low * again[0] + high * again[1]),
        "quieter": shown(sum_found, 10.0),
        "reversed": shown(low * bass - high * treble),
        "woofer": shown(low * bass),
        "tweeter": shown(high * treble),
        "original": shown(was_low * bass + was_high * treble),
    }
    nominal = ("1000", "1250", "1600", "2000", "2500", "3150", "4000", "5000", "6300", "8000")
    hertz = [f"{float(nominal[k % 10]) * 10.0 ** (k // 10):g}" for k in names]
    head = [f"# note Left speaker as a phone hears it ({NOTE})"]
    head += ["# seconds 10; step 0.1; place 1 m, design axis; noise periodic"]
    rows = [", ".join(row) for row in zip(hertz, *columns.values(), strict=True)]
    write_lines(path, [*head, ", ".join(["band Hz", *columns]), *rows])


def hall_horn_two_way(folder: Path) -> None:
    """Each driver was timed by itself, so its phase holds a delay that nobody wrote down."""
    f, sound, treble = grid(10, 40e3, 48), grid(20, 16e3, 48), grid(200, 20e3, 48)
    comma = Style(";", comma=True)
    ohm = swept(f, HALL_WOOFER.impedance(f), 4000)
    write_impedance(folder / "woofer-impedance.csv", "woofer in its cabinet", f, ohm, comma)
    low = heard(sound, HALL_WOOFER.pressure(sound) * np.exp(2j * np.pi * sound * 0.21e-3), 4010)
    write_response(folder / "woofer-response.csv", "woofer on axis", sound, low, comma)
    ohm = swept(f, HALL_HORN.impedance(f), 4020, 0.003)
    write_touchstone(folder / "horn-impedance.z1p", "driver on its horn", f, ohm)
    high = heard(treble, HALL_HORN.pressure(treble) * np.exp(2j * np.pi * treble * 0.34e-3), 4030)
    write_response(folder / "horn-response.csv", "horn on axis", treble, high, Style())
    ohm = swept(f, hall_terminals(f), 4040)
    write_impedance(folder / "terminals-found.csv", "speaker at its terminals, as found", f, ohm, Style())


def hall_terminals(f: Float) -> Complex:
    """Impedance at the terminals with the values of `found.cir`."""
    jw = 2j * np.pi * f
    low = jw * 2.7e-3 + 0.42 + parallel(new_capacitor(f, 11.6e-6, 0.08), HALL_WOOFER.impedance(f))
    # The autotransformer from its two mesh equations: the upper winding carries what the lower one and the horn share.
    upper, lower, mutual = jw * 11.5e-3 + 0.9, jw * 3.6e-3 + 0.3, jw * 0.998 * np.sqrt(11.5e-3 * 3.6e-3)
    horn = HALL_HORN.impedance(f)
    padded = upper + mutual + (horn - mutual) * (lower + mutual) / (horn + lower)
    return parallel(low, new_capacitor(f, 3.9e-6, 0.07) + parallel(12.6, padded))


def studio_three_way(folder: Path) -> None:
    """Magnitude of the responses only, as a simple meter gives it; one of the two like woofers was measured."""
    f, blank = grid(10, 40e3, 48), Style("  ", remark="* ")
    drivers = (
        ("woofer", STUDIO_WOOFER, grid(20, 20e3, 48), 5000),
        ("mid", STUDIO_MID, grid(100, 20e3, 48), 5010),
        ("tweeter", STUDIO_TWEETER, grid(200, 20e3, 48), 5020),
    )
    for name, driver, band, seed in drivers:
        ohm = swept(f, driver.impedance(f), seed, 0.005 if name == "mid" else 0.004)
        write_impedance(folder / f"{name}-impedance.txt", f"{name} in its chamber", f, ohm, blank)
        level = metered(band, driver.pressure(band), seed + 1)
        write_response(folder / f"{name}-response.txt", f"{name} on axis", band, level, blank, columns=2)
    ohm = swept(f, studio_terminals(f), 5040)
    write_impedance(folder / "terminals-found.txt", "speaker at its terminals, as found", f, ohm, blank)


def studio_terminals(f: Float) -> Complex:
    """Impedance at the terminals with the values of `found.cir`."""
    jw = 2j * np.pi * f
    low = jw * 2.7e-3 + 0.22 + parallel(aged_capacitor(f, 41e-6, 0.75, 0.32), STUDIO_WOOFER.impedance(f) / 2)
    behind = parallel(new_capacitor(f, 6.9e-6, 0.01), 1.15 + STUDIO_MID.impedance(f))
    middle = aged_capacitor(f, 31.5e-6, 0.85, 0.38) + parallel(jw * 5.6e-3 + 0.7, jw * 0.68e-3 + 0.3 + behind)
    padded = 3.9 + parallel(27.0, STUDIO_TWEETER.impedance(f))
    high = new_capacitor(f, 4.6e-6, 0.01) + parallel(jw * 0.22e-3 + 0.3, padded)
    return parallel(low, parallel(middle, high))


def make_examples(folder: Path) -> None:
    """Write every table below `folder`."""
    attic_two_way(folder / "attic-two-way")
    hall_horn_two_way(folder / "hall-horn-two-way")
    studio_three_way(folder / "studio-three-way")


if __name__ == "__main__":
    make_examples(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent)
