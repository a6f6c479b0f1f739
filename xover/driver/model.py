"""Electrical model of a driver in its cabinet: a network of resistors, inductors and capacitors.

    Z(s) = Re + s Le + sum_i (Ri || s Li) + sum_k (Rk || s Lk || 1/(s Ck))

The cells R || L are the lossy part of the voice coil (eddy currents in the pole piece): a ladder of
them follows the s^n of a semi-inductance over the audio band. A resonance R || L || C is the moving
mass on its suspension as the terminals see it. All values are positive, so that the model is passive,
causal and of minimum phase whatever the values are. Time dependence e^{+jwt}.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xover.errors import InputError

Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class LossyInductance:
    """A resistor and an inductor in parallel, a part of the voice coil's lossy inductance."""

    r_ohm: float
    l_h: float

    def __post_init__(self) -> None:
        _require_positive("a lossy inductance", r_ohm=self.r_ohm, l_h=self.l_h)

    @property
    def corner_hz(self) -> float:
        """Frequency at which resistor and inductor carry the same current, R/(2 pi L)."""
        return self.r_ohm / (2.0 * math.pi * self.l_h)

    def impedance_ohm(self, frequency_hz: ArrayLike) -> Complex:
        """(n,) complex ohm at `frequency_hz` (n,) >= 0; zero at 0 Hz."""
        x = 1j * np.asarray(frequency_hz, dtype=float) / self.corner_hz
        return np.asarray(self.r_ohm * x / (1.0 + x), dtype=complex)


@dataclass(frozen=True)
class Resonance:
    """A resistor, an inductor and a capacitor in parallel, given as peak, frequency and Q.

    Attributes
    ----------
    f_hz : frequency of the peak, 1/(2 pi sqrt(L C)).
    r_ohm : height of the peak, the parallel resistor.
    q : R sqrt(C/L), the mechanical Q of a driver's own resonance.
    """

    f_hz: float
    r_ohm: float
    q: float

    def __post_init__(self) -> None:
        _require_positive("a resonance", f_hz=self.f_hz, r_ohm=self.r_ohm, q=self.q)

    @property
    def c_f(self) -> float:
        """Parallel capacitor, farad: Q/(w R). For a driver's own resonance Mms/Bl^2."""
        return self.q / (2.0 * math.pi * self.f_hz * self.r_ohm)

    @property
    def l_h(self) -> float:
        """Parallel inductor, henry: R/(w Q). For a driver's own resonance Bl^2 Cms."""
        return self.r_ohm / (2.0 * math.pi * self.f_hz * self.q)

    def impedance_ohm(self, frequency_hz: ArrayLike) -> Complex:
        """(n,) complex ohm at `frequency_hz` (n,) >= 0; zero at 0 Hz."""
        x = np.asarray(frequency_hz, dtype=float) / self.f_hz
        side = 1j * x / self.q
        return np.asarray(self.r_ohm * side / (1.0 - x * x + side), dtype=complex)


@dataclass(frozen=True)
class RlcElement:
    """One resistor, inductor or capacitor of the equivalent circuit.

    Attributes
    ----------
    name : unique in its model; begins with the letter of its kind, as a SPICE card does.
    kind : "R", "L" or "C".
    value : ohm, henry or farad.
    cell : elements of one cell stand in parallel; the cells 0, 1, 2, .. stand in series.
    """

    name: str
    kind: Literal["R", "L", "C"]
    value: float
    cell: int


