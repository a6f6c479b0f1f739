"""Finished speakers of invented drivers: folders, their sweeps and responses, with the errors of real ones.

What verify takes for granted is not taken here: drivers are those of invented/drivers.py, moved by up to 3 % (fs, Q
and Re each) since their own sweep; electrolytics have aged, their loss is a constant angle and a resistance that the
card does not state; parts lie within 5 % (coils' resistance within 10 %); leads of 0 to 0.1 ohm and a scale wrong by
up to 1.5 % are in the sweep. A response has a microphone wrong by a smooth curve of up to 1 dB, 0.2 to 0.5 dB of
ripple, a gate that leaves nothing below 200 Hz, drivers 0.3 dB louder or softer and up to 1 cm nearer or farther than
in their own records, and any level. All values are invented.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from invented.drivers import HORNS, MIDS, SWEPT_HZ, TWEETERS, WOOFERS, Invented
from xover.curve import Curve, Unit, log_grid
from xover.network import Network, Resistor, solve
from xover.network.parts import Capacitor, Inductor, value_of
from xover.speaker import Speaker, open_speaker

WOOFERS_OF_TWO = tuple(d for d in WOOFERS if d.name.startswith(("eight", "six")))
LARGE = tuple(d for d in WOOFERS if d.name.startswith(("ten", "twelve", "fifteen")))

KNEE = """* Two-way, five parts
L1 in w 1.2mH dcr=0.4 tol=5%
C1 in t 6.8uF df=0.03@1kHz kind=electrolytic tol=5%
L2 t 0 0.33mH dcr=0.3 tol=5%
R1 t p 2.7 tol=5%
R2 p 0 12 tol=5%
Xlow w 0 woofer
Xhigh 0 p tweeter
"""
ZOBEL = """* Two-way, second order, Zobel and pad
L1 in w 1.5mH dcr=0.45 tol=5%
C1 w 0 10uF df=0.04@1kHz kind=electrolytic tol=5%
R1 w z 6.2 tol=5%
C2 z 0 22uF df=0.05@1kHz kind=electrolytic tol=5%
C3 in t 4.7uF df=0.002@1kHz kind=film tol=5%
L2 t 0 0.33mH dcr=0.35 tol=5%
R2 t p 2.2 tol=5%
R3 p 0 10 tol=5%
Xlow w 0 woofer
Xhigh 0 p tweeter
"""
STEEP = """* Two-way, third order on the tweeter
L1 in a 1.8mH dcr=0.5 tol=5%
L2 a w 0.68mH dcr=0.3 tol=5%
C1 a 0 12uF df=0.04@1kHz kind=electrolytic tol=5%
C2 in t 5.6uF df=0.002@1kHz kind=film tol=5%
L3 t 0 0.27mH dcr=0.25 tol=5%
C3 t s 15uF df=0.03@1kHz kind=electrolytic tol=5%
R1 s p 3.3 tol=5%
R2 p 0 15 tol=5%
Xlow w 0 woofer
Xhigh p 0 tweeter
"""
HORN = """* Large two-way with a horn
L1 in w 3.3mH dcr=0.6 tol=5%
C1 w 0 15uF df=0.04@1kHz kind=electrolytic tol=5%
C2 in h 6.8uF df=0.03@1kHz kind=electrolytic tol=5%
L2 h 0 1mH dcr=0.5 tol=5%
R1 h p 4.7 tol=5%
R2 p 0 6.8 tol=5%
Xlow w 0 woofer
Xhigh 0 p tweeter
"""
THREE = """* Three-way, second order
L1 in w 3.3mH dcr=0.5 tol=5%
C1 w 0 68uF df=0.06@1kHz kind=electrolytic tol=5%
C2 in m 33uF df=0.05@1kHz kind=electrolytic tol=5%
L2 m b 0.56mH dcr=0.3 tol=5%
C3 b 0 8.2uF df=0.03@1kHz kind=electrolytic tol=5%
R1 b n 2.2 tol=5%
R2 n 0 15 tol=5%
C4 in t 4.7uF df=0.002@1kHz kind=film tol=5%
L3 t 0 0.22mH dcr=0.25 tol=5%
R3 t p 3.3 tol=5%
R4 p 0 8.2 tol=5%
Xlow w 0 woofer
Xmid 0 n mid
Xhigh p 0 tweeter
"""
PLANS = (
    (KNEE, WOOFERS_OF_TWO, None, TWEETERS),
    (ZOBEL, WOOFERS_OF_TWO, None, TWEETERS),
    (STEEP, WOOFERS_OF_TWO, None, TWEETERS),
    (HORN, LARGE, None, HORNS),
    (THREE, LARGE, MIDS, TWEETERS),
)
TURNED = 0.3
"""From such a coupling on a coil the other way round is a fault that a sweep can show."""
HEARD_HZ = log_grid(200.0, 18e3, 24)
RECORD_HZ = log_grid(20.0, 20e3, 24)


def smooth(rng: np.random.Generator, f: np.ndarray, size: float, octaves: float) -> np.ndarray:
    """(n,) a random smooth curve of rms `size` over so many octaves."""
    u = np.log2(f)
    cover = np.exp(-0.5 * ((u[:, None] - u[None, :]) / octaves) ** 2) + 1e-9 * np.eye(f.size)
    return size * np.linalg.cholesky(cover) @ rng.standard_normal(f.size)


def pressure(driver: Invented, f: np.ndarray) -> np.ndarray:
    """(n,) sound for 2.83 V at 1 m, re 20 uPa: the cone's acceleration, its break-up and its cabinet."""
    w = 2.0 * math.pi * f
    whole = driver.impedance_ohm(f)
    bl = math.sqrt(driver.coil.re_ohm * driver.mass_kg * 2.0 * math.pi * driver.fs_hz / driver.qes)
    moved = 1j * w * (whole - driver.coil.impedance_ohm(w)) / (whole * bl)
    volume = 2.83 * 1.2 * driver.area_m2 / (2.0 * math.pi)
    small = driver.area_m2 < 8e-3
    top = 22e3 if small else 9e3 * math.sqrt(0.02 / driver.area_m2)
    rng = np.random.default_rng([*driver.name.encode()])
    shape = 1.0 / (1.0 + 1j * f / top / 1.2 - (f / top) ** 2)
    for hz in np.geomspace(600.0, 14e3, 4) * np.exp(0.15 * rng.standard_normal(4)):
        gain, q = 10 ** (rng.uniform(-2.5, 2.5) / 20), rng.uniform(1.0, 3.0)
        x = 1j * f / hz
        shape = shape * (1.0 + gain * x / q + x * x) / (1.0 + x / q + x * x)
    edge = 0.12 * np.exp(-1j * w * rng.uniform(3e-4, 6e-4)) / (1.0 + f / 6e3)
    return moved * volume / 2e-5 * shape * (1.0 + edge)


