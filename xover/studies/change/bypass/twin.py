"""The passive network's twin, and what the network also did beyond the slopes that a crossover replaces."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from xover.acoustic.crossover import CrossoverReading, read_crossovers
from xover.acoustic.level import BandLevel, level_db, phase_deg
from xover.acoustic.summing import AcousticSum
from xover.curve import Complex, Float
from xover.electronic.biquad import Band, BandKind, response
from xover.electronic.twin import Twin, can_fit, fit_twin, weight_in_sum
from xover.plain import some_of
from xover.quantity import hertz
from xover.readable import Readable
from xover.rules.bands import BAFFLE_HZ, BASS_HZ
from xover.rules.margins import PAD_DB, PASS_DB, STEP_DB
from xover.search.equaliser import fit_equaliser
from xover.sound.prediction import Sound
from xover.studies.change.bypass.channels import BareDrivers, Voices, setting

LEAST_WEIGHT: Final = 0.01
"""Rows where a channel lies 40 dB below the sum or more are not fitted: the sum cannot tell."""
STRIDE: Final = 4
"""Every so many rows of the grid are fitted; errors are taken on all of them."""


@dataclass(frozen=True, eq=False, repr=False)
class ChannelTwin(Readable):
    """The twin of one channel.

    Attributes
    ----------
    target : (n,) complex voltage that the network puts on the channel's drivers, over the amplifier's.
    weight : (n,) 0..1, what a row counts: the channel's share of the sum.
    bands, gain_db, polarity : to dial in.
    delay_s : against the other channels, 0 or more; the least of them is 0.
    response : (n,) complex, all of that in it.
    error_db, error_deg : (n,) twin less target, the delay common to all channels left out; NaN where not known.
    worst_db, worst_deg : the largest errors, weighted. rms_db : of the level, weighted.
        Where too little of the target is known for a twin, all of these are NaN, without bands.
    unlike_db : how far the network drives the drivers of this channel apart at most where they count; 0 for one.
    """

    target: Complex
    weight: Float
    bands: tuple[Band, ...]
    gain_db: float
    delay_s: float
    polarity: int
    response: Complex
    error_db: Float
    error_deg: Float
    worst_db: float
    worst_deg: float
    rms_db: float
    unlike_db: float

    @property
    def known(self) -> bool:
        """Whether there is one."""
        return not math.isnan(self.gain_db)

    def plain(self) -> dict[str, Any]:
        """What to dial in, and the errors."""
        return some_of(
            self,
            "gain_db delay_s bands worst_db worst_deg rms_db unlike_db error_db error_deg",
            polarity=self.polarity if self.known else None,
            target={"magnitude_db": level_db(self.target), "phase_deg": phase_deg(self.target)},
        )


@dataclass(frozen=True, eq=False, repr=False)
class TwinSum(Readable):
    """The sum behind the twin beside that of the network.

    Attributes
    ----------
    total : the sum behind the twin; band : its level and deviation; crossovers : where the ways cross.
    worst_db, worst_at_hz : the largest difference of its level from that behind the network, in the band; of the
        highest that any timing allows where the timing is not known. NaN where neither is known.
    """

    total: AcousticSum
    band: BandLevel
    crossovers: tuple[CrossoverReading, ...]
    worst_db: float
    worst_at_hz: float


def targets_of(bare: BareDrivers, passive: Sound) -> dict[str, tuple[Complex, Float]]:
    """What the network puts on each channel's drivers, (n,) complex, and how far it drives them apart, (n,) dB.

    A channel's drivers in series share its voltage, so their own voltages are taken over their shares. Where the
    network drives them unlike, the mean is the target: one channel cannot do more.
    """
    out = {}
    for wiring in bare.wirings:
        wanted = np.stack([passive.solution.drive[key] / bare.sound.solution.drive[key] for key in wiring.keys])
        size = np.abs(wanted)
        with np.errstate(divide="ignore", invalid="ignore"):
            apart = 20.0 * np.log10(size.max(axis=0) / size.min(axis=0))
        out[wiring.driver] = (wanted.mean(axis=0), np.where(np.isfinite(apart), apart, 0.0))
    return out


def fit_twins(bare: BareDrivers, passive: Sound, voices: Voices, sample_rate_hz: float) -> dict[str, ChannelTwin]:
    """Fit every channel's twin.

    The weight of a row is the channel's share of the passive sum (of the highest sum that any timing allows where
    the timing is not known); where the sound is not known, its share of all drives.
    """
    f = voices.frequency_hz
    targets = targets_of(bare, passive)
    weights = channel_weights(bare, passive, voices, {name: t for name, (t, _) in targets.items()})
    few = slice(None, None, STRIDE)
    fits: dict[str, Twin | None] = {}
    for name, (target, _) in targets.items():
        counts = np.where(weights[name] >= LEAST_WEIGHT, weights[name], 0.0)[few]
        known = can_fit(f[few], target[few], counts, sample_rate_hz)
        fits[name] = fit_twin(f[few], target[few], counts, sample_rate_hz=sample_rate_hz) if known else None
    first = min((fit.delay_s for fit in fits.values() if fit is not None), default=math.nan)
    return {name: _told(f, targets[name], weights[name], fit, first, sample_rate_hz) for name, fit in fits.items()}


def _told(
    f: Float, target: tuple[Complex, Float], weight: Float, fit: Twin | None, first_s: float, sample_rate_hz: float
) -> ChannelTwin:
    """The twin on the whole grid, its delay against the first of the channels."""
    wanted, unlike = target
    if fit is None:
        blank, no = np.full(f.shape, math.nan), math.nan
        unlike_db = float(np.max(unlike * weight))
        return ChannelTwin(wanted, weight, (), no, no, 1, blank + 0j, blank, blank, no, no, no, unlike_db)
    shape = response(fit.bands, f, sample_rate_hz)
    exact = shape * setting(fit.gain_db, fit.delay_s, fit.polarity, f)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(np.abs(wanted) > 0, exact / wanted, np.nan)
        error_db, error_deg = level_db(ratio), phase_deg(ratio)
    count = np.where(np.isfinite(error_db) & (weight >= LEAST_WEIGHT), weight, 0.0)
    db, deg = np.nan_to_num(error_db) * count, np.nan_to_num(error_deg) * count
    return ChannelTwin(
        target=wanted,
        weight=weight,
        bands=fit.bands,
        gain_db=fit.gain_db,
        delay_s=fit.delay_s - first_s,
        polarity=fit.polarity,
        response=shape * setting(fit.gain_db, fit.delay_s - first_s, fit.polarity, f),
        error_db=error_db,
        error_deg=error_deg,
        worst_db=float(np.max(np.abs(db))),
        worst_deg=float(np.max(np.abs(deg))),
        rms_db=float(np.sqrt(np.mean(db[count > 0] ** 2))) if (count > 0).any() else math.nan,
        unlike_db=float(np.max(unlike * weight)),
    )


def channel_weights(
    bare: BareDrivers, passive: Sound, voices: Voices, targets: Mapping[str, Complex]
) -> dict[str, Float]:
    """(n,) 0..1 by channel: its share of the sum, or of the drives where the sound of a driver is not known.

    At frequencies at which the sum alone is not known, what a drive is against the highest of all.
    """
    if not voices.known:
        whole = np.sum([np.nan_to_num(np.abs(t)) for t in targets.values()], axis=0)
        return {name: weight_in_sum(target, whole) for name, target in targets.items()}
    total = passive.total
    level = total.level_db if total.coherent else total.best_level_db
    whole = 10.0 ** (level / 20.0)
    by_key = {b.key: b.pressure for b in passive.branches}
    drives = {name: np.nan_to_num(np.abs(target)) for name, target in targets.items()}
    top = max(float(np.max(drive)) for drive in drives.values())
    shares = {w.driver: weight_in_sum(np.sum([by_key[key] for key in w.keys], axis=0), whole) for w in bare.wirings}
    if not top > 0:
        return shares
    return {n: np.where(np.isfinite(whole), share, np.minimum(1.0, drives[n] / top)) for n, share in shares.items()}


def twin_sum(voices: Voices, passive: Sound, twins: Mapping[str, ChannelTwin]) -> TwinSum | None:
    """Add the drivers up behind the twin; None where the sound of one, or its twin, is not known."""
    if not voices.known or not all(twin.known for twin in twins.values()):
        return None
    filters = {name: twin.response for name, twin in twins.items()}
    total = voices.total(filters)
    worst, at = difference(voices, total, passive.total)
    crossovers = read_crossovers(voices.frequency_hz, voices.behind(filters), voices.coherent)
    return TwinSum(total, voices.deviation(total), crossovers, worst, at)


def difference(voices: Voices, now: AcousticSum, then: AcousticSum) -> tuple[float, float]:
    """The largest difference of two sums' levels in the band, with its sign, and where; NaN where not known."""
    f = voices.frequency_hz
    one, other = (s.level_db if s.coherent else s.best_level_db for s in (now, then))
    with np.errstate(invalid="ignore"):
        apart = one - other
    inside = (f >= voices.band_hz[0]) & (f <= voices.band_hz[1]) & np.isfinite(apart)
    if not inside.any():
        return math.nan, math.nan
    row = int(np.argmax(np.where(inside, np.abs(apart), -1.0)))
    return float(apart[row]), float(f[row])


