"""Findings in words: what was found, and what to do."""

from __future__ import annotations

from typing import Any, Final

from xover.figures import written
from xover.judge.hazard_words import of_condition, of_safety
from xover.judge.health_words import health_words
from xover.judge.kinds import Fault
from xover.quantity import hertz
from xover.sentences import and_words

_READ_AGAIN: Final = (
    "zero the meter's leads and read again; then check the jig's reference resistor and the scale of the file"
)


def words_of(fault: Fault, f: Any) -> tuple[str, str]:
    """What was found, and the remedy; `f` are the facts of the finding."""
    said = (
        of_safety(fault, f)
        or of_condition(fault, f)
        or _of_driver(fault, f)
        or _of_network(fault, f)
        or _of_amplifier(fault, f)
    )
    if said is not None:
        return said
    if fault is Fault.NO_NETWORK:
        return "no network is named", 'add [networks.found] with circuit = "found.cir"'
    assert fault is Fault.UNUSED_DRIVER
    return "no network uses this driver", "remove it, or bind it in a netlist"


def _of_driver(fault: Fault, f: Any) -> tuple[str, str] | None:
    match fault:
        case Fault.PHASE_REBUILT:
            return f["note"], "measure the phase against one time reference to do without"
        case Fault.FROM_DATASHEET:
            return f["note"], "measure an impedance sweep and a response to do without"
        case Fault.NO_SOUND:
            return (
                "nothing is known of its sound: no response and no sensitivity_db is given",
                "record one (xover response); until then voltages and loads are told, no sum",
            )
        case Fault.DOUBTFUL_FILE:
            return f["note"], "look at the file, and measure again if it is not meant"
        case Fault.NO_MODEL:
            return "no electrical model fits the impedance sweep", "check the file's columns and units"
        case Fault.TWO_RESONANCES:
            return f["note"], "usual with a horn or a vented box; else look for a leak"
        case Fault.DOUBTFUL_SWEEP:
            return f["note"], "check the jig, its calibration and the file; then measure again"
        case Fault.COARSE_SWEEP:
            return (
                f"the impedance sweep is coarse or noisy: between rows it is good to about {f['error']:.0%} at worst",
                "measure 24 or more points in each octave",
            )
        case Fault.SHORT_SWEEP:
            return (
                f"the impedance is known from {_band(f['band_hz'])} only: results outside of that are told "
                "with a bound where it hardly matters there, else left blank",
                "sweep from 10 Hz to 20 kHz or more",
            )
        case Fault.DC_ABOVE_SWEEP:
            return (
                f"the DC resistance of {f['read_ohm']:.3g} ohm is above the sweep's lowest impedance, "
                f"{f['lowest_ohm']:.3g} ohm at {hertz(f['at_hz'])}: both cannot be true",
                _READ_AGAIN,
            )
        case Fault.DC_BELOW_SWEEP:
            return (
                f"the DC resistance of {f['read_ohm']:.3g} ohm is far below what the sweep shows, "
                f"{f['shown_ohm']:.3g} ohm",
                _READ_AGAIN,
            )
        case Fault.NO_OVERLAP:
            return (
                f"impedance ({_band(f['impedance_hz'])}) and response ({_band(f['response_hz'])}) do not overlap: "
                "no sound can be predicted",
                "measure both over the same band, or check the units of the frequency column",
            )
        case Fault.LITTLE_OVERLAP:
            return (
                f"impedance and response overlap only from {_band(f['band_hz'])}",
                "measure both over the band that the driver plays",
            )
        case Fault.RELATIVE_LEVEL if "note" in f:
            return (
                f"{f['note']}",
                "nothing to do where all drivers were recorded alike; xover response --calibrator --volts tells it",
            )
        case Fault.RELATIVE_LEVEL:
            return (
                f"the response peaks at {f['level_db']:.0f} dB, no level of a driver at 2.83 V and 1 m: it looks "
                "relative",
                "add the level of 0 dB to the table; ratios between drivers are wrong until then",
            )
        case Fault.NO_PLACE:
            return (
                "its phase is rebuilt, but its place is not known: the sum is an envelope only",
                "add position_mm = [right, up, forward] of the design axis' foot on the baffle; a recording of all "
                "drivers together tells more: xover delay",
            )
        case Fault.UNSOUND:
            return health_words(f["health"])
        case Fault.DENIED_TIMING:
            return (
                f'{f["note"]}; timing = "common" is not trusted',
                'write timing = "unknown", or measure against one loop-back; a recording of the drivers together tells '
                "their delay: xover delay",
            )
        case Fault.PLACE_OF_ANGLES:
            return (
                "its delay on the axis is that of its measured phase: position_mm counts off the axis only",
                "nothing to do; where place and phase disagree, a recording of the drivers together tells: xover delay",
            )
        case Fault.DELAY_UNUSED:
            return (
                f"delay_us is given, but {' and '.join(f['without'])} have none and no timing of their own: the sum "
                "stays an envelope",
                "find the delay of every driver but one: xover delay",
            )
    return None


