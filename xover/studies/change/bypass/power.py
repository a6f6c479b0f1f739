"""Watts of every channel at the listening level, what its amplifier must give, and how to trim it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from xover.acoustic.level import sensitivity
from xover.amplifier.demand import rated_voltage, voltage_for_level
from xover.amplifier.programme import Spectrum, heat_w, programme_weights
from xover.curve import Complex, Float
from xover.rules.bands import LEAST_KNOWN
from xover.rules.margins import HEADROOM_DB
from xover.speaker import Speaker
from xover.studies.change.bypass.channels import BareDrivers, amplifier_for, minimum_load
from xover.studies.change.bypass.crossover import CrossoverSum


@dataclass(frozen=True)
class AmplifierRating:
    """What one channel's amplifier is rated for.

    Attributes
    ----------
    power_w, load_ohm : rated power, and the load that it is into.
    voltage_v : rms at that power.
    load_assumed : True where no rated load is given and the lowest load allowed stands for it, which gives the
        least volts.
    where : the table of speaker.toml.
    """

    power_w: float
    load_ohm: float
    voltage_v: float
    load_assumed: bool
    where: str


@dataclass(frozen=True)
class ChannelPower:
    """Power of one channel. NaN where it cannot be told.

    Attributes
    ----------
    programme_share : share of the programme's squared voltage that the channel's filter passes, its gain left out.
    voltage_rms_v : average of the programme on the channel at the listening level.
    average_power_w : that the channel's drivers draw. power_w : with the headroom, of a sine as high as the peaks.
    power_below_resonance_w : average that reaches the driver below its resonance; passive_below_resonance_w : the same
        through the passive network at the same listening level.
    known_share : share of what the filter passes of the programme for which the driver's impedance is known.
    rating : of the amplifier, or None. margin_db : its volts over those needed with the headroom.
    """

    programme_share: float
    voltage_rms_v: float
    average_power_w: float
    power_w: float
    power_below_resonance_w: float
    passive_below_resonance_w: float
    known_share: float
    rating: AmplifierRating | None
    margin_db: float


@dataclass(frozen=True)
class Trim:
    """How loud to set one channel.

    Attributes
    ----------
    sensitivity_db : mean level of the driver in its own band for 2.83 V; NaN where it is not known.
    amplifier_gain_db : as given; NaN where it was not, and all are taken alike.
    gain_db : for the best sum with equal amplifiers. trim_db : with the amplifiers' own gains taken off; the highest 0.
    twin_trim_db : the same for the passive network's twin.
    """

    sensitivity_db: float
    amplifier_gain_db: float
    gain_db: float
    trim_db: float
    twin_trim_db: float


@dataclass(frozen=True, eq=False)
class PowerSplit:
    """Power of all channels.

    Attributes
    ----------
    reference_v : rms of the programme on a channel of 0 dB gain, before its slopes; NaN where it cannot be told.
    reason : why not; empty otherwise.
    level_db, distance_m, headroom_db : what was asked for.
    sensitivity_db : of the sum behind the crossover at hand.
    swapped_w, swapped_peak_w : average, and with the headroom, that the highest channel's drivers would draw on the
        lowest channel's output. NaN where it cannot be told.
    """

    channels: Mapping[str, ChannelPower]
    reference_v: float
    reason: str
    level_db: float
    distance_m: float
    headroom_db: float
    sensitivity_db: float
    swapped_w: float
    swapped_peak_w: float


def amplifier_rating(speaker: Speaker, drivers: Sequence[str]) -> AmplifierRating | None:
    """The rating of the amplifier of these drivers' channel; None where no power is given, or no load for it."""
    own, where = amplifier_for(speaker, drivers)
    if own is None or own.rated_power_w is None:
        own, where = speaker.amplifier, "[amplifier]"
    if own is None or own.rated_power_w is None:
        return None
    load = own.rated_load_ohm
    assumed = load is None
    if load is None:
        load = own.minimum_load_ohm if own.minimum_load_ohm is not None else minimum_load(speaker, drivers)[0]
    if load is None:
        return None
    return AmplifierRating(own.rated_power_w, load, rated_voltage(own.rated_power_w, load), assumed, where)


