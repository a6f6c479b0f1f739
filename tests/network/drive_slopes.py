"""How each drive answers each number of a network, as tests ask it."""

from __future__ import annotations

from xover.curve import Complex
from xover.network import Solution
from xover.network.adjoint import _relative, drive_gradient


def drive_sensitivity(solution: Solution) -> dict[str, dict[str, Complex]]:
    """d ln H/d ln x of each drive, by driver's key and parameter's name."""
    return _relative(solution, drive_gradient(solution), solution.drive)
