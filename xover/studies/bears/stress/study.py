"""What programme at full level does to the parts: watts, volts and amperes, and which ratings that needs."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from xover.acoustic.level import Sensitivity, sensitivity
from xover.amplifier.demand import SENSITIVITY_VOLTAGE_V
from xover.amplifier.programme import SPECTRUM_WORDS, Spectrum, cold_lamps, share_outside
from xover.amplifier.stress import (
    PEAK_NOTE,
    ElementKind,
    ElementStress,
    NetworkStress,
    PartRating,
    rate_part,
    read_stress,
)
from xover.curve import Float, log_grid
from xover.errors import InputError, OptionError, named
from xover.judge.levels import ChannelVoltage, at_limit, full_voltages, listening_voltage
from xover.network import Inductor, Network, Resistor, Solution, solve
from xover.plain import some_of
from xover.quantity import hertz
from xover.readable import Readable, Warned
from xover.rules.margins import CREST, HIGHEST_CREST, HOT_W, LEAST_LOST, LOUD_DB
from xover.sound.prediction import sound_of
from xover.speaker import Speaker

ASSUMPTION: Final = (
    "the same full-range signal on every channel, in step; parts keep their values when hot; the rms of the "
    "programme is held for minutes, as heat asks for"
)


@dataclass(frozen=True, eq=False, repr=False)
class StressLevel(Readable):
    """The network at one level.

    Attributes
    ----------
    name : "rated", "given" or "listening".
    sentence : what level that is.
    crest : peak over rms of the programme.
    channels : volts by channel.
    stress : what every part and driver bears.
    ratings : by part; lamps have none.
    sound_level_db : average level at `distance_m`, free field; None where the sound is not known.
    """

    name: str
    sentence: str
    crest: float
    channels: Mapping[str, ChannelVoltage]
    stress: NetworkStress
    ratings: Mapping[str, PartRating]
    sound_level_db: float | None
    distance_m: float


@dataclass(frozen=True, eq=False, repr=False)
class StressStudy(Warned):
    """Stress on the parts of one network.

    Attributes
    ----------
    frequency_hz : (n,) the grid; its ends are the band in which worst frequencies are sought.
    outside_share : share of the programme's power outside that band, which nothing here counts.
    levels : the amplifier's full power, or what was asked for, first; the listening level where one is known.
    ratings : by part, at that of the levels which asks for more; lamps have none.
    limits_broken : sentences, one for each part whose card states less than it needs.
    """

    title: str
    network: str
    spectrum: Spectrum
    spectrum_words: str
    frequency_hz: Float = field(repr=False)
    outside_share: float
    levels: tuple[StressLevel, ...]
    ratings: Mapping[str, PartRating]
    limits_broken: tuple[str, ...]
    cautions: tuple[str, ...]
    assumptions: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def within_limits(self) -> bool:
        """Whether no card states less than its part needs."""
        return not self.limits_broken

    @property
    def full(self) -> StressLevel:
        """The amplifier's full power, or what was asked for."""
        return self.levels[0]

    @property
    def quiet(self) -> StressLevel | None:
        """The listening level; None where it is not known."""
        return self.levels[1] if len(self.levels) > 1 else None

    def plain(self) -> dict[str, Any]:
        """Levels by name; what each part bears by its name."""
        return some_of(
            self,
            "title network spectrum",
            from_hz=self.frequency_hz[0],
            to_hz=self.frequency_hz[-1],
            outside_share=self.outside_share,
            levels={level.name: _plain_level(level) for level in self.levels},
            summary=some_of(self, "ratings limits_broken cautions assumptions"),
            warnings=self.warnings,
        )


def _plain_level(level: StressLevel) -> dict[str, Any]:
    return some_of(
        level,
        "sentence crest channels sound_level_db distance_m",
        **some_of(level.stress, "power_w drawn_w drawn_known_share"),
        elements={e.name: e for e in level.stress.elements},
        ratings=level.ratings,
    )


