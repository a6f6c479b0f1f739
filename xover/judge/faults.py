"""What is broken or turned round, read from the drivers' sweeps and from today's network against the original."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from xover.acoustic.crossover import read_crossovers
from xover.curve import Complex, Float, log_grid
from xover.errors import NoSolutionError
from xover.judge.dead import is_open, is_shorted, typical_ohm
from xover.judge.findings import Finding, found
from xover.judge.kinds import Fault
from xover.network import Capacitor, DriverCard, Inductor, Network, Part, Resistor
from xover.network.alike import named_like
from xover.network.parts import shown_value, value_of
from xover.network.retouch import in_wiring, turned
from xover.rules.audibility import UNHEARD_DB
from xover.rules.margins import DEAD_DB, DEAD_PART, EXCHANGED_WITHIN, LINK_OHM, TURNED_DEG
from xover.rules.severity import Severity
from xover.sentences import and_words
from xover.sound.change import change_db, difference_db, largest_drive_change, mean_round_db, near_highest
from xover.sound.pairing import drives_like, paired_cards
from xover.sound.prediction import Sound, sound_of_network
from xover.speaker import Speaker, SpeakerDriver

_PER_OCTAVE = 24


def faults(speaker: Speaker, found_name: str, original_name: str | None) -> tuple[Finding, ...]:
    """Dead drivers; and against the original: parts shorted, open or missing, drivers that get nothing, turned wires.

    What an aged part does is none of these: see `worn`.

    Parameters
    ----------
    found_name : the network as it is today. original_name : as it was made; None where nobody knows.

    Raises
    ------
    InputError, OptionError.
    """
    now = speaker.network(found_name)
    first = now
    if original_name is not None and original_name != found_name:
        first = named_like(speaker.network(original_name), now)
    names = dict.fromkeys((*first.driver_names, *now.driver_names))
    said = [f for name in names for f in _dead(speaker.drivers[name])]
    if first is now or original_name is None:
        return tuple(said)
    pair = _Pair(speaker, found_name, original_name, now, first)
    said += [*_lost_drivers(pair), *_parts(pair), *_drives(pair)]
    return tuple(sorted(said, key=lambda f: f.severity.order))


def worn(speaker: Speaker, found_name: str, original_name: str) -> Iterator[Finding]:
    """That a drive of today's network lies off the original's by what may be heard: a note, where nothing is broken."""
    f = log_grid(20.0, 20e3, _PER_OCTAVE)
    try:
        networks = (speaker.network(n) for n in (original_name, found_name))
        first, now = (sound_of_network(speaker, n, f).solution for n in networks)
    except NoSolutionError:
        return
    there = drives_like(first.network, first.drive, now.network, now.drive)
    worst, key = largest_drive_change(f, first.drive, there)
    if abs(worst.change) > UNHEARD_DB:
        moved = abs(worst.change)
        yield found(Fault.WORN, found_name, about_driver=key, key=key, moved_db=moved, at_hz=worst.at_hz)


@dataclass(frozen=True, eq=False)
class _Pair:
    """Today's network, and the original."""

    speaker: Speaker
    name: str
    original: str
    now: Network
    first: Network


def _dead(driver: SpeakerDriver) -> Iterator[Finding]:
    for fault, dead in ((Fault.DEAD_OPEN, is_open(driver)), (Fault.DEAD_SHORTED, is_shorted(driver))):
        if dead:
            yield found(fault, driver.name, about_driver=driver.name, driver=driver.name, ohm=typical_ohm(driver))


def _lost_drivers(pair: _Pair) -> Iterator[Finding]:
    sides = (pair.original, pair.first, pair.name, pair.now), (pair.name, pair.now, pair.original, pair.first)
    for has, one, lacks, other in sides:
        for driver in one.driver_names:
            if driver not in other.driver_names:
                yield found(
                    Fault.NO_DRIVER, lacks, about_driver=driver, driver=driver, network=f"'{has}'", other=f"'{lacks}'"
                )


def _parts(pair: _Pair) -> Iterator[Finding]:
    said = [*_exchanged(pair)]
    misplaced = {name for f in said for name in (f.part, f.facts["other"])}
    said += _broken(pair, misplaced)
    yield from said or _added(pair)


