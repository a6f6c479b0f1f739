"""A network as cards of SPICE3: parts with their losses, channels, and the drivers as subcircuits."""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.driver.model import DriverModel
from xover.network import Capacitor, Inductor, Network, Resistor
from xover.network.loss_cells import FallingResistance, fewest_pairs
from xover.network.network import GROUND, Groups
from xover.quantity import spice_value

FROM_HZ: Final = 20.0
TO_HZ: Final = 20e3
LOSS_ERROR: Final = 1e-4
"""A dissipation factor is written so well that the capacitor's impedance is right to this share."""
LOOP_OHM: Final = 1e-9
"""Breaks a loop of coils without resistance and sources, in which a simulator finds no DC current."""
TIE_OHM: Final = 1e12
"""Ties a node that hangs on capacitors alone to ground, where a simulator finds no DC voltage."""
READING_OHM: Final = 1e3
COMMENT_WIDTH: Final = 78
_UNSAFE: Final = re.compile(r"[^A-Za-z0-9_]")
_PLAIN_NODE: Final = re.compile(r"[a-z][a-z0-9_]*|[1-9][0-9]*")


@dataclass(frozen=True)
class SpiceLoss:
    """How a capacitor's dissipation factor was written.

    Attributes
    ----------
    part : the capacitor's name.
    pairs : pairs of cells that follow 1/f; 0 where it is one fixed resistor.
    fixed_ohm : that resistor; None with pairs.
    worst_error : largest error of the capacitor's impedance from 20 Hz to 20 kHz, relative.
    worst_at_hz : where.
    """

    part: str
    dissipation_factor: float
    pairs: int
    fixed_ohm: float | None
    worst_error: float
    worst_at_hz: float


@dataclass(frozen=True)
class SpiceCards:
    """Cards of a network and what was done to write them.

    Attributes
    ----------
    main : cards of the circuit, channels first. subcircuits : definitions that they need.
    drive : node that carries each driver's voltage, by key. channel : name of the source, by channel.
    losses : the dissipation factors. remarks : what was added or turned, one sentence each.
    renamed : names that had to change, old to new, under "parts", "nodes" and "drivers".
    """

    main: tuple[str, ...]
    subcircuits: tuple[str, ...]
    drive: Mapping[str, str]
    channel: Mapping[str, str]
    losses: tuple[SpiceLoss, ...]
    remarks: tuple[str, ...]
    renamed: Mapping[str, Mapping[str, str]]


def network_cards(network: Network, models: Mapping[str, DriverModel], loss_at_hz: float | None = None) -> SpiceCards:
    """Write a network.

    Parameters
    ----------
    models : electrical model of each driver, by its name.
    loss_at_hz : write each dissipation factor as the fixed resistance that it has there; None: as pairs of cells
        that follow it from 20 Hz to 20 kHz, for small-signal analysis.
    """
    return _Writer(network, models, loss_at_hz).write()


