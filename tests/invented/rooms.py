"""Invented speakers in invented rooms, heard by an invented phone that shows levels of third octaves.

Nothing here is shared with what reads the levels. Drives come of dividers, link by link; the room is a shoebox of image
sources (Allen and Berkley 1979, from memory), other drivers having other images; noise is drawn line by line of its
spectrum, two seconds at a time, weighed by the skirts of real filters, and added up. So its scatter is not put in by a
formula: it comes out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from .drivers import MIDS, TWEETERS, WOOFERS, Invented
from .speakers import Voice

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]

RATE = 44100.0
BLOCK_S = 2.0
SOUND = 343.0
NOMINAL = "40 50 63 80 100 125 160 200 250 315 400 500 630 800 1000 1250 1600 2000 2500 3150 4000 5000 6300 8000 10000"
NOMINAL_HZ = np.array([float(f) for f in f"{NOMINAL} 12500 16000".split()])
CENTRE_HZ = 1000.0 * 10.0 ** (np.round(10.0 * np.log10(NOMINAL_HZ / 1000.0)) / 10.0)
LINES_HZ = np.arange(30.0, 19_500.0, 1.0 / BLOCK_S)


@dataclass(frozen=True)
class Link:
    """A part of a ladder: its letter, whether it lies across, its value in ohm, henry or farad."""

    kind: str
    across: bool
    value: float

    def ohm(self, w: Float) -> Complex:
        """(n,) ohm; a coil has 0.3 ohm."""
        if self.kind == "C":
            return 1.0 / (1j * w * self.value)
        return self.value + 0j * w if self.kind == "R" else 0.3 + 1j * w * self.value


@dataclass(frozen=True)
class Way:
    """One driver behind its ladder, from the amplifier on."""

    name: str
    driver: Invented
    voice: Voice
    links: tuple[Link, ...]
    sign: int = 1

    def drive(self, f: Float) -> Complex:
        """(n,) voltage at the driver over the amplifier's, its polarity in it."""
        return self.sign * self.ladder(f)[0]

    def ladder(self, f: Float) -> tuple[Complex, Complex]:
        """(n,) voltage at the driver over the amplifier's, and what the amplifier sees, ohm."""
        w = 2.0 * math.pi * f
        z = _on_lines(self.driver) if f is LINES_HZ else self.driver.impedance_ohm(f)
        ratio = np.ones_like(w, dtype=complex)
        for link in reversed(self.links):
            own = link.ohm(w)
            if link.across:
                z = z * own / (z + own)
            else:
                ratio, z = ratio * z / (z + own), z + own
        return ratio, z

    def but(self, index: int, factor: float) -> Way:
        """With one part of another value."""
        links = list(self.links)
        links[index] = replace(links[index], value=links[index].value * factor)
        return replace(self, links=tuple(links))


@lru_cache(8)
def _on_lines(driver: Invented) -> Complex:
    return driver.impedance_ohm(LINES_HZ)


@lru_cache(8)
def _spoken(voice: Voice) -> Complex:
    return voice(LINES_HZ)


Network = tuple[Way, ...]


def reverse(network: Network, name: str) -> Network:
    """One driver turned round."""
    return tuple(replace(w, sign=-w.sign) if w.name == name else w for w in network)


def speaker(chance: np.random.Generator, ways: int = 2) -> Network:
    """A two-way or three-way speaker, corners and orders drawn by chance."""
    u = chance.uniform

    def low(hz: float, order: int) -> tuple[Link, ...]:
        a = 2 * math.pi * hz
        if order == 1:
            return (Link("L", False, 6.0 / a),)
        return (Link("L", False, 8.5 / a), Link("C", True, 0.12 / a))

    def high(hz: float, order: int) -> tuple[Link, ...]:
        a = 2 * math.pi * hz
        first = (Link("C", False, 0.17 / a),) if order == 1 else (Link("C", False, 0.12 / a), Link("L", True, 8.5 / a))
        return first if order < 3 else (*first, Link("C", False, 0.3 / a))

    pick = chance.integers
    woofer, tweeter = (d[pick(len(d))] for d in (WOOFERS, TWEETERS))
    pad, sign = Link("R", False, u(1, 4)), int(chance.choice([1, -1]))
    corner = u(1800, 3500)
    top = Way("tweeter", tweeter, Voice("tweeter", chance), (*high(corner, pick(1, 4)), pad), sign)
    if ways == 2:
        return (Way("woofer", woofer, Voice("woofer", chance), low(corner, pick(1, 3))), top)
    bass = u(300, 600)
    middle = (*high(bass, pick(1, 3)), *low(corner, pick(1, 3)))
    sides = Way("mid", MIDS[pick(len(MIDS))], Voice("mid", chance), middle, int(chance.choice([1, -1])))
    return (Way("woofer", woofer, Voice("woofer", chance), low(bass, 2)), sides, top)


