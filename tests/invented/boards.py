"""Invented boards of 5 to 14 parts: what its owner would type, and what age has made of it. No such board exists.

The wiring is drawn by the rules of the trade (first to third order, Zobel, pads, traps), values from the corner
frequency and the driver's resistance by the first formula of every handbook, then to E24. What is true of a part does
not share what is fitted: a capacitor loses by a law of its own, a core has losses, values have moved.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from invented.drivers import HORNS, MIDS, TWEETERS, WOOFERS, Invented
from xover.files.netlist import parse_netlist
from xover.network import Capacitor, Inductor, Network, Resistor, build_network
from xover.parts.preferred import nearest

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]
Random = np.random.Generator

FEWEST, MOST = 5, 14
METER_HZ = 1000.0


@dataclass(frozen=True)
class Ageing:
    """What is wrong with the parts of a board, beyond values that have moved.

    stated : what the cards of wet capacitors say: "esr", "df", "nothing", or "any" of these.
    law : what they truly do: "esr" (a constant resistance), "df" (a constant dissipation factor with a constant
        capacitance), "phase" (a constant phase), or "any". grown : an ESR has grown up to so many times.
    core : coils with a core lose in it.
    """

    stated: str = "df"
    law: str = "df"
    grown: float = 10.0
    core: bool = False


@dataclass(frozen=True)
class Board:
    """A board.

    drawn : as its owner typed it. true : as it is, losses of odd laws apart. odd : by part, the law that
    stands in its place. drivers : as they were when they were swept. text : the cards.
    """

    drawn: Network
    true: Network
    odd: Mapping[str, Law]
    drivers: Mapping[str, Invented]
    text: str

    def odd_ohm(self, f: Float) -> dict[str, Complex]:
        """(n,) impedances of the parts that obey a law of their own, ohm."""
        return {name: law.impedance_ohm(f) for name, law in self.odd.items()}


@dataclass(frozen=True)
class Law:
    """A part that no card describes: a capacitor of constant phase, or a coil whose core loses.

    A constant phase is 1 / (Q (jw)^a), tan(delta) = cot(a pi/2), with the capacitance that a meter reads in series at
    1 kHz. A core of sheets lets the field in only so deep: its inductance is L tanh(u)/u, u = sqrt(3 j tan(delta) f /
    1 kHz), tan(delta) its loss angle at 1 kHz while that is small (classical theory of eddy currents in sheets, from
    memory).
    """

    farad: float = 0.0
    tangent: float = 0.0
    henry: float = 0.0
    dcr_ohm: float = 0.0

    def impedance_ohm(self, f: Float) -> Complex:
        """(n,) ohm."""
        w, w1 = 2.0 * math.pi * f, 2.0 * math.pi * METER_HZ
        if self.farad > 0:
            power = 1.0 - 2.0 * math.atan(self.tangent) / math.pi
            size = 1.0 / (w1 * self.farad) / math.sin(power * math.pi / 2.0)
            return np.asarray(size * (1j * w / w1) ** -power)
        u = np.sqrt(3j * self.tangent * f / METER_HZ)
        return np.asarray(self.dcr_ohm + 1j * w * self.henry * np.tanh(u) / u)


class _Cards:
    """Cards, as they are drawn."""

    def __init__(self, random: Random, stated: str) -> None:
        self.random, self.stated, self.lines = random, stated, ["* Invented board, no such loudspeaker exists"]
        self.counts = dict.fromkeys("CLR", 0)
        self.unstated_dcr = random.random() < 0.2

    def _name(self, kind: str) -> str:
        self.counts[kind] += 1
        return f"{kind}{self.counts[kind]}"

    def coil(self, a: str, b: str, henry: float) -> None:
        value = nearest(henry, "E24")
        core = "iron" if value > 2.5e-3 or (value > 1e-3 and self.random.random() < 0.4) else "air"
        dcr = (0.22 if core == "iron" else 0.38) * math.sqrt(value / 1e-3) * self.random.uniform(0.7, 1.3)
        said = "" if self.unstated_dcr else f"dcr={dcr:.2f} "
        self.lines.append(f"{self._name('L')} {a} {b} {value * 1e3:.4g}mH {said}core={core} tol=5%")

    def capacitor(self, a: str, b: str, farad: float) -> None:
        value = nearest(farad, "E24")
        wet = value > 9e-6 or (value > 3e-6 and self.random.random() < 0.5)
        if not wet:
            loss = self.random.choice(["df=0.001@1kHz ", "df=0.004@1kHz ", ""])
            self.lines.append(f"{self._name('C')} {a} {b} {value * 1e6:.4g}uF {loss}kind=film tol=5%")
            return
        stated = self.random.choice(["esr", "df", "nothing"]) if self.stated == "any" else self.stated
        loss = {
            "esr": f"esr={self.random.uniform(0.05, 0.3):.2f} ",
            "df": f"df={self.random.choice([0.03, 0.05, 0.07])}@1kHz ",
            "nothing": "",
        }[stated]
        self.lines.append(f"{self._name('C')} {a} {b} {value * 1e6:.4g}uF {loss}kind=electrolytic tol=10%")

    def resistor(self, a: str, b: str, ohm: float) -> None:
        self.lines.append(f"{self._name('R')} {a} {b} {nearest(ohm, 'E24'):.4g} tol=5%")

    def driver(self, name: str, plus: str) -> None:
        ends = (plus, "0") if self.random.random() < 0.6 else ("0", plus)
        self.lines.append(f"X{name} {ends[0]} {ends[1]} {name}")

    @property
    def size(self) -> int:
        return sum(self.counts.values())


def _low(cards: _Cards, ohm: float, hz: float, order: int, zobel: bool) -> None:
    random = cards.random
    if order == 3:
        cards.coil("in", "a", 0.2387 * ohm / hz * random.uniform(0.8, 1.2))
        cards.capacitor("a", "0", 0.2122 / (hz * ohm) * random.uniform(0.8, 1.2))
        cards.coil("a", "w", 0.0796 * ohm / hz * random.uniform(0.9, 1.3))
    else:
        cards.coil("in", "w", (0.159 if order == 1 else 0.27) * ohm / hz * random.uniform(0.8, 1.4))
    if order == 2:
        foot = "0"
        if random.random() < 0.25:
            foot = "k"
            cards.resistor("k", "0", random.uniform(0.5, 2.2))
        cards.capacitor("w", foot, 0.1 / (hz * ohm) * random.uniform(0.7, 1.5))
    if zobel:
        cards.resistor("w", "z", ohm * random.uniform(0.9, 1.3))
        cards.capacitor("z", "0", random.uniform(0.6, 1.4) * 0.8e-3 / ohm**2)
    cards.driver("woofer", "w")


def _pad(cards: _Cards, ohm: float, kind: int, at: str, to: str) -> None:
    loss = 10.0 ** (-cards.random.uniform(2.0, 6.0) / 20.0)
    if kind == 1:
        cards.resistor(at, to, ohm * (1.0 / loss - 1.0))
    elif kind == 2:
        cards.resistor(at, to, ohm * (1.0 - loss))
        cards.resistor(to, "0", ohm * loss / (1.0 - loss))


def _mid(cards: _Cards, ohm: float, low_hz: float, high_hz: float, order: int, pad: int) -> None:
    random, out = cards.random, "m" if pad == 0 else "n"
    cards.capacitor("in", "b", (0.159 if order == 1 else 0.1) / (low_hz * ohm) * random.uniform(0.8, 1.3))
    if order == 2:
        cards.coil("b", "0", 0.27 * ohm / low_hz * random.uniform(0.8, 1.3))
    cards.coil("b", out, (0.159 if order == 1 else 0.27) * ohm / high_hz * random.uniform(0.8, 1.3))
    if order == 2:
        cards.capacitor(out, "0", 0.1 / (high_hz * ohm) * random.uniform(0.8, 1.3))
    _pad(cards, ohm, pad, out, "m")
    cards.driver("mid", "m")


def _high(cards: _Cards, ohm: float, hz: float, order: int, pad: int, trap_hz: float | None) -> None:
    random, out = cards.random, "t" if pad == 0 else "q"
    if order == 3:
        cards.capacitor("in", "e", 0.1061 / (hz * ohm) * random.uniform(0.8, 1.3))
        cards.coil("e", "0", 0.1194 * ohm / hz * random.uniform(0.8, 1.3))
        cards.capacitor("e", out, 0.3183 / (hz * ohm) * random.uniform(0.8, 1.3))
    else:
        cards.capacitor("in", out, (0.159 if order == 1 else 0.1) / (hz * ohm) * random.uniform(0.8, 1.3))
        if order == 2:
            cards.coil(out, "0", 0.27 * ohm / hz * random.uniform(0.7, 1.3))
    _pad(cards, ohm, pad, out, "t")
    if trap_hz is not None:
        farad = random.uniform(12e-6, 40e-6)
        cards.resistor("t", "x", ohm * random.uniform(0.9, 1.3))
        cards.coil("x", "y", 1.0 / ((2.0 * math.pi * trap_hz) ** 2 * farad))
        cards.capacitor("y", "0", farad)
    cards.driver("tweeter", "t")


def draw_board(random: Random, ageing: Ageing, parts: tuple[int, int] = (FEWEST, MOST)) -> Board:
    """A board whose size lies between two numbers, both included."""
    while True:
        three = bool(random.random() < 0.45)
        treble = random.choice(len(TWEETERS) if three else len(TWEETERS) + len(HORNS))
        drivers = {
            "woofer": WOOFERS[random.choice(len(WOOFERS))],
            "tweeter": (*TWEETERS, *HORNS)[treble],
        }
        if three:
            drivers["mid"] = MIDS[random.choice(len(MIDS))]
        cards = _Cards(random, ageing.stated)
        ohm = {name: driver.coil.re_ohm * 1.2 for name, driver in drivers.items()}
        top_hz = float(np.clip(drivers["tweeter"].fs_hz * random.uniform(1.8, 3.0), 900.0, 5500.0))
        bottom_hz = random.uniform(250.0, 800.0) if three else top_hz * random.uniform(0.8, 1.1)
        _low(cards, ohm["woofer"], bottom_hz, int(random.integers(1, 4)), bool(random.random() < 0.35))
        if three:
            _mid(cards, ohm["mid"], bottom_hz, top_hz, int(random.integers(1, 3)), int(random.integers(0, 3)))
        trap = drivers["tweeter"].fs_hz if random.random() < 0.15 else None
        _high(cards, ohm["tweeter"], top_hz, int(random.integers(1, 4)), int(random.integers(0, 3)), trap)
        if parts[0] <= cards.size <= parts[1]:
            text = "\n".join((*cards.lines, ".end", ""))
            drawn = build_network(parse_netlist(text))
            true, odd = _aged(random, drawn, ageing)
            return Board(drawn, true, odd, drivers, text)


def _moved(random: Random, part: Resistor | Inductor | Capacitor) -> float:
    """Factor between the mark and today: tolerance and drift of its kind; one in sixteen was exchanged."""
    if random.random() < 1.0 / 16.0:
        return math.exp(random.uniform(-0.45, 0.45))
    if isinstance(part, Capacitor) and part.kind == "electrolytic":
        return math.exp(np.clip(random.normal(0.09, 0.14), -0.25, 0.45))
    if isinstance(part, Resistor):
        return math.exp(random.normal(0.02, 0.04))
    return math.exp(random.normal(0.0, 0.03))


def _aged(random: Random, drawn: Network, ageing: Ageing) -> tuple[Network, dict[str, Law]]:
    parts, odd = [], {}
    for part in drawn.parts:
        factor = _moved(random, part)
        if isinstance(part, Resistor):
            new = replace(part, ohm=part.ohm * factor)
        elif isinstance(part, Inductor):
            iron = part.core == "iron"
            wire = part.dcr_ohm or (0.22 if iron else 0.38) * math.sqrt(part.henry / 1e-3) * random.uniform(0.7, 1.3)
            new = replace(part, henry=part.henry * factor, dcr_ohm=wire * random.uniform(0.92, 1.1))
            if iron and ageing.core:
                tangent = random.uniform(0.01, 0.04)
                odd[part.name] = Law(henry=new.henry, dcr_ohm=new.dcr_ohm, tangent=tangent)
        else:
            new = _aged_capacitor(random, replace(part, farad=part.farad * factor), ageing, odd)
        parts.append(new)
    return replace(drawn, parts=tuple(parts)), odd


def _aged_capacitor(random: Random, part: Capacitor, ageing: Ageing, odd: dict[str, Law]) -> Capacitor:
    if part.kind != "electrolytic":
        return replace(part, dissipation_factor=random.uniform(0.0005, 0.005), esr_ohm=random.uniform(0.0, 0.02))
    law = random.choice(["esr", "df", "phase"]) if ageing.law == "any" else ageing.law
    if law == "esr":
        new = part.esr_ohm or random.uniform(0.05, 0.3)
        grown = math.exp(random.uniform(0.0, math.log(ageing.grown)))
        return replace(part, esr_ohm=new * grown, dissipation_factor=0.0)
    tangent = random.uniform(0.02, 0.15)
    if law == "phase":
        odd[part.name] = Law(farad=part.farad, tangent=tangent)
    return replace(part, esr_ohm=0.0, dissipation_factor=tangent)
