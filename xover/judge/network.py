"""Is a network sound: connections, protection of the tweeter, polarity, parts that ask for care, and its amplifier?"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

import numpy as np

from xover.amplifier.load import LoadLevel, LoadReading, load_level
from xover.curve import Evidence, log_grid
from xover.driver.fit import DriverFit
from xover.judge.dead import is_open, is_shorted
from xover.judge.findings import Finding, found
from xover.judge.kinds import Fault
from xover.network import Network, Solution, find_sections, solve
from xover.network.network import Section, fixed_nodes
from xover.rules.instruments import SWEPT
from xover.rules.likeness import DATASHEET_SHARE
from xover.rules.margins import BARE_SHARE, DC_PATH_SHARE, IEC_LEAST_SHARE, KEPT_OFF_SHARE, POLARITY_DB
from xover.rules.severity import Severity
from xover.sound.beyond import solve_known
from xover.sound.change import difference_db, mean_round_db
from xover.sound.load import amplifier_of, channel_load
from xover.sound.prediction import Prediction, predict
from xover.sound.resonance import Role, driver_role
from xover.speaker import Speaker

_NEAR: Final = 1.1
"""A lowest load between the rows lies no further below its row than this."""
_DC_HZ: Final = 1e-3
"""So slow that every capacitor is open and every coil its DCR."""


def network_findings(
    speaker: Speaker, name: str, network: Network, fits: Mapping[str, DriverFit | None]
) -> Iterator[Finding]:
    """Go through one network of the folder: all but what is unsafe, which `safety.hazards` tells."""
    for odd in network.odd_values:
        yield found(Fault.ODD_VALUE, name, about_part=odd.part, odd=odd)
    yield from _connections(name, network)
    yield from (f for f in protection(speaker, name, network, fits) if f.severity is not Severity.STOP)
    for resistor in network.resistors:
        if resistor.is_lamp:
            yield found(Fault.LAMP, name, about_part=resistor.name, part=resistor.name, ohm=resistor.ohm)
    prediction = predict(speaker, name, log_grid(20.0, 20e3, 24))
    yield from _silent(name, network, prediction)
    yield from _sound(speaker, name, network, prediction)
    yield from _unrated(speaker, name, network)


def _connections(name: str, network: Network) -> Iterator[Finding]:
    ends = Counter(n for e in (*network.parts, *network.drivers) for n in (e.a, e.b))
    given = {"0"} | {n for c in network.channels for n in (c.plus, c.minus)}
    for element in (*network.parts, *network.drivers):
        for node in (element.a, element.b):
            if ends[node] == 1 and node not in given:
                yield found(Fault.LOOSE_NODE, name, node=node, element=element.name)
    for section in find_sections(network):
        meets = _borders(network, section)
        if len(meets) < 2:
            yield _no_circuit(name, network, section, next(iter(meets), None))
        elif not section.reaches_driver:
            yield found(Fault.IDLE_PARTS, name, parts=tuple(section.elements))


def _borders(network: Network, section: Section) -> frozenset[str]:
    """The amplifier's nodes that a section meets."""
    ends = {e.name: (e.a, e.b) for e in (*network.parts, *network.drivers)}
    return fixed_nodes(network).intersection(node for name in section.elements for node in ends[name])


def _cut_off(network: Network) -> frozenset[str]:
    """Cards of the drivers whose section meets one of the amplifier's nodes at most: no current can flow."""
    return frozenset(d for s in find_sections(network) for d in s.drivers if len(_borders(network, s)) < 2)


def _no_circuit(name: str, network: Network, section: Section, meets: str | None) -> Finding:
    """Of a section that meets one of the amplifier's nodes at most: which of the others is wanting."""
    pluses = {c.plus: c.minus for c in network.channels}
    wants = pluses.get(meets or "", " or ".join(pluses))
    return found(
        Fault.NO_CIRCUIT,
        name,
        elements=section.elements,
        drivers=tuple(d.key for d in network.drivers if d.name in section.drivers),
        meets=meets,
        wants=wants,
        nodes=section.nodes,
    )


def _silent(name: str, network: Network, prediction: Prediction) -> Iterator[Finding]:
    """Drivers that no voltage reaches though current could: wires across them, channels that go up and down alike."""
    cut = _cut_off(network)
    for card in network.drivers:
        if card.key in prediction.undriven and card.name not in cut:
            yield found(Fault.NO_VOLTAGE, name, about_driver=card.key, key=card.key, plus=card.plus, minus=card.minus)


