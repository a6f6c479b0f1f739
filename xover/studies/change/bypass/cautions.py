"""What to heed before a driver meets an amplifier channel of its own: only what applies to the case."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from xover.amplifier.programme import Spectrum, heat_w, programme_weights
from xover.figures import db, written
from xover.judge.dead import is_open, is_shorted
from xover.judge.faults import faults
from xover.judge.findings import Finding, found
from xover.judge.kinds import Fault
from xover.judge.network import bridged_tables, low_load, measured_impedance
from xover.judge.odd import odd_drivers
from xover.judge.odd_words import odd_sentence, remedy_words
from xover.judge.tweeter import tweeter_finding
from xover.network import DriverCard, Network
from xover.network.network import GROUND
from xover.quantity import QuantityKind, format_quantity, hertz, ohms
from xover.rules.audibility import HARD_DB, UNHEARD_DB
from xover.rules.margins import (
    BLOCKED_DB,
    FAINT_PEAK_DB,
    FAULT_DC_V,
    HISS_DB,
    LOUD_PEAK_DB,
    NULL_DB,
    TWIN_DEG,
)
from xover.rules.severity import Severity
from xover.sound.resonance import Role, roles
from xover.speaker import Speaker
from xover.studies.change.bypass.channels import BareDrivers
from xover.studies.change.bypass.crossover import Crossover, CrossoverSum
from xover.studies.change.bypass.fitness import BandFit, Breakup
from xover.studies.change.bypass.power import PowerSplit
from xover.studies.change.bypass.result import BypassChannel, BypassFinding
from xover.terms import TERMS


@dataclass(frozen=True, eq=False)
class BypassCase:
    """What the findings are read from."""

    speaker: Speaker
    network: Network
    network_name: str
    bare: BareDrivers
    crossover: Crossover
    channels: Mapping[str, BypassChannel]
    reached: CrossoverSum | None
    proposed: CrossoverSum | None
    power: PowerSplit

    @property
    def low(self) -> BypassChannel:
        """The lowest channel."""
        return self.channels[self.bare.names[0]]

    @property
    def high(self) -> BypassChannel:
        """The highest channel."""
        return self.channels[self.bare.names[-1]]


def findings_of(case: BypassCase) -> tuple[BypassFinding, ...]:
    """Everything to heed, the gravest first; of the same gravity, what is this case's own before what always holds."""
    found = [
        *hazards_of(case),
        *_dead(case),
        *_odd(case),
        *_supply(case),
        *_wiring(case),
        *_common_minus(case),
        *_phases(case),
        *_breakups(case),
        *_beaming(case),
        *_twin(case),
        *_network_out(case),
        *_swapped(case),
        *_dc(case),
        *_capacitor(case),
        *_polarity(case),
        *_hiss(case),
        *_lobes(case),
    ]
    return tuple(sorted(found, key=lambda f: f.severity.order))


def hazards_of(case: BypassCase) -> Iterator[BypassFinding]:
    """The one place that stops come from: bridged outputs, loads, tweeters below their resonance."""
    yield from _bridged(case)
    yield from _tweeters(case)
    yield from _loads(case)


def _stop(about: str, text: str, brief: str) -> BypassFinding:
    return BypassFinding(Severity.STOP, about, text, brief)


def _caution(about: str, text: str, brief: str = "") -> BypassFinding:
    return BypassFinding(Severity.CAUTION, about, text, brief)


def _note(about: str, text: str) -> BypassFinding:
    return BypassFinding(Severity.NOTE, about, text)


def _bridged(case: BypassCase) -> Iterator[BypassFinding]:
    said = [where for where, bridged in bridged_tables(case.speaker).items() if bridged]
    if said:
        yield _stop(
            "bridged outputs",
            f"{' and '.join(said)}: bridged = true. The minus of a bridged output carries the signal: it must touch no "
            "other minus, no ground and no common return, or the amplifier is shorted. Wire each driver with two "
            "wires of its own, take every jumper and common return out, and prove with an ohmmeter that no two "
            "channels share a wire before you switch on.",
            "bridged outputs: their minus carries the signal and must touch no other wire. Two wires to each "
            "driver, no jumper, and prove with an ohmmeter that no two channels share one.",
        )