def passive_deviation(voices: Voices, passive: Sound) -> BandLevel | None:
    """Level and deviation of the passive sum in the band; None where it is not known."""
    return voices.deviation(passive.total) if voices.known else None


MOST_BANDS: Final = 3
HEARD_SHARE: Final = 0.1
"""Rows where a channel lies 20 dB below the sum do not count."""
MOST_DB: Final = 12.0
NOTCH_Q: Final = 1.4


@dataclass(frozen=True)
class Missing:
    """What one channel lacks on top of the electronic crossover's slopes, gain and bands.

    Attributes
    ----------
    gain_db : level that the network passed, before the bands. pad_db : its highest level where the channel counts:
        what was padded away, 0 or less for a network without a transformer.
    bands : to add so that the level at the driver is what it was.
    before_db, worst_db : largest weighted error with the gain alone, and with the bands.
    words : the same in words, one sentence each.
    """

    gain_db: float
    pad_db: float
    bands: tuple[Band, ...]
    before_db: float
    worst_db: float
    words: tuple[str, ...]


def read_missing(
    frequency_hz: Float,
    target: Complex,
    slope: Complex,
    weight: Float,
    top_corner_hz: float | None,
    sample_rate_hz: float,
) -> Missing:
    """Read what the network did to one channel and the slope at hand does not.

    Parameters
    ----------
    target : (n,) complex voltage that the network puts on the channel. slope : (n,) of the electronic crossover.
    weight : (n,) the channel's share of the sum.
    top_corner_hz : of the lowest channel, which has the baffle step; None for the others.
    """
    few = slice(None, None, STRIDE)
    with np.errstate(divide="ignore", invalid="ignore"):
        wanted = level_db(target) - level_db(slope)
    heard = (weight >= HEARD_SHARE) & (level_db(slope) >= PASS_DB) & np.isfinite(wanted)
    fit = fit_equaliser(
        frequency_hz[few],
        wanted[few],
        np.where(heard, weight, 0.0)[few],
        MOST_BANDS,
        sample_rate_hz,
        most_boost_db=MOST_DB,
    )
    if math.isnan(fit.gain_db):
        return Missing(math.nan, math.nan, (), math.nan, math.nan, ())
    pad = float(np.max(level_db(target)[heard]))
    step = math.nan if top_corner_hz is None else _step_db(frequency_hz, wanted, top_corner_hz)
    return Missing(
        gain_db=fit.gain_db,
        pad_db=pad,
        bands=fit.bands,
        before_db=fit.before_db,
        worst_db=fit.worst_db,
        words=tuple(_words(fit.bands, pad, step)),
    )


