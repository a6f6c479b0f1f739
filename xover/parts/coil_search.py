"""Where the turns of a coil go: layers, turns in a layer and former for an inductance."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import product
from typing import Final

from xover.errors import OptionError
from xover.parts.inductance import BROOKS_H_PER_M, layered_coil_h, section_h, wire_correction_h
from xover.parts.wire import Winding, Wire, enamelled_diameter_m, mass_kg_per_m
from xover.quantity import QuantityKind, format_quantity

CLOSE: Final = 0.0025
"""A recipe this near its target is near enough to look at the copper instead."""
_FORMER_STEPS_M: Final = (1e-3, 0.5e-3, 0.1e-3)
_MOST_IN_A_ROW: Final = 4096
MOST_KG: Final = 20.0
"""Heavier coils are refused: nobody mounts them in a loudspeaker."""


@dataclass(frozen=True)
class Plan:
    """Turns on a former, before the exact sum."""

    turns: int
    per_layer: int
    inner_radius_m: float
    pitch_m: float

    def layers(self) -> list[int]:
        whole, rest = divmod(self.turns, self.per_layer)
        return [self.per_layer] * whole + ([rest] if rest else [])

    def wire_length_m(self) -> float:
        return sum(
            2 * math.pi * (self.inner_radius_m + (i + 0.5) * self.pitch_m) * n for i, n in enumerate(self.layers())
        )

    def inductance_h(self, wire: Wire) -> float:
        return layered_coil_h(self.inner_radius_m, self.pitch_m, self.layers(), wire.diameter_m)


def henry(inductance_h: float, digits: int = 3) -> str:
    """An inductance as a shop prints it."""
    if not inductance_h < 1 - 1e-9:
        return f"{inductance_h:.{digits}g} H"
    return format_quantity(inductance_h, QuantityKind.INDUCTANCE, digits)


def check_mass(inductance_h: float, wire: Wire, mass_kg: float, least: str = "") -> None:
    """Raise OptionError for a coil that nobody would build."""
    if mass_kg > MOST_KG:
        raise OptionError(
            f"{henry(inductance_h)} of {wire.name} wire would weigh {least}{mass_kg:.3g} kg",
            "take thinner wire, a smaller inductance or a former of other shape, or buy a coil with a core",
        )


def brooks_depth_m(inductance_h: float, wire_diameter_m: float) -> float:
    """Depth of Brooks's coil: L = constant c N^2 with N = (c/pitch)^2."""
    pitch = float(enamelled_diameter_m(wire_diameter_m))
    return float((inductance_h * pitch**4 / BROOKS_H_PER_M) ** 0.2)


def _guess_h(plan: Plan, wire: Wire, layers: float | None = None) -> float:
    """Within 0.1 % of the loop sum from 20 turns on, in a third of a millisecond; `layers` may be a fraction."""
    depth = (plan.turns / plan.per_layer if layers is None else layers) * plan.pitch_m
    winding = Winding(plan.inner_radius_m, plan.inner_radius_m + depth, plan.per_layer * plan.pitch_m, plan.turns)
    return section_h(winding, 6) + wire_correction_h(winding, plan.pitch_m, wire.diameter_m)


def free_former(inductance_h: float, wire: Wire, per_layer: int | None) -> Plan:
    """Full layers on a former whose diameter is still open: the least wire among those that come close."""
    pitch = wire.pitch_m
    if per_layer is None:
        rows = brooks_depth_m(inductance_h, wire.diameter_m) / pitch
        low = max(1, int(rows))
        shapes: Iterable[tuple[int, int]] = [
            (layers, turns) for layers in (low, low + 1) for turns in range(max(1, low - 1), low + 3)
        ]
    else:
        shapes = [(layers, per_layer) for layers in _layers_for_length(inductance_h, wire, per_layer)]
    exact = list(_fitting_formers(inductance_h, wire, shapes))
    if not exact:
        raise OptionError(
            f"no sensible coil of {henry(inductance_h)} of {wire.name} wire is that long",
            "give another --length or another wire",
        )
    shortest = min(plan.wire_length_m() for plan in exact)
    best: tuple[float, Plan] | None = None
    for slack, step in product((1.015, 1.06), _FORMER_STEPS_M):
        near = [plan for plan in exact if plan.wire_length_m() < slack * shortest]
        for plan in _rounded_formers(near, step)[:3]:
            error = abs(plan.inductance_h(wire) / inductance_h - 1)
            if best is None or error < best[0]:
                best = (error, plan)
            if error <= CLOSE:
                return plan
    if best is None:
        raise OptionError(
            f"no coil of {henry(inductance_h)} of {wire.name} wire winds onto any former",
            "take thinner wire",
        )
    return best[1]


def _rounded_formers(exact: Iterable[Plan], step_m: float) -> list[Plan]:
    """Formers rounded to steps in diameter: first those that stay close, by their wire; then the rest by their error.

    Near its solution a coil grows about with its mean radius to the power of 1.4: enough to rank by.
    """
    ranked = []
    for plan in exact:
        rounded = replace(plan, inner_radius_m=round(round(2 * plan.inner_radius_m / step_m) * step_m, 9) / 2)
        mean = plan.inner_radius_m + plan.turns / plan.per_layer * plan.pitch_m / 2
        error = 1.4 * abs(rounded.inner_radius_m - plan.inner_radius_m) / mean
        if rounded.inner_radius_m >= plan.pitch_m:
            ranked.append((error > CLOSE, rounded.wire_length_m() if error <= CLOSE else error, rounded))
    return [plan for _, _, plan in sorted(ranked, key=lambda one: one[:2])]


