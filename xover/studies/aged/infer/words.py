"""An inference in sentences."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

from xover.blocks import Block, Head, Text, fact, plain_table, sentence
from xover.explain.identify import Combination, Group, NextSweep
from xover.explain.problem import is_drift, is_factor
from xover.explain.sweeps import SweepPlace
from xover.explain.topology import Fault, Rival, TopologyTest
from xover.explain.unknowns import PRIOR_WORDS
from xover.figures import odds
from xover.network.adjoint import ParameterKind
from xover.quantity import QuantityKind, format_quantity, hertz
from xover.rules.bands import MAINS_HZ
from xover.sentences import and_words
from xover.studies.aged.infer.result import InferredPart, InferStudy, Measurement
from xover.terms import legend

SHOWN_AS: Final = {
    ParameterKind.OHM: QuantityKind.RESISTANCE,
    ParameterKind.HENRY: QuantityKind.INDUCTANCE,
    ParameterKind.FARAD: QuantityKind.CAPACITANCE,
    ParameterKind.DCR: QuantityKind.RESISTANCE,
    ParameterKind.ESR: QuantityKind.RESISTANCE,
    ParameterKind.DISSIPATION: QuantityKind.PLAIN,
}
_LOSSES: Final = {"_dcr": "the resistance of", "_esr": "the series resistance of", "_df": "the dissipation factor of"}
_HOW: Final = {
    "sum": "their sum",
    "ratio": "their ratio",
    "product": "their product",
    "parallel": "the two in parallel",
}
_NEAR: Final = 0.03
_HARMONICS: Final = 6


def said_value(value: float, kind: ParameterKind, digits: int = 3) -> str:
    """A number as a shop prints it, or a dash."""
    if math.isnan(value):
        return "-"
    return "any" if math.isinf(value) else format_quantity(value, SHOWN_AS[kind], digits)


def said_name(name: str) -> str:
    """What an unknown is called: "C1", "the resistance of L1", "the leads"."""
    if name == "lead":
        return "the leads"
    if is_drift(name):
        driver, _, knob = name.rpartition(" ")
        return f"the {knob} of {driver} today"
    if is_factor(name):
        return "the scale of all sweeps" if name == "scale" else f"the {name.replace('gain ', 'gain of sweep ')}"
    for ending, words in _LOSSES.items():
        if name.endswith(ending):
            return f"{words} {name.removesuffix(ending)}"
    return name


def headline(parts: Sequence[InferredPart], test: TopologyTest, given: bool) -> str:
    """The answer in one or two sentences."""
    if test.fits:
        return _told(parts)
    why = []
    if test.misfits:
        why.append(
            f"of what the fit leaves over {100 * test.left_over:.1f} % rms run smoothly over frequency: noise does not"
        )
    if test.strangers:
        why.append(f"{and_words(test.strangers)} would have to be far from anything plausible")
    text = f"The network does not fit: {'; '.join(why)}"
    return f"{text}. Values are shown because you asked: do not trust them" if given else f"{text}. No values are told"


def _told(parts: Sequence[InferredPart]) -> str:
    seen = [p.name for p in parts if p.own.seen]
    hidden = [p.name for p in parts if not p.own.seen]
    if not hidden:
        return "The network fits, and every part is seen from here"
    if not seen:
        return "The network fits, but no part is seen from here"
    return f"The network fits; {len(seen)} of {len(parts)} parts are seen; not {and_words(hidden)}"


def confusion(group: Group) -> str:
    """Numbers that trade against each other."""
    names = [said_name(n) for n in group.names]
    start = and_words(names)
    known = group.known
    if len(names) == 2:
        if known is None:
            return f"{start} cannot be told apart: only one combination of them shows"
        return f"{start} cannot be told apart: only {_HOW[known.how]} shows, {_known(known)}"
    if known is not None and len(known.names) == len(names):
        return f"{start} cannot be told apart: only their sum shows, {_known(known)}"
    text = f"{start} trade against each other: of these {len(names)} numbers the sweeps show {group.shown}"
    if known is None:
        return text
    return f"{text}; best known is {_pair(known)}, {_known(known)}"


def _pair(known: Combination) -> str:
    sign = {"sum": "plus", "ratio": "over", "product": "times", "parallel": "in parallel with"}[known.how]
    return f" {sign} ".join(map(said_name, known.names))


def _known(known: Combination) -> str:
    within = f"within {200 * known.error:.2g} %"
    return f"{known.value:.3g} ohm {within}" if known.how in ("sum", "parallel") and known.in_ohm else within


def next_sentence(sweeps: Sequence[NextSweep], hidden: Sequence[str]) -> str | None:
    """The measurement to make next."""
    useful = [s for s in sweeps if s.helps]
    if useful:
        best = useful[0]
        how = {
            SweepPlace.DISCONNECTED: f"sweep the terminals once more with {best.driver} unplugged",
            SweepPlace.SHORTED: f"sweep the terminals once more with {best.driver} shorted (no amplifier connected)",
            SweepPlace.RATIO: f"measure the voltage at {best.driver} over the amplifier's, with its phase",
        }[best.where]
        if best.after < best.before:
            return (
                f"To know more, {how} and give it as {best.where} {best.driver}=FILE: the widest interval is expected "
                f"to shrink from +-{_percent(best.before)} to +-{_percent(best.after)} ({best.widest})"
            )
    if hidden:
        return f"No further sweep of this sort would show {and_words(hidden)}: lift one end and measure"
    return None


def _percent(deviation: float) -> str:
    """95 % half-width of a logarithm's normal distribution."""
    return f"{100 * math.expm1(min(1.96 * deviation, 5.0)):.2g} %"


