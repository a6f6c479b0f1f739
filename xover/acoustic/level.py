"""Levels: of a pressure, over a band, averaged over octaves; and curves between their rows.

All responses carry the same flight time to the microphone, which turns the phase by more than half
a turn from row to row at high frequencies. The phases between drivers turn slowly: they are what
is interpolated, and all that a level of a sum depends on.

Bands have the base-ten centres of IEC 61260-1, f_m = 1000 Hz G^(k/b), edges f_m G^(-1/2b) and f_m G^(+1/2b),
G = 10^(3/10), b = 1 or 3 (IEC 61260-1:2014, clauses 5.2 to 5.5, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xover.curve import Complex, Float
from xover.errors import InputError
from xover.quantity import hertz
from xover.rules.bands import LEAST_KNOWN as NEARLY_ALL
from xover.rules.bands import SENSITIVITY_HZ, THIRDS

NEPER_DB: Final = 20.0 / math.log(10.0)
"""dB in a neper, the unit of a natural logarithm of magnitudes."""


def level_db(pressure: ArrayLike) -> Float:
    """20 lg|pressure|, dB re the unit of `pressure`; -inf at zero, NaN at NaN, same shape."""
    with np.errstate(divide="ignore"):
        return np.asarray(20.0 * np.log10(np.abs(np.asarray(pressure))), dtype=float)


def phase_deg(pressure: ArrayLike) -> Float:
    """Phase in degrees, -180..180; NaN where the pressure is zero, infinite or NaN, same shape."""
    p = np.asarray(pressure, dtype=complex)
    return np.where((p == 0) | np.isinf(p), np.nan, np.degrees(np.angle(p)))


def ratio(decibels: float) -> float:
    """Pressure ratio of a level difference, 10^(dB/20)."""
    return float(10.0 ** (decibels / 20.0))


def between(frequency_hz: Float, pressure: Complex, wanted_hz: Float, reference: int) -> Complex:
    """Interpolate over log f: the level in dB, and the phase against one curve, in straight lines.

    Parameters
    ----------
    frequency_hz : (n,) rising, n >= 2.
    pressure : (b, n) complex.
    wanted_hz : (m,).
    reference : row of the curve against which phases count; its own phase becomes 0.

    Returns (b, m) complex. NaN outside the frequencies, next to a row where the curve or the reference is NaN (not on a
    known row itself), and 0 next to a zero.
    """
    with np.errstate(divide="ignore"):
        nepers = np.log(np.abs(pressure))
    turn = np.exp(1j * (np.angle(pressure) - np.angle(pressure[reference])))
    row, part = _place(frequency_hz, wanted_hz)
    level = _mix(nepers[:, row], nepers[:, row + 1], part)
    step = np.angle(turn[:, row + 1] * np.conj(turn[:, row]))
    angle = _mix(np.angle(turn[:, row]), np.angle(turn[:, row]) + step, part)
    # At the last row the turn must come from that row alone.
    angle = np.where(part == 1.0, np.angle(turn[:, row + 1]), angle)
    return np.asarray(np.exp(level) * np.exp(1j * angle), dtype=complex)


def lines_between(frequency_hz: Float, value: Float, wanted_hz: Float) -> Float:
    """Interpolate real values (..., n) in straight lines over log f; (..., m), NaN where `between` is."""
    row, part = _place(frequency_hz, wanted_hz)
    return _mix(value[..., row], value[..., row + 1], part)


def larger_beside(frequency_hz: Float, value: Float, wanted_hz: Float) -> Float:
    """The larger of the values (..., n) at the rows to both sides: a bound stays a bound. (..., m)."""
    row, _ = _place(frequency_hz, wanted_hz)
    return np.asarray(np.maximum(value[..., row], value[..., row + 1]), dtype=float)


def _place(frequency_hz: Float, wanted_hz: Float) -> tuple[NDArray[np.intp], Float]:
    """Row before each wanted frequency, and how far it lies to the next: 0..1, NaN outside."""
    u, w = np.log(frequency_hz), np.log(wanted_hz)
    row = np.clip(np.searchsorted(u, w, side="right") - 1, 0, u.size - 2)
    part = (w - u[row]) / (u[row + 1] - u[row])
    return row, np.where((part < 0) | (part > 1), np.nan, part)


def _mix(first: Float, second: Float, part: Float) -> Float:
    """Straight line between two values; on a row, that row alone, whatever its neighbour holds."""
    with np.errstate(invalid="ignore"):
        line = (1.0 - part) * first + part * second
    return np.asarray(np.where(part == 0.0, first, np.where(part == 1.0, second, line)), dtype=float)


STATED_VOLTAGE_V: Final = 2.83
LEAST_OCTAVES: Final = 1.0
"""A sensitivity needs known data over no less than this."""


@dataclass(frozen=True)
class BandLevel:
    """Level of a curve over a band. NaN where nothing of the band is known.

    Attributes
    ----------
    from_hz, to_hz : the band that was asked for.
    known_from_hz, known_to_hz : what of it is known.
    known_share : known part of the band, in octaves over octaves, 0..1.
    mean_db : mean of the dB values over log f. It is the level of a straight ruler laid through the
        curve; an energetic mean follows peaks more than troughs.
    highest_deviation_db, highest_at_hz : highest level less the mean (>= 0), and where.
    lowest_deviation_db, lowest_at_hz : lowest level less the mean (<= 0), and where.
    rms_deviation_db : root mean square of the deviation over log f.
    """

    from_hz: float
    to_hz: float
    known_from_hz: float
    known_to_hz: float
    known_share: float
    mean_db: float
    highest_deviation_db: float
    highest_at_hz: float
    lowest_deviation_db: float
    lowest_at_hz: float
    rms_deviation_db: float

    @property
    def half_range_db(self) -> float:
        """Half of the range from the lowest to the highest level: the +- of a loudspeaker."""
        return (self.highest_deviation_db - self.lowest_deviation_db) / 2.0

    @property
    def holes(self) -> str:
        """How much is known between the known ends, to stand behind these; empty where all of it is."""
        between = math.log(self.known_to_hz / self.known_from_hz) / math.log(self.to_hz / self.from_hz)
        return (
            f", {100.0 * self.known_share / between:.0f} % of which is known"
            if self.known_share < 0.99 * between
            else ""
        )


@dataclass(frozen=True)
class Sensitivity:
    """Sensitivity over a band, 1 m on the axis.

    Attributes
    ----------
    level_db : energetic mean over log f (as for pink noise) of the level for 2.83 V, dB re 20 uPa.
        NaN where less than an octave of the band is known.
    level_1w_db : the same for 1 W into `resistance_ohm`; None if that is not given.
    resistance_ohm : the resistance that 1 W is counted in.
    from_hz, to_hz : the band that was asked for.
    known_from_hz, known_to_hz : what of it is known and went into the mean.
    known_share : known part of the band, in octaves over octaves, 0..1.
    """

    level_db: float
    level_1w_db: float | None
    resistance_ohm: float | None
    from_hz: float
    to_hz: float
    known_from_hz: float
    known_to_hz: float
    known_share: float

    @property
    def doubt(self) -> str:
        """What is not known of it, in words; empty where nearly all is."""
        band = f"{hertz(self.from_hz)} to {hertz(self.to_hz)}"
        if math.isnan(self.level_db):
            return f"not known, as the sum is known over less than an octave of {band}"
        share = f"of the {100 * self.known_share:.0f} % of {band} in which the sum is known"
        return "" if self.known_share >= NEARLY_ALL else share


def band_level(frequency_hz: Float, level_db: Float, from_hz: float, to_hz: float) -> BandLevel:
    """Mean level over a band, and the deviation from it.

    Straight lines over log f between rows, so that neither the spacing of the rows nor where the
    band's ends fall between them counts. Exact for such lines.

    Parameters
    ----------
    frequency_hz, level_db : (n,) each; rows that are not finite count as unknown.
    from_hz, to_hz : the band, 0 < from < to.

    Raises InputError: the band's ends are not in order.
    """
    f, level = _inside(frequency_hz, level_db, from_hz, to_hz)
    known = np.isfinite(level)
    width = np.where(known[:-1] & known[1:], np.diff(np.log(f)), 0.0)
    whole = float(width.sum())
    if whole == 0.0:
        nan = math.nan
        return BandLevel(from_hz, to_hz, nan, nan, 0.0, nan, nan, nan, nan, nan, nan)
    filled = np.where(known, level, 0.0)
    mean = float(np.sum(width * (filled[:-1] + filled[1:]))) / 2.0 / whole
    off = filled - mean
    square = float(np.sum(width * (off[:-1] ** 2 + off[:-1] * off[1:] + off[1:] ** 2))) / 3.0 / whole
    rows = np.flatnonzero(known)
    high, low = rows[np.argmax(level[rows])], rows[np.argmin(level[rows])]
    return BandLevel(
        from_hz=from_hz,
        to_hz=to_hz,
        known_from_hz=float(f[rows[0]]),
        known_to_hz=float(f[rows[-1]]),
        known_share=min(whole / math.log(to_hz / from_hz), 1.0),
        mean_db=mean,
        highest_deviation_db=float(off[high]),
        highest_at_hz=float(f[high]),
        lowest_deviation_db=float(off[low]),
        lowest_at_hz=float(f[low]),
        rms_deviation_db=math.sqrt(square),
    )


def sensitivity(
    frequency_hz: Float,
    level_db: Float,
    from_hz: float = SENSITIVITY_HZ[0],
    to_hz: float = SENSITIVITY_HZ[1],
    resistance_ohm: float | None = None,
) -> Sensitivity:
    """Characteristic sensitivity over a stated band: the level of pink noise limited to that band.

    10 lg of the mean of 10^(L/10) over log f; and for 1 W into R, 10 lg(R/2.83^2) more. After IEC
    60268-5 clause 20 (from memory, the text was not read).

    Parameters
    ----------
    frequency_hz, level_db : (n,) each; the level for 2.83 V at 1 m. Rows that are not finite count as unknown.
    from_hz, to_hz : the band.
    resistance_ohm : resistance for the level at 1 W, or None.

    Raises InputError: the band's ends are not in order, or the resistance is not above 0.
    """
    if resistance_ohm is not None and not (math.isfinite(resistance_ohm) and resistance_ohm > 0):
        raise InputError(f"1 W cannot be had in {resistance_ohm:g} ohm", "give a resistance above 0")
    f, level = _inside(frequency_hz, level_db, from_hz, to_hz)
    known = np.isfinite(level)
    width = np.where(known[:-1] & known[1:], np.diff(np.log(f)), 0.0)
    whole = float(width.sum())
    mean_db = math.nan
    if whole >= LEAST_OCTAVES * math.log(2.0) * (1 - 1e-9):
        power = np.where(known, 10.0 ** (np.where(known, level, 0.0) / 10.0), 0.0)
        mean_db = 10.0 * math.log10(float(np.sum(width * (power[:-1] + power[1:]))) / 2.0 / whole)
    rows = np.flatnonzero(known)
    watt = None if resistance_ohm is None else mean_db + 10.0 * math.log10(resistance_ohm / STATED_VOLTAGE_V**2)
    return Sensitivity(
        level_db=mean_db,
        level_1w_db=watt,
        resistance_ohm=resistance_ohm,
        from_hz=from_hz,
        to_hz=to_hz,
        known_from_hz=float(f[rows[0]]) if rows.size else math.nan,
        known_to_hz=float(f[rows[-1]]) if rows.size else math.nan,
        known_share=min(whole / math.log(to_hz / from_hz), 1.0),
    )


def _inside(frequency_hz: Float, level_db: Float, from_hz: float, to_hz: float) -> tuple[Float, Float]:
    """Frequency and level of the rows inside a band and at its two ends; NaN where not known."""
    if not 0 < from_hz < to_hz < math.inf:
        raise InputError(f"a band from {from_hz:g} to {to_hz:g} Hz has no width", "give two rising frequencies in Hz")
    f = np.asarray(frequency_hz, dtype=float)
    level = np.where(np.isfinite(level_db), level_db, np.nan)
    inner = (f > from_hz) & (f < to_hz)
    ends = lines_between(f, level, np.array([from_hz, to_hz]))
    return np.concatenate([[from_hz], f[inner], [to_hz]]), np.concatenate([ends[:1], level[inner], ends[1:]])


G: Final = 10.0**0.3
LEAST_KNOWN: Final = 0.5
"""A band of which less than this share is known has no average."""
POINTS_IN_BAND: Final = 8


def whole_bands(from_hz: float, to_hz: float, per_octave: int) -> Float:
    """(b,) exact centres of the bands that lie between two frequencies, to 1 % of a band; 1 or 3 in an octave."""
    half = G ** (0.5 / per_octave)
    low, high = (per_octave * math.log(f / 1000.0) / math.log(G) for f in (from_hz * half, to_hz / half))
    first, last = math.ceil(low - 0.01), math.floor(high + 0.01)
    return np.asarray(1000.0 * G ** (np.arange(first, last + 1) / per_octave), dtype=float)


def bands_touched(from_hz: float, to_hz: float, per_octave: int) -> Float:
    """(b,) exact centres of the bands that reach into a range of frequencies."""
    low, high = (per_octave * math.log(f / 1000.0) / math.log(G) for f in (from_hz, to_hz))
    first, last = math.floor(low + 0.5 + 1e-9), math.ceil(high - 0.5 - 1e-9)
    return np.asarray(1000.0 * G ** (np.arange(first, last + 1) / per_octave), dtype=float)


def nominal_hz(centre_hz: float) -> float:
    """The name of a third-octave or octave band: 2000 for 1995 Hz, 31.5 for 31.62 Hz."""
    step = round(10.0 * math.log10(centre_hz))
    return float(f"{THIRDS[step % 10] * 10.0 ** (step // 10):.3g}")


def mean_over_bands(frequency_hz: Float, change_db: Float, centres_hz: Float, per_octave: int) -> Float:
    """(b,) mean over log f of a difference (n,) in dB in each band; NaN where less than half of it is known."""
    half = G ** (0.5 / per_octave)
    bands = [band_level(frequency_hz, change_db, centre / half, centre * half) for centre in centres_hz]
    return np.array([b.mean_db if b.known_share >= LEAST_KNOWN else math.nan for b in bands])


def points_in_bands(centres_hz: Float, per_octave: int) -> Float:
    """(b, 8) frequencies that divide each band evenly in log f, for `band_level_db`."""
    steps = (np.arange(POINTS_IN_BAND) + 0.5) / POINTS_IN_BAND - 0.5
    return np.asarray(centres_hz[:, None] * G ** (steps / per_octave), dtype=float)


def band_level_db(level_db: Float) -> Float:
    """(..., b) level of pink noise in each band: mean of power over its points (..., b, 8); NaN where one is."""
    return np.asarray(10.0 * np.log10(np.mean(10.0 ** (level_db / 10.0), axis=-1)), dtype=float)