def study_stress(
    speaker: Speaker,
    network_name: str,
    frequency_hz: Float | None = None,
    *,
    power_w: float | None = None,
    load_ohm: float | None = None,
    rms_v: float | None = None,
    crest: float = CREST,
    spectrum: Spectrum = Spectrum.PROGRAMME,
) -> StressStudy:
    """Study the stress on one network's parts.

    The programme's peaks reach the peak of the rated sine, sqrt(2 P R), so its rms is that over the crest factor.

    Parameters
    ----------
    frequency_hz : (n,) rising; by default 20 Hz to 20 kHz, 48 in an octave.
    power_w, load_ohm : an amplifier's rating instead of that in speaker.toml; the load by default that of [amplifier].
    rms_v : the programme's rms instead, on every channel.
    crest : peak over rms, 1 to 100.

    Raises InputError: no rating is known, or a card's rating is no number. OptionError, NoSolutionError.
    """
    if not 1.0 <= crest <= HIGHEST_CREST:
        raise OptionError(f"the crest factor is {crest:g}", f"give peak over rms, 1 to {HIGHEST_CREST:g}")
    grid = log_grid(20.0, 20_000.0, 48) if frequency_hz is None else frequency_hz
    network = speaker.network(network_name)

    def solve_at(f: Float) -> Solution:
        return solve(network, f, speaker.impedances_ohm(network, f))

    solution = solve_at(grid)
    sensed = _sensitivity(speaker, network_name, grid, network)
    sensitivity_db = None if sensed is None or math.isnan(sensed.level_db) else sensed.level_db
    full = _full_voltages(speaker, network, power_w, load_ohm, rms_v, crest)
    stress = read_stress(solution, {k: v.rms_v for k, v in full.items()}, crest, spectrum, solve_at)
    name = "given" if power_w is not None or rms_v is not None else "rated"
    levels = [_level(speaker, network, name, full, stress, sensitivity_db)]
    quiet = listening_voltage(
        speaker, math.nan if sensitivity_db is None else sensitivity_db, crest, _highest_peak(speaker, full, rms_v)
    )
    wished = speaker.listening is not None and speaker.listening.level_db is not None
    beyond: tuple[str, ...] = ()
    if wished and sensed is not None and sensed.doubt:
        beyond = (f"the sensitivity, which the listening level's volts follow from, is {sensed.doubt}",)
    if isinstance(quiet, str):
        beyond += (quiet,)
    elif quiet is not None:
        (loud,) = full.values()
        scaled = stress.scaled(quiet.rms_v / loud.rms_v, quiet.crest / loud.crest)
        volts = {network.channels[0].name: quiet}
        levels.append(_level(speaker, network, "listening", volts, scaled, sensitivity_db))
    heavy = max(levels, key=lambda level: level.stress.power_w)
    ratings = {
        name: max((level.ratings[name] for level in levels), key=lambda r: -1.0 if math.isnan(r.needed) else r.needed)
        for name in levels[0].ratings
    }
    return StressStudy(
        title=speaker.title,
        network=network_name,
        spectrum=spectrum,
        spectrum_words=SPECTRUM_WORDS[spectrum],
        frequency_hz=grid,
        outside_share=share_outside(grid, spectrum),
        levels=tuple(levels),
        ratings=ratings,
        limits_broken=tuple(r.sentence for r in ratings.values() if r.broken),
        cautions=cautions_of(network, heavy.stress, heavy.sound_level_db, heavy.distance_m),
        assumptions=(SPECTRUM_WORDS[spectrum], ASSUMPTION, PEAK_NOTE),
        warnings=(*beyond, *warnings_of(speaker, network, stress, 1.0 - share_outside(grid, spectrum))),
    )


