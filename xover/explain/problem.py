"""Everything that is fitted together: sweeps, the network, what is not known of it and of the measurement."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.curve import Complex, Curve, Evidence, Float
from xover.driver.beyond import beyond
from xover.driver.model import DriverModel
from xover.errors import InputError
from xover.explain.drift import KNOBS, drifting_driver, moving_model
from xover.explain.sweeps import FLOOR, Noise, Sweep, SweepPlace, smoothness_noise, swept_channel
from xover.explain.unknowns import NORMAL_95, SweepModel, Unknown, network_for
from xover.network import Network, solve
from xover.network.adjoint import ParameterKind
from xover.network.discs import relative, solve_discs
from xover.rules.likeness import ASSUMED_NOISE, DRIVER_DRIFT, JIG_GAIN
from xover.rules.margins import TIGHT_SHARE
from xover.speaker import Speaker

Index = NDArray[np.intp]

# Rows of a sweep are gathered in cells of this many to the octave; the model is worked out at every row.
CELLS_PER_OCTAVE: Final = 24
# Fewest rows with all drivers known that are worth a fit.
FEWEST_ROWS: Final = 24
# Leads that were not zeroed, mean and spread in ohms (common practice).
_LEAD_OHM: Final = (0.05, 0.15)
# Rows beyond this many are thinned before anything else, so that a sweep of 100,000 rows does no harm.
MOST_ROWS: Final = 1600
_DATASHEET_NOISE: Final = 0.02


@dataclass(frozen=True)
class Jig:
    """What is held plausible of the measurement.

    Attributes
    ----------
    gain_sd : error of each sweep's gain against the drivers' sweeps, standard deviation, relative.
    lead_ohm : resistance of the leads in the sweep; None where unknown: then it is fitted.
    scale_sd : error that all sweeps share, those of the drivers too; every value goes with it, and no sweep shows it.
    drift_sd : what fs, Qms, Bl and Re of each driver have moved by since its own sweep, relative.
    """

    gain_sd: float = JIG_GAIN
    lead_ohm: float | None = None
    scale_sd: float = 0.0
    drift_sd: float = DRIVER_DRIFT


@dataclass(frozen=True, eq=False)
class SweepRows:
    """One sweep as it is fitted.

    Attributes
    ----------
    sweep : rows where every driver is known, or bounded so well that it hardly matters.
    model : what the network predicts for them.
    cell : (n,) number of the cell that each row belongs to, rising from 0.
    rests_on : by driver, (n,) the row of its own sweep below each row here, and (n,) the share of the row above that.
    gain : index of the gain among the nuisances, -1 for none. has_lead : whether the leads are in it.
    doubt : (n,) relative, one standard deviation, of what bounded drivers leave open; alike in neighbouring rows.
    """

    sweep: Sweep
    model: SweepModel
    cell: Index
    rests_on: Mapping[str, tuple[Index, Float]]
    gain: int
    has_lead: bool
    doubt: Float

    @cached_property
    def first(self) -> Index:
        """(c,) first row of each cell."""
        return np.flatnonzero(np.diff(self.cell, prepend=-1))


@dataclass(frozen=True, eq=False)
class Residual:
    """Sweeps against a network, one entry for each sweep.

    Attributes
    ----------
    rows : (n,) ln(measured / predicted).
    slopes : (n, p) of the prediction, so that a step is found from slopes * step = rows.
    shares : (n,) d ln / d ln Z of each driver, by its name.
    """

    rows: tuple[Complex, ...]
    slopes: tuple[Complex, ...]
    shares: tuple[Mapping[str, Complex], ...]


@dataclass(frozen=True, eq=False)
class Problem:
    """What is fitted together.

    Attributes
    ----------
    sought : unknowns of the network. nuisances : of the measurement.
    driver_noise : relative noise of each driver's own sweep, alike in all directions.
    lead_ohm : known resistance of the leads; 0 where it is a nuisance.
    """

    network: Network
    channel: str
    sweeps: tuple[SweepRows, ...]
    sought: tuple[Unknown, ...]
    nuisances: tuple[Unknown, ...]
    driver_noise: Mapping[str, float]
    lead_ohm: float

    @property
    def all_unknowns(self) -> tuple[Unknown, ...]:
        """Those of the network, then those of the measurement."""
        return (*self.sought, *self.nuisances)

    @cached_property
    def centre(self) -> Float:
        """(p,) prior means of the coordinates."""
        return np.array([u.centre for u in self.all_unknowns])

    @cached_property
    def spread(self) -> Float:
        """(p,) prior standard deviations."""
        return np.array([u.spread for u in self.all_unknowns])

    @cached_property
    def floor(self) -> Float:
        """(p,) smallest coordinates: a loss is zero or more."""
        return np.array([-np.inf if u.logarithmic else 0.0 for u in self.all_unknowns])

    def residual(self, at: Float) -> Residual:
        """Compare the sweeps with the network at (p,) coordinates."""
        many = self.residuals(at[None, :])
        return Residual(
            tuple(r[0] for r in many.rows),
            tuple(s[0] for s in many.slopes),
            tuple({name: d[0] for name, d in share.items()} for share in many.shares),
        )

    def residuals(self, at: Float) -> Residual:
        """Compare the sweeps with the network at (k, p) coordinates; everything has a first axis of k."""
        inner, outer = at[:, : len(self.sought)], at[:, len(self.sought) :]
        names = [u.name for u in self.nuisances]
        nothing = np.zeros(at.shape[0])
        scale = np.exp(outer[:, names.index("scale")]) if "scale" in names else np.ones(at.shape[0])
        lead = outer[:, names.index("lead")] if "lead" in names else nothing + self.lead_ohm
        rows, slopes, shares = [], [], []
        knobs = {n: slice(names.index(first), names.index(first) + len(KNOBS)) for n, first in self._drifting.items()}
        outer = outer - np.array([u.centre if is_drift(u.name) else 0.0 for u in self.nuisances])
        for sweep in self.sweeps:
            ohm, by_knob = {}, {}
            for name, driver in sweep.model.drivers.items():
                turned = outer[:, knobs[name]] if name in knobs else np.zeros((1, len(KNOBS)))
                z, by_knob[name] = driver.at(turned)
                ohm[name] = scale[:, None] * z
            told = sweep.model.predict(self.sought, inner, ohm)
            log, share = told.log, told.by_driver
            slope = np.zeros((*log.shape, at.shape[1]), dtype=complex)
            slope[:, :, : inner.shape[1]] = told.slope
            if sweep.has_lead:
                alone = np.exp(log)
                whole = alone + lead[:, None]
                log, through = np.log(whole), alone / whole
                slope[:, :, : inner.shape[1]] *= through[:, :, None]
                share = {name: s * through for name, s in share.items()}
                if "lead" in names:
                    slope[:, :, inner.shape[1] + names.index("lead")] = 1.0 / whole
            if "scale" in names:
                slope[:, :, inner.shape[1] + names.index("scale")] = sum(share.values())
            for name, columns in knobs.items():
                if name in share:
                    first = inner.shape[1] + columns.start
                    slope[:, :, first : first + len(KNOBS)] = share[name][:, :, None] * by_knob[name]
            if sweep.gain >= 0:
                log = log + outer[:, sweep.gain, None]
                slope[:, :, inner.shape[1] + sweep.gain] = 1.0
            rows.append(_wrapped(sweep.sweep.log - log, sweep.sweep.where is SweepPlace.RATIO))
            slopes.append(slope)
            shares.append(share)
        return Residual(tuple(rows), tuple(slopes), tuple(shares))

    @cached_property
    def _drifting(self) -> dict[str, str]:
        """The first of the nuisances of each driver that may have moved."""
        first = {n: drift_names(n)[0] for n in self.driver_noise}
        return {n: name for n, name in first.items() if any(u.name == name for u in self.nuisances)}

    def with_network(self, network: Network, sought: Sequence[Unknown]) -> Problem:
        """The same sweeps for another network. Raises NoSolutionError, OptionError later, when it is solved."""
        sweeps = tuple(
            replace(
                rows,
                model=replace(
                    rows.model,
                    network=network_for(network, rows.sweep.where, rows.sweep.driver),
                ),
            )
            for rows in self.sweeps
        )
        return replace(self, network=network, sweeps=sweeps, sought=tuple(sought))


def _wrapped(residual: Complex, either_sign: bool) -> Complex:
    """The phase taken between -pi and pi, or between -pi/2 and pi/2 where polarity is not judged."""
    half = math.pi / 2 if either_sign else math.pi
    return np.asarray(residual.real + 1j * ((residual.imag + half) % (2 * half) - half))


def build_problem(
    network: Network,
    drivers: Mapping[str, Curve],
    sought: Sequence[Unknown],
    sweeps: Sequence[Sweep],
    jig: Jig,
    channel: str | None = None,
) -> Problem:
    """Bring the sweeps, the network and the drivers together.

    Parameters
    ----------
    drivers : measured impedance of each driver, by its name.
    channel : where the sweeps were made; may be None where there is one only.

    Raises
    ------
    InputError
        Too few rows of a sweep lie where all drivers are known.
    OptionError
        No such channel or driver.
    """
    at = swept_channel(network, channel)
    noise = {name: _driver_noise(drivers[name]) for name in network.driver_names}
    nuisances = []
    if jig.gain_sd > 0:
        nuisances = [_factor("gain" if i == 0 else f"gain {i + 1}", jig.gain_sd) for i in range(len(sweeps))]
    if jig.lead_ohm is None and any(s.where is not SweepPlace.RATIO for s in sweeps):
        nuisances.append(Unknown("lead", "", ParameterKind.OHM, 0.0, False, *_LEAD_OHM))
    if jig.scale_sd > 0:
        nuisances.append(_factor("scale", jig.scale_sd))
    gains = range(len(sweeps)) if jig.gain_sd > 0 else [-1] * len(sweeps)
    models: dict[str, DriverModel | None] = dict.fromkeys(network.driver_names)
    if jig.drift_sd > 0:
        models = {name: moving_model(drivers[name]) for name in models}
        nuisances += [u for driver, model in models.items() for u in _drifts(driver, model, jig.drift_sd)]
    rows = tuple(
        _sweep_rows(s, network, at, drivers, models, jig.drift_sd, gain) for s, gain in zip(sweeps, gains, strict=True)
    )
    lead = 0.0 if jig.lead_ohm is None else jig.lead_ohm
    return Problem(network, at, rows, tuple(sought), tuple(nuisances), noise, lead)


def is_factor(name: str) -> bool:
    """Whether a nuisance multiplies: the gain of a sweep ("gain", "gain 2"), the scale of all, or a driver's."""
    return name.startswith("gain") or name == "scale" or is_drift(name)


