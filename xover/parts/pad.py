"""Two-resistor pads on the impedance that a driver really has.

A pad is a resistor in series and one across the driver. The textbook pair holds for one resistance; over a driver's
curve both the drop and the load move with frequency, so a pair may be sought that comes nearest to what is wanted.

Old level controls as the fixed resistors they amount to at one setting.

At a setting that is not moved a control is its one or two pieces of track, and pieces of track are resistors: fixed
ones of the same values give the same level and the same load at every frequency, on any driver.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Complex, Float
from xover.errors import InputError
from xover.parts.preferred import series_values

DB: Final = 20.0 / math.log(10.0)
HEAT_RULE: Final = (
    "fit resistors of at least twice the power they take, clear of wood, wadding and capacitors: they run hot enough "
    "to burn fingers (common practice)"
)
# Resistors over the driver's median impedance: wide enough for every driver and drop.
_SPAN: Final = (1e-4, 1e4)
_GRID: Final = 33
_STARTS: Final = 4


@dataclass(frozen=True)
class PadResistors:
    """The pair: 0 in series is a link, infinity across the driver is nothing at all."""

    series_ohm: float
    parallel_ohm: float

    def __post_init__(self) -> None:
        if not (0 <= self.series_ohm < math.inf and self.parallel_ohm >= 0):
            raise InputError(
                f"a pad of {self.series_ohm:g} and {self.parallel_ohm:g} ohm cannot be built",
                "give resistances of zero or more, the one in series finite",
            )


def textbook_pad(ohm: float, attenuation_db: float) -> PadResistors:
    """The pair that drops a resistance by so many dB and shows the same resistance to what feeds it.

    Rs = Z (K - 1)/K, Rp = Z/(K - 1), K = 10^(dB/20).

    Raises InputError: a resistance or a drop that is not above zero.
    """
    if not (math.isfinite(ohm) and ohm > 0):
        raise InputError(f"the driver's impedance is {ohm:g} ohm", "give a value above zero, such as 8")
    if not 0 < attenuation_db <= 60:
        raise InputError(f"the drop is {attenuation_db:g} dB", "give how far down, above 0 and up to 60 dB")
    k_less_1 = math.expm1(attenuation_db / DB)  # K - 1 without its cancellation at small drops
    return PadResistors(ohm * k_less_1 / (1 + k_less_1), ohm / k_less_1)


def _padded(ohm: Complex, parallel_ohm: ArrayLike) -> Complex:
    """The driver with a resistor across it; none where that is infinite."""
    across = np.asarray(parallel_ohm, dtype=float)
    open_ = np.isinf(across)
    finite = np.where(open_, 1.0, across)
    return np.asarray(np.where(open_, ohm, finite * ohm / (finite + ohm)))


def pad_load_ohm(series_ohm: ArrayLike, parallel_ohm: ArrayLike, ohm: Complex) -> Complex:
    """Impedance that the filter sees: Rs + Rp Z/(Rp + Z). Broadcasts; Rp may be infinite."""
    return np.asarray(np.asarray(series_ohm, dtype=float) + _padded(ohm, parallel_ohm))


def pad_transfer(series_ohm: ArrayLike, parallel_ohm: ArrayLike, ohm: Complex) -> Complex:
    """Voltage at the driver over that at the pad's input. Broadcasts; Rp may be infinite."""
    inner = _padded(ohm, parallel_ohm)
    return np.asarray(inner / (np.asarray(series_ohm, dtype=float) + inner))


@dataclass(frozen=True, eq=False)
class PadAim:
    """What a pad should do on one driver.

    Attributes
    ----------
    frequency_hz : (n,) evenly spaced in octaves, as all count alike. ohm : (n,) complex, the driver.
    level_db : (n,) voltage at the driver over the pad's input. load_ohm : (n,) complex, what the filter should see.

    Raises InputError: the driver's impedance is not known at every frequency.
    """

    frequency_hz: Float
    ohm: Complex
    level_db: Float
    load_ohm: Complex

    def __post_init__(self) -> None:
        if self.frequency_hz.size == 0 or not np.all(np.isfinite(self.ohm)) or not np.all(self.ohm != 0):
            raise InputError("the driver's impedance is not known over the whole band", "narrow the band to its sweep")


