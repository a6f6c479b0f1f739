"""Where nothing was measured: how far typical drift of every part could have moved the speaker."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.curve import Complex, Float
from xover.network import Network, find_sections
from xover.network.parts import Capacitor, Inductor, Part, settings
from xover.parts.kinds import FACTS, PartKind, kind_of
from xover.readable import Readable
from xover.sound.change import Worst, change_db, difference_db, largest, size_of
from xover.sound.sums import Listener
from xover.studies.aged.condition.blame import LookedAt, all_combinations

MOST_CORNERS: Final = 1024
"""So many corners of a section are all tried, and so many combinations of sections."""
DRAWS: Final = 2000
SEED: Final = 1
MOST_ROUNDS: Final = 5


@dataclass(frozen=True)
class DriftRange:
    """One number of a part and how far it may have drifted, SI.

    Attributes
    ----------
    part : its name. ending : "" the value, "_df" the dissipation factor, "_dcr" the resistance of a coil.
    marked : in the original. low, high : after some decades, `marked` within them.
    """

    part: str
    ending: str
    marked: float
    low: float
    high: float


@dataclass(frozen=True, eq=False)
class PartReach:
    """What one part could have done by itself.

    Attributes
    ----------
    ranges : of its numbers.
    low_db, high_db : (n,) lowest and highest change of the sum. lowest, highest : in the band.
    drive : the largest change of each drive in the band, where it lies within 20 dB of its highest.
    """

    name: str
    kind: PartKind
    ranges: tuple[DriftRange, ...]
    low_db: Float
    high_db: Float
    lowest: Worst
    highest: Worst
    drive: Mapping[str, Worst]

    @property
    def most(self) -> Worst:
        """The larger of the two changes of the sum."""
        return max(self.highest, self.lowest, key=size_of)

    @property
    def most_moved(self) -> tuple[str, Worst]:
        """The driver whose drive it could move most, by key, and how."""
        return max(self.drive.items(), key=lambda item: size_of(item[1]))

    @property
    def effect_db(self) -> float:
        """The most it could do to the sum, or, where no sum is known, to a drive; NaN where neither is."""
        size = size_of(self.most)
        size = size if size >= 0 else size_of(self.most_moved[1])
        return size if size >= 0 else math.nan


@dataclass(frozen=True, eq=False, repr=False)
class DriftEnvelope(Readable):
    """All that assumed drift could have done.

    Attributes
    ----------
    parts : those that may have drifted, the one that could do most first.
    drive_low_db, drive_high_db : (n,) lowest and highest change of each drive. drive_lowest, drive_highest : in band.
    total_low_db, total_high_db : (n,) of the sum. total_lowest, total_highest : in band.
    method : which combinations were tried, in words.
    """

    parts: tuple[PartReach, ...]
    drive_low_db: Mapping[str, Float]
    drive_high_db: Mapping[str, Float]
    drive_lowest: Mapping[str, Worst]
    drive_highest: Mapping[str, Worst]
    total_low_db: Float
    total_high_db: Float
    total_lowest: Worst
    total_highest: Worst
    method: str


def drift_ranges(part: Part) -> tuple[DriftRange, ...]:
    """Which numbers of a part may have drifted, and how far: those of its kind, common practice."""
    facts, now = FACTS[kind_of(part)], settings(part)
    low, high = facts.drift
    ranges = [DriftRange(part.name, "", now[""], now[""] * (1 + low), now[""] * (1 + high))]
    if isinstance(part, Capacitor) and facts.aged_dissipation_factor is not None:
        least, most = facts.aged_dissipation_factor
        df = part.dissipation_factor
        ranges.append(DriftRange(part.name, "_df", df, min(df, least), max(df, most)))
    if isinstance(part, Inductor) and facts.dcr_drift is not None:
        less, more = facts.dcr_drift
        ranges.append(DriftRange(part.name, "_dcr", part.dcr_ohm, part.dcr_ohm * (1 + less), part.dcr_ohm * (1 + more)))
    return tuple(r for r in ranges if r.high > r.low)


def drift_envelope(at: LookedAt, *, apart: bool) -> DriftEnvelope:
    """Try the corners of all ranges: every number at its lowest or its highest.

    Each section's corners are solved apart, and the sums of all combinations of sections formed; of more than 1024
    combinations the best and the worst are sought, and of more than 1024 corners of one section 2000 are drawn at
    random, with a fixed seed. Between corners a change could be a little larger, as levels need not rise or fall
    with a value throughout.

    Parameters
    ----------
    apart : sections do not touch each other (False where channels share no ground: one section then).
    """
    ranges = {p.name: drift_ranges(p) for p in at.network.parts}
    kinds = {p.name: kind_of(p) for p in at.network.parts}
    rng = np.random.default_rng(SEED)
    nominal = at.drives()
    drive = {key: value[None, :] for key, value in nominal.items()}
    level = at.listener.levels_db(drive)[0]
    sections, drawn = [], False
    for names, keys in _sections(at.network, apart):
        free = [r for name in names for r in ranges.get(name, ())]
        if not keys or not free:
            continue
        corners = _corners(len(free), rng)
        drawn = drawn or 2 ** len(free) > MOST_CORNERS
        solved = at.drives(_values(free, corners))
        drive |= {key: solved[key] for key in keys}
        sections.append(keys)
    changes = {key: change_db(nominal[key], value) for key, value in drive.items()}
    low = {key: np.fmin.reduce(value, axis=0) for key, value in changes.items()}
    high = {key: np.fmax.reduce(value, axis=0) for key, value in changes.items()}
    total_low, total_high = _sum_extremes(drive, sections, nominal, at.listener, level)
    reaches = [_alone(name, kinds[name], own, at, level, nominal) for name, own in ranges.items() if own]
    f = at.frequency_hz
    return DriftEnvelope(
        parts=tuple(sorted(reaches, key=lambda p: -np.nan_to_num(p.effect_db, nan=-1.0))),
        drive_low_db=low,
        drive_high_db=high,
        drive_lowest={key: largest(f, np.minimum(low[key], 0.0), at.rows[key]) for key in low},
        drive_highest={key: largest(f, np.maximum(high[key], 0.0), at.rows[key]) for key in high},
        total_low_db=total_low,
        total_high_db=total_high,
        total_lowest=at.largest(np.minimum(total_low, 0.0)),
        total_highest=at.largest(np.maximum(total_high, 0.0)),
        method=_method([drive[keys[0]].shape[0] for keys in sections], drawn),
    )


def _sections(network: Network, apart: bool) -> list[tuple[tuple[str, ...], tuple[str, ...]]]:
    """Elements and driver keys of each section."""
    keys = {d.name: d.key for d in network.drivers}
    if apart:
        return [(s.elements, tuple(keys[d] for d in s.drivers)) for s in find_sections(network)]
    return [(tuple(p.name for p in network.parts), tuple(keys.values()))]


def _corners(count: int, rng: np.random.Generator) -> NDArray[np.bool_]:
    """(k, count) True: at its highest. All of them, or the two extremes and a draw of the others."""
    if 2**count <= MOST_CORNERS:
        return all_combinations(count)
    ends = np.array([[False] * count, [True] * count])
    return np.concatenate([ends, rng.integers(0, 2, (DRAWS, count)) == 1])


def _values(free: Sequence[DriftRange], corners: NDArray[np.bool_]) -> dict[str, Float]:
    return {r.part + r.ending: np.where(corners[:, i], r.high, r.low) for i, r in enumerate(free)}


def _sum_extremes(
    drive: Mapping[str, Complex],
    sections: Sequence[tuple[str, ...]],
    nominal: Mapping[str, Complex],
    listener: Listener,
    level_db: Float,
) -> tuple[Float, Float]:
    """Lowest and highest change of the sum over combinations of the sections' corners."""
    counts = [drive[keys[0]].shape[0] for keys in sections]
    if math.prod(counts) > MOST_CORNERS:
        low, high = (_climb(drive, sections, nominal, listener, sign) for sign in (-1.0, 1.0))
        return difference_db(level_db, low), difference_db(level_db, high)
    pick = {key: value[None, :] for key, value in nominal.items()}
    grids = np.meshgrid(*(np.arange(c) for c in counts), indexing="ij")
    for keys, grid in zip(sections, grids, strict=True):
        pick |= {key: drive[key][grid.ravel()] for key in keys}
    change = difference_db(level_db, listener.levels_db(pick))
    return np.fmin.reduce(change, axis=0), np.fmax.reduce(change, axis=0)


