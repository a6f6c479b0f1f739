"""The sound of the drivers behind any filters: what every channel adds, and their sum."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from xover.acoustic.branch import Branch, missing_bound
from xover.acoustic.decibel import level_db
from xover.acoustic.level import BandLevel
from xover.acoustic.summing import AcousticSum, sum_branches
from xover.curve import Complex, Float
from xover.electronic.slopes import Slope, band_pass
from xover.rules.bands import JUDGED_HZ
from xover.sound.deviation import sum_deviation
from xover.studies.change.bypass.channels import BareDrivers


@dataclass(frozen=True, eq=False)
class Voices:
    """The sound of each channel at one volt (2.83 V) on it.

    Attributes
    ----------
    frequency_hz : (n,).
    names : (k,) channels, lowest first.
    branches : of the driver cards; rows : (k,) which of them belong to each channel.
    pressure : (k, n) complex, of each channel; NaN where it is not known. bound : (k, n) what it is at most there.
    coherent : whether the drivers share a time reference; timing_reason : why.
    silent : channels of whose sound nothing is known.
    band_hz : in which deviations are taken.
    """

    frequency_hz: Float
    names: tuple[str, ...]
    branches: tuple[Branch, ...]
    rows: tuple[tuple[int, ...], ...]
    pressure: Complex
    bound: Float
    coherent: bool
    timing_reason: str
    silent: tuple[str, ...]
    band_hz: tuple[float, float]

    @property
    def known(self) -> bool:
        """Whether something is known of the sound of every channel."""
        return not self.silent

    def behind(self, filters: Mapping[str, Complex]) -> tuple[Branch, ...]:
        """The branches behind one filter (n,) for each channel, gain, delay and polarity included."""
        out = []
        for name, rows in zip(self.names, self.rows, strict=True):
            for branch in (self.branches[row] for row in rows):
                drive = branch.drive_db
                out.append(
                    replace(
                        branch,
                        pressure=branch.pressure * filters[name],
                        drive_db=None if drive is None else drive + level_db(filters[name]),
                    )
                )
        return tuple(out)

    def total(self, filters: Mapping[str, Complex]) -> AcousticSum:
        """The sum behind one filter for each channel."""
        return sum_branches(self.frequency_hz, self.behind(filters), self.coherent)

    def deviation(self, total: AcousticSum) -> BandLevel:
        """Level and deviation of a sum in the band."""
        return sum_deviation(self.frequency_hz, total.level_db, self.band_hz)


def voices_of(bare: BareDrivers, band_hz: tuple[float, float] = JUDGED_HZ) -> Voices:
    """Gather the sounds of the bare drivers by channel."""
    sound = bare.sound
    f = sound.solution.frequency_hz
    cards = bare.network.drivers
    rows = tuple(tuple(i for i, c in enumerate(cards) if c.driver == name) for name in bare.names)
    bound = np.stack([missing_bound(f, b) for b in sound.branches])
    pressure = np.stack([b.pressure for b in sound.branches])
    return Voices(
        frequency_hz=f,
        names=bare.names,
        branches=sound.branches,
        rows=rows,
        pressure=np.stack([pressure[list(r)].sum(axis=0) for r in rows]),
        bound=np.stack([bound[list(r)].sum(axis=0) for r in rows]),
        coherent=sound.total.coherent,
        timing_reason=sound.timing_reason,
        silent=tuple(
            name
            for name, r in zip(bare.names, rows, strict=True)
            if not np.isfinite(pressure[list(r)]).all(axis=0).any()
        ),
        band_hz=band_hz,
    )


def crossover_filters(
    names: Sequence[str],
    slope: Slope,
    corners_hz: Sequence[float],
    frequency_hz: Float,
    sample_rate_hz: float | None,
) -> dict[str, Complex]:
    """(n,) response of an electronic crossover for each channel, lowest first; no gain, delay or polarity."""
    edges: list[float | None] = [None, *corners_hz, None]
    return {
        name: band_pass(slope, edges[i], edges[i + 1], frequency_hz, sample_rate_hz) for i, name in enumerate(names)
    }


def setting(gain_db: float, delay_s: float, polarity: int, frequency_hz: Float) -> Complex:
    """(n,) response of gain, delay and polarity."""
    turn = np.exp(-2j * math.pi * frequency_hz * delay_s)
    return np.asarray(polarity * 10.0 ** (gain_db / 20.0) * turn, dtype=complex)