def driver_counts(speaker: Speaker) -> Iterator[Finding]:
    """Drivers that stand in one network of the folder more often than in another, or not at all."""
    networks = {name: speaker.network(name) for name in speaker.network_names}
    for driver in speaker.drivers:
        cards = {name: tuple(c.name for c in n.drivers if c.driver == driver) for name, n in networks.items()}
        if any(cards.values()) and len({len(keys) for keys in cards.values()}) > 1:
            yield found(Fault.DRIVER_COUNT, driver, about_driver=driver, driver=driver, cards=cards)


def dc_drive(speaker: Speaker, network: Network, fits: Mapping[str, DriverFit | None]) -> dict[str, float]:
    """Share of a DC voltage at the amplifier that reaches each driver, by key: capacitors open, coils their DCR."""
    return {key: share for key, (share, _) in _shares(speaker, network, fits).items()}


def _shares(speaker: Speaker, network: Network, fits: Mapping[str, DriverFit | None]) -> dict[str, tuple[float, float]]:
    """Share of a voltage that reaches each driver, by key: of DC, and of 1 kHz."""
    resistance = {}
    for driver in network.driver_names:
        fit, entry = fits.get(driver), speaker.drivers[driver]
        if fit is not None and fit.holds:
            ohms = fit.model.re_ohm
        elif entry.re_ohm is not None:
            ohms = entry.re_ohm
        else:
            ohms = float(np.nanmin(np.abs(entry.impedance_ohm(log_grid(20.0, 20e3, 12)))))
        resistance[driver] = np.array([ohms, ohms])
    solution = solve(network, np.array([_DC_HZ, 1000.0]), resistance)
    return {key: (float(abs(v[0])), float(abs(v[1]))) for key, v in solution.drive.items()}


def protection(
    speaker: Speaker, name: str, network: Network, fits: Mapping[str, DriverFit | None]
) -> Iterator[Finding]:
    """Tweeters that DC reaches, and woofers that it does not."""
    shares = _shares(speaker, network, fits)
    # Beside a driver that is open or shorted, how DC is shared says nothing of the network.
    dead = any(is_open(d) or is_shorted(d) for d in (speaker.drivers[n] for n in network.driver_names))
    for card in network.drivers:
        (share, of_1_khz), role = shares[card.key], driver_role(speaker.drivers[card.driver])
        fault = None
        if role is Role.HIGH and share > BARE_SHARE:
            fault = Fault.BARE_TWEETER
        elif role is Role.HIGH and share > KEPT_OFF_SHARE:
            fault = Fault.COIL_PROTECTS
        elif role is Role.LOW and share < DC_PATH_SHARE and of_1_khz > 0 and not dead:
            fault = Fault.BLOCKED_WOOFER
        if fault is not None:
            yield found(fault, name, about_driver=card.key, key=card.key, card=card.name, share=share)


def _sound(speaker: Speaker, name: str, network: Network, prediction: Prediction) -> Iterator[Finding]:
    if not prediction.total.coherent:
        yield found(Fault.ENVELOPE, name, reason=prediction.timing_reason)
    for crossover in prediction.crossovers:
        pair = f"{'+'.join(crossover.lower)} and {'+'.join(crossover.upper)}"
        if crossover.frequency_hz is None:
            yield found(Fault.NO_CROSSOVER, name, pair=pair, reason=crossover.reason)
        elif prediction.total.coherent:
            louder = difference_db(prediction.total.level_db, prediction.total.reversed_level_db)
            gain_db = mean_round_db(prediction.frequency_hz, louder, crossover.frequency_hz)
            if gain_db > POLARITY_DB:
                # A flat line or a phone tells little of who is in step with whom.
                keys = (*crossover.lower, *crossover.upper)
                drivers = [speaker.drivers[d.driver] for d in network.drivers if d.key in keys]
                swept = all(d.response_instrument in SWEPT for d in drivers)
                yield found(
                    Fault.POLARITY,
                    name,
                    severity=None if swept else Severity.NOTE,
                    pair=pair,
                    at_hz=crossover.frequency_hz,
                    gain_db=gain_db,
                )
    reversed_keys = tuple(d.key for d in network.drivers if d.plus == "0")
    if reversed_keys:
        yield found(Fault.REVERSED, name, keys=reversed_keys)


