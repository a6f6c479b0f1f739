"""Samples of invented drivers, sound ones and ones with a fault, by what happens in them. All of it is invented.

A sound sample strays as drivers of one batch do: resonance +-8 %, Qms +-15 %, Re +-3 % (two standard deviations; common
practice, no published source), pull of the magnet and moving mass +-4 %, the coil's rise +-10 %.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from invented.drivers import Complex, Float, Invented

Make = Callable[[Invented, np.random.Generator], Invented]


def changed(
    d: Invented,
    *,
    stiffness: float = 1.0,
    mass: float = 1.0,
    pull: float = 1.0,
    loss: float = 1.0,
    re: float = 1.0,
    coil: float = 1.0,
) -> Invented:
    """The driver with its stiffness, mass, pull (Bl), mechanical loss, Re and coil's rise multiplied."""
    fs = math.sqrt(stiffness / mass)
    return replace(
        d,
        fs_hz=d.fs_hz * fs,
        mass_kg=d.mass_kg * mass,
        qms=d.qms * math.sqrt(stiffness * mass) / loss,
        qes=d.qes * re * math.sqrt(stiffness * mass) / pull**2,
        coil=replace(d.coil, re_ohm=d.coil.re_ohm * re, ohm_at_10_khz=d.coil.ohm_at_10_khz * coil),
    )


def sample(d: Invented, rng: np.random.Generator) -> Invented:
    """One of a batch."""
    mass, pull = np.exp(0.02 * rng.standard_normal(2))
    fs, q, re, coil = np.exp(np.array([0.04, 0.075, 0.015, 0.05]) * rng.standard_normal(4))
    stiffness = fs**2 * mass
    loss = math.sqrt(stiffness * mass) / q
    return changed(d, stiffness=stiffness, mass=mass, pull=pull, loss=loss, re=re, coil=coil)


@dataclass(frozen=True)
class Rubbing(Invented):
    """More friction, and never the same twice: each row of a stepped sweep has its own."""

    more: float = 2.0
    seed: int = 0

    def impedance_ohm(self, f: Float) -> Complex:
        """(n,) ohm."""
        rng = np.random.default_rng(self.seed)
        w, ws = 2.0 * math.pi * f, 2.0 * math.pi * self.fs_hz
        coil = self.coil.impedance_ohm(w)
        pull2 = self.coil.re_ohm * self.mass_kg * ws / self.qes
        moving = pull2 / (super().impedance_ohm(f) - coil)
        # It touches where it moves far: not above the resonance.
        travel = 1.0 / (1.0 + (f / self.fs_hz / 1.5) ** 4)
        rub = self.mass_kg * ws / self.qms * self.more * travel * np.exp(0.4 * rng.standard_normal(f.size))
        return np.asarray(coil + pull2 / (moving + rub))


@dataclass(frozen=True)
class Seized(Invented):
    """The coil does not move."""

    def impedance_ohm(self, f: Float) -> Complex:
        """(n,) ohm."""
        return self.coil.impedance_ohm(2.0 * math.pi * f)


@dataclass(frozen=True)
class ShortedTurns(Invented):
    """A share of the turns is a ring of its own: it brakes, and bears the rest's flux as a transformer's does."""

    share: float = 0.1

    def impedance_ohm(self, f: Float) -> Complex:
        """(n,) ohm."""
        w, ws, left = 2.0 * math.pi * f, 2.0 * math.pi * self.fs_hz, 1.0 - self.share
        whole = self.coil.impedance_ohm(w)
        pull2 = self.coil.re_ohm * self.mass_kg * ws / self.qes
        moving = pull2 / (super().impedance_ohm(f) - whole) + self.share * pull2 / self.coil.re_ohm
        rise = whole - self.coil.re_ohm
        rise = rise * left**2 * (1.0 - rise * self.share / (self.coil.re_ohm + rise * self.share))
        return np.asarray(self.coil.re_ohm * left + rise + pull2 * left**2 / moving)


