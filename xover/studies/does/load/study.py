"""What does the amplifier see, and may it?"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from xover.acoustic.level import sensitivity
from xover.amplifier.demand import (
    Demand,
    ListeningNeed,
    SourceEffect,
    rated_voltage,
    read_demand,
    read_listening,
    source_effect,
)
from xover.amplifier.faults import CapacitorStress, FaultCase, fault_cases
from xover.amplifier.load import LoadReading, LoadVerdict, judge_load
from xover.amplifier.programme import cold_lamps
from xover.blocks import FAIL, Block, Cell, Gap, Head, Text, fact, plain_table, table
from xover.curve import Complex, Float
from xover.figures import load_of, written
from xover.network import Network, solve
from xover.plain import some_of
from xover.readable import Readable
from xover.rounded import at_octaves, db, degrees, hertz, ohm
from xover.sound.load import amplifier_of, channel_impedance, channel_load, fed_drivers
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
class LoadStudy(Readable):
    """The load of one network.

    Attributes
    ----------
    channels : by name.
    faults : each driver open and shorted in turn.
    listening : watts for the listening level; None where speaker.toml gives no level.
    limits_broken : sentences, one for each limit of the user's that does not hold.
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

    @property
    def within_limits(self) -> bool:
        """Whether every limit of the user's holds."""
        return not self.limits_broken

    def plain(self) -> dict[str, Any]:
        """The blueprint's shape, the figures under `summary`."""
        summary = {"channels": {name: _plain_channel(c) for name, c in self.channels.items()}}
        summary |= some_of(self, "faults listening limits_broken", solve_residual=self.residual)
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
    solution = solve(network, frequency_hz, speaker.impedances_ohm(network, frequency_hz))
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
    return LoadStudy(
        title=speaker.title,
        network=network_name,
        frequency_hz=frequency_hz,
        channels=channels,
        faults=_faults(speaker, network, frequency_hz),
        listening=_listening(speaker, network_name, frequency_hz, channels),
        limits_broken=broken,
        residual=solution.residual,
        warnings=_warnings(speaker, network, channels),
    )


def _faults(speaker: Speaker, network: Network, frequency_hz: Float) -> tuple[FaultCase, ...]:
    amplifiers = [amplifier_of(speaker, network, c.name) for c in network.channels]
    rated = {
        rated_voltage(a.rated_power_w, a.rated_load_ohm) if a and a.rated_power_w and a.rated_load_ohm else None
        for a in amplifiers
    }
    # Channels of unlike amplifiers share no voltage: then only ratios are told.
    volts = rated.pop() if len(rated) == 1 else None
    return fault_cases(
        network,
        frequency_hz,
        speaker.impedances_ohm(network, frequency_hz),
        volts,
        lambda f: speaker.impedances_ohm(network, f),
    )


def _listening(
    speaker: Speaker, network_name: str, frequency_hz: Float, channels: Mapping[str, ChannelLoad]
) -> ListeningNeed | None:
    wish = speaker.listening
    if wish is None or wish.level_db is None or len(channels) != 1:
        return None
    sound = sound_of(speaker, network_name, frequency_hz)
    level = sensitivity(frequency_hz, sound.total.level_db).level_db
    if math.isnan(level):  # the sum is not known over an octave
        return None
    amplifier = speaker.amplifier
    only = next(iter(channels.values()))
    return read_listening(
        wish.level_db,
        wish.distance_m or 1.0,
        wish.headroom_db or 0.0,
        level,
        only.reading.minimum_ohm,
        amplifier.rated_power_w if amplifier else None,
        amplifier.rated_load_ohm if amplifier else None,
    )


def _warnings(speaker: Speaker, network: Network, channels: Mapping[str, ChannelLoad]) -> tuple[str, ...]:
    notes = [note for name in network.driver_names for note in speaker.drivers[name].notes]
    said: list[str] = [note for note in notes if note.about.of_impedance]
    for channel in channels.values():
        said += channel.reading.notes
    said += cold_lamps(network, "hot, the load rises")
    return tuple(dict.fromkeys(said))


def tell(study: LoadStudy) -> Iterator[Block]:
    """Each channel, each driver's faults, and the watts for a level."""
    yield Head(f"{study.title}: network '{study.network}', load of the amplifier")
    for channel in study.channels.values():
        yield from _channel(channel, study.network, len(study.channels) > 1)
    yield from faults(study, "Each driver open, then shorted")
    need = study.listening
    if need is not None:
        yield Head("Power for the listening level")
        yield Text(need.sentence)
        if need.power_into_rated_w is not None:
            yield Text(
                f"{need.power_into_rated_w:.0f} W into the rated load on peaks, "
                f"{need.average_power_into_rated_w:.2g} W on average."
            )
        yield Text(f"Assumed: {need.assumption}.")


