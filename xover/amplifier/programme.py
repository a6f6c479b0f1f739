"""What heats a network: how music-like noise spreads over frequency, and a lamp whose resistance rises with it.

A sine at full power burns what music never would, and an average hides what it does: stress is told for noise
with the long-term spectrum of programme, or for pink noise, whichever is asked for.

A filament in a vacuum sheds its heat by radiation, P = k (T^4 - T0^4), and tungsten's resistance goes nearly as
R = cold (T/T0)^1.2 (exponent from memory: the common handbook value). Without T, and with k from the lamp's rated
watts at its hot resistance:

    R(P) = cold (1 + (P/watts) ((hot/cold)^m - 1))^(1/m),  m = 4/1.2

Gas in the bulb and the leads carry heat too, so that a real lamp warms up later at small power. A resettable fuse
(polymer) is no filament: it stays cold up to its trip current and then rises sharply; this law is not its own.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Complex, Float
from xover.errors import InputError
from xover.network import Network, Resistor


class Spectrum(StrEnum):
    """Which noise stands for the programme."""

    PROGRAMME = "programme"
    PINK = "pink"


SPECTRUM_WORDS: Final = {
    Spectrum.PROGRAMME: "noise with the spectrum of programme (IEC 60268-1:1985, table II)",
    Spectrum.PINK: "pink noise from 20 Hz to 20 kHz",
}

FIRST_BAND: Final = -17
# Relative level of the third-octave bands 1000 x 10^(n/10) Hz from n = -17 (20 Hz) to 13 (20 kHz), dB:
# IEC 60268-1:1985 clause 7, table II, simulated programme signal.
TABLE_II_DB: Final = (
    *(-13.5, -10.2, -7.4, -5.2, -3.5, -2.3, -1.4, -0.9, -0.5, -0.2, -0.1),
    *(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, -0.1, -0.3, -0.6, -1.0, -1.6, -2.5, -3.7),
    *(-5.1, -7.0, -9.4, -11.9, -14.8, -18.2, -21.6),
)
PINK_BAND_HZ: Final = (20.0, 20_000.0)


def third_octave_edges() -> Float:
    """(32,) edges of the third-octave bands round 1000 x 10^(n/10), from 17.783 Hz to 22387 Hz."""
    rows = np.arange(FIRST_BAND, FIRST_BAND + len(TABLE_II_DB) + 1) - 0.5
    return np.asarray(1000.0 * 10.0 ** (rows / 10.0))


def band_shares() -> Float:
    """(31,) share of the programme's power in each third-octave band; they add up to 1."""
    power = 10.0 ** (np.asarray(TABLE_II_DB) / 10.0)
    return np.asarray(power / power.sum())


def power_below(frequency_hz: ArrayLike, spectrum: Spectrum = Spectrum.PROGRAMME) -> Float:
    """Share of the power that lies below each frequency.

    Within a band the power is spread evenly over the logarithm of frequency, as that of pink noise is.

    Parameters
    ----------
    frequency_hz : (n,) above 0.

    Returns (n,) from 0, below the lowest band, to 1, above the highest.

    Raises InputError: a frequency is not above 0.
    """
    f = np.atleast_1d(np.asarray(frequency_hz, dtype=float))
    if not np.all(f > 0):
        raise InputError("a frequency is not above 0 Hz", "give frequencies in Hz above 0")
    if spectrum is Spectrum.PINK:
        edges, below = np.asarray(PINK_BAND_HZ), np.array([0.0, 1.0])
    else:
        edges, below = third_octave_edges(), np.concatenate([[0.0], np.cumsum(band_shares())])
        below[-1] = 1.0
    return np.asarray(np.interp(np.log(f), np.log(edges), below))


def programme_weights(frequency_hz: ArrayLike, spectrum: Spectrum = Spectrum.PROGRAMME) -> Float:
    """Share of the power that each point of a grid stands for.

    A point stands for the span to the middle, in log f, between it and its neighbours; the first and the last
    for nothing beyond themselves. What lies outside the grid is therefore in no weight: `share_outside`.

    Parameters
    ----------
    frequency_hz : (n,) rising, two or more.

    Returns (n,) >= 0, adding up to 1 less the share outside.

    Raises InputError: fewer than two frequencies, or they do not rise from above 0.
    """
    return np.diff(power_below(_cell_edges(frequency_hz), spectrum))


def heat_w(weights: Float, drive: Complex, impedance_ohm: Complex) -> tuple[float, float]:
    """Watts that programme of one volt rms puts into an impedance through a filter, and the share of it that is known.

    sum of weight |H|^2 Re(1/Z) over the rows at which the impedance is known.

    Parameters
    ----------
    weights : (n,) share of the programme's power that each row stands for. drive : (n,). impedance_ohm : (n,).
    """
    known = np.isfinite(impedance_ohm) & np.isfinite(drive) & (np.abs(impedance_ohm) > 0)
    if not known.any():
        return math.nan, 0.0
    conductance = (1.0 / impedance_ohm[known]).real
    power = weights[known] * np.abs(drive[known]) ** 2
    return float(np.sum(power * conductance)), float(np.sum(weights[known]) / np.sum(weights))


