"""Is a network safe: one reading for whoever asks, of what stands in the folder and of what is only proposed.

Average watts into a tweeter below its resonance, the load, the parts' ratings, what a capacitor bears when a driver is
unplugged, tweeters without a capacitor, bridged outputs, oil-filled capacitors. A stop needs knowledge: where a figure
rests on a datasheet or on an assumption and could be on the right side of its limit, it is a doubt, with the
measurement that settles it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Final, TypeVar

import numpy as np

from xover.acoustic.crossover import read_crossovers
from xover.acoustic.level import sensitivity
from xover.amplifier.faults import FaultKind
from xover.amplifier.programme import Spectrum, heat_w, programme_weights
from xover.amplifier.stress import NetworkStress, PartRating, RatingVerdict, rate_part, read_stress
from xover.curve import log_grid
from xover.errors import InputError
from xover.judge.dead import is_open
from xover.judge.findings import Finding, found
from xover.judge.hazard_words import Unplugged
from xover.judge.kinds import Fault
from xover.judge.levels import ChannelVoltage, full_voltages, listening_voltage
from xover.judge.network import bridged_findings, load_findings, measured_impedance, protection
from xover.judge.tweeter import least_watts, settle, tweeter_finding, unheard
from xover.network import DriverCard, Network, Part, Resistor, Solution, solve
from xover.readable import Warned
from xover.rules.margins import RESONANCE_RATIO, SHORT_SHARE, SHORT_SHARE_UNRATED
from xover.rules.severity import Severity
from xover.sound.load import amplifier_of, driver_faults
from xover.sound.prediction import Sound, sound_of_network
from xover.sound.resonance import Role, driver_resonance_hz, roles
from xover.sound.sums import known_level_db
from xover.speaker import Speaker

_PER_OCTAVE: Final = 48
W = TypeVar("W", bound=Warned)
_OIL: Final = ("oil", "pio")


def hazards(
    speaker: Speaker,
    name: str,
    network: Network,
    *,
    sound: Sound | None = None,
    quick: bool = False,
) -> tuple[Finding, ...]:
    """What is unsafe of a network, the gravest first.

    Parameters
    ----------
    name : how the findings call it; `network` need not stand in the folder.
    sound : what was worked out of it already, on its own grid, without an output resistance; by default from 20 Hz to
        20 kHz, 48 in an octave.
    quick : leave out what is no stop and slow to work out: loads on the edge, ratings of capacitors and
        coils, drivers unplugged.

    Raises
    ------
    InputError, NoSolutionError.
    """
    heard = sound or sound_of_network(speaker, network, log_grid(20.0, 20e3, _PER_OCTAVE))
    case = _Case(speaker, name, network, heard)
    said = [
        *(f for f in protection(speaker, name, network, {}) if f.severity is Severity.STOP),
        *bridged_findings(speaker, name, network),
        *load_findings(speaker, name, case.solution, quick=quick),
        *_below_resonance(case),
        *_ratings(case, quick),
        *_oil_filled(case),
        *(() if quick else _open_drivers(case)),
    ]
    return tuple(sorted(said, key=lambda f: f.severity.order))


def stops(speaker: Speaker, name: str, network: Network) -> tuple[Finding, ...]:
    """Only what forbids switching on: quick enough for any command that reads the network."""
    return tuple(f for f in hazards(speaker, name, network, quick=True) if f.severity is Severity.STOP)


def warned(result: W, speaker: Speaker, name: str) -> W:
    """A result with what forbids to switch on the network that it reads, and values that may be slips of the pen."""
    network = speaker.network(name)
    said: Any = result  # whose warnings are its own field
    odd = tuple(f"{o.problem}; {o.remedy}" for o in network.odd_values)
    told: W = replace(said, unsafe=stops(speaker, name, network), warnings=(*said.warnings, *odd))
    return told


def says_oil(kind: str | None) -> bool:
    """Whether a capacitor's card says that it is filled with oil, in its own words."""
    return any(word in (kind or "") for word in _OIL)


def is_short(lowest_ohm: float, healthy_ohm: float, limit_ohm: float | None) -> bool:
    """Whether a load without a driver is one to warn of: well below what it was, and below what the amplifier allows.

    Without a known limit: below half of what it was. False where either is not known.
    """
    if limit_ohm is None:
        return lowest_ohm < SHORT_SHARE_UNRATED * healthy_ohm
    return lowest_ohm < SHORT_SHARE * healthy_ohm and lowest_ohm < limit_ohm


