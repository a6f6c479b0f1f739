"""Amplifier channels: the limits of each, and what must never be joined."""

from __future__ import annotations

from collections.abc import Iterator

from xover.amplifier.load import judge_load, read_load
from xover.curve import log_grid
from xover.figures import written
from xover.network import Network, solve
from xover.sound.load import amplifier_of, channel_impedance
from xover.speaker import Speaker
from xover.studies.desk.check.findings import Finding, note, stop, warning


def amplifier_findings(speaker: Speaker, name: str, network: Network) -> Iterator[Finding]:
    """Bridged channels that share their minus, and loads below a rating."""
    yield from _shared_minus(speaker, name, network)
    yield from _loads(speaker, name, network)


def _shared_minus(speaker: Speaker, name: str, network: Network) -> Iterator[Finding]:
    if len(network.channels) < 2:
        return
    by_minus: dict[str, list[str]] = {}
    for channel in network.channels:
        by_minus.setdefault(channel.minus, []).append(channel.name)
    for minus, channels in by_minus.items():
        if len(channels) < 2:
            continue
        bridged = [_is_bridged(speaker, network, c) for c in channels]
        both = " and ".join(channels)
        if any(bridged):
            yield stop(
                name,
                f"channels {both} share their minus (node {minus}), and at least one of them is bridged: "
                "its minus is a live output, and joining it shorts the amplifier",
                "give each channel a minus of its own, such as 'Vbass lo+ lo-', and split the common return",
            )
        elif any(b is None for b in bridged):
            yield warning(
                name,
                f"channels {both} share their minus (node {minus}): right for amplifiers with a common ground, "
                "fatal for bridged (BTL) ones, as many class D amplifiers are",
                "look it up, then say bridged = false or true in [amplifier] or [bypass.channels.NAME]",
            )


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
        reading = read_load(
            grid, solution.impedance_ohm[channel.name], channel_impedance(speaker, network, channel.name)
        )
        verdict = judge_load(reading, amplifier.minimum_load_ohm if amplifier else None)
        where = f"{name}, channel {channel.name}" if len(network.channels) > 1 else name
        if verdict.limit_broken:
            yield warning(where, verdict.sentence, "see 'xover load' for the whole load")
        elif amplifier is None or amplifier.minimum_load_ohm is None:
            yield note(
                where,
                f"lowest impedance {written('lowest load', reading.minimum_ohm)} ohm; no amplifier is given to "
                f"hold it against",
                "add [amplifier] with minimum_load_ohm to speaker.toml",
            )
