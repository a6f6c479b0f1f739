"""Faults of a build and changes between a pair in words, and what to do next at the bench to be sure."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Final

import numpy as np

from xover.acoustic.level import bands_touched, mean_over_bands, nominal_hz
from xover.blocks import Block, Head, Table, Text, fact, plain_table, sentence
from xover.curve import Float
from xover.explain.faults import Fault, FaultKind
from xover.explain.pair_changes import Change, ChangeKind
from xover.explain.terminals import GAIN, LEADS, Knob, KnobKind
from xover.figures import db, hertz, odds
from xover.network import Network
from xover.network.parts import Capacitor, Inductor, Part, shown_value, value_of
from xover.studies.aged.phone.words import tell_change
from xover.studies.aged.verify.result import Explanation, PairStudy, RankedFault, Verdict, VerifyStudy

LEAST_DELAY_S: Final = 15e-6
"""Half a centimetre: less is not worth a word."""
LIFT: Final = "with one leg lifted"
MOST_GROUPS: Final = 4
"""Ranks that are shown; what was measured cannot tell apart what shares one."""
FAR_BEHIND: Final = 12.0
"""Tenfold odds beyond which a fault is not worth a line."""


def fault_words(network: Network, fault: Fault, value: float | None = None) -> str:
    """A fault as one says it."""
    if fault.is_driver:
        return {
            FaultKind.OPEN: f"{fault.part} not connected, or its coil open",
            FaultKind.SHORTED: f"{fault.part} shorted at its terminals",
            FaultKind.SWAPPED: f"{fault.part} and {fault.other} exchanged",
            FaultKind.REVERSED: f"{fault.part} with its wires swapped",
        }[fault.kind]
    part = network.part(fault.part)
    marked = shown_value(part)
    if fault.kind is FaultKind.SWAPPED:
        other = network.part(fault.other or "")
        return f"{part.name} ({marked}) and {other.name} ({shown_value(other)}) in each other's place"
    if fault.kind is FaultKind.REVERSED:
        return f"{part.name} the wrong way round beside {fault.other}"
    both = "" if fault.other is None else f", and {fault.other} with it"
    if fault.kind is FaultKind.OTHER_VALUE:
        return f"{part.name} {about(network, fault, value)} in place of {marked}{both}"
    if fault.kind in (FaultKind.TEN_TIMES, FaultKind.TENTH):
        factor = 10.0 if fault.kind is FaultKind.TEN_TIMES else 0.1
        there = shown_value(part, factor * value_of(part))
        return f"{part.name} {there} in place of {marked}{both}: wrong by a decade"
    return f"{part.name} ({marked}) {fault.kind}"


def about(network: Network, fault: Fault, value: float | None) -> str:
    """The fault in as few words as a table has room for; a fitted value as it comes out."""
    return fault.told if value is None else f"about {shown_value(network.part(fault.part), value)}"


def next_test(network: Network, fault: Fault, tied: Sequence[Fault]) -> str:
    """The cheapest test that settles whether a fault is there; where faults are tied, one that parts them."""
    rivals = [f for f in tied if f != fault]
    if fault.is_driver:
        return _driver_test(fault, rivals)
    part = network.part(fault.part)
    if fault.kind is FaultKind.OPEN:
        joints = f"press on the joints of {part.name} while sweeping, then "
        return joints + _meter(part, "reads nothing: it or its joint is open")
    if fault.kind is FaultKind.SHORTED:
        across = [f.part for f in rivals if f.is_driver and f.kind is FaultKind.SHORTED]
        unplug = f"unplug {' and '.join(across)}; " if across else ""
        return f"{unplug}ohmmeter across {part.name} {LIFT}: under an ohm, or not"
    if fault.kind is FaultKind.SWAPPED:
        return f"read the print on {fault.part} and {fault.other}"
    if fault.kind is FaultKind.REVERSED:
        return f"swap the two ends of {fault.part} and sweep again"
    return f"read the print on {part.name}, then " + _meter(part, "tells its value")


def _driver_test(fault: Fault, rivals: Sequence[Fault]) -> str:
    if fault.kind is FaultKind.REVERSED:
        return (
            f"look which wire goes to the marked terminal of {fault.part}; a 1.5 V cell at a woofer's terminals (never "
            "at a tweeter's) pushes the cone out when plus is on plus"
        )
    if fault.kind is FaultKind.SWAPPED:
        return f"play at a whisper: {fault.part} must not sound like {fault.other}"
    if fault.kind is FaultKind.OPEN:
        alike = [f.part for f in rivals if f.is_driver and f.kind is FaultKind.OPEN]
        others = f" and of {', '.join(alike)}" if alike else ""
        return f"ohmmeter across the terminals of {fault.part}{others}, one wire off: some ohms, or nothing"
    return f"take one wire off {fault.part} and sweep again: its ohms alone should be as measured"


def _meter(part: Part, tells: str) -> str:
    if isinstance(part, Capacitor):
        return f"a capacitance meter across {part.name} {LIFT} {tells}"
    if isinstance(part, Inductor):
        return f"an ohmmeter, better an inductance meter, across {part.name} {LIFT} {tells}"
    return f"an ohmmeter across {part.name} {LIFT} {tells}"


def knob_words(knob: Knob, turned: float) -> str:
    """What a knob far from its place means."""
    percent = 100.0 * math.expm1(turned)
    size = f"{percent:+.0f} %"
    if knob.name == GAIN:
        return f"the sweep {size} off as a whole"
    if knob.name == LEADS:
        return f"leads of {turned:+.2f} ohm"
    if knob.kind is KnobKind.DRIVER:
        key, _, what = knob.name.partition(":")
        meaning = {"scale": "impedance", "shift": "resonances", "fs": "resonances", "Bl": "force factor Bl"}.get(
            what, what
        )
        return f"{meaning} of {key} {size}"
    if knob.kind is KnobKind.LOSS:
        kind = "resistance" if knob.name.endswith(("_dcr", "_esr")) else "loss"
        return f"{kind} of {knob.name.rpartition('_')[0]} {size}"
    if knob.kind is KnobKind.LEAKAGE:
        return f"leakage of {knob.name} {size}"
    return f"{' and '.join(knob.acts_on)} {size}"


def change_words(network: Network, change: Change, factor: float | None, first: float | None) -> str:
    """A change as one says it. `factor` : second over first; `first` : the first speaker's value of a part."""
    name = change.subject
    size = "" if factor is None else f"{100.0 * (factor - 1.0):+.0f} %"
    up = factor is not None and factor > 1.0
    if change.kind is ChangeKind.VALUE and factor is not None and first is not None:
        part = network.part(name)
        return f"{name} {size}: about {shown_value(part, first * factor)} against {shown_value(part, first)}"
    if change.kind is ChangeKind.MAGNET and factor is not None:
        level = 20.0 * math.log10(factor)
        return f"{name}: {'stronger' if up else 'weaker'} magnet, Bl {size} ({level:+.1f} dB)"
    if change.kind is ChangeKind.SUSPENSION and factor is not None:
        moved = 100.0 * (math.sqrt(factor) - 1.0)
        return f"{name}: {'stiffer' if up else 'softer'} suspension or box, its resonance {moved:+.0f} %"
    if change.kind is ChangeKind.DAMPING:
        return f"{name}: {'more damped (dried fluid, rubbing coil)' if up else 'less damped'}, Rms {size}"
    if change.kind is ChangeKind.COIL:
        return f"{name}: voice coil's resistance off by {size} of its own"
    if change.kind is ChangeKind.OTHER_DRIVER:
        return f"{name}: another driver, or one changed in several ways"
    if change.is_driver:
        return f"{name} {'not connected or its coil open' if change.kind is ChangeKind.OPEN else 'shorted'}"
    return f"{name} {change.kind}"


