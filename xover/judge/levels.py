"""At what voltage a network is judged: the amplifier at its limit, and the listening level."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from xover.amplifier.demand import rated_voltage, voltage_for_level
from xover.network import Network
from xover.rules.margins import CREST
from xover.sound.load import amplifier_of
from xover.speaker import Speaker


@dataclass(frozen=True)
class ChannelVoltage:
    """What one channel gives: rms of the programme and the peak that it swings to; `source` tells why."""

    rms_v: float
    peak_v: float
    source: str

    @property
    def crest(self) -> float:
        """Peak over rms."""
        return self.peak_v / self.rms_v


def at_limit(power_w: float, load_ohm: float, crest: float) -> ChannelVoltage:
    """An amplifier whose programme's peaks reach the peak of its rated sine, sqrt(2 P R)."""
    peak = math.sqrt(2.0) * rated_voltage(power_w, load_ohm)
    return ChannelVoltage(peak / crest, peak, f"an amplifier of {power_w:g} W into {load_ohm:g} ohm at its limit")


def full_voltages(speaker: Speaker, network: Network, crest: float = CREST) -> Mapping[str, ChannelVoltage]:
    """The amplifiers of speaker.toml at their limit, by channel; a channel of which no rating is whole is left out."""
    own = speaker.amplifier
    out = {}
    for channel in network.channels:
        amplifier = amplifier_of(speaker, network, channel.name)
        for one in (amplifier, own):
            if one is not None and one.rated_power_w and one.rated_load_ohm:
                volts = at_limit(one.rated_power_w, one.rated_load_ohm, crest)
                stands_in = " (that of [amplifier], as the channel's own rating is not whole)"
                out[channel.name] = volts if one is amplifier else replace(volts, source=volts.source + stands_in)
                break
    return out


def listening_voltage(
    speaker: Speaker, sensitivity_db: float, crest: float = CREST, highest_v: float = math.inf
) -> ChannelVoltage | str | None:
    """The listening level's volts, as `xover load` works them out, cut off where the amplifier clips.

    Parameters
    ----------
    sensitivity_db : level of the whole speaker at 1 m for 2.83 V; NaN where it is not known.
    highest_v : the peak at which the amplifier clips.

    Returns
    -------
    None where the level or the sound is not known; a sentence where the amplifier cannot come near.
    """
    wish = speaker.listening
    if wish is None or wish.level_db is None or math.isnan(sensitivity_db):
        return None
    distance = wish.distance_m or 1.0
    rms = voltage_for_level(wish.level_db, sensitivity_db, distance)
    wanted = rms * (crest if wish.headroom_db is None else math.sqrt(2.0) * 10.0 ** (wish.headroom_db / 20.0))
    source = f"{wish.level_db:g} dB on average at {distance:g} m"
    if wanted > highest_v:
        if rms * math.sqrt(2.0) > highest_v:
            return f"{source} asks for {rms:.3g} V rms, which this amplifier does not reach: left out"
        source += f", where the amplifier clips peaks of {wanted:#.3g} V"
    return ChannelVoltage(rms, min(wanted, highest_v), source)