def is_drift(name: str) -> bool:
    """Whether a nuisance is what a driver has moved by: "woofer fs"."""
    return name.endswith(tuple(f" {knob}" for knob in KNOBS))


def drift_names(driver: str) -> list[str]:
    """The nuisances of a driver that may have moved since its sweep."""
    return [f"{driver} {knob}" for knob in KNOBS]


def _factor(name: str, spread: float) -> Unknown:
    return Unknown(name, "", ParameterKind.DRIVER, 1.0, True, 0.0, spread)


def _drifts(driver: str, model: DriverModel | None, spread: float) -> Iterator[Unknown]:
    """What a driver has moved by, factors; but its Re in ohm where its model tells it."""
    for name in drift_names(driver):
        if model is not None and name.endswith(KNOBS[-1]):
            yield Unknown(name, "", ParameterKind.OHM, model.re_ohm, True, math.log(model.re_ohm), spread)
        else:
            yield _factor(name, spread)


def driver_curves(speaker: Speaker, network: Network) -> dict[str, Curve]:
    """The sweep of each driver of a network, by its name. Raises InputError where there is none."""
    curves = {}
    for name in network.driver_names:
        curve = speaker.drivers[name].impedance
        if curve is None:
            raise InputError(
                f"the driver '{name}' has no impedance sweep, and a datasheet is too coarse to find parts behind it",
                f"measure it unplugged, and add drivers.{name}.impedance",
                speaker.file.path,
            )
        curves[name] = curve
    return curves