def _level(
    speaker: Speaker,
    network: Network,
    name: str,
    volts: Mapping[str, ChannelVoltage],
    stress: NetworkStress,
    sensitivity_db: float | None,
) -> StressLevel:
    ratings = {}
    for part in network.parts:
        try:
            rating = rate_part(part, stress.of(part.name))
        except InputError as error:
            raise error.at(network.path, part.line) from None
        if rating is not None:
            ratings[part.name] = rating
    distance = speaker.listening.distance_m if speaker.listening is not None else None
    first = next(iter(volts.values()))
    sound = None
    if sensitivity_db is not None and first.rms_v > 0:
        sound = sensitivity_db + 20.0 * math.log10(first.rms_v / SENSITIVITY_VOLTAGE_V / (distance or 1.0))
    return StressLevel(
        name=name,
        sentence=_sentence(volts),
        crest=first.crest,
        channels=volts,
        stress=stress,
        ratings=ratings,
        sound_level_db=sound,
        distance_m=distance or 1.0,
    )


def _sentence(volts: Mapping[str, ChannelVoltage]) -> str:
    said = []
    for one in dict.fromkeys(volts.values()):
        names = ", ".join(name for name, v in volts.items() if v == one)
        whose = f"{names}: " if len(set(volts.values())) > 1 else ""
        said.append(
            f"{whose}{one.source}: peaks of {one.peak_v:#.3g} V, {one.rms_v:#.3g} V rms "
            f"(crest factor {one.crest:.3g}, {20.0 * math.log10(one.crest):.1f} dB)"
        )
    return "; ".join(said)


def _full_voltages(
    speaker: Speaker,
    network: Network,
    power_w: float | None,
    load_ohm: float | None,
    rms_v: float | None,
    crest: float,
) -> Mapping[str, ChannelVoltage]:
    """Volts of every channel at full level."""
    if rms_v is not None:
        if power_w is not None:
            raise OptionError("both watts and volts are given", "give one of them")
        if not 0.0 < rms_v < math.inf:
            raise OptionError(f"the programme has {rms_v:g} V", "give volts above 0")
        return {c.name: ChannelVoltage(rms_v, crest * rms_v, "as asked for") for c in network.channels}
    own = speaker.amplifier
    if power_w is not None:
        load = load_ohm if load_ohm is not None else (own.rated_load_ohm if own else None)
        if load is None:
            raise OptionError(
                f"{power_w:g} W are given without their load", f"give {named('load_ohm')}, as in {power_w:g}W@8"
            )
        if not (0.0 < power_w < math.inf and 0.0 < load < math.inf):
            raise OptionError(f"the amplifier is {power_w:g} W into {load:g} ohm", "give both above 0")
        volts = at_limit(power_w, load, crest)
        return {c.name: volts for c in network.channels}
    out = full_voltages(speaker, network, crest)
    for channel in network.channels:
        if channel.name not in out:
            raise InputError(
                f"does not say what amplifier drives channel {channel.name}",
                "add rated_power_w and rated_load_ohm under [amplifier], or give "
                f"{named('power_w')} or {named('rms_v')}",
                speaker.file.path,
            )
    return out


def _highest_peak(speaker: Speaker, full: Mapping[str, ChannelVoltage], rms_v: float | None) -> float:
    """Where the amplifier clips; infinite where nobody says."""
    if rms_v is None:
        return max(v.peak_v for v in full.values())
    own = speaker.amplifier
    if own is None or not (own.rated_power_w and own.rated_load_ohm):
        return math.inf
    return at_limit(own.rated_power_w, own.rated_load_ohm, CREST).peak_v


def _sensitivity(speaker: Speaker, network_name: str, grid: Float, network: Network) -> Sensitivity | None:
    """For 2.83 V at 1 m; None where several channels share the sum."""
    if len(network.channels) != 1:
        return None
    return sensitivity(grid, sound_of(speaker, network_name, grid).total.level_db)


