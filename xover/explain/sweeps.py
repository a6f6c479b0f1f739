"""The sweeps that part values are inferred from, as rows of logarithms with their noise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path

import numpy as np

from xover.curve import Complex, Curve, Evidence, Float, Unit
from xover.errors import InputError
from xover.explain.noise import Noise, repeat_noise, smoothness_noise
from xover.files.tables import read_impedance, read_response


class Where(StrEnum):
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

    where: Where
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
        if self.where is Where.TERMINALS:
            return "sweep at the terminals"
        if self.where is Where.RATIO:
            return f"voltage at {self.driver} over the amplifier's"
        return f"sweep with {self.driver} {self.where}"

    def with_noise(self, relative: float) -> Sweep:
        """The same with stated noise, alike in magnitude and phase."""
        phase = relative if self.curve.has_phase else float("nan")
        return replace(self, noise=Noise(relative, phase, "stated"))


def read_sweep(where: Where, driver: str, path: Path, repeats: Sequence[Path] = ()) -> Sweep:
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


def _read(where: Where, path: Path) -> tuple[Curve, tuple[str, ...]]:
    if where is not Where.RATIO:
        return read_impedance(path, Evidence.MEASURED)
    curve, warnings = read_response(path, Evidence.MEASURED)
    return replace(curve, unit=Unit.RATIO), warnings
