"""xover condition: how far has age moved it?"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated

import numpy as np
import typer

from xover.cli.complete import network_names
from xover.cli.options import Force, From, Json, PerOctave, Plot, SpeakerPath, Strict, To, grid
from xover.cli.plot import write_plot
from xover.cli.show import (
    db,
    hertz,
    octave_centres,
    ohm,
    show_heading,
    show_item,
    show_json,
    show_table,
    show_text,
    show_warnings,
)
from xover.errors import OptionError

if TYPE_CHECKING:
    from xover.amplifier.load import LoadReading
    from xover.sound.changes import Worst
    from xover.studies.aged.condition.envelope import DriftRange
    from xover.studies.aged.condition.parts import PartCondition
    from xover.studies.aged.condition.study import ConditionStudy

Found = Annotated[
    str | None,
    typer.Option(
        "--found", metavar="NAME", help="Network as measured today [default: found].", autocompletion=network_names
    ),
]
Original = Annotated[
    str | None,
    typer.Option(
        "--original", metavar="NAME", help="Network as marked [default: original].", autocompletion=network_names
    ),
]
Assume = Annotated[
    bool, typer.Option("--assume", help="Ignore what was measured: show what drift usual for each part could do.")
]
Limit = Annotated[
    float, typer.Option("--limit", metavar="DB", help="With --strict: how far a drive or the sum may change.")
]


def condition(
    speaker: SpeakerPath,
    found: Found = None,
    original: Original = None,
    assume: Assume = False,
    from_hz: From = "20",
    to_hz: To = "20k",
    per_octave: PerOctave = 48,
    limit: Limit = 1.0,
    plot: Plot = None,
    force: Force = False,
    strict: Strict = False,
    as_json: Json = False,
) -> int:
    """How far has age moved it, and which part did it?

    Example: xover condition examples/attic-two-way/left --plot condition.png
    """
    from xover.speaker import open_speaker
    from xover.studies.aged.condition.study import study_condition

    if not (math.isfinite(limit) and limit > 0):
        raise OptionError(f"--limit is {limit:g}", "give decibels above 0, such as 1")
    opened, frequency_hz = open_speaker(speaker), grid(from_hz, to_hz, per_octave)
    result = study_condition(opened, frequency_hz, found=found, original=original, assume=assume, limit_db=limit)
    write_plot(result, plot, force)
    status = 1 if strict and result.limits_broken else 0
    if as_json:
        show_json(result)
        return status
    if result.envelope is None:
        _show_found(result)
    else:
        _show_assumed(result)
    if strict:
        _show_limit(result)
    if plot is not None:
        show_text(f"Figure written to {plot}.", "")
    show_warnings(result.warnings)
    return status


def _show_found(study: ConditionStudy) -> None:
    from xover.sound.changes import HEARD_DB

    show_heading(f"{study.title}: '{study.found}' against '{study.original}', how far age has moved it")
    show_text(study.conclusion)
    show_heading("Parts, as marked and as found")
    rows = [
        [
            part.name,
            str(part.kind),
            part.shown_original,
            part.shown_found,
            _percent(part.drift),
            _then_now(*part.series_ohm(1000.0)),
            _short(part),
        ]
        for part in study.parts
    ]
    show_table(["part", "kind", "marked", "found", "drift", "ohm, 1 kHz", "verdict"], rows)
    show_text(
        "ohm, 1 kHz: series resistance of capacitors and coils, then > now. Readings count only if one end of the "
        "part was lifted."
    )
    show_heading(f"What it does, from {hertz(study.band_hz[0])} to {hertz(study.band_hz[1])} at most")
    _show_effects(study)
    _show_curves(study)
    show_text(
        f"dB; in brackets where the drive lies {HEARD_DB:g} dB or more below its highest: the most is not looked "
        "for there."
    )
    show_heading("Which part did it")
    _show_blame(study)
    _show_sentences(study)


def _show_effects(study: ConditionStudy) -> None:
    from xover.acoustic.audibility import audibility
    from xover.studies.aged.condition.words import said_change

    for key, worst in study.drive_worst.items():
        show_item(f"drive of {key}", said_change(worst))
    if study.drive_worst and study.total_worst.change == study.total_worst.change:
        show_item(_sum_word(study), f"{said_change(study.total_worst)}: {audibility(study.total_worst.change)}")
    for load in study.loads:
        where = "load" if len(study.loads) == 1 else f"load, {load.channel}"
        then, now = _lowest(load.then), None if load.now is None else _lowest(load.now)
        show_item(where, f"lowest {then}" if now is None else f"lowest {then}; now {now}")
    for crossover in study.crossovers:
        then_null, now_reading = crossover.then, crossover.now
        where = f"{' + '.join(then_null.lower)} to {' + '.join(then_null.upper)}"
        readings = [then_null] if now_reading is None else [then_null, now_reading]
        if any(reading.frequency_hz is None for reading in readings):
            continue
        words = [
            f"at {hertz(r.frequency_hz)}"
            + ("" if r.null_depth_db is None else f", reversed null {db(r.null_depth_db)} dB deep")
            for r in readings
        ]
        show_item("crossover", f"{where} {'; now '.join(words)}")


def _lowest(reading: LoadReading) -> str:
    return (
        f"{ohm(reading.minimum_ohm, 2)} ohm at {hertz(reading.minimum_at_hz)}, "
        f"EPDR {ohm(reading.lowest_epdr_ohm, 2)} ohm at {hertz(reading.lowest_epdr_at_hz)}"
    )


def _show_curves(study: ConditionStudy) -> None:
    f = study.frequency_hz
    rows = []
    for centre in octave_centres(float(f[0]), float(f[-1])):
        row = int(np.argmin(np.abs(np.log(f / centre))))
        cells = [f"{centre:g}"]
        for key, change in study.drive_difference_db.items():
            text = db(float(change[row]), 2, True)
            cells.append(text if study.near[key][row] else f"({text})")
        rows.append([*cells, db(float(study.total_difference_db[row]), 2, True)])
    typer.echo()
    show_table(["Hz", *study.drive_difference_db, _sum_word(study)], rows)


def _show_blame(study: ConditionStudy) -> None:
    blame = study.blame
    if blame is None:
        show_text(study.blame_reason[0].upper() + study.blame_reason[1:] + ".")
        return
    rows = []
    for p in blame.parts:
        key, drive = p.most_moved
        share = "-" if p.share is None else f"{100.0 * p.share:.0f} %"
        rows.append([p.name, *_at(p.alone), key, db(drive.change, 2, True), *_at(p.remains), share])
    show_table(["part", "alone dB", "at", "driver", "drive dB", "left dB", "at", "share"], rows)
    what = _sum_word(study)
    shared = blame.parts[0].share is not None
    show_text(
        f"alone: the {what} with this part aged, all others as marked; driver: the one that this moves most; left: "
        f"what remains of the {what}'s change once this part alone is put right"
        + (f"; share: of the rms change of {db(blame.rms_db, 2)} dB (Shapley value)." if shared else ".")
    )
    if not shared:
        show_text(f"{blame.share_method[0].upper()}{blame.share_method[1:]}.")
    if not math.isnan(blame.interaction.change) and len(blame.parts) > 1:
        from xover.studies.aged.condition.words import said_change

        show_text(f"Added up, the single effects miss the whole by {said_change(blame.interaction)} at most.")


def _show_sentences(study: ConditionStudy) -> None:
    typer.echo()
    as_marked = [p.name for p in study.parts if not p.changed]
    sentences = study.sentences[: len(study.sentences) - len(as_marked)] if as_marked else study.sentences
    for number, sentence in enumerate(sentences, 1):
        show_item(f"{number}.", sentence, 3)
    if as_marked:
        show_item("", f"{', '.join(as_marked)}: as marked: leave {'it' if len(as_marked) == 1 else 'them'}", 3)


def _show_assumed(study: ConditionStudy) -> None:
    from xover.studies.aged.condition.words import LEAVE_IT_DB, said_change

    envelope = study.envelope
    if envelope is None:
        return
    show_heading(f"{study.title}: '{study.original}', how far age may have moved it (assumed, nothing measured)")
    show_text(study.conclusion)
    show_heading("Parts, and the drift usual for their kind (common practice, no published source)")
    known = not math.isnan(envelope.total_lowest.change)
    rows = []
    for p in envelope.parts:
        ranges = {r.ending: r for r in p.ranges}
        marked = next(part.shown_original for part in study.parts if part.name == p.name)
        key, drive = p.most_moved
        effect = (
            (db(p.lowest.change, 2, True), db(p.highest.change, 2, True)) if known else (key, db(drive.change, 2, True))
        )
        rows.append([p.name, str(p.kind), marked, _drifts(ranges.get("")), _losses(ranges), *effect])
    what = (f"{_sum_word(study)}, dB", "to") if known else ("driver", "dB")
    show_table(["part", "kind", "marked", "drift", "loss to", *what], rows)
    show_text("dB: what this part alone could do, all others as marked.")
    show_heading(f"What all together could do, from {hertz(study.band_hz[0])} to {hertz(study.band_hz[1])}")
    for key in envelope.drive_lowest:
        low, high = envelope.drive_lowest[key], envelope.drive_highest[key]
        show_item(f"drive of {key}", f"{said_change(low)} to {said_change(high)}")
    if not math.isnan(envelope.total_lowest.change):
        low, high = envelope.total_lowest, envelope.total_highest
        show_item(_sum_word(study), f"{said_change(low)} to {said_change(high)}")
    show_item("load", "; ".join(f"as marked, lowest {_lowest(load.then)}" for load in study.loads))
    show_item("tried", envelope.method)
    worth = [p.name for p in envelope.parts if not p.effect_db <= LEAVE_IT_DB]  # not known counts
    if worth:
        show_heading("What to measure first")
    for number, sentence in enumerate(study.sentences[: len(worth)], 1):
        show_item(f"{number}.", sentence, 3)
    others = [part.name for part in study.parts if part.name not in worth]
    if others:
        typer.echo()
        show_text(f"Not worth measuring, {LEAVE_IT_DB:g} dB or less each: {', '.join(others)}.")


def _show_limit(study: ConditionStudy) -> None:
    show_heading(f"Limit of {study.limit_db:g} dB")
    for sentence in study.limits_broken or ("holds",):
        show_text(sentence)


def _sum_word(study: ConditionStudy) -> str:
    return "sum" if study.of_sum == "sum" else "highest sum"


def _short(part: PartCondition) -> str:
    """The verdict in as many letters as a column has."""
    from xover.studies.aged.condition.parts import Verdict

    words = {
        Verdict.WITHIN: "in tolerance",
        Verdict.DRIFTED_AND_LOSSY: "drifted, lossy",
        Verdict.REPLACED: "other kind",
        Verdict.MISSING: "missing now",
        Verdict.ADDED: "added",
    }
    return words.get(part.verdict, str(part.verdict))


def _percent(fraction: float | None) -> str:
    from xover.studies.aged.condition.parts import signed_percent

    return "-" if fraction is None else "0" if fraction == 0 else signed_percent(fraction)


def _then_now(then: float | None, now: float | None) -> str:
    """One figure where nothing has changed, else both."""
    if then is None and now is None:
        return "-"
    if then == now:
        return ohm(then, 2)
    return f"{ohm(then, 2)} > {ohm(now, 2)}"


def _at(worst: Worst) -> tuple[str, str]:
    return "0" if worst.change == 0 else db(worst.change, 2, True), hertz(worst.at_hz)


def _drifts(value: DriftRange | None) -> str:
    if value is None:
        return "-"
    return f"{100 * (value.low / value.marked - 1):+.0f}..{100 * (value.high / value.marked - 1):+.0f} %"


def _losses(ranges: dict[str, DriftRange]) -> str:
    if "_df" in ranges:
        return f"df {ranges['_df'].high:.3g}"
    return f"{ranges['_dcr'].high:.3g} ohm" if "_dcr" in ranges else "-"
