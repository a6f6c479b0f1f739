"""From cards to a Network: values, units, ranges and losses, each fault with its line."""

from __future__ import annotations

import re
from collections import Counter

import numpy as np

from xover.errors import InputError, nearest_word
from xover.files.netlist import Card, Netlist
from xover.network.faults import topology_faults
from xover.network.losses import fit_loss
from xover.network.network import GROUND, Network
from xover.network.parts import Capacitor, Channel, Coupling, DriverCard, Inductor, Part, Resistor
from xover.quantity import PART_RANGES, Kind, format_quantity, parse_fraction, parse_quantity

_COMMON = ("tol", "kind", "unusual", "evidence", "note")
KNOWN_FIELDS = {
    "R": (*_COMMON, "watts", "cold", "hot"),
    "L": (*_COMMON, "dcr", "core", "wire", "amps"),
    "C": (*_COMMON, "esr", "df", "loss", "volts"),
    "K": ("note", "evidence"),
    "X": ("note",),
    "V": (),
}
# The blueprint's ranges: outside of them a value is a slip of the pen unless the line says otherwise.
_KINDS = {"R": Kind.RESISTANCE, "L": Kind.INDUCTANCE, "C": Kind.CAPACITANCE}
_RANGE = {letter: (*PART_RANGES[kind], kind) for letter, kind in _KINDS.items()}


def build_network(netlist: Netlist) -> Network:
    """Understand a netlist's cards and check that the network has one solution.

    Raises
    ------
    InputError
        With file and line: a value, unit, range or field at fault; a floating node, a shorted
        channel, an unconnected part, a driver bound twice.
    """
    parts: list[Part] = []
    couplings: list[Coupling] = []
    channels: list[Channel] = []
    bound = [c for c in netlist.cards if c.letter == "X"]
    times = Counter(c.value for c in bound)
    drivers: list[DriverCard] = []
    for card in netlist.cards:
        try:
            _check_fields(card)
            if card.letter == "K":
                couplings.append(_coupling(card))
            elif card.letter == "V":
                channels.append(Channel(card.name[1:] or card.name, card.nodes[0], card.nodes[1], card.line))
            elif card.letter == "X":
                drivers.append(_driver(card, times))
            else:
                parts.append(build_part(card))
        except InputError as error:
            raise error.at(netlist.path, card.line) from None
    if not channels:
        channels.append(Channel("in", "in", GROUND))
    if not drivers:
        raise InputError("the network has no driver", "add a card such as 'Xlow w 0 woofer'", netlist.path)
    network = Network(
        netlist.title, tuple(parts), tuple(drivers), tuple(channels), tuple(couplings), netlist.notes, netlist.path
    )
    fault = next(topology_faults(network), None)
    if fault is not None:
        raise InputError(fault.problem, fault.remedy, netlist.path, fault.line)
    return network


def _check_fields(card: Card) -> None:
    known = KNOWN_FIELDS[card.letter]
    for key in card.fields:
        if key not in known:
            near = nearest_word(key, known)
            remedy = f"did you mean {near}?" if near else "known are " + (", ".join(known) or "none")
            raise InputError(f"{card.name} has the unknown field '{key[:40]}'", remedy)
    tolerance = card.fields.get("tol")
    if tolerance is not None and not 0 <= parse_fraction(tolerance) <= 1:
        raise InputError(f"{card.name} has a tolerance of {tolerance}", "write it as tol=10% (0 to 100 %)")
    for key, kind in (("watts", Kind.POWER), ("volts", Kind.VOLTAGE)):
        if key in card.fields and not parse_quantity(card.fields[key], kind) > 0:
            raise InputError(f"{card.name} has {key}={card.fields[key]}", f"give a {key} above 0, or leave it out")
    if card.fields.get("unusual", "yes").lower() != "yes":
        raise InputError(f"{card.name} has unusual={card.fields['unusual']}", "write unusual=yes, or leave it out")
    if card.fields.get("evidence", "measured") not in ("measured", "marked", "datasheet", "assumed", "inferred"):
        raise InputError(
            f"{card.name} has evidence={card.fields['evidence']}",
            "write measured, marked, datasheet, assumed or inferred",
        )


def _value(card: Card) -> float:
    low, high, kind = _RANGE[card.letter]
    unusual = "unusual" in card.fields
    if not card.value:
        raise InputError(f"{card.name} has no value", f"add a {kind.word} after the nodes")
    try:
        value = parse_quantity(card.value, kind)
    except InputError as error:
        raise InputError(f"{card.name}: {error.problem}", error.remedy) from None
    if value < 0 or (value == 0 and card.letter != "R"):
        raise InputError(f"{card.name} is {card.value}", f"a {kind.word} is above zero")
    if not unusual and not low <= value <= high:
        raise InputError(
            f"{card.name} is {format_quantity(value, kind)}, "
            f"outside {format_quantity(low, kind)} to {format_quantity(high, kind)}",
            "correct it, or add unusual=yes to the line if it is meant",
        )
    return value


