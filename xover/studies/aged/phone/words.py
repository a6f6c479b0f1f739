"""What a table of levels told, as a person reads it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from xover.blocks import Block, Head, Note, Text, fact, plain_table
from xover.figures import db, hertz
from xover.rules.audibility import HARD_DB, UNHEARD_DB, audibility
from xover.rules.phone import KNOWN_BALANCE_DB, LEAST_ABOVE_DB, SHALLOW_DB, SIGN_DB, TURNED_DOWN_DB
from xover.sentences import and_words, sentence
from xover.studies.aged.phone.result import (
    Balance,
    Change,
    Changed,
    GainTest,
    Held,
    Next,
    PhoneStudy,
    Polarity,
    Slip,
    Sums,
    Why,
    Wired,
)

_NEXT = {
    Next.SILENCE: "silence: nothing plays; what sounds without the speaker is then taken off",
    Next.QUIETER: "quieter: the amplifier turned 10 dB down, to 0.316 of the volts; shows automatic gain",
    Next.AGAIN: "again: the phone taken away and put back; tells how well levels repeat",
    Next.NETWORK: "another network of the folder, or any other state; changes are what a phone shows best",
    Next.REVERSED: "reversed: one driver's wires swapped; shows polarity",
    Next.DRIVERS: (
        "each driver alone, a resistor of its size in the other's place; catches typing errors and tells levels"
    ),
    Next.OTHER_SIDE: "right: the other speaker on the same stand, the phone at the same spot; 1 cm at 0.5 m is 0.17 dB",
    Next.KNOWN: f"known: an even speaker at the same spot; levels between drivers then hold to {KNOWN_BALANCE_DB:g} dB",
}
_SHOWN_NEXT = 3
_MOST_SLIPS = 3


def headline(study: PhoneStudy) -> str:
    """The answer in a few sentences."""
    said = [_gain(test) for test in study.gain if test.automatic]
    if said:
        return " ".join(map(sentence, [*said, "no other verdict is told"]))
    said += [_slips(study.slips)] if study.slips else []
    said += [_sums(study.sums)] if study.sums is not None and study.sums.many else []
    said += [_change(c, UNHEARD_DB) for c in study.changes]
    said += [_change(study.sides, HARD_DB)] if study.sides is not None else []
    said += [_polarity(p) for p in study.polarity]
    said += [_balance(b) for b in study.balance]
    said += [_sums(study.sums)] if study.sums is not None and not study.sums.mistyped else []
    return " ".join(map(sentence, said or ["nothing here is held against anything: no verdict"]))


def tell(study: PhoneStudy, everything: bool = False) -> Iterator[Block]:
    """The answer, its tables, and what to measure next."""
    yield Head(f"{study.title}: levels of a phone, {Path(study.table.source).name}")
    yield Text(study.headline, "lead")
    if not study.automatic:
        tables = [*study.changes, *([study.sides] if study.sides is not None else [])]
        for change in tables if everything else tables[:1]:
            yield from _table(change)
        if everything:
            yield from _bands(study)
    for column, bands in study.hidden.items():
        if column in study.alone and not everything:
            continue
        words = f"{_these(bands, 3)}: less than {LEAST_ABOVE_DB:g} dB above the silence, not told"
        yield fact(f"lost in {column}", words)
    if study.states:
        yield fact("no prediction", f"{and_words(study.states)}: no network and no driver of this folder")
    if everything:
        t = study.table
        how = "over whole periods" if t.periodic else f"for {t.seconds:g} s each"
        yield fact("read", f"{how}, in steps of {t.step_db:g} dB{f', {t.place}' if t.place else ''}")
    if study.told and not study.gain:
        yield fact("not tested", "whether the phone sets its gain by itself; if it does, all of this is wrong")
    if study.changes and not study.table.fixed:
        yield fact("to be surer", "leave the phone in its place for all columns and say so: '# phone fixed'")
    if not study.table.place and any(p.why is Why.SHALLOW for p in study.polarity):
        yield fact("to be surer", "say where the phone stood, such as '# place 1 m, tweeter axis'")
    for column in study.next if everything else study.next[:_SHOWN_NEXT]:
        yield fact("add a column", _NEXT[column])
    yield Text(
        "+-: where the truth lies, 19 times of 20. A phone's own curve falls out of a difference only: never correct "
        "a treble by it.",
        "quiet",
    )
    for words in study.warnings:
        yield Note(words)


def tell_change(change: Change) -> Iterator[Block]:
    """One change of network, for a question that holds it beside something else."""
    yield Head("Heard with a phone")
    yield Text(sentence(_change(change, UNHEARD_DB)))
    yield from _table(change)


def _gain(test: GainTest) -> str:
    if test.automatic is None:
        return f"'{test.column}' and quieter have no band in common: automatic gain is not tested"
    if not test.automatic:
        return f"no automatic gain: {TURNED_DOWN_DB:g} dB less reads as {db(test.fell_db)} dB less"
    return (
        f"the phone sets its gain by itself (automatic gain): {TURNED_DOWN_DB:g} dB less at the amplifier reads as "
        f"{db(test.fell_db)} dB less in '{test.column}', as {db(test.worst_fell_db)} dB at {hertz(test.worst_hz)}; "
        "turn it off, make sure by a voltmeter that the amplifier gave 0.316 of the volts, and read all anew"
    )


def _change(change: Change, unheard_db: float) -> str:
    yes, no, open_ = (change.octaves_that(c) for c in (Changed.YES, Changed.NO, Changed.CANNOT_TELL))
    if not change.octaves:
        return f"from {change.first} to {change.second}: no band was read of both"
    if yes:
        most = max((o for o in change.octaves if o.changed is Changed.YES), key=lambda o: abs(o.change_db))
        much = f"{db(most.change_db, 1, True)} dB at {hertz(most.centre_hz)}, {audibility(most.change_db)}"
        words = f"changed in the octaves of {_these(yes)} (most: {much})"
    elif no:
        words = f"alike within {unheard_db:g} dB in the octaves of {_these(no)}"
    else:
        words = "nothing can be told of any octave"
    if open_ and (yes or no):
        words += f"; cannot tell at {_these(open_)}"
    off, agrees = change.octaves_held(Held.DIFFERS), change.octaves_held(Held.AGREES)
    if not math.isnan(change.shift_db):
        words += f"; as predicted, but all lies {db(change.shift_db, 1, True)} dB off: was the volume turned?"
    elif off:
        words += f"; NOT as predicted at {_these(off)}"
    elif agrees:
        words += f"; as predicted at {_these(agrees)}"
    if change.elsewhere:
        words += "; the phone did not stand at one place, so the room's scatter counts"
    return f"from {change.first} to {change.second}: {words}"


def _polarity(p: Polarity) -> str:
    names = f"{'+'.join(p.lower)} and {'+'.join(p.upper)}"
    if p.wired is Wired.AS_DRAWN:
        side = "louder" if p.louder_db > 0 else "softer"
        much = f"{db(abs(p.louder_db))} dB {side}"
        return f"{names} are wired as drawn: normal is {much} than reversed at {hertz(p.band_hz)}"
    if p.wired is Wired.TURNED:
        return (
            f"one of {names} is turned round against the netlist: normal less reversed is "
            f"{db(p.louder_db, 1, True)} dB at {hertz(p.band_hz)}, predicted {db(p.predicted_db, 1, True)}; or both "
            "columns were exchanged"
        )
    much = f"normal less reversed is {db(p.louder_db, 1, True)} dB at {hertz(p.band_hz)}"
    if p.why is Why.SHALLOW:
        why = f"{much}; predicted are less than {SHALLOW_DB:g} dB, or either sign by the place of the phone"
    elif p.why is Why.FILLED:
        why = f"{much}; a sign is believed from {SIGN_DB:g} on"
    elif p.why is Why.WHICH:
        why = f"{much}; of three drivers or more it must say which was turned, as in '# reversed {p.upper[0]}'"
    elif p.why is Why.UNTIMED:
        why = f"{much}; nothing is predicted, the folder lacks common timing, position_mm or data of its drivers"
    else:
        why = f"no band near {hertz(p.band_hz)} was read of both"
    return f"the polarity of {names} cannot be told: {why}"


def _sums(sums: Sums | None) -> str:
    if sums is None:
        return ""
    if not sums.mistyped:
        return "the four columns fit each other" if np.isfinite(sums.off_db).any() else "no band was read in all four"
    return (
        f"the four columns do not fit each other in {len(sums.mistyped)} bands: level or phone moved between them, or "
        "no resistor stood in the silent driver's place"
    )


def _slips(slips: Sequence[Slip]) -> str:
    each = []
    for slip in slips[:_MOST_SLIPS]:
        off = f", {db(slip.off_db, 1, True)} dB, +-{_within(slip.within_db)}" if math.isfinite(slip.off_db) else ""
        each.append(f"line {slip.line} ({hertz(slip.band_hz)}{off}), {' or '.join(slip.columns)}")
    more = f"; and {len(slips) - _MOST_SLIPS} more" if len(slips) > _MOST_SLIPS else ""
    return f"look for a typing error in {'; '.join(each)}{more}: left out of what follows"


def _balance(b: Balance) -> str:
    if b.off is None:
        return (
            f"{b.driver} is {db(b.louder_db, 1, True)} dB against {b.against}, each in its own band, "
            f"+-{_within(b.within_db)} dB; nothing is predicted"
        )
    so = "more than a phone may be off" if b.off else "no more than a phone may be off"
    words = f"{b.driver} against {b.against} is {db(b.over_predicted_db, 1, True)} dB over what is predicted"
    return f"{words}, +-{_within(b.within_db)} dB: {so}"


def _table(change: Change) -> Iterator[Block]:
    yield Head(f"{change.second} less {change.first}, by octaves")
    heads = ["octave Hz", "change dB", "+-", "is it changed?"]
    held = any(math.isfinite(o.off_db) for o in change.octaves)
    rows = []
    for o in change.octaves:
        row = [f"{o.centre_hz:g}", db(o.change_db, 1, True), _within(o.within_db), str(o.changed)]
        if held:
            row += [db(o.predicted_db, 1, True), db(o.off_db, 1, True), _within(o.off_within_db), str(o.held)]
        rows.append(row)
    yield plain_table([*heads, *(["predicted", "off by", "+-", "prediction"] if held else [])], rows)
    if held:
        yield Text("off by: measured less predicted; the bands that one driver rules count most.", "quiet")


def _bands(study: PhoneStudy) -> Iterator[Block]:
    for change in study.changes:
        yield Head(f"{change.second} less {change.first}, by bands")
        rows = [
            [f"{f:g}", db(d, 1, True), _within(u), db(p, 1, True), _within(w)]
            for f, d, u, p, w in zip(
                change.band_hz,
                change.change_db,
                change.within_db,
                change.predicted_db,
                change.predicted_within_db,
                strict=True,
            )
        ]
        yield plain_table(["band Hz", "change dB", "+-", "predicted", "+-"], rows)
    if study.sums is not None:
        yield Head("(normal + reversed)/2 over low + high, and the mean cosine of the phase between them")
        three = zip(study.table.band_hz, study.sums.off_db, study.sums.within_db, study.sums.mean_cosine, strict=True)
        rows = [[f"{f:g}", db(d, 1, True), _within(u), db(c, 2, True)] for f, d, u, c in three]
        yield plain_table(["band Hz", "off dB", "+-", "cosine"], rows)
    for test in study.gain:
        yield fact("gain", _gain(test))
    if study.polarity:
        plain = "; ".join(f"{name} {db(value, 1, True)}" for name, value in study.textbook_db.items())
        yield fact("plain slopes", f"normal less reversed at the corner, dB, without a room: {plain}")


def _these(bands: Sequence[float], per_octave: int = 1) -> str:
    """Bands by name, those that lie side by side as from and to."""
    step = 1.1 * 10.0 ** (0.3 / per_octave)
    runs: list[list[float]] = []
    for f in bands:
        if runs and f < runs[-1][-1] * step:
            runs[-1].append(f)
        else:
            runs.append([f])
    each = [[f"{hertz(run[0])} to {hertz(run[-1])}"] if len(run) > 2 else map(hertz, run) for run in runs]
    return and_words(words for run in each for words in run)


def _within(value: float) -> str:
    """+-, rounded up."""
    return db(math.ceil(10.0 * value - 1e-9) / 10.0) if math.isfinite(value) else db(math.nan)
