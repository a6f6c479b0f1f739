"""A protection lamp: its resistance rises with the power in it, as a filament's does.

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
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xover.errors import InputError
from xover.network import Resistor

Float = NDArray[np.float64]

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

    Returns
    -------
    (k,) ohm; NaN where a power is not known.

    Raises
    ------
    InputError : several lamps that play into one another come to no rest.
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
