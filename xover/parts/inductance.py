"""Self inductance of air-core coils: exact, by loops, and by the formulas that people use.

"Exact" means a section filled evenly with current; "loops" means every turn of a real wire a circle at its place.
At low frequencies, with nothing magnetic or conducting nearby.

Mutual inductance of circles: the stone that coils are built of.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Float
from xover.parts.wire import Winding

MU0: Final = 4e-7 * math.pi
"""Henry per metre. The value fixed before 2019; the measured one differs by less than 1e-9 of it."""


def mutual_of_circles_h(radius_a_m: ArrayLike, radius_b_m: ArrayLike, distance_m: ArrayLike) -> Float:
    """Mutual inductance of two coaxial circles, henry; arguments broadcast.

    Maxwell's second form (Treatise, art. 701; Rosa and Grover, NBS Bulletin 8 no. 1, 1912) by the arithmetic-geometric
    mean. With r+- = sqrt((a +- b)^2 + d^2), s = r+ + r- and k = 4 a b / s^2:

        M = mu0 s (K(k) - E(k))
          = mu0 pi / (2 agm(s, 2 sqrt(r+ r-))) sum over n >= 0 of 2^(n-1) c_n^2       (DLMF 19.8.5 and 19.8.6)
        c_0 = 4 a b / s,  c_(n+1) = c_n^2 / (4 a_(n+1)),  a_n as in that mean

    All terms are positive and nothing cancels, so it keeps its digits far away too, where K and E differ by
    less than rounding.

    Parameters
    ----------
    radius_a_m, radius_b_m : zero or more. distance_m : between their planes, either sign.

    Returns
    -------
    (...), infinite where both circles coincide, NaN where an argument is.
    """
    a, b, d = (np.asarray(v, dtype=float) for v in (radius_a_m, radius_b_m, distance_m))
    area = a * b
    over_area = _over_area_squared(np.hypot(a + b, d), np.hypot(a - b, d), area)
    return np.asarray(np.where(area == 0.0, 0.0, area) ** 2 * np.where(area == 0.0, 0.0, over_area))


def potential_over_rho(radius_m: ArrayLike, rho_m: ArrayLike, z_m: ArrayLike) -> Float:
    """Vector potential of a circle that carries one ampere, over the distance from its axis: A_phi / rho in H/m^2.

    The flux through a coaxial circle is 2 pi rho A_phi, so A_phi / rho = M / (2 pi rho^2), which is regular on the
    axis.

    Parameters
    ----------
    radius_m : of the circle, above zero. rho_m : from its axis, zero or more. z_m : from its plane. They broadcast.
    """
    a, rho, z = (np.asarray(v, dtype=float) for v in (radius_m, rho_m, z_m))
    return np.asarray(a**2 / (2.0 * math.pi) * _over_area_squared(np.hypot(a + rho, z), np.hypot(a - rho, z), a * rho))


def _over_area_squared(far: Float, near: Float, area: Float) -> Float:
    """M / (a b)^2 from the longest and shortest way between the circles, and a b; infinite where they touch."""
    touching = near == 0.0
    mean = np.where(touching, np.inf, far + near)
    other = np.where(touching, np.inf, 2.0 * np.sqrt(far * near))
    part = 4.0 / mean  # c_n / (a b)
    total = 0.5 * part**2
    weight, growing = 1.0, True
    while growing:
        mean, other = 0.5 * (mean + other), np.sqrt(mean * other)
        part = area * part**2 / (4.0 * mean)
        term = weight * part**2
        total = total + term
        weight *= 2.0
        # The share of the next term is less than the square of this one's: then below rounding.
        growing = bool(np.any(term > 1e-9 * total))
    return np.where(touching, np.inf, MU0 * math.pi / (mean + other) * total)


INCH_M: Final = 0.0254
BROOKS_H_PER_M: Final = 2.5491e-6
"""Brooks's coil, length = depth c and mean radius 1.5 c, has the most inductance of a wire: L / (c N^2), within 2e-5.

