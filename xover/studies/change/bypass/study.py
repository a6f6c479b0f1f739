"""Each driver on its own amplifier channel, behind an electronic crossover: is it safe, and what does it need?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Final

import numpy as np

from xover.acoustic.crossover import crossings_hz, read_crossovers
from xover.acoustic.level import level_db
from xover.curve import Complex, Float, log_grid
from xover.electronic.biquad import SAMPLE_RATE_HZ, Slope, parse_slope
from xover.errors import InputError, OptionError, named, nearest_word
from xover.judge.safety import stops
from xover.sound.doubt import unready
from xover.sound.load import channel_impedance
from xover.sound.prediction import Sound, sound_of
from xover.sound.resonance import driver_resonance_hz
from xover.speaker import Speaker
from xover.studies.change.bypass.capacitor import ProtectionCapacitor, choose_capacitor
from xover.studies.change.bypass.cautions import BypassCase, findings_of
from xover.studies.change.bypass.channels import (
    BareDrivers,
    Voices,
    bare_drivers,
    bare_loads,
    crossover_filters,
    heard_where_they_play,
    voices_of,
)
from xover.studies.change.bypass.crossover import Crossover, best_sum, least_ratio, map_around
from xover.studies.change.bypass.fitness import read_fitness
from xover.studies.change.bypass.flatten import flatten
from xover.studies.change.bypass.known import least_instrument, unsure_db
from xover.studies.change.bypass.power import amplifier_rating, split_power, trims
from xover.studies.change.bypass.result import BypassChannel, BypassStudy
from xover.studies.change.bypass.twin import fit_twins, passive_deviation, read_missing, twin_sum
from xover.studies.change.bypass.words import gaps_of, unknown_words, verdict_words, warnings_of

DEFAULT_SLOPE: Final = "LR4"
NEARLY: Final = 0.05
"""A corner that lies this share of its last digit too low is near enough: no resonance is read that closely."""


def study_bypass(
    speaker: Speaker,
    network_name: str | None = None,
    frequency_hz: Float | None = None,
    *,
    corners_hz: Sequence[float] | None = None,
    slope: str | None = None,
    sample_rate_hz: float = SAMPLE_RATE_HZ,
    amplifier_gain_db: Mapping[str, float] | None = None,
    with_map: bool = True,
) -> BypassStudy:
    """Study what becomes of a speaker whose network is bypassed; parameters and errors as declared.

    Corners and slope not given are those of speaker.toml, else where the drivers cross behind the network, and LR4.

    with_map : whether the maps against frequency and slope are worked out.
    """
    name = network_name if network_name is not None else default_network(speaker)
    f = log_grid(20.0, 20_000.0, 48) if frequency_hz is None else frequency_hz
    passive = sound_of(speaker, name, f)
    bare = bare_drivers(speaker, passive, name)
    gains = {bare.channel_of(n): db for n, db in (amplifier_gain_db or {}).items()}
    _check_gains(gains, bare.names)
    voices = voices_of(bare)
    # The highest of a way's resonances is the one that a crossover must stay clear of.
    resonances = {
        w.driver: float(np.max([driver_resonance_hz(speaker.drivers[n]) for n in w.names])) for w in bare.wirings
    }
    crossover = _crossover(speaker, name, passive, voices, bare, corners_hz, slope, resonances)
    voices = heard_where_they_play(voices, crossover.corners_hz)
    twins = fit_twins(bare, passive, voices, sample_rate_hz)
    slopes = crossover_filters(bare.names, crossover.slope, crossover.corners_hz, f, sample_rate_hz)
    reached = best_sum(speaker, voices, crossover, sample_rate_hz)
    unsure = {w.driver: unsure_db([speaker.drivers[n] for n in w.names], f) for w in bare.wirings}
    better = (
        None if reached is None else flatten(speaker, voices, crossover, reached, sample_rate_hz, unsure, resonances)
    )
    total = passive.total
    power = split_power(
        speaker,
        bare,
        slopes,
        better,
        {n: t.target for n, t in twins.items()},
        (total.level_db if total.coherent else total.best_level_db) if voices.known else None,
        resonances,
    )
    loads = bare_loads(speaker, bare, crossover.corners_hz)
    fitness = {c.channel: c for c in read_fitness(speaker, bare, voices, crossover, resonances, reached)}
    trim = trims(
        bare.names,
        _own_levels(voices, crossover),
        {n: math.nan if better is None else better.settings[n].gain_db for n in bare.names},
        {n: t.gain_db for n, t in twins.items()},
        gains,
    )
    capacitor = _capacitor(speaker, bare, crossover, slopes, sample_rate_hz)
    channels = {
        w.driver: BypassChannel(
            name=w.driver,
            wiring=w,
            load=loads[w.driver],
            twin=twins[w.driver],
            missing=read_missing(
                f,
                twins[w.driver].target,
                slopes[w.driver],
                twins[w.driver].weight,
                crossover.corners_hz[0] if i == 0 else None,
                sample_rate_hz,
            ),
            fitness=fitness[w.driver],
            power=power.channels[w.driver],
            trim=trim[w.driver],
            capacitor=capacitor if w.driver == bare.names[-1] else None,
            slope=slopes[w.driver],
        )
        for i, w in enumerate(bare.wirings)
    }
    present = speaker.default_network()
    case = BypassCase(speaker, passive.network, name, bare, crossover, channels, reached, better, power)
    findings = findings_of(case)
    templates = unready(speaker, tuple(n for w in bare.wirings for n in w.names))
    return BypassStudy(
        title=speaker.title,
        network=name,
        frequency_hz=f,
        band_hz=voices.band_hz,
        sample_rate_hz=sample_rate_hz,
        crossover=crossover,
        channels=channels,
        passive_total=passive.total if voices.known else None,
        passive=passive_deviation(voices, passive),
        passive_crossovers=read_crossovers(f, passive.branches, voices.coherent) if voices.known else (),
        twin_sum=twin_sum(voices, passive, twins),
        reached=reached,
        better=better,
        maps=map_around(voices, crossover, reached, resonances, sample_rate_hz) if with_map else (),
        power=power,
        coherent=voices.coherent,
        timing_reason=voices.timing_reason,
        evidence={
            n: {
                "impedance": str(speaker.drivers[n].impedance_evidence),
                "response": str(speaker.drivers[n].response_evidence)
                if speaker.drivers[n].has_response
                else "not known",
            }
            for w in bare.wirings
            for n in w.names
        },
        instruments={w.driver: least_instrument([speaker.drivers[n] for n in w.names]) for w in bare.wirings},
        templates=templates,
        unknown=unknown_words(speaker, voices, crossover, power, channels),
        gaps=gaps_of(speaker, voices, power, bare.wirings),
        lacking=lacking_channels(speaker, bare),
        today=stops(speaker, present, speaker.network(present)),
        findings=findings,
        verdict=verdict_words(speaker, findings, channels, templates),
        remarks=warnings_of(speaker, passive, voices),
    )


def default_network(speaker: Speaker) -> str:
    """`original` where there is one, as that is what the maker voiced; else the folder's default. Raises InputError."""
    return "original" if "original" in speaker.network_names else speaker.default_network()