def aim_of_drop(frequency_hz: Float, ohm: Complex, attenuation_db: float) -> PadAim:
    """So many dB less at all frequencies, with the driver's own impedance left in place."""
    return PadAim(frequency_hz, ohm, np.full(frequency_hz.shape, -attenuation_db), ohm)


def aim_of_pad(frequency_hz: Float, ohm: Complex, pad: PadResistors) -> PadAim:
    """Exactly what another pad does on this driver."""
    level = DB * np.log(np.abs(pad_transfer(pad.series_ohm, pad.parallel_ohm, ohm)))
    return PadAim(frequency_hz, ohm, level, pad_load_ohm(pad.series_ohm, pad.parallel_ohm, ohm))


@dataclass(frozen=True)
class PadWeights:
    """How much an error counts, squared and averaged over octaves: level in dB, load as 20 lg of the complex ratio.

    Half for the load: a filter's output moves by a part of what its load moves by.
    """

    level: float = 1.0
    load: float = 0.5


EVEN: Final = PadWeights()


def pad_cost(series_ohm: ArrayLike, parallel_ohm: ArrayLike, aim: PadAim, weights: PadWeights = EVEN) -> Float:
    """Weighted mean square error in dB^2 against the aim; broadcasts over pairs, (...,)."""
    rs = np.asarray(series_ohm, dtype=float)[..., None]
    inner = _padded(aim.ohm, np.asarray(parallel_ohm, dtype=float)[..., None])
    load = rs + inner
    level = DB * np.log(np.abs(inner / load)) - aim.level_db
    ratio = load / aim.load_ohm
    size, angle = DB * np.log(np.abs(ratio)), DB * np.angle(ratio)
    cost = (weights.level * level) ** 2 + weights.load**2 * (size**2 + angle**2)
    return np.asarray(cost.mean(axis=-1))


def best_pad(aim: PadAim, weights: PadWeights = EVEN) -> PadResistors:
    """The pair of least `pad_cost`, whatever its values, from 1e-4 to 1e4 of the driver's median impedance.

    A grid over both logarithms, then least squares in a trust region (scipy) from the best of its hollows: the cost
    may have two, and each is a narrow bent valley where the load counts for little.
    """
    scale = math.log(float(np.median(np.abs(aim.ohm))))
    edges = (scale + math.log(_SPAN[0]), scale + math.log(_SPAN[1]))
    points = np.linspace(*edges, _GRID)
    cost = pad_cost(np.exp(points)[:, None], np.exp(points)[None, :], aim, weights)
    around = np.pad(cost, 1, constant_values=np.inf)
    beside = [around[i : i + _GRID, k : k + _GRID] for i in range(3) for k in range(3)]
    hollows = np.flatnonzero(cost <= np.min(beside, axis=0))
    starts = hollows[np.argsort(cost.flat[hollows])][:_STARTS]
    found = [_refined(points[np.array(np.unravel_index(i, cost.shape))], aim, weights, edges) for i in starts]
    best = min(found, key=lambda one: one[1])[0]
    return PadResistors(float(np.exp(best[0])), float(np.exp(best[1])))


