"""How far has age moved it: the network found today against the original, part by part and in dB."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from xover.acoustic.crossover import CrossoverReading, read_crossovers
from xover.amplifier.load import LoadReading
from xover.curve import Complex, Float
from xover.errors import OptionError, named
from xover.network import Network
from xover.network.alike import named_like
from xover.plain import fields_of
from xover.readable import Readable, Warned
from xover.rules.audibility import HARD_DB, audibility
from xover.rules.bands import CHANGES_HZ, COUNTS_WITHIN_DB, LEAST_KNOWN_OF_CHANGE
from xover.rules.margins import ROUNDING
from xover.sound.change import Rows, Worst, band_rows, change_db, difference_db, largest, near_highest, size_of
from xover.sound.load import channel_load
from xover.sound.pairing import drives_like
from xover.sound.prediction import Sound, sound_of, sound_of_network
from xover.sound.sums import listener
from xover.speaker import Speaker
from xover.studies.aged.condition.blame import Blame, LookedAt, Pair, clashing_names, find_blame
from xover.studies.aged.condition.envelope import DriftEnvelope, drift_envelope
from xover.studies.aged.condition.parts import PartCondition, compare_parts, same_wiring
from xover.studies.aged.condition.words import (
    assumed_conclusion,
    assumed_sentence,
    condition_warnings,
    effect,
    found_conclusion,
    found_sentence,
    rank_parts,
    said_change,
)


@dataclass(frozen=True, eq=False, repr=False)
class LoadThenNow(Readable):
    """The load of one channel, original and found; `now` is None where nothing was measured."""

    channel: str
    then: LoadReading
    now: LoadReading | None


@dataclass(frozen=True)
class CrossoverThenNow:
    """One acoustic crossover, original and found; `now` is None where nothing was measured."""

    then: CrossoverReading
    now: CrossoverReading | None


@dataclass(frozen=True, eq=False, repr=False)
class ConditionStudy(Warned):
    """What age has done to a network.

    Attributes
    ----------
    original, found : names of the two networks; `found` is None where drift is assumed.
    band_hz : where the largest changes are looked for.
    parts : as marked and as found.
    drive_difference_db, drive_difference_deg : (n,) found less original by driver's key; NaN where not known.
    total_difference_db : (n,) the same of the sum. coherent : it is one; else the highest that any timing allows.
    drive_worst, total_worst : the largest in the band; of a drive, where it lies within 20 dB of its highest.
    near : (n,) where a drive lies within 20 dB of its highest, in either network, by key.
    loads, crossovers : then and now.
    blame : which part did it; None where it was not worked out, and `blame_reason` says why.
    envelope : what assumed drift could have done; None where a found network was given.
    limit_db : how far a drive or the sum may change. limits_broken : sentences, one for each that does.
    """

    title: str
    original: str
    found: str | None
    frequency_hz: Float
    band_hz: tuple[float, float]
    parts: tuple[PartCondition, ...]
    wiring: tuple[str, ...]
    drive_difference_db: Mapping[str, Float]
    drive_difference_deg: Mapping[str, Float]
    total_difference_db: Float
    coherent: bool
    drive_worst: Mapping[str, Worst]
    total_worst: Worst
    near: Mapping[str, Rows] = field(repr=False)
    loads: tuple[LoadThenNow, ...]
    crossovers: tuple[CrossoverThenNow, ...]
    blame: Blame | None
    blame_reason: str
    envelope: DriftEnvelope | None
    limit_db: float
    limits_broken: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def of_sum(self) -> str:
        """What the sum is."""
        return of_sum(self.coherent)

    @property
    def sum_word(self) -> str:
        """The same in a word or two."""
        return "sum" if self.coherent else "highest sum"

    @property
    def within_limit(self) -> bool:
        """Whether the limit holds."""
        return not self.limits_broken

    @property
    def evidence(self) -> str:
        """What the changes rest on."""
        return "assumed" if self.found is None else "measured"

    @property
    def ranked(self) -> tuple[PartCondition, ...]:
        """The parts, most to blame first; those that have not changed last."""
        return rank_parts(self.parts, self.blame, self.envelope)

    @property
    def sentences(self) -> tuple[str, ...]:
        """What each part does and whether to leave it, most to blame first."""
        of_sum = self.sum_word
        if self.envelope is not None:
            return tuple(assumed_sentence(part, self.envelope, of_sum) for part in self.ranked)
        said = [found_sentence(part, self.blame, of_sum) for part in self.ranked]
        if self.blame is not None:
            names = [part.name.lower() for part in self.parts]
            said += [
                f"{p.name}: its coupling has changed: {effect(p, self.blame.together, of_sum)}"
                for p in self.blame.parts
                if p.name.lower() not in names
            ]
        return tuple(said)

    @property
    def conclusion(self) -> str:
        """All parts together, in one sentence."""
        if self.envelope is not None:
            return assumed_conclusion(self.envelope, self.of_sum)
        changed = bool(self.wiring) or any(part.changed for part in self.parts)
        return found_conclusion(self.total_worst, self.drive_worst, self.of_sum, changed)

    def plain(self) -> dict[str, Any]:
        """Its fields, what is told of the band in a summary; null where a part or a figure is missing."""
        told = ("band_hz", "drive_worst", "conclusion", "sentences", "crossovers", "limit_db", "limits_broken")
        left = dict.fromkeys((*told, "coherent", "near", "total_worst", "loads"))
        return fields_of(self, total_difference_db="sum_difference_db", **left) | {
            "evidence": self.evidence,
            "sum_is": self.of_sum,
            "summary": {name: getattr(self, name) for name in told}
            | {
                "drives_within_db": COUNTS_WITHIN_DB,
                "sum_worst": self.total_worst,
                "audibility": audibility(self.total_worst.change),
                "load": {load.channel: _plain_load(load) for load in self.loads},
            },
        }


def study_condition(
    speaker: Speaker,
    frequency_hz: Float,
    *,
    found: str | None = None,
    original: str | None = None,
    assume: bool = False,
    limit_db: float = HARD_DB,
) -> ConditionStudy:
    """Hold the network found today against the original; without one, what typical drift could have done to it.

    Parameters
    ----------
    frequency_hz : (n,) rising.
    found, original : names of the networks; by default `found` and `original`, or the only one there is as original.
    assume : look at typical drift of the original, whatever was found.
    limit_db : how far a drive or the sum may change in the band.

    Raises
    ------
    InputError, OptionError, NoSolutionError.
    """
    marked, measured = choose_networks(speaker, found, original, assume)
    design = speaker.network(marked)
    if measured is not None:
        design = named_like(design, speaker.network(measured))
    then = sound_of_network(speaker, design, frequency_hz)
    now = None if measured is None else sound_of(speaker, measured, frequency_hz)
    sounds = (then,) if now is None else (then, now)
    coherent = all(sound.total.coherent for sound in sounds)
    parts = compare_parts(then.network, None if now is None else now.network)
    band, inside = _band(frequency_hz)
    drives = [then.solution.drive]
    if now is not None:
        drives.append(drives_like(then.network, drives[0], now.network, now.solution.drive))
    near = {key: near_highest(*(d[key] for d in drives)) for key in drives[0] if key in drives[-1]}
    heard = {key: rows & inside for key, rows in near.items()}
    unknown = np.full(frequency_hz.shape, np.nan)
    change = dict.fromkeys(drives[0], unknown)
    turn, total, wiring = dict(change), unknown, tuple[str, ...]()
    envelope, blame, reason = None, None, ""
    ohm = speaker.impedances_ohm(then.network, frequency_hz)
    at = LookedAt(then.network, frequency_hz, ohm, listener(speaker, then, coherent), heard, inside)
    if now is None:
        envelope = drift_envelope(at, apart=then.solution.by_section)
        reason = "nothing was measured"
    else:
        change = {key: change_db(drives[0][key], drives[1][key]) for key in heard}
        turn = {key: _turn_deg(drives[1][key], drives[0][key]) for key in heard}
        total = difference_db(_level_db(then, coherent), _level_db(now, coherent))
        thin = 0 < np.isfinite(total[inside]).mean() < LEAST_KNOWN_OF_CHANGE
        total = unknown if thin else total
        wiring = same_wiring(then.network, now.network)
        pairs = _changed_pairs(then.network, now.network, parts)
        reason = _no_blame(then.network, wiring, pairs) or (_THIN if thin else "")
        if not reason:
            blame = find_blame(at, pairs)
    drive_worst = {} if now is None else {key: largest(frequency_hz, change[key], heard[key]) for key in heard}
    total_worst = largest(frequency_hz, total, inside)
    return ConditionStudy(
        title=speaker.title,
        original=marked,
        found=measured,
        frequency_hz=frequency_hz,
        band_hz=band,
        parts=parts,
        wiring=wiring,
        drive_difference_db=change,
        drive_difference_deg=turn,
        total_difference_db=total,
        coherent=coherent,
        drive_worst=drive_worst,
        total_worst=total_worst,
        near=near,
        loads=_loads(speaker, sounds, frequency_hz),
        crossovers=_crossovers(sounds, frequency_hz, coherent),
        blame=blame,
        blame_reason=reason,
        envelope=envelope,
        limit_db=limit_db,
        limits_broken=_broken(limit_db, of_sum(coherent), drive_worst, total_worst, envelope),
        warnings=condition_warnings(speaker, sounds, (marked, measured or ""), parts, coherent),
    )


def of_sum(coherent: bool) -> str:
    """What the sum of drives is."""
    return "sum" if coherent else "highest sum that any timing allows"


def choose_networks(speaker: Speaker, found: str | None, original: str | None, assume: bool) -> tuple[str, str | None]:
    """Names of the original network and of the found one, None where drift is to be assumed.

    Raises
    ------
    OptionError : the options contradict each other, or nothing says which network is the original.
    InputError : there is no network.
    """
    if assume and found is not None:
        raise OptionError(f"{named('found')} and {named('assume')} contradict each other", "leave one of them out")
    names = speaker.network_names
    if original is None:
        speaker.default_network()  # refuses a speaker without any
        if "original" in names:
            original = "original"
        elif len(names) == 1:
            original = names[0]
        else:
            raise OptionError(
                f"{speaker.file.path} has no network 'original'",
                f"name the one with the values as marked by {named('original')}, of {', '.join(names)}",
            )
    if not assume and found is None and "found" in names and original != "found":
        found = "found"
    if found == original:
        both = f"{named('found')} and {named('original')} are both '{found}'"
        raise OptionError(both, f"name two networks, or use {named('assume')}")
    return original, found


def _band(frequency_hz: Float) -> tuple[tuple[float, float], Rows]:
    """The band in which the largest changes are looked for: as much as the grid has of it, or all of the grid."""
    low, high = float(frequency_hz[0]), float(frequency_hz[-1])
    band = max(low, CHANGES_HZ[0]), min(high, CHANGES_HZ[1])
    inside = band_rows(frequency_hz, band)
    return (band, inside) if inside.any() else ((low, high), np.ones(frequency_hz.shape, dtype=bool))


def _level_db(sound: Sound, coherent: bool) -> Float:
    return sound.total.level_db if coherent else sound.total.best_level_db


def _turn_deg(now: Complex, then: Complex) -> Float:
    """Change of phase, -180..180 degrees; NaN where a drive is zero or not known."""
    known = np.isfinite(now) & np.isfinite(then) & (now != 0) & (then != 0)
    turn = np.where(known, np.degrees(np.angle(now) - np.angle(then)), np.nan)
    return np.asarray((turn + 180.0) % 360.0 - 180.0, dtype=float)


def _changed_pairs(then: Network, now: Network, parts: Sequence[PartCondition]) -> list[Pair]:
    pairs: list[Pair] = [
        (p.original, p.found) for p in parts if p.changed and p.original is not None and p.found is not None
    ]
    today = {c.name.lower(): c for c in now.couplings}
    couplings = ((c, today[c.name.lower()]) for c in then.couplings if c.name.lower() in today)
    return pairs + [pair for pair in couplings if not math.isclose(pair[0].k, pair[1].k, rel_tol=ROUNDING)]


_THIN = (
    "the sum is known in less than half of the band: what each part does to it is not; sweep each driver over all of it"
)


def _no_blame(network: Network, wiring: tuple[str, ...], pairs: Sequence[Pair]) -> str:
    """Why the parts are not looked at one by one; empty where they are."""
    if wiring:
        return f"the networks are wired differently, so the parts are judged together only: {'; '.join(wiring)}"
    if not pairs:
        return "no part has changed"
    clash = clashing_names(network, pairs)
    return "" if clash is None else f"{clash} is both a part and the loss of one, so the parts are judged together only"


def _loads(speaker: Speaker, sounds: Sequence[Sound], frequency_hz: Float) -> tuple[LoadThenNow, ...]:
    (float(frequency_hz[0]), float(frequency_hz[-1]))

    def readings(sound: Sound) -> dict[str, LoadReading]:
        return {name: channel_load(speaker, sound.solution, name) for name, z in sound.solution.impedance_ohm.items()}

    then = readings(sounds[0])
    now = readings(sounds[1]) if len(sounds) > 1 else {}
    return tuple(LoadThenNow(name, reading, now.get(name)) for name, reading in then.items())


def _crossovers(sounds: Sequence[Sound], frequency_hz: Float, coherent: bool) -> tuple[CrossoverThenNow, ...]:
    then, *later = (read_crossovers(frequency_hz, sound.branches, coherent) for sound in sounds)
    now = {(c.lower, c.upper): c for readings in later for c in readings}
    return tuple(CrossoverThenNow(c, now.get((c.lower, c.upper))) for c in then)


def _broken(
    limit_db: float, of_sum: str, drives: Mapping[str, Worst], total: Worst, envelope: DriftEnvelope | None
) -> tuple[str, ...]:
    """Each change beyond the limit; of assumed drift, each that could be."""
    if envelope is None:
        changes = [("changes", f"the drive of {key}", [worst]) for key, worst in drives.items()]
        changes.append(("changes", f"the {of_sum}", [total]))
    else:
        ends = (envelope.drive_lowest, envelope.drive_highest)
        changes = [("could change", f"the drive of {key}", [end[key] for end in ends]) for key in ends[0]]
        changes.append(("could change", f"the {of_sum}", [envelope.total_lowest, envelope.total_highest]))
    return tuple(
        f"{what} {verb} by {said_change(worst)}, more than {limit_db:g} dB"
        for verb, what, worsts in changes
        for worst in [max(worsts, key=size_of)]
        if size_of(worst) > limit_db
    )


def _plain_load(load: LoadThenNow) -> dict[str, Any]:
    names = ("minimum_ohm", "minimum_at_hz", "lowest_epdr_ohm", "lowest_epdr_at_hz")
    readings = {"original": load.then, "found": load.now}
    return {
        word: None if reading is None else {name: getattr(reading, name) for name in names}
        for word, reading in readings.items()
    }
