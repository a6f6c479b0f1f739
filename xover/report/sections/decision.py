"""What is told first: the decision, what stands on measurements, the schematic."""

from __future__ import annotations

import math
from collections.abc import Iterable

from xover.bench.missing import what_is_missing
from xover.blocks import FAIL, MARGINAL, PASS, Block, Cell, Facts, Head, Items, Picture, Text, Warn, table
from xover.curve import Evidence
from xover.figures import db, money
from xover.judge.health_words import told_health
from xover.quantity import hertz
from xover.report.answers import Answers
from xover.rules.severity import Severity
from xover.rules.triage import RULE, STEPS, Rung
from xover.sentences import sentence
from xover.speaker import PhaseSource, SpeakerDriver
from xover.speaker.untouched import untouched
from xover.studies.change.decide.study import Decision
from xover.studies.change.decide.words import BARS, TARGETS
from xover.studies.desk.check.files import files_table
from xover.studies.desk.check.study import CheckStudy


def decision(answers: Answers) -> Iterable[Block]:
    """What to do, what forbids to play it as it is, why, and the steps side by side."""
    d = answers.decision
    why = [("stop", f"as it is, {f.text}") for f in d.stops]
    why += [("because" if i == 0 else "and", words) for i, words in enumerate(d.reasons)]
    why += [("to do", words) for words in d.measure]
    blocks: list[Block] = answers.failed(*map(str, STEPS))
    if blocks:
        blocks.append(Text("The answer below was found without it, and may be another one with it."))
    blocks += [Text(sentence(d.answer), "lead"), Facts(tuple(why))]
    if d.rests_on:
        blocks += [Text("This answer rests on what was not measured:"), Items(d.rests_on)]
    blocks.append(_steps(d))
    blocks.append(Text(f"{RULE}. Nearer: to {TARGETS[d.picked.target]}. Parts from: {d.source}.", "quiet"))
    if d.would_change:
        blocks += [Head("What would change it"), Items(d.would_change)]
    if d.unknown:
        blocks += [Head("What this cannot know"), Items(d.unknown)]
    blocks += answers.gone("decision", "a figure of the steps")
    blocks += answers.pictures("decision")
    return blocks


def _steps(d: Decision) -> Block:
    """The steps in figures, the recommended one marked by words."""
    rows: list[list[str | Cell]] = []
    for name, option in d.options.items():
        if not option.available:
            continue
        gain, does = d.gain(option), name is not Rung.LEAVE
        known = does and not math.isnan(gain.value_db)
        bar = BARS.get(d.picked.bars[name], "")
        rows.append(
            [
                f"{name}: recommended" if name is d.recommendation else str(name),
                option.what + (f" ({bar})" if bar else ""),
                db(gain.value_db) if known else "-",
                db(gain.uncertainty_db) if known else "-",
                money(option.cost_for_pair) if does and not math.isnan(option.cost_for_pair) else "-",
                str(option.parts) if does else "-",
                str(option.minutes) if does else "-",
                option.undo,
            ]
        )
    columns = ["step", "what", "nearer, dB", "sure to, dB", "cost of a pair", "parts", "minutes", "undo"]
    return table("The steps, cheapest and easiest to undo first", columns, rows, numbers=(2, 3, 4, 5, 6))


_PHASES = {
    PhaseSource.MEASURED: "measured",
    PhaseSource.MINIMUM: "rebuilt as minimum phase",
    PhaseSource.NONE: "not known",
}


def evidence(answers: Answers) -> Iterable[Block]:
    """Drivers and networks with their evidence; doubts; what is missing and what it would add."""
    speaker = answers.speaker
    rows = [_driver(name, d) for name, d in speaker.drivers.items()]
    columns = ["driver", "impedance", "response", "phase", "place, mm"]
    blocks: list[Block] = [table("What is known of each driver", columns, rows), _networks(answers)]
    check = answers.study("check", CheckStudy)
    if check is not None:
        others = set(answers.plain_speaker.network_names) - {answers.present, answers.build.name}
        grave = [f for f in check.findings if f.severity is not Severity.NOTE and f.where not in others]
        told = {f.text for f in (*d.faults, *d.stops)} if (d := answers.decided_on) else set()
        left = [f for f in grave if f.text not in told]
        blocks += [Warn(str(f.severity), f.where, sentence(f"{f.text}; {f.remedy}")) for f in left]
        blocks += told_health(check.health.values(), check.unsound)
        if not left:
            what = "nothing else" if grave else "nothing"
            blocks.append(Text(f"The files were gone through by 'xover check': {what} wrong or doubtful was found."))
        blocks += [files_table(check.files)] if check.files else []
    blocks += answers.gone("check", "what 'xover check' finds") + answers.failed("check")
    notes = tuple(dict.fromkeys(n for d in speaker.drivers.values() for n in d.notes))
    if notes:
        blocks += [Head("Notes on the data"), Items(notes)]
    missing = what_is_missing(answers.plain_speaker, answers.present, listed=answers.request.stock is not None)
    if missing:
        blocks += [Head("What is missing, and what it would add"), Items(tuple(m.sentence for m in missing))]
    return blocks


def _driver(name: str, d: SpeakerDriver) -> list[str | Cell]:
    place = "not given" if d.position_mm is None else ", ".join(f"{v:g}" for v in d.position_mm)
    if d.card_positions_mm:
        place = "; ".join(f"{card}: {', '.join(f'{v:g}' for v in p)}" for card, p in d.card_positions_mm.items())
    ohms = _reach(d.impedance)
    sound = _reach(d.response) if d.has_response else ""
    return [
        name,
        _evidence(d.impedance_evidence, ohms),
        _evidence(d.response_evidence if d.has_response else None, sound),
        _PHASES[d.phase_source],
        place,
    ]


def _reach(curve: object) -> str:
    low, high = getattr(curve, "lowest_hz", None), getattr(curve, "highest_hz", None)
    return "" if low is None or high is None else f", {hertz(low)} to {hertz(high)}"


def _evidence(kind: Evidence | None, reach: str) -> Cell:
    if kind is None:
        return Cell("not known", FAIL)
    return Cell(f"{kind}{reach}", PASS if kind is Evidence.MEASURED else MARGINAL)


def _networks(answers: Answers) -> Block:
    said = []
    what = {answers.found: "parts as measured on the board", answers.design: "the design, as marked"}
    what |= dict.fromkeys(untouched(answers.plain_speaker).networks, "as it came with a new folder")
    for name in answers.plain_speaker.network_names:
        network = answers.plain_speaker.network(name)
        said.append([name, what.get(name, "a proposal"), f"{len(network.parts)}", network.title or "-"])
    return table("Networks of the folder", ["network", "what it is", "parts", "title"], said, numbers=(2,))


def drawing(answers: Answers) -> Iterable[Block]:
    """What is to be built, or what is there; old values beside new ones."""
    drawn = answers.known.get("schematic")
    words = f"Network '{answers.build.name}': {answers.build.why.rstrip('.')}."
    gone = answers.gone("schematic", "the schematic") + answers.failed("schematic")
    return Text(words), *([drawn] if isinstance(drawn, Picture) else gone)