def _exchanged(pair: _Pair) -> Iterator[Finding]:
    """Two parts of a kind that read what the other is marked with."""
    today = {p.name.lower(): p for p in pair.now.parts}
    known = [(p, today[p.name.lower()]) for p in pair.first.parts if type(today.get(p.name.lower())) is type(p)]
    known = [(p, now) for p, now in known if min(value_of(p), value_of(now)) > 0.0]
    for (one, one_now), (other, other_now) in combinations(known, 2):
        if type(one) is not type(other) or _factor(value_of(one), value_of(other)) < 2.0 * EXCHANGED_WITHIN:
            continue
        if (
            max(_factor(value_of(one_now), value_of(other)), _factor(value_of(other_now), value_of(one)))
            < EXCHANGED_WITHIN
        ):
            yield found(Fault.EXCHANGED, pair.name, about_part=one.name, part=one.name, other=other.name)


def _factor(one: float, other: float) -> float:
    return max(one / other, other / one)


def _added(pair: _Pair) -> Iterator[Finding]:
    """Parts that the original does not have and that take the sound away from it; a bank made of two is none."""
    known = {p.name.lower() for p in pair.first.parts}
    added = [p.name for p in pair.now.parts if p.name.lower() not in known]
    kinds = {(type(p), p.name.lower()) for p in pair.now.parts}
    if not added or not all((type(p), p.name.lower()) in kinds for p in pair.first.parts):
        return
    f = log_grid(20.0, 20e3, _PER_OCTAVE)
    try:
        without = replace(pair.now, parts=tuple(p for p in pair.now.parts if p.name not in added)).pruned()
        drives = [
            sound_of_network(pair.speaker, n, f).solution.drive
            for n in (pair.first, pair.now, in_wiring(pair.first, pair.now), without)
        ]
    except NoSolutionError:
        return
    moved, left, taken_out = (abs(largest_drive_change(f, drives[0], d)[0].change) for d in drives[1:])
    # What is as silent without them is not of their doing.
    if moved - left > UNHEARD_DB and (math.isfinite(moved) or math.isfinite(taken_out)):
        yield found(Fault.PART_ADDED, pair.name, about_part=added[0], added=and_words(added), moves_db=moved - left)


def _broken(pair: _Pair, misplaced: Collection[str]) -> Iterator[Finding]:
    read = [(part, *_part_fault(part, pair)) for part in pair.first.parts if part.name not in misplaced]
    gone = [part for part, fault, _ in read if fault is Fault.PART_MISSING]
    # Where most of it has other names and nodes, it was drawn anew: nothing tells which part is which.
    redrawn = len(gone) > len(read) / 2
    for part, fault, now in read:
        if fault is None or (fault is Fault.PART_MISSING and (redrawn or not _counts(pair, part))):
            continue
        good = shown_value(part)
        remedy = {
            Fault.PART_SHORTED: f"a good one has {good}",
            Fault.PART_OPEN: f"bridge it with a good one of {good} to hear whether that is it",
            Fault.PART_MISSING: good,
            Fault.LAMP_GONE: good,
        }[fault]
        # A meter shows a shorted capacitor as far too large a one; so is a wrong one, and one that was mistyped.
        high = any(
            isinstance(p, Capacitor) and p.name.lower() == part.name.lower() and p.farad >= DEAD_PART * value_of(part)
            for p in pair.now.parts
        )
        yield found(
            fault, pair.name, about_part=part.name, part=part.name, now=now, was=good, good=remedy, reads_high=high
        )


def _part_fault(part: Part, pair: _Pair) -> tuple[Fault | None, str]:
    """What has become of a part of the original, and as what it stands there today.

    A part that goes by another name today is taken for the same where it is of its kind and between the same nodes.
    """
    known = {p.name.lower() for p in pair.first.parts}
    named = [p for p in pair.now.parts if p.name.lower() == part.name.lower()]
    here = [p for p in pair.now.parts if {p.a, p.b} == {part.a, part.b} and p.name.lower() not in known]
    same = next((p for p in (*named, *here) if type(p) is type(part)), None)
    link = next((p for p in here if isinstance(p, Resistor) and p.ohm < LINK_OHM), None)
    if link is not None and not isinstance(part, Resistor):
        how = "in its place" if same is None else "bridges it"
        return Fault.PART_SHORTED, f"{link.name} of {shown_value(link)} {how}"
    if same is None:
        return Fault.PART_MISSING, ""
    if isinstance(part, Resistor) and isinstance(same, Resistor) and part.is_lamp and not same.is_lamp:
        return Fault.LAMP_GONE, shown_value(same)
    was, is_now = value_of(part), value_of(same)
    more, less = is_now >= DEAD_PART * was, is_now <= was / DEAD_PART
    if isinstance(part, Capacitor):
        shorted, opened = more, less
    elif isinstance(part, Inductor):
        shorted, opened = less, False
    else:  # a few hundredths of an ohm more or less are the reading of a meter
        shorted, opened = less and was > LINK_OHM, more and is_now > LINK_OHM
    return (Fault.PART_SHORTED if shorted else Fault.PART_OPEN if opened else None), shown_value(same)


