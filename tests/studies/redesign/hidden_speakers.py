"""Invented speakers for which an unknown good network exists: their sum is flat with it, by construction."""

import math

import numpy as np

from xover.curve import log_grid
from xover.driver.model import DriverModel
from xover.files.netlist import parse_netlist
from xover.network import build_network, solve
from xover.speaker import open_speaker

F = log_grid(20.0, 20e3, 48)
ROOT2 = math.sqrt(2.0)


def write_table(path, value, unit, rows):
    size = 20 * np.log10(np.abs(value)) if unit == "dB" else np.abs(value)
    lines = zip(F[rows], size[rows], np.degrees(np.angle(value))[rows], strict=True)
    path.write_text(f"Hz, {unit}, deg\n" + "".join(f"{f:.9g}, {x:.9g}, {p:.8g}\n" for f, x, p in lines))


def write_speaker(path, circuit, impedances, responses, head="", rows=None):
    """A folder of drivers measured with phase against one time reference; of some of them a few rows only."""
    path.mkdir()
    text = f'title = "Invented"\ntiming = "common"\n{head}\n'
    for name, ohm in impedances.items():
        known = (rows or {}).get(name, np.ones(F.size, dtype=bool))
        write_table(path / f"{name}-z.csv", ohm, "ohm", known)
        write_table(path / f"{name}-p.csv", responses[name], "dB", known)
        text += f'[drivers.{name}]\nimpedance = "{name}-z.csv"\nresponse = "{name}-p.csv"\nphase = "measured"\n'
    (path / "found.cir").write_text(circuit)
    (path / "speaker.toml").write_text(text + '[networks.found]\ncircuit = "found.cir"\n')
    return open_speaker(path)


def halves(corner_hz):
    """Low-pass and high-pass of Linkwitz and Riley, fourth order: Butterworth's second order, squared."""
    s = 1j * F / corner_hz
    whole = s * s + ROOT2 * s + 1
    return 1 / whole**2, (s * s / whole) ** 2


def resistors():
    """Two drivers of 8 ohm and flat sound, and the ladders whose voltages are LR4 at 2.5 kHz exactly.

    The elements are the continued fraction of (s^4 + 4 s^2 + 1)/(2 sqrt2 s^3 + 2 sqrt2 s), worked out by hand.
    """
    ohm, omega = 8.0, 2 * math.pi * 2500.0
    coil, farad = ohm / omega, 1 / (omega * ohm)
    text = """* invented
L1 in a {L1} dcr={L1_dcr}
C1 a 0 {C1}
L2 a w {L2} dcr={L2_dcr}
C2 w 0 {C2}
Xlow w 0 woofer
C3 in b {C3}
L3 b 0 {L3} dcr={L3_dcr}
C4 b t {C4}
L4 t 0 {L4} dcr={L4_dcr}
Xhigh t 0 tweeter
"""
    values = {"L1": 4 * ROOT2 / 3 * coil, "C1": 9 / (4 * ROOT2) * farad, "L2": 2 * ROOT2 / 3 * coil}
    values |= {"C2": 1 / (2 * ROOT2) * farad, "C3": 3 / (4 * ROOT2) * farad, "L3": 4 * ROOT2 / 9 * coil}
    values |= {"C4": 3 / (2 * ROOT2) * farad, "L4": 2 * ROOT2 * coil}
    impedances = {name: np.full(F.size, ohm, dtype=complex) for name in ("woofer", "tweeter")}
    flat = np.full(F.size, 10 ** (90 / 20), dtype=complex)
    return text, values, dict.fromkeys(("L1", "L2", "L3", "L4"), 1e-4), impedances, {"woofer": flat, "tweeter": flat}


def made_for(text, values, dcr, impedances, wanted):
    """Drivers whose sound is such that this network gives each what is wanted of it."""
    told = {**values, **{f"{name}_dcr": ohm for name, ohm in dcr.items()}}
    network = build_network(parse_netlist(text.format(**{k: repr(v) for k, v in told.items()})))
    drive = solve(network, F, impedances).drive
    return {name: 10 ** (90 / 20) * wanted[name] / drive[name] for name in impedances}