def band_weights(frequency_hz: ArrayLike, spectrum: Spectrum = Spectrum.PROGRAMME) -> Float:
    """The same weights, split up by the third-octave bands: (31, n), rows in the order of the bands.

    Raises InputError: as for `programme_weights`.
    """
    cells = _cell_edges(frequency_hz)
    bands = third_octave_edges()
    low = np.maximum(cells[None, :-1], bands[:-1, None])
    high = np.minimum(cells[None, 1:], bands[1:, None])
    shares = power_below(np.maximum(high, low).reshape(-1), spectrum) - power_below(low.reshape(-1), spectrum)
    return shares.reshape(low.shape)


def share_outside(frequency_hz: ArrayLike, spectrum: Spectrum = Spectrum.PROGRAMME) -> float:
    """Share of the power below the first and above the last frequency of a grid.

    Raises InputError: as for `programme_weights`.
    """
    below = power_below(_cell_edges(frequency_hz)[[0, -1]], spectrum)
    return float(below[0] + 1.0 - below[1])


def _cell_edges(frequency_hz: ArrayLike) -> Float:
    """(n + 1,) where the spans of the points of a grid meet."""
    f = np.asarray(frequency_hz, dtype=float)
    if f.ndim != 1 or f.size < 2 or not (f[0] > 0 and math.isfinite(f[-1]) and np.all(np.diff(f) > 0)):
        raise InputError("the frequencies do not rise from above 0 Hz", "give two or more rising frequencies")
    return np.concatenate([f[:1], np.sqrt(f[:-1] * f[1:]), f[-1:]])


RESISTANCE_EXPONENT: Final = 1.2
RADIATION_EXPONENT: Final = 4.0
_M: Final = RADIATION_EXPONENT / RESISTANCE_EXPONENT
ROOM_K: Final = 293.0
ASSUMED_RATIO: Final = 10.0
"""Hot over cold where the card does not say. Common practice, no published source."""

# The law's slope in double logarithms is at most 1/m = 0.3, and the power in one lamp changes at most as fast as its
# resistance does: one step of the iteration shrinks an error at least to 0.3 of itself.
CONVERGED: Final = 1e-9
MOST_STEPS: Final = 200


@dataclass(frozen=True)
class LampLaw:
    """How the resistance of one lamp follows its power.

    Attributes
    ----------
    cold_ohm : at rest, above 0; hot_ohm : at `rated_w`.
    hot_assumed : whether hot is the usual multiple of cold, as the card does not say.
    """

    name: str
    cold_ohm: float
    hot_ohm: float
    rated_w: float
    hot_assumed: bool

    def resistance_ohm(self, power_w: ArrayLike) -> Float:
        """(n,) resistance at powers (n,) of 0 or more; above the rated watts the lamp may not live to show it."""
        share = np.asarray(power_w, dtype=float) / self.rated_w
        return np.asarray(self.cold_ohm * (1.0 + share * (self._ratio**_M - 1.0)) ** (1.0 / _M))

    def temperature_k(self, resistance_ohm: ArrayLike) -> Float:
        """(n,) of the filament, from its resistance, cold at 293 K."""
        return np.asarray(ROOM_K * (np.asarray(resistance_ohm) / self.cold_ohm) ** (1.0 / RESISTANCE_EXPONENT))

    @property
    def _ratio(self) -> float:
        return self.hot_ohm / self.cold_ohm


def lamp_law(part: Resistor) -> LampLaw | None:
    """The law of a lamp's card; None where its watts or its cold resistance are not known."""
    if part.watts is None or part.ohm <= 0.0:
        return None
    hot = part.hot_ohm if part.hot_ohm else ASSUMED_RATIO * part.ohm
    return LampLaw(part.name, part.ohm, hot, part.watts, not part.hot_ohm)


def settle_lamps(laws: Sequence[LampLaw], power_w: Callable[[Float], Float]) -> Float:
    """Resistances at which every lamp has the very power that makes it so.

    Parameters
    ----------
    laws : (k,) of the lamps.
    power_w : (k,) ohm -> (k,) watts in each lamp.

    Returns (k,) ohm; NaN where a power is not known.

    Raises InputError: several lamps that play into one another come to no rest.
    """
    ohms = np.array([law.cold_ohm for law in laws])
    step = 1.0
    last = math.inf
    for _ in range(MOST_STEPS):
        watts = power_w(ohms)
        if not np.isfinite(watts).all():
            return np.full(len(laws), np.nan)
        wanted = np.array([float(law.resistance_ohm(p)) for law, p in zip(laws, watts, strict=True)])
        change = np.log(wanted / ohms)
        off = float(np.max(np.abs(change)))
        if off <= CONVERGED:
            return wanted
        if off > 0.9 * last:
            step = max(0.5 * step, 0.05)
        last = off
        ohms = ohms * np.exp(step * change)
    names = ", ".join(law.name for law in laws)
    raise InputError(f"the lamps {names} find no steady state", "check their cold, hot and watts")


def driven_together(network: Network, what: str = "these figures") -> list[str]:
    """What to say where several channels carry the whole band, as no crossover is modelled before them."""
    if len(network.channels) < 2:
        return []
    return [f"several channels, all driven full range with the same voltage: no electronic crossover is in {what}"]


def cold_lamps(network: Network, so: str) -> list[str]:
    """What to say of each lamp and resettable fuse of a network where it is taken cold."""
    return [
        f"{part.name} is a lamp or resettable fuse taken cold ({part.ohm:g} ohm): {so}"
        for part in network.resistors
        if part.is_lamp
    ]