def _check_gains(gains: Mapping[str, float], names: tuple[str, ...]) -> None:
    for name, gain in gains.items():
        if name not in names:
            near = nearest_word(name, names)
            raise OptionError(
                f"{named('amplifier_gain_db')} names the channel '{name}'",
                f"did you mean {near}?" if near else f"the channels are {', '.join(names)}",
            )
        if not (math.isfinite(gain) and abs(gain) <= 80.0):
            raise OptionError(
                f"{named('amplifier_gain_db')} of {name} is {gain:g} dB", "give decibels from -80 to 80, such as 26"
            )


def _crossover(
    speaker: Speaker,
    network_name: str,
    passive: Sound,
    voices: Voices,
    bare: BareDrivers,
    corners_hz: Sequence[float] | None,
    slope: str | None,
    resonances: Mapping[str, float],
) -> Crossover:
    """The crossover at hand: as asked for, as speaker.toml says, or where the drivers cross behind the network.

    What is assumed is nowhere too near a resonance: no network is followed there.
    """
    file = speaker.file.speaker.bypass
    needed = len(bare.names) - 1
    shape: Slope = parse_slope(slope if slope is not None else file.slope if file is not None else DEFAULT_SLOPE)
    if corners_hz is not None:
        corners, source, assumed = tuple(corners_hz), "as asked for", False
        _check_corners(corners, needed, bare.names)
    elif file is not None:
        corners, source, assumed = tuple(file.frequency_hz), "[bypass] of speaker.toml", False
        if len(corners) != needed:
            raise InputError(
                f"[bypass] frequency_hz has {_count(len(corners), 'corner')} for the channels {', '.join(bare.names)}",
                f"give {_count(needed, 'corner')}, or ask with other corners",
                speaker.file.path,
                speaker.file.line("bypass", "frequency_hz"),
            )
    else:
        corners, how = _crossings(passive, voices, bare)
        source, assumed = f"no [bypass] in speaker.toml: where {how} cross behind network '{network_name}'", True
        least = [least_corner_hz(shape, resonances[n]) for n in bare.names[1:]]
        clear = tuple(max(c, x) for c, x in zip(corners, least, strict=True))
        if clear != corners and all(b > a for a, b in pairwise(clear)):
            corners, source = clear, f"{source}, raised clear of the resonance above it"
    if slope is not None and corners_hz is None:
        source += ", slope as asked for"
    return Crossover(corners, shape, source, assumed)


