"""How states of a network sound against what was heard, with what any record has wrong about it set free.

A microphone tells the shape of a sum, not its level. It is off by a smooth curve of its own; a room and the end of a
gate leave ripple; and each driver may be a little louder, or later, than in its own record, which was made another day
and from another place. All of it is fitted to each state, held by its usual spread. What remains is in proportion to
what the drivers sound like side by side, so that the depth of a null, where they cancel, says little.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.acoustic.level import NEPER_DB
from xover.curve import Complex, Float
from xover.explain.fault_fit import OUTLIER
from xover.rules.likeness import (
    DRIVER_DELAY_S,
    DRIVER_GAIN_DB,
    DRIVER_RIPPLE_DB,
    MICROPHONE_DB,
    MICROPHONE_OCTAVES,
    RECORD_REACH_DB,
)
from xover.studies.aged.verify.sound import Heard, Voices

ANY_LEVEL_DB: Final = 100.0
STEPS: Final = 7
SURE_OF_NOISE: Final = 4.0
"""The guess of the noise is worth as much as if it had been read from so many third octaves."""
STARTS_S: Final = (-110e-6, 110e-6)
"""Delays of a driver from which the fit sets out, beside none."""


@dataclass(frozen=True, eq=False)
class SoundFits:
    """Every state at its best; d drivers, b bands.

    Attributes
    ----------
    delay_s, gain_db : (k, d - 1) how much later and louder than their records the drivers after the first are against
        it. delay_doubt_s, gain_doubt_db : (k, d - 1) standard deviations.
    level_db : (k, b) the state then, the level of the record matched. difference_db : (k, b) heard less that.
    sigma_db : (k, b) what noise, room and microphone may do to each band.
    cost : (k,) minus the logarithm of the probability, up to a constant.
    square : (k,) sum of squares, in standard deviations, of what is left and of what was set free.
    """

    delay_s: Float
    gain_db: Float
    delay_doubt_s: Float
    gain_doubt_db: Float
    level_db: Float
    difference_db: Float
    sigma_db: Float
    cost: Float
    square: Float


def fit_sound(heard: Heard, voices: Voices, parts: Complex) -> SoundFits:
    """Fit (k, d, b, 8) sounds of drivers to what was heard."""
    count, drivers = parts.shape[:2]
    begins = [np.zeros(drivers - 1)]
    for late in STARTS_S:
        begins += [np.where(np.arange(drivers - 1) == i, late, 0.0) for i in range(drivers - 1)]
    several = np.repeat(parts, len(begins), axis=0)
    fits = _fit(heard, voices.frequency_hz, several, np.tile(begins, (count, 1)))
    best = np.argmin(fits.cost.reshape(count, -1), axis=1) + np.arange(count) * len(begins)
    return SoundFits(**{name: value[best] for name, value in vars(fits).items()})


def _fit(heard: Heard, frequency_hz: Float, parts: Complex, delay_s: Float) -> SoundFits:
    count, free = parts.shape[0], parts.shape[1] - 1
    # Delays and gains are in units of their spreads, so that every prior is a unit normal; the level comes last.
    place = np.zeros((count, 2 * free + 1))
    place[:, :free] = delay_s / DRIVER_DELAY_S
    belief = np.append(np.ones(2 * free), ANY_LEVEL_DB**-2.0)
    level, _, spread = _model(frequency_hz, parts, place)
    place[:, -1] = np.median(heard.level_db - level, axis=1)
    root = np.linalg.inv(np.linalg.cholesky(covers(heard, spread)))
    loss, step, damping = np.full(count, np.inf), np.zeros_like(place), np.full(count, 1e-2)
    kept = place.copy()
    for turn in range(2 * STEPS):
        if turn == STEPS:  # the errors of a null go with its depth, which is better known now
            _, _, spread = _model(frequency_hz, parts, kept)
            root = np.linalg.inv(np.linalg.cholesky(covers(heard, spread)))
            loss, place, damping = np.full(count, np.inf), kept.copy(), np.full(count, 1e-2)
        level, slopes, _ = _model(frequency_hz, parts, place)
        rows = root @ slopes
        miss = (root @ (heard.level_db - level)[..., None])[..., 0]
        size = np.abs(miss)
        now = np.sum(np.where(size > OUTLIER, OUTLIER * size - 0.5 * OUTLIER**2, 0.5 * size**2), axis=1)
        now = now + 0.5 * np.sum(belief * place**2, axis=1)
        better = now < loss
        loss, kept = np.where(better, now, loss), np.where(better[:, None], place, kept)
        weighted = rows * np.minimum(1.0, OUTLIER / np.maximum(size, OUTLIER))[..., None]
        bend = np.swapaxes(weighted, 1, 2) @ rows + np.diag(belief)
        damping = np.where(better, damping * 0.2, damping * 8.0)
        stiff = bend * (1.0 + damping[:, None, None] * np.eye(belief.size))
        push = (np.swapaxes(weighted, 1, 2) @ miss[..., None])[..., 0] - belief * place
        found = np.linalg.solve(stiff, push[..., None])[..., 0]
        step = np.where(better[:, None], found, step * 0.25)
        place = kept + step
    level, slopes, _ = _model(frequency_hz, parts, kept)
    rows = root @ slopes
    bend = np.swapaxes(rows, 1, 2) @ rows + np.diag(belief)
    doubt = np.sqrt(np.diagonal(np.linalg.inv(bend), axis1=1, axis2=2))
    # How large the noise is is not known but by a guess: integrated out, a normal becomes Student's t.
    freedom = SURE_OF_NOISE + heard.level_db.size
    cost = 0.5 * freedom * np.log1p(2.0 * loss / SURE_OF_NOISE)
    cost += 0.5 * np.linalg.slogdet(bend)[1] - np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
    scale = np.append(np.repeat([DRIVER_DELAY_S, DRIVER_GAIN_DB], free), 1.0)
    moved, doubt = kept * scale, doubt * scale
    return SoundFits(
        delay_s=moved[:, :free],
        gain_db=moved[:, free:-1],
        delay_doubt_s=doubt[:, :free],
        gain_doubt_db=doubt[:, free:-1],
        level_db=level,
        difference_db=heard.level_db - level,
        sigma_db=np.sqrt(spread + heard.sigma_db**2 + MICROPHONE_DB**2),
        cost=cost,
        square=2.0 * loss,
    )


def _model(frequency_hz: Float, parts: Complex, place: Float) -> tuple[Float, Float, Float]:
    """(k, b) levels, their slopes (k, b, p), and the variance (k, b) that comes of the drivers' own ripple."""
    free = parts.shape[1] - 1
    late, louder = place[:, :free, None, None] * DRIVER_DELAY_S, place[:, free:-1, None, None] * DRIVER_GAIN_DB
    each = parts.copy()
    each[:, 1:] *= np.exp(-2j * np.pi * frequency_hz * late + louder / NEPER_DB)
    total = each.sum(axis=1)
    power = np.mean(np.abs(total) ** 2, axis=-1)
    beside = np.mean(np.abs(each) ** 2, axis=-1)
    # What lies far below the highest is noise in any record.
    highest = np.mean(np.abs(parts) ** 2, axis=-1).max(axis=(1, 2))[:, None]
    power = power + highest * 10.0 ** (-RECORD_REACH_DB / 10.0) + 1e-30
    share = np.conj(total)[:, None] * each[:, 1:]
    by_gain = np.mean(share.real, axis=-1) / power[:, None]
    by_delay = np.mean(2.0 * np.pi * frequency_hz * share.imag, axis=-1) / power[:, None]
    slopes = np.concatenate(
        [
            np.swapaxes(by_delay, 1, 2) * NEPER_DB * DRIVER_DELAY_S,
            np.swapaxes(by_gain, 1, 2) * DRIVER_GAIN_DB,
            np.ones((*power.shape, 1)),
        ],
        axis=-1,
    )
    # With several drivers at work each has ripple of its own, and what is left of their sum has it all.
    ripple = DRIVER_RIPPLE_DB**2 * beside.sum(axis=1) / power
    return 10.0 * np.log10(power) + place[:, -1:], slopes, ripple


