"""Cards to parts and back: a netlist's cards are typed here, once, and here parts become cards again."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

import numpy as np

from xover.curve import Float
from xover.errors import InputError, nearest_word
from xover.files.netlist import Card, Netlist
from xover.network.faults import topology_faults
from xover.network.network import GROUND, Network, OddValue
from xover.network.parts import (
    Capacitor,
    Channel,
    Coupling,
    DriverCard,
    Inductor,
    Part,
    Resistor,
    unit_of,
    value_of,
)
from xover.quantity import (
    PART_RANGES,
    RANGES,
    USUAL_MOST,
    QuantityKind,
    computed_value,
    format_quantity,
    in_range,
    is_bare,
    parse_fraction,
    parse_quantity,
)

_COMMON: Final = ("tol", "kind", "unusual", "evidence", "note")
KNOWN_FIELDS: Final = {
    "R": (*_COMMON, "watts", "cold", "hot"),
    "L": (*_COMMON, "dcr", "core", "wire", "amps"),
    "C": (*_COMMON, "esr", "df", "loss", "volts"),
    "K": ("note", "evidence"),
    "X": ("note",),
    "V": (),
}
_KINDS: Final = {"R": QuantityKind.RESISTANCE, "L": QuantityKind.INDUCTANCE, "C": QuantityKind.CAPACITANCE}
EVIDENCE: Final = ("measured", "marked", "datasheet", "assumed", "inferred")
CAPACITORS: Final = (
    *("electrolytic", "bipolar", "non-polar", "paper", "oil", "polyester", "mylar", "film", "polypropylene"),
    *("oil-filled", "polystyrene", "polycarbonate", "mica", "ceramic"),
)
RESISTORS: Final = ("lamp", "wirewound", "film", "metal", "oxide", "carbon", "cement", "ceramic")
CORES: Final = ("air", "none", "iron", "steel", "ferrite", "powder")
_WORDS: Final = {
    **{(letter, "evidence"): EVIDENCE for letter in "RLC"},
    **{("R", "kind"): RESISTORS, ("L", "kind"): CORES, ("C", "kind"): CAPACITORS, ("L", "core"): CORES},
}
"""What a field of a card may say, in any case: results rest on these words."""


def _exact(value: float) -> str:
    short = f"{value:g}"
    return short if float(short) == value else repr(value)


def percent(fraction: float) -> str:
    """A fraction as cards have it, to the last bit: 5%."""
    short = f"{100.0 * fraction:g}%"
    return short if parse_fraction(short) == fraction else repr(fraction)


def _amps(text: str) -> float:
    # QuantityKind.PLAIN has no unit, and amperes are written with one.
    return parse_quantity(text.strip().lower().removesuffix("a"), QuantityKind.PLAIN)


# What a card says beyond value and losses: the part's attribute, and both ways between it and the text.
_TYPED: Final[dict[str, tuple[str, Callable[[str], Any], Callable[[Any], str]]]] = {
    "kind": ("kind", str.lower, str),
    "core": ("core", str.lower, str),
    "tol": ("tolerance", parse_fraction, percent),
    "watts": ("watts", lambda text: parse_quantity(text, QuantityKind.POWER), _exact),
    "volts": ("volts", lambda text: parse_quantity(text, QuantityKind.VOLTAGE), _exact),
    "amps": ("amps", _amps, _exact),
    "evidence": ("evidence", str.lower, str),
}


def build_network(netlist: Netlist) -> Network:
    """Understand a netlist's cards and check that the network has one solution.

    Raises InputError: with file and line: a value, unit, range or field at fault; a floating node, a shorted channel,
    an unconnected part, a driver bound twice.
    """
    parts: list[Part] = []
    couplings: list[Coupling] = []
    channels: list[Channel] = []
    odd: list[OddValue] = []
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
                odd += _odd_value(card, parts[-1])
        except InputError as error:
            raise error.at(netlist.path, card.line) from None
    if not channels:
        channels.append(Channel("in", "in", GROUND))
    if not drivers:
        raise InputError("the network has no driver", "add a card such as 'Xlow w 0 woofer'", netlist.path)
    network = Network(
        netlist.title,
        tuple(parts),
        tuple(drivers),
        tuple(channels),
        tuple(couplings),
        netlist.notes,
        netlist.path,
        tuple(odd),
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
    for key in ("watts", "volts", "amps"):
        if key in card.fields and not _rating(card, key) > 0:
            raise InputError(f"{card.name} has {key}={card.fields[key]}", f"give a {key} above 0, or leave it out")
    if card.fields.get("unusual", "yes").lower() != "yes":
        raise InputError(f"{card.name} has unusual={card.fields['unusual'][:40]}", "write unusual=yes, or leave it out")
    for key, text in card.fields.items():
        words = _WORDS.get((card.letter, key), (text.lower(),))
        if text.lower() not in words:
            near = nearest_word(text, words)
            remedy = f"did you mean {near}?" if near else "write " + ", ".join(words[:-1]) + f" or {words[-1]}"
            raise InputError(f"{card.name} has {key}={text[:40]}", remedy)


def _rating(card: Card, key: str) -> float:
    try:
        return float(_TYPED[key][1](card.fields[key]))
    except InputError as error:
        raise (InputError(f"{card.name}, amps: {error.problem}", error.remedy) if key == "amps" else error) from None


def _said(card: Card) -> dict[str, Any]:
    """What the card says beyond value and losses, typed, and its own words."""
    typed = {_TYPED[key][0]: _TYPED[key][1](text) for key, text in card.fields.items() if key in _TYPED}
    return {**typed, "line": card.line, "card": tuple(card.fields.items())}


def _value(card: Card) -> float:
    kind = _KINDS[card.letter]
    low, high = PART_RANGES[kind]
    if not card.value:
        raise InputError(f"{card.name} has no value", f"add a {kind.word} after the nodes")
    _refuse_bare(card, kind)
    try:
        value = parse_quantity(card.value, kind)
    except InputError as error:
        raise InputError(f"{card.name}: {error.problem}", error.remedy) from None
    if value < 0 or (value == 0 and card.letter != "R"):
        raise InputError(f"{card.name} is {card.value}", f"{kind.a_word} is above zero")
    # Outside of the range a value is a slip of the pen unless the line says otherwise.
    if "unusual" not in card.fields and not low <= value <= high:
        raise InputError(
            f"{card.name} is {format_quantity(value, kind)}, "
            f"outside {format_quantity(low, kind)} to {format_quantity(high, kind)}",
            "correct it, or add unusual=yes to the line if it is meant",
        )
    return value


_MEANT: Final = {QuantityKind.INDUCTANCE: ("mH", "H"), QuantityKind.CAPACITANCE: ("uF", "F")}
"""What a bare number is meant in, nearly always, and what it is read in."""


def _refuse_bare(card: Card, kind: QuantityKind) -> None:
    """A bare number that no crossover holds in henry or farad."""
    if kind in _MEANT and is_bare(card.value) and "unusual" not in card.fields:
        value, (usual, read) = float(card.value), _MEANT[kind]
        if USUAL_MOST[kind] < value < 1e6:
            raise InputError(
                f"{card.name} is {card.value} without a unit: read as {value:g} {read}", f"write {card.value}{usual}"
            )


def _odd_value(card: Card, part: Part) -> Iterator[OddValue]:
    """What may be a slip of the pen, though it can be."""
    kind, value = unit_of(part), value_of(part)
    if "unusual" in card.fields:
        return
    said = format_quantity(value, kind)
    if kind in _MEANT and is_bare(card.value):
        usual = _MEANT[kind][0]
        yield OddValue(
            part.name,
            f"{part.name} is {card.value} without a unit: read as {said}",
            f"write {value_text(part)}, or {card.value}{usual} if that is meant",
        )
    elif value > USUAL_MOST[kind]:
        yield OddValue(
            part.name,
            f"{part.name} is {said}, more than the {format_quantity(USUAL_MOST[kind], kind)} of any usual crossover",
            "correct it, or add unusual=yes to the line if it is meant",
        )


def _field(card: Card, key: str, kind: QuantityKind, default: float = 0.0) -> float:
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
    if card.letter == "R":
        return _resistor(card)
    a, b = card.nodes
    if card.letter == "L":
        ohm = _field(card, "dcr", QuantityKind.RESISTANCE)
        return Inductor(card.name, a, b, _value(card), ohm, losses_stated="dcr" in card.fields, **_said(card))
    return _capacitor(card)


def _resistor(card: Card) -> Resistor:
    a, b = card.nodes
    if card.fields.get("kind", "").lower() != "lamp":
        for key in ("cold", "hot"):
            if key in card.fields:
                raise InputError(f"{card.name} has {key}= but is no lamp", "add kind=lamp, or remove it")
        return Resistor(card.name, a, b, _value(card), **_said(card))
    if "cold" not in card.fields and not card.value:
        raise InputError(f"{card.name} is a lamp without its cold resistance", "add cold=1 (ohm, at rest)")
    cold = _field(card, "cold", QuantityKind.RESISTANCE, _value(card) if card.value else 0.0)
    hot = _field(card, "hot", QuantityKind.RESISTANCE) if "hot" in card.fields else None
    if hot is not None and hot < cold:
        raise InputError(f"{card.name} is {hot:g} ohm hot and {cold:g} ohm cold", "swap cold and hot")
    return Resistor(card.name, a, b, cold, True, hot, **_said(card))


def _capacitor(card: Card) -> Capacitor:
    """Losses from esr=, df=X@F or loss=R@F,R@F."""
    a, b = card.nodes
    farad = _value(card)
    esr, factor = _field(card, "esr", QuantityKind.RESISTANCE), 0.0
    at_hz: tuple[float, ...] = ()
    if "df" in card.fields:
        text, _, at = card.fields["df"].partition("@")
        factor = parse_fraction(text)
        at_hz = (parse_quantity(at, QuantityKind.FREQUENCY),) if at else ()
        if any(not f > 0 for f in at_hz):
            raise InputError(f"{card.name} has its df at {at}", "write df=0.06@1kHz")
        if not 0 <= factor <= 2:
            raise InputError(
                f"{card.name} has df={text}", "a dissipation factor lies between 0 and 2; write 6 % as 0.06"
            )
    if "loss" in card.fields:
        if "df" in card.fields or "esr" in card.fields:
            raise InputError(f"{card.name} has loss= beside df= or esr=", "keep loss= alone: it holds both")
        ohms, hertz = _readings(card)
        fit = fit_loss(ohms, hertz, farad)
        esr, factor, at_hz = fit.fixed_ohm, fit.dissipation_factor, tuple(hertz.tolist())
    stated = not {"esr", "df", "loss"}.isdisjoint(card.fields)
    return Capacitor(card.name, a, b, farad, esr, factor, losses_at_hz=at_hz, losses_stated=stated, **_said(card))


def _readings(card: Card) -> tuple[Float, Float]:
    """Series resistance readings `1.7@1kHz,0.28@10kHz`; a decimal comma inside a reading is understood."""
    text = card.fields["loss"]
    first, *between, last = text.split("@") if "@" in text else ("", "")
    pairs = [piece.partition(",")[::2] for piece in between]  # the frequency of one reading, the ohms of the next
    found = list(zip([first, *(r for _, r in pairs)], [*(f for f, _ in pairs), last], strict=True))
    if "," in last or not all(r and f for r, f in found):
        raise InputError(f"{card.name} has loss={text[:40]}", "write readings as loss=1.7@1kHz,0.28@10kHz")
    ohms = np.array([parse_quantity(r, QuantityKind.RESISTANCE) for r, _ in found])
    at = np.array([parse_quantity(f, QuantityKind.FREQUENCY) for _, f in found])
    if np.any(ohms < 0) or np.any(at <= 0) or len(set(at.tolist())) != len(at):
        raise InputError(
            f"{card.name} has loss={text[:40]}",
            "give series resistances of zero or more at different frequencies above 0 Hz",
        )
    return ohms, at


def _coupling(card: Card) -> Coupling:
    k = parse_quantity(card.value, QuantityKind.PLAIN) if card.value else float("nan")
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


@dataclass(frozen=True)
class LossFit:
    """Series resistance R(f) = fixed + df / (2 pi f C).

    Attributes
    ----------
    fixed_ohm : leads, foil and electrolyte; the same at all frequencies.
    dissipation_factor : of the part with a constant loss angle.
    worst_ohm : largest distance of a reading from the fit; 0 with one or two readings that fit exactly.
    """

    fixed_ohm: float
    dissipation_factor: float
    worst_ohm: float


def fit_loss(resistance_ohm: Float, frequency_hz: Float, farad: float) -> LossFit:
    """Fit both terms, neither below zero, to one or more readings (least squares).

    One reading is taken as constant loss angle alone: at other frequencies that is the more cautious
    reading of an electrolytic, whose series resistance falls with frequency.

    Parameters
    ----------
    resistance_ohm, frequency_hz : (n,) readings of an LCR meter in series mode.
    farad : capacitance.
    """
    falling = 1.0 / (2.0 * np.pi * frequency_hz * farad)
    if resistance_ohm.size == 1:
        return LossFit(0.0, float(resistance_ohm[0] / falling[0]), 0.0)
    best: tuple[float, float, float, float] | None = None
    # Two unknowns that may not be negative: the free fit, or the better of the two edges.
    candidates = [np.linalg.lstsq(np.column_stack([np.ones_like(falling), falling]), resistance_ohm, rcond=None)[0]]
    candidates.append(np.array([max(float(np.mean(resistance_ohm)), 0.0), 0.0]))
    candidates.append(np.array([0.0, max(float(falling @ resistance_ohm / (falling @ falling)), 0.0)]))
    for fixed, factor in candidates:
        if fixed < 0 or factor < 0:
            continue
        miss = resistance_ohm - fixed - factor * falling
        if best is None or miss @ miss < best[0]:
            best = (float(miss @ miss), float(fixed), float(factor), float(np.max(np.abs(miss))))
    assert best is not None  # the edges are never negative
    return LossFit(best[1], best[2], best[3])


# Powers of ten that SPICE has a letter for, those that a parts shop prints first.
_LETTERS: Final = {
    QuantityKind.RESISTANCE: ((0, ""),),
    QuantityKind.INDUCTANCE: ((-3, "mH"), (-6, "uH")),
    QuantityKind.CAPACITANCE: ((-6, "uF"), (-9, "nF")),
}
_LEAST: Final = RANGES[QuantityKind.RESISTANCE][0]
# What the numbers of a part say already.
_ELECTRICAL: Final = ("dcr", "esr", "df", "loss", "cold", "hot")


def netlist_text(network: Network, notes: Iterable[str] | None = None) -> str:
    """The cards of a network, with its title, its notes and what its parts say beyond their values.

    Values are written so that reading them gives the same floats back. A part whose card still says what the part
    is keeps the card's own words (`loss=1.7@1kHz`); else its losses are written from the numbers.

    Parameters
    ----------
    notes : comment lines below the title, in place of the network's own.
    """
    lines = [f"* {_one_line(network.title or 'network')}"]
    lines += [f"* {_one_line(note)}" for note in (network.notes if notes is None else notes)]
    if [(c.name, c.plus, c.minus) for c in network.channels] != [("in", "in", GROUND)]:
        lines += [f"V{c.name} {c.plus} {c.minus}" for c in network.channels]
    lines += [part_text(part) for part in network.parts]
    lines += [f"{d.name} {d.plus} {d.minus} {d.driver}" for d in network.drivers]
    lines += [f"{c.name} {c.first} {c.second} {c.k!r}" for c in network.couplings]
    return "\n".join([*lines, ".end", ""])


def part_text(part: Part) -> str:
    """One card."""
    fields = _words(part)
    card = Card(part.name, (part.a, part.b), value_text(part), fields, 0)
    try:
        said = build_part(card) == part
    except InputError:
        said = False  # what the card said does not fit the part any more
    if not said:
        fields = _losses(part) | {key: text for key, text in fields.items() if key not in _ELECTRICAL}
    return " ".join((part.name, part.a, part.b, card.value, *(f"{key}={text}" for key, text in fields.items())))


def _words(part: Part) -> dict[str, str]:
    """The card's own words, where the part still is what they say; what it is besides, at their end."""
    said = dict(part.card)
    for key, (attribute, read, write) in _TYPED.items():
        value = getattr(part, attribute, None)
        if value is None:
            said.pop(key, None)
        elif key not in said or read(said[key]) != value:
            said[key] = write(value)
    return said


