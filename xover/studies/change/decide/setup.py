"""Every network on one bench: the same readings of what stands in the folder and of what is only proposed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.acoustic.crossover import read_crossovers
from xover.amplifier.load import LoadLevel, LoadReading, LoadVerdict, judge_load, where_known
from xover.amplifier.stress import RatingVerdict
from xover.curve import Complex, Evidence, Float, log_grid
from xover.errors import OptionError
from xover.figures import written
from xover.judge.findings import Finding
from xover.judge.kinds import Fault
from xover.judge.levels import full_voltages
from xover.judge.safety import below_resonance_w, hazards
from xover.network import Network, Resistor
from xover.network.alike import named_like
from xover.network.parts import Capacitor
from xover.quantity import hertz
from xover.rules.bands import CHANGES_HZ, LEAST_KNOWN_OF_CHANGE
from xover.rules.severity import Severity
from xover.sentences import and_words
from xover.sound.change import band_rows, change_db, known_share, largest_drive_change, largest_sum_change
from xover.sound.deviation import sum_deviation
from xover.sound.load import amplifier_of, channel_load
from xover.sound.meeting import shallowest_null_db
from xover.sound.pairing import drives_like
from xover.sound.prediction import Sound, sound_of, sound_of_network
from xover.sound.resonance import driver_resonance_hz
from xover.speaker import Speaker
from xover.studies.bears.stress.study import study_stress
from xover.studies.bears.tolerance.study import study_tolerance
from xover.studies.change.decide import criteria as judge
from xover.studies.change.decide.criteria import Aspect, Criterion, Verdict

BUILDS: Final = 1000
_PAIR_PER_OCTAVE: Final = 24
_WORST: Final = (LoadLevel.TOO_LOW, LoadLevel.EDGE, LoadLevel.UNKNOWN, LoadLevel.FITS)


@dataclass(frozen=True, eq=False)
class SpeakerWith(Speaker):
    """A speaker with networks that do not stand in its folder."""

    proposed: Mapping[str, Network]

    def network(self, name: str) -> Network:
        """A proposed network, else one of the folder's."""
        return self.proposed[name] if name in self.proposed else super().network(name)


@dataclass(frozen=True, eq=False)
class ReadingSetup:
    """The speaker, and what every network is held against.

    Attributes
    ----------
    frequency_hz : (n,). reference : name of the design, or None. design : its sound.
    coherent : whether the drivers of what is there share a time reference. timing_reason : why.
    """

    speaker: Speaker
    frequency_hz: Float
    reference: str | None
    design: Sound | None
    coherent: bool
    timing_reason: str
    seed: int


@dataclass(frozen=True, eq=False)
class Read:
    """A network read: its sound, its criteria by aspect, the level of its sum (n,), NaN where not known; hazards."""

    sound: Sound
    criteria: Mapping[Aspect, Criterion]
    level_db: Float
    hazards: tuple[Finding, ...]

    def stops(self, built: bool) -> tuple[Finding, ...]:
        """What forbids switching it on; of what is only to be built, a part over its rating too."""
        more = {Fault.OVER_RATING} if built else set()
        return tuple(f for f in self.hazards if f.severity is Severity.STOP or f.fault in more)


def make_bench(
    speaker: Speaker, reference: str | None, present: Network, frequency_hz: Float, seed: int
) -> ReadingSetup:
    """Put the design on the bench first, under the names that its parts have today."""
    meant = None if reference is None else named_like(speaker.network(reference), present)
    design = None if meant is None else sound_of_network(speaker, meant, frequency_hz)
    coherent, why = speaker.timing_is_known(present)
    return ReadingSetup(speaker, frequency_hz, reference, design, coherent, why, seed)


