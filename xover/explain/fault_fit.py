"""Which state of a network does a sweep speak for: the sweep made ready, all states fitted at once, and weighed.

Each state's knobs are fitted by damped Gauss-Newton steps to the logarithm of the sweep, held by their usual spreads.
The weight of a state is the probability of the sweep under it with the knobs integrated out, by the approximation of
Laplace about the best fit (MacKay, Information Theory, Inference, and Learning Algorithms, 2003, chapter 28; from
memory): a state that fits only with several parts at the end of their tolerance loses against one that fits with
all where they should be, and one with a free value pays for that freedom.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.curve import Complex, Curve, Float, Unit
from xover.driver.model import DriverModel
from xover.errors import InputError, OptionError
from xover.explain.drift import DriftingDriver, drifting_driver, moving_model
from xover.explain.sweeps import smoothness_noise
from xover.explain.terminals import (
    NOMINAL,
    DriverShape,
    State,
    Terminals,
    driver_noise,
    make_terminals,
    measured_driver,
)
from xover.network import Network
from xover.quantity import hertz
from xover.rules.bands import AUDIO_BAND_HZ
from xover.rules.budgets import hold
from xover.rules.likeness import ASSUMED_NOISE, NAMED_DRIFT
from xover.speaker import Speaker, SpeakerDriver

OUTLIER: Final = 3.0
"""Beyond so many standard deviations a miss counts in proportion and not squared (Huber 1964, from memory)."""
COARSE: Final = 0.05
"""The sweep is first taken to be as rough as this, so that a value that is far off finds its way; relative."""
COARSE_STEPS: Final = 8
MOST_STEPS: Final = 16
FIRST_STEPS: Final = 5
"""Steps for all states, before those far behind are left."""
FAR_BEHIND: Final = 200.0
"""A state so many nepers of probability behind the best after the first steps, and not gaining, is left as it is."""
SETTLED: Final = 0.01
_ENTRIES: Final = 2_000_000
"""Slopes that are worked out at a time, each 8 bytes in some eight arrays."""
MOST_STEP: Final = 1.0
"""No knob moves by more than a factor e in one step."""


@dataclass(frozen=True, eq=False)
class Sweep:
    """What was measured at the terminals.

    Attributes
    ----------
    log_ohm : (n,) complex; the real part alone counts without phase.
    sigma : (n,) standard deviation of real and imaginary part each, drivers' own noise included.
    """

    log_ohm: Complex
    sigma: Float
    has_phase: bool


@dataclass(frozen=True, eq=False)
class Fits:
    """Every state at its best.

    Attributes
    ----------
    turned : (k, p) knobs. doubt : (k, p) their standard deviations.
    log_ohm : (k, n) what the state then reads at the terminals.
    cost : (k,) minus the logarithm of the probability of the sweep under the state, up to a constant.
    misfit : (k,) rms of the residual over its standard deviation, outliers cut at 3: about 1 where it fits.
    residual : (k,) rms of the relative residual |Z/Z_fit - 1|; of the magnitudes without phase.
    """

    turned: Float
    doubt: Float
    log_ohm: Complex
    cost: Float
    misfit: Float
    residual: Float


def fit_states(terminals: Terminals, states: Sequence[State], sweep: Sweep) -> Fits:
    """Fit every state's knobs to a sweep: to one with coarse noise first, then to what it is.

    Raises OptionError: so many of both that it would take too long.
    """
    spread = terminals.spreads(states)
    knobs = spread.shape[1]
    hold(
        f"{len(states)} faults with {knobs} tolerances each",
        "leave out of the netlist what this sweep does not see, or verify each section by itself",
        seconds=6.0 * len(states) * (0.5e-3 + 1.6e-9 * stacked_sigma(sweep).size * knobs**2),
        size_bytes=24.0 * len(states) * knobs**2,
    )
    coarse = replace(sweep, sigma=np.hypot(sweep.sigma, COARSE))
    everyone = np.ones(len(states), dtype=bool)
    rough = _descend(terminals, states, coarse, spread, terminals.begin(states), COARSE_STEPS, everyone)
    hopeful = rough.loss < rough.loss.min() + FAR_BEHIND
    best = _descend(terminals, states, sweep, spread, rough.turned, MOST_STEPS, hopeful)
    return _weigh(best, sweep, spread, spread > 0)


def _descend(
    terminals: Terminals,
    states: Sequence[State],
    sweep: Sweep,
    spread: Float,
    begin: Float,
    most: int,
    hopeful: NDArray[np.bool_],
) -> _Best:
    """Every state that is hopeful at its best, the others as they begin."""
    free = spread > 0
    weight = np.where(free, 1.0 / np.where(free, spread, 1.0) ** 2, 1.0)
    best = _begin(begin)
    damping = np.full(len(states), 1e-3)
    running = np.arange(len(states))
    trial = best.turned.copy()
    for step in range(most):
        now = _at(terminals, [states[int(i)] for i in running], trial[running], sweep, weight[running], free[running])
        better = now.loss < best.loss[running]
        best.keep(running[better], now, better)
        gained = np.where(better, best.gain[running], 0.0)
        damping[running] = np.where(better, damping[running] * 0.1, damping[running] * 10.0)
        going = ((gained > SETTLED) | ~better) & (damping[running] < 1e6) & hopeful[running]
        if step + 1 >= FIRST_STEPS:
            going &= best.loss[running] - gained * 3.0 < best.loss.min() + FAR_BEHIND
        running = running[going]
        if running.size == 0:
            break
        trial[running] = best.turned[running] + best.step(running, damping[running])
    return best


@dataclass(eq=False)
class _Best:
    """The best point of each state so far, with what the next step needs."""

    turned: Float
    loss: Float
    gain: Float
    normal: Float
    push: Float
    log_ohm: Complex

    def keep(self, rows: NDArray[np.intp], now: _Best, which: NDArray[np.bool_]) -> None:
        self.gain[rows] = np.where(np.isfinite(self.loss[rows]), self.loss[rows] - now.loss[which], np.inf)
        for name in ("turned", "loss", "normal", "push"):
            getattr(self, name)[rows] = getattr(now, name)[which]
        if self.log_ohm.shape[1] != now.log_ohm.shape[1]:
            self.log_ohm = np.zeros((self.loss.size, now.log_ohm.shape[1]), dtype=complex)
        self.log_ohm[rows] = now.log_ohm[which]

    def step(self, rows: NDArray[np.intp], damping: Float) -> Float:
        """(k, p) the next step of each state, damped in the scale of each knob."""
        normal = self.normal[rows].copy()
        diagonal = np.arange(normal.shape[1])
        normal[:, diagonal, diagonal] *= 1.0 + damping[:, None]
        step = np.linalg.solve(normal, self.push[rows][..., None])[..., 0]
        longest = np.maximum(np.abs(step).max(axis=1, keepdims=True), MOST_STEP)
        return np.asarray(step * (MOST_STEP / longest))


def _begin(turned: Float) -> _Best:
    count, knobs = turned.shape
    return _Best(
        turned,
        np.full(count, np.inf),
        np.full(count, np.inf),
        np.tile(np.eye(knobs), (count, 1, 1)),
        np.zeros((count, knobs)),
        np.zeros((count, 0), dtype=complex),
    )


def _at(
    terminals: Terminals, states: Sequence[State], turned: Float, sweep: Sweep, weight: Float, free: NDArray[np.bool_]
) -> _Best:
    """Loss at a point, and the normal equations there; of few states at a time, as slopes take much memory."""
    step = max(1, _ENTRIES // (stacked_sigma(sweep).size * turned.shape[1]))
    several = [slice(start, start + step) for start in range(0, len(states), step)]
    found = [_at_once(terminals, states[s], turned[s], sweep, weight[s], free[s]) for s in several]
    return _Best(*(np.concatenate([getattr(one, f.name) for one in found]) for f in fields(_Best)))


def _at_once(
    terminals: Terminals, states: Sequence[State], turned: Float, sweep: Sweep, weight: Float, free: NDArray[np.bool_]
) -> _Best:
    rows, scaled, weighted, loss, log_ohm = _data(terminals, states, turned, sweep)
    rows, weighted = rows * free[:, None, :], weighted * free[:, None, :]
    loss = loss + 0.5 * np.sum(np.where(free, weight * turned**2, 0.0), axis=1)
    across = np.swapaxes(weighted, 1, 2)
    normal = across @ rows
    knobs = np.arange(turned.shape[1])
    normal[:, knobs, knobs] += weight
    push = (across @ scaled[..., None])[..., 0] - np.where(free, weight * turned, 0.0)
    return _Best(turned, loss, np.zeros_like(loss), normal, push, log_ohm)


def _data(
    terminals: Terminals, states: Sequence[State], turned: Float, sweep: Sweep
) -> tuple[Float, Float, Float, Float, Complex]:
    """Slopes (k, m, p) and misses (k, m) in standard deviations; slopes weighted for outliers; loss; log ohm."""
    log_ohm, slopes = terminals.look(states, turned)
    scaled = stacked(log_miss(sweep, log_ohm), sweep) / stacked_sigma(sweep)
    size = np.abs(scaled)
    cut = np.where(size > OUTLIER, OUTLIER / np.maximum(size, OUTLIER), 1.0)
    loss = np.sum(np.where(size > OUTLIER, OUTLIER * size - 0.5 * OUTLIER**2, 0.5 * size**2), axis=1)
    rows = np.concatenate([slopes.real, slopes.imag], axis=1) if sweep.has_phase else slopes.real
    rows = rows / stacked_sigma(sweep)[:, None]
    return rows, scaled, rows * cut[..., None], loss, log_ohm


def _weigh(best: _Best, sweep: Sweep, spread: Float, free: NDArray[np.bool_]) -> Fits:
    covariance = np.linalg.inv(best.normal)
    diagonal = np.arange(spread.shape[1])
    doubt = np.where(free, np.sqrt(np.maximum(covariance[:, diagonal, diagonal], 0.0)), 0.0)
    _, logarithm = np.linalg.slogdet(best.normal)
    cost = best.loss + 0.5 * logarithm + np.sum(np.where(free, np.log(np.where(free, spread, 1.0)), 0.0), axis=1)
    miss = log_miss(sweep, best.log_ohm)
    scaled = stacked(miss, sweep) / stacked_sigma(sweep)
    misfit = np.sqrt(np.mean(np.minimum(np.abs(scaled), OUTLIER) ** 2, axis=1))
    ratio = np.exp(miss if sweep.has_phase else miss.real)
    residual = np.sqrt(np.mean(np.abs(ratio - 1.0) ** 2, axis=1))
    return Fits(best.turned, doubt, best.log_ohm, cost, misfit, residual)


def log_miss(sweep: Sweep, log_ohm: Complex) -> Complex:
    """(k, n) logarithm of measured over modelled, its angle within half a turn."""
    return _within_half_turn(sweep.log_ohm - log_ohm)


def _within_half_turn(miss: Complex) -> Complex:
    angle = (miss.imag + np.pi) % (2.0 * np.pi) - np.pi
    return np.asarray(miss.real + 1j * angle, dtype=complex)


def stacked(miss: Complex, sweep: Sweep) -> Float:
    """(k, n or 2n) what counts of a miss."""
    return np.concatenate([miss.real, miss.imag], axis=1) if sweep.has_phase else np.asarray(miss.real)


def stacked_sigma(sweep: Sweep) -> Float:
    """(n or 2n,) its standard deviation."""
    return np.concatenate([sweep.sigma, sweep.sigma]) if sweep.has_phase else sweep.sigma


def apart(one: Complex, others: Complex, sweep: Sweep) -> Float:
    """(k,) how far fitted impedances lie from one of them: the chi-square that a sweep of this noise could show."""
    scaled = stacked(_within_half_turn(one[None, :] - others), sweep) / stacked_sigma(sweep)
    return np.asarray(np.sum(scaled**2, axis=1))


def foresee(terminals: Terminals, state: State, turned: Float, sweep: Sweep, spreads: Float) -> tuple[Float, Float]:
    """What freeing other knobs at one point of one state would come to, to first order.

    Parameters
    ----------
    turned : (p,) knobs of the point. spreads : (m, p) of each trial.

    Returns
    -------
    (m,) cost as in `Fits`, and (m, p) knobs; one solve for all trials.
    """
    every, missed, heavy, data_loss, _ = _data(terminals, [state], turned[None, :], sweep)
    rows, miss, weighted = every[0], missed[0], heavy[0]
    free = spreads > 0
    weight = np.where(free, 1.0 / np.where(free, spreads, 1.0) ** 2, 1.0)
    normal = (weighted.T @ rows)[None, :, :] * free[:, :, None] * free[:, None, :]
    knobs = np.arange(turned.size)
    normal[:, knobs, knobs] += weight
    push = np.where(free, weighted.T @ miss - weight * turned, 0.0)
    step = np.linalg.solve(normal, push[..., None])[..., 0]
    loss = float(data_loss[0]) + 0.5 * np.sum(np.where(free, weight * turned**2, 0.0), axis=1)
    loss = loss - 0.5 * np.sum(push * step, axis=1)
    freedom = np.sum(np.where(free, np.log(np.where(free, spreads, 1.0)), 0.0), axis=1)
    return loss + 0.5 * np.linalg.slogdet(normal)[1] + freedom, turned + step


ROWS_PER_OCTAVE: Final = 24
FEWEST_ROWS: Final = 12
MISSED_ALIKE: Final = 10.0
"""What the model of a driver's change misses is smooth, alike in so many rows, which count as one."""
FLOOR: Final = 0.002
"""Relative: interpolation, rounding in files and what else no noise figure knows. Common practice, no source."""

