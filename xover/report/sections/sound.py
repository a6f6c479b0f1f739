"""What it does today and behind what is to be built: sum, load, and how far age has moved it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from xover.amplifier.load import LoadLevel
from xover.blocks import FAIL, MARGINAL, PASS, UNKNOWN, Block, Cell, Items, Text, table
from xover.figures import db, degrees, load_of, ohm, written
from xover.quantity import hertz
from xover.report.answers import Answers
from xover.report.works import Beside
from xover.sentences import sentence
from xover.sound.prediction import Prediction
from xover.studies.aged.condition.parts import PartCondition, Verdict
from xover.studies.aged.condition.study import ConditionStudy
from xover.studies.does.load.study import ChannelLoad, LoadStudy
from xover.studies.does.load.words import faults


def network_table(caption: str, rows: Sequence[Sequence[str]]) -> Block:
    """Networks in figures, a row each."""
    return table(caption, ["network", "sum about its mean, dB", "crossover", "lowest load, ohm"], rows)


def network_row(words: str, sound: Prediction | None, load: LoadStudy | None) -> list[str]:
    """A network in figures: how far its sum strays from its mean, where its drivers meet, its lowest load."""
    lowest = "-"
    if load is not None:
        lowest = "; ".join(
            f"{written('lowest load', c.reading.minimum_ohm, load_of(load.network, name))} at "
            f"{hertz(c.reading.minimum_at_hz)}"
            for name, c in load.channels.items()
        )
    swing, where = "-", ""
    if sound is not None:
        where = ", ".join(
            written("crossover", c.frequency_hz, c.of(sound.network)) for c in sound.crossovers if c.frequency_hz
        )
        if sound.total.coherent:
            band = sound.band
            swing = written("above mean", band.highest_deviation_db, sound.network)
            swing += f" / {written('below mean', band.lowest_deviation_db, sound.network)}"
    return [words, swing, where or "-", lowest]


def sound(answers: Answers) -> Iterable[Block]:
    """Sum, drive, before and after, off axis, tolerance, sensitivity, crosstalk."""
    blocks: list[Block] = []
    now = answers.study("sound", Prediction)
    then = answers.study("built sound", Prediction)
    blocks += answers.gone("sound", "the sum")
    if now is not None:
        blocks += _crossovers([p for p in (now, then) if p is not None])
        blocks += _side_by_side(answers)
        blocks.append(Text(f"One sum or an envelope: {now.timing_reason}.", "quiet"))
    blocks += answers.pictures("sound", "before and after", "built sound", "angles", "tolerance", "sensitivity")
    blocks += answers.failed(*(f"beside {n}" for n in answers.others))
    for name in ("built sound", "angles", "tolerance", "sensitivity"):
        blocks += answers.gone(name)
    return blocks


def _side_by_side(answers: Answers) -> list[Block]:
    """All networks in figures, where more were asked for than the present one and the one to be built."""
    if not answers.others:
        return []
    shown = [(answers.study("sound", Prediction), answers.study("load", LoadStudy))]
    shown.append((answers.study("built sound", Prediction), answers.study("built load", LoadStudy)))
    for name in answers.others:
        found = answers.study(f"beside {name}", Beside)
        shown.append((None, None) if found is None else (found.sound, found.load))
    rows = [network_row(p.network, p, z) for p, z in shown if p is not None]
    return [network_table("The networks side by side", rows)]


def _crossovers(predictions: list[Prediction]) -> list[Block]:
    rows = [
        [
            f"{' + '.join(c.lower)} to {' + '.join(c.upper)}",
            p.network,
            f"none: {c.reason}" if c.frequency_hz is None else written("crossover", c.frequency_hz, c.of(p.network)),
            db(c.lower_slope_db_per_octave, 0, signed=True),
            db(c.upper_slope_db_per_octave, 0, signed=True),
            "-" if c.phase_difference_deg is None else f"{c.phase_difference_deg:.0f}",
            written("null depth", c.null_depth_db, c.of(p.network)),
        ]
        for p in predictions
        for c in p.crossovers
    ]
    if not rows:
        return [Text("The drivers do not meet: no acoustic crossover.")]
    columns = ["acoustic crossover", "network", "at", "dB/oct. below", "dB/oct. above", "phase, deg", "null, dB"]
    return [table("Where the drivers meet", columns, rows, numbers=(3, 4, 5, 6))]


_VERDICTS = {LoadLevel.FITS: PASS, LoadLevel.EDGE: MARGINAL, LoadLevel.TOO_LOW: FAIL, LoadLevel.UNKNOWN: UNKNOWN}


def load(answers: Answers) -> Iterable[Block]:
    """Load, EPDR, rating, faults."""
    blocks: list[Block] = answers.gone("load", "the load")
    studies = [s for s in (answers.study("load", LoadStudy), answers.study("built load", LoadStudy)) if s is not None]
    if studies:
        last = studies[-1]
        blocks += [Text(sentence(c.verdict.sentence), "lead") for c in last.channels.values()]
        blocks += [Text(sentence(c.verdict.epdr_sentence)) for c in last.channels.values()]
        blocks.append(_loads(studies))
        if last.listening is not None:
            blocks.append(Text(sentence(last.listening.sentence)))
        blocks += faults(last, f"Each driver open, then shorted: network {last.network}")
    blocks += answers.pictures("load", "built load") + answers.gone("built load")
    return blocks


def _loads(studies: list[LoadStudy]) -> Block:
    rows = [_row(study.network, channel) for study in studies for channel in study.channels.values()]
    columns = ["network, channel", "lowest, ohm", "highest, ohm", "phase, deg", "lowest EPDR, ohm", "may be rated"]
    return table("The load in figures", columns, rows)


def _row(network: str, channel: ChannelLoad) -> list[str | Cell]:
    r, of = channel.reading, load_of(network, channel.channel)
    rated = "none of the usual" if r.usual_rating_ohm is None else f"{r.usual_rating_ohm:g} ohm"
    return [
        of,
        Cell(
            f"{written('lowest load', r.minimum_ohm, of)} at {hertz(r.minimum_at_hz)}",
            _VERDICTS[channel.verdict.level],
        ),
        f"{ohm(r.maximum_ohm)} at {hertz(r.maximum_at_hz)}",
        f"{degrees(r.most_capacitive_deg)} to {degrees(r.most_inductive_deg)}",
        f"{written('lowest EPDR', r.lowest_epdr_ohm, of)} at {hertz(r.lowest_epdr_at_hz)}",
        rated,
    ]


def condition(answers: Answers) -> Iterable[Block]:
    """Found against original."""
    study = answers.study("condition", ConditionStudy)
    blocks: list[Block] = answers.gone("condition", "what age has done") + answers.failed("condition")
    if study is not None:
        blocks.append(Text(study.conclusion, "lead"))
        if study.found is None:
            blocks.append(Text("Nothing was measured on the board: this is what usual drift could do."))
        columns = ["part", "kind", "as marked", "as found", "drift", "verdict"]
        rows = [_part_row(part) for part in study.parts]
        blocks.append(table("Parts, as marked and as found", columns, rows, numbers=(4,)))
        blocks += answers.pictures("condition")
        ranked, said = study.ranked, study.sentences  # a sentence for each, then those of couplings
        marked = [p.name for p in ranked if p.verdict is Verdict.AS_MARKED]  # the table says as much of these
        told = [s for s, p in zip(said, ranked, strict=False) if p.verdict is not Verdict.AS_MARKED]
        told += said[len(ranked) :]
        blocks.append(Items((*told, *([f"{', '.join(marked)}: as marked, leave them"] if marked else []))))
        if study.wiring:
            blocks.append(Items(study.wiring))
        blocks.append(Text("Readings count only if one end of the part was lifted.", "quiet"))
    return blocks


def _part_row(part: PartCondition) -> list[str | Cell]:
    drift = "-" if part.drift is None else f"{100.0 * part.drift:+.0f} %"
    verdict = {Verdict.AS_MARKED: PASS, Verdict.WITHIN: PASS, Verdict.UNKNOWN: UNKNOWN}.get(part.verdict, MARGINAL)
    kind = f"{part.kind}{' (assumed)' if part.kind_assumed else ''}"
    return [part.name, kind, part.shown_original, part.shown_found, drift, Cell(str(part.verdict), verdict)]