def read_network(bench: ReadingSetup, name: str, proposed: Network | None = None, *, meant: bool, aged: bool) -> Read:
    """Read one network of the folder, or a proposed one.

    Parameters
    ----------
    meant : whether it is there to change the voicing. aged : whether its parts have aged.

    Raises
    ------
    InputError, NoSolutionError.
    """
    speaker = bench.speaker
    if proposed is not None:
        speaker = SpeakerWith(speaker.file, speaker.drivers, {name: proposed})
    sound = sound_of(speaker, name, bench.frequency_hz)
    network, total = sound.network, sound.total
    assumed = sound_is_assumed(speaker, network.driver_names)
    said = hazards(speaker, name, network, sound=sound)
    grave = [f.text for f in said if f.severity is Severity.STOP]
    level = total.level_db if _has_sum(sound) else None
    why = why_no_sum(speaker, network.driver_names, total.coherent, sound.timing_reason, len(network.channels))
    below, note = _below_resonance(speaker, sound)
    criteria = [
        sum_criterion(level, bench.frequency_hz, assumed, why),
        _null(sound, assumed, why),
        _voicing(bench, sound, meant, assumed),
        *_loads(speaker, sound),
        judge.tweeter(below, note),
        _ratings(speaker, name, network),
        judge.stops(len(grave), "; ".join(grave)),
        _pair(speaker, name, bench, assumed, aged),
    ]
    shown = np.full(bench.frequency_hz.shape, np.nan) if level is None else level
    return Read(sound, {c.name: c for c in criteria}, shown, said)


def sum_criterion(level: Float | None, frequency_hz: Float, assumed: bool, why: str) -> Criterion:
    """The deviation of a sum; `why` tells why it is not known, or what stands against a verdict."""
    if level is None or not np.isfinite(level).any():
        return judge.unknown(Aspect.DEVIATION, why or "the sum is not known")
    band = sum_deviation(frequency_hz, level)
    if not np.isfinite(band.known_from_hz):
        return judge.unknown(
            Aspect.DEVIATION, why or f"the sum is not known from {hertz(band.from_hz)} to {hertz(band.to_hz)}"
        )
    notes = [why] if why else []
    if band.known_share < 0.995:
        notes.append(f"known from {hertz(band.known_from_hz)} to {hertz(band.known_to_hz)} only")
    return judge.deviation(band.half_range_db, assumed=assumed, known_share=band.known_share, note="; ".join(notes))


def sound_is_assumed(speaker: Speaker, names: tuple[str, ...]) -> bool:
    """Whether a flat line stands in for the sound of a driver."""
    drivers = [speaker.drivers[n] for n in names]
    return any(d.has_response and d.response_evidence is Evidence.ASSUMED for d in drivers)


def why_no_sum(speaker: Speaker, names: tuple[str, ...], coherent: bool, timing_reason: str, channels: int = 1) -> str:
    """Why the sum of some drivers is not known, or is worth no verdict; empty where neither holds.

    channels : of the network that they are behind, where nothing is known of what shares the sound out to them.
    """
    silent = [n for n in names if not speaker.drivers[n].has_response]
    if silent:
        return f"no response of {', '.join(silent)}"
    if channels > 1:
        return "several channels, and no electronic crossover is known that goes with them"
    if not coherent:
        return f"no one sum is right: {timing_reason}"
    if sound_is_assumed(speaker, names):
        return "a flat line stands in for a driver's sound: only the levels are worth something"
    return ""


def _has_sum(sound: Sound) -> bool:
    return sound.total.coherent and len(sound.network.channels) == 1


def _null(sound: Sound, assumed: bool, why: str) -> Criterion:
    found = read_crossovers(sound.solution.frequency_hz, sound.branches, sound.total.coherent)
    why = why or "; ".join(c.reason for c in found if c.frequency_hz is None)
    depth = shallowest_null_db(found) if _has_sum(sound) else math.nan
    return judge.reversed_null(depth, assumed=assumed, note=why)