def write_folder(folder: Path, networks: Mapping[str, Network], apart_m: float = 0.16) -> None:
    """The speaker with its networks, as a person has it: drivers swept and recorded alone, no errors."""
    folder.mkdir(parents=True, exist_ok=True)
    text, f = 'title = "Invented"\ntiming = "unknown"\n', np.geomspace(20.0, 20_000.0, 240)
    for name, network in networks.items():
        text += f'[networks.{name}]\ncircuit = "{name}.cir"\n'
        (folder / f"{name}.cir").write_text(netlist(network), encoding="utf-8")
    for i, way in enumerate(next(iter(networks.values()))):
        text += f'[drivers.{way.name}]\nimpedance = "{way.name}-z.txt"\nresponse = "{way.name}.txt"\n'
        text += f'phase = "minimum"\nposition_mm = [0, {1000 * apart_m * i:.0f}, 0]\n'
        z, p = way.driver.impedance_ohm(f), way.voice(f)
        _table(folder / f"{way.name}-z.txt", f, np.abs(z), np.angle(z, deg=True), "ohm")
        _table(folder / f"{way.name}.txt", f, 20 * np.log10(np.abs(p)), np.angle(p, deg=True), "dB")
    (folder / "speaker.toml").write_text(text, encoding="utf-8")


def _table(path: Path, f: Float, size: Float, angle: Float, unit: str) -> None:
    rows = [f"{a:.5g}\t{b:.5g}\t{c:.3f}" for a, b, c in zip(f, size, angle, strict=True)]
    path.write_text("\n".join([f"Hz\t{unit}\tdegrees", *rows, ""]), encoding="utf-8")


def write_sweep(path: Path, network: Network, chance: np.random.Generator, noise: float = 0.003) -> None:
    """The impedance at the terminals, rows with noise."""
    f = np.geomspace(20.0, 20_000.0, 240)
    z = 1.0 / sum(1.0 / way.ladder(f)[1] for way in network)
    z = z * (1.0 + noise * (chance.normal(size=f.size) + 1j * chance.normal(size=f.size)) / math.sqrt(2))
    _table(path, f, np.abs(z), np.angle(z, deg=True), "ohm")


def netlist(network: Network) -> str:
    """The network as a netlist: parts are numbered by way and place."""
    lines = ["* invented"]
    for w, way in enumerate(network, 1):
        at = "in"
        for i, link in enumerate(way.links, 1):
            to = "0" if link.across else f"n{w}{i}"
            more = " dcr=0.3" if link.kind == "L" else ""
            lines.append(f"{link.kind}{w}{i} {at} {to} {link.value:.6g}{more} tol=5%")
            at = at if link.across else to
        lines.append(f"X{way.name} {at} 0 {way.name}" if way.sign > 0 else f"X{way.name} 0 {at} {way.name}")
    return "\n".join([*lines, ".end", ""])


