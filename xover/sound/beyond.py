"""A network solved where a driver's sweep does not reach: told with its bound where that is tight, else blank."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from xover.curve import Complex, Float
from xover.network import Network, Solution, solve
from xover.network.discs import Discs, relative, solve_discs
from xover.quantity import hertz
from xover.remark import About, Remark
from xover.rules.margins import TIGHT_DB, TIGHT_SHARE
from xover.speaker import Speaker

Rows = NDArray[np.bool_]


@dataclass(frozen=True)
class Bound:
    """What a driver's missing impedance does on one side of its sweep.

    Attributes
    ----------
    driver : its name. from_hz, to_hz : the band in which its impedance was not swept. below : of its sweep.
    load_percent : by channel, how far the load may be off at most, where it is told; None where it is told nowhere.
    drive_db : the same of the drives, by key.
    sum_db : how far the sum may be off by it, where it is told; None where that was not worked out.
    load_blank_hz, drive_blank_hz : lowest and highest of what stays blank in that band, where something does.
    """

    driver: str
    below: bool
    from_hz: float
    to_hz: float
    edge_hz: float
    load_percent: Mapping[str, float | None]
    drive_db: Mapping[str, float | None]
    load_blank_hz: Mapping[str, tuple[float, float]]
    drive_blank_hz: Mapping[str, tuple[float, float]]
    sum_db: float | None = None

    def with_sum(self, frequency_hz: Float, doubt: Float | float) -> Bound:
        """The same with how far the sum may be off, of (n,) doubts as in `AcousticSum`."""
        shares = np.broadcast_to(doubt, frequency_hz.shape)
        known = shares[(frequency_hz >= self.from_hz) & (frequency_hz <= self.to_hz) & np.isfinite(shares)]
        return replace(self, sum_db=float(_in_db(known).max(initial=0.0)))

    @property
    def of_load(self) -> Remark:
        """What it does to the load, in a sentence."""
        return self._told(self._loads())

    @property
    def of_sum(self) -> Remark:
        """What it does to the sum."""
        return self._told(self._sum())

    @property
    def of_all(self) -> Remark:
        """What it does to load, sum and drives."""
        return self._told([*self._loads(), *self._sum(), *self._drives()])

    def _told(self, effects: list[str]) -> Remark:
        start = f"the impedance of {self.driver} was not swept {'below' if self.below else 'above'} "
        words = f"{start}{hertz(self.edge_hz)}, it is bounded there: {'; '.join(effects) or 'nothing hangs on it'}"
        return Remark(words, About.IMPEDANCE, named=True)

    def _loads(self) -> list[str]:
        several = len(self.load_percent) > 1
        return [*_effects("load", self.load_percent, self.load_blank_hz, "%", several)]

    def _sum(self) -> list[str]:
        return [*_effects("sum", {"": self.sum_db}, {}, "dB", False)]

    def _drives(self) -> list[str]:
        return [*_effects("drive", self.drive_db, self.drive_blank_hz, "dB", True)]


def _effects(
    what: str, most: Mapping[str, float | None], blank: Mapping[str, tuple[float, float]], unit: str, several: bool
) -> Iterator[str]:
    for name, value in most.items():
        said = [f"good to {_up(value):g} {unit}"] if value else []
        said += [f"blank from {hertz(blank[name][0])} to {hertz(blank[name][1])}"] if name in blank else []
        if said:
            yield f"the {what} {f'of {name} ' if several else ''}is {', '.join(said)}"


def _up(value: float) -> float:
    """Rounded up to one figure, and 0.01 at the least: a bound is never told smaller than it is."""
    step = 10.0 ** max(math.floor(math.log10(value)), -2)
    return math.ceil(value / step - 1e-9) * step


@dataclass(frozen=True, eq=False)
class Solved:
    """A network solved on its own drivers.

    Attributes
    ----------
    solution : drives and loads hold what is bounded tightly too; voltages and currents of parts only what was measured.
    within : by driver's key, (n,) centre and (n,) radius that hold its drive; empty where every sweep reaches.
    load_share, drive_db : (n,) how far a load may be off, relative, by channel; and a drive, dB, by key.
    bounds : what there is to say of it.
    """

    solution: Solution
    within: Mapping[str, tuple[Complex, Float]]
    load_share: Mapping[str, Float]
    drive_db: Mapping[str, Float]
    bounds: tuple[Bound, ...]


def solved(speaker: Speaker, network: Network, frequency_hz: Float) -> Solved:
    """Solve a network of a speaker. Raises as `solve`."""
    known = speaker.impedances_ohm(network, frequency_hz)
    solution = solve(network, frequency_hz, known)
    missing = np.any([np.isnan(z) for z in known.values()], axis=0)
    if not missing.any():
        return Solved(solution, {}, {}, {}, ())
    discs = _discs(speaker, network, frequency_hz[missing])
    load_share = {name: relative(*disc) for name, disc in discs.impedance_ohm.items()}
    drive_db = {key: _in_db(relative(*disc)) for key, disc in discs.drive.items()}
    loads = {
        n: _filled(solution.impedance_ohm[n], missing, discs.impedance_ohm[n][0], load_share[n] <= TIGHT_SHARE)
        for n in load_share
    }
    drives = {k: _filled(solution.drive[k], missing, discs.drive[k][0], drive_db[k] <= TIGHT_DB) for k in drive_db}
    within = {key: (_spread(disc[0], missing), _spread(disc[1], missing)) for key, disc in discs.drive.items()}
    shares = {name: _spread(share, missing, 0.0) for name, share in load_share.items()}
    moved = {key: _spread(db, missing, 0.0) for key, db in drive_db.items()}
    return Solved(
        replace(solution, drive=drives, impedance_ohm=loads),
        within,
        shares,
        moved,
        tuple(_bounds(speaker, network, frequency_hz, shares, moved)),
    )


def solve_known(speaker: Speaker, network: Network, frequency_hz: Float) -> Solution:
    """The solution alone. Raises as `solve`."""
    return solved(speaker, network, frequency_hz).solution


def _discs(speaker: Speaker, network: Network, frequency_hz: Float) -> Discs:
    discs = {name: speaker.drivers[name].disc_ohm(frequency_hz) for name in network.driver_names}
    return solve_discs(network, frequency_hz, {n: d[0] for n, d in discs.items()}, {n: d[1] for n, d in discs.items()})


def _in_db(share: Float) -> Float:
    """The further of up and down."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(share < 1.0, np.abs(20.0 * np.log10(1.0 - np.minimum(share, 1.0))), np.inf)


