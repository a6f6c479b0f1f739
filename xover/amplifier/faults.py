"""What a dead, unplugged or shorted driver does to the load and to the capacitors.

A second-order high-pass whose tweeter is gone is a series resonance across the amplifier: the load
falls to the parts' losses, and its capacitor rises to many times the amplifier's voltage.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

import numpy as np

from xover.amplifier.extremum import (
    DriverImpedance,
    Extremum,
    Sweep,
    dead_short,
    has_load,
    interpolated,
    linked,
    neighbourhood,
    with_connected_channels,
)
from xover.amplifier.load import check_grid
from xover.curve import Complex, Float
from xover.errors import InputError
from xover.figures import written
from xover.network import Capacitor, Channel, DriverCard, Network
from xover.quantity import QuantityKind, format_quantity, hertz, ohms

LINEAR_NOTE: Final = (
    "voltages are those of a steady sine at the worst frequency with the amplifier holding its output: "
    "it may limit or protect itself first"
)
NO_LOAD_NOTE: Final = "no load"
LINKED_NOTE: Final = "a 0 ohm link lies across this driver already: a short changes nothing"
# Less than this, per volt of the amplifier, is the rounding of no voltage at all.
ROUNDING_VOLTAGE: Final = 1e-12


class FaultKind(StrEnum):
    """What is wrong with the driver."""

    OPEN = "open"
    SHORTED = "shorted"


@dataclass(frozen=True)
class CapacitorStress:
    """The highest voltage across one capacitor under a fault, its own losses included.

    Attributes
    ----------
    name : the capacitor's card.
    magnification : highest |V_C| over the amplifier's voltage; infinite where `bounded` is False,
        NaN if it is not known.
    at_hz : its frequency.
    bounded : False if parts without losses let the voltage rise without limit.
    rms_v, peak_v : at the amplifier's rated voltage (rms sine); None if that is not given.
    rating_v : what the card says under `volts=`, or None.
    over_rating : whether the peak passes that rating; None if either is not known.
    """

    name: str
    magnification: float
    at_hz: float
    bounded: bool
    rms_v: float | None
    peak_v: float | None
    rating_v: float | None
    over_rating: bool | None


@dataclass(frozen=True)
class FaultCase:
    """One driver open or shorted: what the amplifier sees and what the capacitors bear.

    Attributes
    ----------
    card : the driver's card.
    driver : its key in results.
    kind : open or shorted.
    channel : the amplifier channel that feeds it (of several, the one with the lowest load then).
    minimum_ohm : lowest modulus of that channel's load. 0 with a short, and where parts without
        losses let it fall to 0; None without any load; NaN if it is not known.
    at_hz : its frequency; None with a direct short or without a load.
    healthy_minimum_ohm : lowest modulus of that channel with all drivers in place; NaN if not known.
    capacitors : stress on each capacitor of the driver's section, in card order; none with a short.
    worst_capacitor : name of the one with the highest magnification, or None.
    sentence : the case in plain words.
    notes : what the figures rest on.
    """

    card: str
    driver: str
    kind: FaultKind
    channel: str
    minimum_ohm: float | None
    at_hz: float | None
    healthy_minimum_ohm: float
    capacitors: tuple[CapacitorStress, ...]
    worst_capacitor: str | None
    sentence: str
    notes: tuple[str, ...]


def fault_cases(
    network: Network,
    frequency_hz: Float,
    driver_impedance_ohm: Mapping[str, Complex],
    rated_voltage_v: float | None = None,
    driver_impedance_at: DriverImpedance | None = None,
    kinds: Iterable[FaultKind] = tuple(FaultKind),
) -> tuple[FaultCase, ...]:
    """Take each driver card open, then shorted, all others in place.

    Extremes are followed between the points of the grid until they are good to 1e-6.

    Parameters
    ----------
    network : the whole network.
    frequency_hz : (n,) Hz, rising, above 0: the span in which extremes are sought.
    driver_impedance_ohm : (n,) complex ohm by driver's name; NaN where it is not known.
    rated_voltage_v : the amplifier's rms volts (`demand.rated_voltage`), or None.
    driver_impedance_at : gives the impedances at other frequencies, by driver's name. Without it
        they are interpolated between the rows given, as `Curve.at` does.
    kinds : what is wrong with each driver.

    Returns a case of each kind for each driver card, open before shorted, in card order.

    Raises InputError: the grid is faulty, or the rated voltage is not above 0. NoSolutionError: the wiring leaves the
    network without a solution even with all drivers in place. OptionError: a driver has no impedance.
    """
    f = np.asarray(frequency_hz, dtype=float)
    for z in driver_impedance_ohm.values():
        check_grid(f, np.asarray(z, dtype=complex))
    if rated_voltage_v is not None and not (math.isfinite(rated_voltage_v) and rated_voltage_v > 0):
        raise InputError(f"the amplifier's rated voltage is {rated_voltage_v:g} V", "give volts above 0")
    healthy = Sweep(network, f, driver_impedance_at or interpolated(f, driver_impedance_ohm))
    normal = {c.name: healthy.lowest_impedance(c.name).value for c in network.channels}
    return tuple(_case(healthy, card, kind, normal, rated_voltage_v) for card in network.drivers for kind in kinds)


@dataclass(frozen=True)
class _Finding:
    """What one fault does, before it is put into words."""

    channel: str
    minimum_ohm: float | None
    at_hz: float | None
    capacitors: tuple[CapacitorStress, ...]
    notes: tuple[str, ...]


def _case(
    healthy: Sweep, card: DriverCard, kind: FaultKind, normal: Mapping[str, float], rated_voltage_v: float | None
) -> FaultCase:
    if kind is FaultKind.OPEN:
        found = _examine(healthy, card, healthy.network.without(card.name), rated_voltage_v)
    elif linked(healthy.network, card):
        # A second link beside the first would leave the current through each of them undefined.
        found = _examine(healthy, card, healthy.network.without(card.name), rated_voltage_v)
        found = replace(found, notes=(LINKED_NOTE, *found.notes))
    else:
        found = _examine(healthy, card, healthy.network.with_short(card.name), rated_voltage_v)
    known = [s for s in found.capacitors if not math.isnan(s.magnification)]
    worst = max(known, key=lambda s: s.magnification, default=None)
    words = _load_words(found, normal[found.channel]) + _voltage_words(worst)
    return FaultCase(
        card=card.name,
        driver=card.key,
        kind=kind,
        channel=found.channel,
        minimum_ohm=found.minimum_ohm,
        at_hz=found.at_hz,
        healthy_minimum_ohm=normal[found.channel],
        capacitors=found.capacitors,
        worst_capacitor=None if worst is None else worst.name,
        sentence=f"{card.key} ({card.name}) {kind.value}: {words}",
        notes=found.notes,
    )


def _examine(healthy: Sweep, card: DriverCard, faulty: Network, rated_voltage_v: float | None) -> _Finding:
    short = dead_short(faulty)
    if short is not None:
        return _Finding(short[0], 0.0, None, (), (short[1],))
    channels, capacitors = neighbourhood(healthy.network, card)
    sweep = replace(healthy, network=with_connected_channels(faulty))
    parts: Sequence[Capacitor] = sweep.network.capacitors if sweep.network.channels else ()
    parts = [part for part in parts if part.name in capacitors]
    highest = sweep.highest_voltages([part.name for part in parts])
    stress = tuple(_stress(highest[part.name], part, rated_voltage_v) for part in parts)
    notes = (LINEAR_NOTE,) if stress else ()
    runaways = [s.at_hz for s in stress if not s.bounded]
    idle = [c for c in channels if not has_load(faulty, c)]
    if idle:
        found = _Finding(idle[0].name, None, None, stress, (NO_LOAD_NOTE, *notes))
    else:
        channel, least = _lowest(sweep, channels)
        runaways += [least.at_hz] if least.runaway else []
        value = 0.0 if least.runaway else least.value
        found = _Finding(channel, value, least.at_hz, stress, (*notes, _span(sweep, channel, least.at_hz)))
    if runaways:
        lossless = {name for at_hz in runaways for name in sweep.lossless_parts(at_hz)}
        ordered = ", ".join(p.name for p in sweep.network.parts if p.name in lossless)
        found = replace(found, notes=(f"no losses given for {ordered}: real parts will limit it", *found.notes))
    return found


def _lowest(sweep: Sweep, channels: tuple[Channel, ...]) -> tuple[str, Extremum]:
    """The channel with the lowest load, and where; unknown loads count last."""
    found = {c.name: sweep.lowest_impedance(c.name) for c in channels}
    channel = min(found, key=lambda name: math.inf if math.isnan(found[name].value) else found[name].value)
    return channel, found[channel]


def _stress(found: Extremum, part: Capacitor, rated_voltage_v: float | None) -> CapacitorStress:
    magnification = math.inf if found.runaway else found.value
    if magnification < ROUNDING_VOLTAGE:
        magnification = 0.0
    rms = None if rated_voltage_v is None else magnification * rated_voltage_v
    peak = None if rms is None else math.sqrt(2.0) * rms
    rating = part.volts
    return CapacitorStress(
        name=part.name,
        magnification=magnification,
        at_hz=found.at_hz,
        bounded=not found.runaway,
        rms_v=rms,
        peak_v=peak,
        rating_v=rating,
        over_rating=None if peak is None or rating is None or math.isnan(peak) else peak > rating,
    )


def _span(sweep: Sweep, channel: str, lowest_at_hz: float) -> str:
    known = sweep.frequency_hz[np.isfinite(sweep.loads_ohm[channel])]
    if known.size == 0:
        return "the load is not known at any frequency asked for"
    text = f"sought from {hertz(float(known[0]))} to {hertz(float(known[-1]))}"
    return f"{text}; the lowest is at its end, so beyond it may be lower" if lowest_at_hz in known[[0, -1]] else text


def _load_words(found: _Finding, healthy_ohm: float) -> str:
    if found.minimum_ohm is None:
        return "the amplifier has no load"
    if found.at_hz is None:
        return found.notes[0]
    if math.isnan(found.minimum_ohm):
        return "the load is not known"
    verb = "falls to" if found.minimum_ohm < 0.999 * healthy_ohm else "is lowest with"
    text = f"the load {verb} {written('lowest load', found.minimum_ohm)} ohm at {hertz(found.at_hz)}"
    return text if math.isnan(healthy_ohm) else f"{text} ({ohms(healthy_ohm)} with all drivers)"


def _voltage_words(worst: CapacitorStress | None) -> str:
    if worst is None or worst.magnification == 0:
        return ""
    if not worst.bounded:
        return f"; without losses the voltage on {worst.name} has no limit"
    text = f"; {worst.name} bears {worst.magnification:#.3g} times the amplifier's voltage"
    if worst.rms_v is not None and worst.peak_v is not None:
        text += f", {_volts(worst.rms_v)} rms or {_volts(worst.peak_v)} peak at its rated power"
    if worst.over_rating and worst.rating_v is not None:
        text += f", over its rating of {_volts(worst.rating_v)}"
    return text


def _volts(value: float) -> str:
    return format_quantity(value, QuantityKind.VOLTAGE)