@dataclass(frozen=True)
class Room:
    """A shoebox, what its walls reflect, where the drivers and the phone are, in m, and how loud it is besides.

    Attributes
    ----------
    direct_over_room_db : of all sound between 500 Hz and 2 kHz, at the phone's place. reach_s : length of the tail.
    """

    size_m: Float
    wall: float
    drivers_m: Float
    phone_m: Float
    direct_over_room_db: float
    reach_s: float = 0.25

    @classmethod
    def drawn(cls, chance: np.random.Generator, drivers: int, reach_s: float = 0.25) -> Room:
        """A living room; the phone at 0.3 to 1 m, on the axis of the last driver."""
        u = chance.uniform
        size = np.array([u(3.5, 6), u(2.8, 4.5), u(2.3, 2.9)])
        first = np.array([u(0.4, 1.0), u(0.8, size[1] - 0.8), u(0.5, 0.9)])
        places = np.stack([first + np.array([0.0, 0.0, i * u(0.13, 0.2)]) for i in range(drivers)])
        return cls(size, u(0.75, 0.93), places, places[-1] + np.array([u(0.3, 1.0), 0.0, 0.0]), u(0, 12), reach_s)

    def images(self, driver: int, phone_m: Float) -> tuple[Float, Float]:
        """Delays in s and weights of all images but the first, which is the driver itself."""
        reach = self.reach_s * SOUND
        along, bounces = [], []
        for source, ear, size in zip(self.drivers_m[driver], phone_m, self.size_m, strict=True):
            n = np.arange(-math.ceil(reach / size / 2), math.ceil(reach / size / 2) + 1)
            along.append(np.concatenate([2 * n * size + source, 2 * n * size - source]) - ear)
            bounces.append(np.concatenate([np.abs(2 * n), np.abs(2 * n - 1)]))
        x, y, z = along
        far = np.sqrt(x[:, None, None] ** 2 + y[None, :, None] ** 2 + z[None, None, :] ** 2)
        times = bounces[0][:, None, None] + bounces[1][None, :, None] + bounces[2][None, None, :]
        near = (far < reach) & (times > 0)
        return far[near] / SOUND, self.wall ** times[near] / far[near]

    def paths(self, driver: int, phone_m: Float) -> tuple[Complex, Complex]:
        """(n,) direct sound, and all the rest, on LINES_HZ, before the voice."""
        distance = float(np.linalg.norm(self.drivers_m[driver] - phone_m))
        direct = np.exp(-2j * math.pi * LINES_HZ * distance / SOUND) / distance
        delay, weight = self.images(driver, phone_m)
        at = delay * RATE
        whole, part = np.floor(at).astype(int), at - np.floor(at)
        count = int(BLOCK_S * RATE)
        echo = np.bincount(whole, weight * (1 - part), count) + np.bincount(whole + 1, weight * part, count)
        first = round(LINES_HZ[0] * BLOCK_S)
        return direct, np.fft.rfft(echo)[first : first + LINES_HZ.size]


@dataclass(frozen=True)
class Phone:
    """What reads the levels. All invented.

    Attributes
    ----------
    curve_db : (n,) its own response on LINES_HZ. skirts : (b, n) share of each line's power in each band.
    background_db : (b,) of the room in each band as it shows it, against 60 dB of all music. automatic : share of a
        change of the whole level that its gain takes back. wander_db : how far its gain wanders between readings.
    """

    seconds: float
    step_db: float
    periodic: bool
    curve_db: Float
    skirts: Float
    background_db: Float
    automatic: float = 0.0
    wander_db: float = 0.0


def skirts(order: int | None = 3) -> Float:
    """(b, n) of Butterworth band filters of that order; None: lines counted or not, as from one long transform."""
    return _skirts(order)


@cache
def _skirts(order: int | None) -> Float:
    ratio = LINES_HZ[None, :] / CENTRE_HZ[:, None]
    half = 10.0**0.05
    if order is None:
        return ((ratio >= 1 / half) & (ratio < half)).astype(float)
    off = (ratio - 1 / ratio) / (half - 1 / half)
    return 1.0 / (1.0 + off ** (2 * order))


