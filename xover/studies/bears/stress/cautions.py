"""What to beware of at full level: said only where it applies."""

from __future__ import annotations

import math
from collections.abc import Iterator

from xover.amplifier.stress import ElementKind, ElementStress, NetworkStress
from xover.network import Inductor, Network, Resistor
from xover.quantity import Kind, format_quantity
from xover.rules.margins import HOT_W, LEAST_LOST, LOUD_DB
from xover.speaker import Speaker


def cautions_of(
    network: Network, stress: NetworkStress, sound_level_db: float | None, distance_m: float
) -> tuple[str, ...]:
    """What to beware of at a level, one sentence each.

    Parameters
    ----------
    sound_level_db : average level at `distance_m`; None where it is not known.
    """
    return tuple(_cautions(network, stress, sound_level_db, distance_m))


def _cautions(network: Network, stress: NetworkStress, level_db: float | None, distance_m: float) -> Iterator[str]:
    hot = [e for e in stress.of_kind(ElementKind.RESISTOR) if e.power_w >= HOT_W]
    if hot:
        names = ", ".join(f"{e.name} ({_watts(e.power_w)})" for e in hot)
        yield f"hot at this level: {names}; keep board, wires, glue and stuffing away"
    burnt = [(e.name, e.sine_power_w, e.sine_power_at_hz) for e in hot_under_a_sine(network, stress)]
    if burnt:
        worst = max(burnt, key=lambda b: b[1])
        names = ", ".join(name for name, _, _ in burnt)
        yield (
            f"no full sine: at its worst frequency it passes the rating of {names} "
            f"({worst[0]}: {_watts(worst[1])} at {format_quantity(worst[2], Kind.FREQUENCY)}); sweep at low level"
        )
    cored = [
        e
        for e in stress.of_kind(ElementKind.COIL)
        if e.current_rms_a > 0 and _core(network, e.name) not in ("air", "none")
    ]
    if cored:
        amps = ", ".join(f"{e.name} {e.sine_current_peak_a:.3g} A" for e in cored)
        yield (
            f"coils with a core, or whose card names none: {amps} at the peak of a full sine; whether a core saturates "
            "cannot be told without its data (amps= on the card: the peak that it stands)"
        )
    if network.capacitors:
        yield "a driver that is open or unplugged can put far more volts on a capacitor: see 'xover load'"
    if level_db is not None and level_db >= LOUD_DB:
        yield (
            f"{level_db:.0f} dB on average at {distance_m:g} m: wear hearing protection when you test at this level "
            f"({LOUD_DB:g} dB(A) for 8 hours is the usual limit at work)"
        )


def hot_under_a_sine(network: Network, stress: NetworkStress) -> list[ElementStress]:
    """Resistors whose card's watts a full sine passes at its worst frequency."""
    found = []
    for e in stress.of_kind(ElementKind.RESISTOR):
        part = network.part(e.name)
        watts = part.watts if isinstance(part, Resistor) else None
        if watts is not None and e.sine_power_w > watts:
            found.append(e)
    return found


def warnings_of(speaker: Speaker, network: Network, stress: NetworkStress, inside_share: float) -> tuple[str, ...]:
    """What the figures do not hold for.

    Parameters
    ----------
    inside_share : share of the programme's power within the grid.
    """
    # What was said of the sound does not touch volts and watts.
    notes = [note for name in network.driver_names for note in speaker.drivers[name].notes]
    said: list[str] = [note for note in notes if note.about.of_impedance]
    known = {e.name: e.known_share for e in stress.elements}
    poor = [name for name, share in known.items() if share < inside_share - LEAST_LOST]
    if poor:
        least = min(known[name] for name in poor)
        said.append(
            f"{', '.join(poor)}: known only at frequencies with {least:.0%} of the programme's power or "
            "more; the figures are those of that part, and what is missing comes on top"
        )
    if len(network.channels) > 1:
        said.append(
            "several channels, all driven full range with the same signal: no electronic crossover is in these "
            "figures, behind one each driver gets less"
        )
    said += [
        f"{part.name} is a lamp or resettable fuse taken cold ({part.ohm:g} ohm): hot, it takes watts from what is "
        "behind it; see 'xover lamps'"
        for part in network.resistors
        if part.is_lamp
    ]
    return tuple(dict.fromkeys(said))


def _core(network: Network, name: str) -> str:
    part = network.part(name)
    return (part.core or "") if isinstance(part, Inductor) else ""


def _watts(value: float) -> str:
    return f"{value:.2g} W" if math.isfinite(value) else "no limit"