def bridged_findings(speaker: Speaker, name: str, network: Network) -> Iterator[Finding]:
    """Channels that share their minus though one of them is, or may be, bridged."""
    by_minus: dict[str, list[str]] = {}
    for channel in network.channels:
        by_minus.setdefault(channel.minus, []).append(channel.name)
    for minus, channels in by_minus.items():
        bridged = [_is_bridged(speaker, network, channel) for channel in channels]
        if len(channels) > 1 and not all(b is False for b in bridged):
            fault = Fault.BRIDGED_JOINED if any(bridged) else Fault.PERHAPS_BRIDGED
            yield found(fault, name, channels=tuple(channels), node=minus)


def _is_bridged(speaker: Speaker, network: Network, channel: str) -> bool | None:
    """Whether the amplifier behind a channel is bridged; None where nothing is said."""
    own = amplifier_of(speaker, network, channel)
    if own is not None and own.bridged is not None:
        return own.bridged
    return speaker.amplifier.bridged if speaker.amplifier is not None else None


def bridged_tables(speaker: Speaker, channels: bool = True) -> dict[str, bool | None]:
    """What each table of an amplifier in speaker.toml says of bridged outputs; without `channels` [amplifier] alone."""
    file = speaker.file.speaker
    tables = {"[amplifier]": file.amplifier}
    if channels and file.bypass is not None:
        tables |= {f"[bypass.channels.{n}]": a for n, a in file.bypass.channels.items()}
    return {where: a.bridged for where, a in tables.items() if a is not None}


def load_findings(speaker: Speaker, name: str, solution: Solution, *, quick: bool = False) -> Iterator[Finding]:
    """Loads below what their amplifier allows: too low is a stop, within the 20 % dip of IEC 60268-5 a caution.

    The lowest point is followed between the rows only where it may matter. quick : leave out what is no stop.
    """
    network = solution.network
    for channel in network.channels:
        amplifier = amplifier_of(speaker, network, channel.name)
        limit = amplifier.minimum_load_ohm if amplifier else None
        if limit is None:
            continue
        size = np.abs(solution.impedance_ohm[channel.name])
        least = float(np.min(size[np.isfinite(size)], initial=math.inf))
        if least > _NEAR * limit * (IEC_LEAST_SHARE if quick else 1.0):
            continue
        reading = channel_load(speaker, solution, channel.name)
        where = f"{name}, channel {channel.name}" if len(network.channels) > 1 else name
        low = low_load(where, reading, limit, [d for d in network.driver_names if not measured_impedance(speaker, d)])
        if low is not None:
            yield low


def low_load(where: str, reading: LoadReading, limit_ohm: float, guessed: Sequence[str]) -> Finding | None:
    """A load below what its amplifier allows: too low, or on the edge; None for one that fits or is not known.

    guessed : drivers on it whose impedance was not measured.
    """
    level = load_level(reading.minimum_ohm, limit_ohm)
    if level not in (LoadLevel.EDGE, LoadLevel.TOO_LOW):
        return None
    low = level is LoadLevel.TOO_LOW
    beyond = IEC_LEAST_SHARE * limit_ohm if low else limit_ohm
    # So far below that no error of a datasheet explains it.
    doubt = guessed and reading.minimum_ohm * (1.0 + DATASHEET_SHARE) >= beyond
    return found(
        Fault.LOW_LOAD,
        where,
        severity=Severity.STOP if low else Severity.CAUTION,
        unsure=f"measure the impedance of {', '.join(guessed)}" if doubt else "",
        lowest_ohm=reading.minimum_ohm,
        at_hz=reading.minimum_at_hz,
        limit_ohm=limit_ohm,
        low=low,
    )


def measured_impedance(speaker: Speaker, driver: str) -> bool:
    """Whether a driver's impedance was measured."""
    return speaker.drivers[driver].impedance_evidence is Evidence.MEASURED


def _unrated(speaker: Speaker, name: str, network: Network) -> Iterator[Finding]:
    grid = log_grid(20.0, 20e3, 48)
    solution = solve_known(speaker, network, grid)
    for channel in network.channels:
        amplifier = amplifier_of(speaker, network, channel.name)
        if amplifier is None or amplifier.minimum_load_ohm is None:
            where = f"{name}, channel {channel.name}" if len(network.channels) > 1 else name
            lowest = channel_load(speaker, solution, channel.name).minimum_ohm
            yield found(Fault.UNRATED, where, lowest_ohm=lowest)