@dataclass(frozen=True, eq=False)
class _Case:
    """A network solved, and at what voltages it is judged."""

    speaker: Speaker
    name: str
    network: Network
    sound: Sound

    @property
    def solution(self) -> Solution:
        return self.sound.solution

    @cached_property
    def sensitivity_db(self) -> float:
        """NaN where the sound is not known, or where an electronic crossover that nobody knows shares it out."""
        if len(self.network.channels) != 1 or len(self.network.driver_names) < 2:
            return math.nan
        return float(sensitivity(self.solution.frequency_hz, known_level_db(self.sound)).level_db)

    @cached_property
    def full(self) -> dict[str, ChannelVoltage]:
        """Every channel's amplifier at its limit; empty where one is not known."""
        volts = full_voltages(self.speaker, self.network)
        return dict(volts) if len(volts) == len(self.network.channels) else {}

    @cached_property
    def listening(self) -> ChannelVoltage | None:
        """At the listening level, or as near to it as the amplifier comes; None where the level is not known."""
        wish = self.speaker.listening
        highest = max((v.peak_v for v in self.full.values()), default=math.inf)
        volts = listening_voltage(self.speaker, self.sensitivity_db, highest_v=highest)
        if volts is None or wish is None or wish.level_db is None:
            return None
        words = f"{wish.level_db:g} dB at {wish.distance_m or 1.0:g} m"
        if isinstance(volts, ChannelVoltage):
            return replace(volts, source=words)
        return ChannelVoltage(highest / math.sqrt(2.0), highest, f"the amplifier clips before {words}")

    @cached_property
    def tweeters(self) -> tuple[DriverCard, ...]:
        """The cards of those drivers that play the treble."""
        played = roles(self.speaker, self.network)
        return tuple(card for card in self.network.drivers if played[card.key] is Role.HIGH)

    @cached_property
    def guessed(self) -> tuple[str, ...]:
        """Drivers whose impedance was not measured."""
        return tuple(d for d in self.network.driver_names if not measured_impedance(self.speaker, d))

    def watts_below(self, card: DriverCard) -> Callable[[float], float]:
        """Average watts into a driver below a frequency, Hz, at the listening level."""
        assert self.listening is not None  # the caller has looked
        f, drive = self.solution.frequency_hz, self.solution.drive[card.key]
        power, z = self.listening.rms_v**2, self.speaker.drivers[card.driver].impedance_ohm(f)
        weights = programme_weights(f, Spectrum.PROGRAMME)
        return lambda edge_hz: power * heat_w(np.where(f < edge_hz, weights, 0.0), drive, z)[0]


def below_resonance_w(speaker: Speaker, network: Network, sound: Sound) -> Mapping[str, float]:
    """Average watts into each tweeter below its resonance at the listening level, by its key, where they are known."""
    case = _Case(speaker, "", network, sound)
    if case.listening is None:
        return {}
    resonances = {card: driver_resonance_hz(speaker.drivers[card.driver]) for card in case.tweeters}
    watts = {card.key: case.watts_below(card)(hz) for card, hz in resonances.items() if not math.isnan(hz)}
    return {key: w for key, w in watts.items() if not math.isnan(w)}


def _below_resonance(case: _Case) -> Iterator[Finding]:
    """Tweeters that get too many watts below their resonance, or where not known: whose corner lies near it."""
    speaker, network = case.speaker, case.network
    if len(network.channels) != 1 or len(network.driver_names) < 2:
        return
    for card in case.tweeters:
        if case.listening is None:
            resonance = driver_resonance_hz(speaker.drivers[card.driver])
            if not math.isnan(resonance):
                yield from _near_resonance(case, card.key, resonance)
            continue
        said = tweeter_finding(
            speaker, case.name, card, network.driver_names, case.watts_below(card), case.listening.source
        )
        if said is not None:
            yield said


def _near_resonance(case: _Case, key: str, resonance_hz: float) -> Iterator[Finding]:
    wish = case.speaker.listening
    asked = wish is not None and wish.level_db is not None
    f = case.solution.frequency_hz
    crossovers = read_crossovers(f, case.sound.branches, case.sound.total.coherent)
    at_hz = next((c.frequency_hz for c in crossovers if key in c.upper and c.frequency_hz is not None), None)
    if at_hz is None:
        drive = np.nan_to_num(np.abs(case.solution.drive[key]))
        if not drive.any():
            return
        at_hz = float(f[int(np.argmax(drive >= 0.5 * drive.max(initial=0.0)))])
    if at_hz < RESONANCE_RATIO * resonance_hz:
        yield found(
            Fault.NEAR_RESONANCE,
            case.name,
            about_driver=key,
            key=key,
            at_hz=at_hz,
            resonance_hz=resonance_hz,
            level_given=asked,
        )


