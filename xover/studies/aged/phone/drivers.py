"""Of single drivers: which way round they are, whether four columns fit each other, how loud one is against another."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np

from xover.acoustic.bands import Levels, difference, levels_of, mean_cosine, middle_hz, repeat_db, sums_differ
from xover.acoustic.crossover import CrossoverReading, read_crossovers
from xover.acoustic.level import band_level_db, level_db, points_in_bands
from xover.acoustic.summing import Branch, sum_branches
from xover.acoustic.time import SPEED_OF_SOUND_M_S, delay_factor
from xover.curve import Float
from xover.errors import InputError
from xover.files.band_levels import BandTable, Word
from xover.rules.bands import PLAYS_WITHIN_DB
from xover.rules.instruments import RESPONSE_SPREADS
from xover.rules.phone import (
    ANY_BALANCE_DB,
    BALANCE_HZ,
    HEARD_HZ,
    KNOWN_BALANCE_DB,
    MANY_SHARE,
    NOMINAL_HZ,
    SHALLOW_DB,
    SIGN_DB,
    SURE_SIGMAS,
    USUAL_M,
)
from xover.sound.doubt import unready
from xover.sound.prediction import RESPONSE_DISTANCE_M, Sound, sound_of
from xover.speaker import Speaker
from xover.studies.aged.phone.result import Balance, Polarity, Slip, Sums, Why, Wired

_AROUND_OCTAVES: Final = 0.5
"""A reversed null is looked for this far from where two drivers meet."""
_AWAY_M: Final = re.compile(r"(?<![\w.,])([0-9]++(?:[.,][0-9]++)?) ?(mm|cm|m)\b")
_METRE: Final = {"mm": 1e-3, "cm": 1e-2, "m": 1.0}


def phone_places_m(place: str, branches: Sequence[Branch]) -> Float:
    """(k, 3) where the phone may have stood: right, up, forward of the foot of the design axis; none without positions.

    By its place in words, such as "0.5 m, tweeter axis", give or take a tenth of the distance and 3 cm of height. What
    is not said is any usual distance, and the height of any driver or of the design axis.
    """
    if any(b.position_mm is None for b in branches):
        return np.empty((0, 3))
    told = _AWAY_M.search(place.lower())
    away = float(told[1].replace(",", ".")) * _METRE[told[2]] if told else 0.0
    distances = away * np.array([1.0, 0.9, 1.1]) if away > 0.0 else np.array(USUAL_M)
    feet = {b.group: np.array(b.position_mm) / 1000.0 for b in branches}
    named = [foot for name, foot in feet.items() if name.lower() in place.lower()]
    heights = [f + np.array([0.0, by, 0.0]) for f in named for by in (0.0, -0.03, 0.03)] or [
        np.zeros(3),
        *feet.values(),
    ]
    return np.array([[foot[0], foot[1], d] for foot in heights for d in distances])


def heard_at(frequency_hz: Float, branch: Branch, place_m: Float) -> Branch:
    """A branch as it sounds at a place instead of 1 m on the design axis: its way there, and 1/r."""
    foot = np.array(branch.position_mm) / 1000.0
    before, now = np.linalg.norm([0.0, 0.0, RESPONSE_DISTANCE_M] - foot), np.linalg.norm(place_m - foot)
    factor = before / now * delay_factor(frequency_hz, (now - before) / SPEED_OF_SOUND_M_S)
    held = branch.bounded
    moved = None if held is None else (held[0] * factor, held[1] * np.abs(factor))
    return replace(branch, pressure=branch.pressure * factor, bounded=moved)


def read_polarity(speaker: Speaker, table: BandTable, column: str, network: str) -> tuple[Polarity, ...]:
    """Normal less reversed at each crossover, held against what the folder says of any place the phone may have had.

    Of more than two drivers only where the one that was turned meets another. Raises InputError: it is not there.
    """
    names, f = _points(table)
    sound = sound_of(speaker, network, f)
    turned = _turned(sound, table)
    flip = np.array([-1.0 if b.key in turned else 1.0 for b in sound.branches])
    said = []
    told = sound.total.coherent and not unready(speaker, sound.network.driver_names)
    for place in phone_places_m(table.place, sound.branches) if told else ():
        heard = [heard_at(f, b, place) for b in sound.branches]
        other = [
            replace(b, pressure=by * b.pressure, bounded=b.bounded and (by * b.bounded[0], b.bounded[1]))
            for b, by in zip(heard, flip, strict=True)
        ]
        both = [_in_bands(sum_branches(f, these, coherent=True).level_db, names, table) for these in (heard, other)]
        said.append(both[0] - both[1])
    found = difference(levels_of(table, column), levels_of(table, Word.REVERSED), repeat_db(table))
    crossovers = read_crossovers(f, sound.branches, sound.total.coherent)
    places = np.array(said) if said else np.full((1, table.band_hz.size), np.nan)
    met = [c for c in crossovers if c.frequency_hz is not None]
    met = [c for c in met if not turned or 0 < len(turned.intersection(c.lower + c.upper)) < len(c.lower + c.upper)]
    read = tuple(_polarity(network, c, table.band_hz, found, places) for c in met)
    if turned:
        return read
    return tuple(p if p.why is Why.NOT_READ else replace(p, wired=Wired.CANNOT_TELL, why=Why.WHICH) for p in read)


def _turned(sound: Sound, table: BandTable) -> set[str]:
    """Keys of the driver that was turned; of two either stands for both, of more none where it is not said."""
    by_driver: dict[str, set[str]] = {}
    for card in sound.network.drivers:
        by_driver.setdefault(card.driver, set()).add(card.key)
    if table.turned and table.turned not in by_driver:
        raise InputError(
            f"says that '{table.turned[:40]}' was reversed, which is no driver of this network",
            f"name one of {', '.join(sorted(by_driver))}",
            Path(table.source),
        )
    return by_driver[table.turned] if table.turned else next(iter(by_driver.values())) if len(by_driver) == 2 else set()


def _polarity(network: str, at: CrossoverReading, band_hz: Float, found: Levels, said: Float) -> Polarity:
    """`said` (k, n) : for each place."""
    corner = float(at.frequency_hz or math.nan)
    read = np.isfinite(found.level_db)
    near = np.flatnonzero((np.abs(np.log2(middle_hz(band_hz) / corner)) <= _AROUND_OCTAVES) & read)
    nan = math.nan
    if not near.size:
        return Polarity(network, at.lower, at.upper, corner, nan, nan, nan, Wired.CANNOT_TELL, Why.NOT_READ)
    alike = (np.sign(said) == np.sign(said[0])).all(axis=0)
    sure = np.where(alike, np.abs(said).min(axis=0), np.where(np.isfinite(said).all(axis=0), 0.0, nan))
    told = near[np.isfinite(sure[near])]
    row = int(told[np.argmax(sure[told])]) if told.size else int(near[np.argmax(np.abs(found.level_db[near]))])
    measured, within, predicted = float(found.level_db[row]), float(found.within_db[row]), float(said[0, row])
    why = None
    if not told.size:
        why = Why.UNTIMED
    elif sure[row] < SHALLOW_DB:
        why = Why.SHALLOW
    elif abs(measured) < max(SIGN_DB, within):
        why = Why.FILLED
    wired = Wired.CANNOT_TELL if why else Wired.AS_DRAWN if measured * predicted > 0 else Wired.TURNED
    return Polarity(network, at.lower, at.upper, float(band_hz[row]), measured, within, predicted, wired, why)


def read_sums(speaker: Speaker, table: BandTable, column: str, network: str, drivers: Mapping[str, str]) -> Sums | None:
    """The four columns of a network of two drivers; None where one is missing, or it has more."""
    names = speaker.network(network).driver_names
    by_driver = {driver: c for c, driver in drivers.items()}
    if len(names) != 2 or not set(names) <= set(by_driver):
        return None
    low, high = (by_driver[n] for n in names)
    four = [levels_of(table, c) for c in (column, Word.REVERSED, low, high)]
    found = sums_differ(four[0], four[1], four[2], four[3], repeat_db(table))
    known = np.isfinite(found.level_db)
    out = np.flatnonzero(known & (np.abs(np.nan_to_num(found.level_db)) > SURE_SIGMAS * found.doubt_db))
    columns = column, Word.REVERSED, low, high
    within = found.within_db
    mistyped = tuple(
        Slip(int(table.line[i]), float(table.band_hz[i]), columns, float(found.level_db[i]), float(within[i]))
        for i in out
    )
    cosine = mean_cosine(four[0].level_db, four[1].level_db, four[2].level_db, four[3].level_db)
    many = len(mistyped) > max(1.0, MANY_SHARE * np.count_nonzero(known))
    return Sums(network, columns, found.level_db, found.within_db, cosine, mistyped, many)


def read_balance(speaker: Speaker, table: BandTable, network: str, drivers: Mapping[str, str]) -> tuple[Balance, ...]:
    """Each driver's level against the first, each where it plays loudest in this network."""
    names = speaker.network(network).driver_names
    read = [(driver, column) for column, driver in drivers.items() if driver in names]
    if len(read) < 2:
        return ()
    bands, f = _points(table)
    sound = sound_of(speaker, network, f)
    heard = all(
        speaker.drivers[n].has_response and speaker.drivers[n].response_instrument in RESPONSE_SPREADS for n in names
    )
    places = phone_places_m(table.place, sound.branches) if heard else np.empty((0, 3))
    said = {n: np.stack([_in_bands(row, bands, table) for row in _alone_db(sound, n, heard, places)]) for n in names}
    even = levels_of(table, Word.KNOWN).level_db if Word.KNOWN in table.columns else np.zeros(table.band_hz.shape)
    most = np.max(np.stack([np.nan_to_num(s[0], nan=-np.inf) for s in said.values()]), axis=0)
    inside = (table.band_hz >= BALANCE_HZ[0]) & (table.band_hz <= BALANCE_HZ[1])
    means: list[tuple[str, float, Float]] = []
    for driver, column in read:
        own, level = said[driver], levels_of(table, column).level_db - even
        rows = inside & np.isfinite(level) & np.isfinite(own).all(axis=0) & (own[0] == most)
        rows &= own[0] >= (own[0, rows].max() if rows.any() else 0.0) - PLAYS_WITHIN_DB
        if rows.any():
            means.append((driver, float(level[rows].mean()), own[:, rows].mean(axis=1)))
    within = KNOWN_BALANCE_DB if Word.KNOWN in table.columns else ANY_BALANCE_DB
    found = []
    for driver, mean, at_places in means[1:]:
        louder, expected = mean - means[0][1], at_places - means[0][2]
        spread = float(np.ptp(expected)) / 2.0
        over = louder - float(expected.min()) - spread if heard else math.nan
        found.append(Balance(driver, means[0][0], louder, over, within + spread))
    return tuple(found)


