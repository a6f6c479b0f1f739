"""Many builds of one network: parts within their tolerance, seeded draws, and a fast solve of all of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.acoustic.summing import Branch
from xover.curve import Complex, Evidence, Float
from xover.errors import InputError, OptionError
from xover.network import Network, find_sections, solve
from xover.network.closed_form import ClosedForm, compile_closed_form
from xover.network.network import Groups
from xover.network.parts import value_of
from xover.parts.kinds import PartKind, kind_of, tolerance_of
from xover.sound.prediction import Sound

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


MOST_CLOSED: Final = 8
"""Parts that vary in one section, up to which the closed form is the faster way (measured)."""
MOST_IN_CLOSED: Final = 24
"""Elements of one section, beyond which a closed form has too many terms."""


@dataclass(frozen=True, eq=False)
class BuildSolver:
    """A network at fixed frequencies, ready for the values of many builds."""

    network: Network
    frequency_hz: Float
    driver_ohm: Mapping[str, Complex]
    form: ClosedForm | None

    def at(self, values: Mapping[str, Float], *, loads: bool) -> tuple[Mapping[str, Complex], Mapping[str, Complex]]:
        """Drive of each driver and, where asked for, what each channel sees: (k, n) for (k,) values by part."""
        if self.form is not None:
            closed = self.form.at(values, loads=loads)
            return closed.drive, closed.impedance_ohm
        solution = solve(self.network, self.frequency_hz, self.driver_ohm, values)
        return solution.drive, solution.impedance_ohm


def build_solver(
    network: Network, frequency_hz: Float, driver_ohm: Mapping[str, Complex], varied: Sequence[str]
) -> BuildSolver:
    """Prepare a network whose `varied` parts change from build to build.

    Raises NoSolutionError where the network has no unique solution.
    """
    names = set(varied)
    sections = find_sections(network)
    most = max(len(names.intersection(s.elements)) for s in sections)
    if max(len(s.elements) for s in sections) > MOST_IN_CLOSED:
        most = MOST_CLOSED + 1
    form = compile_closed_form(network, frequency_hz, driver_ohm, varied) if most <= MOST_CLOSED else None
    return BuildSolver(network, frequency_hz, driver_ohm, form)


@dataclass(frozen=True, eq=False)
class SumRule:
    """How the drives of a build add up to its sum.

    A driver that the nominal sum leaves out at a frequency, as it is 30 dB or more below, is left out in every
    build. Without a common time reference the sum is the highest that any timing allows: the magnitudes of the
    groups added, what is missing at its nominal bound.

    Attributes
    ----------
    keys, responses, groups : for each driver its key, its pressure (n,) for one volt, 0 where it is left out, and
        the group within which phases count.
    missing : (n,) pressure of what is missing, 0 in a sum of one time reference.
    given : (n,) whether there is a sum.
    """

    keys: tuple[str, ...]
    responses: tuple[Complex, ...]
    groups: tuple[str, ...]
    missing: Float
    given: NDArray[np.bool_]

    @property
    def group_names(self) -> tuple[str, ...]:
        """Each group once."""
        return tuple(dict.fromkeys(self.groups))

    def pressure(self, drive: Mapping[str, Complex], group: str, keys: Sequence[str] | None = None) -> Complex | None:
        """(k, n) pressure of a group's drivers, or of those among `keys`; None where there are none."""
        total: Complex | None = None
        for key, response, own in zip(self.keys, self.responses, self.groups, strict=True):
            if own != group or (keys is not None and key not in keys):
                continue
            total = drive[key] * response if total is None else total + drive[key] * response
        return total

    def over(self, rows: slice) -> SumRule:
        """The rule over some of the frequencies."""
        return SumRule(
            self.keys,
            tuple(r[rows] for r in self.responses),
            self.groups,
            self.missing[rows],
            self.given[rows],
        )

    def level_db(self, drive: Mapping[str, Complex]) -> Float:
        """(k, n) level of the sum for drives (k, n) by key; NaN where there is no sum."""
        groups = [p for p in (self.pressure(drive, g) for g in self.group_names) if p is not None]
        if len(groups) == 1 and not self.missing.any():
            level = magnitude_db(groups[0])
        else:
            size = self.missing + np.sum([np.abs(p) for p in groups], axis=0)
            with np.errstate(divide="ignore"):
                level = np.asarray(20.0 * np.log10(size))
        return level if self.given.all() else np.where(self.given, level, np.nan)


def sum_rule(sound: Sound, reach: Sequence[Branch]) -> SumRule:
    """The rule of a predicted sound; `reach` is the sound of each driver for one volt at itself."""
    total = sound.total
    # A driver whose drive is not known is never left out: there is no sum there.
    responses = tuple(
        np.where(np.isfinite(b.pressure), r.pressure, 0.0) for b, r in zip(sound.branches, reach, strict=True)
    )
    keys = tuple(b.key for b in sound.branches)
    if total.coherent:
        none = np.zeros(total.frequency_hz.shape)
        return SumRule(keys, responses, ("",) * len(keys), none, np.isfinite(total.pressure))
    given = np.isfinite(total.best_level_db)
    groups = tuple(b.group for b in sound.branches)
    bare = SumRule(keys, responses, groups, np.zeros(given.shape), given)
    known = 10.0 ** (bare.level_db(sound.solution.drive) / 20.0)
    # What the nominal envelope holds beyond the drivers that are known is the bound of the others.
    missing = np.where(given, np.maximum(10.0 ** (total.best_level_db / 20.0) - known, 0.0), 0.0)
    missing[missing < 1e-9 * known] = 0.0  # rounding of the two ways
    return SumRule(keys, responses, groups, missing, given)


def magnitude_db(value: Complex) -> Float:
    """20 lg|value|, -inf at zero; for large arrays, without a square root."""
    square = value.real * value.real
    square += value.imag * value.imag
    with np.errstate(divide="ignore"):
        np.log10(square, out=square)
    square *= 10.0
    return np.asarray(square)
