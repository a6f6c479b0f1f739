"""Many builds of one network, solved fast: closed forms where few parts of a section vary, else the numeric solve."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.acoustic.branch import Branch
from xover.curve import Complex, Float
from xover.network import Network, find_sections, solve
from xover.network.closed_form import ClosedForm, compile_closed_form
from xover.sound.prediction import Sound

MOST_CLOSED: Final = 8
"""Parts that vary in one section, up to which the closed form is the faster way (measured)."""


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
    most = max(len(names.intersection(s.elements)) for s in find_sections(network))
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
