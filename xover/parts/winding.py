"""A coil's winding as a shape: what its inductance depends on."""

from __future__ import annotations

from dataclasses import dataclass


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
