"""How far apart the coils go so that none of their fields is heard, and how thick the wires must be."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.bench.words import millimetres, number
from xover.curve import Complex, Float, log_grid
from xover.errors import OptionError
from xover.network import Inductor, Network, Part, solve
from xover.parts.coil_design import CoilDesign, design_for_dcr, wire_for_dcr
from xover.parts.inductance import section_h
from xover.parts.kinds import PartKind, kind_of
from xover.parts.placement import Arrangement, keep_apart
from xover.parts.wire import Winding, area_m2, awg_diameter_m, resistance_ohm_per_m
from xover.quantity import hertz, ohms
from xover.rules.audibility import REPEATS_DB
from xover.sentences import and_words
from xover.sound.change import near_highest
from xover.speaker import Speaker
from xover.studies.bears.crosstalk.study import EXAMPLE_COIL, Crosstalk, PairLimit, study_crosstalk
from xover.studies.change.decide.setup import SpeakerWith

PER_OCTAVE: Final = 12
NAME: Final = "the network on the board"


@dataclass(frozen=True)
class CoilSize:
    """The winding that a distance rests on.

    Attributes
    ----------
    inductance_h : of that winding, as the coupling is a ratio. sentence : where the size comes from.
    """

    coil: str
    winding: Winding
    inductance_h: float
    sentence: str


@dataclass(frozen=True)
class CoilSpacing:
    """How two coils stand to each other.

    Attributes
    ----------
    k_allowed : coupling to stay below; infinite where none up to 0.5 matters.
    side_by_side_m : between the centres, both flat on the board, no nearer than their copper touches; None where
        `k_allowed` is infinite. side_touches : whether they may touch. sentence : in words.
    """

    k_allowed: float
    side_by_side_m: float | None
    side_touches: bool
    sentence: str


@dataclass(frozen=True)
class CoilLayout:
    """All pairs, the one that allows least first, with the sizes that they rest on.

    Attributes
    ----------
    limit_db : what the coupling may change.
    """

    limit_db: float
    sizes: tuple[CoilSize, ...]
    pairs: tuple[CoilSpacing, ...]


def coil_layout(
    network: Network,
    speaker: Speaker,
    coils: Mapping[str, Winding | CoilDesign] | None = None,
    crosstalk: Crosstalk | None = None,
) -> CoilLayout:
    """Work out how far apart the coils of a network belong.

    Parameters
    ----------
    coils : windings that are at hand or designed, by the coil's name; the others are taken as `coil_size` says.
    crosstalk : the study of this network without given couplings, where there is one; else it is made from 20 Hz to
        20 kHz, 12 in an octave.

    Raises
    ------
    OptionError : `coils` names a coil that is not there. InputError, NoSolutionError : as `predict`.
    """
    given = {network.part(name).name: winding for name, winding in (coils or {}).items()}
    sizes = {c.name: coil_size(c, given.get(c.name)) for c in network.coils}
    if len(sizes) < 2:
        return CoilLayout(REPEATS_DB, tuple(sizes.values()), ())
    found = crosstalk
    if found is None:
        with_it = SpeakerWith(speaker.file, speaker.drivers, {NAME: network})
        found = study_crosstalk(with_it, NAME, log_grid(20.0, 20_000.0, PER_OCTAVE))
    pairs = tuple(_spacing(p, sizes, network, f"{found.judged_by} by {found.limit_db:g} dB") for p in found.pairs)
    return CoilLayout(found.limit_db, tuple(sizes.values()), pairs)


def coil_size(coil: Inductor, given: Winding | CoilDesign | None = None) -> CoilSize:
    """The winding of a coil: as given, as an air coil of its inductance and DCR would be wound, or a placeholder."""
    if isinstance(given, CoilDesign):
        text = f"{coil.name}: as designed, {_size(given.winding)} of {given.wire} wire"
        return CoilSize(coil.name, given.winding, given.inductance_h, text)
    if given is not None:
        return CoilSize(coil.name, given, section_h(given), f"{coil.name}: as given, {_size(given)}")
    if kind_of(coil) is PartKind.AIR_COIL and coil.dcr_ohm > 0:
        try:
            if wire_for_dcr(coil.henry, coil.dcr_ohm).possible:
                design = design_for_dcr(coil.henry, coil.dcr_ohm)
                text = f"{coil.name}: as an air coil of its DCR would be wound, {_size(design.winding)}"
                return CoilSize(coil.name, design.winding, design.inductance_h, text)
        except OptionError:
            pass  # no coil that anybody would wind
    why = has_a_core([coil]) if kind_of(coil) is not PartKind.AIR_COIL else "gives no DCR that a usual wire has"
    text = f"{coil.name}: {why}, so a placeholder stands for it, {_size(EXAMPLE_COIL)}"
    return CoilSize(coil.name, EXAMPLE_COIL, section_h(EXAMPLE_COIL), text)


def has_a_core(coils: Sequence[Part]) -> str:
    """What the cards of coils that are not said to be air coils tell, as the verb of a sentence."""
    if any(coil.material is None for coil in coils):
        return "may have a core" if len(coils) == 1 else "may have cores"
    return "has a core" if len(coils) == 1 else "have cores"


def _spacing(limit: PairLimit, sizes: Mapping[str, CoilSize], network: Network, moved: str) -> CoilSpacing:
    """The distance of a pair; `moved` : what more coupling moves, and how far."""
    one, other = sizes[limit.first], sizes[limit.second]
    start = f"{limit.first} and {limit.second}"
    about = (one.winding, other.winding, Arrangement.SIDE_BY_SIDE, one.inductance_h, other.inductance_h)
    side = keep_apart(*about, min(limit.smaller, 1.0)) if math.isfinite(limit.smaller) else None
    if side is None or side.distance_m is None:
        if not limit.known:
            return CoilSpacing(
                limit.smaller, None, False, f"{start}: not known, keep them well apart or at right angles"
            )
        return CoilSpacing(limit.smaller, None, True, f"{start}: place them as you like, no coupling moves the {moved}")
    apart = f"flat side by side, {millimetres(side.distance_m)} between centres"
    where = "flat side by side they may touch" if side.gap_m == 0 else apart
    text = f"{start}: {where} (k below {number(limit.smaller)}; more moves the {moved} at {hertz(limit.at_hz)})"
    if limit.cored:
        core = has_a_core([network.part(n) for n in limit.cored])
        text += f"; {and_words(limit.cored)} {core}: a guide only, go further if there is room"
    return CoilSpacing(limit.smaller, side.distance_m, side.gap_m == 0, text)


def _size(winding: Winding) -> str:
    return f"{2e3 * winding.outer_radius_m:.0f} mm across and {1e3 * winding.length_m:.0f} mm long"


GAUGES: Final = (22, 20, 18, 16, 14, 12, 10)
"""American wire gauges that leads come in, the thinnest first; thinner ones break when they are pulled."""


@dataclass(frozen=True)
class Gauge:
    """One gauge as a pair of wires.

    Attributes
    ----------
    name : such as "AWG 18". area_mm2 : of the copper of one wire.
    pair_ohm_per_m : both wires of one metre, at 20 degC (IEC 60028). longest_m : pair that stays within the loss; NaN
        where the load is not known.
    """

    name: str
    area_mm2: float
    pair_ohm_per_m: float
    longest_m: float


@dataclass(frozen=True)
class WireAdvice:
    """What one pair of wires may have.

    Attributes
    ----------
    use : which pair. at_hz : where its resistance costs most. gauges : thinnest first. thinnest : the first whose
        pair of one metre will do; None where none does. sentence : in words.
    """

    use: str
    at_hz: float
    gauges: tuple[Gauge, ...]
    thinnest: Gauge | None
    sentence: str


def loss_budget_ohm(impedance_ohm: Complex, loss_db: float = REPEATS_DB) -> Float:
    """(n,) series resistance that takes a loss off the voltage at a load fed from an ideal source.

    20 lg |1 + r/Z| = loss: with a = 1/|Z|^2 and b = Re(1/Z), a r^2 + 2 b r + 1 = 10^(loss/10) (derived). NaN where the
    load is not known, infinite where no current flows.
    """
    z = np.asarray(impedance_ohm, dtype=complex)
    with np.errstate(divide="ignore", invalid="ignore"):
        a, b = 1.0 / np.abs(z) ** 2, (1.0 / z).real
        more = 10.0 ** (loss_db / 10.0) - 1.0
        budget = (np.sqrt(b * b + a * more) - b) / a
    return np.where(np.isinf(z), np.inf, np.asarray(budget, dtype=float))


def wire_advice(network: Network, speaker: Speaker, frequency_hz: Float) -> tuple[WireAdvice, ...]:
    """The leads from the amplifier, then the pair of each driver.

    A driver's pair is judged where its drive lies within 20 dB of its highest, and as if the driver were fed straight:
    behind series parts it matters less.

    Parameters
    ----------
    frequency_hz : (n,) rising.

    Raises
    ------
    OptionError, NoSolutionError : as `solve`.
    """
    drivers = speaker.impedances_ohm(network, frequency_hz)
    solution = solve(network, frequency_hz, drivers)
    many = len(network.channels) > 1
    said = [
        _one_pair(f"{name} amplifier leads" if many else "amplifier leads", frequency_hz, z)
        for name, z in solution.impedance_ohm.items()
    ]
    for card in network.drivers:
        heard = near_highest(solution.drive[card.key])
        said.append(_one_pair(f"{card.key}'s pair", frequency_hz, np.where(heard, drivers[card.driver], np.nan)))
    return tuple(said)


def gauge(awg: int, budget_ohm: float) -> Gauge:
    """One gauge against a budget."""
    diameter = float(awg_diameter_m(awg))
    pair = 2.0 * float(resistance_ohm_per_m(diameter))
    return Gauge(f"AWG {awg}", float(area_m2(diameter)) * 1e6, pair, budget_ohm / pair)


def _one_pair(use: str, frequency_hz: Float, impedance_ohm: Complex) -> WireAdvice:
    budget = loss_budget_ohm(impedance_ohm)
    known = np.isfinite(budget)
    if not known.any():
        choices = tuple(gauge(n, math.nan) for n in GAUGES)
        text = f"{use}: the load is not known, so neither is what its wire may have"
        return WireAdvice(use, math.nan, choices, None, text)
    row = int(np.nanargmin(np.where(known, budget, np.nan)))
    least, at_hz = float(budget[row]), float(frequency_hz[row])
    choices = tuple(gauge(n, least) for n in GAUGES)
    fit = next((g for g in choices if g.longest_m >= 1.0), None)
    size = ohms(float(np.abs(impedance_ohm[row])))
    text = f"{use}: {number(least)} ohm in both wires together cost {REPEATS_DB:g} dB, at {hertz(at_hz)} into {size}"
    if fit is None:
        text += f"; keep it under {_metres(choices[-1].longest_m)} of {_gauge_words(choices[-1])}"
    else:
        text += f"; {_gauge_words(fit)} will do up to {_metres(fit.longest_m)}"
        thick = next((g for g in choices if g.longest_m >= 5.0), None)
        if thick is not None and thick is not fit:
            text += f", {_gauge_words(thick)} up to {_metres(thick.longest_m)}"
    return WireAdvice(use, at_hz, choices, fit, text)


def _gauge_words(choice: Gauge) -> str:
    return f"{choice.name} ({number(choice.area_mm2)} mm2)"


def _metres(length: float) -> str:
    """Rounded down, so that it never says too much."""
    step = 0.1 if length < 10.0 else 1.0
    return f"{math.floor(length / step + 1e-9) * step:.{1 if step < 1 else 0}f} m"
