"""The exact worst corner: every part at the end of its tolerance, in every combination.

Sections do not touch each other behind an ideal source, so a driver's drive depends on the parts of its own section
alone: 2^n corners for n parts there. The sum takes every corner of one section with every corner of the others.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from xover.curve import Complex, Float
from xover.network import Network, find_sections
from xover.readable import Readable
from xover.remark import About, Remark
from xover.rules.budgets import MOST_CORNERS_S, solving_s
from xover.search.builds import PartSpread, SumRule, build_solver, built_values, draw_names, magnitude_db
from xover.studies.bears.tolerance.bands import Band

MOST_IN_SECTION: Final = 16
"""Parts of one section whose corners are worked out: 65,536 of them."""
MOST_TOGETHER: Final = 20
"""Parts of all sections whose corners are combined for the sum: about a million."""
INSIDE_NOTE: Final = Remark(
    "a corner has every part at an end of its tolerance; beside a resonance or a null the true extreme can lie between "
    "the ends, so the builds are held against the corners",
    About.METHOD,
)
_FEW: Final = 20
"""Parts that a closed form serves, far faster than the estimate."""
_AT_ONCE: Final = 1 << 20
"""Complex values held at a time."""
_ROUNDING_DB: Final = 1e-9


@dataclass(frozen=True, eq=False, repr=False)
class CornerBand(Readable):
    """Lowest and highest level over all corners, less the nominal.

    Attributes
    ----------
    lowest_db, highest_db : (n,) NaN where the level is not known.
    excess_db : how far the worst of the random builds lies outside; 0 where none does. at_hz : where, else NaN.
    """

    lowest_db: Float
    highest_db: Float
    excess_db: float
    at_hz: float


@dataclass(frozen=True, eq=False, repr=False)
class Corners(Readable):
    """The worst corner of each drive and of the sum.

    Attributes
    ----------
    drive : by driver's key, those that were worked out. total : None where it was not.
    refused : why something was not worked out, one sentence each.
    """

    drive: Mapping[str, CornerBand]
    total: CornerBand | None
    refused: tuple[str, ...]


@dataclass(eq=False)
class _Corner:
    """A section that feeds drivers: its corners, as values by part."""

    keys: tuple[str, ...]
    values: Mapping[str, Float]
    count: int
    drive: Mapping[str, Complex] = field(default_factory=dict)


def find_corners(
    network: Network,
    frequency_hz: Float,
    driver_ohm: Mapping[str, Complex],
    spreads: Sequence[PartSpread],
    rule: SumRule,
    nominal: Mapping[str, Complex],
    done: Callable[[float], None],
) -> tuple[dict[str, tuple[Float, Float]], tuple[Float, Float] | None, tuple[str, ...]]:
    """Lowest and highest level of each drive and of the sum over all corners.

    Parameters
    ----------
    nominal : (n,) drive by key, for sections in which nothing varies.
    done : is told the fraction that is done.

    Returns (n,) levels, lowest and highest, of the drives by key; of the sum, or None; and what was refused.
    """
    n = frequency_hz.size
    sections, refused, whole = _sections(network, spreads, n)
    drive = {key: (np.empty(n), np.empty(n)) for s in sections for key in s.keys}
    total = (np.empty(n), np.empty(n)) if whole else None
    # A solve holds an impedance, an admittance and more of every part beside what it gives.
    held = max(1, len(network.parts) // 3)
    step = max(1, _AT_ONCE // (held * max((s.count for s in sections), default=1)))
    for start in range(0, n, step):
        rows = slice(start, min(start + step, n))
        here = {name: z[rows] for name, z in driver_ohm.items()}
        for section in sections:
            if section.values:
                solver = build_solver(network, frequency_hz[rows], here, tuple(section.values))
                found, _ = solver.at(section.values, loads=False)
            else:
                found = {key: nominal[key][None, rows] for key in section.keys}
            section.drive = {key: found[key] for key in section.keys}
            for key in section.keys:
                level = magnitude_db(section.drive[key])
                drive[key][0][rows], drive[key][1][rows] = level.min(axis=0), level.max(axis=0)
        if total is not None:
            total[0][rows], total[1][rows] = _sum_extremes(sections, rule.over(rows))
        done(rows.stop / n)
    return drive, total, refused


def _sections(
    network: Network, spreads: Sequence[PartSpread], frequencies: int
) -> tuple[list[_Corner], tuple[str, ...], bool]:
    """Sections whose corners are worked out, what is refused and why, and whether the sum can be had."""
    nodes = len({n for e in (*network.parts, *network.drivers) for n in (e.a, e.b)})
    keys = {d.name: d.key for d in network.drivers}
    found, refused, together = [], [], 0
    for section in find_sections(network):
        if not section.reaches_driver:
            continue
        own = [s for s in spreads if s.part in section.elements]
        count = len(draw_names(own))
        together += count
        fed = tuple(keys[name] for name in section.drivers)
        if count > MOST_IN_SECTION:
            refused.append(
                f"no worst corner of {', '.join(fed)} and of the sum: {count} parts vary in one section, more than "
                f"{MOST_IN_SECTION}; the random builds stand alone"
            )
            continue
        seconds = solving_s(nodes, float(frequencies << count), len(network.couplings))
        if seconds > MOST_CORNERS_S and len(network.parts) > _FEW:
            refused.append(
                f"no worst corner of {', '.join(fed)} and of the sum: {1 << count} corners of {len(network.parts)} "
                "parts take too long; the random builds stand alone"
            )
            continue
        found.append(_Corner(fed, built_values(own, corner_signs(count)) if own else {}, 1 << count))
    if not refused and together > MOST_TOGETHER:
        refused.append(
            f"no worst corner of the sum: {together} parts vary together, more than {MOST_TOGETHER}; "
            "the random builds stand alone there"
        )
    return found, tuple(refused), not refused


def corner_signs(count: int) -> Float:
    """(2^count, count) every combination of -1 and +1."""
    bits = np.arange(1 << count)[:, None] >> np.arange(count)
    return np.asarray(2.0 * (bits & 1) - 1.0)


def _sum_extremes(sections: Sequence[_Corner], rule: SumRule) -> tuple[Float, Float]:
    """(n,) lowest and highest level of the sum over every combination of the sections' corners."""
    n = rule.given.size
    lowest, highest = np.full(n, np.nan), np.full(n, np.nan)
    combinations = math.prod(s.count for s in sections)
    step = max(1, _AT_ONCE // combinations)
    for start in range(0, n, step):
        rows = slice(start, min(start + step, n))
        count, missing = rows.stop - start, rule.missing[rows]
        groups = list(_group_pressures(sections, rule, rows))
        if len(groups) == 1 and not missing.any():
            (pressure,) = groups
            size = np.asarray(pressure.real**2 + pressure.imag**2)
            per_decade = 10.0
        else:
            size = sum((np.abs(p) for p in groups), missing.reshape(-1, *[1] * len(sections)))
            per_decade = 20.0
        each = size.reshape(count, -1)
        with np.errstate(divide="ignore"):
            lowest[rows], highest[rows] = (per_decade * np.log10(e) for e in (each.min(axis=1), each.max(axis=1)))
    lowest[~rule.given], highest[~rule.given] = np.nan, np.nan
    return lowest, highest


def _group_pressures(sections: Sequence[_Corner], rule: SumRule, rows: slice) -> Iterator[Complex]:
    """Pressure of each group, frequency first, then one axis for each section (of 1 where it has no part in it)."""
    here = rule.over(rows)
    for group in rule.group_names:
        total: Complex | None = None
        for axis, section in enumerate(sections, start=1):
            pressure = here.pressure({k: d[:, rows] for k, d in section.drive.items()}, group, section.keys)
            if pressure is None:
                continue
            shape = [1] * (len(sections) + 1)
            shape[0], shape[axis] = pressure.shape[1], pressure.shape[0]
            placed = np.ascontiguousarray(pressure.T).reshape(shape)
            total = placed if total is None else total + placed
        if total is not None:
            yield total


def corner_band(extremes: tuple[Float, Float], band: Band, frequency_hz: Float) -> CornerBand:
    """Hold the random builds of a band against the extremes of the corners, (n,) levels, lowest and highest."""
    with np.errstate(invalid="ignore"):
        lowest, highest = extremes[0] - band.nominal_db, extremes[1] - band.nominal_db
        beyond = np.fmax(band.highest_db - highest, lowest - band.lowest_db)
    if not np.any(beyond > _ROUNDING_DB):
        return CornerBand(lowest, highest, 0.0, math.nan)
    row = int(np.nanargmax(beyond))
    return CornerBand(lowest, highest, float(beyond[row]), float(frequency_hz[row]))
