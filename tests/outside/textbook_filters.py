"""Textbook crossover polynomials, written from their published denominators and nothing else."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Complex = NDArray[np.complex128]

ROOT2 = math.sqrt(2.0)
ROOT3 = math.sqrt(3.0)
FOURTH = math.sqrt(4.0 + 2.0 * ROOT2)

# Denominators in s (corner at 1 rad/s), highest power first. Butterworth: S. Butterworth 1930, from
# memory; Linkwitz-Riley: Butterworth squared (S. Linkwitz, JAES 24(1) 1976, from memory).
DENOMINATORS: dict[str, list[float]] = {
    "B1": [1.0, 1.0],
    "B2": [1.0, ROOT2, 1.0],
    "LR2": [1.0, 2.0, 1.0],
    "B3": [1.0, 2.0, 2.0, 1.0],
    "B4": [1.0, FOURTH, 2.0 + ROOT2, FOURTH, 1.0],
    "LR4": [1.0, 2.0 * ROOT2, 4.0, 2.0 * ROOT2, 1.0],
    "Bessel2": [1.0, ROOT3, 1.0],
}


def low_and_high(name: str, ratio: NDArray[np.float64]) -> tuple[Complex, Complex]:
    """Low-pass 1/D(s) and high-pass s^n/D(s) at s = j ratio, ratio = f/fc."""
    s = 1j * np.asarray(ratio, dtype=float)
    denominator = np.polyval(DENOMINATORS[name], s)
    return 1.0 / denominator, s ** (len(DENOMINATORS[name]) - 1) / denominator