Shaper = Callable[[str, SpeakerDriver, Float], DriverShape]
"""Makes the driver on a card from the card's key, the driver and the frequencies."""


def drifting_drivers(speaker: Speaker, network: Network) -> Shaper:
    """Makes drivers of the folder that have moved a little since their sweeps."""
    models: dict[str, DriverModel | None] = {}
    for name in network.driver_names:
        curve = speaker.drivers[name].impedance
        models[name] = None if curve is None else moving_model(curve)

    def shape(key: str, driver: SpeakerDriver, frequency_hz: Float) -> DriverShape:
        del key
        if driver.impedance is None:
            return measured_driver(driver, frequency_hz)
        return drifting_driver(driver.impedance, frequency_hz, models[driver.name], NAMED_DRIFT)

    return shape


@dataclass(frozen=True, eq=False)
class FaultSetup:
    """Everything at the frequencies of the sweep.

    Attributes
    ----------
    measured_ohm : (n,). noise : relative, of the sweep. predicted_log_ohm : (n,) of the network as it is.
    """

    speaker: Speaker
    network: Network
    terminals: Terminals
    sweep: Sweep
    measured_ohm: Complex
    noise: float
    noise_source: str
    predicted_log_ohm: Complex
    warnings: tuple[str, ...]

    @property
    def frequency_hz(self) -> Float:
        """(n,) the rows that count."""
        return self.terminals.frequency_hz


