"""Electrical model of a driver in its cabinet.

    Z(s) = Re + s Le + K s^n + sum_i (Ri || s Li) + sum_k (Rk || s Lk || 1/(s Ck) || box)

K s^n is the lossy part of the voice coil (eddy currents in the pole piece: Wright 1990, Leach 2002, from memory); cells
R || L stand for what no power follows, and a ladder of them for K s^n wherever a circuit of plain parts is asked for.
A resonance R || L || C is the moving mass on its suspension as the terminals see it; air behind it that leaks, or works
a port, is one more leg across it. All values are positive, so that the model is passive, causal and of minimum phase
whatever the values are. Time dependence e^{+jwt}.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Complex, Float
from xover.errors import InputError

IN_SERIES: Final = 1
ACROSS: Final = 2
PEAKS_REACH: Final = 6.0
PEAKS_ROWS: Final = 240
"""Peaks of a boxed driver are looked for within this factor of it and its box, on so many rows."""
COIL_HZ: Final = 1e3
"""A coil's modulus is given here."""
LADDER_PER_DECADE: Final = 2.0
LADDER_HZ: Final = (10.0, 60e3)
"""Corners of the ladder that stands for a power: so many for each decade, about from here to here."""


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
class PowerCoil:
    """Lossy inductance that goes with a power of the frequency: `ohm` (j f/1 kHz)^`power`.

    Attributes
    ----------
    ohm : modulus at 1 kHz.
    power : between 0 and 1, which would be an inductance without losses; 0.5 is what eddy currents alone make.
    """

    ohm: float
    power: float

    def __post_init__(self) -> None:
        _require_positive("a lossy inductance", ohm=self.ohm, power=self.power)
        if self.power >= 1.0:
            raise InputError(f"a lossy inductance cannot go with the power {self.power:g}", "give less than 1")

    def impedance_ohm(self, frequency_hz: ArrayLike) -> Complex:
        """(n,) complex ohm at `frequency_hz` (n,); below 0 Hz the conjugate."""
        return np.asarray(
            self.ohm * (1j * np.asarray(frequency_hz, dtype=float) / COIL_HZ) ** self.power, dtype=complex
        )

    def ladder(self) -> tuple[LossyInductance, ...]:
        """Cells R || L that come near it.

        s^n = sin(pi n)/pi Int s/(s + x) x^(n - 1) dx, summed at even steps of log x: the sum of such an integrand
        converges faster than any power of the step (from memory). What lies beyond either end is one cell each, which
        does in the band as all of them would to the second order.
        """
        n, step = self.power, math.log(10.0) / LADDER_PER_DECADE
        first, last = (round(math.log(f / COIL_HZ) / step) for f in LADDER_HZ)
        share = self.ohm * math.sin(math.pi * n) / math.pi * step
        cells = [(share * math.exp(n * k * step), COIL_HZ * math.exp(k * step)) for k in range(first, last + 1)]
        (r, x), (top_r, top_x) = cells[0], cells[-1]
        rest = [1.0 / math.expm1(power * step) for power in (n, n + 1.0, 1.0 - n, 2.0 - n)]
        above = top_x * rest[2] / rest[3]
        cells = [(r * rest[0], x * rest[1] / rest[0]), *cells, (top_r / top_x * rest[2] * above, above)]
        return tuple(LossyInductance(r, r / (2.0 * math.pi * hz)) for r, hz in cells)


@dataclass(frozen=True)
class BoxAir:
    """What the air of a box puts across a driver's resonance: L, R and C in series, given against its own L.

    The C, with a resistor across it, is the air in the port: a closed box that leaks has none. A suspension that creeps
    looks like a leak (Small 1972 and 1973, Knudsen and Jensen 1993, from memory).

    Attributes
    ----------
    stiffness : of the air over that of the suspension, Small's alpha.
    leak_hz : where leak and air carry the same flow, R/(2 pi L); tuned_hz/leak_hz is Small's QL.
    tuned_hz : what port and air are tuned to; 0 without a port.
    port_q : Small's QP, the port's own losses at the tuning.
    """

    stiffness: float
    leak_hz: float
    tuned_hz: float = 0.0
    port_q: float = math.inf

    def __post_init__(self) -> None:
        _require_positive("a box", stiffness=self.stiffness, leak_hz=self.leak_hz)
        if not (math.isfinite(self.tuned_hz) and self.tuned_hz >= 0 and self.port_q > 0):
            raise InputError(f"a box cannot be tuned to {self.tuned_hz:g} Hz with Q {self.port_q:g}", "give 0 or more")

    def held(self, frequency_hz: Float) -> Complex:
        """(n,) share of the air's stiffness that is left of it: s/(s + wl + wb^2/(s + wb/QP))."""
        s = 1j * np.where(frequency_hz == 0, 1e-12, frequency_hz)
        return np.asarray(s / (s + self.leak_hz + self.tuned_hz**2 / (s + self.tuned_hz / self.port_q)), dtype=complex)


