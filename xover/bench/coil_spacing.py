"""How far apart the coils go on the board, so that none of their fields is heard."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from xover.bench.words import and_words, millimetres, number
from xover.curve import log_grid
from xover.errors import OptionError
from xover.network import Inductor, Network, Part, find_sections
from xover.parts.coil_design import CoilDesign, design_for_dcr, wire_for_dcr
from xover.parts.inductance import section_h
from xover.parts.kinds import PartKind, kind_of
from xover.parts.placement import Arrangement, keep_apart
from xover.parts.wire import Winding
from xover.quantity import hertz
from xover.rules.audibility import REPEATS_DB
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
    inductance_h : of that winding, as the coupling is a ratio. placeholder : True where the coil's own size is not
        known. sentence : where the size comes from.
    """

    coil: str
    winding: Winding
    inductance_h: float
    placeholder: bool
    sentence: str


@dataclass(frozen=True)
class CoilSpacing:
    """How two coils stand to each other.

    Attributes
    ----------
    same_section : whether they belong to one section of the network.
    k_allowed : coupling to stay below; infinite where none up to 0.5 matters. at_hz : where it shows first, or NaN.
    side_by_side_m : between the centres, both flat on the board, no nearer than their copper touches; None where
        `k_allowed` is infinite. side_touches : whether they may touch.
    cored : those of the two that are not said to be air coils.
    sentence : in words.
    """

    first: str
    second: str
    same_section: bool
    k_allowed: float
    at_hz: float
    side_by_side_m: float | None
    side_touches: bool
    cored: tuple[str, ...]
    sentence: str


@dataclass(frozen=True)
class CoilLayout:
    """All pairs, the one that allows least first, with the sizes that they rest on.

    Attributes
    ----------
    limit_db : what the coupling may change. judged_by : of what ("sum", ..). coupled : pairs that a K card couples.
    """

    limit_db: float
    judged_by: str
    sizes: tuple[CoilSize, ...]
    pairs: tuple[CoilSpacing, ...]
    coupled: tuple[str, ...]


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
        return CoilLayout(REPEATS_DB, "sum", tuple(sizes.values()), (), ())
    found = crosstalk
    if found is None:
        with_it = SpeakerWith(speaker.file, speaker.drivers, {NAME: network})
        found = study_crosstalk(with_it, NAME, log_grid(20.0, 20_000.0, PER_OCTAVE))
    sections = [frozenset(s.elements) for s in find_sections(network)]
    pairs = []
    for limit in found.pairs:
        pair = _spacing(limit, sizes, sections)
        core = has_a_core([network.part(n) for n in limit.cored]) if limit.cored else ""
        pairs.append(replace(pair, sentence=_sentence(pair, found.limit_db, found.judged_by, core)))
    return CoilLayout(found.limit_db, found.judged_by, tuple(sizes.values()), tuple(pairs), found.skipped)


def coil_size(coil: Inductor, given: Winding | CoilDesign | None = None) -> CoilSize:
    """The winding of a coil: as given, as an air coil of its inductance and DCR would be wound, or a placeholder."""
    if isinstance(given, CoilDesign):
        text = f"{coil.name}: as designed, {_size(given.winding)} of {given.wire} wire"
        return CoilSize(coil.name, given.winding, given.inductance_h, False, text)
    if given is not None:
        return CoilSize(coil.name, given, section_h(given), False, f"{coil.name}: as given, {_size(given)}")
    if kind_of(coil) is PartKind.AIR_COIL and coil.dcr_ohm > 0:
        try:
            if wire_for_dcr(coil.henry, coil.dcr_ohm).possible:
                design = design_for_dcr(coil.henry, coil.dcr_ohm)
                text = f"{coil.name}: as an air coil of its DCR would be wound, {_size(design.winding)}"
                return CoilSize(coil.name, design.winding, design.inductance_h, False, text)
        except OptionError:
            pass  # no coil that anybody would wind
    why = has_a_core([coil]) if kind_of(coil) is not PartKind.AIR_COIL else "gives no DCR that a usual wire has"
    text = f"{coil.name}: {why}, so a placeholder stands for it, {_size(EXAMPLE_COIL)}"
    return CoilSize(coil.name, EXAMPLE_COIL, section_h(EXAMPLE_COIL), True, text)


def has_a_core(coils: Sequence[Part]) -> str:
    """What the cards of coils that are not said to be air coils tell, as the verb of a sentence."""
    if any(coil.material is None for coil in coils):
        return "may have a core" if len(coils) == 1 else "may have cores"
    return "has a core" if len(coils) == 1 else "have cores"


def _spacing(limit: PairLimit, sizes: Mapping[str, CoilSize], sections: Sequence[frozenset[str]]) -> CoilSpacing:
    """The distances, without words yet."""
    one, other = sizes[limit.first], sizes[limit.second]
    same = any(limit.first in s and limit.second in s for s in sections)
    side = None
    if math.isfinite(limit.smaller):
        about = (one.winding, other.winding, Arrangement.SIDE_BY_SIDE, one.inductance_h, other.inductance_h)
        side = keep_apart(*about, min(limit.smaller, 1.0))
    return CoilSpacing(
        first=limit.first,
        second=limit.second,
        same_section=same,
        k_allowed=limit.smaller,
        at_hz=limit.at_hz,
        side_by_side_m=None if side is None else side.distance_m,
        side_touches=side is None or side.gap_m == 0,
        cored=limit.cored,
        sentence="",
    )


def _sentence(pair: CoilSpacing, limit_db: float, judged_by: str, core: str) -> str:
    start = f"{pair.first} and {pair.second}"
    if pair.side_by_side_m is None:
        return f"{start}: place them as you like, no coupling moves the {judged_by} by {limit_db:g} dB"
    apart = millimetres(pair.side_by_side_m)
    where = "flat side by side they may touch" if pair.side_touches else f"flat side by side, {apart} between centres"
    text = (
        f"{start}: {where} (k below {number(pair.k_allowed)}; more moves the {judged_by} by {limit_db:g} dB at "
        f"{hertz(pair.at_hz)})"
    )
    return f"{text}; {and_words(pair.cored)} {core}: a guide only, go further if there is room" if core else text


def _size(winding: Winding) -> str:
    return f"{2e3 * winding.outer_radius_m:.0f} mm across and {1e3 * winding.length_m:.0f} mm long"