def drawn_phone(chance: np.random.Generator, **given: object) -> Phone:
    """Off by up to 8 dB, 5 to 20 s, tenths or (one in four) half decibels."""
    octaves = np.log2(LINES_HZ / 1000.0)
    curve = sum(np.cos(octaves * 2 * math.pi / p + chance.uniform(0, 6.28)) * p for p in chance.uniform(1.5, 12, 5))
    curve = chance.uniform(2, 8) * curve / np.abs(curve).max()
    room = np.maximum(
        chance.uniform(0, 38) - 3.0 * np.log2(CENTRE_HZ / 1000.0) + chance.normal(0, 2, CENTRE_HZ.size), -12.0
    )
    made = Phone(
        seconds=float(chance.choice([5, 10, 20])),
        step_db=float(chance.choice([0.1, 0.1, 0.1, 0.5])),
        periodic=bool(chance.integers(2)),
        curve_db=curve,
        skirts=skirts(chance.choice([3, None])),
        background_db=room,
    )
    return replace(made, **given)  # type: ignore[arg-type]


@dataclass
class Session:
    """One speaker in one room before one phone: columns are read one after the other.

    Attributes
    ----------
    level_db : by column, (b,) as shown. level_over : how loud the music is set, dB.
    """

    chance: np.random.Generator
    network: Network
    room: Room
    phone: Phone
    level_over: float = 60.0
    level_db: dict[str, Float] = field(default_factory=dict)
    _heard: dict[tuple[float, ...], tuple[Complex, ...]] = field(default_factory=dict)
    _scale: float = 0.0
    _whole: float = math.nan

    def moved(self, most_m: float) -> Float:
        """The phone put back, up to so much off in any direction."""
        to = self.chance.normal(size=3)
        return self.room.phone_m + to / np.linalg.norm(to) * self.chance.uniform(0, most_m)

    def pressure(self, phone_m: Float, direct_only: bool = False) -> tuple[Complex, ...]:
        """What each driver sounds like at the phone for one volt at itself, its voice in it."""
        if not self._scale:
            direct, echo = self._both(len(self.network) - 2, self.room.phone_m)
            middle = (LINES_HZ > 500) & (LINES_HZ < 2000)
            ratio = 10 * np.log10(np.sum(np.abs(direct[middle]) ** 2) / np.sum(np.abs(echo[middle]) ** 2))
            self._scale = 10 ** ((ratio - self.room.direct_over_room_db) / 20)
        if direct_only:
            return tuple(self._both(i, phone_m)[0] for i in range(len(self.network)))
        place = tuple(phone_m)
        if place not in self._heard:
            both = [self._both(i, phone_m) for i in range(len(self.network))]
            self._heard[place] = tuple(direct + self._scale * echo for direct, echo in both)
        return self._heard[place]

    def _both(self, i: int, phone_m: Float) -> tuple[Complex, Complex]:
        direct, echo = self.room.paths(i, phone_m)
        voice, ka = _spoken(self.network[i].voice), LINES_HZ / (800.0, 2500.0, 9000.0)[i - len(self.network)]
        return voice * direct, voice * echo / np.sqrt(1.0 + ka**2)

    def power(self, network: Network, phone_m: Float | None = None, direct_only: bool = False) -> Float:
        """(n,) of the sum on LINES_HZ for flat noise."""
        at = self.pressure(self.room.phone_m if phone_m is None else phone_m, direct_only)
        return np.abs(sum(way.drive(LINES_HZ) * p for way, p in zip(network, at, strict=True))) ** 2

    def read(self, column: str, network: Network | None, phone_m: Float | None = None, louder_db: float = 0.0) -> Float:
        """Read a column: the sum of a network's drivers, or (None) silence."""
        phone, chance = self.phone, self.chance
        shown = np.zeros(CENTRE_HZ.size)
        blocks = phone.seconds / BLOCK_S
        if network is not None:
            lines = self.power(network, phone_m) / LINES_HZ * 10 ** ((phone.curve_db + louder_db) / 10)
            if not phone.periodic:
                lines = lines * chance.standard_gamma(blocks, lines.size) / blocks
            shown = phone.skirts @ lines
            if math.isnan(self._whole):
                self._whole = 10 * math.log10(shown.sum())
        flat = phone.skirts @ (chance.standard_gamma(blocks, LINES_HZ.size) / blocks) / phone.skirts.sum(axis=1)
        shown = shown + 10 ** ((phone.background_db - self.level_over + self._reference()) / 10) * flat
        level = 10 * np.log10(shown) + self.level_over - self._reference()
        if network is not None:
            now = 10 * math.log10(shown.sum()) - self._reference()
            level = level - phone.automatic * now + chance.normal(0, 1) * phone.wander_db
        self.level_db[column] = np.round(level / phone.step_db) * phone.step_db
        return self.level_db[column]

    def _reference(self) -> float:
        """The whole level of the first column, from which all others count."""
        return 0.0 if math.isnan(self._whole) else self._whole

    def band_db(self, power: Float) -> Float:
        """(b,) level of pink noise through a power transfer on LINES_HZ, by this phone's filters but not its curve."""
        return 10 * np.log10(self.phone.skirts @ (power / LINES_HZ))

    def true_change_db(self, one: Network, other: Network) -> Float:
        """(b,) one state less the other without room and phone: the direct sum at the phone's place."""
        return self.band_db(self.power(one, direct_only=True)) - self.band_db(self.power(other, direct_only=True))

    def rules_db(self, network: Network) -> tuple[Float, NDArray[np.intp]]:
        """(b,) how far the loudest driver's direct sound lies above all others together, and which one it is."""
        at = self.pressure(self.room.phone_m, direct_only=True)
        each = np.stack(
            [
                self.phone.skirts @ (np.abs(way.drive(LINES_HZ) * p) ** 2 / LINES_HZ)
                for way, p in zip(network, at, strict=True)
            ]
        )
        most = each.max(axis=0)
        return 10 * np.log10(most / (each.sum(axis=0) - most)), each.argmax(axis=0)

    def drive_change_db(self, one: Network, other: Network) -> Float:
        """(d, b) ratio of each driver's drives in each band, its direct sound as weight."""
        at = self.pressure(self.room.phone_m, direct_only=True)
        rows = []
        for a, b, p in zip(one, other, at, strict=True):
            rows.append(
                self.band_db(np.abs(a.drive(LINES_HZ) * p) ** 2) - self.band_db(np.abs(b.drive(LINES_HZ) * p) ** 2)
            )
        return np.stack(rows)

    def text(
        self, place: str = "0.5 m, tweeter axis", columns: Sequence[str] | None = None, fixed: bool = False
    ) -> str:
        """The table as it is typed; `fixed`: it says that the phone stayed in its place."""
        names = list(columns or self.level_db)
        noise = "periodic" if self.phone.periodic else "random"
        lines = [f"# seconds {self.phone.seconds:g}; step {self.phone.step_db:g}; place {place}; noise {noise}"]
        lines += ["# phone fixed"] * fixed
        lines.append(", ".join(["band Hz", *names]))
        for i, band in enumerate(NOMINAL_HZ):
            cells = [self.level_db[n][i] for n in names]
            lines.append(", ".join([f"{band:g}", *(f"{c:.1f}" if np.isfinite(c) else "" for c in cells)]))
        return "\n".join([*lines, ""])


def as_built(network: Network, chance: np.random.Generator, tolerance: float = 0.05) -> Network:
    """Every part off by its tolerance or less."""
    return tuple(
        replace(
            way,
            links=tuple(replace(k, value=k.value * chance.uniform(1 - tolerance, 1 + tolerance)) for k in way.links),
        )
        for way in network
    )


def alone(network: Network, name: str) -> Network:
    """Only one driver plays: a resistor stands in the others' places."""
    return tuple(w if w.name == name else replace(w, sign=0) for w in network)


def mistyped(level_db: Float, row: int, how: str) -> float:
    """A cell as it is typed wrongly: two digits exchanged, a digit off, the row above, a dropped sign of ten."""
    value = float(level_db[row])
    if how == "row":
        return float(level_db[row - 1] if row else level_db[row + 1])
    if how == "ten":
        return value + (10.0 if value < 50 else -10.0)
    if how == "one":
        return value + 1.0
    tenths = round(10 * value)
    return float(f"{tenths // 100 * 100 + tenths % 10 * 10 + tenths // 10 % 10}") / 10