def _errors(log_ohms: Float, aim: PadAim, weights: PadWeights) -> tuple[Float, Float]:
    """(3n,) errors whose sum of squares is n times the cost, and their (3n, 2) derivatives by both logarithms."""
    rs, rp = np.exp(log_ohms)
    inner = _padded(aim.ohm, rp)
    load = rs + inner
    ratio = load / aim.load_ohm
    level = DB * np.log(np.abs(inner / load)) - aim.level_db
    errors = np.concatenate([weights.level * level, weights.load * DB * np.log(np.abs(ratio))])
    errors = np.concatenate([errors, weights.load * DB * np.angle(ratio)])
    # d ln(inner) = inner/rp d ln(rp); d ln(load) = rs/load d ln(rs) + inner^2/(rp load) d ln(rp).
    of_load = np.stack([rs / load, inner**2 / (rp * load)], axis=1)
    of_inner = np.stack([np.zeros_like(inner), inner / rp], axis=1)
    by = [weights.level * (of_inner - of_load).real, weights.load * of_load.real, weights.load * of_load.imag]
    return errors, DB * np.concatenate(by)


def _refined(start: Float, aim: PadAim, weights: PadWeights, edges: tuple[float, float]) -> tuple[Float, float]:
    from scipy.optimize import least_squares

    def errors(at: Float) -> Float:
        return _errors(at, aim, weights)[0]

    def slopes(at: Float) -> Float:
        return _errors(at, aim, weights)[1]

    found = least_squares(errors, start, jac=slopes, bounds=edges, xtol=1e-12, ftol=1e-15, gtol=1e-15)
    return np.asarray(found.x), float(found.cost)


def preferred_pad(aim: PadAim, series: str, weights: PadWeights = EVEN, series_only: bool = False) -> PadResistors:
    """The pair of least `pad_cost` out of every pair of preferred values, with a link or nothing among them.

    Parameters
    ----------
    series : "E12", "E24" and so on. Values from 0.1 to 1000 ohm are tried.
    series_only : nothing across the driver, as one resistor is to take the place of one.
    """
    values = series_values(series, 0.1, 1000.0)
    rs, rp = np.concatenate([[0.0], values]), np.concatenate([[] if series_only else values, [np.inf]])
    cost = np.array([pad_cost(one, rp, aim, weights) for one in rs])
    i, k = np.unravel_index(int(np.argmin(cost)), cost.shape)
    return PadResistors(float(rs[i]), float(rp[k]))


@dataclass(frozen=True)
class PadPower:
    """Where the power into a pad goes, as fractions of it; they add up to 1.

    For noise of equal power an octave at the pad's input over the band, and the largest share at any frequency.
    """

    series: float
    parallel: float
    driver: float
    series_most: float
    parallel_most: float


def pad_power(pad: PadResistors, ohm: Complex) -> PadPower:
    """Split of the power; `ohm` (n,) evenly spaced in octaves. On a resistance: (K-1)/K, (K-1)/K^2 and 1/K^2."""
    load = pad_load_ohm(pad.series_ohm, pad.parallel_ohm, ohm)
    current2 = 1.0 / np.abs(load) ** 2  # one volt at the input
    at_driver2 = np.abs(pad_transfer(pad.series_ohm, pad.parallel_ohm, ohm)) ** 2
    series = current2 * pad.series_ohm
    parallel = at_driver2 / pad.parallel_ohm if pad.parallel_ohm > 0 else current2 * 0.0
    total = current2 * load.real
    whole = float(total.sum())
    if not whole > 0:
        return PadPower(*[math.nan] * 5)
    mean_series, mean_parallel = float(series.sum()) / whole, float(parallel.sum()) / whole
    return PadPower(
        mean_series,
        mean_parallel,
        1.0 - mean_series - mean_parallel,
        float(np.max(series / total)),
        float(np.max(parallel / total)),
    )


class ControlKind(StrEnum):
    """How the control is wired."""

    RHEOSTAT = "rheostat"
    POTENTIOMETER = "potentiometer"
    L_PAD = "l-pad"


WORDS = {
    ControlKind.RHEOSTAT: "a rheostat: a piece of track in series, setting 0 none of it (loudest), 1 all of it",
    ControlKind.POTENTIOMETER: "a potentiometer whose wiper feeds the driver: setting 0 silent, 1 loudest",
    ControlKind.L_PAD: "a constant-impedance L-pad: setting 0 silent, 1 loudest, voltage on a resistance in proportion",
}
"""Which way round a setting counts, and that the track is linear."""


