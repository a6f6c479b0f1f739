"""Invented drivers, 42 of them, worked out from masses, springs, air and eddy currents, not from the fitted model.

What they have and a network of R || L || C in series has not: a coil that goes with a power of the frequency
(semi-inductance: Wright 1990, Leach 2002), a suspension whose compliance falls as the frequency rises (creep: Knudsen
and Jensen 1993), boxes that leak, ports and passive radiators that lose, horns of finite length that reflect, a fluid
whose damping goes with the frequency, a cone whose rim breaks away from its middle. The papers are from memory; the
laws are applied, no figure of theirs is checked here. All values are invented.

Time dependence e^{+jwt}; SI throughout.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from xover.curve import Curve, Unit, log_grid

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]

DENSITY = 1.2
SOUND = 343.0
SWEPT_HZ = log_grid(10.0, 20000.0, 48)


@dataclass(frozen=True)
class Coil:
    """Re in ohm, and K (j w)^n + L j w, K in ohm at 1 rad/s; `lossy` is what it comes to at 10 kHz, ohm."""

    re_ohm: float
    ohm_at_10_khz: float
    power: float = 0.6
    le_h: float = 0.0

    def impedance_ohm(self, w: Float) -> Complex:
        """(n,) ohm."""
        w10 = 2.0 * math.pi * 1e4
        return np.asarray(
            self.re_ohm + self.ohm_at_10_khz * (1j * w / w10) ** self.power + 1j * w * self.le_h, dtype=complex
        )


@dataclass(frozen=True)
class PowersApart(Coil):
    """Resistance and reactance go with powers of their own, as fitted to measured coils (Wright 1990, from memory)."""

    def impedance_ohm(self, w: Float) -> Complex:
        """(n,) ohm."""
        u, k = w / (2.0 * math.pi * 1e4), self.ohm_at_10_khz
        return np.asarray(self.re_ohm + k * (0.55 * u ** (self.power + 0.18) + 0.8j * u ** (self.power - 0.02)))


@dataclass(frozen=True)
class ThickSheet(Coil):
    """Eddy currents in iron of a finite thickness, s L tanh(d)/d with d = sqrt(s/w0), and a ring beside it: below w0 an
    inductance without losses, far above it a half power (diffusion in a plate, from memory)."""

    def impedance_ohm(self, w: Float) -> Complex:
        """(n,) ohm."""
        s, k = 1j * w, self.ohm_at_10_khz
        d, l_h = np.sqrt(s / (2.0 * math.pi * 400.0)), 5.0 * k / (2.0 * math.pi * 1e4)
        ring = 1.0 / (1.0 / (0.3 * s * l_h) + 1.0 / (1.2 * k))
        return np.asarray(self.re_ohm + 0.5 * s * l_h * np.tanh(d) / d + ring)


@dataclass(frozen=True)
class Air:
    """What the back of the cone works on: "free", "closed", "vented" or "radiator" (passive).

    litres : of the box. tuned_hz : of port or radiator. leak_q, port_q, lining_q : losses, Small's QL, QP and QA at
    the tuning, or at 50 Hz without one; infinite for none. radiator_fs : of a passive radiator's own suspension.
    """

    kind: str = "free"
    litres: float = 40.0
    tuned_hz: float = 40.0
    leak_q: float = 10.0
    port_q: float = 50.0
    lining_q: float = 50.0
    radiator_hz: float = 15.0

    def impedance(self, w: Float, area: float) -> Complex:
        """(n,) mechanical impedance at the cone, N s/m."""
        if self.kind == "free":
            return np.zeros(w.size, dtype=complex)
        stiffness = DENSITY * SOUND**2 / (self.litres * 1e-3)
        reference = 2.0 * math.pi * (50.0 if self.kind == "closed" else self.tuned_hz)
        lossless = stiffness / reference
        volume = stiffness / (1j * w) + lossless / self.lining_q
        admittance = 1.0 / volume + 1.0 / (lossless * self.leak_q)
        if self.kind != "closed":
            mass = stiffness / reference**2
            way_out = 1j * w * mass + lossless / self.port_q
            if self.kind == "radiator":
                own = mass * (2.0 * math.pi * self.radiator_hz) ** 2
                # Its suspension adds to the box's stiffness, so that the tuning stays where it is said.
                way_out = way_out + own / (1j * w)
            admittance = admittance + 1.0 / way_out
        return np.asarray(area**2 / admittance)


@dataclass(frozen=True)
class Horn:
    """An exponential horn of finite length before a compression driver's diaphragm, walls without loss."""

    throat_m2: float
    mouth_m2: float
    length_m: float
    ratio: float = 8.0

    def impedance(self, w: Float) -> Complex:
        """(n,) mechanical impedance at the diaphragm (area = ratio * throat), N s/m: sections of 5 mm, multiplied."""
        count = max(8, math.ceil(self.length_m / 5e-3))
        step = self.length_m / count
        flare = math.log(self.mouth_m2 / self.throat_m2) / self.length_m
        k = w / SOUND
        mouth = math.sqrt(self.mouth_m2 / math.pi)
        ka = k * mouth
        # Radiation of a piston in a wall, in the classic two-term approximation.
        z = (DENSITY * SOUND / self.mouth_m2) * (ka**2 / (ka**2 + 2.0) + 1j * 0.85 * ka / (1.0 + 0.6 * ka**2))
        for i in range(count):
            area = self.mouth_m2 * math.exp(-flare * (i + 0.5) * step)
            line = DENSITY * SOUND / area
            turn = np.tan(k * step)
            z = line * (z + 1j * line * turn) / (line + 1j * z * turn)
        diaphragm = self.ratio * self.throat_m2
        return np.asarray(z * diaphragm**2)


