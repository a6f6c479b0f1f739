"""What each figure shows, in one sentence written from its data."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

import numpy as np

from xover.bench.words import number, watts
from xover.curve import Evidence
from xover.figures import load_of, written
from xover.quantity import hertz, ohms
from xover.rules.audibility import audibility
from xover.sentences import and_words, capital
from xover.sound.change import Worst
from xover.studies.aged.condition.parts import signed_percent

if TYPE_CHECKING:
    from xover.acoustic.crossover import CrossoverReading
    from xover.acoustic.level import BandLevel
    from xover.sound.prediction import Prediction
    from xover.studies.aged.condition.study import ConditionStudy
    from xover.studies.bears.crosstalk.study import Crosstalk
    from xover.studies.bears.stress.study import StressStudy
    from xover.studies.bears.tolerance.study import ToleranceStudy
    from xover.studies.change.bypass.result import BypassStudy
    from xover.studies.change.decide.study import Decision
    from xover.studies.change.refresh.result import RefreshStudy
    from xover.studies.does.angles.study import OffAxisStudy
    from xover.studies.does.load.study import LoadStudy
    from xover.studies.does.sensitivity.study import SensitivityStudy

LONGEST: Final = 220
"""Letters of a reading: two lines under a figure."""
# A full stop inside, and the word that follows; the names of parts keep their capitals.
_ONE_STOP: Final = re.compile(r"\. (\w)(?=([a-z ]?))")


def one_sentence(*clauses: str) -> str:
    """Clauses joined by semicolons, as many as fit, the first always; a capital at the head, a full stop at the end."""
    said = ""
    for clause in clauses:
        text = _ONE_STOP.sub(lambda m: f"; {m[1].lower() if m[2] else m[1]}", clause.strip().rstrip("."))
        longer = f"{said}; {text}" if said else text
        if text and (not said or len(longer) < LONGEST):
            said = longer
    if len(said) >= LONGEST:
        said = said[: LONGEST - 4].rsplit(" ", 1)[0].rstrip(",;:( ") + "..."
    return capital(said) + ("" if said.endswith("...") else ".")


def read_prediction(prediction: Prediction) -> str:
    """How even the sum is, its deepest dip, and the reversed null."""
    total, band = prediction.total, prediction.band
    flat = [n for n, kinds in prediction.evidence.items() if kinds["response"] == Evidence.ASSUMED]
    if flat or math.isnan(band.mean_db):
        silent = and_words(flat or prediction.evidence)
        first = f"the sound of {silent} was not measured: the drives are known, of the sum only its rough shape"
        if not np.isfinite(total.best_level_db).any():
            first = f"the sound of {silent} is not known: only the drives are shown"
        return one_sentence(first, *_crossings(prediction))
    if not total.coherent:
        return one_sentence(
            f"the sum lies somewhere between its best and its worst: {prediction.timing_reason}",
            *_crossings(prediction),
        )
    known = f"from {hertz(band.known_from_hz)} to {hertz(band.known_to_hz)}{band.holes}"
    return one_sentence(
        f"the sum lies within +-{written('sum deviation', band.half_range_db, prediction.network)} dB {known}",
        _dip(band, prediction.network),
        *_nulls(prediction),
    )


def _dip(band: BandLevel, network: str) -> str:
    """The lowest place; at an end of the band it is no dip."""
    where = (
        f"{written('below mean', band.lowest_deviation_db, network)} dB from its mean, at {hertz(band.lowest_at_hz)}"
    )
    at_end = any(math.isclose(band.lowest_at_hz, end, rel_tol=0.01) for end in (band.known_from_hz, band.known_to_hz))
    return f"it is lowest at an end of that, {where}" if at_end else f"its deepest dip is {where}"


def _nulls(prediction: Prediction) -> Iterator[str]:
    told = [c for c in prediction.crossovers if c.null_depth_db is not None and c.null_at_hz is not None]
    if not told:
        return
    keys = and_words(prediction.total.reversed_keys)
    depths = and_words(f"{_depth(c, prediction.network)} at {hertz(c.null_at_hz or math.nan)}" for c in told)
    yield (
        f"with {keys} reversed the null is {depths}"
        if len(told) == 1
        else f"with {keys} reversed the nulls are {depths}"
    )


def _depth(c: CrossoverReading, network: str) -> str:
    depth_db = c.null_depth_db
    if depth_db is None or math.isinf(depth_db):
        return "complete"
    return (
        f"{written('null depth', depth_db, c.of(network))} dB deep"
        if depth_db > 0
        else f"no null, {-depth_db:.0f} dB louder"
    )


def _crossings(prediction: Prediction) -> Iterator[str]:
    at = [
        written("crossover", c.frequency_hz, c.of(prediction.network))
        for c in prediction.crossovers
        if c.frequency_hz is not None
    ]
    if at:
        yield f"the ways cross at {and_words(at)}"


def read_load(study: LoadStudy) -> str:
    """Lowest load against what the amplifier allows, and EPDR."""
    many = len(study.channels) > 1
    said = []
    for name, channel in study.channels.items():
        reading, limit = channel.reading, channel.verdict.minimum_load_ohm
        on = f"on {name} " if many else ""
        if math.isnan(reading.minimum_ohm):
            said.append(f"the load {on}is not known: no driver's impedance is".replace("  ", " "))
            continue
        text = (
            f"the load {on}falls to "
            f"{written('lowest load', reading.minimum_ohm, load_of(study.network, name))} ohm at "
            f"{hertz(reading.minimum_at_hz)}"
        )
        if limit is not None:
            side = "below" if channel.verdict.limit_broken else "above"
            text += f", {side} the {ohms(limit)} that the amplifier allows"
        said.append(text)
    for name, channel in study.channels.items():
        reading = channel.reading
        if not math.isnan(reading.lowest_epdr_ohm):
            on = f" on {name}" if many else ""
            said.append(
                f"EPDR{on} falls to "
                f"{written('lowest EPDR', reading.lowest_epdr_ohm, load_of(study.network, name))} ohm at "
                f"{hertz(reading.lowest_epdr_at_hz)}"
            )
    phase = [c.reading for c in study.channels.values() if not math.isnan(c.reading.most_capacitive_deg)]
    if phase and not many:
        said.append(
            f"its phase goes from {phase[0].most_capacitive_deg:+.0f} to {phase[0].most_inductive_deg:+.0f} deg"
        )
    return one_sentence(*said)


def read_condition(study: ConditionStudy) -> str:
    """What age has done to the sum, and which part did most of it."""
    if study.found is None:
        return one_sentence(study.conclusion)
    ranked = [p for p in study.ranked if p.changed]
    if not ranked and not study.wiring:
        return one_sentence(
            f"{study.found} and {study.original} agree to the last digit: nothing has moved, or nothing was measured"
        )
    if not ranked:
        return one_sentence(study.conclusion)
    drift = ranked[0].drift
    size = "" if drift is None else f" ({signed_percent(drift)})"
    return one_sentence(study.conclusion, f"most to blame is {ranked[0].name}{size}")


def read_refresh(study: RefreshStudy) -> str:
    """How near the refresh comes, against buying the marked values and against leaving it."""
    fitted, naive, before = study.refreshed, study.naive, study.before
    first = (
        f"refreshed, {study.every_drive} keeps within {written('drive moved', fitted.worst_db, 'refreshed')} dB of "
        f"{study.reference}"
    )
    others = [
        f"{written('drive moved', naive.worst_db, 'plain swap')} dB with worn parts swapped for the nearest value"
    ]
    if before is not None:
        others.insert(0, f"{written('drive moved', before.worst_db, 'as it is now')} dB as it is now")
    told = f"{first}, against {and_words(others)}"
    return one_sentence(told, f"what is left is {audibility(fitted.worst_db)}")


def read_tolerance(study: ToleranceStudy) -> str:
    """How far builds stray, how many keep to the limit, and which part matters most."""
    widest = study.widest_sum
    if not study.total_known or math.isnan(widest.at_hz):
        return one_sentence(f"the sum of {study.builds:,} builds is not known: only the drives and the load are spread")
    share = study.shares.parts[0]
    some = [f"{100.0 * study.passing.share:.0f} % of builds keep within {study.limit_db:g} dB throughout"]
    if not math.isnan(share.share) and share.share > 0:
        some.append(f"{share.name} causes {100.0 * share.share:.0f} % of the spread")
    return one_sentence(
        f"where it spreads most, at {hertz(widest.at_hz)}, 95 of 100 builds lie {widest.low_db:+.1f} to "
        f"{widest.high_db:+.1f} dB from the {study.of_sum} as designed",
        *some,
    )


def read_sensitivity(study: SensitivityStudy) -> str:
    """Which part moves the sum most, and which least."""
    if not study.parts:
        return one_sentence("there is no part whose value could change")
    if not study.total_known:
        first = study.parts[0]
        key, worst = first.most_moved
        return one_sentence(
            "the sum is not known, so the parts are ranked by the drives",
            f"{first.name} matters most: 1 % of it moves {key} by {_moved(worst)}",
        )
    said = [f"{study.parts[0].name} matters most: {study.parts[0].sentence}"]
    if len(study.parts) > 1:
        last = study.parts[-1]
        said.append(f"{last.name} least: {_moved(last.total.worst)} for 1 %")
    return one_sentence(*said)


def _moved(worst: Worst) -> str:
    if math.isnan(worst.change):
        return "an unknown amount"
    if worst.change == 0:
        return "nothing"
    return f"{number(abs(worst.change))} dB at {hertz(worst.at_hz)}"


def read_stress(study: StressStudy) -> str:
    """What the hardest pressed parts bear at full level, and which cards state too little."""
    from xover.amplifier.stress import ElementKind

    full = study.full
    said = []
    hot = max(full.stress.of_kind(ElementKind.RESISTOR), key=lambda e: _known(e.power_w), default=None)
    if hot is not None and not math.isnan(hot.power_w):
        said.append(f"{hot.name} turns {watts(hot.power_w)} of music into heat")
    high = max(full.stress.of_kind(ElementKind.CAPACITOR), key=lambda e: _known(e.sine_voltage_peak_v), default=None)
    if high is not None and math.isfinite(high.sine_voltage_peak_v):
        said.append(f"{high.name} bears up to {high.sine_voltage_peak_v:.0f} V")
    over = [r.name for r in study.ratings.values() if r.broken]
    end = f"rated too low: {and_words(over)}" if over else "no part that states a rating is over it"
    return one_sentence(f"at full level {and_words(said) or 'nothing of it is known'}", end)


def _known(value: float) -> float:
    return -1.0 if math.isnan(value) else value


def read_bypass(study: BypassStudy) -> str:
    """Whether drivers may have channels of their own, and what sum that gives."""
    said = [study.verdict]
    best = study.reached
    if best is None:
        said.append("the sum behind the crossover is not known")
    elif study.coherent and not math.isnan(best.band.mean_db):
        corners = and_words([hertz(f) for f in study.crossover.corners_hz])
        said.append(
            f"with {study.crossover.slope.name} at {corners} the sum keeps within "
            f"+-{written('sum deviation', best.band.half_range_db, 'bypass')} dB"
        )
    flattest = min((m for m in study.maps if m.best_slope), key=lambda m: m.best_db, default=None)
    if flattest is not None:
        said.append(f"flattest: {flattest.best_slope} at {hertz(flattest.best_hz)}, {flattest.best_db:.1f} dB rms")
    return one_sentence(*said)


def read_crosstalk(study: Crosstalk) -> str:
    """Which pair of coils allows least."""
    if not study.pairs:
        return one_sentence("there are not two coils that could couple by accident")
    first = study.pairs[0]
    if math.isinf(first.smaller) and not all(p.known for p in study.pairs):
        return one_sentence(f"what coupling does to the {study.judged_by} is not known: sweep every driver farther")
    if math.isinf(first.smaller):
        return one_sentence(f"no coupling between any two coils moves the {study.judged_by} by {study.limit_db:g} dB")
    said = [
        f"{first.first} and {first.second} need most care: from k = {number(first.smaller)} on they move the "
        f"{study.judged_by} by {study.limit_db:g} dB, at {hertz(first.at_hz)}"
    ]
    if first.apart_m is not None and not first.cored:
        said.append(f"two usual air coils stay below that from {1e3 * first.apart_m:.0f} mm on")
    free = [p.name.replace(":", " and ") for p in study.pairs if math.isinf(p.smaller) and p.known]
    if free:
        said.append(f"{and_words(free)} may stand anyhow")
    return one_sentence(*said)


def read_decision(decision: Decision) -> str:
    """What is recommended, and why."""
    whole = f"{decision.answer}: {decision.reasons[0]}" if decision.reasons else decision.answer
    doubt = ["it rests on what was not measured"] if decision.rests_on else []
    return one_sentence(whole if len(whole) < LONGEST else decision.answer, *doubt, *decision.reasons[1:2])


def read_off_axis(study: OffAxisStudy) -> str:
    """What changes off the axis, and where the lobe points."""
    if not study.known:
        lost = [d.key for d in study.drivers if d.position_mm is None]
        why = f"no position_mm for {', '.join(lost)}; give it in speaker.toml" if lost else study.timing_reason
        return one_sentence(f"off the axis nothing is told: {why}")
    said = []
    change = np.where(np.isfinite(study.vertical.relative_db), study.vertical.relative_db, np.inf)
    if np.isfinite(change).any():
        row, column = (int(i) for i in np.unravel_index(int(np.argmin(change)), change.shape))
        angle = study.vertical.angle_deg[row]
        where = "above" if angle > 0 else "below"
        said.append(
            f"off the axis the sum loses most, {-change[row, column]:.0f} dB, at {hertz(study.frequency_hz[column])}, "
            f"{abs(angle):.0f} deg {where}"
        )
    for lobe in study.lobes:
        angles = [f"{a:+.0f}" for a in (lobe.above_deg, lobe.below_deg) if a is not None]
        if angles:
            said.append(f"at {hertz(lobe.crossover_hz)} the sum has its first minima at {and_words(angles)} deg")
    return one_sentence(*said)
