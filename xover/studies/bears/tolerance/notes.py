"""What a reader of a tolerance study must know: what was assumed, what does not vary, what was not judged."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from xover.curve import Evidence
from xover.network import Network
from xover.parts.kinds import SOURCE
from xover.quantity import hertz
from xover.search.builds import PartSpread, draw_names
from xover.sound.prediction import Sound
from xover.speaker import Speaker
from xover.studies.bears.tolerance.corners import INSIDE_NOTE


def tolerance_notes(
    speaker: Speaker,
    sound: Sound,
    spreads: tuple[PartSpread, ...],
    band_hz: tuple[float, float],
    judged: NDArray[np.bool_],
    refused: tuple[str, ...],
) -> tuple[str, ...]:
    network = sound.network
    said = []
    assumed = [f"{s.part} {100 * s.tolerance:g} %" for s in spreads if s.evidence is Evidence.ASSUMED]
    if assumed:
        said.append(f"tolerance assumed, as the cards state none ({SOURCE}): {', '.join(assumed)}")
    said += list(refused)
    said += _sum_notes(sound, band_hz, judged)
    said += _core_notes(spreads)
    said.append(
        "only values of parts vary: coil resistance, capacitor losses and couplings stay as they are, and so do the "
        "drivers, whose own spread can be larger than that of the parts"
    )
    said.append(INSIDE_NOTE)
    said += _network_notes(network)
    said += [note for name in network.driver_names for note in speaker.drivers[name].notes]
    return tuple(dict.fromkeys(said))


def _sum_notes(sound: Sound, band_hz: tuple[float, float], judged: NDArray[np.bool_]) -> list[str]:
    notes = []
    if not sound.total.coherent:
        notes.append(
            "the timing between the drivers is not known, so the sum here is the highest that any timing allows: "
            f"{sound.timing_reason}"
        )
    frequency = sound.solution.frequency_hz
    known = frequency[judged]
    inside = frequency[(frequency >= band_hz[0]) & (frequency <= band_hz[1])]
    if known.size == 0:
        notes.append("the sum is not known in the band: only the drives and the load are judged")
    elif known.size < inside.size or known[0] > 1.1 * band_hz[0] or known[-1] < band_hz[1] / 1.1:
        notes.append(
            f"of the band from {hertz(band_hz[0])} to {hertz(band_hz[1])} the sum is known and judged at "
            f"{known.size} frequencies from {hertz(float(known[0]))} to {hertz(float(known[-1]))}"
        )
    return [*notes, *(gap.note for gap in sound.total.gaps)]


def _core_notes(spreads: tuple[PartSpread, ...]) -> list[str]:
    notes = []
    for name in draw_names(spreads):
        coils = [s.part for s in spreads if s.draw == name]
        if len(coils) > 1:
            notes.append(f"{', '.join(coils)} are wound on one core: they vary together, by one draw")
    return notes


def _network_notes(network: Network) -> list[str]:
    notes = []
    if len(network.channels) > 1:
        notes.append(
            "several channels, all driven full range with the same voltage: no electronic crossover is in these figures"
        )
    return notes + [
        f"{part.name} is a lamp or resettable fuse taken cold ({part.ohm:g} ohm): this holds at low level only"
        for part in network.resistors
        if part.is_lamp
    ]