def _of_network(fault: Fault, f: Any) -> tuple[str, str] | None:
    match fault:
        case Fault.LOOSE_NODE:
            return (
                f"node {f['node']} has one connection: {f['element']} hangs in the air there and carries no current",
                f"check the node names of {f['element']}, or remove it",
            )
        case Fault.ODD_VALUE:
            return f["odd"].problem, f["odd"].remedy
        case Fault.IDLE_PARTS:
            load = "loads" if len(f["parts"]) == 1 else "load"
            return (
                f"{', '.join(f['parts'])} {load} the amplifier but never reach a driver",
                "check the node names; parts across the amplifier that only shape the load are right as they are",
            )
        case Fault.NO_CIRCUIT:
            at = "no fixed node" if f["meets"] is None else f"node {f['meets']} only"
            nodes = (
                f"one of the nodes {', '.join(f['nodes'])}" if len(f["nodes"]) > 1 else f"node {''.join(f['nodes'])}"
            )
            return (
                f"no current can flow through {and_words(f['elements'])}: they meet the amplifier at {at}",
                f"join {nodes} to {f['wants']}" if f["nodes"] else "mend the node names on those lines",
            )
        case Fault.NO_VOLTAGE:
            return (
                f"{f['key']} gets nothing: its two ends, {f['plus']} and {f['minus']}, carry the same voltage",
                "check the node names round it, and whether a wire lies across it",
            )
        case Fault.DRIVER_COUNT:
            counts = "; ".join(f"'{name}': {', '.join(cards) or 'not there'}" for name, cards in f["cards"].items())
            return (
                f"{f['driver']} does not stand equally often in each network ({counts})",
                "nothing to do where that is meant: networks are compared driver by driver where a driver's cards are "
                "fed alike, else card by card",
            )
        case Fault.BARE_TWEETER:
            return (
                f"{f['key']} ({f['card']}) has no capacitor in series: {f['share']:.0%} of any DC gets there",
                "add a series capacitor before you switch anything on: a thump or a fault kills a tweeter",
            )
        case Fault.COIL_PROTECTS:
            return (
                f"{f['key']} is kept from DC by a coil across it, not by a capacitor ({f['share']:.1%} gets through)",
                "usual in a series network; do not open that coil while the amplifier is on",
            )
        case Fault.BLOCKED_WOOFER:
            return (
                f"{f['key']} ({f['card']}) has no path for DC: a capacitor stands in series with a woofer",
                "check the drawing: some networks do this on purpose, most do not",
            )
        case Fault.OIL_FILLED:
            return (
                f"{f['part']} is oil-filled: cans from before 1980 may hold PCBs",
                "do not open, drill or burn it; wear nitrile gloves and hand it to the local hazardous-waste service",
            )
        case Fault.LAMP:
            return (
                f"{f['part']} is a lamp or resettable fuse, taken cold ({f['ohm']:g} ohm)",
                "leave it in: its cold resistance belongs to the voicing, and hot it protects a driver",
            )
        case Fault.ENVELOPE:
            return f"the sum is an envelope only: {f['reason']}", "see timing in speaker.toml"
        case Fault.NO_CROSSOVER:
            return (
                f"no crossover of {f['pair']} is seen: {f['reason']}",
                "check the netlist and the responses' levels, and that all sweeps reach over the band",
            )
        case Fault.POLARITY:
            own = "; the original is so too: the design's own polarity" if f.get("design") else ""
            return (
                f"polarity: round {f['at_hz']:.0f} Hz {f['pair']} add up better with one of them reversed "
                f"(by {f['gain_db']:.1f} dB){own}",
                "check each driver's polarity on the board before changing it: some makers meant the dip, and some "
                "mark plus the other way round",
            )
        case Fault.REVERSED:
            return (
                f"reversed (plus on ground): {', '.join(f['keys'])}",
                "usual in networks of second order; do not 'correct' it without looking at the sum",
            )
    return None


def _of_amplifier(fault: Fault, f: Any) -> tuple[str, str] | None:
    match fault:
        case Fault.BRIDGED_JOINED:
            return (
                f"channels {' and '.join(f['channels'])} share their minus (node {f['node']}), and at least one of "
                "them is bridged: its minus is a live output, and joining it shorts the amplifier",
                "give each channel a minus of its own, such as 'Vbass lo+ lo-', and split the common return",
            )
        case Fault.PERHAPS_BRIDGED:
            return (
                f"channels {' and '.join(f['channels'])} share their minus (node {f['node']}): right for amplifiers "
                "with a common ground, fatal for bridged (BTL) ones, as many class D amplifiers are",
                "look it up, then say bridged = false or true in [amplifier] or [bypass.channels.NAME]",
            )
        case Fault.UNRATED:
            return (
                f"lowest impedance {written('lowest load', f['lowest_ohm'])} ohm; no amplifier is given to hold it "
                "against",
                "add [amplifier] with minimum_load_ohm to speaker.toml",
            )
    return None


def _band(band_hz: tuple[float, float]) -> str:
    return f"{hertz(band_hz[0])} to {hertz(band_hz[1])}"