H. B. Brooks, BS J. Res. 7 (1931) RP342: 0.025491 uH, c in cm."""


def loop_h(radius_m: ArrayLike, wire_diameter_m: float) -> Float:
    """One circle of round wire, current spread evenly in it: mu0 a (ln(8 a/r) - 1.75).

    Maxwell; Rosa and Grover, NBS Bulletin 8 no. 1 (1912), from memory. Terms left out are of the order
    (r/a)^2 ln(a/r) of it: below 0.1 % for a wire thinner than a twentieth of the loop.
    """
    a = np.asarray(radius_m, dtype=float)
    return np.asarray(MU0 * a * (np.log(16 * a / wire_diameter_m) - 1.75))


def layered_coil_h(
    inner_radius_m: float, pitch_m: float, turns_in_layer: Sequence[int], wire_diameter_m: float
) -> float:
    """A coil as circles in series, all self and mutual inductances added up, each like pair computed once.

    Turns of a layer and of the next lie one over the other, a pitch apart. Circles for the turns of a helix: the slope
    of a turn and the leads are left out. The mutual inductance of round wires is taken between their centres, right
    to (wire/radius)^2.

    Parameters
    ----------
    inner_radius_m : of the former.
    pitch_m : of turns along the axis and of layers along the radius.
    turns_in_layer : from the inside; a layer with fewer turns begins at the same end.
    wire_diameter_m : bare copper.
    """
    counts = np.asarray(turns_in_layer, dtype=int)
    radius = inner_radius_m + (np.arange(counts.size) + 0.5) * pitch_m
    one, other = np.triu_indices(counts.size)
    apart = np.arange(counts.max())
    mutual = mutual_of_circles_h(
        radius[one][:, None],
        radius[other][:, None],
        np.where((one == other)[:, None] & (apart == 0), np.nan, apart * pitch_m),
    )
    # Of m turns and n turns on one grid, so many pairs lie `apart` steps from each other, one way and the other way.
    m, n = counts[one][:, None], counts[other][:, None]
    forth = np.maximum(np.minimum(n, m - apart), 0)
    back = np.where(apart > 0, np.maximum(np.minimum(m, n - apart), 0), 0)
    pairs = np.where((one == other)[:, None], 1, 2) * (forth + back)
    itself = (one == other)[:, None] & (apart == 0)
    total = np.sum(np.where(itself, 0.0, pairs * np.where(itself, 0.0, mutual)))
    return float(total + np.sum(counts * loop_h(radius, wire_diameter_m)))


def section_h(winding: Winding, order: int = 12) -> float:
    """Exact inductance of a rectangular section filled evenly with current.

    The average over the section, twice, of the mutual inductance of two circles. Along the axis only their distance z
    counts, with the weight 2 (b - z); along the radius, the smaller radius and the step s to the larger. Where
    s = z = 0 the mutual inductance grows like a logarithm: there the plane (s, z) is cut into triangles whose
    points crowd towards that corner (Duffy), and the rest into panels that double in length.

    Parameters
    ----------
    winding : depth and length above zero.
    order : Gauss-Legendre points in each direction. 12 is right to 1e-8 of the result, 6 to 1e-4, for a length of 0.02
        to 50 depths; the sum over a Fourier-Bessel integral agrees.
    """
    b, c = winding.length_m, winding.depth_m
    s, z, weight = _corner_grid(order, _doublings(c / b), _doublings(b / c))
    s, z, weight = s * c, z * b, weight * b * c
    u, w = _gauss(order)
    smaller = winding.inner_radius_m + np.outer(u, c - s)
    mutual = mutual_of_circles_h(smaller, smaller + s, z)
    line = w @ mutual * (c - s)
    return float(winding.turns**2 * np.sum(4 * weight * (b - z) * line) / (b * c) ** 2)


def _doublings(aspect: float) -> tuple[float, ...]:
    """Ends of the panels along the longer side, in parts of it: the first is as long as the other side."""
    if aspect <= 1.5:
        return (1.0,)
    ends = [1 / aspect]
    while ends[-1] * 3 < 1:
        ends.append(ends[-1] * 2)
    return (*ends, 1.0)


@cache
def _gauss(order: int) -> tuple[Float, Float]:
    """Points and weights on 0..1."""
    x, w = np.polynomial.legendre.leggauss(order)
    return (x + 1) / 2, w / 2


@cache
def _corner_grid(order: int, ends_s: tuple[float, ...], ends_z: tuple[float, ...]) -> tuple[Float, Float, Float]:
    """Points (s, z) and weights for the unit square, for integrands with a logarithm at its corner 0, 0."""
    u, w = _gauss(order)
    far = u**4
    along, across = np.meshgrid(far, u, indexing="ij")
    weight = np.outer(4 * u**3 * w * far, w).ravel()
    s0, z0 = ends_s[0], ends_z[0]
    s = [s0 * along.ravel(), s0 * (along * across).ravel()]
    z = [z0 * (along * across).ravel(), z0 * along.ravel()]
    weights = [s0 * z0 * weight] * 2
    flat = np.outer(w, w).ravel()
    for ends, long, short, width in ((ends_s, s, z, z0), (ends_z, z, s, s0)):
        for low, high in pairwise(ends):
            first, second = np.meshgrid(u, u, indexing="ij")
            long.append(low + (high - low) * first.ravel())
            short.append(width * second.ravel())
            weights.append((high - low) * width * flat)
    return np.concatenate(s), np.concatenate(z), np.concatenate(weights)


def wire_correction_h(winding: Winding, pitch_m: float, wire_diameter_m: float) -> float:
    """What round wire with gaps has more than an evenly filled section: mu0 a N (ln(p/d) + 0.138 + 0.017).

    E. B. Rosa, NBS Bulletin 3 (1907), from memory; 0.138 follows from the mean distances of a circle and a square,
    0.017 is for coils of many turns (0.007 for few). Together with `section_h` within 0.1 % of the
    loops from 20 turns on.
    """
    return float(MU0 * winding.mean_radius_m * winding.turns * (np.log(pitch_m / wire_diameter_m) + 0.13806 + 0.017))


def wheeler_multilayer_h(winding: Winding) -> float:
    """H. A. Wheeler, Proc. IRE 16 (1928) 1398: L[uH] = 0.8 a^2 N^2/(6a + 9b + 10c) in inches.

    "Accurate to 1 % when the terms in the denominator are about equal".
    """
    a, b, c = _inches(winding)
    return 0.8e-6 * (a * winding.turns) ** 2 / (6 * a + 9 * b + 10 * c)


def radiotron_h(winding: Winding) -> float:
    """Radiotron Designer's Handbook, 4th ed., ch. 10: L[uH] = a^2 N^2/(9a + 10b + 8.4c + 3.2 bc/a) in inches.

    No accuracy is stated there; 6 % high on a flat coil of 30/90 mm x 10 mm.
    """
    a, b, c = _inches(winding)
    return 1e-6 * (a * winding.turns) ** 2 / (9 * a + 10 * b + 8.4 * c + 3.2 * b * c / a)


def by_formula_h(winding: Winding) -> dict[str, float]:
    """The exact section and the formulas that suit a coil of several layers, by name, for comparison."""
    return {
        "evenly filled section, exact": section_h(winding),
        "Wheeler 1928, multilayer": wheeler_multilayer_h(winding),
        "Radiotron Designer's Handbook": radiotron_h(winding),
    }


def _inches(winding: Winding) -> tuple[float, float, float]:
    return winding.mean_radius_m / INCH_M, winding.length_m / INCH_M, winding.depth_m / INCH_M