class _Writer:
    """Collects cards; the names of the user's are given first, so that they stay as they are."""

    def __init__(self, network: Network, models: Mapping[str, DriverModel], loss_at_hz: float | None) -> None:
        self.network, self.models, self.loss_at_hz = network, models, loss_at_hz
        elements = (*network.parts, *network.drivers)
        ends = [n for x in (*network.channels,) for n in (x.plus, x.minus)] + [n for x in elements for n in (x.a, x.b)]
        self.nodes = Nodes(ends)
        self.names, self.circuits = Names(), Names()
        own = [*elements, *network.couplings]
        self.name = {x.name: self.names.give(x.name, x.name[0]) for x in own}
        self.source = {c.name: self.names.give(f"V{c.name}", "V") for c in network.channels}
        self.circuit = {name: self.circuits.give(name) for name in network.driver_names}
        self.main: list[str] = []
        self.sub: list[str] = []
        self.losses: list[SpiceLoss] = []
        self.remarks: list[str] = []

    def write(self) -> SpiceCards:
        for channel in self.network.channels:
            ends = f"{self.nodes[channel.plus]} {self.nodes[channel.minus]}"
            self.main.append(f"{self.source[channel.name]} {ends} DC 0 AC 1")
        looped, sign = _looping_coils(self.network), _coil_signs(self.network)
        for part in self.network.parts:
            if isinstance(part, Inductor):
                self._coil(part, part.name in looped, sign[part.name.lower()])
            elif isinstance(part, Capacitor):
                self._capacitor(part)
            else:
                self._resistor(part)
        self._couplings(sign)
        for card in self.network.drivers:
            ends = f"{self.nodes[card.plus]} {self.nodes[card.minus]}"
            self.main.append(f"{self.name[card.name]} {ends} {self.circuit[card.driver]}")
        self._ties()
        drive = self._readings()
        for name in self.network.driver_names:
            self.sub += _driver_circuit(self.circuit[name], self.models[name])
        given = {"parts": self.name, "drivers": self.circuit}
        renamed = {what: {old: new for old, new in names.items() if old != new} for what, names in given.items()}
        return SpiceCards(
            tuple(self.main),
            tuple(self.sub),
            drive,
            self.source,
            tuple(self.losses),
            tuple(self.remarks),
            renamed | {"nodes": self.nodes.renamed()},
        )

    def _resistor(self, part: Resistor) -> None:
        ends = f"{self.nodes[part.a]} {self.nodes[part.b]}"
        if part.ohm == 0:
            link = self.names.give(f"V{self.name[part.name]}", "V")
            self.main.append(f"{link} {ends} DC 0")
            self.remarks.append(f"{part.name} is 0 ohm, written as the source {link} of 0 V: a wire")
        else:
            self.main.append(f"{self.name[part.name]} {ends} {spice_value(part.ohm)}")

    def _coil(self, part: Inductor, looped: bool, sign: int) -> None:
        name = self.name[part.name]
        a, b = self.nodes[part.a], self.nodes[part.b]
        ohm = part.dcr_ohm or (LOOP_OHM if looped else 0.0)
        inner = self.nodes.new(f"{name}_r") if ohm else b
        first, second = (a, inner) if sign > 0 else (inner, a)
        self.main.append(f"{name} {first} {second} {spice_value(part.henry)}")
        if ohm:
            self.main.append(f"{self.names.give(f'R{name}', 'R')} {inner} {b} {spice_value(ohm)}")
        if looped:
            self.remarks.append(f"{part.name} has {LOOP_OHM:g} ohm in series: without any, DC would have no one answer")
        if sign < 0:
            self.remarks.append(f"{part.name} is written from its second node to its first: its coupling is negative")

    def _capacitor(self, part: Capacitor) -> None:
        name = self.name[part.name]
        a, b = self.nodes[part.a], self.nodes[part.b]
        esr = part.esr_ohm
        pairs: FallingResistance | None = None
        if part.dissipation_factor:
            pairs, loss = _loss(part, self.loss_at_hz)
            self.losses.append(loss)
            esr += loss.fixed_ohm or 0.0
        after = self.nodes.new(f"{name}_c") if esr or pairs else b
        self.main.append(f"{name} {a} {after} {spice_value(part.farad)}")
        if esr:
            end = self.nodes.new(f"{name}_r") if pairs else b
            self.main.append(f"{self.names.give(f'R{name}', 'R')} {after} {end} {spice_value(esr)}")
            after = end
        if pairs:
            circuit = self.circuits.give(f"loss_{name}")
            self.main.append(f"{self.names.give(f'Xloss_{name}', 'X')} {after} {b} {circuit}")
            self.sub += _loss_circuit(circuit, part, pairs)

    def _couplings(self, sign: Mapping[str, int]) -> None:
        for coupling in self.network.couplings:
            one, other = (self.network.part(n).name for n in (coupling.first, coupling.second))
            k = coupling.k * sign[one.lower()] * sign[other.lower()]
            if k == 0:
                self.remarks.append(f"{coupling.name} is 0 and is left out")
                continue
            self.main.append(f"{self.name[coupling.name]} {self.name[one]} {self.name[other]} {spice_value(k)}")
            if k < 0:
                self.remarks.append(
                    f"{coupling.name} stays negative: no turn of the coils makes all couplings positive"
                )

    def _ties(self) -> None:
        """Every node needs a way to ground: an island one wire, a node behind capacitors a very large resistor."""
        network = self.network
        elements = [(x.a, x.b) for x in (*network.parts, *network.drivers)]
        sources = [(c.plus, c.minus) for c in network.channels]
        islands, direct = Groups([GROUND]), Groups([GROUND])
        for a, b in (*sources, *elements):
            islands.join(a, b)
        for channel in network.channels:
            if islands.join(GROUND, channel.minus):
                wire = self.names.give("Vground", "V")
                self.main.append(f"{wire} {self.nodes[channel.minus]} 0 DC 0")
                self.remarks.append(f"nothing joined channel {channel.name} to ground: {wire} does")
                direct.join(GROUND, channel.minus)
        blocked = {p.name for p in network.capacitors}
        for a, b in sources:
            direct.join(a, b)
        for x in (*network.parts, *network.drivers):
            if x.name not in blocked:
                direct.join(x.a, x.b)
        for node in dict.fromkeys(n for pair in elements for n in pair):
            if direct.join(GROUND, node):
                name = self.names.give(f"Rtie_{node}", "R")
                self.main.append(f"{name} {self.nodes[node]} 0 {spice_value(TIE_OHM)}")
                self.remarks.append(
                    f"node {node} hangs on capacitors alone: {name} of {TIE_OHM:g} ohm gives it a DC voltage"
                )

    def _readings(self) -> dict[str, str]:
        """A node to ground for the voltage of each driver, polarity included."""
        drive = {}
        for card in self.network.drivers:
            node = self.nodes.new(f"drive_{card.key}")
            ends = f"{self.nodes[card.plus]} {self.nodes[card.minus]}"
            self.main.append(f"{self.names.give(f'E{node}', 'E')} {node} 0 {ends} 1")
            self.main.append(f"{self.names.give(f'R{node}', 'R')} {node} 0 {spice_value(READING_OHM)}")
            drive[card.key] = node
        return drive


