"""What does the amplifier see, and may it?"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from xover.acoustic.level import Sensitivity, sensitivity
from xover.amplifier.demand import (
    Demand,
    ListeningNeed,
    SourceEffect,
    read_demand,
    read_listening,
    source_effect,
)
from xover.amplifier.faults import FaultCase
from xover.amplifier.load import LoadReading, LoadVerdict, judge_load
from xover.amplifier.programme import cold_lamps
from xover.curve import Complex, Float
from xover.network import Network
from xover.plain import some_of
from xover.readable import Readable, Warned
from xover.sound.beyond import Bound, solved
from xover.sound.load import amplifier_of, channel_impedance, channel_load, driver_faults, fed_drivers
from xover.sound.prediction import plain_load, sound_of
from xover.speaker import Speaker


@dataclass(frozen=True, eq=False, repr=False)
class ChannelLoad(Readable):
    """One amplifier channel: what it sees and what that means for the amplifier at hand.

    Attributes
    ----------
    channel : its name; drivers : keys of the drivers that it feeds.
    reading : the load over frequency and the figures that decide.
    verdict : against the lowest load that the amplifier allows.
    demand : current and power at the rated voltage; None without a rating.
    source : how the output resistance bends the response; None where no output_ohm is known.
    """

    channel: str
    drivers: tuple[str, ...]
    impedance_ohm: Complex = field(repr=False)
    reading: LoadReading
    verdict: LoadVerdict
    demand: Demand | None
    source: SourceEffect | None


@dataclass(frozen=True, eq=False, repr=False)
class LoadStudy(Warned):
    """The load of one network.

    Attributes
    ----------
    channels : by name.
    faults : each driver open and shorted in turn.
    listening : watts for the listening level; None where speaker.toml gives no level.
    limits_broken : sentences, one for each limit of the user's that does not hold.
    bounds : how far the loads may be off where a driver's sweep does not reach.
    """

    title: str
    network: str
    frequency_hz: Float
    channels: Mapping[str, ChannelLoad]
    faults: tuple[FaultCase, ...]
    listening: ListeningNeed | None
    limits_broken: tuple[str, ...]
    residual: float
    warnings: tuple[str, ...]
    bounds: tuple[Bound, ...] = ()

    @property
    def within_limits(self) -> bool:
        """Whether every limit of the user's holds."""
        return not self.limits_broken

    def plain(self) -> dict[str, Any]:
        """The blueprint's shape, the figures under `summary`."""
        summary: dict[str, Any] = {"channels": {name: _plain_channel(c) for name, c in self.channels.items()}}
        summary |= some_of(self, "faults listening limits_broken", solve_residual=self.residual)
        if self.bounds:
            summary["beyond_sweeps"] = self.bounds
        load = plain_load({name: c.impedance_ohm for name, c in self.channels.items()})
        return some_of(self, "title network frequency_hz", load=load, summary=summary, warnings=self.warnings)


def _plain_channel(channel: ChannelLoad) -> dict[str, Any]:
    """Figures only: the curves stand under `load` already."""
    curves = ("frequency_hz", "impedance_ohm", "phase_deg", "epdr_ohm")
    figures = {k: v for k, v in vars(channel.reading).items() if k not in curves}
    return {
        "drivers": channel.drivers,
        **figures,
        "verdict": channel.verdict,
        "demand": channel.demand,
        "source_effect": channel.source,
    }


def study_load(
    speaker: Speaker, network_name: str, frequency_hz: Float, *, output_ohm: float | None = None
) -> LoadStudy:
    """Study the load of one network.

    Parameters
    ----------
    frequency_hz : (n,) rising; its ends are the band that is judged.
    output_ohm : amplifier's output resistance; by default that of speaker.toml.

    Raises InputError, OptionError, NoSolutionError.
    """
    network = speaker.network(network_name)
    found = solved(speaker, network, frequency_hz)
    solution = found.solution
    band = (float(frequency_hz[0]), float(frequency_hz[-1]))
    channels: dict[str, ChannelLoad] = {}
    for channel in network.channels:
        z = solution.impedance_ohm[channel.name]
        refine = channel_impedance(speaker, network, channel.name)
        fed = fed_drivers(network, channel.name)
        amplifier = amplifier_of(speaker, network, channel.name)
        reading = channel_load(speaker, solution, channel.name)
        ohms = output_ohm if output_ohm is not None else (amplifier.output_ohm if amplifier else None)
        power, load = (amplifier.rated_power_w, amplifier.rated_load_ohm) if amplifier else (None, None)
        channels[channel.name] = ChannelLoad(
            channel=channel.name,
            drivers=fed,
            impedance_ohm=z,
            reading=reading,
            verdict=judge_load(reading, amplifier.minimum_load_ohm if amplifier else None),
            demand=read_demand(reading, power, load) if power and load else None,
            source=source_effect(frequency_hz, z, ohms, refine, band) if ohms is not None else None,
        )
    broken = tuple(
        (f"channel {c.channel}: " if len(channels) > 1 else "") + c.verdict.sentence
        for c in channels.values()
        if c.verdict.limit_broken
    )
    wished = speaker.listening is not None and speaker.listening.level_db is not None and len(channels) == 1
    sensed = sensitivity(frequency_hz, sound_of(speaker, network_name, frequency_hz).total.level_db) if wished else None
    return LoadStudy(
        title=speaker.title,
        network=network_name,
        frequency_hz=frequency_hz,
        channels=channels,
        faults=driver_faults(speaker, network, frequency_hz),
        listening=None if sensed is None else _listening(speaker, sensed, next(iter(channels.values()))),
        limits_broken=broken,
        residual=solution.residual,
        warnings=(*_warnings(speaker, network, channels, found.bounds), *_doubts(sensed)),
        bounds=found.bounds,
    )


def _doubts(sensed: Sensitivity | None) -> Iterator[str]:
    if sensed is not None and sensed.doubt:
        yield f"the sensitivity, which the volts for a level follow from, is {sensed.doubt}"


def _listening(speaker: Speaker, sensed: Sensitivity, only: ChannelLoad) -> ListeningNeed | None:
    wish, level, amplifier = speaker.listening, sensed.level_db, speaker.amplifier
    if wish is None or wish.level_db is None or math.isnan(level):
        return None
    return read_listening(
        wish.level_db,
        wish.distance_m or 1.0,
        wish.headroom_db or 0.0,
        level,
        only.reading.minimum_ohm,
        amplifier.rated_power_w if amplifier else None,
        amplifier.rated_load_ohm if amplifier else None,
    )


def _warnings(
    speaker: Speaker, network: Network, channels: Mapping[str, ChannelLoad], bounds: tuple[Bound, ...]
) -> tuple[str, ...]:
    notes = [note for name in network.driver_names for note in speaker.drivers[name].notes]
    said: list[str] = [note for note in notes if note.about.of_impedance]
    said += [bound.of_load for bound in bounds]
    for channel in channels.values():
        said += channel.reading.notes
    said += cold_lamps(network, "hot, the load rises")
    return tuple(dict.fromkeys(said))