def _losses(part: Part) -> dict[str, str]:
    """Those that can be read again: a fit may leave less."""
    if isinstance(part, Inductor):
        return {"dcr": f"{part.dcr_ohm!r}"} if part.dcr_ohm >= _LEAST else {}
    if isinstance(part, Capacitor):
        out = {"df": f"{part.dissipation_factor!r}@1kHz"} if part.dissipation_factor >= _LEAST else {}
        return out | ({"esr": f"{part.esr_ohm!r}"} if part.esr_ohm >= _LEAST else {})
    if part.is_lamp:
        return {"kind": "lamp", "cold": f"{part.ohm!r}"} | (
            {"hot": f"{part.hot_ohm!r}"} if part.hot_ohm is not None else {}
        )
    return {}


def value_text(part: Part) -> str:
    """The value with its unit, such as 4.7uF, to the last bit; resistances are bare numbers."""
    value, kind = value_of(part), unit_of(part)
    if not in_range(value, kind):
        value = 0.0  # a resistance that a fit has left
    number = Decimal(repr(value))
    first, *others = ((number.scaleb(-power).normalize(), unit) for power, unit in _LETTERS[kind])
    scaled, unit = first if first[0] >= Decimal("0.01") or not others else others[0]
    text = f"{scaled:f}{unit}"
    # A number of 16 digits may lose its last one on the way through a unit.
    return text if parse_quantity(text, kind) == value else computed_value(value)


def _one_line(text: str) -> str:
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())