def rivals_sentence(rivals: Sequence[Rival], drawn_fits: bool) -> str | None:
    """What the neighbours say."""
    if not rivals:
        return None
    fitting = [r for r in rivals if r.test.fits]
    if not fitting:
        return (
            "No neighbour fits either: look for a part that is not drawn or a wire elsewhere, or see whether the "
            "drivers still are what their sweeps say"
        )
    tied = [r for r in fitting if r.tied]
    if not tied:
        return f"Nearest in evidence is {rivals[0].neighbour.words}, which does not fit either"
    words = [r.neighbour.words for r in tied]
    polarity = "The polarity of a driver does not show in an impedance"
    if len(tied) > 1:
        return f"No impedance tells these apart: {and_words(words)}. {polarity}"
    if tied[0].neighbour.fault is Fault.NONE:
        return f"No neighbour explains the sweep as well as the network as drawn. {polarity}"
    if drawn_fits:
        return f"Better than as drawn: {words[0]}. {polarity}"
    so = "Look at the board: if it is so, draw it so and run again for the other values"
    return f"What fits: {words[0]}. {so}. {polarity}"


def measurement_warnings(measured: Measurement, test: TopologyTest) -> list[str]:
    """What is doubtful about the sweep itself."""
    out = []
    check = measured.causality
    if check.passive is False and check.negative_at_hz is not None:
        out.append(
            f"the sweep is not passive: its real part is below zero near {hertz(check.negative_at_hz)}, as no "
            "loudspeaker's is; look for swapped channels, a phase of the wrong sign, or leads that talk to each other"
        )
    if check.causal is False:
        why = ""
        if check.sign_turned:
            why = "; with the sign of its phase turned it would be"
        elif check.advance_s is not None:
            late = f"{1e6 * check.advance_s:.0f} microseconds"
            why = f"; it would be if the voltage came {late} later: look at the timing of the jig's two channels"
        out.append(
            f"the sweep is not causal: {100 * check.residual:.1f} % of it (rms) no real impedance can follow, where "
            f"{100 * check.tolerance:.0f} % would pass{why}"
        )
    if measured.outliers_hz:
        out.append(_outliers(measured.outliers_hz))
    if test.noise_factor > 1.5:
        out.append(f"the residual is {test.noise_factor:.1f} times as rough as the noise that was reckoned with")
    return out


def _outliers(at_hz: Sequence[float]) -> str:
    hum = {
        mains: [f for f in at_hz if any(abs(f / (mains * k) - 1) < _NEAR for k in range(1, _HARMONICS + 1))]
        for mains in MAINS_HZ
    }
    mains = max(hum, key=lambda m: len(hum[m]))
    count = len(at_hz)
    rows = "1 row stands" if count == 1 else f"{count} rows stand"
    if len(hum[mains]) >= max(1, count / 2):
        return f"{rows} apart and count less, most near multiples of {mains:g} Hz: mains hum"
    return f"{rows} apart from their neighbours and count less, such as at {hertz(at_hz[0])}"


def tell(study: InferStudy, everything: bool = False) -> Iterator[Block]:
    """The inference as a person reads it."""
    yield Head(f"{study.title}: parts of '{study.network}', read from its terminals")
    yield Text(f"{study.headline}.")
    if study.numbers_given:
        yield from _parts(study)
    for words in study.sentences:
        yield Text(f"{words}.")
    if study.rivals:
        yield from _rivals(study)
    if everything:
        yield Head("The measurement")
        yield from _measured(study.measurement, study.residual)
        yield fact("beforehand", PRIOR_WORDS[study.prior])


