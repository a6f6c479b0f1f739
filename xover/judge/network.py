"""Is a network sound: connections, protection of the tweeter, polarity, parts that ask for care, and its amplifier?"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Final

import numpy as np

from xover.amplifier.demand import rated_voltage
from xover.amplifier.load import judge_load, read_load
from xover.curve import log_grid
from xover.driver.fit import DriverFit
from xover.judge.findings import Fault, Finding, found
from xover.network import Network, find_sections, solve
from xover.rules.margins import BARE_SHARE, DC_PATH_SHARE, KEPT_OFF_SHARE, POLARITY_DB
from xover.sound.load import amplifier_of, channel_impedance
from xover.sound.prediction import Prediction, predict
from xover.sound.resonance import Role, driver_role
from xover.speaker import Speaker

_DC_HZ: Final = 1e-3
"""So slow that every capacitor is open and every coil its DCR."""


def network_findings(
    speaker: Speaker, name: str, network: Network, fits: Mapping[str, DriverFit | None]
) -> Iterator[Finding]:
    """Go through one network of the folder."""
    yield from _connections(name, network)
    yield from _protection(speaker, name, network, fits)
    yield from _parts(speaker, name, network)
    yield from _sound(name, network, predict(speaker, name, log_grid(20.0, 20e3, 24)))
    yield from amplifier_findings(speaker, name, network)


def _connections(name: str, network: Network) -> Iterator[Finding]:
    ends = Counter(n for e in (*network.parts, *network.drivers) for n in (e.a, e.b))
    given = {"0"} | {n for c in network.channels for n in (c.plus, c.minus)}
    for element in (*network.parts, *network.drivers):
        for node in (element.a, element.b):
            if ends[node] == 1 and node not in given:
                yield found(Fault.LOOSE_NODE, name, node=node, element=element.name)
    for section in find_sections(network):
        if not section.reaches_driver:
            yield found(Fault.IDLE_PARTS, name, parts=tuple(section.elements))


def dc_drive(speaker: Speaker, network: Network, fits: Mapping[str, DriverFit | None]) -> dict[str, float]:
    """Share of a DC voltage at the amplifier that reaches each driver, by key: capacitors open, coils their DCR."""
    resistance = {}
    for driver in network.driver_names:
        fit, entry = fits.get(driver), speaker.drivers[driver]
        if fit is not None:
            ohms = fit.model.re_ohm
        elif entry.re_ohm is not None:
            ohms = entry.re_ohm
        else:
            ohms = float(np.nanmin(np.abs(entry.impedance_ohm(log_grid(20.0, 20e3, 12)))))
        resistance[driver] = np.array([ohms])
    solution = solve(network, np.array([_DC_HZ]), resistance)
    return {key: float(abs(v[0])) for key, v in solution.drive.items()}


def _protection(
    speaker: Speaker, name: str, network: Network, fits: Mapping[str, DriverFit | None]
) -> Iterator[Finding]:
    shares = dc_drive(speaker, network, fits)
    for card in network.drivers:
        share, role = shares[card.key], driver_role(speaker.drivers[card.driver])
        fault = None
        if role is Role.HIGH and share > BARE_SHARE:
            fault = Fault.BARE_TWEETER
        elif role is Role.HIGH and share > KEPT_OFF_SHARE:
            fault = Fault.COIL_PROTECTS
        elif role is Role.LOW and share < DC_PATH_SHARE:
            fault = Fault.BLOCKED_WOOFER
        if fault is not None:
            yield found(fault, name, key=card.key, card=card.name, share=share)


def _parts(speaker: Speaker, name: str, network: Network) -> Iterator[Finding]:
    amplifier = speaker.amplifier
    peak_v = math.nan
    if amplifier is not None and amplifier.rated_power_w and amplifier.rated_load_ohm:
        peak_v = math.sqrt(2.0) * rated_voltage(amplifier.rated_power_w, amplifier.rated_load_ohm)
    for capacitor in network.capacitors:
        if any(word in (capacitor.kind or "") for word in ("oil", "pio")):
            yield found(Fault.OIL_FILLED, name, part=capacitor.name)
        if capacitor.volts is not None and capacitor.volts < peak_v:
            yield found(Fault.LOW_RATING, name, part=capacitor.name, rated_v=capacitor.volts, peak_v=peak_v)
    for resistor in network.resistors:
        if resistor.is_lamp:
            yield found(Fault.LAMP, name, part=resistor.name, ohm=resistor.ohm)


def _gain_if_reversed_db(prediction: Prediction, crossover_hz: float) -> float:
    """How much louder the reversed sum is, on average over the octave round a crossover; NaN if not known."""
    near = np.abs(np.log2(prediction.frequency_hz / crossover_hz)) <= 0.5
    with np.errstate(invalid="ignore"):  # silence less silence is not known
        change = prediction.total.reversed_level_db[near] - prediction.total.level_db[near]
    known = change[np.isfinite(change)]
    return float(known.mean()) if known.size else math.nan


def _sound(name: str, network: Network, prediction: Prediction) -> Iterator[Finding]:
    if not prediction.total.coherent:
        yield found(Fault.ENVELOPE, name, reason=prediction.timing_reason)
    for crossover in prediction.crossovers:
        pair = f"{'+'.join(crossover.lower)} and {'+'.join(crossover.upper)}"
        if crossover.frequency_hz is None:
            yield found(Fault.NO_CROSSOVER, name, pair=pair, reason=crossover.reason)
        elif prediction.total.coherent:
            gain_db = _gain_if_reversed_db(prediction, crossover.frequency_hz)
            if gain_db > POLARITY_DB:
                yield found(Fault.POLARITY, name, pair=pair, at_hz=crossover.frequency_hz, gain_db=gain_db)
    reversed_keys = tuple(d.key for d in network.drivers if d.plus == "0")
    if reversed_keys:
        yield found(Fault.REVERSED, name, keys=reversed_keys)


def amplifier_findings(speaker: Speaker, name: str, network: Network) -> Iterator[Finding]:
    """Bridged channels that share their minus, and loads below a rating."""
    by_minus: dict[str, list[str]] = {}
    for channel in network.channels:
        by_minus.setdefault(channel.minus, []).append(channel.name)
    for minus, channels in by_minus.items():
        bridged = [_is_bridged(speaker, network, channel) for channel in channels]
        if len(channels) > 1 and not all(b is False for b in bridged):
            fault = Fault.BRIDGED_JOINED if any(bridged) else Fault.PERHAPS_BRIDGED
            yield found(fault, name, channels=tuple(channels), node=minus)
    yield from _loads(speaker, name, network)


def _is_bridged(speaker: Speaker, network: Network, channel: str) -> bool | None:
    """Whether the amplifier behind a channel is bridged; None where nothing is said."""
    own = amplifier_of(speaker, network, channel)
    if own is not None and own.bridged is not None:
        return own.bridged
    return speaker.amplifier.bridged if speaker.amplifier is not None else None


def _loads(speaker: Speaker, name: str, network: Network) -> Iterator[Finding]:
    grid = log_grid(20.0, 20e3, 48)
    solution = solve(network, grid, speaker.impedances_ohm(network, grid))
    for channel in network.channels:
        amplifier = amplifier_of(speaker, network, channel.name)
        seen = channel_impedance(speaker, network, channel.name)
        reading = read_load(grid, solution.impedance_ohm[channel.name], seen)
        least = amplifier.minimum_load_ohm if amplifier else None
        verdict = judge_load(reading, least)
        where = f"{name}, channel {channel.name}" if len(network.channels) > 1 else name
        if verdict.limit_broken:
            yield found(Fault.LOW_LOAD, where, verdict=verdict.sentence)
        elif least is None:
            yield found(Fault.UNRATED, where, lowest_ohm=reading.minimum_ohm)