def _counts(pair: _Pair, part: Part) -> bool:
    """Whether the original without this part drives a driver otherwise: a part that does nothing is not missed."""
    f = log_grid(20.0, 20e3, _PER_OCTAVE)
    without = replace(
        pair.first,
        parts=tuple(p for p in pair.first.parts if p is not part),
        couplings=tuple(
            c for c in pair.first.couplings if part.name.lower() not in (c.first.lower(), c.second.lower())
        ),
    ).pruned()
    if {d.key for d in without.drivers} != {d.key for d in pair.first.drivers}:
        return True
    try:
        before, after = (sound_of_network(pair.speaker, n, f).solution.drive for n in (pair.first, without))
    except NoSolutionError:
        return True
    worst = largest_drive_change(f, before, after)[0].change
    return not abs(worst) <= UNHEARD_DB


def _drives(pair: _Pair) -> Iterator[Finding]:
    """Drivers that get nothing, or the opposite of what the original gives them."""
    f = log_grid(20.0, 20e3, _PER_OCTAVE)
    try:
        now, first = (sound_of_network(pair.speaker, n, f) for n in (pair.now, pair.first))
    except NoSolutionError:
        return
    old, new = first.solution.drive, now.solution.drive
    both = {card: then for then, card in paired_cards(pair.first, old, pair.now, new)}
    turned = []
    for card, then in both.items():
        before, after = old[then.key], new[card.key]
        rows = near_highest(before) & np.isfinite(before) & np.isfinite(after)
        if not rows.any():
            continue
        drop = float(np.max(change_db(before[rows], after[rows])))
        if drop < DEAD_DB:
            yield found(Fault.NO_SIGNAL, pair.name, about_driver=card.key, key=card.key, drop_db=-drop)
        elif _opposite(before[rows], after[rows]):
            turned.append(card)
    if len(turned) == len(both) > 1:
        yield found(Fault.ALL_SWAPPED, pair.name)
        return
    for card in turned:
        gain_db, at_hz = _gain_if_turned(pair, now, card, f)
        yield found(
            Fault.SWAPPED,
            pair.name,
            # Where the sum is better as it is, somebody may have known what he did.
            severity=Severity.NOTE if gain_db < 0 else None,
            about_driver=card.key,
            key=card.key,
            gain_db=gain_db,
            at_hz=at_hz,
        )


def _opposite(before: Complex, after: Complex) -> bool:
    """Whether two drives are half a turn apart on average, where it counts by their strength."""
    turn = np.sum(after * np.conj(before) / np.maximum(np.abs(after), np.finfo(float).tiny))
    return bool(turn != 0 and abs(math.degrees(math.atan2(turn.imag, turn.real))) > 180.0 - TURNED_DEG)


def _gain_if_turned(pair: _Pair, now: Sound, card: DriverCard, f: Float) -> tuple[float, float]:
    """How much louder the sum is with a driver turned, on average over the octave round its worst crossover, and where.

    NaN where no sum is known.
    """
    if not now.total.coherent:
        return math.nan, math.nan
    other = sound_of_network(pair.speaker, turned(pair.now, (card.key,)), f)
    change = difference_db(now.total.level_db, other.total.level_db)
    gains = [
        (mean_round_db(f, change, c.frequency_hz), c.frequency_hz)
        for c in read_crossovers(f, now.branches, True)
        if c.frequency_hz is not None and card.key in (*c.lower, *c.upper)
    ]
    known = [g for g in gains if not math.isnan(g[0])]
    return max(known, key=lambda g: abs(g[0]), default=(math.nan, math.nan))