def split_power(
    speaker: Speaker,
    bare: BareDrivers,
    slopes: Mapping[str, Complex],
    reached: CrossoverSum | None,
    passive_drive: Mapping[str, Complex],
    passive_level_db: Float | None,
    resonance_hz: Mapping[str, float],
) -> PowerSplit:
    """Split the programme's power up by channel.

    Parameters
    ----------
    slopes : (n,) by channel. reached : the sum behind the crossover at hand, or None where it is not known.
    passive_drive : (n,) complex that the network puts on each channel's drivers; passive_level_db : (n,) of its sum.
    resonance_hz : of each channel's driver.
    """
    f = bare.sound.solution.frequency_hz
    weights = programme_weights(f, Spectrum.PROGRAMME)
    wish = speaker.listening
    distance = wish.distance_m if wish is not None and wish.distance_m else 1.0
    headroom = wish.headroom_db if wish is not None and wish.headroom_db is not None else HEADROOM_DB
    level = wish.level_db if wish is not None and wish.level_db is not None else math.nan
    sound = math.nan if reached is None else _sensitivity(f, reached.total.level_db)
    reference, reason = math.nan, ""
    if math.isnan(level):
        reason = "[listening] names no level_db"
    elif math.isnan(sound):
        reason = "the sensitivity of the drivers is not known"
    else:
        reference = voltage_for_level(level, sound, distance)
    passive = math.nan
    if passive_level_db is not None and not math.isnan(level):
        sensible = _sensitivity(f, passive_level_db)
        passive = math.nan if math.isnan(sensible) else voltage_for_level(level, sensible, distance)
    filters = dict(slopes) if reached is None else dict(reached.filters)
    channels = {}
    for name in bare.names:
        z = bare.sound.solution.impedance_ohm[name]
        drive = filters[name]
        heat, known = _heat(weights, drive, z)
        below = np.where(f < resonance_hz[name], weights, 0.0)
        volts = reference * math.sqrt(float(np.sum(weights * np.abs(drive) ** 2)))
        rating = amplifier_rating(speaker, bare.drivers_of(name))
        needed = volts * 10.0 ** (headroom / 20.0)
        channels[name] = ChannelPower(
            programme_share=float(np.sum(weights * np.abs(slopes[name]) ** 2) / np.sum(weights)),
            voltage_rms_v=volts,
            average_power_w=reference**2 * heat,
            power_w=reference**2 * heat * 10.0 ** (headroom / 10.0),
            power_below_resonance_w=_below(reference, below, drive, z),
            passive_below_resonance_w=_below(passive, below, passive_drive[name], z),
            known_share=known,
            rating=rating,
            margin_db=math.nan if rating is None or math.isnan(volts) else 20.0 * math.log10(rating.voltage_v / needed),
        )
    low, high = bare.names[0], bare.names[-1]
    swapped, _ = _heat(weights, filters[low], bare.sound.solution.impedance_ohm[high])
    return PowerSplit(
        channels=channels,
        reference_v=reference,
        reason=reason,
        level_db=level,
        distance_m=distance,
        headroom_db=headroom,
        sensitivity_db=sound,
        swapped_w=reference**2 * swapped,
        swapped_peak_w=reference**2 * swapped * 10.0 ** (headroom / 10.0),
    )


def _below(volts: float, weights: Float, drive: Complex, impedance_ohm: Complex) -> float:
    """Average watts below a resonance; NaN where it, or the voltage, is not known."""
    if math.isnan(volts) or not weights.any():
        return math.nan
    return volts**2 * _heat(weights, drive, impedance_ohm)[0]


def _heat(weights: Float, drive: Complex, impedance_ohm: Complex) -> tuple[float, float]:
    """Watts of one volt of programme behind a filter, and the share of what passes it for which they are known.

    NaN where the impedance is not known for nearly all of that: the rest of it would come on top.
    """
    passed = np.where(np.isfinite(drive), weights * np.abs(drive) ** 2, weights)
    if not passed.any():
        return 0.0, 1.0
    heat, known = heat_w(passed, np.where(np.isfinite(drive), 1.0 + 0j, np.nan), impedance_ohm)
    return (heat if known >= LEAST_KNOWN else math.nan), known


def _sensitivity(frequency_hz: Float, level: Float) -> float:
    return sensitivity(frequency_hz, level).level_db


def trims(
    names: tuple[str, ...],
    own_level_db: Mapping[str, float],
    gain_db: Mapping[str, float],
    twin_gain_db: Mapping[str, float],
    amplifier_gain_db: Mapping[str, float],
) -> dict[str, Trim]:
    """Trim every channel.

    Parameters
    ----------
    gain_db : for the best sum with equal amplifiers, NaN where not known. twin_gain_db : of the passive network's twin.
    amplifier_gain_db : voltage gain of each channel's amplifier as far as it is given; one that is not is taken to be
        like the lowest of the given ones.
    """
    given = [amplifier_gain_db[n] for n in names if n in amplifier_gain_db]
    usual = min(given) if given else 0.0
    raw = {n: gain_db[n] - amplifier_gain_db.get(n, usual) for n in names}
    twin = {n: twin_gain_db[n] - amplifier_gain_db.get(n, usual) for n in names}
    top = max(raw.values()) if not any(math.isnan(v) for v in raw.values()) else math.nan
    twin_top = max(twin.values())
    return {
        n: Trim(
            sensitivity_db=own_level_db[n],
            amplifier_gain_db=amplifier_gain_db.get(n, math.nan),
            gain_db=gain_db[n],
            trim_db=raw[n] - top,
            twin_trim_db=twin[n] - twin_top,
        )
        for n in names
    }