def covers(heard: Heard, ripple: Float) -> Float:
    """(k, b, b) covariance of the bands: noise of each, ripple, and the smooth error of a microphone."""
    octaves = np.log2(heard.centre_hz)
    near = (octaves[:, None] - octaves[None, :]) / MICROPHONE_OCTAVES
    smooth = MICROPHONE_DB**2 * np.exp(-0.5 * near**2)
    own = (ripple + heard.sigma_db**2)[..., None] * np.eye(octaves.size)
    return np.asarray(smooth + own)


def sound_apart(one: Float, others: Float, sigma_db: Float) -> Float:
    """(k,) chi-square between one state's levels (b,) and others' (k, b), their mean levels matched."""
    miss = one[None, :] - others
    miss = miss - miss.mean(axis=1, keepdims=True)
    return np.asarray(np.sum((miss / sigma_db) ** 2, axis=1))


def matched(heard: Heard, level_db: Float) -> tuple[Float, float]:
    """(b,) heard less a level as it is, and the difference of levels that was taken off: the median first."""
    raw = heard.level_db - level_db
    offset = float(np.median(raw))
    for _ in range(5):
        weight = np.minimum(1.0, OUTLIER / np.maximum(np.abs((raw - offset) / heard.sigma_db), OUTLIER))
        offset = float(np.sum(weight * raw) / np.sum(weight))
    return raw - offset, offset


def plain_level_db(parts: Complex) -> Float:
    """(k, b) level of the sum as the records have it."""
    power = np.mean(np.abs(parts.sum(axis=1)) ** 2, axis=-1)
    return np.asarray(10.0 * np.log10(power + 1e-30))
