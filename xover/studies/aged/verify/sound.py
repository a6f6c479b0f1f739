"""The speaker's measured sound against what states of its network would sound like, in third octaves.

A microphone in a room tells the shape of a response, not its level, and details narrower than a third of an octave
only of that room. So levels are averaged over third octaves, and each state may have the level that suits it best.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.acoustic.level import band_level_db, level_db, points_in_bands, whole_bands
from xover.curve import Complex, Curve, Float
from xover.errors import InputError, OptionError, named
from xover.explain.fault_fit import OUTLIER
from xover.explain.terminals import NOMINAL, State, Terminals
from xover.network import Network, solve
from xover.quantity import hertz
from xover.rules.likeness import ANALYSER_SIGMA_DB, RESPONSE_SIGMA_DB
from xover.sound.prediction import card_response
from xover.speaker import Speaker

FEWEST_BANDS: Final = 4
SILENCE_DB: Final = -200.0
"""A dead speaker has a level that can be told apart from any other."""
NEAREST: Final = 0.06
"""A row of third-octave levels belongs to a band whose centre lies within 6 % of it."""


@dataclass(frozen=True, eq=False)
class Heard:
    """What the microphone said.

    Attributes
    ----------
    centre_hz : (b,) exact centres of the third octaves in which it counts. level_db : (b,). sigma_db : of each.
    """

    centre_hz: Float
    level_db: Float
    sigma_db: float


@dataclass(frozen=True, eq=False)
class Voices:
    """The drivers as they sound: what turns drives into a sum.

    Attributes
    ----------
    frequency_hz : (b, 8) points in each band. pressure : (b, 8) of each card, at 1 m for 2.83 V at itself, by key.
    impedance_ohm : (b * 8,) on each card.
    """

    frequency_hz: Float
    pressure: Mapping[str, Complex]
    impedance_ohm: Mapping[str, Complex]

    def level_db(self, drive: Mapping[str, Complex], reversed_keys: Sequence[str | None]) -> Float:
        """(k, b) level of the sum in each band for drives (k, b * 8), one card's wires swapped where it is named."""
        total = np.zeros((len(reversed_keys), *self.frequency_hz.shape), dtype=complex)
        for key, pressure in self.pressure.items():
            sign = np.array([-1.0 if key == turned else 1.0 for turned in reversed_keys])[:, None, None]
            whole = drive[key].reshape(total.shape)
            total += sign * np.where(np.isfinite(whole), whole, 0.0) * pressure
        return band_level_db(np.maximum(level_db(total), SILENCE_DB))


@dataclass(frozen=True, eq=False)
class Likeness:
    """How states of the network sound against what was heard.

    Attributes
    ----------
    difference_db : (k, b) heard less predicted, each state's best level taken off. offset_db : (k,) that level.
    cost : (k,) minus the logarithm of the probability, up to a constant. misfit : (k,) rms over sigma, cut at 3.
    """

    difference_db: Float
    offset_db: Float
    cost: Float
    misfit: Float


def unknown_sum(speaker: Speaker, network: Network) -> str | None:
    """Why there is no one sum to hold a response against, or None where there is."""
    known, reason = speaker.timing_is_known(network)
    silent = [c.key for c in network.drivers if not speaker.drivers[c.driver].has_response]
    if silent:
        return f"nothing is known of the sound of {', '.join(silent)}"
    return None if known else reason


def hear(
    curve: Curve, third_octaves: bool, sigma_db: float | None, band_hz: tuple[float, float], known_hz: Float
) -> Heard:
    """Average a measured response over third octaves, or take it as the averages that it is.

    Parameters
    ----------
    third_octaves : the table holds a level for each third octave.
    known_hz : frequencies at which a sum is predicted.

    Raises
    ------
    OptionError : fewer than four bands remain. InputError : third octaves were promised and are not there.
    """
    low = max(band_hz[0], float(known_hz.min(initial=np.inf)))
    high = min(band_hz[1], float(known_hz.max(initial=0.0)))
    centres = whole_bands(low, high, 3) if low < high else np.zeros(0)
    if third_octaves:
        level = _rows_of(curve, centres)
    else:
        points = points_in_bands(centres, 3)
        level = band_level_db(level_db(curve.at(points.reshape(-1))).reshape(points.shape))
    there = np.isfinite(level)
    if np.count_nonzero(there) < FEWEST_BANDS:
        raise OptionError(
            f"the response tells only {np.count_nonzero(there)} third octaves between {hertz(band_hz[0])} and "
            f"{hertz(band_hz[1])} at which the sum is predicted",
            f"measure {FEWEST_BANDS} or more there, or widen {named('response_band_hz')}",
        )
    usual = ANALYSER_SIGMA_DB if third_octaves else RESPONSE_SIGMA_DB
    return Heard(centres[there], level[there], usual if sigma_db is None else sigma_db)


