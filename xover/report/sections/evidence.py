"""What was measured, what comes from a datasheet, what is assumed, and what is missing."""

from __future__ import annotations

from xover.bench.missing import what_is_missing
from xover.blocks import FAIL, MARGINAL, PASS, Block, Cell, Head, Items, Section, Text, Warn, table
from xover.quantity import hertz
from xover.report.answers import Answers
from xover.report.sections.common import first_up
from xover.rules.severity import Severity
from xover.speaker import PhaseSource, SpeakerDriver
from xover.studies.desk.check.study import CheckStudy

_PHASES = {
    PhaseSource.MEASURED: "measured",
    PhaseSource.MINIMUM: "rebuilt as minimum phase",
    PhaseSource.NONE: "not known",
}


def section(answers: Answers) -> Section:
    """Drivers and networks with their evidence; doubts; what is missing and what it would add."""
    speaker = answers.speaker
    rows = [_driver(name, d) for name, d in speaker.drivers.items()]
    columns = ["driver", "impedance", "response", "phase", "place, mm"]
    blocks: list[Block] = [table("What is known of each driver", columns, rows), _networks(answers)]
    check = answers.study("check", CheckStudy)
    if check is not None:
        others = set(answers.plain_speaker.network_names) - {answers.present, answers.build.name}
        grave = [f for f in check.findings if f.severity is not Severity.NOTE and f.where not in others]
        blocks += [Warn(str(f.severity), f.where, first_up(f"{f.text}; {f.remedy}")) for f in grave]
        if not grave:
            blocks.append(Text("The files were gone through by 'xover check': nothing wrong or doubtful was found."))
    notes = tuple(dict.fromkeys(n for d in speaker.drivers.values() for n in d.notes))
    if notes:
        blocks += [Head("Notes on the data"), Items(notes)]
    missing = what_is_missing(answers.plain_speaker, answers.present)
    if missing:
        blocks += [Head("What is missing, and what it would add"), Items(tuple(m.sentence for m in missing))]
    return Section("evidence", "What was measured, what assumed", tuple(blocks))


def _driver(name: str, d: SpeakerDriver) -> list[str | Cell]:
    place = "not given" if d.position_mm is None else ", ".join(f"{v:g}" for v in d.position_mm)
    if d.card_positions_mm:
        place = "; ".join(f"{card}: {', '.join(f'{v:g}' for v in p)}" for card, p in d.card_positions_mm.items())
    ohms = _reach(d.impedance)
    sound = _reach(d.response) if d.has_response else ""
    return [
        name,
        _evidence(str(d.impedance_evidence), ohms),
        _evidence(str(d.response_evidence) if d.has_response else "not known", sound),
        _PHASES[d.phase_source],
        place,
    ]


def _reach(curve: object) -> str:
    low, high = getattr(curve, "lowest_hz", None), getattr(curve, "highest_hz", None)
    return "" if low is None or high is None else f", {hertz(low)} to {hertz(high)}"


def _evidence(kind: str, reach: str) -> Cell:
    verdict = {"measured": PASS, "not known": FAIL}.get(kind, MARGINAL)
    return Cell(f"{kind}{reach}", verdict)


def _networks(answers: Answers) -> Block:
    said = []
    for name in answers.plain_speaker.network_names:
        what = {answers.found: "parts as measured on the board", answers.design: "the design, as marked"}
        network = answers.plain_speaker.network(name)
        said.append([name, what.get(name, "a proposal"), f"{len(network.parts)}", network.title or "-"])
    return table("Networks of the folder", ["network", "what it is", "parts", "title"], said, numbers=(2,))