def _voicing(bench: ReadingSetup, sound: Sound, meant: bool, assumed: bool) -> Criterion:
    """The largest change of the sum, or of a drive where the sum is not known or a guess."""
    design = bench.design
    if design is None:
        return judge.unknown(Aspect.VOICING, "there is no network of the design to hold it against")
    f = bench.frequency_hz
    if _has_sum(sound) and _has_sum(design) and not assumed:
        worst = largest_sum_change(f, design.total.level_db, sound.total.level_db)
        if not math.isnan(worst.change):
            words = f"the sum, {worst.change:+.2f} dB at {hertz(worst.at_hz)}" if abs(worst.change) >= 0.005 else ""
            return judge.voicing(abs(worst.change), can_fail=not meant, note=words)
    then = design.solution.drive
    now = drives_like(design.network, then, sound.network, sound.solution.drive)
    # Of a drive that is known in a small part only, nobody can say where it is near its highest, and so counts.
    thin = [key for key in then if key in now and _is_thin(f, then[key], now[key])]
    worst, on = largest_drive_change(f, {key: drive for key, drive in then.items() if key not in thin}, now)
    size, at_hz = abs(worst.change), worst.at_hz
    if math.isnan(size):
        return judge.unknown(Aspect.VOICING, "no drive of both networks is known")
    where = f" at {hertz(at_hz)}" if size >= 0.005 else ""
    told = judge.voicing(size, can_fail=False, note=f"the drive of {on}{where}, as no sum can be trusted")
    if thin and told.verdict is Verdict.PASS:
        return judge.unknown(
            Aspect.VOICING, f"{told.note}; what became of the drive of {and_words(thin)} is not known", size
        )
    return told


def _is_thin(frequency_hz: Float, then: Complex, now: Complex) -> bool:
    """Whether what became of a drive is known over too little of the band to stand for it."""
    return known_share(change_db(then, now), band_rows(frequency_hz)) < LEAST_KNOWN_OF_CHANGE


def _loads(speaker: Speaker, sound: Sound) -> tuple[Criterion, Criterion]:
    network = sound.network
    read = []
    for channel in network.channels:
        amplifier = amplifier_of(speaker, network, channel.name)
        limit = amplifier.minimum_load_ohm if amplifier else None
        own = amplifier is not None and amplifier is not speaker.amplifier
        reading = channel_load(speaker, sound.solution, channel.name)
        verdict = where_known(judge_load(reading, limit), reading, reading.band_hz)
        read.append((channel.name, reading, verdict, "[bypass.channels]" if own else "[amplifier]"))
    return load_criteria(read)


def load_criteria(read: list[tuple[str, LoadReading, LoadVerdict, str]]) -> tuple[Criterion, Criterion]:
    """Lowest load and EPDR of the channel that stands worst: (name, reading, verdict, where its limit stands)."""
    several = len(read) > 1

    def worst_load(one: tuple[str, LoadReading, LoadVerdict, str]) -> tuple[int, float]:
        _, reading, verdict, _ = one
        return _WORST.index(verdict.level), _share(reading.minimum_ohm, verdict)

    name, reading, verdict, where = min(read, key=worst_load)
    note = (
        f"{f'{name}, ' if several else ''}at {hertz(reading.minimum_at_hz)}"
        if math.isfinite(reading.minimum_at_hz)
        else "no impedance is known"
    )
    if verdict.minimum_load_ohm is None:
        note += ": no minimum_load_ohm in speaker.toml to hold it against"
    elif verdict.level is LoadLevel.UNKNOWN and math.isfinite(reading.minimum_at_hz):
        note += f"; the load is known from {hertz(reading.covered_hz[0])} to {hertz(reading.covered_hz[1])} only"
    low = judge.load(reading.minimum_ohm, verdict.minimum_load_ohm, verdict.level, where, note)
    name, reading, verdict, where = min(read, key=lambda r: _share(r[1].lowest_epdr_ohm, r[2]))
    note = (
        f"{f'{name}, ' if several else ''}at {hertz(reading.lowest_epdr_at_hz)}"
        if math.isfinite(reading.lowest_epdr_at_hz)
        else "no impedance is known"
    )
    known = all(v.level is not LoadLevel.UNKNOWN for _, _, v, _ in read)
    return low, judge.peak_load(reading.lowest_epdr_ohm, verdict.minimum_load_ohm, where, known, note)