@dataclass(frozen=True, eq=False)
class Build:
    """A folder's speaker, its network, and the drivers that stand in it, by name."""

    speaker: Speaker
    network: Network
    drivers: dict[str, Invented]
    late_s: dict[str, float]


def text_of(plan: str, k: float | None) -> str:
    return plan if k is None else f"{plan}K1 L1 L2 {k:.3f}\n"


def make(folder: Path, rng: np.random.Generator, plan: int, k: float | None) -> Build:
    """Write a speaker of one plan with drawn drivers into a folder, and open it."""
    text, lows, mids, highs = PLANS[plan]
    drivers = {"woofer": lows[rng.integers(len(lows))], "tweeter": highs[rng.integers(len(highs))]}
    if mids is not None:
        drivers["mid"] = mids[rng.integers(len(mids))]
    late = {name: float(rng.uniform(0.0, 60e-6)) for name in drivers}
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "a.cir").write_text(text_of(text, k))
    toml = ['title = "Invented"', 'timing = "common"', '[networks.original]\ncircuit = "a.cir"']
    for name, driver in drivers.items():
        z = driver.sweep(noise=0.002, seed=int(rng.integers(1000))).value
        rows = zip(SWEPT_HZ, np.abs(z), np.degrees(np.angle(z)), strict=True)
        table(folder / f"{name}-z.csv", "Hz,ohm,deg", rows)
        p = pressure(driver, RECORD_HZ) * np.exp(-2j * math.pi * RECORD_HZ * late[name])
        p = p * 10 ** (0.1 * rng.standard_normal(p.size) / 20)
        table(
            folder / f"{name}-p.csv",
            "Hz,dB,deg",
            zip(RECORD_HZ, 20 * np.log10(abs(p)), np.degrees(np.angle(p)), strict=True),
        )
        toml.append(
            f'[drivers.{name}]\nimpedance = "{name}-z.csv"\nresponse = "{name}-p.csv"\nphase = "measured"\n'
            'impedance_evidence = "measured"'
        )
    (folder / "speaker.toml").write_text("\n".join(toml) + "\n")
    speaker = open_speaker(folder)
    return Build(speaker, speaker.network("original"), drivers, late)