@dataclass(frozen=True)
class Invented:
    """A driver of masses and springs.

    Attributes
    ----------
    fs_hz, qms, qes : of the moving part alone, without box, horn or chamber.
    area_m2, mass_kg : piston and moving mass; Bl follows from qes.
    creep : how much of the compliance is lost over a decade of frequency.
    fluid : share of the mechanical loss that goes with the root of the frequency.
    rims : (hz, q, mass share) of parts of the cone that break away.
    chamber : (hz, q) of a cavity behind a dome, as seen by the diaphragm; None without.
    """

    name: str
    coil: Coil
    fs_hz: float
    qms: float
    qes: float
    area_m2: float
    mass_kg: float
    air: Air = field(default_factory=Air)
    horn: Horn | None = None
    creep: float = 0.0
    fluid: float = 0.0
    rims: tuple[tuple[float, float, float], ...] = ()
    chamber: tuple[float, float, float] | None = None

    def impedance_ohm(self, f: Float) -> Complex:
        """(n,) ohm at f (n,) > 0."""
        w, ws = 2.0 * math.pi * f, 2.0 * math.pi * self.fs_hz
        stiffness = self.mass_kg * ws**2 / (1.0 - self.creep * np.log10(1j * f / self.fs_hz))
        loss = self.mass_kg * ws / self.qms
        loss = loss * (1.0 - self.fluid + self.fluid * np.sqrt(1j * f / self.fs_hz))
        z = 1j * w * self.mass_kg + stiffness / (1j * w) + loss + self.air.impedance(w, self.area_m2)
        for hz, q, share in self.rims:
            mass, w0 = share * self.mass_kg, 2.0 * math.pi * hz
            spring = mass * w0**2 / (1j * w) + mass * w0 / q
            z = z + 1.0 / (1.0 / (1j * w * mass) + 1.0 / spring) - 1j * w * mass
        if self.horn is not None:
            z = z + self.horn.impedance(w)
        if self.chamber is not None:
            # A cavity joined by a hole: the diaphragm works on a small cavity, and through the hole on a large one.
            hz, q, share = self.chamber
            mass, w0 = share * self.mass_kg, 2.0 * math.pi * hz
            hole = 1j * w * mass + mass * w0 / q
            near = self.mass_kg * ws**2 * 2.0 / (1j * w)
            far = mass * w0**2 / (1j * w)
            z = z + 1.0 / (1.0 / near + 1.0 / (hole + far))
        force2 = self.coil.re_ohm * self.mass_kg * ws / self.qes
        return np.asarray(self.coil.impedance_ohm(w) + force2 / z)

    def sweep(
        self, f: Float = SWEPT_HZ, noise: float = 0.002, seed: int = 0, drift: float = 0.0, phase: bool = True
    ) -> Curve:
        """A measured sweep: noise of a relative rms; `drift` shifts fs and Re, as on a warmer day."""
        rng = np.random.default_rng([seed, *self.name.encode()])
        z = self.drifted(drift).impedance_ohm(f) if drift else self.impedance_ohm(f)
        z = z * (1.0 + noise / math.sqrt(2.0) * (rng.standard_normal(f.size) + 1j * rng.standard_normal(f.size)))
        return Curve(f, z if phase else np.abs(z), Unit.OHM, has_phase=phase, source=f"{self.name}.csv")

    def with_coil(self, law: type[Coil]) -> Invented:
        """The same with another law of its coil."""
        c = self.coil
        return replace(self, coil=law(c.re_ohm, c.ohm_at_10_khz, c.power, c.le_h))

    def drifted(self, share: float, re_share: float | None = None, q_share: float | None = None) -> Invented:
        """Suspension softer or stiffer: fs moved by `share`, Q by `q_share`, Re by `re_share` (as fs where None)."""
        re = self.coil.re_ohm * (1.0 + (share if re_share is None else re_share))
        quality = 1.0 + (share if q_share is None else q_share)
        return replace(
            self,
            fs_hz=self.fs_hz * (1.0 + share),
            qms=self.qms * quality,
            qes=self.qes * quality,
            coil=replace(self.coil, re_ohm=re),
        )