def _words(bands: tuple[Band, ...], pad_db: float, step_db: float) -> list[str]:
    said = []
    if pad_db <= -PAD_DB:
        said.append(f"padded down by {-pad_db:.1f} dB")
    stepped = step_db >= STEP_DB
    if stepped:
        said.append(f"held the bass {step_db:.1f} dB above the octave below the corner: baffle-step correction")
    return said + [_band_words(band) for band in bands if not (stepped and _is_step(band))]


def _is_step(band: Band) -> bool:
    """Whether a band is the baffle step's, told of already."""
    if band.kind is BandKind.PEAKING:
        fits = band.gain_db < 0 and (band.q or 0.0) < NOTCH_Q
    else:
        fits = (band.gain_db > 0) == (band.kind is BandKind.LOW_SHELF)
    return fits and BAFFLE_HZ[0] <= band.frequency_hz <= BAFFLE_HZ[1]


def _step_db(frequency_hz: Float, level: Float, corner_hz: float) -> float:
    """Mean level of the bass over that of the octave below the corner, dB; NaN where the two do not lie apart."""
    low = (frequency_hz >= BASS_HZ[0]) & (frequency_hz <= BASS_HZ[1])
    high = (frequency_hz >= corner_hz / 2.0) & (frequency_hz <= corner_hz)
    if corner_hz / 2.0 <= 2.0 * BASS_HZ[1] or not np.isfinite(level[low]).any() or not np.isfinite(level[high]).any():
        return math.nan
    return float(np.nanmean(level[low]) - np.nanmean(level[high]))


def _band_words(band: Band) -> str:
    size = f"{abs(band.gain_db):.1f} dB"
    where = hertz(band.frequency_hz)
    if band.kind is BandKind.PEAKING:
        narrow = (band.q or 0.0) >= NOTCH_Q
        if band.gain_db < 0:
            return f"a {'notch' if narrow else 'broad dip'} of {size} at {where}"
        return f"a {'peak' if narrow else 'broad lift'} of {size} at {where}"
    end = "below" if band.kind is BandKind.LOW_SHELF else "above"
    return f"{'lifted' if band.gain_db > 0 else 'lowered'} by {size} {end} {where}"