def table(path: Path, head: str, rows) -> None:
    path.write_text(head + "\n" + "\n".join(",".join(f"{v:.6g}" for v in row) for row in rows) + "\n")


def faults_of(network: Network) -> list[tuple[str, str, str | None]]:
    """Every single fault that is tried: (kind, part or driver, other)."""
    found = []
    for part in network.parts:
        found += [
            (kind, part.name, None) for kind in ("open", "shorted", "ten times the value", "a tenth of the value")
        ]
        if isinstance(part, Inductor):
            found.append(("another value", part.name, None))
    wound = {n for c in network.couplings for n in (c.first, c.second) if abs(c.k) >= TURNED}
    for one, other in itertools.combinations(network.parts, 2):
        if (one.name in wound) != (other.name in wound):  # a winding of two has no place elsewhere
            continue
        if type(one) is type(other) and max(value_of(one), value_of(other)) > 1.2 * min(value_of(one), value_of(other)):
            found.append(("swapped", one.name, other.name))
    for card in network.drivers:
        found += [("open", card.key, None), ("shorted", card.key, None), ("reversed", card.key, None)]
    found += [("reversed", c.first, c.second) for c in network.couplings if abs(c.k) >= TURNED]
    return found


def changed(network: Network, name: str, **fields) -> Network:
    return replace(network, parts=tuple(replace(p, **fields) if p.name == name else p for p in network.parts))


def times(network: Network, name: str, factor: float) -> Network:
    """A part of another value: a coil's resistance goes with the root."""
    part = network.part(name)
    if isinstance(part, Inductor):
        return changed(network, name, henry=part.henry * factor, dcr_ohm=part.dcr_ohm * factor**0.5)
    return changed(network, name, **{"ohm" if isinstance(part, Resistor) else "farad": value_of(part) * factor})


def within(network: Network, rng: np.random.Generator) -> Network:
    """Parts as bought and aged."""
    for part in network.parts:
        network = times(network, part.name, 1.0 + 0.05 * rng.uniform(-1, 1))
        if isinstance(part, Inductor):
            network = changed(network, part.name, dcr_ohm=part.dcr_ohm * (1.0 + 0.1 * rng.uniform(-1, 1)))
        elif isinstance(part, Capacitor) and part.kind == "electrolytic":
            network = changed(
                network,
                part.name,
                dissipation_factor=part.dissipation_factor * math.exp(rng.uniform(-0.3, 0.9)),
                esr_ohm=math.exp(rng.uniform(math.log(0.03), math.log(0.5))),
            )
    return network