def _driver_noise(curve: Curve) -> float:
    noise = smoothness_noise(curve).either
    floor = FLOOR if curve.evidence is Evidence.MEASURED else _DATASHEET_NOISE
    return max(noise, floor) if math.isfinite(noise) else max(floor, ASSUMED_NOISE)


def _sweep_rows(
    sweep: Sweep,
    network: Network,
    channel: str,
    curves: Mapping[str, Curve],
    models: Mapping[str, DriverModel | None],
    drift_sd: float,
    gain: int,
) -> SweepRows:
    seen = network_for(network, sweep.where, sweep.driver)
    key = network.driver_card(sweep.driver).key if sweep.where is SweepPlace.RATIO else ""
    f = sweep.frequency_hz
    discs = {name: beyond(curves[name], f) for name in seen.driver_names}
    doubt = _doubt(seen, channel, key, f, discs)
    kept = np.flatnonzero((doubt <= TIGHT_SHARE / NORMAL_95) & (np.abs(sweep.curve.value) > 0))
    if kept.size < FEWEST_ROWS:
        raise InputError(
            f"has {kept.size} rows where the impedance of every driver is known, too few to find parts from",
            "measure the drivers and the terminals over the same band, 24 rows in an octave or more",
            sweep.curve.source or None,
        )
    if kept.size > MOST_ROWS:
        # Evenly over ln f, as a sweep of so many rows is usually linear in f.
        wanted = np.linspace(np.log(f[kept[0]]), np.log(f[kept[-1]]), MOST_ROWS)
        kept = np.unique(kept[np.clip(np.searchsorted(np.log(f[kept]), wanted), 0, kept.size - 1)])
    assumed = Noise(ASSUMED_NOISE, ASSUMED_NOISE, "assumed, for want of rows")
    noise = sweep.noise if math.isfinite(sweep.noise.magnitude) else assumed
    shorter = replace(
        sweep, curve=replace(sweep.curve, frequency_hz=f[kept], value=sweep.curve.value[kept]), noise=noise.floored()
    )
    drivers = {
        name: drifting_driver(curves[name], f[kept], models[name], drift_sd, impedance_ohm=discs[name][0][kept])
        for name in seen.driver_names
    }
    model = SweepModel(seen, channel, key, f[kept], drivers)
    cell = np.unique(np.floor(np.log2(f[kept]) * CELLS_PER_OCTAVE).astype(int), return_inverse=True)[1]
    rests_on = {name: _interpolation(f[kept], curves[name].frequency_hz) for name in seen.driver_names}
    return SweepRows(shorter, model, cell, rests_on, gain, sweep.where is not SweepPlace.RATIO, doubt[kept])