def _climb(
    drive: Mapping[str, Complex],
    sections: Sequence[tuple[str, ...]],
    nominal: Mapping[str, Complex],
    listener: Listener,
    sign: float,
) -> Float:
    """(n,) highest level of the sum (sign 1; lowest: -1) that choosing one section after the other finds.

    At each frequency by itself, the section's best corner with the other sections held, in turn until no choice
    changes: a combination that can be, and seldom not the best of all.
    """
    column = np.arange(next(iter(nominal.values())).size)
    now = {key: value[None, :] for key, value in nominal.items()}
    best: Float = listener.levels_db(now)[0]
    for _ in range(MOST_ROUNDS):
        before = best
        for keys in sections:
            level = listener.levels_db(now | {key: drive[key] for key in keys})
            row = np.argmax(np.where(np.isnan(level), -np.inf, sign * level), axis=0)
            now |= {key: drive[key][row, column][None, :] for key in keys}
            best = level[row, column]
        if np.array_equal(before, best, equal_nan=True):
            break
    return best


def _alone(
    name: str,
    kind: PartKind,
    own: tuple[DriftRange, ...],
    at: LookedAt,
    level_db: Float,
    nominal: Mapping[str, Complex],
) -> PartReach:
    """One part at its own corners, all others as marked."""
    drive = at.drives(_values(own, all_combinations(len(own))))
    change = difference_db(level_db, at.listener.levels_db(drive))
    low, high = np.fmin.reduce(change, axis=0), np.fmax.reduce(change, axis=0)
    moved = {
        key: max((at.largest_drive(key, nominal[key], one) for one in value), key=size_of)
        for key, value in drive.items()
    }
    lowest, highest = at.largest(np.minimum(low, 0.0)), at.largest(np.maximum(high, 0.0))
    return PartReach(name, kind, own, low, high, lowest, highest, moved)


def _method(counts: Sequence[int], drawn: bool) -> str:
    if not counts:
        return "no part that may drift feeds a driver"
    corners = f"{DRAWS} random corners (fixed seed)" if drawn else "every corner"
    drives = f"drives: {corners} of the ranges of each section's parts ({' + '.join(str(c) for c in counts)})"
    if math.prod(counts) <= MOST_CORNERS:
        return f"{drives}; sum: all {math.prod(counts)} combinations of them"
    return f"{drives}; sum: the combination found by choosing one section's corner after the other, at each frequency"
