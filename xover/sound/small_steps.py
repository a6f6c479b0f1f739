"""What a small change of one parameter does to the drives, to the sum and to the load, to first order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from xover.acoustic.level import NEPER_DB
from xover.acoustic.summing import Branch
from xover.curve import Complex, Float
from xover.readable import Readable
from xover.sound.change import Worst, largest, near_highest
from xover.sound.prediction import Sound
from xover.sound.sums import known_level_db


@dataclass(frozen=True, eq=False, repr=False)
class Change(Readable):
    """What one step of a parameter does to a curve, to first order.

    Attributes
    ----------
    level_db : (n,) change of level, dB. phase_deg : (n,) change of phase. NaN where it is not known.
    worst : the largest change of level; of a drive, where it lies within 20 dB of its highest.
    """

    level_db: Float
    phase_deg: Float
    worst: Worst


@dataclass(frozen=True, eq=False, repr=False)
class LoadChange(Readable):
    """What one step of a parameter does to a channel's load, to first order.

    Attributes
    ----------
    percent : (n,) change of the impedance's magnitude, per cent of itself. phase_deg : (n,).
    worst : the largest change in per cent.
    """

    percent: Float
    phase_deg: Float
    worst: Worst


def drive_change(frequency_hz: Float, moved: Complex, of: Complex) -> Change:
    """What a step that moves a drive `of` (n,) by `moved` (n,) does to its level and phase."""
    change = _change(frequency_hz, moved, of)
    return replace(change, worst=largest(frequency_hz, change.level_db, near_highest(of)))


def load_change(frequency_hz: Float, moved: Complex, of: Complex) -> LoadChange:
    """What a step that moves a load `of` (n,) ohm by `moved` (n,) ohm does to its magnitude and phase."""
    relative = _relative(moved, of)
    percent = 100.0 * relative.real
    return LoadChange(percent, np.degrees(relative.imag), largest(frequency_hz, percent, np.isfinite(percent)))


def sum_change(frequency_hz: Float, sound: Sound, reach: tuple[Branch, ...], moved: Mapping[str, Complex]) -> Change:
    """What a step that moves each drive by `moved`, by key, does to the sum.

    A driver that the sum leaves out, as it is 30 dB or more below, is left out here too. Without a common time
    reference it is the change of the highest sum that any timing allows, which has no phase.

    Parameters
    ----------
    reach : from `responses`.
    """
    given = np.isfinite(known_level_db(sound))
    change = np.zeros(frequency_hz.shape, dtype=complex)
    for branch, response in zip(sound.branches, reach, strict=True):
        heard = np.isfinite(branch.pressure) & (branch.pressure != 0)
        change += np.where(heard, moved[branch.key] * np.where(heard, response.pressure, 0.0), 0.0)
    if sound.total.coherent:
        return _change(frequency_hz, change, np.where(given, sound.total.pressure, np.nan))
    return _envelope_change(frequency_hz, sound, reach, moved, given)


def _envelope_change(
    frequency_hz: Float, sound: Sound, reach: tuple[Branch, ...], moved: Mapping[str, Complex], given: NDArray[np.bool_]
) -> Change:
    """Change of the sum of magnitudes: each group along its own direction."""
    groups = dict.fromkeys(b.group for b in sound.branches)
    change = np.zeros(frequency_hz.shape)
    for group in groups:
        pressure = np.zeros(frequency_hz.shape, dtype=complex)
        step = np.zeros(frequency_hz.shape, dtype=complex)
        for branch, response in zip(sound.branches, reach, strict=True):
            if branch.group == group:
                heard = np.isfinite(branch.pressure) & (branch.pressure != 0)
                pressure += np.where(heard, branch.pressure, 0.0)
                step += np.where(heard, moved[branch.key] * np.where(heard, response.pressure, 0.0), 0.0)
        size = np.abs(pressure)
        direction = np.divide(np.conj(pressure), size, out=np.ones_like(pressure), where=size > 0)
        change += (direction * step).real
    whole = 10.0 ** (sound.total.best_level_db / 20.0)
    level = np.divide(NEPER_DB * change, whole, out=np.full(whole.shape, np.nan), where=given & (whole > 0))
    return Change(level, np.full(level.shape, np.nan), largest(frequency_hz, level, np.isfinite(level)))


def _change(frequency_hz: Float, moved: Complex, of: Complex) -> Change:
    relative = _relative(moved, of)
    level = NEPER_DB * relative.real
    return Change(level, np.degrees(relative.imag), largest(frequency_hz, level, np.isfinite(level)))


def _relative(moved: Complex, of: Complex) -> Complex:
    known = np.isfinite(of) & (of != 0) & np.isfinite(moved)
    out = np.full(of.shape, complex(np.nan, np.nan))
    out[known] = moved[known] / of[known]
    return out