def make_bench(
    speaker: Speaker,
    network: Network,
    curve: Curve,
    *,
    channel: str | None = None,
    band_hz: tuple[float, float] = AUDIO_BAND_HZ,
    noise: float | None = None,
    shaper: Shaper | None = None,
) -> FaultSetup:
    """Lay out a sweep: rows inside the band where every driver is known, 24 in an octave at most.

    Parameters
    ----------
    noise : relative standard deviation of a row; estimated from the sweep's smoothness if None.
    shaper : of the drivers; those that drift if None.

    Raises
    ------
    InputError : not an impedance, or too few rows that count. OptionError, NoSolutionError : as make_terminals.
    """
    where = curve.source or None
    if curve.unit is not Unit.OHM:
        raise InputError("is not an impedance", "name the sweep at the terminals, in ohm", where)
    level, source = noise_of(curve, noise)
    shaper = shaper or drifting_drivers(speaker, network)
    frequency, measured = _thinned(curve, band_hz)
    shapes = {c.key: shaper(c.key, speaker.drivers[c.driver], frequency) for c in network.drivers}
    known = np.ones(frequency.size, dtype=bool)
    for shape in shapes.values():
        known &= np.isfinite(shape.at(np.zeros((1, len(shape.knobs))))[0][0])
    if np.count_nonzero(known) < FEWEST_ROWS:
        raise InputError(
            f"has only {np.count_nonzero(known)} rows between {hertz(band_hz[0])} and {hertz(band_hz[1])} at which "
            "every driver's impedance is known",
            f"sweep finer and wider, {FEWEST_ROWS} rows or more; 24 in an octave are good",
            where,
        )
    warnings = _reach_note(frequency, known)
    frequency, measured = frequency[known], measured[known]
    shapes = {c.key: shaper(c.key, speaker.drivers[c.driver], frequency) for c in network.drivers}
    terminals = make_terminals(network, channel, frequency, shapes)
    log_ohm, _ = terminals.look([NOMINAL], terminals.begin([NOMINAL]))
    variance = np.full(frequency.size, level**2 + FLOOR**2)
    for name in network.driver_names:  # cards of one driver share its sweep, and so its noise
        total = terminals.driver_share([c.key for c in network.drivers if c.driver == name])
        variance += np.abs(total) ** 2 * driver_noise(speaker.drivers[name]) ** 2
        shape = next(shapes[c.key] for c in network.drivers if c.driver == name)
        if isinstance(shape, DriftingDriver):
            variance += MISSED_ALIKE * (np.abs(total) * shape.missed) ** 2
    sweep = Sweep(np.log(measured), np.sqrt(variance), curve.has_phase)
    return FaultSetup(speaker, network, terminals, sweep, measured, level, source, log_ohm[0], warnings)