def _as(kind: type[Invented], d: Invented, **more: float) -> Invented:
    return kind(**{name: getattr(d, name) for name in Invented.__dataclass_fields__}, **more)


def _any(low: float, high: float) -> Callable[[np.random.Generator], float]:
    return lambda rng: float(np.exp(rng.uniform(math.log(low), math.log(high))))


def aged(d: Invented, rng: np.random.Generator) -> Invented:
    """A suspension softer or stiffer by up to 40 %, on a day up to 8 K warmer."""
    return changed(d, stiffness=_any(1 / 1.4, 1.4)(rng), loss=_any(1 / 1.1, 1.1)(rng), re=1.0 + rng.uniform(0, 0.03))


def another_foam(d: Invented, rng: np.random.Generator) -> Invented:
    """A new surround or spider of twice to three times the stiffness, or of half to a third."""
    by = _any(2.0, 3.0)(rng) ** rng.choice([-1, 1])
    return changed(d, stiffness=by, loss=_any(1 / 1.2, 1.2)(rng))


def replaced(d: Invented, rng: np.random.Generator) -> Invented:
    """Another driver of the size, in the old hole."""
    fs, qms, qes, mass = (_any(*ends)(rng) for ends in ((0.75, 1.35), (0.6, 1.6), (0.65, 1.5), (0.75, 1.35)))
    re, coil = _any(0.8, 1.25)(rng), _any(0.55, 1.8)(rng)
    own = replace(d.coil, re_ohm=d.coil.re_ohm * re, ohm_at_10_khz=d.coil.ohm_at_10_khz * coil)
    return replace(d, fs_hz=d.fs_hz * fs, qms=d.qms * qms, qes=d.qes * qes, mass_kg=d.mass_kg * mass, coil=own)


def rubbing(d: Invented, rng: np.random.Generator) -> Invented:
    """The coil scrapes."""
    return _as(Rubbing, d, more=_any(1.5, 6.0)(rng), seed=int(rng.integers(1 << 30)))


def leaking(d: Invented, rng: np.random.Generator) -> Invented:
    """A gasket or a seam of the closed box is open."""
    return replace(d, air=replace(d.air, leak_q=_any(0.7, 2.5)(rng)))


def seized(d: Invented, _: np.random.Generator) -> Invented:
    """The coil is stuck."""
    return _as(Seized, d)


def shorted(d: Invented, rng: np.random.Generator) -> Invented:
    """A twelfth to a third of the turns is shorted."""
    return _as(ShortedTurns, d, share=rng.uniform(0.08, 0.33))


def in_series(d: Invented, rng: np.random.Generator) -> Invented:
    """A bad joint of 10 to 30 % of Re."""
    by = rng.uniform(1.1, 1.3)
    return replace(d, qes=d.qes * by, coil=replace(d.coil, re_ohm=d.coil.re_ohm * by))


def weak(d: Invented, rng: np.random.Generator) -> Invented:
    """A magnet of 70 to 85 % of its pull."""
    return changed(d, pull=rng.uniform(0.7, 0.85))


def wet(d: Invented, rng: np.random.Generator) -> Invented:
    """A sound tweeter with fluid, whatever it was before."""
    return replace(d, qms=_any(0.9, 1.6)(rng), fluid=0.5)


def dried(d: Invented, rng: np.random.Generator) -> Invented:
    """The fluid is gone: a loss of a third to a sixth, a spring that is a little softer."""
    return changed(replace(d, fluid=0.0), loss=1.0 / _any(2.5, 6.0)(rng), stiffness=rng.uniform(0.85, 1.0))


def stiff(d: Invented, rng: np.random.Generator) -> Invented:
    """The fluid has turned to glue: a loss of two to six times, a stiffer spring."""
    return changed(d, loss=_any(2.0, 6.0)(rng), stiffness=rng.uniform(1.0, 2.0))