def fixed_equivalent(kind: ControlKind, track_ohm: float, setting: float) -> PadResistors:
    """The resistors that equal a control at a setting, on a linear track.

    Rheostat: s x track in series. Potentiometer: (1-s) x track in series, s x track across the driver. L-pad of rated
    impedance `track_ohm`: by K = 1/s, so (1-s) Z in series and Z s/(1-s) across.

    Parameters
    ----------
    setting : 0 to 1 of the track; `WORDS` says which end is loud.

    Raises InputError: a track not above zero, or a setting outside 0 to 1.
    """
    if not (math.isfinite(track_ohm) and track_ohm > 0):
        raise InputError(f"the track is {track_ohm:g} ohm", "give what an ohmmeter reads from end to end, such as 16")
    if not 0 <= setting <= 1:
        raise InputError(f"the setting is {setting:g}", "give a fraction of the track from 0 to 1")
    if kind is ControlKind.RHEOSTAT:
        return PadResistors(setting * track_ohm, math.inf)
    if kind is ControlKind.POTENTIOMETER:
        return PadResistors((1 - setting) * track_ohm, setting * track_ohm)
    across = math.inf if setting == 1 else track_ohm * setting / (1 - setting)
    return PadResistors((1 - setting) * track_ohm, across)


def measured_setting(kind: ControlKind, series_ohm: float, other_ohm: float) -> tuple[float, float]:
    """(track_ohm, setting) from two ohmmeter readings, driver and filter unsoldered, the meter's leads taken off.

    Parameters
    ----------
    series_ohm : between input and driver's plus: what stands in series at this setting.
    other_ohm : of a rheostat, the whole track from end to end; of a potentiometer or L-pad, from the driver's plus to
        its minus (infinite for an L-pad turned full up).

    Returns
    -------
    The track (the rated impedance of an L-pad; NaN where it is full up and nothing tells) and the setting. No track
    need be linear for this: the two readings are the resistors themselves.

    Raises InputError: readings below zero, both zero, or more in series than a rheostat's whole track.
    """
    if not (0 <= series_ohm < math.inf and other_ohm >= 0) or (series_ohm == 0 and other_ohm == 0):
        raise InputError(f"the readings are {series_ohm:g} and {other_ohm:g} ohm", "give two readings of zero or more")
    if kind is ControlKind.RHEOSTAT:
        if not series_ohm <= other_ohm < math.inf:
            raise InputError(
                f"{series_ohm:g} ohm in series is more than the whole track's {other_ohm:g} ohm",
                "read the whole track from end to end; a corroded wiper adds ohms, so turn it a few times first",
            )
        return other_ohm, series_ohm / other_ohm
    if kind is ControlKind.POTENTIOMETER:
        if math.isinf(other_ohm):
            raise InputError(
                "the wiper reads open to the driver's minus", "this is no whole potentiometer; try rheostat"
            )
        return series_ohm + other_ohm, other_ohm / (series_ohm + other_ohm)
    if series_ohm == 0 or math.isinf(other_ohm):
        if series_ohm == 0 and math.isinf(other_ohm):
            return math.nan, 1.0
        raise InputError(
            f"{series_ohm:g} ohm in series and {other_ohm:g} ohm across is no setting of an L-pad",
            "check the readings, or try potentiometer or rheostat",
        )
    if other_ohm == 0:
        return series_ohm, 0.0
    # Rs/Rp = (1-s)^2/s, and of its two roots the one below 1; written so that neither end cancels.
    half = 1 + series_ohm / other_ohm / 2
    setting = 1 / (half + math.sqrt(half * half - 1))
    return math.sqrt(series_ohm * other_ohm / setting), setting