def _fitting_formers(inductance_h: float, wire: Wire, shapes: Iterable[tuple[int, int]]) -> Iterator[Plan]:
    """The former's radius for each number of layers and of turns in a layer, where there is one."""
    pitch = wire.pitch_m
    for layers, turns in shapes:
        plan = Plan(layers * turns, turns, (layers + 1) * pitch, pitch)
        for _ in range(12):
            mean = plan.inner_radius_m + layers * pitch / 2
            ratio = inductance_h / _guess_h(plan, wire)
            if abs(ratio - 1) < 3e-4:
                if plan.wire_length_m() * float(mass_kg_per_m(wire.diameter_m)) <= MOST_KG:
                    yield plan
                break
            inner = mean * ratio**0.7 - layers * pitch / 2
            if not 0 < inner < 0.5:
                break
            plan = Plan(plan.turns, turns, inner, pitch)


def _layers_for_length(inductance_h: float, wire: Wire, per_layer: int) -> list[int]:
    """Numbers of layers around the one that takes least wire, when a layer's turns are given."""
    tried: dict[int, float] = {}
    count = 1
    while count <= _MOST_IN_A_ROW:
        plan = next(_fitting_formers(inductance_h, wire, [(count, per_layer)]), None)
        if plan is not None and plan.inner_radius_m >= wire.pitch_m:
            tried[count] = plan.wire_length_m()
            if tried[count] > 1.2 * min(tried.values()):
                break
        elif tried:
            break
        count = max(count + 1, round(count * 1.25))
    if not tried:
        return []
    best = min(tried, key=lambda n: tried[n])
    around = max(1, round(best * 0.06))
    return [n for n in range(best - around, best + around + 1, max(1, around // 3)) if n >= 1]


def given_former(inductance_h: float, wire: Wire, inner_radius_m: float, per_layer: int | None) -> Plan:
    """Turns on a former of that radius; the length, if open, for least wire among those that come close."""
    if per_layer is not None:
        return _nearest_turns(inductance_h, wire, inner_radius_m, per_layer)[1]
    found: dict[int, tuple[float, float]] = {}
    count = 1
    while count <= _MOST_IN_A_ROW:
        turns = _turns_h(inductance_h, wire, inner_radius_m, count)
        plan = Plan(max(1, round(turns)), count, inner_radius_m, wire.pitch_m)
        found[count] = (turns * (inner_radius_m + turns / count * wire.pitch_m / 2), turns)
        if found[count][0] > 1.1 * min(length for length, _ in found.values()) or plan.turns < count:
            break
        count = max(count + 1, round(count * 1.2))
    best = min(found, key=lambda n: found[n][0])
    nearest: tuple[float, Plan] | None = None
    reach = 2 + best // 3  # copper varies little there, and few turns come close only by luck
    for count in sorted(range(max(1, best - reach), best + reach + 1), key=lambda n: abs(n - best)):
        one = _nearest_turns(inductance_h, wire, inner_radius_m, count)
        if nearest is None or one[0] < nearest[0]:
            nearest = one
        if one[0] <= CLOSE:
            break
    assert nearest is not None
    return nearest[1]


def _turns_h(inductance_h: float, wire: Wire, inner_radius_m: float, per_layer: int) -> float:
    """Turns, a fraction allowed, for the inductance on that former, by the quick formula."""
    turns = max(float(per_layer), 4.0)
    for _ in range(20):
        depth = turns / per_layer * wire.pitch_m
        winding = Winding(inner_radius_m, inner_radius_m + depth, per_layer * wire.pitch_m, turns)
        ratio = inductance_h / (section_h(winding, 6) + wire_correction_h(winding, wire.pitch_m, wire.diameter_m))
        turns *= ratio**0.45
        if abs(ratio - 1) < 1e-3:
            break
    return turns


def _nearest_turns(inductance_h: float, wire: Wire, inner_radius_m: float, per_layer: int) -> tuple[float, Plan]:
    """Whole turns whose loop sum comes nearest, with how far it is off (fraction, no sign)."""
    found: dict[int, float] = {}
    turns = max(1, round(_turns_h(inductance_h, wire, inner_radius_m, per_layer)))
    length = Plan(turns, per_layer, inner_radius_m, wire.pitch_m).wire_length_m()
    check_mass(inductance_h, wire, float(mass_kg_per_m(wire.diameter_m)) * length)
    while turns not in found:
        found[turns] = Plan(turns, per_layer, inner_radius_m, wire.pitch_m).inductance_h(wire)
        low = found[turns] < inductance_h
        step = round(turns * ((inductance_h / found[turns]) ** 0.45 - 1))
        turns = max(1, turns + (step or (1 if low else -1)))
    best = min(found, key=lambda n: abs(found[n] - inductance_h))
    return abs(found[best] / inductance_h - 1), Plan(best, per_layer, inner_radius_m, wire.pitch_m)