def usual_pair():
    """A woofer and a tweeter with resonances and voice coils, slopes of two parts, a pad, LR4 at 2.4 kHz."""
    text = """* invented
L1 in w {L1} dcr={L1_dcr}
C1 w 0 {C1}
Xlow w 0 woofer
C2 in t {C2}
L2 t 0 {L2} dcr={L2_dcr}
R1 t p {R1}
R2 p 0 {R2}
Xhigh 0 p tweeter
"""
    values = {"L1": 1.1e-3, "C1": 8.4e-6, "C2": 4.3e-6, "L2": 0.41e-3, "R1": 3.1, "R2": 11.0}
    dcr = {"L1": 0.4, "L2": 0.3}
    impedances = {
        "woofer": DriverModel.from_thiele_small(6.0, 55.0, 4.0, 0.6, 4e-4).impedance_ohm(F),
        "tweeter": DriverModel.from_thiele_small(5.5, 700.0, 2.0, 1.2, 3e-5).impedance_ohm(F),
    }
    low, high = halves(2400.0)
    return text, values, dcr, impedances, made_for(text, values, dcr, impedances, {"woofer": low, "tweeter": high})


def three_way():
    """LR4 at 420 Hz and 3.2 kHz; the woofer stands back by what the upper crossover delays."""
    text = """* invented
L1 in w {L1} dcr={L1_dcr}
C1 w 0 {C1}
Xlow w 0 woofer
C2 in a {C2}
L2 a 0 {L2} dcr={L2_dcr}
L3 a b {L3} dcr={L3_dcr}
C3 b 0 {C3}
R1 b m {R1}
R2 m 0 {R2}
Xmid 0 m mid
C4 in t {C4}
L4 t 0 {L4} dcr={L4_dcr}
R3 t p {R3}
R4 p 0 {R4}
Xhigh p 0 tweeter
"""
    values = {"L1": 4.2e-3, "C1": 42e-6, "C2": 36e-6, "L2": 4.6e-3, "L3": 0.52e-3, "C3": 4.9e-6}
    values |= {"R1": 2.1, "R2": 16.0, "C4": 3.4e-6, "L4": 0.36e-3, "R3": 2.6, "R4": 10.0}
    dcr = {"L1": 0.5, "L2": 0.6, "L3": 0.25, "L4": 0.2}
    impedances = {
        "woofer": DriverModel.from_thiele_small(6.0, 35.0, 4.0, 0.5, 7e-4).impedance_ohm(F),
        "mid": DriverModel.from_thiele_small(5.8, 150.0, 3.0, 0.8, 2e-4).impedance_ohm(F),
        "tweeter": DriverModel.from_thiele_small(5.5, 750.0, 2.0, 1.2, 3e-5).impedance_ohm(F),
    }
    (low, above), (below, high) = halves(420.0), halves(3200.0)
    delay = np.exp(-1j * F / 3200.0 * 2 * ROOT2)
    wanted = {"woofer": low * delay, "mid": above * below, "tweeter": above * high}
    return text, values, dcr, impedances, made_for(text, values, dcr, impedances, wanted)


HIDDEN = {"resistors": resistors, "usual pair": usual_pair, "three-way": three_way}


def netlist(name, factors=None):
    """The circuit of a hidden speaker, its values so many times the good ones; coils of the same wire and shape."""
    text, values, dcr, _, _ = HIDDEN[name]()
    by = factors or dict.fromkeys(values, 1.0)
    told = {part: value * by[part] for part, value in values.items()}
    # DC resistance grows with the inductance to the power 0.6 (Brooks coil, as the search has it).
    told |= {f"{coil}_dcr": ohm * by[coil] ** 0.6 for coil, ohm in dcr.items()}
    return text.format(**{k: repr(v) for k, v in told.items()})


def off_by(name, factor, seed):
    """Every value so many times too high or too low."""
    values = HIDDEN[name]()[1]
    signs = np.random.default_rng(seed).choice([-1.0, 1.0], len(values))
    return dict(zip(values, (float(factor**s) for s in signs), strict=True))


def hidden_speaker(path, name, factors):
    _, _, _, impedances, responses = HIDDEN[name]()
    return write_speaker(path, netlist(name, factors), impedances, responses)