def _rows_of(curve: Curve, centres: Float) -> Float:
    steps = np.diff(np.log2(curve.frequency_hz))
    if np.median(steps) < 0.2:
        raise InputError(
            "holds more than one row for each third octave",
            "give it as a response of rows: they are averaged anyway",
            curve.source or None,
        )
    nearest = np.argmin(np.abs(np.log(curve.frequency_hz[None, :] / centres[:, None])), axis=1)
    near = np.abs(np.log(curve.frequency_hz[nearest] / centres)) < np.log1p(NEAREST)
    return np.where(near, curve.level_db[nearest], np.nan)


def make_voices(speaker: Speaker, network: Network, centres_hz: Float) -> Voices:
    """The drivers of a network at the points of third-octave bands; silence where one is not known."""
    points = points_in_bands(centres_hz, 3)
    flat = points.reshape(-1)
    pressure, ohm = {}, {}
    for card in network.drivers:
        response = card_response(speaker, card, flat)
        pressure[card.key] = np.where(np.isfinite(response), response, 0.0).reshape(points.shape)
        ohm[card.key] = speaker.drivers[card.driver].impedance_ohm(flat)
    return Voices(points, pressure, ohm)


def compare_sound(heard: Heard, level: Float) -> Likeness:
    """Hold predicted levels (k, b) against what was heard."""
    raw = heard.level_db - level
    # The median first, so that a null in one band does not lift all others.
    offset = np.median(raw, axis=1)
    for _ in range(5):
        miss = (raw - offset[:, None]) / heard.sigma_db
        weight = np.minimum(1.0, OUTLIER / np.maximum(np.abs(miss), OUTLIER))
        offset = np.sum(weight * raw, axis=1) / np.sum(weight, axis=1)
    difference = raw - offset[:, None]
    size = np.abs(difference) / heard.sigma_db
    cost = np.sum(np.where(size > OUTLIER, OUTLIER * size - 0.5 * OUTLIER**2, 0.5 * size**2), axis=1)
    misfit = np.sqrt(np.mean(np.minimum(size, OUTLIER) ** 2, axis=1))
    return Likeness(difference, offset, cost, misfit)


def sound_apart(one: Float, others: Float, sigma_db: float) -> Float:
    """(k,) chi-square between one state's levels (b,) and others' (k, b), their mean levels matched."""
    miss = one[None, :] - others
    miss = miss - miss.mean(axis=1, keepdims=True)
    return np.asarray(np.sum((miss / sigma_db) ** 2, axis=1))


def sound_band_db(terminals: Terminals, voices: Voices, heard: Heard) -> Float:
    """(b,) two standard deviations of the level-matched difference: every knob within its spread, and the noise."""
    spread = terminals.spreads([NOMINAL])[0]
    turned = np.concatenate([np.zeros((1, spread.size)), np.diag(spread)])
    states: list[State] = [NOMINAL] * turned.shape[0]
    drive = terminals.drive(states, turned, voices.frequency_hz.reshape(-1), voices.impedance_ohm)
    level = voices.level_db(drive, [None] * len(states))
    change = level[1:] - level[:1]
    change = change - change.mean(axis=1, keepdims=True)
    return np.asarray(2.0 * np.sqrt(np.sum(change**2, axis=0) + heard.sigma_db**2))


def known_sum_hz(speaker: Speaker, network: Network, frequency_hz: Float) -> Float:
    """The frequencies among (n,) at which the network's sum is known."""
    from xover.sound.sums import sum_level_db

    solution = solve(network, frequency_hz, speaker.impedances_ohm(network, frequency_hz))
    return frequency_hz[np.isfinite(sum_level_db(speaker, network, solution))]