def _common_minus(case: BypassCase) -> Iterator[BypassFinding]:
    tables = bridged_tables(case.speaker)
    if not _share_a_wire(case.network) or any(bridged is not None for bridged in tables.values()):
        return
    yield _caution(
        "common minus",
        "the drivers share a minus in this network. Give each channel two wires of its own: the minus of a bridged "
        "output carries the signal, and a shared one shorts it. Say bridged = false in speaker.toml once you know.",
    )


def _share_a_wire(network: Network) -> bool:
    at_ground = [c for c in network.drivers if GROUND in (c.plus, c.minus)]
    return len({c.driver for c in at_ground}) > 1


def _told(about: str, finding: Finding) -> BypassFinding:
    """A finding of the one judge, in its own words."""
    text = f"{finding.text}: {finding.remedy}."
    return BypassFinding(finding.severity, about, text, text)


def _loads(case: BypassCase) -> Iterator[BypassFinding]:
    for name, channel in case.channels.items():
        verdict, reading, about = channel.load.verdict, channel.load.reading, f"load of {name}"
        if verdict.minimum_load_ohm is not None:
            guessed = [n for n in channel.wiring.names if not measured_impedance(case.speaker, n)]
            whose = name if len(channel.wiring.keys) == 1 else f"{name} ({channel.wiring.words})"
            found = low_load(whose, reading, verdict.minimum_load_ohm, guessed)
            if found is not None:
                yield replace(_told(about, found), brief=f"{whose}: {found.text}: {found.remedy}.")
        if verdict.epdr_caution:
            yield _caution(
                about,
                f"EPDR, {TERMS['EPDR']}, falls to "
                f"{written('lowest EPDR', reading.lowest_epdr_ohm)} ohm at {hertz(reading.lowest_epdr_at_hz)}, under "
                f"half of the {ohms(verdict.minimum_load_ohm or math.nan)} allowed: a linear amplifier runs hot when "
                "loud, class D hardly.",
            )


def _wiring(case: BypassCase) -> Iterator[BypassFinding]:
    for channel in case.channels.values():
        if channel.wiring.assumed:
            keys = " and ".join(channel.wiring.keys)
            yield _caution(
                "wiring",
                f"the network feeds {keys} through parts of their own; here they share one channel and are taken in "
                "parallel, in phase. Driven alike they are not what the network made of them (it drives them up to "
                f"{channel.twin.unlike_db:.1f} dB apart where it matters): a channel each keeps that.",
                f"{keys} had parts of their own; here they are taken in parallel on one channel.",
            )


def _tweeters(case: BypassCase) -> Iterator[BypassFinding]:
    """What reaches each tweeter below its resonance: watts at the listening level, else how far the corner is above."""
    played = roles(case.speaker, case.network)
    names = [n for c in case.channels.values() for n in c.wiring.names]
    for name, channel in case.channels.items():
        fit, about = channel.fitness, f"resonance of {name}"
        if fit.lower_hz is None:
            continue
        if fit.resonance is BandFit.UNKNOWN:
            text = "its impedance shows no resonance, so whether the corner lies far enough above it is not known."
            yield _caution(name, text, f"{name}: {text}")
            continue
        cards = [c for c in case.bare.network.drivers if c.key in channel.wiring.keys]
        tweeters = [c for c in cards if played[c.key] is Role.HIGH]
        known = not math.isnan(channel.power.power_below_resonance_w)
        told = [tweeter_finding(case.speaker, name, c, names, _below(case, name, c), _level(case)) for c in tweeters]
        said = [_told(about, f) for f in told if f is not None]
        if not said and tweeters and not known and fit.ratio < fit.least_ratio:
            near = found(
                Fault.NEAR_RESONANCE,
                name,
                about_driver=name,
                key=name,
                at_hz=fit.lower_hz,
                resonance_hz=fit.resonance_hz,
                level_given=not math.isnan(case.power.level_db),
            )
            said = [_told(about, near)]
        if not said and fit.ratio < (1.0 if tweeters else fit.least_ratio):
            text = (
                f"{name}: the corner at {hertz(fit.lower_hz)} is {fit.ratio:.2g} times its resonance at "
                f"{written('resonance', fit.resonance_hz, fit.channel)}; {fit.least_ratio:g} times is usual for "
                f"{6 * case.crossover.slope.order} dB per octave (common practice)."
            )
            said = [_caution(about, text, text)]
        yield from said
        if known:
            then = channel.power.passive_below_resonance_w
            was = "" if math.isnan(then) else f", {_watts(then)} through the old network"
            got = _watts(channel.power.power_below_resonance_w)
            yield _note(name, f"below its resonance it gets {got} on average at the listening level{was}.")


