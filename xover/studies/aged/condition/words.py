"""What age has done, in sentences: each part, and all together; what must be said beside it; and how it is told."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from xover.acoustic.crossover import CrossoverReading
from xover.amplifier.load import LoadReading
from xover.amplifier.programme import cold_lamps, driven_together
from xover.blocks import Block, Gap, Head, Text, fact, plain_table, sentence
from xover.figures import db, load_of, octave_centres, ohm, written
from xover.network.parts import Capacitor
from xover.parts.kinds import SOURCE, PartKind
from xover.quantity import hertz
from xover.remark import About, Remark
from xover.rules.audibility import MATCHED_DB, REPEATS_DB, audibility
from xover.rules.bands import COUNTS_WITHIN_DB
from xover.rules.margins import VALVES_OHM
from xover.sentences import and_words
from xover.sound.change import Worst, size_of
from xover.sound.pairing import not_compared
from xover.sound.prediction import UNDRIVEN, Sound, undriven
from xover.speaker import Speaker
from xover.studies.aged.condition.blame import Blame, PartBlame
from xover.studies.aged.condition.envelope import DriftEnvelope, DriftRange, PartReach
from xover.studies.aged.condition.parts import PartCondition, Verdict, same_wiring, signed_percent
from xover.terms import legend

if TYPE_CHECKING:
    from xover.studies.aged.condition.study import ConditionStudy


# PCBs were banned from new capacitors in or about 1979; the precautions are those that restorers give each other.
PCB: Final = (
    "paper capacitors: oil-filled ones made before 1980 or so may hold PCBs: do not open, burn or bin them; nitrile "
    "gloves, a closed bag and the local route for hazardous waste"
)
# A multimeter read a new 4.7 uF non-polar part as 5.41 uF, reported with its LCR readings on a repair forum.
METER: Final = (
    "a multimeter reads lossy capacitors high (13 % in one reported case), so the drift may be the meter's: read "
    "with an LCR meter in series mode, one end lifted, and give the card loss=R@F"
)


def judged(effect_db: float, leave: str = "leave it") -> str:
    """An effect in words; up to 0.25 dB with the advice to leave the part alone."""
    words = audibility(effect_db)
    return f"{words}: {leave}" if effect_db <= MATCHED_DB else words


def said_change(worst: Worst, of: str = "") -> str:
    """The largest change with its place: "-1.3 dB at 2.1 kHz"."""
    if math.isnan(worst.change):
        return "not known"
    if abs(worst.change) < 0.005:
        return "0 dB"
    if math.isinf(worst.change):
        return f"{'to' if worst.change < 0 else 'from'} nothing at {hertz(worst.at_hz)}"
    sign = "-" if worst.change < 0 else "+"
    return f"{sign}{written('voicing moved', worst.change, of)} dB at {hertz(worst.at_hz)}"


def rank_parts(
    parts: tuple[PartCondition, ...], blame: Blame | None, envelope: DriftEnvelope | None
) -> tuple[PartCondition, ...]:
    """Most to blame first; those that have not changed last."""
    order = [p.name.lower() for p in (blame.parts if blame else envelope.parts if envelope else ())]

    def rank(part: PartCondition) -> tuple[bool, int]:
        low = part.name.lower()
        return not (part.changed or low in order), order.index(low) if low in order else len(order)

    return tuple(sorted(parts, key=rank))


def found_sentence(part: PartCondition, blame: Blame | None, of_sum: str) -> str:
    """What a part that was measured has done, and whether to leave it."""
    start = f"{part.name}: {part.state}"
    if not part.changed:
        return f"{start}: leave it"
    own = None if blame is None else blame.of(part.name)
    return start if blame is None or own is None else f"{start}: {effect(own, blame.together, of_sum)}"


def effect(blame: PartBlame, together: Worst, of_sum: str) -> str:
    """What one part has done, and how well that can be heard.

    Said besides: where parts make good for each other, so that putting right this one alone would make things worse.
    """
    key, drive = blame.most_moved
    alone, mended = blame.alone, blame.mended
    words = []
    if not math.isnan(alone.change):
        words.append(f"{said_change(alone)} in the {of_sum}")
    words.append(f"{said_change(drive)} on {key}")
    if size_of(mended) > size_of(alone) and audibility(mended.change) != audibility(alone.change):
        words.append(f"and {said_change(mended)} if it alone were put right")
    said = f"by itself {', '.join(words)}: {judged(blame.effect_db)}"
    if size_of(blame.remains) > size_of(together) + REPEATS_DB:
        said += f"; put right alone it leaves {said_change(blame.remains)}, more than there is now"
    return said


def assumed_sentence(part: PartCondition, envelope: DriftEnvelope, of_sum: str) -> str:
    """What a part that was not measured could have done."""
    start = f"{part.name}: {part.shown_original}"
    reach = next((p for p in envelope.parts if p.name == part.name), None)
    if reach is None:
        return f"{start}: {part.kind}, not expected to drift"
    key, drive = reach.most_moved
    words = f"up to {said_change(drive)} on {key}"
    if not math.isnan(reach.lowest.change):
        words = f"{said_change(reach.lowest)} to {said_change(reach.highest)} in the {of_sum}, {words}"
    return f"{start}: by itself could do {words}: {judged(reach.effect_db, 'not worth measuring')}"


def found_conclusion(total: Worst, drives: Mapping[str, Worst], of_sum: str, changed: bool) -> str:
    """All that was measured, in one sentence."""
    if not changed and all(size_of(w) <= 0 for w in (total, *drives.values())):
        if all(math.isnan(w.change) for w in (total, *drives.values())):
            return "No part has changed; of the drives nothing is known."
        return "Nothing has moved: leave it."
    if math.isinf(total.change):
        return f"All together move the {of_sum} {said_change(total)}."
    if math.isnan(total.change):
        return f"The {of_sum} is not known: only the drives tell how far age has moved it."
    return f"All together move the {of_sum} by {said_change(total)} at most: {judged(abs(total.change))}."


def assumed_conclusion(envelope: DriftEnvelope, of_sum: str) -> str:
    """All that may be, in one sentence."""
    low, high = envelope.total_lowest, envelope.total_highest
    if math.isnan(low.change):
        return f"Nothing was measured, and the {of_sum} is not known: only the drives tell how far drift could go."
    words = audibility(max(size_of(low), size_of(high)))
    return (
        f"Nothing was measured. Typical drift of all parts could move the {of_sum} by {said_change(low)} to "
        f"{said_change(high)} at most: {words}."
    )


def condition_warnings(
    speaker: Speaker, sounds: Sequence[Sound], names: Sequence[str], parts: Sequence[PartCondition], coherent: bool
) -> tuple[str, ...]:
    """Warnings, the most pressing first.

    Parameters
    ----------
    sounds : of the original network and, where there is one, of the found network. names : of both.
    """
    said = [*_hazards(parts), *_meter(parts)]
    if len(sounds) > 1:
        said += [f"wired differently: {what}" for what in same_wiring(sounds[0].network, sounds[1].network)]
        then, now = ((s.network, s.solution.drive) for s in sounds)
        said += [n.told(*names) for n in not_compared(*then, *now)]
    for sound, name in zip(sounds, names, strict=False):
        silent = undriven(sound.solution)
        said += [f"'{name}': {UNDRIVEN.format(and_words(silent))}"] if silent else []
    said += [f"{part.name}: {note}" for part in parts for note in part.notes]
    said += _taken(parts)
    if not coherent:
        said.append(
            "the timing between the drivers is not known, so the changes of the sum are those of the highest sum "
            f"that any timing allows: {sounds[0].timing_reason}"
        )
    said += _network(speaker, sounds)
    return tuple(dict.fromkeys(said))


def _hazards(parts: Sequence[PartCondition]) -> list[str]:
    names = [p.name for p in parts if p.kind is PartKind.PAPER]
    return [f"{', '.join(names)}: {PCB}"] if names else []


def _meter(parts: Sequence[PartCondition]) -> list[str]:
    """Electrolytics that read high, unless their card has a loss at a frequency: only an LCR meter gives that."""
    names = []
    for p in parts:
        found = p.found
        if not isinstance(found, Capacitor) or p.kind is not PartKind.ELECTROLYTIC or p.drift is None:
            continue
        if p.drift > (p.tolerance or 0.0) and not found.losses_at_hz:
            names.append(p.name)
    return [f"{', '.join(names)}: {METER}"] if names else []


def _taken(parts: Sequence[PartCondition]) -> list[str]:
    said: list[str] = []
    measured = [p for p in parts if p.verdict is not Verdict.UNKNOWN]
    names = [p.name for p in measured if p.tolerance_assumed and p.changed]
    if names:
        words = f"no tol= on the original card of {', '.join(names)}: the usual one of its kind is taken ({SOURCE})"
        said.append(Remark(words, About.METHOD))
    unmeasured = [p for p in parts if p.verdict is Verdict.UNKNOWN]
    if unmeasured:
        said.append(f"nothing was measured: the drift of every part is the range usual for its kind ({SOURCE})")
    names = [p.name for p in parts if p.kind_assumed and (p.changed or p in unmeasured)]
    if names:
        said.append(f"no card says of what kind {', '.join(names)} is: taken from its losses, add kind= or core=")
    return said


def _network(speaker: Speaker, sounds: Sequence[Sound]) -> list[str]:
    networks = [sound.network for sound in sounds]
    said = list(dict.fromkeys(note for network in networks for note in driven_together(network)))
    said += [note for network in networks for note in cold_lamps(network, "its figures hold at low level only")]
    amplifier = speaker.amplifier
    if amplifier is not None and (amplifier.output_ohm or 0.0) >= VALVES_OHM:
        said.append(
            f"the amplifier's output of {amplifier.output_ohm:g} ohm makes more sound changes of the changed load: "
            "they are not in these figures, which hold for an ideal source"
        )
    said += [gap.note for sound in sounds for gap in sound.total.gaps]
    said += [note for sound in sounds for name in sound.network.driver_names for note in speaker.drivers[name].notes]
    return said


_SHORT: Final = {
    Verdict.WITHIN: "in tolerance",
    Verdict.DRIFTED_AND_LOSSY: "drifted, lossy",
    Verdict.REPLACED: "other kind",
    Verdict.MISSING: "missing now",
    Verdict.ADDED: "added",
}
"""Verdicts in as many letters as a column has, where those of the verdict are more."""


def tell(study: ConditionStudy, everything: bool = False, strict: bool = False) -> Iterator[Block]:
    """What age has done as a person reads it; with `strict` whether the limit holds too."""
    yield from _found(study, everything) if study.envelope is None else _assumed(study, study.envelope)
    if strict:
        yield Head(f"Limit of {study.limit_db:g} dB")
        yield from map(Text, study.limits_broken or ("holds",))


def _found(study: ConditionStudy, everything: bool) -> Iterator[Block]:
    yield Head(f"{study.title}: '{study.found}' against '{study.original}', how far age has moved it")
    yield Text(study.conclusion)
    yield Head("Parts, as marked and as found")
    columns = ["part", "kind", "marked", "found", "drift", "ohm, 1 kHz", "verdict"]
    shown = [p for p in study.parts if p.changed or everything] or study.parts
    yield plain_table(columns, [_part_row(part) for part in shown])
    yield Text(
        "ohm, 1 kHz: series resistance of capacitors and coils, then > now. Readings count only if one end of the "
        "part was lifted."
    )
    yield Head(f"What it does, from {hertz(study.band_hz[0])} to {hertz(study.band_hz[1])} at most")
    yield from _effects(study, everything)
    if everything:
        yield from _octaves(study)
    yield Head("Which part did it")
    if study.blame is None:
        yield sentence(study.blame_reason)
    elif everything:
        yield from _blamed(study.blame, study.sum_word)
        yield Gap()
    ranked = study.ranked
    changed = [(p, words) for p, words in zip(ranked, study.sentences, strict=False) if p.changed]
    little = [p.name for p, _ in changed if not everything and _is_little(study.blame, p.name)]
    of_couplings = study.sentences[len(ranked) :]
    for number, words in enumerate([*(words for p, words in changed if p.name not in little), *of_couplings], 1):
        yield fact(f"{number}.", words, 3)
    as_marked = [p.name for p in study.parts if not p.changed]
    for names, why in ((little, f"changed, {MATCHED_DB:g} dB or less each"), (as_marked, "as marked")):
        if names:
            yield fact("", f"{', '.join(names)}: {why}: leave {'it' if len(names) == 1 else 'them'}", 3)


def _is_little(blame: Blame | None, name: str) -> bool:
    """Whether a part that has changed is left alone all the same."""
    own = None if blame is None else blame.of(name)
    return own is not None and own.effect_db <= MATCHED_DB


def _octaves(study: ConditionStudy) -> Iterator[Block]:
    """The changes at the octaves."""
    yield Gap()
    f, rows = study.frequency_hz, []
    for centre in octave_centres(float(f[0]), float(f[-1])):
        row = int(np.argmin(np.abs(np.log(f / centre))))
        drives = [(db(float(v[row]), 2, True), study.near[key][row]) for key, v in study.drive_difference_db.items()]
        total = db(float(study.total_difference_db[row]), 2, True)
        rows.append([f"{centre:g}", *(text if near else f"({text})" for text, near in drives), total])
    yield plain_table(["Hz", *study.drive_difference_db, study.sum_word], rows)
    yield Text(
        f"dB; in brackets where the drive lies {COUNTS_WITHIN_DB:g} dB or more below its highest: the most is not "
        "looked for there."
    )


def _part_row(part: PartCondition) -> list[str]:
    drift = "-" if part.drift is None else "0" if part.drift == 0 else signed_percent(part.drift)
    then, now = part.series_ohm(1000.0)
    series = "-" if then is None and now is None else ohm(then, 2) if then == now else f"{ohm(then, 2)} > {ohm(now, 2)}"
    verdict = _SHORT.get(part.verdict, str(part.verdict))
    return [part.name, str(part.kind), part.shown_original, part.shown_found, drift, series, verdict]


def _effects(study: ConditionStudy, everything: bool) -> Iterator[Block]:
    for key, worst in study.drive_worst.items():
        yield fact(f"drive of {key}", said_change(worst))
    if everything and study.drive_worst and not math.isnan(study.total_worst.change):
        yield fact(
            study.sum_word,
            f"{said_change(study.total_worst, study.found or '')}: {audibility(study.total_worst.change)}",
        )
    for load in study.loads:
        now = "" if load.now is None else f"; now {_lowest(load.now, load_of(study.found or '', load.channel))}"
        yield fact(
            "load" if len(study.loads) == 1 else f"load, {load.channel}",
            f"lowest {_lowest(load.then, load_of(study.original, load.channel))}{now}",
        )
    for crossover in study.crossovers:
        readings = [
            (r, n) for r, n in ((crossover.then, study.original), (crossover.now, study.found)) if r is not None
        ]
        if all(r.frequency_hz is not None for r, _ in readings):
            where = f"{' + '.join(crossover.then.lower)} to {' + '.join(crossover.then.upper)}"
            yield fact("crossover", f"{where} {'; now '.join(_crossover(r, n or '') for r, n in readings)}")
    depths = [r.null_depth_db for c in study.crossovers for r in (c.then, c.now) if r is not None]
    yield Text(legend("drive", "EPDR", *(["null"] if any(d is not None for d in depths) else [])))


def _crossover(reading: CrossoverReading, network: str) -> str:
    of, depth = reading.of(network), reading.null_depth_db
    at = f"at {written('crossover', reading.frequency_hz, of)}"
    return at if depth is None else f"{at}, null {written('null depth', depth, of)} dB deep"


def _lowest(reading: LoadReading, of: str) -> str:
    if not math.isfinite(reading.minimum_ohm):
        return "none, no current flows" if reading.is_idle else "not known"
    return (
        f"{written('lowest load', reading.minimum_ohm, of)} ohm at {hertz(reading.minimum_at_hz)}, "
        f"EPDR {written('lowest EPDR', reading.lowest_epdr_ohm, of)} ohm at {hertz(reading.lowest_epdr_at_hz)}"
    )


def _blamed(blame: Blame, what: str) -> Iterator[Block]:
    rows = []
    for p in blame.parts:
        key, drive = p.most_moved
        share = "-" if p.share is None else f"{100.0 * p.share:.0f} %"
        rows.append([p.name, *_at(p.alone), key, db(drive.change, 2, True), *_at(p.remains), share])
    yield plain_table(["part", "alone dB", "at", "driver", "drive dB", "left dB", "at", "share"], rows)
    shared = blame.parts[0].share is not None
    of_shares = f"; share: of the rms change of {db(blame.rms_db, 2)} dB (Shapley value)" if shared else ""
    yield Text(
        f"alone: the {what} with this part aged, all others as marked; driver: the one that this moves most; left: "
        f"what remains of the {what}'s change once this part alone is put right{of_shares}."
    )
    if not shared:
        yield sentence(blame.share_method)
    if not math.isnan(blame.interaction.change) and len(blame.parts) > 1:
        yield Text(f"Added up, the single effects miss the whole by {said_change(blame.interaction)} at most.")


def _at(worst: Worst) -> tuple[str, str]:
    """How much, and where: a dash where nothing changes, and where it is not known."""
    where = "-" if math.isnan(worst.at_hz) else hertz(worst.at_hz)
    return "0" if worst.change == 0 else db(worst.change, 2, True), where


def _assumed(study: ConditionStudy, envelope: DriftEnvelope) -> Iterator[Block]:
    yield Head(f"{study.title}: '{study.original}', how far age may have moved it (assumed, nothing measured)")
    yield Text(study.conclusion)
    yield Head("Parts, and the drift usual for their kind (common practice, no published source)")
    known = not math.isnan(envelope.total_lowest.change)
    marked = {part.name: part.shown_original for part in study.parts}
    columns = [f"{study.sum_word}, dB", "to"] if known else ["driver", "dB"]
    rows = [_reach_row(p, marked[p.name], known) for p in envelope.parts]
    yield plain_table(["part", "kind", "marked", "drift", "loss to", *columns], rows)
    yield Text("dB: what this part alone could do, all others as marked.")
    yield Head(f"What all together could do, from {hertz(study.band_hz[0])} to {hertz(study.band_hz[1])}")
    ends = {f"drive of {key}": (low, envelope.drive_highest[key]) for key, low in envelope.drive_lowest.items()}
    if known:
        ends[study.sum_word] = (envelope.total_lowest, envelope.total_highest)
    for what, (low, high) in ends.items():
        yield fact(what, f"{said_change(low)} to {said_change(high)}")
    yield fact(
        "load",
        "; ".join(
            f"as marked, lowest {_lowest(load.then, load_of(study.original, load.channel))}" for load in study.loads
        ),
    )
    yield Text(legend("drive", "EPDR"))
    yield fact("tried", envelope.method)
    worth = [p.name for p in envelope.parts if not p.effect_db <= MATCHED_DB]  # not known counts
    if worth:
        yield Head("What to measure first")
    for number, words in enumerate(study.sentences[: len(worth)], 1):
        yield fact(f"{number}.", words, 3)
    others = [part.name for part in study.parts if part.name not in worth]
    if others:
        yield Gap()
        yield Text(f"Not worth measuring, {MATCHED_DB:g} dB or less each: {', '.join(others)}.")


def _reach_row(p: PartReach, marked: str, known: bool) -> list[str]:
    ranges = {r.ending: r for r in p.ranges}
    value, df, dcr = (ranges.get(ending) for ending in ("", "_df", "_dcr"))
    drift = "-" if value is None else f"{_percent(value, value.low)}..{_percent(value, value.high)} %"
    loss = f"df {df.high:.3g}" if df is not None else f"{dcr.high:.3g} ohm" if dcr is not None else "-"
    key, drive = p.most_moved
    effect = [db(w.change, 2, True) for w in (p.lowest, p.highest)] if known else [key, db(drive.change, 2, True)]
    return [p.name, str(p.kind), marked, drift, loss, *effect]


def _percent(of: DriftRange, value: float) -> str:
    return f"{100 * (value / of.marked - 1):+.0f}"