def _cone(name: str, inch: float, re: float, fs: float, qms: float, qes: float, **more: object) -> Invented:
    radius = 0.0254 * inch * 0.41
    area = math.pi * radius**2
    mass = 0.021 * (inch / 8.0) ** 2.4
    coil = more.pop("coil", None) or Coil(re, 1.6 * re * (inch / 8.0) ** 0.7, 0.62)
    return Invented(name, coil, fs, qms, qes, area, mass, **more)  # type: ignore[arg-type]


def _dome(name: str, re: float, fs: float, qms: float, qes: float, **more: object) -> Invented:
    coil = more.pop("coil", None) or Coil(re, 0.35 * re, 0.7)
    return Invented(name, coil, fs, qms, qes, 7e-4, 0.35e-3, **more)  # type: ignore[arg-type]


def _closed(litres: float, leak: float = 15.0, lining: float = 8.0) -> Air:
    return Air("closed", litres, leak_q=leak, lining_q=lining)


def _vented(litres: float, hz: float, leak: float = 8.0, port: float = 40.0, lining: float = 60.0) -> Air:
    return Air("vented", litres, hz, leak, port, lining)


BREAK_UP = ((900.0, 8.0, 0.12), (2300.0, 10.0, 0.05))

WOOFERS = (
    _cone("eight free", 8, 5.8, 36, 4.0, 0.42),
    _cone("eight free creeping", 8, 5.6, 34, 5.5, 0.38, creep=0.12),
    _cone("eight closed", 8, 5.8, 38, 3.5, 0.5, air=_closed(28)),
    _cone("eight closed stuffed", 8, 3.3, 40, 3.0, 0.55, air=_closed(22, lining=3.0)),
    _cone("eight closed leaking", 8, 6.1, 32, 4.5, 0.4, air=_closed(25, leak=3.0)),
    _cone("eight closed creeping", 8, 5.7, 30, 6.0, 0.45, air=_closed(30), creep=0.1),
    _cone("eight vented", 8, 5.7, 33, 5.0, 0.34, air=_vented(45, 36)),
    _cone("eight vented leaking", 8, 5.9, 31, 4.5, 0.33, air=_vented(45, 32, leak=4.0)),
    _cone("eight vented high", 8, 5.5, 36, 3.6, 0.45, air=_vented(35, 52)),
    _cone("eight radiator", 8, 5.7, 34, 4.8, 0.36, air=Air("radiator", 40, 34, radiator_hz=16)),
    _cone("ten closed", 10, 6.2, 27, 3.0, 0.36, air=_closed(60)),
    _cone("ten vented", 10, 6.0, 26, 6.0, 0.31, air=_vented(80, 29, leak=12.0)),
    _cone("ten vented breaking up", 10, 5.9, 29, 5.0, 0.35, air=_vented(70, 33), rims=BREAK_UP),
    _cone("twelve free", 12, 5.4, 48, 8.0, 0.6),
    _cone("twelve wide", 12, 6.6, 51, 9.0, 0.45, rims=((1500.0, 12.0, 0.04),)),
    _cone("twelve vented", 12, 5.3, 24, 7.0, 0.28, air=_vented(120, 27, port=25.0)),
    _cone("twelve closed lined", 12, 6.4, 22, 4.0, 0.33, air=_closed(90, lining=4.0)),
    _cone("fifteen vented", 15, 5.1, 22, 6.5, 0.24, air=_vented(220, 28), creep=0.06),
    _cone("six closed", 6.5, 6.0, 48, 3.2, 0.5, air=_closed(12)),
    _cone("six vented", 6.5, 5.6, 44, 4.4, 0.38, air=_vented(20, 44), creep=0.05),
    _cone("six vented breaking up", 6.5, 5.6, 42, 4.0, 0.4, air=_vented(22, 41), rims=((1100.0, 6.0, 0.2),)),
    _cone("five closed", 5, 3.4, 62, 3.5, 0.55, air=_closed(6, leak=6.0)),
    _cone("eight low power coil", 8, 5.8, 35, 4.2, 0.4, air=_closed(30), coil=Coil(5.8, 16.0, 0.5)),
    _cone("eight high power coil", 8, 5.8, 35, 4.2, 0.4, air=_vented(40, 38), coil=Coil(5.8, 22.0, 0.78)),
    _cone("eight shorted coil", 8, 5.8, 37, 3.4, 0.44, air=_closed(32), coil=Coil(5.8, 3.5, 0.55, 1e-5)),
)
MIDS = (
    _cone("mid closed", 5, 6.2, 90, 3.0, 0.8, air=_closed(2.5)),
    _cone("mid back closed", 4, 6.0, 180, 2.6, 1.1, air=_closed(0.8, lining=4.0)),
    _cone("mid breaking up", 5, 5.8, 110, 3.5, 0.9, rims=((1400.0, 7.0, 0.15), (4200.0, 9.0, 0.05))),
    _dome("mid dome", 6.4, 340, 2.0, 0.9, coil=Coil(6.4, 3.5, 0.65)),
)
TWEETERS = (
    _dome("dome", 5.4, 1050, 3.0, 1.4),
    _dome("dome wet", 5.3, 950, 0.9, 1.6, fluid=0.6),
    _dome("dome dry", 5.5, 1150, 5.5, 1.3),
    _dome("dome stiff", 5.6, 1500, 0.6, 2.4, fluid=0.4),
    _dome("dome chamber", 5.4, 620, 2.2, 0.9, chamber=(900.0, 3.0, 0.6)),
    _dome("dome chamber wet", 3.2, 560, 1.2, 0.9, fluid=0.5, chamber=(1100.0, 2.0, 0.5)),
    _cone("cone tweeter", 2.5, 6.6, 1250, 2.6, 2.2, air=_closed(0.06)),
    _dome("ring", 6.1, 1600, 2.2, 2.0, rims=((6200.0, 12.0, 0.1),)),
)
HORNS = (
    Invented("horn long", Coil(6.0, 2.4, 0.65), 420, 6.0, 0.5, 8 * 5e-4, 1.6e-3, horn=Horn(5e-4, 0.055, 0.28)),
    Invented("horn short", Coil(5.8, 1.6, 0.7), 700, 5.0, 0.9, 8 * 3e-4, 0.8e-3, horn=Horn(3e-4, 0.02, 0.14)),
    Invented("horn small", Coil(6.3, 2.0, 0.6), 900, 4.0, 0.8, 8 * 2.5e-4, 0.5e-3, horn=Horn(2.5e-4, 0.012, 0.10)),
    Invented("horn large", Coil(8.2, 4.0, 0.62), 350, 7.0, 0.4, 8 * 8e-4, 3.2e-3, horn=Horn(8e-4, 0.12, 0.40)),
    Invented("horn mid", Coil(6.1, 2.2, 0.6), 500, 5.0, 0.7, 8 * 5e-4, 1.5e-3, horn=Horn(5e-4, 0.03, 0.2)),
)
DRIVERS: tuple[Invented, ...] = (*WOOFERS, *MIDS, *TWEETERS, *HORNS)