def _driver_circuit(name: str, model: DriverModel) -> list[str]:
    cards = [f"{e.name} {a} {b} {spice_value(e.value)}" for e, a, b in model.wired("plus", "minus", str)]
    return [f".subckt {name} plus minus", *cards, f".ends {name}"]


def _loss(part: Capacitor, at_hz: float | None) -> tuple[FallingResistance | None, SpiceLoss]:
    df, scale = part.dissipation_factor, part.dissipation_factor / (2.0 * math.pi * part.farad)
    f = np.geomspace(FROM_HZ, TO_HZ, 2001)
    whole = part.impedance_ohm(2.0 * np.pi * f)
    if at_hz is not None:
        written, pairs, fixed = np.full(f.shape, scale / at_hz), None, scale / at_hz
    else:
        pairs, fixed = fewest_pairs(FROM_HZ, TO_HZ, LOSS_ERROR / df), None
        written = scale * pairs.at(f)
    error = np.abs((written - scale / f) / whole)
    worst = int(np.argmax(error))
    count = 0 if pairs is None else pairs.corner_hz.size
    return pairs, SpiceLoss(part.name, df, count, fixed, float(error[worst]), float(f[worst]))


def _loss_circuit(name: str, part: Capacitor, pairs: FallingResistance) -> list[str]:
    scale = part.dissipation_factor / (2.0 * math.pi * part.farad)
    cards, last, count = [], 2 * pairs.corner_hz.size, 0
    for share, corner in zip(pairs.share_s, pairs.corner_hz, strict=True):
        ohm = scale * float(share) / 2.0
        farad = 1.0 / (2.0 * math.pi * float(corner) * ohm)
        for sign in (1.0, -1.0):
            count += 1
            ends = f"{'a' if count == 1 else count - 1} {'b' if count == last else count}"
            cards += [f"R{count} {ends} {spice_value(ohm)}", f"C{count} {ends} {spice_value(sign * farad)}"]
    note = comment(f"{part.dissipation_factor:.4g}/(2 pi f C) of {part.name}, {FROM_HZ:g} Hz to {TO_HZ:g} Hz")
    return [*note, f".subckt {name} a b", *cards, f".ends {name}"]


