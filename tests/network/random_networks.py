"""Random but valid networks of 3 to 12 parts and two drivers, for property tests.

The structure is drawn by a `random.Random`; hypothesis can stand in for it (`st.randoms`), so that a
failure shrinks, and a plain `random.Random(seed)` gives a repeatable stock.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from random import Random

import numpy as np
from numpy.typing import NDArray

from xover.quantity import computed_value

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

# Smallest and largest value drawn, in ohm, henry, farad; scaling by up to 4 stays inside what a netlist may hold.
RANGES = {"R": (0.5, 100.0), "L": (0.1e-3, 10e-3), "C": (1e-6, 100e-6)}


@dataclass(frozen=True)
class Part:
    """An R, L or C with its loss: `loss_ohm` is a coil's DCR or a capacitor's ESR, `df` a dissipation factor."""

    name: str
    plus: str
    minus: str
    value: float
    loss_ohm: float = 0.0
    df: float = 0.0

    @property
    def letter(self) -> str:
        return self.name[0]

    def card(self) -> str:
        text = f"{self.name} {self.plus} {self.minus} {computed_value(self.value)}"
        if self.letter == "L" and self.loss_ohm:
            text += f" dcr={self.loss_ohm!r}"
        if self.letter == "C" and self.loss_ohm:
            text += f" esr={self.loss_ohm!r}"
        return text + (f" df={self.df!r}@1kHz" if self.df else "")

    def resistance_ohm(self, frequency_hz: Real) -> Real:
        """What turns current into heat in the part: series resistance (n,)."""
        if self.letter == "R":
            return np.full(frequency_hz.shape, self.value)
        falling = self.df / (2 * math.pi * frequency_hz * self.value) if self.df else 0.0
        return np.asarray(self.loss_ohm + falling + np.zeros(frequency_hz.shape))


@dataclass(frozen=True)
class Driver:
    """A driver card and what stands behind it: Re + Le + (Res || Lces || Cmes)."""

    card_name: str
    plus: str
    minus: str
    name: str
    re_ohm: float
    le_h: float
    res_ohm: float
    fs_hz: float
    q: float

    def impedance_ohm(self, frequency_hz: Real) -> Complex:
        jw, ws = 2j * math.pi * frequency_hz, 2 * math.pi * self.fs_hz
        capacitance = self.q / (ws * self.res_ohm)
        motion = 1 / (1 / self.res_ohm + jw * capacitance + ws * ws * capacitance / jw)
        return np.asarray(self.re_ohm + jw * self.le_h + motion)


@dataclass(frozen=True)
class RandomNetwork:
    """Parts, drivers and couplings, writable as a netlist and scalable."""

    parts: tuple[Part, ...]
    drivers: tuple[Driver, ...]
    couplings: tuple[tuple[str, str, float], ...] = field(default=())

    def text(self, *extra: str) -> str:
        """The netlist, with further cards at its end if wanted."""
        cards = [part.card() for part in self.parts]
        cards += [f"{d.card_name} {d.plus} {d.minus} {d.name}" for d in self.drivers]
        cards += [f"K{k} {a} {b} {value!r}" for k, (a, b, value) in enumerate(self.couplings, start=1)]
        return "\n".join(["* random network", *cards, *extra, ".end"])

    def impedances(self, frequency_hz: Real) -> Mapping[str, Complex]:
        return {d.name: d.impedance_ohm(frequency_hz) for d in self.drivers}

    def impedance_scaled(self, k: float) -> RandomNetwork:
        """R, L and all series losses times k, C over k; dissipation factors and couplings stay."""
        return replace(self, parts=tuple(_scaled(part, k, 1.0) for part in self.parts))

    def frequency_scaled(self, k: float) -> RandomNetwork:
        """L and C over k: does at k f what the network did at f."""
        return replace(self, parts=tuple(_scaled(part, 1.0, k) for part in self.parts))


def _scaled(part: Part, ohms: float, hertz: float) -> Part:
    factor = {"R": ohms, "L": ohms / hertz, "C": 1 / (ohms * hertz)}[part.letter]
    return replace(part, value=part.value * factor, loss_ohm=part.loss_ohm * ohms)


class _Links:
    """Where a zero-ohm link may go: it shorts neither the amplifier nor a driver, and closes no ring of links.

    Links stay inside one tree, so that the woofer, which bridges the trees, always has current.
    """

    def __init__(self, tree_of: Mapping[str, str], drivers: tuple[Driver, ...]) -> None:
        self._tree_of = tree_of
        self._drivers = drivers
        self._parent: dict[str, str] = {}

    def _root(self, node: str) -> str:
        while (parent := self._parent.get(node, node)) != node:
            node = parent
        return node

    def join(self, a: str, b: str) -> bool:
        """Join two nodes if that is allowed."""
        ends = {self._root(a), self._root(b)}
        shorted = any({self._root(d.plus), self._root(d.minus)} == ends for d in self._drivers)
        if len(ends) < 2 or shorted or self._tree_of[a] != self._tree_of[b]:
            return False
        self._parent[self._root(a)] = self._root(b)
        return True


def _value(random: Random, letter: str) -> float:
    low, high = RANGES[letter]
    # Four digits: a value that a person could have typed, and short text when a test fails.
    return float(f"{low * (high / low) ** random.random():.4g}")


def random_network(
    random: Random, *, links: bool = True, couplings: bool = True, lossless: bool = True
) -> RandomNetwork:
    """Draw a network of 3 to 12 parts, a woofer and a tweeter.

    Parameters
    ----------
    random : source of choices.
    links : whether zero-ohm resistors may occur.
    couplings : whether two coils may be coupled.
    lossless : whether coils and capacitors without any loss may occur.
    """
    inner = [f"n{k}" for k in range(random.randint(1, 4))]
    nodes = ["in", "0", *inner]
    # Two trees, one growing from the amplifier's plus and one from its minus: no node is left in the air.
    tree = {"in": ["in"], "0": ["0"]}
    ends: list[tuple[str, str]] = []
    for node in inner:
        root = random.choice(["in", "0"])
        ends.append((random.choice(tree[root]), node))
        tree[root].append(node)
    # The woofer bridges the trees, so current can flow; the tweeter may sit anywhere, even where none does.
    woofer = [random.choice(tree["in"]), random.choice(tree["0"])]
    random.shuffle(woofer)
    tweeter = random.sample(nodes, 2)
    # A second part at each inner node, then more anywhere.
    for node in inner:
        ends.append((node, random.choice([n for n in nodes if n != node])))
    for _ in range(random.randint(max(3, len(ends)), 12) - len(ends)):
        a, b = random.sample(nodes, 2)
        ends.append((a, b))
    drivers = (
        _driver(random, "Xlow", woofer, "woofer", (3.0, 8.0), (0.1e-3, 2e-3), (25.0, 90.0)),
        _driver(random, "Xhigh", tweeter, "tweeter", (3.0, 8.0), (0.01e-3, 0.1e-3), (500.0, 1800.0)),
    )
    room = _Links({node: root for root, members in tree.items() for node in members}, drivers) if links else None
    counts = dict.fromkeys("RLC", 0)
    parts = []
    for plus, minus in ends:
        letter = random.choice("RLC")
        counts[letter] += 1
        parts.append(_part(random, f"{letter}{counts[letter]}", plus, minus, room, lossless))
    coils = [part.name for part in parts if part.letter == "L"]
    coupled: tuple[tuple[str, str, float], ...] = ()
    if couplings and len(coils) >= 2 and random.random() < 0.6:
        first, second = random.sample(coils, 2)
        coupled = ((first, second, random.choice([0.01, 0.05, 0.3, 0.9, 0.999])),)
    return RandomNetwork(tuple(parts), drivers, coupled)


def _part(random: Random, name: str, plus: str, minus: str, room: _Links | None, lossless: bool) -> Part:
    letter = name[0]
    if letter == "R" and room is not None and random.random() < 0.3 and room.join(plus, minus):
        return Part(name, plus, minus, 0.0)
    losses = [0.0, 0.05, 0.4, 1.5] if lossless else [0.05, 0.4, 1.5]
    loss = random.choice(losses) if letter != "R" else 0.0
    df = random.choice([0.0, 0.0, 0.001, 0.06]) if letter == "C" else 0.0
    return Part(name, plus, minus, _value(random, letter), loss, df)


def _driver(
    random: Random,
    card: str,
    ends: list[str],
    name: str,
    re: tuple[float, float],
    le: tuple[float, float],
    fs: tuple[float, float],
) -> Driver:
    plus, minus = ends

    def between(low: float, high: float) -> float:
        return float(f"{low + (high - low) * random.random():.4g}")

    return Driver(card, plus, minus, name, between(*re), between(*le), between(5, 60), between(*fs), between(0.7, 6))