def _points(table: BandTable) -> tuple[list[float], Float]:
    """Bands from a table's lowest to its highest, within hearing, and (m,) frequencies of them."""
    low, high = (float(hz) for hz in table.band_hz[[0, -1]])
    names = [hz for hz in NOMINAL_HZ if max(low, HEARD_HZ[0]) <= hz <= min(high, HEARD_HZ[1])] or [1000.0]
    return names, points_in_bands(middle_hz(names), 3).reshape(-1)


def _in_bands(level: Float, names: list[float], table: BandTable) -> Float:
    """(n,) levels (m,) on `_points` in the bands of a table; NaN beyond them."""
    known = dict(zip(names, band_level_db(level.reshape(len(names), -1)), strict=True))
    return np.array([known.get(float(hz), math.nan) for hz in table.band_hz])


def _alone_db(sound: Sound, driver: str, heard: bool, places_m: Float) -> list[Float]:
    """(m,) a driver by itself at each place, or on the axis; its drive where nothing is known of its sound."""
    cards = [c.key for c in sound.network.drivers if c.driver == driver]
    if not heard:
        return [level_db(np.sum([sound.solution.drive[key] for key in cards], axis=0))]
    f, own = sound.solution.frequency_hz, [b for b in sound.branches if b.key in cards]
    at = [[heard_at(f, b, place) for b in own] for place in places_m] or [own]
    return [level_db(np.sum([b.pressure for b in branches], axis=0)) for branches in at]
