"""The speaker's sound as it was measured, and its drivers as they sound, in third octaves.

Details narrower than a third of an octave are those of the room, so levels are averaged over third octaves.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.acoustic.level import band_level_db, level_db, points_in_bands, whole_bands
from xover.curve import Complex, Curve, Float
from xover.errors import InputError, OptionError, named
from xover.network import Network, solve
from xover.quantity import hertz
from xover.rules.likeness import ANALYSER_SIGMA_DB, RESPONSE_SIGMA_DB
from xover.sound.prediction import card_response
from xover.speaker import Speaker

FEWEST_BANDS: Final = 4
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
    driver : the driver on each card, by key. impedance_ohm : (b * 8,) on each card.
    """

    frequency_hz: Float
    pressure: Mapping[str, Complex]
    driver: Mapping[str, str]
    impedance_ohm: Mapping[str, Complex]

    @property
    def names(self) -> tuple[str, ...]:
        """The drivers, each once, in the order of the netlist."""
        return tuple(dict.fromkeys(self.driver.values()))

    def parts(self, drive: Mapping[str, Complex], reversed_keys: Sequence[str | None]) -> Complex:
        """(k, d, b, 8) sound of each driver for drives (k, b * 8), one card's wires swapped where it is named."""
        names = self.names
        found = np.zeros((len(reversed_keys), len(names), *self.frequency_hz.shape), dtype=complex)
        for key, pressure in self.pressure.items():
            sign = np.array([-1.0 if key == turned else 1.0 for turned in reversed_keys])[:, None, None]
            whole = drive[key].reshape(-1, *self.frequency_hz.shape)
            found[:, names.index(self.driver[key])] += sign * np.where(np.isfinite(whole), whole, 0.0) * pressure
        return found


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
    return Voices(points, pressure, {c.key: c.driver for c in network.drivers}, ohm)


def known_sum_hz(speaker: Speaker, network: Network, frequency_hz: Float) -> Float:
    """The frequencies among (n,) at which the network's sum is known."""
    from xover.sound.sums import sum_level_db

    solution = solve(network, frequency_hz, speaker.impedances_ohm(network, frequency_hz))
    return frequency_hz[np.isfinite(sum_level_db(speaker, network, solution))]