def noise_of(curve: Curve, stated: float | None) -> tuple[float, str]:
    """Relative noise of a row of a sweep, and where the figure comes from. Raises OptionError."""
    if stated is not None:
        if not 0 < stated < 1:
            raise OptionError(f"a noise of {stated:g} was stated", "give a share above 0 and below 1, such as 0.5%")
        return stated, "as stated"
    found = smoothness_noise(curve)
    if not math.isfinite(found.either):
        return ASSUMED_NOISE, "assumed, the sweep has too few rows to tell"
    return found.either, f"estimated from {found.source}"


def _thinned(curve: Curve, band_hz: tuple[float, float]) -> tuple[Float, Complex]:
    """Rows inside a band, each at least a 24th of an octave from the last."""
    inside = np.flatnonzero((curve.frequency_hz >= band_hz[0] * 0.999) & (curve.frequency_hz <= band_hz[1] * 1.001))
    kept: list[int] = []
    for row in inside:
        if not kept or np.log2(curve.frequency_hz[row] / curve.frequency_hz[kept[-1]]) >= 0.98 / ROWS_PER_OCTAVE:
            kept.append(int(row))
    return curve.frequency_hz[kept], curve.value[kept]


def _reach_note(frequency: Float, known: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> tuple[str, ...]:
    if known.all():
        return ()
    reach = frequency[known]
    return (
        f"the sweep counts from {hertz(float(reach[0]))} to {hertz(float(reach[-1]))} only: beyond, a driver's "
        "impedance is not known",
    )