def _level(case: BypassCase) -> str:
    return f"{case.power.level_db:g} dB at {case.power.distance_m:g} m"


def _below(case: BypassCase, channel: str, card: DriverCard) -> Callable[[float], float]:
    """Average watts that a driver gets below a frequency at the listening level; NaN where that is not known.

    No more than with a programme whose rms is that of the amplifier's rated sine.
    """
    rating = case.channels[channel].power.rating
    volts = min(case.power.reference_v, math.inf if rating is None else rating.voltage_v)
    solution = case.bare.sound.solution
    f, weights = solution.frequency_hz, programme_weights(solution.frequency_hz, Spectrum.PROGRAMME)
    filters = case.proposed.filters if case.proposed is not None else {n: c.slope for n, c in case.channels.items()}
    drive = solution.drive[card.key] * filters[channel]
    z = case.speaker.drivers[card.driver].impedance_ohm(f)
    return lambda edge_hz: volts**2 * heat_w(np.where(f < edge_hz, weights, 0.0), drive, z)[0]


def _network_out(case: BypassCase) -> Iterator[BypassFinding]:
    if case.network.parts and len(case.network.channels) == 1:
        yield _caution(
            "old network",
            "take it out altogether, jumpers too: left in, it ties two amplifiers together and each feeds the "
            "other. Keep it, so that all of this can be undone.",
        )


def _swapped(case: BypassCase) -> Iterator[BypassFinding]:
    average, peak = case.power.swapped_w, case.power.swapped_peak_w
    low, high = case.low, case.high
    figure = ""
    usual = "" if math.isnan(high.power.average_power_w) else f", in place of {_watts(high.power.average_power_w)}"
    if not math.isnan(average):
        figure = (
            f"at the listening level the {high.name} would draw {_watts(average)} of the {low.name}'s signal on "
            f"average, {_watts(peak)} on peaks{usual}, and all of it bass: it tears or burns. "
        )
    rating = high.power.rating
    able = f". Its amplifier can give {rating.power_w:g} W" if rating is not None and figure else ""
    yield _caution(
        "channels swapped",
        f"{figure}{'N' if figure else 'n'}ame both ends of every cable; start low, with the {high.name} "
        f"unplugged{able}.",
    )


def _dc(case: BypassCase) -> Iterator[BypassFinding]:
    high = case.high
    f = case.bare.sound.solution.frequency_hz
    drive = np.abs(high.twin.target)
    blocked = drive.size and math.isfinite(drive[0]) and drive[0] < 10.0 ** (BLOCKED_DB / 20.0) and f[0] <= 50.0
    z = case.bare.sound.solution.impedance_ohm[high.name]
    known = np.flatnonzero(np.isfinite(z))
    heat = ""
    if known.size and f[known[0]] <= high.fitness.resonance_hz / 4.0:
        heat = f" {FAULT_DC_V:g} V of DC are {_watts(FAULT_DC_V**2 / float(z[known[0]].real))} in its coil without end."
    lost = "The network kept DC off it; now nothing does." if blocked else "Nothing keeps them off."
    yield _caution(
        "DC and thumps",
        f"thumps, DC and a computer's mistakes now reach the {high.name} straight. {lost}{heat} Switch the crossover "
        "on first and off last, or put the capacitor in.",
    )