def _field(card: Card, key: str, kind: Kind, default: float = 0.0) -> float:
    if key not in card.fields:
        return default
    try:
        value = parse_quantity(card.fields[key], kind)
    except InputError as error:
        raise InputError(f"{card.name}, {key}: {error.problem}", error.remedy) from None
    if value < 0:
        raise InputError(f"{card.name} has {key}={card.fields[key]}", f"{key} is zero or more")
    return value


def build_part(card: Card) -> Part:
    """A resistor, coil or capacitor from its card. Raises InputError."""
    fields = tuple(card.fields.items())
    a, b = card.nodes
    if card.letter == "R":
        return _resistor(card, fields)
    if card.letter == "L":
        return Inductor(
            card.name, a, b, _value(card), _field(card, "dcr", Kind.RESISTANCE), line=card.line, fields=fields
        )
    farad = _value(card)
    esr, loss = _capacitor_loss(card, farad)
    return Capacitor(card.name, a, b, farad, esr, loss, line=card.line, fields=fields)


def _resistor(card: Card, fields: tuple[tuple[str, str], ...]) -> Resistor:
    a, b = card.nodes
    if card.fields.get("kind", "").lower() != "lamp":
        for key in ("cold", "hot"):
            if key in card.fields:
                raise InputError(f"{card.name} has {key}= but is no lamp", "add kind=lamp, or remove it")
        return Resistor(card.name, a, b, _value(card), line=card.line, fields=fields)
    if "cold" not in card.fields and not card.value:
        raise InputError(f"{card.name} is a lamp without its cold resistance", "add cold=1 (ohm, at rest)")
    cold = _field(card, "cold", Kind.RESISTANCE, _value(card) if card.value else 0.0)
    hot = _field(card, "hot", Kind.RESISTANCE) if "hot" in card.fields else None
    if hot is not None and hot < cold:
        raise InputError(f"{card.name} is {hot:g} ohm hot and {cold:g} ohm cold", "swap cold and hot")
    return Resistor(card.name, a, b, cold, True, hot, line=card.line, fields=fields)


def _capacitor_loss(card: Card, farad: float) -> tuple[float, float]:
    """(fixed series resistance, dissipation factor) from esr=, df=X@F and loss=R@F,R@F."""
    esr = _field(card, "esr", Kind.RESISTANCE)
    factor = 0.0
    if "df" in card.fields:
        text, _, at = card.fields["df"].partition("@")
        factor = parse_fraction(text)
        if at and not parse_quantity(at, Kind.FREQUENCY) > 0:
            raise InputError(f"{card.name} has its df at {at}", "write df=0.06@1kHz")
        if not 0 <= factor <= 2:
            raise InputError(
                f"{card.name} has df={text}", "a dissipation factor lies between 0 and 2; write 6 % as 0.06"
            )
    if "loss" in card.fields:
        if "df" in card.fields or "esr" in card.fields:
            raise InputError(f"{card.name} has loss= beside df= or esr=", "keep loss= alone: it holds both")
        fit = fit_loss(*_readings(card), farad)
        return fit.fixed_ohm, fit.dissipation_factor
    return esr, factor


def _readings(card: Card) -> tuple[np.ndarray, np.ndarray]:
    """Series resistance readings `1.7@1kHz,0.28@10kHz`; a decimal comma inside a reading is understood."""
    text = card.fields["loss"]
    found = re.findall(r"([^@]+)@([^,@]+)(?:,|$)", text)
    if not found or "".join(f"{r}@{f}," for r, f in found).rstrip(",") != text:
        raise InputError(f"{card.name} has loss={text[:40]}", "write readings as loss=1.7@1kHz,0.28@10kHz")
    ohms = np.array([parse_quantity(r, Kind.RESISTANCE) for r, _ in found])
    at = np.array([parse_quantity(f, Kind.FREQUENCY) for _, f in found])
    if np.any(ohms < 0) or np.any(at <= 0) or len(set(at.tolist())) != len(at):
        raise InputError(
            f"{card.name} has loss={text[:40]}",
            "give series resistances of zero or more at different frequencies above 0 Hz",
        )
    return ohms, at


def _coupling(card: Card) -> Coupling:
    k = parse_quantity(card.value, Kind.PLAIN) if card.value else float("nan")
    if not -1 <= k <= 1:
        raise InputError(
            f"{card.name} has the coupling '{card.value}'", "write a number from -1 to 1, such as K1 L1 L2 0.02"
        )
    return Coupling(card.name, card.nodes[0], card.nodes[1], k, card.line)


def _driver(card: Card, times: Counter[str]) -> DriverCard:
    if not card.value:
        raise InputError(f"{card.name} names no driver", "write it as 'Xhigh plus minus tweeter'")
    key = card.value if times[card.value] == 1 else card.name[1:] or card.name
    return DriverCard(card.name, card.nodes[0], card.nodes[1], card.value, key, card.line)
