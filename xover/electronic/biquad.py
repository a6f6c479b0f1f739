"""Second-order bands as equalisers and electronic crossovers have them: response and coefficients.

Every band is an analogue prototype H(s) = N(s)/D(s), s = j f/f0, of the audio EQ cookbook (R. Bristow-Johnson,
"Cookbook formulae for audio EQ biquad filter coefficients", also a W3C note). The cookbook's digital filter is
that prototype through the bilinear transform, prewarped at f0: s = (1/K) (1 - 1/z)/(1 + 1/z), K = tan(pi f0/fs).
On the unit circle this is s = j tan(pi f/fs)/K: the digital response is the prototype's at a bent frequency, so one
formula serves both and nothing cancels at low frequencies. First-order bands take the same substitution.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xover.errors import OptionError
from xover.quantity import hertz

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]

SAMPLE_RATE_HZ: Final = 48_000.0
"""Sample rate where none is given (common practice of equalisers in amplifiers; some run at 96 kHz)."""

MOST_GAIN_DB: Final = 120.0
"""No band of more than this is taken: it is a slip of the pen."""


class BandKind(StrEnum):
    """What a band does. Low- and high-pass without a number are of the second order."""

    PEAKING = "peaking"
    LOW_SHELF = "low_shelf"
    HIGH_SHELF = "high_shelf"
    LOW_PASS = "low_pass"
    HIGH_PASS = "high_pass"
    ALL_PASS = "all_pass"
    NOTCH = "notch"
    LOW_PASS_1 = "low_pass_1"
    HIGH_PASS_1 = "high_pass_1"

    @property
    def words(self) -> str:
        """The kind in words: "low shelf", "low-pass, 1st order"."""
        return _WORDS[self]

    @property
    def has_gain(self) -> bool:
        """Whether the band has a gain to set."""
        return self in {BandKind.PEAKING, BandKind.LOW_SHELF, BandKind.HIGH_SHELF}

    @property
    def has_q(self) -> bool:
        """Whether the band has a Q to set: all but those of the first order."""
        return self not in {BandKind.LOW_PASS_1, BandKind.HIGH_PASS_1}


_WORDS: Final = {
    BandKind.PEAKING: "peaking",
    BandKind.LOW_SHELF: "low shelf",
    BandKind.HIGH_SHELF: "high shelf",
    BandKind.LOW_PASS: "low-pass, 2nd order",
    BandKind.HIGH_PASS: "high-pass, 2nd order",
    BandKind.ALL_PASS: "all-pass, 2nd order",
    BandKind.NOTCH: "notch",
    BandKind.LOW_PASS_1: "low-pass, 1st order",
    BandKind.HIGH_PASS_1: "high-pass, 1st order",
}

# Each coefficient of the cookbook's prototypes is base A^e / Q^m with A = 10^(gain/40). Rows: numerator and
# denominator; columns: s^2, s, 1. Every coefficient of s in a second-order band goes with 1/Q, no other does.
_BASE: Final[dict[BandKind, tuple[tuple[float, float, float], tuple[float, float, float]]]] = {
    BandKind.PEAKING: ((1, 1, 1), (1, 1, 1)),
    BandKind.LOW_SHELF: ((1, 1, 1), (1, 1, 1)),
    BandKind.HIGH_SHELF: ((1, 1, 1), (1, 1, 1)),
    BandKind.LOW_PASS: ((0, 0, 1), (1, 1, 1)),
    BandKind.HIGH_PASS: ((1, 0, 0), (1, 1, 1)),
    BandKind.ALL_PASS: ((1, -1, 1), (1, 1, 1)),
    BandKind.NOTCH: ((1, 0, 1), (1, 1, 1)),
    BandKind.LOW_PASS_1: ((0, 0, 1), (0, 1, 1)),
    BandKind.HIGH_PASS_1: ((0, 1, 0), (0, 1, 1)),
}
_GAIN_POWER: Final[dict[BandKind, tuple[tuple[float, float, float], tuple[float, float, float]]]] = {
    BandKind.PEAKING: ((0, 1, 0), (0, -1, 0)),
    BandKind.LOW_SHELF: ((1, 1.5, 2), (1, 0.5, 0)),
    BandKind.HIGH_SHELF: ((2, 1.5, 1), (0, 0.5, 1)),
}
_NONE: Final = ((0.0, 0.0, 0.0), (0.0, 0.0, 0.0))


@dataclass(frozen=True)
class Band:
    """One band of an equaliser.

    Attributes
    ----------
    kind : what it does.
    frequency_hz : corner, centre, or middle of a shelf, > 0.
    gain_db : of a peaking band at its centre, of a shelf at its end; 0 for the other kinds.
    q : quality > 0, of shelves too; None for the first order.

    Raises
    ------
    OptionError : a number that is not finite, not positive where it must be, or that the kind does not have.
    """

    kind: BandKind
    frequency_hz: float
    gain_db: float = 0.0
    q: float | None = None

    def __post_init__(self) -> None:
        name = f"a {self.kind.words} band"
        if not (math.isfinite(self.frequency_hz) and self.frequency_hz > 0):
            raise OptionError(f"{name} has a frequency of {self.frequency_hz:g} Hz", "give a frequency above 0 Hz")
        if not abs(self.gain_db) <= MOST_GAIN_DB:
            raise OptionError(f"{name} has a gain of {self.gain_db:g} dB", f"stay within +-{MOST_GAIN_DB:g} dB")
        if self.gain_db != 0.0 and not self.kind.has_gain:
            raise OptionError(f"{name} has a gain of {self.gain_db:g} dB", "only peaking and shelf bands have a gain")
        if self.kind.has_q and not (self.q is not None and math.isfinite(self.q) and self.q > 0):
            raise OptionError(f"{name} has a Q of {self.q}", "give a Q above 0, such as 0.707")
        if self.q is not None and not self.kind.has_q:
            raise OptionError(f"{name} has a Q of {self.q:g}", "leave the Q out: the first order has none")


def powers(kinds: Sequence[BandKind]) -> tuple[Float, Float, Float]:
    """What the coefficients of some kinds are made of.

    Returns
    -------
    base, e, m, each (k, 2, 3): a coefficient is base A^e / Q^m with A = 10^(gain/40); numerator then denominator,
    s^2 then s then 1. The formulas are the cookbook's.
    """
    base = np.array([_BASE[k] for k in kinds], dtype=float).reshape(-1, 2, 3)
    gain_power = np.array([_GAIN_POWER.get(k, _NONE) for k in kinds], dtype=float).reshape(-1, 2, 3)
    q_power = np.zeros_like(base)
    q_power[:, :, 1] = np.array([float(k.has_q) for k in kinds]).reshape(-1, 1)
    return base, gain_power, q_power


def prototypes(bands: Sequence[Band]) -> Float:
    """(k, 2, 3) analogue coefficients over s = j f/f0: numerator and denominator; s^2, s, 1."""
    base, gain_power, q_power = powers([band.kind for band in bands])
    a = 10.0 ** (np.array([band.gain_db for band in bands]) / 40.0).reshape(-1, 1, 1)
    q = np.array([1.0 if band.q is None else band.q for band in bands]).reshape(-1, 1, 1)
    return np.asarray(base * a**gain_power / q**q_power, dtype=float)


def response(bands: Sequence[Band], frequency_hz: ArrayLike, sample_rate_hz: float | None = SAMPLE_RATE_HZ) -> Complex:
    """Response of bands one after the other.

    Parameters
    ----------
    frequency_hz : (n,) >= 0.
    sample_rate_hz : of the digital filter; None for the analogue prototypes.

    Returns
    -------
    (n,) complex; NaN above half the sample rate, where a digital filter has no say; 1 without bands.

    Raises
    ------
    OptionError : a band at or above half the sample rate.
    """
    f = np.atleast_1d(np.asarray(frequency_hz, dtype=float))
    with np.errstate(invalid="ignore"):
        outside = ~(f >= 0.0) if sample_rate_hz is None else ~((f >= 0.0) & (f <= 0.5 * sample_rate_hz))
    if not bands:
        return np.where(outside, np.nan, 1.0 + 0.0j)
    centre = np.array([band.frequency_hz for band in bands])
    if sample_rate_hz is None:
        ratio = f / centre[:, None]
    else:
        _check_below_nyquist(bands, sample_rate_hz)
        bent = np.tan(np.pi * np.where(outside, 0.0, f) / sample_rate_hz)
        ratio = bent / np.tan(np.pi * centre / sample_rate_hz)[:, None]
    coefficient = prototypes(bands)[:, :, :, None]
    s = 1j * ratio[:, None, :]
    both = (coefficient[:, :, 0] * s + coefficient[:, :, 1]) * s + coefficient[:, :, 2]
    return np.asarray(np.where(outside, np.nan, np.prod(both[:, 0] / both[:, 1], axis=0)), dtype=complex)


def coefficients(bands: Sequence[Band], sample_rate_hz: float = SAMPLE_RATE_HZ) -> Float:
    """Digital coefficients to type into a processor.

    Returns
    -------
    (k, 6) b0, b1, b2, a0 = 1, a1, a2 of y = b0 x0 + b1 x1 + b2 x2 - a1 y1 - a2 y2. The poles lie inside the unit
    circle: a prototype with Q > 0 has them in the left half plane, and the bilinear transform keeps them stable.

    Raises
    ------
    OptionError : a band at or above half the sample rate, or one so low and so sharp that rounding would put its
        poles onto the unit circle.
    """
    _check_below_nyquist(bands, sample_rate_hz)
    rows = np.zeros((len(bands), 6))
    rows[:, 3] = 1.0
    for k, (band, (numerator, denominator)) in enumerate(zip(bands, prototypes(bands), strict=True)):
        c = 1.0 / math.tan(math.pi * band.frequency_hz / sample_rate_hz)
        b, a = _bilinear(numerator, c, band.kind.has_q), _bilinear(denominator, c, band.kind.has_q)
        rows[k, :3], rows[k, 3:] = b / a[0], a / a[0]
        a1, a2 = rows[k, 4:]
        if not (abs(a2) < 1.0 and abs(a1) < 1.0 + a2):  # the stability triangle of a second-order filter
            raise OptionError(
                f"a {band.kind.words} band at {hertz(band.frequency_hz)} is too low and sharp for double precision "
                f"at {hertz(sample_rate_hz)}",
                "raise its frequency or lower its Q",
            )
    return rows


def _bilinear(polynomial: Float, c: float, second: bool) -> Float:
    """Put s = c (1 - 1/z)/(1 + 1/z) into a polynomial and multiply by (1 + 1/z) to its order."""
    n2, n1, n0 = polynomial
    if not second:
        return np.array([n1 * c + n0, n0 - n1 * c, 0.0])
    return np.array([n2 * c * c + n1 * c + n0, 2.0 * (n0 - n2 * c * c), n2 * c * c - n1 * c + n0])


def _check_below_nyquist(bands: Sequence[Band], sample_rate_hz: float) -> None:
    if not (math.isfinite(sample_rate_hz) and sample_rate_hz > 0):
        raise OptionError(f"the sample rate is {sample_rate_hz:g} Hz", "give one such as 48000")
    for band in bands:
        if band.frequency_hz >= 0.5 * sample_rate_hz:
            raise OptionError(
                f"a {band.kind.words} band at {hertz(band.frequency_hz)} does not exist at a sample rate of "
                f"{hertz(sample_rate_hz)}",
                f"stay below {hertz(0.5 * sample_rate_hz)} or raise the sample rate",
            )