def _capacitor(case: BypassCase) -> Iterator[BypassFinding]:
    high = case.high
    c = high.capacitor
    if c is None:
        yield _caution(
            high.name,
            "what capacitor protects it cannot be told without its impedance; do not wire it straight before it is "
            "measured.",
        )
        return
    e = c.chosen
    ring = ""
    if not math.isnan(e.bump_hz):
        ring = (
            f" It rings with the driver's resonance: {e.bump_over_db:.1f} dB more than a resistor would get at "
            f"{hertz(e.bump_hz)}, where it protects little."
        )
    yield _caution(
        high.name,
        f"without a capacitor one fault ends it: put "
        f"{format_quantity(e.farad, QuantityKind.CAPACITANCE)} film in series and "
        f"dial in its correction (without it {e.at_corner_db:+.1f} dB and {e.at_corner_deg:+.0f} deg at "
        f"{hertz(high.fitness.lower_hz or math.nan)}).{ring}",
    )
    if not c.met:
        yield _note(high.name, f"no usual value changes the level by less than {c.allowed_db:g} dB above the corner.")


def _supply(case: BypassCase) -> Iterator[BypassFinding]:
    for name, channel in case.channels.items():
        power = channel.power
        if power.rating is None or math.isnan(power.margin_db) or power.margin_db >= 0:
            continue
        yield _caution(
            f"power of {name}",
            f"it needs {_watts(power.power_w)} on peaks ({power.voltage_rms_v:.2g} V on average and "
            f"{case.power.headroom_db:g} dB of headroom); {power.rating.power_w:g} W into {power.rating.load_ohm:g} "
            f"ohm is {-power.margin_db:.1f} dB short, and a clipped amplifier feeds its driver more than its share.",
            f"amplifier of {name}: {-power.margin_db:.1f} dB short on peaks; it clips, or you play quieter.",
        )


def _breakups(case: BypassCase) -> Iterator[BypassFinding]:
    for name, channel in case.channels.items():
        told = [b for b in channel.fitness.breakups if not b.behind_db < FAINT_PEAK_DB]
        if not told:
            continue
        worst = max(told, key=lambda b: -math.inf if math.isnan(b.behind_db) else b.behind_db)
        loud = worst.behind_db >= LOUD_PEAK_DB
        words = _breakup_words(worst, len(told), loud)
        if loud:
            at = hertz(worst.peak.frequency_hz)
            yield _caution(name, words, f"{name}: breaks up at {at}, loud enough to hear; lower the corner.")
        else:
            yield _note(name, words)


def _breakup_words(worst: Breakup, count: int, loud: bool) -> str:
    words = (
        f"breaks up at {hertz(worst.peak.frequency_hz)}: a peak of {worst.peak.height_db:.1f} dB, "
        f"{worst.octaves_above:.1f} octaves above its corner"
    )
    if not math.isnan(worst.behind_db):
        words += (
            f", {abs(worst.behind_db):.0f} dB {'below' if worst.behind_db < 0 else 'above'} the sum behind the slope"
        )
    if count > 1:
        words += f" ({count - 1} more)"
    return f"{words}. " + ("A steeper slope, a lower corner or a notch there is due." if loud else "That is quiet.")


def _beaming(case: BypassCase) -> Iterator[BypassFinding]:
    for name, channel in case.channels.items():
        fit = channel.fitness
        if fit.upper_hz is None or fit.beaming not in (BandFit.MARGINAL, BandFit.POOR):
            continue
        half = "" if math.isnan(fit.half_angle_deg) else f", 6 dB down at {fit.half_angle_deg:.0f} deg off the axis"
        text = (
            f"beams at {hertz(fit.upper_hz)}{half}: its circumference is {fit.ka:.1f} wavelengths there (ka); it "
            f"begins near {hertz(fit.beams_from_hz)} (ka = 2). A lower corner spreads the sound more evenly."
        )
        if fit.beaming is BandFit.POOR:
            yield _caution(name, text, f"{name}: beams at {hertz(fit.upper_hz)}; a lower corner spreads the sound.")
        else:
            yield _note(name, text)


def _phases(case: BypassCase) -> Iterator[BypassFinding]:
    if case.reached is None or case.crossover.slope.quadrature:
        return
    for c in case.reached.crossovers:
        if c.frequency_hz is None:
            text = f"behind the crossover at hand the drivers do not meet: {c.reason}."
            yield _caution("crossover", text, text)
        elif c.null_depth_db is not None and c.null_depth_db < NULL_DB:
            yield _caution(
                "crossover",
                f"{' and '.join(c.lower)} against {' and '.join(c.upper)} at {hertz(c.frequency_hz)}: the reversed "
                f"null is {written('null depth', c.null_depth_db)} dB deep at best, so the two stay out of step "
                f"over the crossover.",
                f"{' and '.join(c.lower)} and {' and '.join(c.upper)} stay out of step at {hertz(c.frequency_hz)}, "
                "whatever the delay.",
            )