def pair_test(network: Network, changes: Sequence[Change], rivals: Sequence[Sequence[Change]]) -> str:
    """The cheapest test that settles an explanation."""
    both = [*changes, *(c for r in rivals for c in r)]
    drivers = list(dict.fromkeys(c.subject for c in both if c.is_driver))
    if drivers and any(not c.is_driver for c in both):
        return f"take one wire off {drivers[0]} in both speakers and sweep them alone: alike, then it is the network"
    change = changes[0]
    if change.is_driver and change.kind not in (ChangeKind.OPEN, ChangeKind.SHORTED):
        return (
            f"take one wire off {change.subject} in both speakers and sweep it alone; listen to each alone at low level"
        )
    kind = {ChangeKind.OPEN: FaultKind.OPEN, ChangeKind.SHORTED: FaultKind.SHORTED}.get(
        change.kind, FaultKind.OTHER_VALUE
    )
    tied = [
        Fault(FaultKind(str(c.kind)), c.subject, is_driver=c.is_driver)
        for r in rivals
        for c in r
        if c.kind in (ChangeKind.OPEN, ChangeKind.SHORTED)
    ]
    return next_test(network, Fault(kind, change.subject, is_driver=change.is_driver), tied)


def difference_headline(agrees: bool, ranked: Sequence[Explanation], noise: float) -> str:
    """The verdict in a sentence."""
    if agrees:
        return (
            f"no difference beyond noise ({100 * noise:.1f} %) and what like parts differ by: cannot tell the two apart"
        )
    first = [e for e in ranked if e.tie == 0]
    if not any(e.explains for e in first):
        return f"more than two things differ; nearest: {first[0].words}"
    words = "; or ".join(e.words for e in first)
    sides = {e.is_driver for e in first}
    if sides == {True}:
        return f"a driver, not the network: {words}"
    if sides == {False}:
        return f"the network, not a driver: {words}"
    if len(first) == 1:
        return f"a driver and the network: {words}"
    return f"the sweeps cannot tell a driver from the network here: {words}"


