"""The sweeps that part values are inferred from, as rows of logarithms; and how noisy each is, told by itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import Final

import numpy as np

from xover.curve import Complex, Curve, Evidence, Float, Unit
from xover.errors import InputError, OptionError, named
from xover.files.tables import read_impedance, read_response
from xover.network import Network, solve

# Divided differences of these orders are tried: higher ones leave less of the curve, but need more rows.
ORDERS: Final = (2, 3, 4, 5, 6)
# Standard deviation over median absolute value, for the normal distribution.
_MAD: Final = 1.4826
# No sweep is trusted beyond this: interpolation between rows alone may cost as much.
FLOOR: Final = 5e-4


@dataclass(frozen=True)
class Noise:
    """Random error of one row of a sweep, one standard deviation.

    Attributes
    ----------
    magnitude : relative, of |Z|. phase_rad : radians; NaN where no phase was measured.
    source : where the figures come from, in words.
    """

    magnitude: float
    phase_rad: float
    source: str

    @property
    def either(self) -> float:
        """Root mean square of both, for noise that is taken as alike in all directions."""
        if np.isnan(self.phase_rad):
            return self.magnitude
        return float(np.sqrt((self.magnitude**2 + self.phase_rad**2) / 2.0))

    def floored(self) -> Noise:
        """Never below `FLOOR`."""
        return Noise(max(self.magnitude, FLOOR), max(self.phase_rad, FLOOR), self.source)


def smoothness_noise(curve: Curve) -> Noise:
    """Estimate a sweep's noise from how far its rows leave a smooth curve.

    Divided differences over ln f, scaled to the variance of one row; their median size is not moved by a few
    outliers nor by a sharp peak. The order that finds least is taken: the lower ones still hold some of the curve.
    On a sweep of few rows in an octave the curve itself counts as noise, so the figure is an upper bound there.

    Robust difference estimators of noise: von Neumann (1941), Rice (1984), from memory; the order and the median are
    common practice.

    Returns
    -------
    NaN below 9 rows.
    """
    log = np.log(np.abs(curve.value)) + 1j * np.unwrap(np.angle(curve.value))
    at = np.log(curve.frequency_hz)
    return Noise(
        rough_deviation(at, log.real),
        rough_deviation(at, log.imag) if curve.has_phase else float("nan"),
        "its smoothness",
    )


def rough_deviation(at: Float, value: Float) -> float:
    """Standard deviation of what is rough in (n,) values over (n,) rising places; NaN below 9 rows."""
    if at.size < 9:
        return float("nan")
    sizes = []
    for order in ORDERS:
        weight = _difference_weights(at, order)
        rough = sum(weight[:, k] * value[k : value.size - order + k] for k in range(order + 1))
        sizes.append(_MAD * float(np.median(np.abs(rough))))
    return min(sizes)


def _difference_weights(at: Float, order: int) -> Float:
    """(n - order, order + 1) weights of divided differences, each row of unit length."""
    rows = at.size - order
    window = np.stack([at[k : rows + k] for k in range(order + 1)], axis=1)
    apart = window[:, :, None] - window[:, None, :]
    apart[:, np.arange(order + 1), np.arange(order + 1)] = 1.0
    # Scaled by the window's width first, so that the products stay near one.
    apart = np.where(np.eye(order + 1, dtype=bool), 1.0, apart / (window[:, -1:, None] - window[:, :1, None]))
    weight = 1.0 / apart.prod(axis=2)
    return np.asarray(weight / np.linalg.norm(weight, axis=1, keepdims=True))


def repeat_noise(logs: Sequence[Complex], has_phase: bool) -> Noise:
    """Noise of one sweep from (n,) complex logarithms of two or more sweeps of the same rows.

    A gain that differs from sweep to sweep is taken out first (its median over the rows); the rest of the spread
    about the mean of all sweeps is noise, and whatever drifted in between.
    """
    stack = np.stack(logs)
    stack = stack - np.median(stack.real, axis=1, keepdims=True) - 1j * np.median(stack.imag, axis=1, keepdims=True)
    free = (stack.shape[0] - 1) / stack.shape[0]
    away = stack - stack.mean(axis=0)
    # The median ignores hum that beats from sweep to sweep.
    spread = [_MAD * float(np.median(np.abs(part))) / np.sqrt(free) for part in (away.real, away.imag)]
    return Noise(spread[0], spread[1] if has_phase else float("nan"), f"{len(logs)} sweeps of the same")


class SweepPlace(StrEnum):
    """What was measured."""

    TERMINALS = "terminals"
    DISCONNECTED = "disconnected"
    SHORTED = "shorted"
    RATIO = "ratio"


@dataclass(frozen=True, eq=False)
class Sweep:
    """One measured sweep.

    Attributes
    ----------
    where : at the terminals as they are, with a driver unplugged or shorted; or the voltage at a driver over the
        amplifier's.
    driver : key of that driver; empty for TERMINALS.
    curve : as measured; the mean of all where the sweep was repeated.
    noise : of one row of `curve`.
    warnings : what reading the files said.
    """

    where: SweepPlace
    driver: str
    curve: Curve
    noise: Noise
    warnings: tuple[str, ...] = ()

    @property
    def frequency_hz(self) -> Float:
        """(n,) rows."""
        return self.curve.frequency_hz

    @property
    def log(self) -> Complex:
        """(n,) natural logarithm: its imaginary part is the phase, unwrapped."""
        angle = np.unwrap(np.angle(self.curve.value))
        return np.asarray(np.log(np.abs(self.curve.value)) + 1j * angle)

    @property
    def words(self) -> str:
        """What was measured, in words."""
        if self.where is SweepPlace.TERMINALS:
            return "sweep at the terminals"
        if self.where is SweepPlace.RATIO:
            return f"voltage at {self.driver} over the amplifier's"
        return f"sweep with {self.driver} {self.where}"

    def within(self, band_hz: tuple[float, float]) -> Sweep:
        """The rows of a band alone. Raises OptionError: there are too few."""
        f = self.frequency_hz
        kept = (f >= band_hz[0]) & (f <= band_hz[1])
        if np.count_nonzero(kept) < 2:
            raise OptionError(f"the {self.words} has no rows there", f"widen {named('band_hz')}")
        return replace(self, curve=replace(self.curve, frequency_hz=f[kept], value=self.curve.value[kept]))

    def with_noise(self, relative: float) -> Sweep:
        """The same with stated noise, alike in magnitude and phase."""
        phase = relative if self.curve.has_phase else float("nan")
        return replace(self, noise=Noise(relative, phase, "stated"))


def read_sweep(where: SweepPlace, driver: str, path: Path, repeats: Sequence[Path] = ()) -> Sweep:
    """Read a sweep, and others of the same if it was repeated.

    Raises
    ------
    InputError
        As `read_impedance` and `read_response`; or a repeated sweep has other rows than the first.
    """
    read = [_read(where, p) for p in (path, *repeats)]
    curve = read[0][0]
    warnings = tuple(f"{p.name}: {w}" for p, (_, found) in zip((path, *repeats), read, strict=True) for w in found)
    if not repeats:
        return Sweep(where, driver, curve, smoothness_noise(curve), warnings)
    for p, (other, _) in zip(repeats, read[1:], strict=True):
        if other.frequency_hz.shape != curve.frequency_hz.shape or not np.allclose(
            other.frequency_hz, curve.frequency_hz, rtol=1e-6
        ):
            raise InputError(f"has other frequencies than {path.name}", "repeat the sweep with the same steps", p)
        if other.has_phase != curve.has_phase:
            raise InputError(f"has {'a' if other.has_phase else 'no'} phase, unlike {path.name}", "repeat it alike", p)
    logs = [np.log(np.abs(c.value)) + 1j * np.unwrap(np.angle(c.value)) for c, _ in read]
    single = repeat_noise(logs, curve.has_phase)
    mean = np.exp(np.mean(logs, axis=0))
    root = np.sqrt(len(logs))
    noise = Noise(single.magnitude / root, single.phase_rad / root, single.source)
    return Sweep(where, driver, replace(curve, value=mean), noise, warnings)


def _read(where: SweepPlace, path: Path) -> tuple[Curve, tuple[str, ...]]:
    if where is not SweepPlace.RATIO:
        return read_impedance(path, Evidence.MEASURED)
    curve, warnings = read_response(path, Evidence.MEASURED, ratio=True)
    return replace(curve, unit=Unit.RATIO), warnings


def swept_channel(network: Network, name: str | None) -> str:
    """The channel that is swept, as `channel_of`. Raises OptionError where no current flows from it too."""
    at = channel_of(network, name)
    found = solve(network, np.array([1000.0]), dict.fromkeys(network.driver_names, np.array([8.0])))
    if np.isinf(found.impedance_ohm[at]).all():
        raise OptionError("no current flows in the network: a sweep tells nothing", "'xover check' says where it ends")
    return at


def channel_of(network: Network, name: str | None) -> str:
    """The channel that was swept; None where there is one only. Raises OptionError."""
    names = [c.name for c in network.channels]
    if name is None and len(names) == 1:
        return names[0]
    if name not in names:
        fault = "the network has several channels" if name is None else f"the network has no channel '{name}'"
        raise OptionError(fault, f"name one by {named('channel')}: {', '.join(names)}")
    return name