def _looping_coils(network: Network) -> frozenset[str]:
    """Coils without resistance that close a loop with sources, wires and others of their kind."""
    shorts = Groups()
    for channel in network.channels:
        shorts.join(channel.plus, channel.minus)
    for part in network.resistors:
        if part.ohm == 0:
            shorts.join(part.a, part.b)
    return frozenset(p.name for p in network.coils if p.dcr_ohm == 0 and not shorts.join(p.a, p.b))


def _coil_signs(network: Network) -> dict[str, int]:
    """Which coils to turn round so that couplings become positive, as SPICE3 asks; by name in lower case."""
    sign: dict[str, int] = {}
    for coil in network.coils:
        waiting = [] if coil.name.lower() in sign else [coil.name.lower()]
        sign.setdefault(coil.name.lower(), 1)
        while waiting:
            here = waiting.pop()
            for coupling in network.couplings:
                pair = (coupling.first.lower(), coupling.second.lower())
                if here in pair and coupling.k != 0:
                    there = pair[1] if here == pair[0] else pair[0]
                    if there not in sign:
                        sign[there] = sign[here] if coupling.k > 0 else -sign[here]
                        waiting.append(there)
    return sign


class Names:
    """One space of names: gives each wish a name of ASCII letters, digits and _ that nobody else has.

    Two names that differ in case only are one name to SPICE, and are told apart here.
    """

    def __init__(self) -> None:
        self._taken: set[str] = set()

    def give(self, wish: str, start: str = "") -> str:
        """A name as near to the wish as may be, beginning with `start`, whatever its case.

        Parameters
        ----------
        start : letters that must stand first; they are added where the wish does not begin with them. Empty: a
            letter, and an n is added where there is none.
        """
        name = _UNSAFE.sub("_", wish)
        if not name.lower().startswith(start.lower()):
            name = start + name
        if not start and not name[:1].isalpha():
            name = "n" + name
        free, number = name, 1
        while free.lower() in self._taken:
            number += 1
            free = f"{name}_{number}"
        self._taken.add(free.lower())
        return free


class Nodes:
    """Node names of one circuit: 0 stays ground, plain names stay as they are."""

    def __init__(self, wanted: list[str]) -> None:
        self._names = Names()
        plain = [n for n in dict.fromkeys(wanted) if n != "0" and _PLAIN_NODE.fullmatch(n)]
        self._given = {"0": "0"} | {n: self._keep(n) for n in plain}
        for node in wanted:
            if node not in self._given:
                self._given[node] = self._names.give(node)

    def __getitem__(self, node: str) -> str:
        return self._given[node]

    def new(self, wish: str) -> str:
        """A node of our own."""
        return self._names.give(wish)

    def renamed(self) -> dict[str, str]:
        """Nodes whose names had to change."""
        return {old: new for old, new in self._given.items() if old != new}

    def _keep(self, node: str) -> str:
        return self._names.give(node, node)  # a number stays a number


def comment(text: str = "", hang: str = "") -> list[str]:
    """Comment lines that hold a text and nothing else.

    A star, a blank, then printable ASCII alone: no line break can begin a card, and no text can follow the star
    directly, which some simulators would take for a command.

    Parameters
    ----------
    hang : what stands before the second and further lines of a long text.
    """
    words = one_line(text)
    lines = textwrap.wrap(words, COMMENT_WIDTH, subsequent_indent=hang, break_on_hyphens=False) or [""]
    return [f"* {line}".rstrip() for line in lines]


def one_line(text: str) -> str:
    """Printable ASCII on one line; what ASCII lacks becomes a question mark, control characters blanks."""
    shown = "".join(c if c.isprintable() else " " for c in text)
    return " ".join(shown.encode("ascii", "replace").decode("ascii").split())
