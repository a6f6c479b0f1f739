"""Second-order bands as equalisers have them, and the slopes that electronic crossovers make of them.

Every band is an analogue prototype H(s) = N(s)/D(s), s = j f/f0, of the audio EQ cookbook (R. Bristow-Johnson,
"Cookbook formulae for audio EQ biquad filter coefficients", also a W3C note). The cookbook's digital filter is
that prototype through the bilinear transform, prewarped at f0: s = (1/K) (1 - 1/z)/(1 + 1/z), K = tan(pi f0/fs).
On the unit circle this is s = j tan(pi f/fs)/K: the digital response is the prototype's at a bent frequency, so one
formula serves both and nothing cancels at low frequencies. First-order bands take the same substitution.

Butterworth: poles evenly spread on a half circle. Linkwitz-Riley of order 2m: Butterworth of order m twice
(S. Linkwitz, JAES 24(1) 1976). Bessel: reverse Bessel polynomials (W. E. Thomson 1949), their corner where the
asymptotes of pass band and slope meet; makers differ here, some put the corner at -3 dB. The high-pass
is the low-pass mirrored, s -> 1/s.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Complex, Float
from xover.errors import OptionError, nearest_word
from xover.quantity import hertz

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

    Raises OptionError: a number that is not finite, not positive where it must be, or that the kind does not have.
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

    Returns base, e, m, each (k, 2, 3): a coefficient is base A^e / Q^m with A = 10^(gain/40); numerator then
    denominator, s^2 then s then 1. The formulas are the cookbook's.
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

    Returns (n,) complex; NaN above half the sample rate, where a digital filter has no say; 1 without bands.

    Raises OptionError: a band at or above half the sample rate.
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

    Returns (k, 6) b0, b1, b2, a0 = 1, a1, a2 of y = b0 x0 + b1 x1 + b2 x2 - a1 y1 - a2 y2. The poles lie inside the
    unit circle: a prototype with Q > 0 has them in the left half plane, and the bilinear transform keeps them stable.

    Raises OptionError: a band at or above half the sample rate, or one so low and so sharp that rounding would put its
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


class Family(StrEnum):
    """How the poles of a slope lie."""

    BUTTERWORTH = "Butterworth"
    LINKWITZ_RILEY = "Linkwitz-Riley"
    BESSEL = "Bessel"


class Side(StrEnum):
    """Which half of a crossover."""

    LOW_PASS = "low_pass"
    HIGH_PASS = "high_pass"


@dataclass(frozen=True)
class Section:
    """One factor of a slope: its own corner over that of the slope (low-pass), and its Q; None for the first order."""

    ratio: float
    q: float | None


@dataclass(frozen=True)
class Slope:
    """One alignment of one order; make it by `parse_slope`.

    Attributes
    ----------
    name : as written in speaker.toml, such as "LR4".
    family, order : asymptotically 6 dB per octave for each order.
    """

    name: str
    family: Family
    order: int

    @property
    def words(self) -> str:
        """In words: "Linkwitz-Riley, 24 dB per octave"."""
        return f"{self.family}, {6 * self.order} dB per octave"

    @property
    def reverse_one(self) -> bool:
        """Whether the two halves sum only with one of them reversed: 180 degrees apart, order 2, 6."""
        return self.order % 4 == 2

    @property
    def quadrature(self) -> bool:
        """Whether the two halves are 90 degrees apart (Bessel3: 91), so that polarity decides nothing at the corner."""
        return self.order % 2 == 1

    @cached_property
    def sections(self) -> tuple[Section, ...]:
        """The factors of the low-pass, first order first, then rising Q."""
        if self.family is Family.BESSEL:
            return _bessel(self.order)
        if self.family is Family.BUTTERWORTH:
            return _butterworth(self.order)
        half = _butterworth(self.order // 2)
        # Two first-order factors at one corner are one second-order factor of Q 0.5.
        single = tuple(Section(1.0, 0.5) for s in half if s.q is None)
        return (*single, *(s for s in half if s.q is not None for _ in range(2)))

    @cached_property
    def denominator(self) -> tuple[float, ...]:
        """Denominator of the low-pass over s = j f/fc, highest power first, ending in 1."""
        product: Float = np.ones(1)
        for s in self.sections:
            factor = (1.0 / s.ratio, 1.0) if s.q is None else (1.0 / s.ratio**2, 1.0 / (s.q * s.ratio), 1.0)
            product = np.asarray(np.polymul(product, factor), dtype=float)
        return tuple(float(c) for c in product)


def _butterworth(order: int) -> tuple[Section, ...]:
    pairs = [Section(1.0, 0.5 / math.sin(math.pi * (2 * k - 1) / (2 * order))) for k in range(1, order // 2 + 1)]
    return tuple([Section(1.0, None)] * (order % 2) + pairs[::-1])


def _bessel(order: int) -> tuple[Section, ...]:
    """Factors of the reverse Bessel polynomial sum (2n-k)! / (2^(n-k) k! (n-k)!) s^k, scaled to end in s^n + .. + 1."""
    n = order
    falling = [
        math.factorial(2 * n - k) / (2 ** (n - k) * math.factorial(k) * math.factorial(n - k)) for k in range(n, -1, -1)
    ]
    roots = np.roots(falling) / falling[-1] ** (1.0 / n)
    real = [Section(float(-r.real), None) for r in roots if abs(r.imag) < 1e-9]
    pairs = [Section(float(abs(r)), float(abs(r) / (-2.0 * r.real))) for r in roots if r.imag > 1e-9]
    return (*real, *sorted(pairs, key=lambda s: s.q or 0.0))


SLOPES: Final[dict[str, Slope]] = {
    slope.name: slope
    for slope in (
        *(Slope(f"LR{n}", Family.LINKWITZ_RILEY, n) for n in (2, 4, 6, 8)),
        *(Slope(f"B{n}", Family.BUTTERWORTH, n) for n in range(1, 9)),
        *(Slope(f"Bessel{n}", Family.BESSEL, n) for n in (2, 3, 4)),
    )
}
"""Every slope by its name; those of speaker.toml are among them."""


def parse_slope(text: str) -> Slope:
    """Find a slope by its name, whatever its case and blanks.

    Raises OptionError: no such slope; names the nearest, or all.
    """
    plain = re.sub(r"[\s_-]", "", text).lower()
    for name, slope in SLOPES.items():
        if name.lower() == plain:
            return slope
    shown = text if len(text) <= 40 else text[:37] + "..."
    near, known = _nearest(plain), ", ".join(SLOPES)
    remedy = f"did you mean {near}? Known are {known}" if near else f"known are {known}"
    raise OptionError(f"no crossover slope is called '{shown}'", remedy)


def _nearest(plain: str) -> str | None:
    """The nearest order of the same family, else the nearest spelling."""
    letters, digits = plain.rstrip("0123456789"), plain[len(plain.rstrip("0123456789")) :][:4]
    kin = {s.order: name for name, s in SLOPES.items() if name.lower().rstrip("0123456789") == letters}
    if kin and digits:
        return kin[min(kin, key=lambda order: abs(order - int(digits)))]
    return nearest_word(plain, SLOPES)


def slope_bands(slope: Slope, side: Side, corner_hz: float) -> tuple[Band, ...]:
    """The bands that make one half of a crossover.

    Parameters
    ----------
    corner_hz : corner frequency: -3 dB for Butterworth, -6 dB for Linkwitz-Riley.

    Raises OptionError: a corner that is not above 0 Hz.
    """
    low = side is Side.LOW_PASS
    first, second = (BandKind.LOW_PASS_1, BandKind.LOW_PASS) if low else (BandKind.HIGH_PASS_1, BandKind.HIGH_PASS)
    return tuple(
        Band(first if s.q is None else second, corner_hz * (s.ratio if low else 1.0 / s.ratio), 0.0, s.q)
        for s in slope.sections
    )


def low_pass(
    slope: Slope, corner_hz: float, frequency_hz: ArrayLike, sample_rate_hz: float | None = SAMPLE_RATE_HZ
) -> Complex:
    """(n,) response of the low-pass half; arguments, NaN and errors as for `biquad.response`."""
    return response(slope_bands(slope, Side.LOW_PASS, corner_hz), frequency_hz, sample_rate_hz)


def high_pass(
    slope: Slope, corner_hz: float, frequency_hz: ArrayLike, sample_rate_hz: float | None = SAMPLE_RATE_HZ
) -> Complex:
    """(n,) response of the high-pass half; arguments, NaN and errors as for `biquad.response`."""
    return response(slope_bands(slope, Side.HIGH_PASS, corner_hz), frequency_hz, sample_rate_hz)


def band_pass(
    slope: Slope,
    lower_hz: float | None,
    upper_hz: float | None,
    frequency_hz: ArrayLike,
    sample_rate_hz: float | None = SAMPLE_RATE_HZ,
) -> Complex:
    """(n,) response of a way between two corners; None where it has no neighbour; the rest as for `biquad.response`."""
    bands = slope_bands(slope, Side.HIGH_PASS, lower_hz) if lower_hz is not None else ()
    bands += slope_bands(slope, Side.LOW_PASS, upper_hz) if upper_hz is not None else ()
    return response(bands, frequency_hz, sample_rate_hz)