def _filled(known: Complex, missing: Rows, value: Complex, tight: Rows) -> Complex:
    out = known.copy()
    out[missing] = np.where(tight, value, out[missing])
    return out


def _spread(values: NDArray[np.generic], missing: Rows, elsewhere: float = math.nan) -> NDArray:  # type: ignore[type-arg]
    out = np.full(missing.shape, elsewhere, dtype=values.dtype)
    out[missing] = values
    return out


def _bounds(
    speaker: Speaker, network: Network, f: Float, load_share: Mapping[str, Float], drive_db: Mapping[str, Float]
) -> Iterator[Bound]:
    for name in network.driver_names:
        curve = speaker.drivers[name].impedance
        if curve is None:
            continue
        for below, edge, rows in (
            (True, curve.lowest_hz, f < curve.lowest_hz),
            (False, curve.highest_hz, f > curve.highest_hz),
        ):
            if rows.any():
                band = f[rows]
                loads = {c: (100.0 * share[rows], 100.0 * TIGHT_SHARE) for c, share in load_share.items()}
                drives = {key: (db[rows], TIGHT_DB) for key, db in drive_db.items()}
                load_most, load_blank = _read(band, loads)
                drive_most, drive_blank = _read(band, drives)
                ends = float(band[0]), float(band[-1])
                yield Bound(name, below, *ends, edge, load_most, drive_most, load_blank, drive_blank)


def _read(
    f: Float, values: Mapping[str, tuple[Float, float]]
) -> tuple[dict[str, float | None], dict[str, tuple[float, float]]]:
    """The largest that is told, and what stays blank."""
    most: dict[str, float | None] = {}
    blank: dict[str, tuple[float, float]] = {}
    for name, (value, limit) in values.items():
        told = value <= limit
        most[name] = float(value[told].max()) if told.any() else None
        if not told.all():
            blank[name] = float(f[~told][0]), float(f[~told][-1])
    return most, blank