def shift_words(driver: str, delay_s: float, gain_db: float, first: str) -> str:
    """How a driver sounds against the first one, other than in its record."""
    when = f"{abs(1e6 * delay_s):.0f} us {'later' if delay_s > 0 else 'earlier'}"
    return f"{driver} {when} and {gain_db:+.1f} dB against {first} than in its record"


def verdict_headline(verdict: Verdict, ranked: Sequence[RankedFault], drivers: str, unheard: Sequence[str] = ()) -> str:
    """The verdict on a build in a sentence. `drivers` : what of them, or of the jig, has moved; `unheard` : why not."""
    if verdict is Verdict.RESPONSE:
        return (
            f"the impedance does what was predicted, the sound does not: {'; '.join(unheard)}. No single fault of the "
            "network explains both: suspect the records of the drivers, or that the microphone was moved"
        )
    if verdict is Verdict.AGREES:
        return "the build does what was predicted, within tolerances and noise"
    if verdict is Verdict.DRIVERS:
        return (
            f"the network may be right, but a driver or the jig is not what it was: {drivers}; sweep the drivers again"
        )
    said = "the build does not do what was predicted"
    first = [f.words for f in ranked if f.tie == 0]
    if verdict is Verdict.SEVERAL:
        return f"{said}, and no single fault explains it; nearest: {first[0]}"
    if len(first) == 1:
        return f"{said}: {first[0]}"
    return f"{said}; what was measured cannot tell these apart: {'; '.join(first)}"


def tell(study: VerifyStudy | PairStudy, everything: bool = False) -> Iterator[Block]:
    """A build, or a pair, as a person reads it."""
    yield from _pair(study) if isinstance(study, PairStudy) else _build(study, everything)


def _build(v: VerifyStudy, everything: bool) -> Iterator[Block]:
    z, sound, sweep = v.terminals, v.sound, Path(v.sweep).name or "the sweep"
    yield Head(f"{v.title}: {sweep} against network '{v.network}'")
    yield sentence(v.headline)
    if v.faults:
        yield from _why(v, sweep)
    elif v.verdict is Verdict.RESPONSE:
        yield Head("Next")
        yield Text(
            "'xover delay' tells from this response, or better from one of the bare drivers, what delay, level and "
            "polarity the drivers have; look at their wires, and measure the response again from the records' place."
        )
    yield Head("Measured less predicted")
    yield fact(
        "impedance",
        f"rms {100 * z.residual:.1f} %, largest {z.worst_percent:+.1f} % at {hertz(z.worst_at_hz)}; noise "
        f"{100 * z.noise:.2f} % ({z.noise_source})",
    )
    if sound is not None:
        yield fact(
            "sound",
            f"rms {db(sound.rms_db, 1)} dB, largest {db(sound.worst_db, 1, True)} dB near {hertz(sound.worst_at_hz)}, "
            f"third octaves, level matched; {sound.sigma_db:g} dB of each is taken as noise",
        )
        moved = [d for d in sound.drivers if abs(d.delay_s) > max(LEAST_DELAY_S, 2.0 * d.delay_doubt_s)]
        if moved:
            shifts = "; ".join(shift_words(d.driver, d.delay_s, d.gain_db, sound.first) for d in moved)
            yield fact("", f"{db(sound.left_rms_db, 1)} dB rms are left with {shifts}")
    if v.heard is not None:
        yield from tell_change(v.heard)
    if everything:
        yield _octaves(v)
        yield Text("Means over octaves; band: what tolerances and noise explain, two standard deviations each way.")
    if v.sweep_shows:
        yield Head("A part must be wrong by more than about this to show")
        yield fact("sweep", _shares(v.sweep_shows))
        if v.response_shows:
            yield fact("response alone", _shares(v.response_shows))
    if v.not_excluded:
        yield Head("Would not show in what was measured")
        yield from map(Text, v.not_excluded)