@dataclass(frozen=True)
class Resonance:
    """A resistor, an inductor and a capacitor in parallel, given as peak, frequency and Q.

    Attributes
    ----------
    f_hz : frequency of the peak, 1/(2 pi sqrt(L C)); with a box, of the driver without it.
    r_ohm : height of the peak, the parallel resistor.
    q : R sqrt(C/L), the mechanical Q of a driver's own resonance.
    box : air that works on it, as one more leg; None without.
    """

    f_hz: float
    r_ohm: float
    q: float
    box: BoxAir | None = None

    def __post_init__(self) -> None:
        _require_positive("a resonance", f_hz=self.f_hz, r_ohm=self.r_ohm, q=self.q)

    def peaks(self) -> tuple[Resonance, ...]:
        """Peaks as the terminals show them, without a box: where the phase falls through zero, rising in frequency.

        Its Q is that of a plain resonance of the same slope there.
        """
        if self.box is None:
            return (self,)
        reach = PEAKS_REACH * max(1.0, math.sqrt(1.0 + self.box.stiffness), self.box.tuned_hz / self.f_hz)
        f = np.geomspace(self.f_hz / reach, self.f_hz * reach, PEAKS_ROWS)
        side = self._over(f).imag
        at = np.flatnonzero((side[:-1] < 0) & (side[1:] >= 0))
        low, high = f[at], f[at + 1]
        for _ in range(40):
            middle = np.sqrt(low * high)
            below = self._over(middle).imag < 0
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        over, near = self._over(low).real, 1e-5
        slope = (self._over(low * (1.0 + near)).imag - self._over(low * (1.0 - near)).imag) / (4.0 * near)
        each = zip(low.tolist(), (self.r_ohm / over).tolist(), (slope / over).tolist(), strict=True)
        return tuple(Resonance(*values) for values in each)

    @cached_property
    def own(self) -> Resonance:
        """A plain resonance to read the driver from: without a box that has a port, else the peak that shows."""
        if self.box is None or self.box.tuned_hz > 0:
            return replace(self, box=None)
        return max(self.peaks(), key=lambda peak: peak.r_ohm, default=replace(self, box=None))

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
        f = np.asarray(frequency_hz, dtype=float)
        x = f / self.f_hz
        side = 1j * x / self.q
        spring = 1.0 if self.box is None else 1.0 + self.box.stiffness * self.box.held(f)
        return np.asarray(self.r_ohm * side / (spring - x * x + side), dtype=complex)

    def _over(self, f: Float) -> Complex:
        """(n,) r_ohm over the impedance, f above 0."""
        return np.asarray(self.r_ohm / self.impedance_ohm(f), dtype=complex)


@dataclass(frozen=True)
class RlcElement:
    """One resistor, inductor or capacitor of the equivalent circuit.

    Attributes
    ----------
    name : unique in its model; begins with the letter of its kind, as a SPICE card does.
    kind : "R", "L" or "C".
    value : ohm, henry or farad.
    cell : elements of one cell stand in parallel; the cells 0, 1, 2, .. stand in series.
    leg : 0 for a leg of its own; those of one cell that have `IN_SERIES` here stand in series, as one leg; `ACROSS`
        for one across the one before it.
    """

    name: str
    kind: Literal["R", "L", "C"]
    value: float
    cell: int
    leg: int = 0


