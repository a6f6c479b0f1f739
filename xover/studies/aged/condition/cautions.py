"""What must be said beside the condition of a network: hazards, meters, assumptions, gaps."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from xover.network.parts import Capacitor, Resistor
from xover.parts.kinds import SOURCE, PartKind
from xover.sound.prediction import Sound
from xover.speaker import Speaker
from xover.studies.aged.condition.parts import PartCondition, Verdict, same_wiring

# PCBs were banned from new capacitors in or about 1979; the precautions are those that restorers give each other.
PCB: Final = (
    "paper capacitors: oil-filled ones made before 1980 or so may hold PCBs: do not open, burn or bin them; nitrile "
    "gloves, a closed bag and the local route for hazardous waste"
)
# A multimeter read a new 4.7 uF non-polar part as 5.41 uF, reported with its LCR readings on a repair forum.
METER: Final = (
    "a multimeter reads lossy capacitors high (13 % in one reported case), so the drift may be the meter's: read "
    "with an LCR meter in series mode, one end lifted, and give the card loss=R@F"
)
VALVES_OHM: Final = 0.5
"""From this output resistance on, a change of the load is a change of the sound too."""


def condition_warnings(
    speaker: Speaker, sounds: Sequence[Sound], parts: Sequence[PartCondition], coherent: bool
) -> tuple[str, ...]:
    """Warnings, the most pressing first.

    Parameters
    ----------
    sounds : of the original network and, where there is one, of the found network.
    """
    said = [*_hazards(parts), *_meter(parts)]
    if len(sounds) > 1:
        said += [f"wired differently: {what}" for what in same_wiring(sounds[0].network, sounds[1].network)]
    said += [f"{part.name}: {note}" for part in parts for note in part.notes]
    said += _assumed(parts)
    if not coherent:
        said.append(
            "the timing between the drivers is not known, so the changes of the sum are those of the highest sum "
            f"that any timing allows: {sounds[0].timing_reason}"
        )
    said += _network(speaker, sounds)
    return tuple(dict.fromkeys(said))


def _hazards(parts: Sequence[PartCondition]) -> list[str]:
    names = [p.name for p in parts if p.kind is PartKind.PAPER]
    return [f"{', '.join(names)}: {PCB}"] if names else []


def _meter(parts: Sequence[PartCondition]) -> list[str]:
    """Electrolytics that read high, unless their card has a loss at a frequency: only an LCR meter gives that."""
    names = []
    for p in parts:
        found = p.found
        if not isinstance(found, Capacitor) or p.kind is not PartKind.ELECTROLYTIC or p.drift is None:
            continue
        by_lcr = found.said("loss") is not None or "@" in (found.said("df") or "")
        if p.drift > (p.tolerance or 0.0) and not by_lcr:
            names.append(p.name)
    return [f"{', '.join(names)}: {METER}"] if names else []


def _assumed(parts: Sequence[PartCondition]) -> list[str]:
    said = []
    measured = [p for p in parts if p.verdict is not Verdict.UNKNOWN]
    names = [p.name for p in measured if p.tolerance_assumed and p.changed]
    if names:
        said.append(
            f"no tol= on the original card of {', '.join(names)}: the usual one of its kind is taken ({SOURCE})"
        )
    unmeasured = [p for p in parts if p.verdict is Verdict.UNKNOWN]
    if unmeasured:
        said.append(f"nothing was measured: the drift of every part is the range usual for its kind ({SOURCE})")
    names = [p.name for p in parts if p.kind_assumed and (p.changed or p in unmeasured)]
    if names:
        said.append(f"no card says of what kind {', '.join(names)} is: taken from its losses, add kind= or core=")
    return said


def _network(speaker: Speaker, sounds: Sequence[Sound]) -> list[str]:
    said = []
    if any(len(sound.network.channels) > 1 for sound in sounds):
        said.append(
            "several channels, all driven full range with the same voltage: no electronic crossover is in these figures"
        )
    said += [
        f"{part.name} is a lamp or resettable fuse taken cold ({part.ohm:g} ohm): its figures hold at low level only"
        for sound in sounds
        for part in sound.network.parts
        if isinstance(part, Resistor) and part.is_lamp
    ]
    amplifier = speaker.amplifier
    if amplifier is not None and (amplifier.output_ohm or 0.0) >= VALVES_OHM:
        said.append(
            f"the amplifier's output of {amplifier.output_ohm:g} ohm makes more sound changes of the changed load: "
            "they are not in these figures, which hold for an ideal source"
        )
    said += [gap.note for sound in sounds for gap in sound.total.gaps]
    said += [note for sound in sounds for name in sound.network.driver_names for note in speaker.drivers[name].notes]
    return said