def _ratings(case: _Case, quick: bool) -> Iterator[Finding]:
    """Parts against their ratings, by the stress alone; see `rules/margins.py`."""
    rated: list[Part] = [p for p in case.network.resistors if p.watts is not None]
    if not quick:
        rated += [p for p in case.network.capacitors if p.volts is not None]
        rated += [p for p in case.network.coils if p.amps is not None]
    if not rated:
        return
    first = case.full or ({case.network.channels[0].name: case.listening} if case.listening is not None else {})
    if not first:
        return
    stress = read_stress(
        case.solution,
        {name: v.rms_v for name, v in first.items()},
        next(iter(first.values())).crest,
        # The heat of programme has no worst frequency to be sought.
        refine=None if quick else lambda f: solve(case.network, f, case.speaker.impedances_ohm(case.network, f)),
    )
    quiet = _quiet(case, stress)
    for part in rated:
        try:
            at_full = rate_part(part, stress.of(part.name))
            at_level = None if quiet is None else rate_part(part, quiet.of(part.name))
        except InputError as error:
            raise error.at(case.network.path, part.line) from None
        rating, heard = at_full, False
        if at_level is not None and (at_full is None or at_level.needed > at_full.needed or not case.full):
            rating, heard = at_level, True
        if isinstance(part, Resistor) and at_level is not None and at_level.verdict is RatingVerdict.OVER:
            yield _burns(case, at_level)
        elif rating is not None and rating.broken:
            over = rating.verdict is RatingVerdict.OVER
            yield found(
                Fault.OVER_RATING if over else Fault.THIN_RATING,
                case.name,
                about_part=part.name,
                part=part.name,
                rating=rating.sentence,
                level=_level_words(case, heard),
                usual=rating.usual,
                unit=_UNITS[rating.quantity],
            )


_UNITS: Final = {"power_w": "W", "voltage_v": "V", "current_a": "A"}


def _quiet(case: _Case, stress: NetworkStress) -> NetworkStress | None:
    one = case.listening
    if one is None or not case.full:
        return stress if one is not None else None
    (loud,) = case.full.values()
    return stress.scaled(one.rms_v / loud.rms_v, one.crest / loud.crest)


def _level_words(case: _Case, heard: bool) -> str:
    if heard and case.listening is not None:
        return case.listening.source
    return next(iter(case.full.values())).source


def _burns(case: _Case, rating: PartRating) -> Finding:
    said, heard = rating.said or math.nan, unheard(case.speaker, case.network.driver_names)
    doubt = least_watts(rating.stress, case.guessed, heard) <= said
    return found(
        Fault.BURNS,
        case.name,
        unsure=settle(case.guessed, heard) if doubt else "",
        about_part=rating.name,
        part=rating.name,
        rating=rating.sentence,
        level=_level_words(case, True),
        usual=rating.usual,
        unit="W",
        quieter_db=10.0 * math.log10(rating.stress / said),
    )


def _oil_filled(case: _Case) -> Iterator[Finding]:
    for capacitor in case.network.capacitors:
        if says_oil(capacitor.kind):
            yield found(Fault.OIL_FILLED, case.name, about_part=capacitor.name, part=capacitor.name)


def _open_drivers(case: _Case) -> Iterator[Finding]:
    """What load and capacitors come to with one driver unplugged; a caution where one is dead, else good to know."""
    network, f, speaker = case.network, case.solution.frequency_hz, case.speaker
    told = []
    for fault in driver_faults(speaker, network, f, (FaultKind.OPEN,)):
        amplifier = amplifier_of(speaker, network, fault.channel)
        limit = amplifier.minimum_load_ohm if amplifier is not None else None
        low = fault.minimum_ohm is not None and is_short(fault.minimum_ohm, fault.healthy_minimum_ohm, limit)
        over = [c for c in fault.capacitors if c.over_rating]
        if low or over:
            worst = max(over, key=lambda c: c.magnification, default=None)
            capacitor = None if worst is None else (worst.name, worst.peak_v, worst.rating_v)
            lowest = math.nan if fault.minimum_ohm is None else fault.minimum_ohm
            told.append(Unplugged(fault.driver, lowest, fault.at_hz, low, capacitor))
    if told:
        dead = any(is_open(speaker.drivers[network.driver_card(one.key).driver]) for one in told)
        yield found(
            Fault.OPEN_DRIVER,
            case.name,
            severity=Severity.CAUTION if dead else Severity.NOTE,
            about_driver=told[0].key if len(told) == 1 else "",
            cases=tuple(told),
        )
