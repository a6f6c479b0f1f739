"""Electrical model of a driver in its cabinet: a network of resistors, inductors and capacitors.

    Z(s) = Re + s Le + sum_i (Ri || s Li) + sum_k (Rk || s Lk || 1/(s Ck))

The cells R || L are the lossy part of the voice coil (eddy currents in the pole piece): a ladder of
them follows the s^n of a semi-inductance over the audio band. A resonance R || L || C is the moving
mass on its suspension as the terminals see it. All values are positive, so that the model is passive,
causal and of minimum phase whatever the values are. Time dependence e^{+jwt}.

A driver's electrical model as a ratio of two polynomials in s.

A driver for which only a data sheet is at hand: impedance and response from its small-signal values.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Complex, Curve, Evidence, Float, Unit
from xover.errors import InputError
from xover.remark import About, Remark


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

        Raises InputError: a value that is not above 0 (`le_h`: below 0) or not finite.
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


def impedance_polynomials(model: DriverModel) -> tuple[Float, Float]:
    """Numerator and denominator of Z(s), highest power of s first.

    Re + s Le + sum s R L/(R + s L) + sum of resonances R (s w0/Q)/(s^2 + s w0/Q + w0^2).
    """
    top, bottom = np.array([model.le_h, model.re_ohm]), np.array([1.0])
    cells = [(np.array([c.r_ohm * c.l_h, 0.0]), np.array([c.l_h, c.r_ohm])) for c in model.lossy]
    for peak in model.resonances:
        omega = 2.0 * math.pi * peak.f_hz
        width = omega / peak.q
        cells.append((np.array([peak.r_ohm * width, 0.0]), np.array([1.0, width, omega**2])))
    for numerator, denominator in cells:
        top = np.polyadd(np.polymul(top, denominator), np.polymul(numerator, bottom))
        bottom = np.polymul(bottom, denominator)
    return np.trim_zeros(top, "f"), bottom


SOURCE: Final = "data sheet values"
NOT_IN_IMPEDANCE: Final = Remark(
    "impedance from the data sheet: the cabinet, the leads, the spread between samples and the losses of the "
    "coil's inductance are not in it",
    About.DATASHEET_IMPEDANCE,
)
NO_INDUCTANCE: Final = Remark(
    "no inductance was given, so the impedance does not rise towards high frequencies as a real one does",
    About.IMPEDANCE,
)
NOT_IN_RESPONSE: Final = Remark(
    "response from the data sheet: flat above the resonance; the cabinet, the baffle step, beaming, break-up, "
    "the upper roll-off and the acoustic centre are not in it",
    About.DATASHEET_RESPONSE,
)


@dataclass(frozen=True)
class DatasheetValues:
    """Small-signal values as printed.

    Attributes
    ----------
    re_ohm : DC resistance.
    fs_hz : resonance.
    qms, qes : mechanical and electrical Q.
    le_mh : inductance in millihenry, or None where none is printed.
    sensitivity_db : dB re 20 uPa for 2.83 V at 1 m, or None.
    """

    re_ohm: float
    fs_hz: float
    qms: float
    qes: float
    le_mh: float | None = None
    sensitivity_db: float | None = None

    def __post_init__(self) -> None:
        DriverModel.from_thiele_small(self.re_ohm, self.fs_hz, self.qms, self.qes, (self.le_mh or 0.0) * 1e-3)
        if self.sensitivity_db is not None and not math.isfinite(self.sensitivity_db):
            raise InputError("the sensitivity is not a finite number", "give dB for 2.83 V at 1 m, or leave it out")

    @property
    def notes(self) -> tuple[Remark, ...]:
        """What curves made from these values do not hold, one sentence each."""
        notes = [NOT_IN_IMPEDANCE]
        if self.le_mh is None:
            notes.append(NO_INDUCTANCE)
        if self.sensitivity_db is not None:
            notes.append(NOT_IN_RESPONSE)
        return tuple(notes)

    @property
    def qts(self) -> float:
        """Total Q, Qms Qes/(Qms + Qes)."""
        return self.model.qts

    @property
    def model(self) -> DriverModel:
        """Equivalent circuit: Re + Le + one resonance."""
        return DriverModel.from_thiele_small(self.re_ohm, self.fs_hz, self.qms, self.qes, (self.le_mh or 0.0) * 1e-3)


def datasheet_response(values: DatasheetValues, frequency_hz: ArrayLike) -> Curve:
    """Response of an ideal flat driver: its sensitivity, and a second-order high-pass at fs with Qts.

        p = 10^(sensitivity/20) s^2/(s^2 + s ws/Qts + ws^2)

    That is the driver on an ideal voltage source in an infinite baffle (Small 1972, from memory), with
    its own minimum phase and no delay.

    Parameters
    ----------
    frequency_hz : (n,) Hz, rising, above 0.

    Returns
    -------
    Curve re 20 uPa, evidence `assumed`; `values.notes` says what is not in it.

    Raises InputError: no sensitivity is given.
    """
    if values.sensitivity_db is None:
        raise InputError(
            "the data sheet gives no sensitivity, so there is no response", "give sensitivity_db for 2.83 V at 1 m"
        )
    f = np.asarray(frequency_hz, dtype=float)
    s = 1j * f / values.fs_hz
    high_pass = s * s / (s * s + s / values.qts + 1.0)
    pressure = 10.0 ** (values.sensitivity_db / 20.0) * high_pass
    return Curve(f, pressure, Unit.PASCAL_20U, Evidence.ASSUMED, source=SOURCE)