def _why(v: VerifyStudy, sweep: str) -> Iterator[Block]:
    """Reasons, faults, and what to do next."""
    sound = v.sound
    yield Head("Why it does not agree")
    for reason in v.reasons:
        yield sentence(reason)
    yield Head(f"Single faults, likeliest first, of {v.tried} tried")
    leaders = {f.tie: f for f in reversed(v.faults)}
    near = [f for f in leaders.values() if 0 < f.tie < MOST_GROUPS and -f.odds_log10 <= FAR_BEHIND]
    shown = [*v.tied, *sorted(near, key=lambda f: f.tie)]
    heard = ["dB"] if sound is not None else []
    yield plain_table(
        ["", "part", "fault", "leaves %", *heard, "1st likelier", "explains"], [_row(f, heard) for f in shown]
    )
    yield Text(
        "leaves: rms of the impedance; 1st likelier: than this one; explains: what is left is noise, and all other "
        "parts keep within tolerance. Faults of one number cannot be told apart by what was measured."
    )
    yield Head("Next")
    for fault in shown:
        if fault.tie == 0:
            needs = f"; needs {', '.join(fault.needs)} besides" if fault.needs else ""
            yield Text(f"{fault.words}{needs}:")
            yield fact("", f"{fault.next_test}.", 1)
    if v.verdict is Verdict.SEVERAL:
        yield Text(f"More than one thing is off: 'xover infer' gives the value of each part from {sweep}.")


def _shares(shows: Mapping[str, float]) -> str:
    """Each part with its share, the most plainly seen first; those that would have to double or more together."""
    order = sorted(shows, key=lambda name: shows[name])
    seen = [f"{name} {100 * shows[name]:.0f} %" for name in order if shows[name] < 1.0]
    hidden = [name for name in order if shows[name] >= 1.0]
    return ", ".join([*seen, *([f"more than double: {', '.join(hidden)}"] if hidden else [])])


def _row(f: RankedFault, heard: Sequence[str]) -> list[str]:
    cells = [str(f.tie + 1), f.fault.part, f.told, f"{100 * f.residual:.1f}", *(db(f.sound_db, 1) for _ in heard)]
    return [*cells, odds(-f.odds_log10), "yes" if f.explains else "no"]


def _octaves(v: VerifyStudy) -> Table:
    """Mean and band of the impedance in each octave, and of the sound."""
    z, sound = v.terminals, v.sound
    centres = bands_touched(float(z.frequency_hz[0]), float(z.frequency_hz[-1]), 1)

    def mean(curve: Float) -> Float:
        return np.asarray(mean_over_bands(z.frequency_hz, curve, centres, 1))

    def over(curve: Float) -> list[float]:
        near = [np.abs(np.log2(sound.centre_hz / c)) < 0.5 for c in centres] if sound is not None else []
        return [float(np.mean(curve[rows])) if rows.any() else math.nan for rows in near]

    percent = mean(z.percent)
    head = ["octave Hz", "ohms %", "band"]
    columns = [[f"{nominal_hz(float(c)):g}" for c in centres], [f"{p:+.1f}" for p in percent]]
    columns.append([f"{p:.1f}" for p in mean(z.band_percent)])
    if z.phase_deg is not None and z.band_deg is not None:
        head += ["phase deg", "band"]
        columns += [[db(p, 1, True) for p in mean(z.phase_deg)], [db(p, 1) for p in mean(z.band_deg)]]
    if sound is not None:
        head += ["sound dB", "band"]
        columns += [[db(s, 1, True) for s in over(sound.difference_db)], [db(s, 1) for s in over(sound.band_db)]]
    rows = zip(*columns, strict=True)
    return plain_table(head, [row for row, p in zip(rows, percent, strict=True) if not math.isnan(p)])


def _pair(p: PairStudy) -> Iterator[Block]:
    first, second = (sweep or f"the {n} sweep" for n, sweep in zip(("first", "second"), p.sweeps, strict=True))
    yield Head(f"{p.title}, network '{p.network}': {second} against {first}")
    yield sentence(p.headline)
    yield fact(
        "difference",
        f"rms {100 * p.residual:.1f} % of the impedance; noise {100 * p.noise[1]:.2f} and {100 * p.noise[0]:.2f} %; "
        f"the network fits the first sweep to {100 * p.first_residual:.1f} %",
    )
    if not p.agrees:
        yield Head(f"What may have changed, likeliest first, of {p.tried} tried")
        shown = [e for e in p.explanations if e.tie < MOST_GROUPS and (e.tie == 0 or -e.odds_log10 < FAR_BEHIND)]
        for e in shown:
            verdict = "" if e.explains else ", does not explain it all"
            behind = f", the first likelier: {odds(-e.odds_log10)}" if e.tie else ""
            leaves = f"leaves {100 * e.residual:.1f} %{behind}{verdict}"
            yield fact(f"{e.tie + 1}.", f"{e.words} ({leaves})", 3)
        yield Text("Explanations of one number cannot be told apart by the two sweeps.")
        yield Head("Next")
        for test in dict.fromkeys(e.next_test for e in shown if e.tie == 0):
            yield sentence(test)
    if p.hidden:
        yield Head("Would not show in these sweeps")
        yield Text(f"{'; '.join(p.hidden)}. Sweep the driver alone to see it.")
