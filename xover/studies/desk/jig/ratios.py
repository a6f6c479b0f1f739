"""The ratio of the jig's two channels: from a table, or from recordings of a sweep."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from xover.curve import Complex, Curve, Evidence, Float, Unit
from xover.errors import InputError, OptionError, named
from xover.files.tables import read_response
from xover.files.wav import is_recording
from xover.recordings.faults import Found, RecordingFault
from xover.recordings.rattle import Distortion
from xover.recordings.reading import TwoChannels, read_plan, read_two_channels
from xover.recordings.sweep import SweepPlan
from xover.recordings.told import UnreadableRecordingError


@dataclass(frozen=True)
class ChannelRatio:
    """Second channel over first.

    Attributes
    ----------
    curve : (n,). sigma : (n,) one standard deviation of it by noise; 0 of a table, which does not tell.
    found : what is wrong with the recordings. scatter_share : largest scatter between takes; None of one take.
    distortion : of the current, by the first take; None where it was not asked, or of a table.
    """

    curve: Curve
    sigma: Float
    found: tuple[tuple[str, Found], ...] = ()
    scatter_share: float | None = None
    distortion: Distortion | None = None

    def at(self, frequency_hz: Float) -> tuple[Complex, Float]:
        """(n,) ratio and (n,) sigma; NaN where it does not reach."""
        return self.curve.at(frequency_hz), np.interp(frequency_hz, self.curve.frequency_hz, self.sigma)


def read_ratio(
    paths: Sequence[Path | str], played: Sequence[Path | str], warnings: list[str], **of: Any
) -> ChannelRatio:
    """One ratio of one or more takes; several are averaged over the rows that all have.

    Parameters
    ----------
    played : files that were played; each recording is read by the first that is in it. of : as `read_two_channels` has
        it.

    Raises InputError, OptionError: a file that cannot be read, without phase, or recordings without what was played.
    """
    plans: list[SweepPlan] = []
    if any(map(is_recording, paths)):
        if not played:
            raise OptionError(
                "a recording says nothing without the file that was played", f"give it by {named('played')}"
            )
        plans = list(map(read_plan, played))
    takes = [_one(path, plans, warnings, of) for path in paths]
    return takes[0] if len(takes) == 1 else _averaged(takes, paths)


def _one(path: Path | str, plans: Sequence[SweepPlan], warnings: list[str], of: Mapping[str, Any]) -> ChannelRatio:
    if plans and is_recording(path):
        got = _by_its_own(path, plans, of)
        curve = Curve(got.frequency_hz, got.value, Unit.RATIO, Evidence.MEASURED, True, str(path))
        return ChannelRatio(curve, got.sigma, tuple((Path(path).name, f) for f in got.found), None, got.distortion)
    curve, found = read_response(path, Evidence.MEASURED, ratio=True)
    if not curve.has_phase:
        raise InputError("has no phase: the arithmetic needs it", "export the transfer function with its phase", path)
    warnings += [f"{Path(path).name}: {w}" for w in found]
    return ChannelRatio(curve, np.zeros(len(curve.frequency_hz)))


def _by_its_own(path: Path | str, plans: Sequence[SweepPlan], of: Mapping[str, Any]) -> TwoChannels:
    """A recording by the first of the sweeps that is in it; where none can be read, what is wrong with its own."""
    faults = []
    for plan in plans:
        try:
            return read_two_channels(path, plan, **of)
        except UnreadableRecordingError as fault:
            faults.append(fault)
    raise min(faults, key=lambda one: one.found is not None and one.found.fault is RecordingFault.OTHER_SWEEP)


def _averaged(takes: Sequence[ChannelRatio], paths: Sequence[Path | str]) -> ChannelRatio:
    f = takes[0].curve.frequency_hz
    values, sigmas = zip(*(t.at(f) for t in takes), strict=True)
    table = np.array(values)
    good = np.isfinite(table).all(axis=0)
    if good.sum() < 2:
        raise InputError("has no band in common with the take before it", "give takes of one sweep", paths[1])
    table, mean = table[:, good], table[:, good].mean(axis=0)
    spread = np.sqrt(np.sum(np.abs(table - mean) ** 2, axis=0) / (len(takes) - 1))
    noise = np.sqrt(np.mean(np.array(sigmas)[:, good] ** 2, axis=0))
    # A scatter of two or three takes is a poor figure at one row: no less than the noise is believed.
    sigma = np.maximum(noise, spread) / np.sqrt(len(takes))
    curve = Curve(f[good], mean, Unit.RATIO, Evidence.MEASURED, True, takes[0].curve.source)
    found, scatter = tuple(f for t in takes for f in t.found), float((spread / np.abs(mean)).max())
    return ChannelRatio(curve, sigma, found, scatter, takes[0].distortion)
