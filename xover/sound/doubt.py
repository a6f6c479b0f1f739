"""How far a judged figure may be off, by what its curves were got with.

What is known of a curve is drawn at random, a fixed number of times and always alike: smooth errors over log frequency
as large as `rules.instruments` says, with the minimum phase that belongs to them; the part that drivers of one
instrument have in common is drawn once for all of them. The figure is read anew for every draw, of both networks where
two are compared, so that what they share falls out by itself.

Taken for granted: errors are Gaussian and smooth, in ripples of one to ten octaves, and of minimum phase. What the
curves do not say (rooms, angles, warm coils, another sample) is no part of them, and narrower errors are not drawn.
Timing that is not known has no draws: there is no one sum then, so that no figure of the sum is given. What is told is
a share of cases, no bound: beside a null a figure may lie far outside.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from xover.acoustic.level import NEPER_DB, lines_between
from xover.acoustic.time import SPEED_OF_SOUND_M_S
from xover.curve import Complex, Float
from xover.network import Network, solve
from xover.rules.bands import JUDGED_HZ, LEAST_KNOWN, LEAST_KNOWN_OF_CHANGE
from xover.rules.instruments import CENTRE_MM, IMPEDANCE_SPREADS, RESPONSE_SPREADS, SIGMAS, Instrument, Knots
from xover.sound.change import Rows, band_rows, change_db, difference_db, near_highest
from xover.sound.pairing import drives_like
from xover.sound.prediction import sound_of_network
from xover.sound.sums import listener
from xover.speaker import PhaseSource, Speaker, SpeakerDriver

DRAWS: Final = 64
SHARE_PERCENT: Final = 97.5
"""A half width of 95 % is two standard deviations."""
_RIPPLES: Final = ((10.0, 0.4), (5.0, 0.3), (2.5, 0.2), (1.25, 0.1))
"""(octaves, share of the variance) of a smooth error: the broad is larger. Common practice, no published source."""


@dataclass(frozen=True)
class Known:
    """A figure and how far it may be off, +-, 95 %; both NaN where it is not known."""

    value_db: float
    uncertainty_db: float

    @property
    def sure(self) -> bool:
        """Whether it stands above what is not known of it."""
        return self.value_db > self.uncertainty_db


NOT_KNOWN: Final = Known(math.nan, math.nan)


def unready(speaker: Speaker, names: tuple[str, ...]) -> tuple[str, ...]:
    """Those of some drivers whose data bear no verdict: a template's values, nobody's driver."""
    return tuple(
        n
        for n in names
        if Instrument.PLACEHOLDER in (speaker.drivers[n].impedance_instrument, speaker.drivers[n].response_instrument)
    )


def deviation_known(speaker: Speaker, network: Network, frequency_hz: Float) -> Known:
    """Half the range of the sum in the judged band.

    NaN where there is no one sum, where the sound of a driver is assumed or a placeholder, where several channels share
    it, or where less than nine tenths of the band are known.

    Raises
    ------
    NoSolutionError : the network has none.
    """
    levels = _levels_db(speaker, network, frequency_hz)
    return NOT_KNOWN if levels is None else _known(_half_ranges_db(frequency_hz, levels))


def deviation_gain(speaker: Speaker, before: Network, after: Network, frequency_hz: Float) -> Known:
    """By how much smaller the half range of the sum is after than before; not known, and errors: as above."""
    first, second = (_levels_db(speaker, n, frequency_hz) for n in (before, after))
    if first is None or second is None:
        return NOT_KNOWN
    return _known(difference_db(_half_ranges_db(frequency_hz, second), _half_ranges_db(frequency_hz, first)))


def voicing_gain(speaker: Speaker, design: Network, before: Network, after: Network, frequency_hz: Float) -> Known:
    """By how much nearer to the design it is after than before: by the largest change from it.

    Of the sum; of a drive within 20 dB of its highest, where there is no one sum, or where the sum's change is not
    known well enough to be sure of (beside a null) and the drive's is. NaN where neither is known, or where the sum is
    known in less than half of the judged band: a sweep ends, and the change may lie beyond.

    Raises
    ------
    NoSolutionError : a network has none.
    """
    three = (design, before, after)
    of, first, second = (_levels_db(speaker, n, frequency_hz) for n in three)
    by_sum = NOT_KNOWN
    if of is not None and first is not None and second is not None:
        rows = band_rows(frequency_hz)
        if np.isfinite(of[0, band_rows(frequency_hz, JUDGED_HZ)]).mean() < LEAST_KNOWN_OF_CHANGE:
            return NOT_KNOWN
        apart = (_largest(difference_db(of, levels), rows) for levels in (second, first))
        by_sum = _known(difference_db(*apart))
        if abs(by_sum.value_db) > by_sum.uncertainty_db or by_sum == Known(0.0, 0.0):
            return by_sum
    wanted, had, got = (_drives(speaker, n, frequency_hz) for n in three)
    if wanted is None or had is None or got is None:
        return by_sum
    had, got = (drives_like(design, wanted, n, d) for n, d in ((before, had), (after, got)))
    by_drive = _known(difference_db(_apart(frequency_hz, wanted, got), _apart(frequency_hz, wanted, had)))
    return by_drive if abs(by_drive.value_db) > by_drive.uncertainty_db or math.isnan(by_sum.value_db) else by_sum


def _known(figures: Float) -> Known:
    """(1 + k,) the figure itself, then of each draw."""
    if not math.isfinite(figures[0]):
        return NOT_KNOWN
    off = np.abs(figures[1:] - figures[0])
    off = off[np.isfinite(off)]
    if 2 * off.size < DRAWS:
        return NOT_KNOWN
    return Known(float(figures[0]), float(np.percentile(off, SHARE_PERCENT)))


@lru_cache(maxsize=64)
def _kept_levels_db(speaker: Speaker, network: Network, grid: bytes) -> Float | None:
    f = np.frombuffer(grid)
    drives = _drives(speaker, network, f)
    names = network.driver_names
    if drives is None or len(network.channels) != 1 or not all(_is_heard(speaker.drivers[n]) for n in names):
        return None
    sound = sound_of_network(speaker, network, f)
    if not sound.total.coherent:
        return None
    timed = len(names) == 1 or speaker.timed_by_delays(names)
    off = {name: _response_factor(speaker.drivers[name], f, timed=timed) for name in names}
    moved = {card.key: drives[card.key] * off[card.driver] for card in network.drivers}
    levels = listener(speaker, sound, True).levels_db(moved)
    levels.flags.writeable = False
    return levels


def _levels_db(speaker: Speaker, network: Network, frequency_hz: Float) -> Float | None:
    """(1 + k, n) level of the sum, of each draw below the first row; None where no sum bears a verdict."""
    return _kept_levels_db(speaker, network, np.asarray(frequency_hz, dtype=float).tobytes())


@lru_cache(maxsize=16)
def _kept_drives(speaker: Speaker, network: Network, grid: bytes) -> Mapping[str, Complex] | None:
    f = np.frombuffer(grid)
    if any(speaker.drivers[n].impedance_instrument not in IMPEDANCE_SPREADS for n in network.driver_names):
        return None
    return solve(network, f, {n: _impedances_ohm(speaker.drivers[n], f) for n in network.driver_names}).drive


def _drives(speaker: Speaker, network: Network, frequency_hz: Float) -> Mapping[str, Complex] | None:
    """(1 + k, n) drives by key; None where an impedance is a placeholder."""
    return _kept_drives(speaker, network, np.asarray(frequency_hz, dtype=float).tobytes())


def _is_heard(driver: SpeakerDriver) -> bool:
    """Whether it is known how far its response may be off."""
    return driver.has_response and driver.response_instrument in RESPONSE_SPREADS


def _response_factor(driver: SpeakerDriver, f: Float, *, timed: bool) -> Complex:
    """(1 + k, n) by what its response may be wrong; 1 in the first row. `timed`: its place does not tell its delay."""
    spread = RESPONSE_SPREADS[driver.response_instrument]
    own = _chance(f"{driver.name} response")
    level = spread.own_level_db * own.standard_normal((DRAWS, 1))
    off_db = level + knots_at(spread.own_shape_db, f) * _smooth(own, f)
    off_db = off_db + knots_at(spread.common_db, f) * _smooth(_chance(f"{driver.response_instrument} in common"), f)
    delay_s = own.standard_normal((DRAWS, 1)) * _delay_spread_s(driver, timed)
    return _with_nominal(np.exp(off_db / (SIGMAS * NEPER_DB) - 2j * np.pi * f * delay_s / SIGMAS))


def _delay_spread_s(driver: SpeakerDriver, timed: bool) -> float:
    """+-, 95 %."""
    if driver.delay_uncertainty_us is not None:
        return driver.delay_uncertainty_us * 1e-6
    by_place = driver.phase_source is PhaseSource.MINIMUM and not timed
    return CENTRE_MM * 1e-3 / SPEED_OF_SOUND_M_S if by_place or driver.delay_us is not None else 0.0


def _impedances_ohm(driver: SpeakerDriver, f: Float) -> Complex:
    """(1 + k, n) the impedance itself, then of each draw."""
    spread = IMPEDANCE_SPREADS[driver.impedance_instrument]
    own = _chance(f"{driver.name} impedance")
    size = (own.standard_normal((DRAWS, 1)) + _smooth(own, f)) * math.sqrt(0.5)
    nominal = driver.impedance_ohm(f)
    along = f * spread.factor ** (own.standard_normal((DRAWS, 1)) / SIGMAS)
    if driver.impedance is not None:
        along = np.clip(along, np.minimum(f, driver.impedance.lowest_hz), np.maximum(f, driver.impedance.highest_hz))
    z = nominal if spread.factor == 1.0 else driver.impedance_ohm(along.ravel()).reshape(along.shape)
    return np.concatenate([nominal[None, :], z * np.exp(spread.share * size / SIGMAS)])


def _with_nominal(factor: Complex) -> Complex:
    return np.concatenate([np.ones((1, factor.shape[1]), dtype=complex), factor])


def _chance(label: str) -> np.random.Generator:
    """The same numbers for the same thing, whatever else there is."""
    return np.random.default_rng(zlib.crc32(label.encode()))


def knots_at(knots: Knots, f: Float) -> Float:
    """(n,) dB of a spread at frequencies, Hz."""
    hz, db = np.array(knots).T
    return np.asarray(np.interp(np.log(f), np.log(hz), db), dtype=float)


def _smooth(chance: np.random.Generator, f: Float) -> Complex:
    """(k, n) smooth errors of unit variance, and in their imaginary part the minimum phase that goes with them.

    Of a ripple cos(w u) over u = ln f the minimum phase is -tanh(pi w/2) sin(w u): the ripple through Bode's weight
    ln coth(|u|/2) of its slope, whose transform is (pi/w) tanh(pi w/2).
    """
    u = np.log(f / 1000.0)
    out = np.zeros((DRAWS, f.size), dtype=complex)
    for octaves, share in _RIPPLES:
        w = 2.0 * math.pi / (octaves * math.log(2.0))
        both = chance.standard_normal((2, DRAWS, 1))
        wave = math.sqrt(share) * (both[0] + 1j * both[1]) * np.exp(1j * w * u)
        out += wave.real - 1j * math.tanh(math.pi * w / 2.0) * wave.imag
    return out


def _half_ranges_db(f: Float, levels_db: Float) -> Float:
    """(1 + k,) half ranges as `sum_deviation` reads them, at the band's ends too; NaN where too little is known."""
    low, high = max(JUDGED_HZ[0], float(f[0])), min(JUDGED_HZ[1], float(f[-1]))
    nothing = np.full(levels_db.shape[0], np.nan)
    if not low < high:
        return nothing
    ends = lines_between(f, levels_db, np.array([low, high]))
    inner = (f > low) & (f < high)
    levels = np.concatenate([ends[:, :1], levels_db[:, inner], ends[:, 1:]], axis=1)
    known = np.isfinite(levels)
    octaves = np.diff(np.log2(np.concatenate([[low], f[inner], [high]])))
    if octaves[known[0, :-1] & known[0, 1:]].sum() < LEAST_KNOWN * math.log2(JUDGED_HZ[1] / JUDGED_HZ[0]):
        return nothing
    return np.asarray((np.where(known, levels, -np.inf).max(axis=1) - np.where(known, levels, np.inf).min(axis=1)) / 2)


def _largest(change: Float, rows: Rows) -> Float:
    """(1 + k,) largest size of a change (1 + k, n) on some rows; NaN where nothing is known."""
    size = np.where(rows & ~np.isnan(change), np.abs(change), -1.0).max(axis=1)
    return np.where(size < 0, np.nan, size)


def _apart(f: Float, design: Mapping[str, Complex], of: Mapping[str, Complex]) -> Float:
    """(1 + k,) the largest change of a drive, where it lies within 20 dB of its highest before anything is drawn."""
    found = np.full(DRAWS + 1, np.nan)
    for key in (k for k in design if k in of):
        rows = band_rows(f) & near_highest(design[key][0], of[key][0])
        found = np.fmax(found, _largest(change_db(design[key], of[key]), rows))
    return found