@dataclass(frozen=True)
class DriverModel:
    """A driver as its terminals show it, mounted as it was measured.

    Attributes
    ----------
    re_ohm : DC resistance, leads included.
    le_h : inductance without losses, 0 for none.
    lossy : cells R || L of the voice coil.
    resonances : the driver's own resonance first, then whatever else shows (port, horn, a damped cavity).
    """

    re_ohm: float
    le_h: float = 0.0
    lossy: tuple[LossyInductance, ...] = ()
    resonances: tuple[Resonance, ...] = ()

    def __post_init__(self) -> None:
        _require_positive("a driver", re_ohm=self.re_ohm)
        if not (math.isfinite(self.le_h) and self.le_h >= 0):
            raise InputError(f"a driver cannot have an inductance of {self.le_h:g} H", "give 0 or more")
        object.__setattr__(self, "lossy", tuple(self.lossy))
        object.__setattr__(self, "resonances", tuple(self.resonances))

    @classmethod
    def from_thiele_small(cls, re_ohm: float, fs_hz: float, qms: float, qes: float, le_h: float = 0.0) -> DriverModel:
        """Build the classical model: Re + s Le + one resonance of Re Qms/Qes ohm.

        Raises
        ------
        InputError : a value that is not above 0 (`le_h`: below 0) or not finite.
        """
        _require_positive("a driver", re_ohm=re_ohm, fs_hz=fs_hz, qms=qms, qes=qes)
        return cls(re_ohm, le_h, resonances=(Resonance(fs_hz, re_ohm * qms / qes, qms),))

    def impedance_ohm(self, frequency_hz: ArrayLike) -> Complex:
        """Impedance (n,) complex ohm at `frequency_hz` (n,) >= 0 Hz; Re at 0 Hz."""
        f = np.asarray(frequency_hz, dtype=float)
        z = self.re_ohm + 2j * math.pi * self.le_h * f
        for cell in self.lossy:
            z = z + cell.impedance_ohm(f)
        for peak in self.resonances:
            z = z + peak.impedance_ohm(f)
        return np.asarray(z, dtype=complex)

    @property
    def fs_hz(self) -> float:
        """Frequency of the first resonance, as mounted; NaN without one."""
        return self.resonances[0].f_hz if self.resonances else math.nan

    @property
    def qms(self) -> float:
        """Q of the mechanical losses, ws C R of the first resonance; NaN without one."""
        return self.resonances[0].q if self.resonances else math.nan

    @property
    def qes(self) -> float:
        """Q of the electrical damping through Re, ws C Re; NaN without a resonance."""
        return self.qms * self.re_ohm / self.resonances[0].r_ohm if self.resonances else math.nan

    @property
    def qts(self) -> float:
        """Total Q on an ideal voltage source, Qms Qes/(Qms + Qes); NaN without a resonance."""
        return self.qms * self.qes / (self.qms + self.qes) if self.resonances else math.nan

    @property
    def zmax_ohm(self) -> float:
        """Re plus the first resonance's peak, Re (1 + Qms/Qes), coil left out; NaN without a resonance."""
        return self.re_ohm + self.resonances[0].r_ohm if self.resonances else math.nan

    def rlc_elements(self) -> tuple[RlcElement, ...]:
        """Give the equivalent circuit: cells in series, the elements of a cell in parallel."""
        cells: list[list[tuple[str, Literal["R", "L", "C"], float]]] = [[("Re", "R", self.re_ohm)]]
        if self.le_h > 0:
            cells.append([("Le", "L", self.le_h)])
        for i, coil in enumerate(self.lossy, 1):
            cells.append([(f"Rcoil{i}", "R", coil.r_ohm), (f"Lcoil{i}", "L", coil.l_h)])
        for i, peak in enumerate(self.resonances, 1):
            cells.append([(f"Rres{i}", "R", peak.r_ohm), (f"Lres{i}", "L", peak.l_h), (f"Cres{i}", "C", peak.c_f)])
        return tuple(RlcElement(*element, cell=n) for n, cell in enumerate(cells) for element in cell)

    def wired(self, first: str, last: str, inner: Callable[[int], str]) -> list[tuple[RlcElement, str, str]]:
        """Give the elements of the equivalent circuit with the two nodes of each, for a netlist.

        Parameters
        ----------
        first, last : nodes at plus and minus. inner : makes the node between the cells n - 1 and n, n from 1.
        """
        elements = self.rlc_elements()
        nodes = [first, *map(inner, range(1, elements[-1].cell + 1)), last]
        return [(e, nodes[e.cell], nodes[e.cell + 1]) for e in elements]


def _require_positive(what: str, **values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0):
            raise InputError(f"{what} cannot have {name} = {value:g}", "give a number above 0")