def cautions_of(
    network: Network, stress: NetworkStress, sound_level_db: float | None, distance_m: float
) -> tuple[str, ...]:
    """What to beware of at a level, one sentence each.

    Parameters
    ----------
    sound_level_db : average level at `distance_m`; None where it is not known.
    """
    return tuple(_cautions(network, stress, sound_level_db, distance_m))


def _cautions(network: Network, stress: NetworkStress, level_db: float | None, distance_m: float) -> Iterator[str]:
    hot = [e for e in stress.of_kind(ElementKind.RESISTOR) if e.power_w >= HOT_W]
    if hot:
        names = ", ".join(f"{e.name} ({_watts(e.power_w)})" for e in hot)
        yield f"hot at this level: {names}; keep board, wires, glue and stuffing away"
    burnt = [(e.name, e.sine_power_w, e.sine_power_at_hz) for e in hot_under_a_sine(network, stress)]
    if burnt:
        worst = max(burnt, key=lambda b: b[1])
        names = ", ".join(name for name, _, _ in burnt)
        yield (
            f"no full sine: at its worst frequency it passes the rating of {names} "
            f"({worst[0]}: {_watts(worst[1])} at {hertz(worst[2])}); sweep at low level"
        )
    cored = [
        e
        for e in stress.of_kind(ElementKind.COIL)
        if e.current_rms_a > 0 and _core(network, e.name) not in ("air", "none")
    ]
    if cored:
        amps = ", ".join(f"{e.name} {e.sine_current_peak_a:.3g} A" for e in cored)
        yield (
            f"coils with a core, or whose card names none: {amps} at the peak of a full sine; whether a core saturates "
            "cannot be told without its data (amps= on the card: the peak that it stands)"
        )
    if network.capacitors:
        yield "a driver that is open or unplugged can put far more volts on a capacitor: see 'xover load'"
    if level_db is not None and level_db >= LOUD_DB:
        yield (
            f"{level_db:.0f} dB on average at {distance_m:g} m: wear hearing protection when you test at this level "
            f"({LOUD_DB:g} dB(A) for 8 hours is the usual limit at work)"
        )


def hot_under_a_sine(network: Network, stress: NetworkStress) -> list[ElementStress]:
    """Resistors whose card's watts a full sine passes at its worst frequency."""
    found = []
    for e in stress.of_kind(ElementKind.RESISTOR):
        part = network.part(e.name)
        watts = part.watts if isinstance(part, Resistor) else None
        if watts is not None and e.sine_power_w > watts:
            found.append(e)
    return found


def warnings_of(speaker: Speaker, network: Network, stress: NetworkStress, inside_share: float) -> tuple[str, ...]:
    """What the figures do not hold for.

    Parameters
    ----------
    inside_share : share of the programme's power within the grid.
    """
    # What was said of the sound does not touch volts and watts.
    notes = [note for name in network.driver_names for note in speaker.drivers[name].notes]
    said: list[str] = [note for note in notes if note.about.of_impedance]
    known = {e.name: e.known_share for e in stress.elements}
    poor = [name for name, share in known.items() if share < inside_share - LEAST_LOST]
    if poor:
        least = min(known[name] for name in poor)
        said.append(
            f"{', '.join(poor)}: known only at frequencies with {least:.0%} of the programme's power or "
            "more; the figures are those of that part, and what is missing comes on top"
        )
    if len(network.channels) > 1:
        said.append(
            "several channels, all driven full range with the same signal: no electronic crossover is in these "
            "figures, behind one each driver gets less"
        )
    said += cold_lamps(network, "hot, it takes watts from what is behind it; see 'xover lamps'")
    return tuple(dict.fromkeys(said))


def _core(network: Network, name: str) -> str:
    part = network.part(name)
    return (part.core or "") if isinstance(part, Inductor) else ""


def _watts(value: float) -> str:
    return f"{value:.2g} W" if math.isfinite(value) else "no limit"