def _doubt(network: Network, channel: str, key: str, f: Float, discs: Mapping[str, tuple[Complex, Float]]) -> Float:
    """(n,) standard deviation of what was swept, with the values as drawn; 0 where every driver is known."""
    out = np.zeros(f.size)
    rows = np.any([radius > 0 for _, radius in discs.values()], axis=0)
    if rows.any():
        middle = {name: centre[rows] for name, (centre, _) in discs.items()}
        told = solve_discs(network, f[rows], middle, {name: size[rows] for name, (_, size) in discs.items()})
        centre, radius = told.drive[key] if key else told.impedance_ohm[channel]
        nominal = solve(network, f[rows], middle)
        taken = nominal.drive[key] if key else nominal.impedance_ohm[channel]
        out[rows] = relative(taken, radius + np.abs(taken - centre)) / NORMAL_95
    return out


def _interpolation(at: Float, rows: Float) -> tuple[Index, Float]:
    """How rows of a driver's sweep enter: straight over ln f, in place of the cubic pieces."""
    u, knots = np.log(at), np.log(rows)
    left = np.clip(np.searchsorted(knots, u, side="right") - 1, 0, knots.size - 2)
    share = np.clip((u - knots[left]) / (knots[left + 1] - knots[left]), 0.0, 1.0)
    return left, share
