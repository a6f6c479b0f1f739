"""A series capacitor that protects the tweeter, at the impedance that the tweeter really has."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.acoustic.level import level_db, phase_deg
from xover.amplifier.extremum import Extremum, highest
from xover.curve import Complex, Float
from xover.electronic.biquad import Band, response
from xover.electronic.twin import fit_twin
from xover.parts.preferred import series_values
from xover.quantity import QuantityKind, format_quantity
from xover.readable import Readable
from xover.rules.audibility import HARD_DB
from xover.rules.bands import MAINS_HZ
from xover.rules.margins import CAPACITOR_MARGIN, FILM_FARAD, GOOD_DB, GOOD_DEG, USUAL_VOLTS
from xover.studies.change.bypass.channels import setting

SERIES: Final = "E6"
MOST_BANDS: Final = 2
STRIDE: Final = 4
LEAST_WEIGHT: Final = 0.1
"""Where the slope lies 20 dB down the correction need not hold: there the capacitor may do its work."""
SHOWN_BESIDE: Final = 1
"""So many values of the series to both sides are shown beside the one that is proposed."""


@dataclass(frozen=True)
class CapacitorEffect:
    """What one value does with the driver's impedance.

    Attributes
    ----------
    farad : its value.
    corner_hz : where it alone costs 3 dB, the highest such place; NaN where the data do not show it.
    at_corner_db, at_corner_deg : change of level and phase at the crossover. above_db : largest change above.
    bump_db, bump_hz : highest maximum below the crossover, where the capacitor rings with the motional reactance: level
        at the driver over the amplifier's; NaN where there is none. bump_over_db : that over what a resistor of the
        driver's impedance at the crossover would get; bump_behind_db : the level there with the crossover's slope.
    mains_db : what is left of a hum or thump at 50 Hz.
    lowest_load_ohm, lowest_load_hz : of capacitor and driver together.
    """

    farad: float
    corner_hz: float
    at_corner_db: float
    at_corner_deg: float
    above_db: float
    bump_db: float
    bump_hz: float
    bump_over_db: float
    bump_behind_db: float
    mains_db: float
    lowest_load_ohm: float
    lowest_load_hz: float


@dataclass(frozen=True, eq=False, repr=False)
class ProtectionCapacitor(Readable):
    """The capacitor proposed for the highest channel.

    Attributes
    ----------
    channel : on which it sits in series.
    chosen : its effect; beside : the same for its neighbours in the series, the chosen one among them.
    allowed_db : the change of level that the choice allows; met : False where no value on sale keeps to it.
    volts_peak : it must stand, margin included; None where the amplifier's rating is not known. usual_volts : on sale.
    gain_db, bands : correction to dial in, so that the driver gets what it got without.
    left_db, left_deg : what the correction leaves, weighted by the crossover's slope.
    transfer : (n,) complex voltage at the driver over the amplifier's.
    """

    channel: str
    chosen: CapacitorEffect
    beside: tuple[CapacitorEffect, ...]
    allowed_db: float
    met: bool
    volts_peak: float | None
    usual_volts: float | None
    gain_db: float
    bands: tuple[Band, ...]
    left_db: float
    left_deg: float
    transfer: Complex

    @property
    def bought_as(self) -> str:
        """What to ask for: "4.7 uF film, 100 V"."""
        volts = "" if self.usual_volts is None else f", {self.usual_volts:g} V"
        return f"{format_quantity(self.chosen.farad, QuantityKind.CAPACITANCE)} film{volts}"


def transfer_of(farad: float, frequency_hz: Float, impedance_ohm: Complex) -> Complex:
    """(n,) voltage at a driver behind a series capacitor over that in front: Z/(Z + 1/(j w C))."""
    reactance = 1.0 / (2j * math.pi * frequency_hz * farad)
    with np.errstate(invalid="ignore"):  # where nothing is known, nothing is told
        return np.asarray(impedance_ohm / (impedance_ohm + reactance), dtype=complex)


def choose_capacitor(
    channel: str,
    frequency_hz: Float,
    impedance_at: Callable[[Float], Complex],
    corner_hz: float,
    slope: Complex,
    volts_peak: float | None,
    sample_rate_hz: float,
) -> ProtectionCapacitor | None:
    """Choose the smallest usual value that leaves the level at the crossover and above alone.

    The smaller the value, the more it keeps off; the limit is 1 dB of change anywhere from the crossover up.

    Parameters
    ----------
    frequency_hz : (n,). impedance_at : of the driver, (m,) Hz -> (m,) ohm.
    corner_hz : lower corner of the channel. slope : (n,) its electronic slope.
    volts_peak : highest voltage of the amplifier, or None.

    Returns
    -------
    None where the impedance is not known at the crossover.
    """
    if not np.isfinite(impedance_at(np.array([corner_hz]))).all():
        return None
    values = [float(v) for v in series_values(SERIES, *FILM_FARAD)]
    z, z_corner = impedance_at(frequency_hz), impedance_at(np.array([corner_hz]))
    changes = [_change_above_db(v, frequency_hz, z, corner_hz, z_corner) for v in values]
    keeping = [i for i, change in enumerate(changes) if change <= HARD_DB]
    pick = keeping[0] if keeping else len(values) - 1
    near = range(max(pick - SHOWN_BESIDE, 0), min(pick + SHOWN_BESIDE + 1, len(values)))
    effects = {i: _effect(values[i], changes[i], frequency_hz, impedance_at, corner_hz, slope) for i in near}
    chosen = effects[pick]
    transfer = transfer_of(chosen.farad, frequency_hz, z)
    gain, bands, left_db, left_deg = _correction(frequency_hz, transfer, slope, sample_rate_hz)
    stress = (
        None if volts_peak is None else volts_peak * CAPACITOR_MARGIN * _most_volts(chosen, frequency_hz, impedance_at)
    )
    return ProtectionCapacitor(
        channel=channel,
        chosen=chosen,
        beside=tuple(effects.values()),
        allowed_db=HARD_DB,
        met=bool(keeping),
        volts_peak=stress,
        usual_volts=None if stress is None else next((v for v in USUAL_VOLTS if v >= stress), None),
        gain_db=gain,
        bands=bands,
        left_db=left_db,
        left_deg=left_deg,
        transfer=transfer,
    )


def _change_above_db(farad: float, f: Float, z: Complex, corner_hz: float, z_corner: Complex) -> float:
    """Largest change of level from the corner up."""
    change = level_db(transfer_of(farad, f, z))
    corner = level_db(transfer_of(farad, np.array([corner_hz]), z_corner))
    above = change[(f >= corner_hz) & np.isfinite(change)]
    return float(np.max(np.abs(np.append(above, corner))))


def _effect(
    farad: float,
    above_db: float,
    frequency_hz: Float,
    impedance_at: Callable[[Float], Complex],
    corner_hz: float,
    slope: Complex,
) -> CapacitorEffect:
    def level(f: Float) -> Float:
        return level_db(transfer_of(farad, f, impedance_at(f)))

    corner = np.array([corner_hz])
    z_corner = impedance_at(corner)
    at_corner = transfer_of(farad, corner, z_corner)
    change = level(frequency_hz)
    bump = _bump(frequency_hz, change, level, corner_hz)
    over = behind = math.nan
    if math.isfinite(bump.at_hz):
        place = np.array([bump.at_hz])
        over = bump.value - float(level_db(transfer_of(farad, place, np.abs(z_corner) + 0j))[0])
        row = int(np.argmin(np.abs(np.log(frequency_hz / bump.at_hz))))
        behind = bump.value + float(level_db(slope)[row])

    def load(f: Float) -> Float:
        return np.asarray(-np.abs(impedance_at(f) + 1.0 / (2j * math.pi * f * farad)), dtype=float)

    least = highest(frequency_hz, load(frequency_hz), load)
    return CapacitorEffect(
        farad=farad,
        corner_hz=_minus_three_hz(frequency_hz, change),
        at_corner_db=float(level_db(at_corner)[0]),
        at_corner_deg=float(phase_deg(at_corner)[0]),
        above_db=above_db,
        bump_db=bump.value,
        bump_hz=bump.at_hz,
        bump_over_db=over,
        bump_behind_db=behind,
        mains_db=float(level(np.array([MAINS_HZ[0]]))[0]),
        lowest_load_ohm=-least.value,
        lowest_load_hz=least.at_hz,
    )


def _bump(frequency_hz: Float, change_db: Float, level: Callable[[Float], Float], corner_hz: float) -> Extremum:
    """The highest maximum of the level below the corner, not that at the corner itself; NaN where there is none."""
    below = (frequency_hz < corner_hz) & np.isfinite(change_db)
    f, d = frequency_hz[below], change_db[below]
    tops = np.flatnonzero((d[1:-1] > d[:-2]) & (d[1:-1] >= d[2:])) + 1
    if tops.size == 0:
        return Extremum(math.nan, math.nan)
    top = int(tops[np.argmax(d[tops])])
    return highest(f[top - 1 : top + 2], d[top - 1 : top + 2], level, scale=1.0)


def _minus_three_hz(frequency_hz: Float, change_db: Float) -> float:
    """Highest frequency at which the level rises through -3.01 dB, in straight lines over log f; NaN if none."""
    half = 10.0 * math.log10(0.5)
    with np.errstate(invalid="ignore"):
        rises = np.flatnonzero((change_db[:-1] < half) & (change_db[1:] >= half))
    if rises.size == 0:
        return math.nan
    i = int(rises[-1])
    part = (half - change_db[i]) / (change_db[i + 1] - change_db[i])
    u = np.log(frequency_hz[i : i + 2])
    return float(np.exp(u[0] + part * (u[1] - u[0])))


def _correction(
    frequency_hz: Float, transfer: Complex, slope: Complex, sample_rate_hz: float
) -> tuple[float, tuple[Band, ...], float, float]:
    """Gain and up to two bands that undo the capacitor where the slope lets sound through, and what they leave."""
    known = np.isfinite(transfer)
    frequency_hz, transfer, slope = frequency_hz[known], transfer[known], slope[known]
    weight = np.minimum(np.abs(slope), 1.0)
    weight = np.where(weight >= LEAST_WEIGHT, weight, 0.0)
    few = slice(None, None, STRIDE)
    fit = fit_twin(
        frequency_hz[few],
        1.0 / transfer[few],
        weight[few],
        sample_rate_hz=sample_rate_hz,
        most_bands=MOST_BANDS,
        tolerance_db=GOOD_DB,
        tolerance_deg=GOOD_DEG,
    )
    done = transfer * response(fit.bands, frequency_hz, sample_rate_hz)
    done = done * setting(fit.gain_db, fit.delay_s, fit.polarity, frequency_hz)
    heard = weight > 0
    return (
        fit.gain_db,
        fit.bands,
        float(np.nanmax(np.abs(level_db(done) * weight)[heard])),
        float(np.nanmax(np.abs(phase_deg(done) * weight)[heard])),
    )


def _most_volts(effect: CapacitorEffect, frequency_hz: Float, impedance_at: Callable[[Float], Complex]) -> float:
    """Highest voltage across the capacitor for a volt of the amplifier."""

    def share(f: Float) -> Float:
        return np.abs(1.0 - transfer_of(effect.farad, f, impedance_at(f)))

    return max(highest(frequency_hz, share(frequency_hz), share).value, 1.0)
