"""What a channel of the amplifier sees, and which amplifier that is."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from xover.amplifier.demand import rated_voltage
from xover.amplifier.faults import FaultCase, FaultKind, fault_cases
from xover.amplifier.load import LoadReading, read_load
from xover.curve import Complex, Float
from xover.files.speaker import Amplifier
from xover.network import Network, Solution, find_sections
from xover.sound.beyond import solve_known
from xover.speaker import Speaker


def channel_load(speaker: Speaker, solution: Solution, channel: str) -> LoadReading:
    """The load of one channel of a network that was solved, read over the whole grid and between its rows."""
    f = solution.frequency_hz
    refine = channel_impedance(speaker, solution.network, channel)
    return read_load(f, solution.impedance_ohm[channel], refine, (float(f[0]), float(f[-1])))


def channel_impedance(speaker: Speaker, network: Network, channel: str) -> Callable[[Float], Complex]:
    """What a channel sees, as a function of frequency: (m,) Hz -> (m,) complex ohm."""

    def at(frequency_hz: Float) -> Complex:
        return solve_known(speaker, network, frequency_hz).impedance_ohm[channel]

    return at


def driver_faults(
    speaker: Speaker, network: Network, frequency_hz: Float, kinds: Iterable[FaultKind] = tuple(FaultKind)
) -> tuple[FaultCase, ...]:
    """Each driver open, then shorted, at the amplifier's rated voltage; see `amplifier.faults.fault_cases`."""
    amplifiers = [amplifier_of(speaker, network, c.name) for c in network.channels]
    rated = {
        rated_voltage(a.rated_power_w, a.rated_load_ohm) if a and a.rated_power_w and a.rated_load_ohm else None
        for a in amplifiers
    }
    ohm = speaker.impedances_ohm(network, frequency_hz)
    return fault_cases(
        network,
        frequency_hz,
        ohm,
        # Channels of unlike amplifiers share no voltage: then only ratios are told.
        rated.pop() if len(rated) == 1 else None,
        lambda f: ohm if f is frequency_hz else speaker.impedances_ohm(network, f),
        kinds,
    )


def fed_drivers(network: Network, channel: str) -> tuple[str, ...]:
    """Keys of the drivers whose section touches a channel's plus."""
    plus = next(c.plus for c in network.channels if c.name == channel)
    ends = {e.name: (e.a, e.b) for e in (*network.parts, *network.drivers)}
    keys = {d.name: d.key for d in network.drivers}
    fed: list[str] = []
    for section in find_sections(network):
        if any(plus in ends[name] for name in section.elements):
            fed += [keys[name] for name in section.drivers]
    return tuple(dict.fromkeys(fed))


def amplifier_of(speaker: Speaker, network: Network, channel: str) -> Amplifier | None:
    """The amplifier behind a channel: with several channels that of [bypass.channels], else [amplifier]."""
    bypass = speaker.file.speaker.bypass
    if len(network.channels) > 1 and bypass is not None:
        for key in fed_drivers(network, channel):
            name = network.driver_card(key).driver
            if name in bypass.channels:
                return bypass.channels[name]
    return speaker.amplifier