def _parts(study: InferStudy) -> Iterator[Block]:
    yield Head("Parts, as marked and as they are now (95 % interval)")
    rows = []
    for part in study.parts:
        own = part.own
        marked, now, low, high = (said_value(v, own.kind) for v in (own.marked, own.value, own.low, own.high))
        drift = f"{round(100 * part.drift) + 0:+d} %" if own.seen else "-"
        now, seen = (now, "yes") if own.seen else (f"({now})", "no")
        rows.append([part.name, str(part.kind), marked, now, low, high, drift, seen])
    yield plain_table(["part", "kind", "marked", "now", "from", "to", "drift", "seen"], rows)
    if not all(part.own.seen for part in study.parts):
        yield Text("In brackets: not pinned down from here; such an interval rests on what was plausible beforehand.")
    losses = {f"{part.name} {key}": loss for part in study.parts for key, loss in part.losses.items()}
    rows = [
        [name, *(said_value(v, loss.kind, 2) for v in (loss.marked, loss.value, loss.low, loss.high))]
        for name, loss in losses.items()
        if loss.seen
    ]
    hidden = [name for name, loss in losses.items() if not loss.seen]
    if rows:
        yield Head("Losses that show: resistance of coils, loss of capacitors")
        yield plain_table(["loss", "marked", "now", "from", "to"], rows)
    if hidden:
        yield fact("losses not seen", ", ".join(hidden))
    if losses:
        yield Text(legend("DCR", "ESR", "df"))
    if study.confusions:
        yield Head("What cannot be told apart from here")
    for each in study.confusions:
        yield sentence(each.sentence)
    yield Head("What next")


def _rivals(study: InferStudy) -> Iterator[Block]:
    yield Head(f"Networks one fault away, {study.tried} tried, best first")
    several = sum(rival.tied for rival in study.rivals) > 1
    rows = [
        [
            rival.neighbour.words,
            f"{100 * rival.residual:.2f}",
            "yes" if rival.test.fits else "no",
            odds(-rival.log_evidence / math.log(10.0)),
            "tie" if rival.tied and several else "",
        ]
        for rival in study.rivals
    ]
    yield plain_table(["network", "left over %", "fits", "best likelier", ""], rows)
    yield Text("left over: rms of what the fit leaves of |Z|; best likelier: than this one, as far as the model holds.")


def _measured(measured: Measurement, residual: float) -> Iterator[Block]:
    noise = measured.noise
    phase = "" if math.isnan(noise.phase_rad) else f", {math.degrees(noise.phase_rad):.2f} degrees"
    yield fact("noise of a row", f"{100 * noise.magnitude:.2f} %{phase}, from {noise.source}")
    if not math.isnan(measured.stated_share):
        yield fact("sure to", f"{100 * measured.stated_share:.2g} % at worst, as its table says; shared by its rows")
    drivers = (f"{name} {100 * sigma:.2f} %" for name, sigma in measured.driver_noise.items())
    yield fact("drivers' sweeps", ", ".join(drivers))
    yield fact("left over", f"{100 * residual:.2f} % of |Z|, rms, magnitude and phase together")
    if not math.isnan(measured.gain):
        yield fact("gain", f"{measured.gain:.4f} +- {1.96 * measured.gain_error:.4f} of the drivers' sweeps")
    fitted = measured.lead_error_ohm > 0
    stated = f"{measured.lead_ohm:g} ohm, as stated"
    yield fact(
        "leads", f"{measured.lead_ohm:.3f} +- {1.96 * measured.lead_error_ohm:.3f} ohm, fitted" if fitted else stated
    )
    if measured.moved:
        moved = (f"{n} {100 * by:+.1f} +- {196 * error:.1f} %" for n, (by, error) in measured.moved.items())
        yield fact("drivers moved", ", ".join(moved))
    low, high = measured.band_hz
    bounded = measured.bounded_rows
    but = f", but for {bounded} where a driver is only bounded, and matters by 1 % at most" if bounded else ""
    yield fact("rows", f"{measured.rows}, {hertz(low)} to {hertz(high)}, where every driver is known{but}")
    check = measured.causality
    may_be = f"{100 * check.residual:.1f} % cannot be followed, {100 * check.tolerance:g} % may be"
    judged = f"cannot be judged: {check.reason}"
    yield fact("causal", judged if check.causal is None else f"{'yes' if check.causal else 'no'}: {may_be}")
