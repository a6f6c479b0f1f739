"""What a bypass study says of itself: what it cannot know, and the answer in a sentence."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final

from xover.curve import Evidence
from xover.sound.prediction import Sound
from xover.speaker import Speaker
from xover.studies.change.bypass.crossover import Crossover
from xover.studies.change.bypass.power import PowerSplit
from xover.studies.change.bypass.result import BypassChannel, BypassFinding, Gravity
from xover.studies.change.bypass.sound import Voices

TITLES: Final = {
    Gravity.STOP: "STOP: do not switch on before this is mended",
    Gravity.CAUTION: "Cautions",
    Gravity.NOTE: "Notes",
}


def unknown_words(
    speaker: Speaker,
    voices: Voices,
    crossover: Crossover,
    power: PowerSplit,
    channels: Mapping[str, BypassChannel],
) -> tuple[str, ...]:
    """What cannot be told from what is in the folder, one sentence each, the heaviest first."""
    said = []
    drivers = {n: speaker.drivers[n] for n in voices.names}
    if voices.silent:
        said.append(
            f"the sum, the best gains, delays and bands, and watts: no response of {_and(voices.silent)} is known. "
            "The twin rests on impedance alone and still holds"
        )
    assumed = [n for n, d in drivers.items() if d.has_response and d.response_evidence is Evidence.ASSUMED]
    if assumed:
        said.append(
            f"how {_and(assumed)} really sound{'s' if len(assumed) == 1 else ''}: a flat response at the sensitivity "
            "given stands in; levels and watts follow from it, the shape of the sum, delays and bands are worth "
            "little"
        )
    if not voices.coherent and voices.known:
        said.append(
            f"delays: {voices.timing_reason}. Sums behind the crossover are those with the best delays, as if each "
            "driver's were unknown by a pure delay: find it by measuring, where the sum with one driver reversed "
            "has its deepest null"
        )
    guessed = [n for n, d in drivers.items() if d.impedance_evidence is not Evidence.MEASURED]
    if guessed:
        kinds = dict.fromkeys(str(drivers[n].impedance_evidence) for n in guessed)
        said.append(
            f"the load and the twin as surely as from a sweep: the impedance of {_and(guessed)} is "
            f"{_and(list(kinds))}, not measured"
        )
    if crossover.assumed:
        said.append(f"what your crossover is set to: {crossover.source}; {crossover.slope.name} is taken")
    if power.reason:
        said.append(f"watts at the listening level: {power.reason}")
    if any(c.load.verdict.minimum_load_ohm is None for c in channels.values()):
        said.append("whether the amplifiers allow these loads: no minimum_load_ohm in [bypass.channels] or [amplifier]")
    no_size = [n for n, d in drivers.items() if d.diameter_mm is None and channels[n].fitness.upper_hz is not None]
    if no_size:
        said.append(f"beaming of {_and(no_size)}: no diameter_mm")
    if any(c.power.rating is not None and c.power.rating.load_assumed for c in channels.values()):
        names = [n for n, c in channels.items() if c.power.rating is not None and c.power.rating.load_assumed]
        said.append(
            f"into which load the watts of {_and(names)} are rated: no rated_load_ohm, the lowest load allowed is "
            "taken, which gives the fewest volts"
        )
    return tuple(said)


def verdict_words(findings: Sequence[BypassFinding], channels: Mapping[str, BypassChannel]) -> str:
    """The answer in a sentence."""
    stops = [f for f in findings if f.severity is Gravity.STOP]
    cautions = sum(f.severity is Gravity.CAUTION for f in findings)
    if stops:
        return f"not as it stands: {_and(list(dict.fromkeys(f.about for f in stops)))} to be mended first"
    unread = [n for n, c in channels.items() if math.isnan(c.load.reading.minimum_ohm)]
    if unread:
        return f"not to be told: the impedance of {_and(unread)} is not known"
    if any(c.load.verdict.minimum_load_ohm is None for c in channels.values()):
        return f"nothing forbids it, heed {cautions} cautions; whether the amplifiers allow the loads is not known"
    return f"yes, if its {cautions} cautions are heeded: every channel's load fits its amplifier"


def warnings_of(speaker: Speaker, passive: Sound, voices: Voices) -> tuple[str, ...]:
    """What a reader must know of the data."""
    said = [note for name in voices.names for note in speaker.drivers[name].notes]
    said += [gap.note for gap in passive.total.gaps if not gap.counted_absent]
    if len(passive.network.channels) > 1:
        said.append(
            "the network has several channels already: its twin holds for all of them fed with the same signal, as no "
            "electronic crossover is in it"
        )
    lamps = [p.name for p in passive.network.resistors if p.is_lamp]
    if lamps:
        said.append(f"{_and(lamps)}: taken cold; what a lamp or resettable fuse does when loud no filter imitates")
    return tuple(dict.fromkeys(said))


def _and(names: Sequence[str]) -> str:
    return " and ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else "".join(names)
