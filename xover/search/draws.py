"""Parts within their tolerance: which parts vary, by how much, and seeded draws of whole builds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from xover.curve import Evidence, Float
from xover.errors import InputError, OptionError
from xover.network import Network
from xover.network.network import Groups
from xover.network.parts import value_of
from xover.parts.kinds import PartKind, kind_of, tolerance_of

ONE_CORE: Final = 0.5
"""Coils coupled more closely than this are windings on one core, which vary together. Common practice, no source."""


class Distribution(StrEnum):
    """How a part's value is spread within its tolerance.

    UNIFORM : every value within +-tolerance is as likely as any other.
    NORMAL : a bell with a standard deviation of a third of the tolerance, nothing beyond +-tolerance.
    """

    UNIFORM = "uniform"
    NORMAL = "normal"

    @property
    def words(self) -> str:
        """The distribution in words."""
        if self is Distribution.UNIFORM:
            return "uniform within each part's tolerance"
        return "normal with a third of the tolerance as standard deviation, cut off at the tolerance"


@dataclass(frozen=True)
class PartSpread:
    """One part that varies.

    Attributes
    ----------
    part : its name; value : ohm, henry or farad.
    tolerance : fraction of the value, to either side.
    evidence : DATASHEET where the part's card states it, ASSUMED where it is what parts of the kind usually have.
    draw : whose draw it takes: its own, or that of the first coil on its core.
    """

    part: str
    value: float
    tolerance: float
    evidence: Evidence
    kind: PartKind
    draw: str


def part_spreads(network: Network) -> tuple[PartSpread, ...]:
    """The parts of a network that vary; those of zero value (links) and of zero tolerance do not.

    The tolerance is the one on the part's card, else what new parts of its kind usually have. Coils on one core
    share a draw: their ratio is one of turns, and what varies is the core.

    Raises
    ------
    InputError : a tolerance of 100 %, which leaves nothing of the part. OptionError : no part varies.
    """
    cores = Groups()
    for coupling in network.couplings:
        if abs(coupling.k) > ONE_CORE:
            cores.join(network.part(coupling.first).name, network.part(coupling.second).name)
    leader: dict[str, str] = {}
    found = []
    for part in network.parts:
        value, kind, tolerance = value_of(part), kind_of(part), tolerance_of(part)
        if not tolerance < 1.0:
            raise InputError(
                f"{part.name} has a tolerance of {tolerance:.0%}, which leaves nothing of it",
                "state less than 100 %",
                network.path,
                part.line,
            )
        if value == 0.0 or tolerance == 0.0:
            continue
        draw = leader.setdefault(cores.find(part.name), part.name)
        evidence = Evidence.ASSUMED if part.tolerance is None else Evidence.DATASHEET
        found.append(PartSpread(part.name, value, tolerance, evidence, kind, draw))
    if not found:
        raise OptionError("no part of the network varies", "give parts a tolerance, such as tol=10%, on their cards")
    return tuple(found)


def draw_names(spreads: Sequence[PartSpread]) -> tuple[str, ...]:
    """What is drawn, each once: parts, and cores by their first coil."""
    return tuple(dict.fromkeys(s.draw for s in spreads))


def standard_draws(rng: np.random.Generator, builds: int, count: int, distribution: Distribution) -> Float:
    """(builds, count) independent draws within -1 .. 1, in tolerances."""
    if distribution is Distribution.UNIFORM:
        return rng.uniform(-1.0, 1.0, (builds, count))
    draws = rng.normal(0.0, 1.0 / 3.0, (builds, count))
    while True:  # draw again what lies beyond the tolerance: 0.27 % of what is left, each time
        beyond = np.abs(draws) > 1.0
        missing = int(np.count_nonzero(beyond))
        if not missing:
            return draws
        draws[beyond] = rng.normal(0.0, 1.0 / 3.0, missing)


def built_values(spreads: Sequence[PartSpread], draws: Float) -> dict[str, Float]:
    """(k,) values by part, for draws (k, count) in the order of `draw_names`: value (1 + tolerance draw)."""
    column = {name: i for i, name in enumerate(draw_names(spreads))}
    return {s.part: s.value * (1.0 + s.tolerance * draws[:, column[s.draw]]) for s in spreads}


def matched_values(
    spreads: Sequence[PartSpread], first: Mapping[str, Float], draws: Float, match: float
) -> dict[str, Float]:
    """(k,) values of a second build whose parts were picked to match the first's.

    Each is the first's value (1 + match draw); a part with less tolerance than `match` keeps to its tolerance.

    Parameters
    ----------
    first : (k,) by part. draws : (k, count) uniform within -1 .. 1. match : fraction.
    """
    column = {name: i for i, name in enumerate(draw_names(spreads))}
    return {s.part: first[s.part] * (1.0 + min(match, s.tolerance) * draws[:, column[s.draw]]) for s in spreads}
