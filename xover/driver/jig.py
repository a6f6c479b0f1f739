"""Impedance from two voltages and a known resistor: the arithmetic of an impedance jig."""

from __future__ import annotations

from enum import StrEnum

import numpy as np

from xover.curve import Complex, Float


class Across(StrEnum):
    """What the second channel measures across; the first measures across resistor and driver together."""

    DRIVER = "driver"
    """The resistor is in the plus lead: the driver is the lower arm of a divider."""
    RESISTOR = "resistor"
    """The resistor is in the minus lead: the voltage across it is the driver's current."""


def impedance_of_ratio(ratio: Complex, reference_ohm: float, across: Across) -> Complex:
    """(n,) impedance, ohm, from the ratio of the second channel's voltage to the first's.

    Voltage divider: across the driver H = Z/(Z + R), so Z = R H/(1 - H); across the resistor H = R/(Z + R), so
    Z = R (1 - H)/H. NaN where the ratio says an open circuit (H of 1, or 0 across the resistor).

    Parameters
    ----------
    ratio : (n,) complex, V/V. reference_ohm : of the resistor, > 0.
    """
    top, bottom = (ratio, 1.0 - ratio) if across is Across.DRIVER else (1.0 - ratio, ratio)
    out = np.full(ratio.shape, np.nan + 1j * np.nan)
    np.divide(reference_ohm * top, bottom, out=out, where=np.abs(bottom) > 0.0)
    return out


def error_gain(ratio: Complex) -> Float:
    """(n,) by how much a relative error of the ratio grows in the impedance: |dZ/Z| / |dH/H|.

    1/|1 - H| for either wiring (derived), that is |1 + Z/R| across the driver and |1 + R/Z| across the resistor: a
    resistor far from the driver's impedance reads badly, below it in one wiring, above it in the other.
    """
    with np.errstate(divide="ignore"):
        return np.asarray(1.0 / np.abs(1.0 - ratio), dtype=float)


def impedance_of_three(
    ratio: Complex, open_ratio: Complex, short_ratio: Complex, known_ratio: Complex, known_ohm: float
) -> Complex:
    """(n,) impedance, ohm, with three readings of the same jig: nothing, a short, and a known resistor in its place.

    Z = Zk (H - Hs)(Ho - Hk) / ((Ho - H)(Hk - Hs)): whatever is linear between the two channels and the driver's
    terminals falls
    out, unlike channels, crosstalk, leads and input load among it. Open, short and load correction as in handbooks of
    impedance measurement; derived here from a ratio that is a bilinear function of Z.
    """
    top = (ratio - short_ratio) * (open_ratio - known_ratio)
    bottom = (open_ratio - ratio) * (known_ratio - short_ratio)
    out = np.full(ratio.shape, np.nan + 1j * np.nan)
    np.divide(known_ohm * top, bottom, out=out, where=np.abs(bottom) > 0.0)
    return out


def gains_of_three(
    ratio: Complex, open_ratio: Complex, short_ratio: Complex, known_ratio: Complex
) -> tuple[Float, Float, Float, Float]:
    """(n,) each: dZ/Z for a relative error of each of the four ratios, in the order of the parameters; derived."""
    with np.errstate(divide="ignore", invalid="ignore"):
        h, o, s, k = ratio, open_ratio, short_ratio, known_ratio
        each = (
            h * (1.0 / (h - s) + 1.0 / (o - h)),
            o * (1.0 / (o - k) - 1.0 / (o - h)),
            s * (1.0 / (k - s) - 1.0 / (h - s)),
            k * (-1.0 / (o - k) - 1.0 / (k - s)),
        )
    a, b, c, d = (np.asarray(np.abs(e), dtype=float) for e in each)
    return a, b, c, d