def _twin(case: BypassCase) -> Iterator[BypassFinding]:
    for name, channel in case.channels.items():
        twin = channel.twin
        if twin.worst_db > UNHEARD_DB or twin.worst_deg > TWIN_DEG:
            yield _caution(
                "old network as filters",
                f"{name}: {len(twin.bands)} bands leave {twin.worst_db:.1f} dB and {twin.worst_deg:.0f} deg of what "
                "the network did where it counts.",
            )
        if twin.unlike_db > HARD_DB and not channel.wiring.assumed:
            yield _caution(
                "old network", f"{name}: the network drives its drivers up to {twin.unlike_db:.1f} dB apart."
            )


def _dead(case: BypassCase) -> Iterator[BypassFinding]:
    for finding in faults(case.speaker, case.network_name, None):
        text = f"{finding.text}: {finding.remedy}."
        yield _caution("dead driver", text, text)


def _odd(case: BypassCase) -> Iterator[BypassFinding]:
    drivers = {d.key: case.speaker.drivers[d.driver] for d in case.network.drivers}
    dead = {key for key, driver in drivers.items() if is_open(driver) or is_shorted(driver)}
    for odd in odd_drivers(case.speaker, case.network):
        if not odd.in_mate and dead & {*odd.keys, odd.like}:
            continue  # what is dead has no like
        left = [f"{remedy_words(odd, r)}: {db(r.left_db)} dB" for r in odd.remedies if not math.isnan(r.left_db)]
        of = " of the other cabinet" if odd.in_mate else ""
        brief = (
            f"{' and '.join(odd.keys)}{of} does not match {odd.like}. Between left and right then: {'; '.join(left)}."
        )
        yield _caution("odd driver", odd_sentence(odd), brief)


def _polarity(case: BypassCase) -> Iterator[BypassFinding]:
    twin = [n for n, c in case.channels.items() if c.twin.polarity < 0]
    if twin:
        yield _note(
            "polarity",
            f"the network drives {' and '.join(twin)} reversed. Wire every driver plus to plus and reverse it in the "
            "crossover, so that the wiring can be checked; reverse it in one place only.",
        )
    if case.reached is not None and case.reached.total.coherent:
        now = [n for n, s in case.reached.settings.items() if s.polarity < 0]
        if now != twin:
            which = f"{' and '.join(now)} reversed" if now else "none reversed"
            yield _note("polarity", f"the best sum behind the crossover at hand has {which}, unlike the network.")


def _hiss(case: BypassCase) -> Iterator[BypassFinding]:
    for name, channel in case.channels.items():
        pad = channel.missing.pad_db
        if pad <= -HISS_DB:
            yield _note(
                name,
                f"the pad that took {-pad:.1f} dB off is gone: the amplifier's hiss rises by as much. Turn the "
                "amplifier's own gain down, or keep a pad of resistors behind it.",
            )


def _lobes(case: BypassCase) -> Iterator[BypassFinding]:
    if case.reached is not None and case.reached.nulls:
        for null in case.reached.nulls:
            angles = [f"{a:+.0f} deg" for a in (null.above_deg, null.below_deg) if a is not None]
            if angles:
                yield _note(
                    "vertical lobe",
                    f"at {hertz(null.crossover_hz)} the sum has its first minima at {' and '.join(angles)} (+ is up): "
                    "keep the ear between them.",
                )
        return
    for name, channel in case.channels.items():
        fit = channel.fitness
        if fit.upper_hz is not None and not math.isnan(fit.ideal_null_deg):
            yield _note(
                "vertical lobe",
                f"at {hertz(fit.upper_hz)} two equal sources in phase, as far apart as {name} and the next, have their "
                f"first nulls at +-{fit.ideal_null_deg:.0f} deg; where these have them is not known.",
            )


def _watts(value: float) -> str:
    if value < 1e-3:
        return f"{1e6 * value:.2g} uW" if value < 1e-6 else f"{1e3 * value:.2g} mW"
    return f"{value:.2g} W" if value < 99.5 else f"{value:.0f} W"