def with_fault(network: Network, fault: tuple[str, str, str | None], rng: np.random.Generator) -> Network:
    """Rewire a network: what is open is a joint of 10 megohm or taken out, a short is a wire of 0.1 milliohm."""
    kind, name, other = fault
    if any(name == card.key for card in network.drivers):
        card = network.driver_card(name)
        if kind == "reversed":
            turned = replace(card, plus=card.minus, minus=card.plus)
            return replace(network, drivers=tuple(turned if d is card else d for d in network.drivers))
        if kind == "open":
            return network.without(name)
        bare = replace(network, drivers=tuple(d for d in network.drivers if d is not card))
        return replace(bare, parts=(*bare.parts, Resistor("Rwire", card.plus, card.minus, 1e-4)))
    part = network.part(name)
    if kind == "open":
        coupled = tuple(c for c in network.couplings if name not in (c.first, c.second))
        return replace(network, parts=tuple(p for p in network.parts if p is not part), couplings=coupled).pruned()
    if kind == "shorted":
        return replace(network, parts=(*network.parts, Resistor("Rwire", part.a, part.b, 1e-4)))
    if kind == "reversed":
        turned = tuple(replace(c, k=-c.k) if c.first == name else c for c in network.couplings)
        return replace(network, couplings=turned)
    if kind == "swapped":
        beside = network.part(other)
        moved = {
            name: replace(beside, name=name, a=part.a, b=part.b),
            other: replace(part, name=other, a=beside.a, b=beside.b),
        }
        return replace(network, parts=tuple(moved.get(p.name, p) for p in network.parts))
    factor = {"ten times the value": 10.0, "a tenth of the value": 0.1}.get(kind)
    return times(network, name, factor or math.exp(rng.choice([-1, 1]) * rng.uniform(0.35, 1.2)))


def drifted(driver: Invented, rng: np.random.Generator, share: float = 0.03) -> Invented:
    """fs, Q and Re moved by up to `share`, each of its own."""
    f, m, e, r = 1.0 + share * rng.uniform(-1, 1, 4)
    coil = replace(driver.coil, re_ohm=driver.coil.re_ohm * r)
    return replace(driver, fs_hz=driver.fs_hz * f, qms=driver.qms * m, qes=driver.qes * e, coil=coil)


def measured(
    build: Build, network: Network, rng: np.random.Generator, *, drift: float = 0.03, late_s: float = 0.0
) -> tuple[Curve, Curve]:
    """The sweep at the terminals and the response of a network that was built. `late_s`: the tweeter's, unknown."""
    today = {name: drifted(d, rng, drift) for name, d in build.drivers.items()}
    names = network.driver_names
    f = SWEPT_HZ
    load = solve(network, f, {n: today[n].impedance_ohm(f) for n in names}).impedance_ohm["in"]
    load = (load + rng.uniform(0.0, 0.1)) * (1.0 + 0.015 * rng.uniform(-1, 1))
    load = load * (1.0 + 0.003 * (rng.standard_normal(f.size) + 1j * rng.standard_normal(f.size)))
    sweep = Curve(f, load, Unit.OHM, source="terminals.csv")
    f = HEARD_HZ
    solution = solve(network, f, {n: today[n].impedance_ohm(f) for n in names})
    total = 10 ** (38 / 20) * np.exp(2j * math.pi * rng.uniform(size=f.size))  # the room's noise
    for card in network.drivers:
        near = build.late_s[card.driver] + rng.uniform(-1, 1) * 0.01 / 343.0
        near += late_s if card.driver == "tweeter" else 0.0
        gain = 10 ** (0.3 * rng.uniform(-1, 1) / 20)
        total = total + solution.drive[card.key] * gain * pressure(today[card.driver], f) * np.exp(
            -2j * math.pi * f * near
        )
    level = 20 * np.log10(np.abs(total)) + smooth(rng, f, 0.5, 1.5) + rng.uniform(-20, 5)
    level = level + smooth(rng, f, rng.uniform(0.2, 0.5), 0.12)
    return sweep, Curve(f, 10 ** (level / 20) + 0j, Unit.PASCAL_20U, has_phase=False, source="whole.csv")
