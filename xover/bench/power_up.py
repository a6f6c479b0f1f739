"""The first time with an amplifier: what to prove, step by step, before music."""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from xover.bench.dc_checks import DcCheck
from xover.bench.words import and_words
from xover.network import Network
from xover.rules.margins import BATTERY_V, OFFSET_V
from xover.sound.roles import Role, keys_of, roles
from xover.speaker import Speaker


@dataclass(frozen=True)
class PowerUpStep:
    """One step: what to do, and what must be seen before the next."""

    number: int
    what: str
    expect: str


def power_up(
    network: Network, speaker: Speaker, terminals: Sequence[DcCheck], name: str | None
) -> tuple[PowerUpStep, ...]:
    """The procedure of a network.

    Parameters
    ----------
    terminals : ohmmeter readings of the finished network, one for each channel.
    name : of the network in the speaker folder; None where it does not stand there yet.
    """
    steps = _steps(network, speaker, terminals, name)
    return tuple(PowerUpStep(i, what, expect) for i, (what, expect) in enumerate(steps, start=1))


def _steps(
    network: Network, speaker: Speaker, terminals: Sequence[DcCheck], name: str | None
) -> Iterator[tuple[str, str]]:
    found = roles(speaker, network)
    low, high = keys_of(found, Role.LOW), keys_of(found, Role.HIGH)
    for channel, check in zip(network.channels, terminals, strict=True):
        where = f"the {channel.name} terminals" if len(terminals) > 1 else "the terminals"
        text = check.sentence.partition(": ")[2]
        yield f"no amplifier connected: ohmmeter across {where}", text
    if low:
        never = f", never on {and_words(high)}" if high else ""
        each = "its own terminals" if len(low) == 1 else "the terminals of each"
        yield (
            f"polarity: unplug {and_words(low)} and touch {BATTERY_V:g} V from a battery to {each}, plus to plus, "
            f"for less than a second{never}",
            "the cone jumps outwards, or inwards on some old drivers: then mark it, and go by the sum",
        )
    outputs = "each output" if len(terminals) > 1 else "its output"
    yield (
        f"amplifier alone, switched on, no loudspeaker: DC volts across {outputs}",
        f"below {1e3 * OFFSET_V:g} mV; more heats a voice coil without end",
    )
    quiet = f", {and_words(high)} last" if high and len(terminals) > 1 else ""
    yield (
        f"all drivers plugged in, volume down: connect, switch on, then a quiet sweep or quiet music{quiet}",
        "every driver plays, nothing smells, no resistor is too hot to touch after some minutes",
    )
    which = name if name is not None else "NAME"
    where = shlex.quote(speaker.file.folder.name or "SPEAKER")
    told = "" if name is not None else ", once it stands in speaker.toml as [networks.NAME]"
    yield (
        f"sweep the impedance at the terminals at low level, then: xover verify {where} --network {which} --impedance "
        f"FILE{told}",
        "it says that the build agrees, or which part to look at",
    )
