"""The slopes of electronic crossovers: "LR4", "B3", "Bessel2" as bands and as responses.

Butterworth: poles evenly spread on a half circle. Linkwitz-Riley of order 2m: Butterworth of order m twice
(S. Linkwitz, JAES 24(1) 1976). Bessel: reverse Bessel polynomials (W. E. Thomson 1949), their corner where the
asymptotes of pass band and slope meet; makers differ here, some put the corner at -3 dB. The high-pass
is the low-pass mirrored, s -> 1/s.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xover.electronic.biquad import SAMPLE_RATE_HZ, Band, BandKind, response
from xover.errors import OptionError, nearest_word

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]


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

    Raises
    ------
    OptionError : no such slope; names the nearest, or all.
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

    Raises
    ------
    OptionError : a corner that is not above 0 Hz.
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
