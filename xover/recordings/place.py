"""Where the sweep lies in a recording, and how fast the recorder's clock runs beside the player's: by the two
markers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.curve import Float
from xover.recordings.sweep import SweepPlan, marker

CLOCKS: Final = 1e-3
"""Two devices' clocks differ by less than this share; crystals hold 0.0001."""
SURE: Final = 4.0
"""A pair of markers stands above all else that is like one by this factor, or is not believed."""

ALIKE: Final = 0.2
"""Two markers that were played alike are not further apart in size, whatever rides the gain."""


@dataclass(frozen=True)
class SweepPlace:
    """The sweep in a recording.

    Attributes
    ----------
    first : sample, with its share, at which the first marker starts. stretch : samples of the recording for one that
        was
        played. clock_ppm : by how much the recorder's clock is fast, beyond what the two sample rates say.
    """

    first: float
    stretch: float
    clock_ppm: float

    def sample(self, plan: SweepPlan, time_s: float) -> float:
        """Where in the recording a time of the played file is."""
        return self.first + (time_s - plan.first_marker_s) * plan.rate_hz * self.stretch


def find_sweep(samples: Float, rate_hz: int, plan: SweepPlan) -> SweepPlace | None:
    """Find the markers in (n,) samples of one channel; None where they are not, or not at the distance of the plan."""
    nominal = rate_hz / plan.rate_hz
    found = pair(samples, plan, nominal)
    if found is None:
        return None
    first, last = found
    # They are played at whole samples.
    apart = round(plan.last_marker_s * plan.rate_hz) - round(plan.first_marker_s * plan.rate_hz)
    stretch = (last - first) / apart
    return SweepPlace(first, stretch, 1e6 * (stretch / nominal - 1.0))


def pair(samples: Float, plan: SweepPlan, stretch: float) -> tuple[float, float] | None:
    """Starts of both markers, to a share of a sample; None where none stand out."""
    like = _likeness(samples, marker(plan, stretch))
    apart = (plan.last_marker_s - plan.first_marker_s) * plan.rate_hz * stretch
    reach = max(2, round(CLOCKS * apart))
    shift = round(apart)
    if len(like) <= shift + reach:
        return None
    size = np.abs(like)
    near = _widest(size, reach)
    score = np.minimum(size[: len(size) - shift], near[shift:])
    first = int(np.argmax(score))
    last = first + shift - reach
    last += int(np.argmax(size[max(0, last) : first + shift + reach + 1]))
    around = len(marker(plan, stretch))
    rest = np.concatenate([score[: max(0, first - around)], score[first + around :]])
    one, other = size[first], size[last]
    if not score[first] > SURE * np.max(rest, initial=0.0) or min(one, other) < ALIKE * max(one, other):
        return None
    return first + _peak(like, first), last + _peak(like, last)


def _likeness(samples: Float, wave: Float) -> Float:
    """(n,) correlation with the marker, by FFT."""
    length = 1 << (len(samples) + len(wave) - 1).bit_length()
    product = np.fft.rfft(samples, length) * np.conj(np.fft.rfft(wave, length))
    return np.asarray(np.fft.irfft(product, length)[: len(samples)])


def _widest(size: Float, reach: int) -> Float:
    """(n,) the largest within `reach` samples on both sides."""
    from scipy.ndimage import maximum_filter1d

    return np.asarray(maximum_filter1d(size, 2 * reach + 1, mode="constant"))


def _peak(like: Float, at: int) -> float:
    """Share of a sample by which a parabola through three puts the peak off the middle one."""
    if not 0 < at < len(like) - 1:
        return 0.0
    a, b, c = (abs(float(v)) for v in like[at - 1 : at + 2])
    bend = a - 2.0 * b + c
    return 0.0 if bend >= 0.0 else 0.5 * (a - c) / bend