def _share(ohm: float, verdict: LoadVerdict) -> float:
    return ohm / (verdict.minimum_load_ohm or 1.0) if math.isfinite(ohm) else math.inf


def _below_resonance(speaker: Speaker, sound: Sound) -> tuple[float, str]:
    """Average watts into the tweeter that gets most below its resonance at the listening level, and what they are."""
    wish = speaker.listening
    if wish is None or wish.level_db is None:
        return math.nan, "[listening] names no level_db"
    watts = below_resonance_w(speaker, sound.network, sound)
    if not watts:
        return math.nan, "no tweeter, or nothing is known of its resonance or of the level"
    worst = max(watts, key=lambda key: watts[key])
    resonance = driver_resonance_hz(speaker.drivers[sound.network.driver_card(worst).driver])
    return watts[worst], f"{worst} below {written('resonance', resonance, worst)} at {wish.level_db:g} dB"


def _ratings(speaker: Speaker, name: str, network: Network) -> Criterion:
    if len(full_voltages(speaker, network)) < len(network.channels):
        return judge.unknown(Aspect.RATINGS, "no rated_power_w and rated_load_ohm of the amplifier in speaker.toml")
    if not network.parts:
        return judge.ratings(0.0, False, 0, "no part is left that could burn")
    found = study_stress(speaker, name).ratings.values()
    named = {p.name: p for p in network.parts}
    asked = [r for r in found if isinstance(named[r.name], Resistor | Capacitor) or r.said is not None]
    compared = [r for r in asked if r.verdict is not RatingVerdict.NOT_KNOWN]
    silent = [r.name for r in asked if r.said is None]
    thin = [r.name for r in asked if r.said is not None and r.verdict is RatingVerdict.NOT_KNOWN]
    share, over, note = math.nan, False, ""
    if compared:
        worst = max(compared, key=lambda r: r.needed / (r.said or 1.0))
        share = worst.needed / (worst.said or 1.0)
        over = any(r.verdict is RatingVerdict.OVER for r in compared)
        note = worst.sentence
    if silent:
        note = "; ".join(t for t in (note, f"no rating is stated of {', '.join(silent)}") if t)
    if thin:
        note = "; ".join(t for t in (note, f"too little is known of what {', '.join(thin)} must bear") if t)
    return judge.ratings(share, over, len(silent) + len(thin), note)


def _pair(speaker: Speaker, name: str, bench: ReadingSetup, assumed: bool, aged: bool) -> Criterion:
    if len(speaker.network(name).channels) > 1:
        return judge.unknown(Aspect.PAIR, "several channels: the sum is not known")
    grid = log_grid(*CHANGES_HZ, _PAIR_PER_OCTAVE)
    try:
        study = study_tolerance(speaker, name, grid, builds=BUILDS, seed=bench.seed, band_hz=CHANGES_HZ)
    except OptionError as fault:
        return judge.unknown(Aspect.PAIR, fault.problem)
    if not study.total_known:
        return judge.unknown(Aspect.PAIR, "the sum is not known")
    apart = study.independent
    note = f"half of all pairs stay within {apart.usual_db:.1f} dB (97.5 %: {apart.rarely_over_db:.1f} dB)"
    if study.of_sum != "sum":
        note += f", of the {study.of_sum}"
    if aged:
        note += ", as new: each board has aged in its own way, so measure the other one too"
    return judge.pair(apart.rarely_over_db, assumed=assumed, aged=aged, note=note)