@dataclass(frozen=True)
class DriverModel:
    """A driver as its terminals show it, mounted as it was measured.

    Attributes
    ----------
    re_ohm : DC resistance, leads included.
    le_h : inductance without losses, 0 for none.
    lossy : cells R || L of the voice coil.
    resonances : the driver's own resonance first, then whatever else shows (port, horn, a damped cavity).
    coil : lossy part of the voice coil that goes with a power of the frequency; None without.
    """

    re_ohm: float
    le_h: float = 0.0
    lossy: tuple[LossyInductance, ...] = ()
    resonances: tuple[Resonance, ...] = ()
    coil: PowerCoil | None = None

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
        if self.coil is not None:
            z = z + self.coil.impedance_ohm(f)
        for cell in self.lossy:
            z = z + cell.impedance_ohm(f)
        for peak in self.resonances:
            z = z + peak.impedance_ohm(f)
        return np.asarray(z, dtype=complex)

    @property
    def fs_hz(self) -> float:
        """Frequency of the first resonance, as mounted but without a port; NaN without one."""
        return self.resonances[0].own.f_hz if self.resonances else math.nan

    @property
    def qms(self) -> float:
        """Q of the mechanical losses, ws C R of the first resonance; NaN without one."""
        return self.resonances[0].own.q if self.resonances else math.nan

    @property
    def qes(self) -> float:
        """Q of the electrical damping through Re, ws C Re; NaN without a resonance."""
        return self.qms * self.re_ohm / self.resonances[0].own.r_ohm if self.resonances else math.nan

    @property
    def qts(self) -> float:
        """Total Q on an ideal voltage source, Qms Qes/(Qms + Qes); NaN without a resonance."""
        return self.qms * self.qes / (self.qms + self.qes) if self.resonances else math.nan

    def with_plain_parts(self) -> DriverModel:
        """The same with a ladder of plain cells where the coil goes with a power."""
        if self.coil is None:
            return self
        return replace(self, lossy=(*self.lossy, *self.coil.ladder()), coil=None)

    def ladder_error(self, frequency_hz: ArrayLike) -> float:
        """Largest relative error of `with_plain_parts` at (n,) Hz."""
        return float(
            np.max(np.abs(self.with_plain_parts().impedance_ohm(frequency_hz) / self.impedance_ohm(frequency_hz) - 1))
        )

    def rlc_elements(self) -> tuple[RlcElement, ...]:
        """Give the equivalent circuit, of plain parts: cells in series, the legs of a cell in parallel."""
        model = self.with_plain_parts()
        cells: list[list[tuple[str, Literal["R", "L", "C"], float, int]]] = [[("Re", "R", model.re_ohm, 0)]]
        if model.le_h > 0:
            cells.append([("Le", "L", model.le_h, 0)])
        for i, coil in enumerate(model.lossy, 1):
            cells.append([(f"Rcoil{i}", "R", coil.r_ohm, 0), (f"Lcoil{i}", "L", coil.l_h, 0)])
        for i, peak in enumerate(model.resonances, 1):
            cells.append(
                [(f"Rres{i}", "R", peak.r_ohm, 0), (f"Lres{i}", "L", peak.l_h, 0), (f"Cres{i}", "C", peak.c_f, 0)]
            )
            if peak.box is not None:
                l_h = peak.l_h / peak.box.stiffness
                cells[-1] += [
                    (f"Lbox{i}", "L", l_h, IN_SERIES),
                    (f"Rbox{i}", "R", 2.0 * math.pi * peak.box.leak_hz * l_h, IN_SERIES),
                ]
                if peak.box.tuned_hz > 0:
                    omega = 2.0 * math.pi * peak.box.tuned_hz
                    cells[-1].append((f"Cbox{i}", "C", 1.0 / (omega**2 * l_h), IN_SERIES))
                    if math.isfinite(peak.box.port_q):
                        cells[-1].append((f"Rport{i}", "R", omega * l_h * peak.box.port_q, ACROSS))
        return tuple(
            RlcElement(name, kind, value, n, leg) for n, cell in enumerate(cells) for name, kind, value, leg in cell
        )

    def wired(self, first: str, last: str, inner: Callable[[int], str]) -> list[tuple[RlcElement, str, str]]:
        """Give the elements of the equivalent circuit with the two nodes of each, for a netlist.

        Parameters
        ----------
        first, last : nodes at plus and minus. inner : makes the node of a number: those between the cells n - 1 and n
            first, n from 1, then those within the legs.
        """
        elements = self.rlc_elements()
        count = elements[-1].cell
        nodes = [first, *map(inner, range(1, count + 1)), last]
        out: list[tuple[RlcElement, str, str]] = []
        for e, after in zip(elements, (*elements[1:], None), strict=True):
            begins, ends = nodes[e.cell], nodes[e.cell + 1]
            if e.leg == ACROSS:
                _, begins, ends = out[-1]
            elif e.leg == IN_SERIES:
                begins = out[-1][2] if out[-1][0].leg else begins
                if after is not None and after.leg == IN_SERIES:
                    count += 1
                    ends = inner(count)
            out.append((e, begins, ends))
        return out


def _require_positive(what: str, **values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0):
            raise InputError(f"{what} cannot have {name} = {value:g}", "give a number above 0")


def impedance_polynomials(model: DriverModel) -> tuple[Float, Float]:
    """Numerator and denominator of Z(s), highest power of s first.

    Re + s Le + sum s R L/(R + s L) + sum of resonances R (s w0/Q)/(s^2 + s w0/Q + w0^2 (1 + box)), a coil of some power
    as its ladder.
    """
    model = model.with_plain_parts()
    top, bottom = np.array([model.le_h, model.re_ohm]), np.array([1.0])
    cells = [(np.array([c.r_ohm * c.l_h, 0.0]), np.array([c.l_h, c.r_ohm])) for c in model.lossy]
    for peak in model.resonances:
        omega = 2.0 * math.pi * peak.f_hz
        width = omega / peak.q
        numerator, denominator = np.array([peak.r_ohm * width, 0.0]), np.array([1.0, width, omega**2])
        if peak.box is not None:
            leak, tuned = 2.0 * math.pi * peak.box.leak_hz, 2.0 * math.pi * peak.box.tuned_hz
            out = np.array([1.0, tuned / peak.box.port_q]) if tuned else np.array([1.0])
            air = np.polyadd(np.polymul([1.0, leak], out), [tuned**2])
            moved = omega**2 * peak.box.stiffness * np.polymul([1.0, 0.0], out)
            numerator, denominator = np.polymul(numerator, air), np.polyadd(np.polymul(denominator, air), moved)
        cells.append((numerator, denominator))
    for numerator, denominator in cells:
        top = np.polyadd(np.polymul(top, denominator), np.polymul(numerator, bottom))
        bottom = np.polymul(bottom, denominator)
    return np.trim_zeros(top, "f"), bottom