def faults(study: LoadStudy, caption: str) -> Iterator[Block]:
    """What a driver that is dead, open or shorted, makes of the load and of a capacitor."""
    rows = [
        [
            case.driver,
            str(case.kind),
            "none" if case.minimum_ohm is None else ohm(case.minimum_ohm, 2),
            hertz(case.at_hz),
            *_worst(case.capacitors),
        ]
        for case in study.faults
    ]
    columns = ["driver", "fault", "lowest ohm", "at", "capacitor", "x drive", "V peak", "rated V"]
    yield table(caption, columns, rows, numbers=(2, 5, 6, 7))
    yield Text(
        "x drive: the capacitor's highest voltage over the amplifier's; V peak: at its rated power; ! over the rating. "
        "An unplugged driver can leave a series-resonant short, and its capacitor far over the amplifier's voltage: "
        "never play loud with a driver disconnected, and switch off before you unplug one.",
        "quiet",
    )


def _worst(capacitors: tuple[CapacitorStress, ...]) -> list[str | Cell]:
    known = [c for c in capacitors if not math.isnan(c.magnification)]
    if not known:
        return ["-", "-", "-", "-"]
    worst = max(known, key=lambda c: c.magnification)
    rated = "-" if worst.rating_v is None else f"{worst.rating_v:g}"
    return [
        worst.name,
        f"{worst.magnification:.1f}" if worst.bounded else "unbounded",
        "-" if worst.peak_v is None or not np.isfinite(worst.peak_v) else f"{worst.peak_v:.0f}",
        rated if not worst.over_rating else Cell(f"{rated}!", FAIL),
    ]


def _channel(channel: ChannelLoad, network: str, several: bool) -> Iterator[Block]:
    r = channel.reading
    of = load_of(network, channel.channel)
    if several:
        yield Head(f"Channel {channel.channel}: {', '.join(channel.drivers)}")
    rows = [
        [f"{f:g}", ohm(r.impedance_ohm[i]), degrees(r.phase_deg[i]), ohm(r.epdr_ohm[i])]
        for f, i in at_octaves(r.frequency_hz)
    ]
    yield plain_table(["Hz", "ohm", "deg", "EPDR ohm"], rows)
    yield Gap()
    yield fact("lowest", f"{written('lowest load', r.minimum_ohm, of, unit=True)} at {hertz(r.minimum_at_hz)}")
    yield fact("highest", f"{ohm(r.maximum_ohm)} ohm at {hertz(r.maximum_at_hz)}")
    yield fact(
        "phase",
        f"{degrees(r.most_capacitive_deg)} deg at {hertz(r.most_capacitive_at_hz)}, "
        f"{degrees(r.most_inductive_deg)} deg at {hertz(r.most_inductive_at_hz)}",
    )
    yield fact(
        "lowest EPDR", f"{written('lowest EPDR', r.lowest_epdr_ohm, of, unit=True)} at {hertz(r.lowest_epdr_at_hz)}"
    )
    rating = "none of the usual ratings" if r.usual_rating_ohm is None else f"{r.usual_rating_ohm:g} ohm"
    yield fact("may be rated", f"{rating} (IEC 60268-5: the lowest impedance is at least 80 % of the rating)")
    yield fact("verdict", channel.verdict.sentence)
    yield fact("", channel.verdict.epdr_sentence)
    if channel.demand is not None:
        d = channel.demand
        yield fact(
            "at rated voltage",
            f"{d.rated_voltage_v:.1f} V rms: {d.current_rms_a:.1f} A rms, {d.current_peak_a:.1f} A peak at "
            f"{hertz(d.current_at_hz)} (a sine; the rated load draws {d.rated_current_rms_a:.1f} A rms); "
            f"{d.true_power_w:.0f} W at {hertz(d.true_power_at_hz)}",
        )
    if channel.source is not None:
        e = channel.source
        yield fact(
            "output resistance",
            f"{e.output_ohm:g} ohm turns the impedance into response: {db(e.highest_db, 2, True)} dB at "
            f"{hertz(e.highest_at_hz)}, {db(e.lowest_db, 2, True)} dB at {hertz(e.lowest_at_hz)}",
        )
