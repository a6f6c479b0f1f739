"""Round copper wire: gauges, resistance, mass, enamel, and what its resistance does at high frequencies.

Diameters are of bare copper unless a name says otherwise.

A coil's winding as a shape: what its inductance depends on.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final, NoReturn

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Float
from xover.errors import InputError, OptionError
from xover.units import metres


@dataclass(frozen=True)
class Winding:
    """A circular coil of rectangular cross section, uniformly filled.

    Attributes
    ----------
    inner_radius_m, outer_radius_m : of the copper, outer above inner.
    length_m : along the axis.
    turns : all of them; may be a fraction.
    """

    inner_radius_m: float
    outer_radius_m: float
    length_m: float
    turns: float

    @property
    def mean_radius_m(self) -> float:
        """Half the sum of both radii."""
        return (self.inner_radius_m + self.outer_radius_m) / 2

    @property
    def depth_m(self) -> float:
        """Of the winding, along the radius."""
        return self.outer_radius_m - self.inner_radius_m


RESISTIVITY_20C: Final = 1e-6 / 58
"""Of annealed copper at 20 degC, ohm metre: IEC 60028 (1925), 1/58 ohm mm^2/m."""
PER_KELVIN: Final = 0.00393
"""Temperature coefficient of that resistance at 20 degC: IEC 60028."""
DENSITY_KG_M3: Final = 8890.0
"""Of annealed copper: IEC 60028, from memory."""
THINNEST_M: Final = 0.1e-3
THICKEST_M: Final = 5e-3
USUAL_MM: Final = (
    *(0.25, 0.28, 0.315, 0.355, 0.4, 0.45, 0.5, 0.56, 0.6, 0.63, 0.71, 0.75, 0.8, 0.85, 0.9, 0.95, 1.0, 1.06, 1.12),
    *(1.18, 1.25, 1.32, 1.4, 1.5, 1.6, 1.7, 1.8, 1.9, 2.0, 2.24, 2.5),
)
"""Bare diameters that enamelled wire is sold in, after IEC 60317: from memory. A dealer keeps some of them."""

_GAUGE = re.compile(r"(?:awg\s*#?\s*(\d{1,4}|[1-4]/0)|#?\s*(\d{1,4}|[1-4]/0)\s*awg)")
_EXAMPLE: Final = "give the bare copper's diameter or its gauge, such as 1.0mm or AWG18"


@dataclass(frozen=True)
class Wire:
    """One round copper wire.

    Attributes
    ----------
    diameter_m : of the bare copper.
    name : as a dealer says it: "1 mm", "AWG 18".
    """

    diameter_m: float
    name: str

    @property
    def pitch_m(self) -> float:
        """What a turn takes up in a winding: the enamelled diameter."""
        return float(enamelled_diameter_m(self.diameter_m))


def metric_wire(diameter_mm: float) -> Wire:
    """Wire by the diameter of its copper in millimetres, any in 0.1 to 5."""
    return Wire(diameter_mm * 1e-3, f"{diameter_mm:g} mm")


def usual_wires() -> tuple[Wire, ...]:
    """Wires of the usual diameters, the thinnest first."""
    return tuple(metric_wire(d) for d in USUAL_MM)


def awg_diameter_m(gauge: ArrayLike) -> Float:
    """Bare diameter of an American wire gauge: 0.005 in x 92^((36 - gauge)/39), ASTM B258 (from memory).

    Parameters
    ----------
    gauge : 0 is written 0; 00, 000 and 0000 are -1, -2 and -3.
    """
    return np.asarray(0.005 * 0.0254 * 92.0 ** ((36.0 - np.asarray(gauge, dtype=float)) / 39.0))


def parse_wire(text: str) -> Wire:
    """Read a wire: "1.0mm", "0,8 mm", "AWG18", "18 AWG".

    Raises OptionError: not a wire, a number without unit, or bare copper outside 0.1 to 5 mm.
    """
    low = text.strip().lower()
    found = _GAUGE.fullmatch(low)
    if found:
        wire = _gauge_wire(found[1] or found[2], text)
    else:
        try:
            diameter = metres(text, "a wire", _EXAMPLE)
        except InputError as error:
            raise OptionError(error.problem, error.remedy) from None
        wire = Wire(diameter, f"{diameter * 1e3:g} mm")
    if not THINNEST_M * (1 - 1e-9) <= wire.diameter_m <= THICKEST_M * (1 + 1e-9):
        size = f"{wire.diameter_m * 1e3:.3g} mm"
        raise OptionError(
            f"wire '{_short(text)}' has {size} of copper" + (" (none)" if wire.diameter_m == 0 else ""),
            "give one from 0.1 to 5 mm; coils for crossovers take 0.5 to 2.5 mm",
        )
    return wire


def _gauge_wire(digits: str, text: str) -> Wire:
    if digits.endswith("/0"):
        gauge = 1 - int(digits[0])
    elif set(digits) == {"0"}:
        gauge = 1 - len(digits)
    else:
        gauge = int(digits)
    if gauge > 40:
        _refuse_gauge(text)
    return Wire(float(awg_diameter_m(gauge)), f"AWG {digits}")


def _refuse_gauge(text: str) -> NoReturn:
    raise OptionError(f"'{_short(text)}' is thinner than any gauge for a coil", _EXAMPLE)


def _short(text: str) -> str:
    return text if len(text) <= 40 else text[:37] + "..."


def area_m2(diameter_m: ArrayLike) -> Float:
    """Cross section of the copper."""
    return np.asarray(math.pi / 4 * np.asarray(diameter_m, dtype=float) ** 2)


def resistance_ohm_per_m(diameter_m: ArrayLike, temperature_c: float = 20.0) -> Float:
    """Resistance for direct current, IEC 60028: 1/58 ohm mm^2/m at 20 degC and 0.00393 per kelvin from there."""
    return np.asarray(RESISTIVITY_20C * (1 + PER_KELVIN * (temperature_c - 20.0)) / area_m2(diameter_m))


def mass_kg_per_m(diameter_m: ArrayLike) -> Float:
    """Mass of the copper alone, at 8.89 g/cm^3 (IEC 60028, from memory); enamel adds 1 to 3 %."""
    return np.asarray(DENSITY_KG_M3 * area_m2(diameter_m))


def enamelled_diameter_m(diameter_m: ArrayLike) -> Float:
    """Greatest diameter over grade 2 enamel, approximate.

    The enamel adds 0.094 mm x d^0.575 below 1 mm of copper and 0.094 mm x d^0.25 above (d in mm): a fit to
    values of IEC 60317-0-1 from memory, within 0.004 mm of them.
    """
    mm = np.asarray(diameter_m, dtype=float) * 1e3
    return np.asarray((mm + 0.094 * np.where(mm < 1, mm**0.575, mm**0.25)) * 1e-3)


def bare_diameter_m(enamelled_m: float) -> float:
    """Copper inside a wire of that diameter over its enamel: `enamelled_diameter_m` turned around.

    NaN where the copper would be thinner than 0.01 mm.
    """
    low, high = 1e-5, enamelled_m
    if not float(enamelled_diameter_m(low)) <= enamelled_m:
        return math.nan
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if float(enamelled_diameter_m(middle)) <= enamelled_m else (low, middle)
    return low


def skin_depth_m(frequency_hz: ArrayLike) -> Float:
    """Depth in copper at 20 degC, sqrt(rho / (pi f mu0)), at which the current density has fallen to 1/e."""
    f = np.asarray(frequency_hz, dtype=float)
    return np.asarray(np.sqrt(RESISTIVITY_20C / (math.pi * f * 4e-7 * math.pi)))


def ac_resistance_ratio(diameter_m: ArrayLike, frequency_hz: ArrayLike) -> Float:
    """Resistance over that for direct current of one straight round wire by itself, at 20 degC.

    Re{(k a/2) J0(k a)/J1(k a)}, k = (1 - j)/skin depth (textbook solution of the round conductor). Skin effect only:
    inside a coil the field of the other turns (proximity) adds more, and how much depends on the winding.

    Parameters
    ----------
    diameter_m, frequency_hz : above zero; they broadcast.
    """
    from scipy.special import jve

    radius = np.asarray(diameter_m, dtype=float) / 2
    ka = (1 - 1j) * radius / skin_depth_m(frequency_hz)
    # Both scaled by the same exponential, which drops out: no overflow in thick wire.
    return np.asarray((ka / 2 * jve(0, ka) / jve(1, ka)).real)
