"""Is a network sound: connections, protection of the tweeter, polarity, parts that ask for care?"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping

import numpy as np

from xover.amplifier.demand import rated_voltage
from xover.curve import log_grid
from xover.driver.fit import DriverFit
from xover.network import Network, find_sections, solve
from xover.rules.margins import BARE_SHARE, DC_PATH_SHARE, KEPT_OFF_SHARE, POLARITY_DB
from xover.sound.prediction import Prediction, predict
from xover.sound.roles import Role, driver_role
from xover.speaker import Speaker
from xover.studies.desk.check.findings import Finding, note, stop, warning

# So slow that every capacitor is open and every coil its DCR.
_DC_HZ = 1e-3


def network_findings(
    speaker: Speaker, name: str, network: Network, fits: Mapping[str, DriverFit | None]
) -> Iterator[Finding]:
    """Go through one network of the folder."""
    yield from _connections(name, network)
    yield from _protection(speaker, name, network, fits)
    yield from _parts(speaker, name, network)
    yield from _sound(name, network, predict(speaker, name, log_grid(20.0, 20e3, 24)))


def _connections(name: str, network: Network) -> Iterator[Finding]:
    ends = Counter(n for e in (*network.parts, *network.drivers) for n in (e.a, e.b))
    given = {"0"} | {n for c in network.channels for n in (c.plus, c.minus)}
    for element in (*network.parts, *network.drivers):
        for node in (element.a, element.b):
            if ends[node] == 1 and node not in given:
                yield warning(
                    name,
                    f"node {node} has one connection: {element.name} hangs in the air there and carries no current",
                    f"check the node names of {element.name}, or remove it",
                )
    for section in find_sections(network):
        if not section.reaches_driver:
            parts = ", ".join(section.elements)
            yield warning(
                name,
                f"{parts} load{'s' if len(section.elements) == 1 else ''} the amplifier but never reach a driver",
                "check the node names; parts across the amplifier that only shape the load are right as they are",
            )


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
    share = dc_drive(speaker, network, fits)
    for card in network.drivers:
        got = share[card.key]
        role = driver_role(speaker.drivers[card.driver])
        if role is Role.HIGH:
            if got > BARE_SHARE:
                yield stop(
                    name,
                    f"{card.key} ({card.name}) has no capacitor in series: {got:.0%} of any DC gets there",
                    "add a series capacitor before you switch anything on: a thump or a fault kills a tweeter",
                )
            elif got > KEPT_OFF_SHARE:
                yield note(
                    name,
                    f"{card.key} is kept from DC by a coil across it, not by a capacitor ({got:.1%} gets through)",
                    "usual in a series network; do not open that coil while the amplifier is on",
                )
        elif role is Role.LOW and got < DC_PATH_SHARE:
            yield warning(
                name,
                f"{card.key} ({card.name}) has no path for DC: a capacitor stands in series with a woofer",
                "check the drawing: some networks do this on purpose, most do not",
            )


def _parts(speaker: Speaker, name: str, network: Network) -> Iterator[Finding]:
    amplifier = speaker.amplifier
    peak = None
    if amplifier is not None and amplifier.rated_power_w and amplifier.rated_load_ohm:
        peak = math.sqrt(2.0) * rated_voltage(amplifier.rated_power_w, amplifier.rated_load_ohm)
    for capacitor in network.capacitors:
        kind = capacitor.kind or ""
        if "oil" in kind or "pio" in kind:
            yield stop(
                name,
                f"{capacitor.name} is oil-filled: cans from before 1980 may hold PCBs",
                "do not open, drill or burn it; wear nitrile gloves and hand it to the local hazardous-waste service",
            )
        rating = capacitor.volts
        if rating is not None and peak is not None and rating < peak:
            yield warning(
                name,
                f"{capacitor.name} is rated {rating:g} V, less than the amplifier's peak of {peak:.0f} V",
                "replace it by a part of 100 V or more when you next open the box",
            )
    for resistor in network.resistors:
        if resistor.is_lamp:
            yield note(
                name,
                f"{resistor.name} is a lamp or resettable fuse, taken cold ({resistor.ohm:g} ohm)",
                "leave it in: its cold resistance belongs to the voicing, and hot it protects a driver",
            )


def _gain_if_reversed(prediction: Prediction, crossover_hz: float) -> float:
    """How much louder the reversed sum is, on average over the octave round a crossover; NaN if not known."""
    near = np.abs(np.log2(prediction.frequency_hz / crossover_hz)) <= 0.5
    with np.errstate(invalid="ignore"):  # silence less silence is not known
        change = prediction.total.reversed_level_db[near] - prediction.total.level_db[near]
    known = change[np.isfinite(change)]
    return float(known.mean()) if known.size else math.nan


def _sound(name: str, network: Network, prediction: Prediction) -> Iterator[Finding]:
    if not prediction.total.coherent:
        yield warning(name, f"the sum is an envelope only: {prediction.timing_reason}", "see timing in speaker.toml")
    for crossover in prediction.crossovers:
        pair = f"{'+'.join(crossover.lower)} and {'+'.join(crossover.upper)}"
        if crossover.frequency_hz is None:
            yield warning(
                name, f"{pair} never cross: {crossover.reason}", "check the netlist and the responses' levels"
            )
        elif prediction.total.coherent:
            gain = _gain_if_reversed(prediction, crossover.frequency_hz)
            if gain > POLARITY_DB:
                yield warning(
                    name,
                    f"polarity: round {crossover.frequency_hz:.0f} Hz {pair} add up better with one of them reversed "
                    f"(by {gain:.1f} dB)",
                    "check each driver's polarity on the board before changing it: some makers meant the dip, and some "
                    "mark plus the other way round",
                )
    reversed_cards = [d.key for d in network.drivers if d.plus == "0"]
    if reversed_cards:
        yield note(
            name,
            f"reversed (plus on ground): {', '.join(reversed_cards)}",
            "usual in networks of second order; do not 'correct' it without looking at the sum",
        )
