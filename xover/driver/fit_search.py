"""Which model a sweep bears: parts are added one by one, put together as a box, and taken out again."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import numpy as np

from xover.driver.fit_refine import ReBelief, Refined, pack, refine
from xover.driver.fit_start import FitRows, Shapes, overlap
from xover.driver.model import COIL_HZ, BoxAir, DriverModel, LossyInductance, PowerCoil, Resonance

MOST_RESONANCES: Final = 6
MOST_LOSSY: Final = 4
# A size is tried only where each of its parameters has this many real numbers behind it.
OBSERVATIONS_PER_PARAMETER: Final = 2
# Rows that are looked at: the resonances of drivers are wider than this.
ROWS_PER_OCTAVE: Final = 24
# A relative standard error over this means that the data do not show the parameter.
SEEN_SHARE: Final = 0.5
# A part whose size is known better than to this share is not tried without.
SURE: Final = 0.15
# No sweep is better than this; a residual under it is not worth another part.
FLOOR: Final = 1e-4
# The only resonance may lie this far above the data, where its flank shows.
MOST_ABOVE: Final = 2.0
# Duller than this a resonance does not swing, and may be a bent coil.
SWINGING_Q: Final = 0.5
LEAST_Q: Final = 0.25
# Sharper than this no resonance of a driver is. Common practice, no published source.
MOST_Q: Final = 60.0
# Stiffness of the air over the suspension's, and how far a box is tuned from the driver that it is made for.
BOX_STIFFNESS: Final = (0.03, 100.0)
BOX_RATIO: Final = 4.0
# Losses of a box: Small's QL, and where a leak lets go of the air against the driver's resonance.
LEAST_QL: Final = 1.0
LEAK_RATIO: Final = (0.01, 10.0)
# The lower peak of a vented box may lie so far below the data.
FLANK_RATIO: Final = 2.0
# The lesser peak of a vented box is no less than this share of the higher one.
PORT_SHARE: Final = 0.1
# A peak of the air lies below this many times the higher one of a vented box.
BOX_BAND: Final = 2.5
# A leak, which many things look like, must take the residual to this share.
BOX_GAIN: Final = 0.8
# Stiffness, and leak over the peak's frequency, that a closed box is tried with.
LEAKS: Final = ((0.3, 0.3), (1.5, 0.3), (1.5, 1.5))
# Eddy currents bend an impedance within a few octaves of the top: times the lowest frequency, or below the highest.
LOWEST_CORNER: Final = (2.0, 200.0)
# Powers of a coil that are met: 0.5 is what eddy currents alone make, 1 an inductance without losses.
LEAST_POWER: Final = 0.3
MOST_POWER: Final = 0.98
# Where neighbouring residuals hang together by less, nothing but noise is left.
WHITE: Final = 0.25
# What is believed beforehand weighs no more than beside a residual of this rms.
MOST_NOISE: Final = 0.02
# A part that takes the residual to this share is taken at once.
CLEARLY: Final = 0.7
# A model that misses by more than this still lacks a peak.
COARSE: Final = 0.08
# A coil's power is held until a model misses by less than this.
HELD: Final = 0.2
# Under this a part is worth it only where it takes the residual to this share.
FINE: Final = 0.007
FINE_GAIN: Final = 0.8
_ROUGH: Final = 3e-4
STEPS: Final = 30
# However far residuals hang together, a sweep counts for so many readings.
_LEAST_ROWS: Final = 40.0


class Search:
    """One search over the rows of a sweep.

    Attributes
    ----------
    tried : every model that was refined.
    """

    def __init__(self, rows: FitRows, re: ReBelief) -> None:
        self.rows, self.re = rows.thinned(ROWS_PER_OCTAVE), re
        self.tried: list[Refined] = []
        self._shapes = Shapes(self.rows)

    def best(self) -> Refined:
        """The best of what grows from a coil that goes with a power and from an inductance."""
        top, high = float(np.abs(self.rows.impedance_ohm[-1])), float(self.rows.frequency_hz[-1])
        power = PowerCoil(0.5 * top * (COIL_HZ / high) ** 0.65, 0.65)
        begun = self._grown(self._refined(DriverModel(self.re.ohm, coil=power), MOST_NOISE, held=True), CLEARLY)
        first = self._finished(begun)
        if plausible(first, self.rows) and first.rho < WHITE:
            return self._pruned(first)
        # An inductance and cells instead, the resonances kept.
        kept = tuple(p.own if p.box and not p.box.tuned_hz else p for p in first.model.resonances if p.q >= 1.0)
        other = replace(first.model, le_h=0.3 * top / (2.0 * math.pi * high), lossy=(), resonances=kept, coil=None)
        second = self._grown(self._refined(other, noise_of(begun)), CLEARLY)
        if second.relative_rms < first.relative_rms or not plausible(first, self.rows):
            second = self._finished(second)
        both = [c for c in (first, second) if plausible(c, self.rows)]
        return self._pruned(self._better(both or [first]))

    def _finished(self, begun: Refined) -> Refined:
        return self._boxed(self._grown(self._boxed(begun)))

    def _refined(self, model: DriverModel, noise: float, *, held: bool = False) -> Refined:
        found = refine(self.rows, model, self.re, min(noise, MOST_NOISE), _ROUGH, STEPS, held=held)
        if held and found.relative_rms < HELD:
            return self._refined(found.model, noise)
        self.tried.append(found)
        return found

    def _grown(self, now: Refined, to: float = 1.0) -> Refined:
        """With one part more as long as that is worth it, and takes the residual to the share `to` of what it was."""
        while True:
            better = []
            for model in self._more(now):
                found = self._tried(now, model)
                most = 1.0 if now.relative_rms > COARSE else min(to, FINE_GAIN) if now.relative_rms < FINE else to
                if found is not None and found.relative_rms <= most * now.relative_rms:
                    better.append(found)
                    if found.relative_rms < CLEARLY * now.relative_rms:
                        break
            if not better:
                return now
            now = self._better(better)

    def _tried(self, now: Refined, model: DriverModel) -> Refined | None:
        """A larger model, if it is one that may be, and worth it."""
        if self.rows.observations < OBSERVATIONS_PER_PARAMETER * pack(model)[0].parameters:
            return None
        held = now.relative_rms > HELD
        found = self._refined(model, noise_of(now), held=held)
        other = _otherwise(found.model)
        if other is not found.model:
            found = self._refined(other, noise_of(now), held=held)
        return found if plausible(found, self.rows) and beats(found, now) else None

    def _more(self, now: Refined) -> Iterator[DriverModel]:
        """The same with one more part."""
        model = now.model
        cells = now.size.lossy < MOST_LOSSY
        for part in self._shapes.best(now.residual, now.slopes, 3 if now.relative_rms > COARSE else 2, cells):
            if isinstance(part, LossyInductance):
                yield replace(model, lossy=(*model.lossy, part))
            elif now.size.resonances < MOST_RESONANCES:
                yield replace(model, resonances=(*model.resonances, part))
        if not now.size.has_le:
            f = float(self.rows.frequency_hz[-1])
            yield replace(model, le_h=0.05 * float(np.abs(self.rows.impedance_ohm[-1])) / (2.0 * math.pi * f))

    def _boxed(self, now: Refined) -> Refined:
        """Try two peaks as one driver in a vented box, and one as a driver before air that leaks."""
        model = now.model
        if now.size.boxes:
            return now
        peaks = sorted(model.resonances, key=lambda p: -p.r_ohm)[:3]
        low = float(self.rows.frequency_hz[0])
        leaks = LEAKS if peaks else ()
        high = [p for p in peaks if p.f_hz >= low / FLANK_RATIO and p.r_ohm > PORT_SHARE * peaks[0].r_ohm]
        pairs = list(itertools.combinations(high, 2))
        for tries in (
            # What the air of the box does is no resonance of its own.
            [(vented(*pair), _above(model, BOX_BAND * max(p.f_hz for p in pair))) for pair in pairs],
            [(leaking(peaks[0], *start), tuple(p for p in model.resonances if p is not peaks[0])) for start in leaks],
        ):
            found = []
            for boxed, rest in tries:
                tried = self._tried(now, replace(model, resonances=(boxed, *rest)))
                most = 1.0 if boxed.box is not None and boxed.box.tuned_hz else BOX_GAIN
                found += [] if tried is None or tried.relative_rms > most * now.relative_rms else [tried]
            if found:
                return self._better(found)
        return now

    def _pruned(self, now: Refined) -> Refined:
        """Without what it does as well without."""
        while True:
            tries = [self._refined(m, noise_of(now)) for m in _less(now)]
            fewer = [c for c in tries if plausible(c, self.rows) and not beats(now, c)]
            if not fewer:
                return now
            now = min(fewer, key=lambda c: criterion(c, now))

    def _better(self, those: list[Refined]) -> Refined:
        judge = min(those, key=lambda c: c.relative_rms)
        return min(those, key=lambda c: criterion(c, judge))


def _otherwise(model: DriverModel) -> DriverModel:
    """The same where a coil that came out without losses is an inductance, and a resonance too dull to swing a cell."""
    if model.coil is not None and model.coil.power >= MOST_POWER:
        model = replace(model, le_h=model.le_h + model.coil.ohm / (2.0 * math.pi * COIL_HZ), coil=None)
    dull = [p for p in model.resonances if p.q < SWINGING_Q and p.box is None]
    if dull and len(model.resonances) > 1 and len(model.lossy) + len(dull) <= MOST_LOSSY:
        cells = (LossyInductance(p.r_ohm, p.l_h) for p in dull)
        rest = tuple(p for p in model.resonances if p not in dull)
        model = replace(model, lossy=(*model.lossy, *cells), resonances=rest)
    return model


def _above(model: DriverModel, hz: float) -> tuple[Resonance, ...]:
    return tuple(p for p in model.resonances if p.f_hz > hz)


def _less(now: Refined) -> Iterator[DriverModel]:
    """The same without one of the parts whose size is not sure."""
    model = now.model
    off = dict(zip(now.size.names, np.sqrt(np.diag(now.covariance)).tolist(), strict=True))
    if off.get("le_h", 0.0) > SURE:
        yield replace(model, le_h=0.0)
    if off.get("coil_ohm", 0.0) > SURE:
        yield replace(model, coil=None)
    for i in range(len(model.lossy)):
        if off[f"lossy_{i + 1}_r_ohm"] > SURE:
            yield replace(model, lossy=model.lossy[:i] + model.lossy[i + 1 :])
    for i in range(len(model.resonances)):
        if off[f"resonance_{i + 1}_r_ohm"] > SURE:
            yield replace(model, resonances=model.resonances[:i] + model.resonances[i + 1 :])


def vented(one: Resonance, other: Resonance) -> Resonance:
    """A driver in a vented box whose impedance has these two peaks, exact without losses (Small 1973, from memory).

    s sum ck/(s^2 + wk^2) has its zero at the tuning; C is 1/(c1 + c2), and fs fb = f1 f2.
    """
    c1, c2 = 1.0 / one.c_f, 1.0 / other.c_f
    tuned = math.sqrt((c1 * other.f_hz**2 + c2 * one.f_hz**2) / (c1 + c2))
    fs = one.f_hz * other.f_hz / tuned
    stiffness = max((one.f_hz**2 + other.f_hz**2 - tuned**2) / fs**2 - 1.0, 0.05)
    q = max(one.q, other.q)
    return Resonance(fs, q * (c1 + c2) / (2.0 * math.pi * fs), q, BoxAir(stiffness, tuned / 8.0, tuned, 50.0))


def leaking(peak: Resonance, stiffness: float, leak: float) -> Resonance:
    """A driver before air that leaks, with about this peak."""
    fs = peak.f_hz / math.sqrt(1.0 + stiffness)
    q = 1.5 * peak.q
    return Resonance(fs, q / (2.0 * math.pi * fs * peak.c_f), q, BoxAir(stiffness, leak * peak.f_hz))


def noise_of(now: Refined) -> float:
    """Relative rms that residuals are held to: what is left, more where neighbours hang together."""
    rho = now.rho
    return max(FLOOR, now.relative_rms / math.sqrt(2.0) * math.sqrt((1.0 + rho) / (1.0 - rho)))


def criterion(fitted: Refined, judge: Refined) -> float:
    """Bayesian information criterion, N ln(mean square) + k ln N (Schwarz 1978, from memory), lower is better.

    N is what the rows count for where the residuals of `judge`, the best of those compared, hang together.
    """
    n = max(_LEAST_ROWS, fitted.observations * (1.0 - judge.rho) / (1.0 + judge.rho))
    return n * math.log(max(fitted.relative_rms, FLOOR) ** 2) + fitted.size.parameters * math.log(n)


def beats(more: Refined, less: Refined) -> bool:
    """Whether the larger of two models is worth it."""
    return criterion(more, more) < criterion(less, more)


def plausible(fitted: Refined, rows: FitRows) -> bool:
    """Whether what the model calls a resonance is one, and not a bent coil, and its values are seen and a driver's."""
    low, high = rows.frequency_hz[0], rows.frequency_hz[-1]
    model = fitted.model
    peaks = model.resonances
    # Below the data one may stand for whatever rises there; its Q means nothing.
    shown = [p for p in peaks if p.f_hz >= low or p.box is not None]
    if model.coil is not None and not LEAST_POWER <= model.coil.power <= MOST_POWER:
        return False
    if any(overlap(a, b) for a, b in itertools.combinations([p for p in shown if p.box is None], 2)):
        return False
    if len(peaks) - len(shown) > 1 or any(p.q < SWINGING_Q for p in peaks if p not in shown):
        return False
    if not all(p.box is None or (p is max(peaks, key=lambda o: o.r_ohm) and _is_box(p, p.box)) for p in peaks):
        return False
    if any(c.corner_hz < max(LOWEST_CORNER[0] * low, high / LOWEST_CORNER[1]) for c in model.lossy):
        return False
    shown = [p.own for p in shown]
    if any(p.q > MOST_Q for p in shown):
        return False
    alone = len(peaks) == 1
    if alone and peaks[0].own.q < SWINGING_Q and np.all(model.impedance_ohm(rows.frequency_hz).imag >= 0):
        # Too dull to swing, and never capacitive: resistors and inductors alone do that.
        return False
    least, highest = (LEAST_Q, MOST_ABOVE * high) if alone else (SWINGING_Q, high)
    return all(p.q >= least and p.f_hz <= highest for p in shown)


def _is_box(peak: Resonance, box: BoxAir) -> bool:
    if not BOX_STIFFNESS[0] <= box.stiffness <= BOX_STIFFNESS[1]:
        return False
    if box.tuned_hz == 0.0:
        return LEAK_RATIO[0] <= box.leak_hz / peak.own.f_hz <= LEAK_RATIO[1]
    return 1.0 / BOX_RATIO <= box.tuned_hz / peak.f_hz <= BOX_RATIO and box.tuned_hz >= LEAST_QL * box.leak_hz


def all_seen(fitted: Refined, rows: FitRows) -> bool:
    """Whether the data show every parameter, but those of a flank below them."""
    low = float(rows.frequency_hz[0])
    below = {f"resonance_{i}" for i, p in enumerate(fitted.model.resonances, 1) if p.f_hz < low and p.box is None}
    pairs = zip(fitted.size.names, np.diag(fitted.covariance), strict=True)
    return all(v <= SEEN_SHARE**2 for name, v in pairs if name.rpartition("_")[0][:11] not in below)