def least_corner_hz(shape: Slope, resonance_hz: float) -> float:
    """The lowest corner that a driver's resonance stands, rounded up to two digits; 0 where it is not known."""
    if math.isnan(resonance_hz):
        return 0.0
    least = least_ratio(shape.order) * resonance_hz
    step = 10.0 ** (math.floor(math.log10(least)) - 1)
    return math.ceil(least / step - NEARLY) * step


def _check_corners(corners: tuple[float, ...], needed: int, names: tuple[str, ...]) -> None:
    shown = ", ".join(f"{c:g}" for c in corners)
    if len(corners) != needed:
        raise OptionError(
            f"{named('corners_hz')} has {_count(len(corners), 'corner')} ({shown}) for the channels {', '.join(names)}",
            f"give {_count(needed, 'corner')}" + (", such as 450,3500" if needed == 2 else ""),
        )
    if any(not 10.0 <= c <= 20_000.0 for c in corners):
        raise OptionError(f"{named('corners_hz')} is {shown}", "give corners from 10 Hz to 20 kHz")
    if any(b <= a for a, b in pairwise(corners)):
        raise OptionError(f"{named('corners_hz')} is {shown}", "give the corners rising, lowest first")


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _crossings(passive: Sound, voices: Voices, bare: BareDrivers) -> tuple[tuple[float, ...], str]:
    """Where neighbours cross behind the network, to two digits: in sound, else in drive.

    Raises
    ------
    OptionError : they do not cross, so a corner must be given.
    """
    f = voices.frequency_hz
    if voices.known:
        found = [c.frequency_hz for c in read_crossovers(f, passive.branches, passive.total.coherent)]
        if len(found) == len(bare.names) - 1 and all(c is not None for c in found):
            return tuple(_two_digits(c) for c in found if c is not None), "the sounds of the drivers"
    by_channel = [level_db(passive.solution.drive[w.keys[0]]) for w in bare.wirings]
    corners = []
    for low, high in pairwise(by_channel):
        places = crossings_hz(f, low, high)
        if not places:
            raise OptionError(
                "no corner is given, and behind the network the drivers do not cross",
                f"give one with {named('corners_hz')}",
            )
        corners.append(_two_digits(places[0]))
    if any(b <= a for a, b in pairwise(corners)):
        raise OptionError(
            "no corners are given, and those of the network do not rise", f"give them with {named('corners_hz')}"
        )
    return tuple(corners), "the voltages at the drivers"


def _two_digits(frequency_hz: float) -> float:
    return float(f"{frequency_hz:.2g}")


def lacking_channels(speaker: Speaker, bare: BareDrivers) -> tuple[str, ...]:
    """Channels for which [bypass.channels] names no amplifier."""
    file = speaker.file.speaker.bypass
    given = () if file is None else file.channels
    return tuple(w.driver for w in bare.wirings if not any(n in given for n in w.names))


def _own_levels(voices: Voices, crossover: Crossover) -> dict[str, float]:
    """Mean level of each channel in its own part of the band, NaN where nothing of it is known."""
    f = voices.frequency_hz
    edges = [voices.band_hz[0], *crossover.corners_hz, voices.band_hz[1]]
    out = {}
    for i, name in enumerate(voices.names):
        inside = (f >= edges[i]) & (f <= edges[i + 1])
        level = level_db(voices.pressure[i])[inside]
        known = np.isfinite(level)
        out[name] = float(np.mean(level[known])) if known.any() else math.nan
    return out


def _capacitor(
    speaker: Speaker, bare: BareDrivers, crossover: Crossover, slopes: Mapping[str, Complex], sample_rate_hz: float
) -> ProtectionCapacitor | None:
    top = bare.names[-1]
    rating = amplifier_rating(speaker, bare.drivers_of(top))
    return choose_capacitor(
        top,
        bare.sound.solution.frequency_hz,
        channel_impedance(speaker, bare.network, top),
        crossover.corners_hz[-1],
        slopes[top],
        None if rating is None else math.sqrt(2.0) * rating.voltage_v,
        sample_rate_hz,
    )
