"""The build order in sentences: why in this order, what to measure first, what a reading proves."""

from __future__ import annotations

import math
from collections.abc import Sequence

from xover.bench.words import and_words, number
from xover.network import Capacitor, Inductor, Part, Resistor
from xover.network.parts import shown_value, unit_of, value_of
from xover.parts.kinds import PartKind, kind_of, tolerance_of
from xover.quantity import format_quantity, ohms


def reason(shunts: Sequence[Part], series: Sequence[Part]) -> str:
    if not shunts and not series:
        return "nothing to solder: the amplifier feeds the driver straight"
    back = and_words([p.name for p in series])
    back += ", from the driver back to the amplifier" if len(series) > 1 else ", up to the amplifier"
    if not shunts:
        return f"{back}; the amplifier's end last"
    first = f"{and_words([p.name for p in shunts])} first, to the minus rail, while little lies beside"
    first += " it" if len(shunts) == 1 else " them"
    wet = [p.name for p in shunts if isinstance(p, Capacitor)]
    if wet and len(wet) < len(shunts):
        first += ", capacitors before what would hide a short in them"
    return f"{first}; then {back}" if series else first


def named(part: Part) -> str:
    kind = kind_of(part)
    words = {PartKind.AIR_COIL: "air coil", PartKind.CORED_COIL: "coil", PartKind.RESISTOR: "", PartKind.LAMP: "lamp"}
    said = words.get(kind, str(kind) if part.kind else "")
    return f"{shown_value(part)} {said}".rstrip()


def before(group: Sequence[Part]) -> str:
    """What to measure of parts before they are soldered, as an ohmmeter does not tell it."""
    told = [_own_value(p) for p in group if not isinstance(p, Resistor)]
    return "measure first: " + "; ".join(told) if told else ""


def _own_value(part: Part) -> str:
    share, value, unit = tolerance_of(part), value_of(part), unit_of(part)
    low, high = (format_quantity(value * (1 + s * share), unit, 2) for s in (-1.0, 1.0))
    text = f"{part.name} {shown_value(part)} ({low} to {high})"
    return f"{text}, {ohms(part.dcr_ohm)}" if isinstance(part, Inductor) and part.dcr_ohm else text


def proof(part: Part, beside_ohm: float, missing: bool, shorted: bool) -> str:
    if isinstance(part, Capacitor):
        wait = ", an electrolytic creeps up to it" if kind_of(part) is PartKind.ELECTROLYTIC else ""
        return f"a low reading that stays is a short{wait}"
    told = []
    if missing:
        told.append("open is a bad joint" if math.isinf(beside_ohm) else f"{number(beside_ohm)} ohm is a bad joint")
    if shorted:
        told.append("near 0 is a short")
    return ", ".join(told)
