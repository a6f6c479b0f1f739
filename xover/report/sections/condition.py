"""How far age has moved the network, part by part."""

from __future__ import annotations

from xover.blocks import MARGINAL, PASS, UNKNOWN, Block, Cell, Items, Section, Text, table
from xover.report.answers import Answers
from xover.report.sections.common import gone, pictures
from xover.studies.aged.condition.parts import PartCondition, Verdict
from xover.studies.aged.condition.study import ConditionStudy

_SOUND = (Verdict.AS_MARKED, Verdict.WITHIN)


def section(answers: Answers) -> Section:
    """Found against original."""
    study = answers.study("condition", ConditionStudy)
    blocks: list[Block] = gone(answers, "condition", "what age has done")
    if study is not None:
        blocks.append(Text(study.conclusion, "lead"))
        if study.evidence == "assumed":
            blocks.append(Text("Nothing was measured on the board: this is what usual drift could do."))
        blocks.append(_parts(study))
        blocks += pictures(answers, "condition")
        marked = [p.name for p in study.ranked if p.verdict is Verdict.AS_MARKED]
        told = [s for s in study.sentences if s.partition(":")[0] not in marked]  # the table says as much of these
        blocks.append(Items((*told, *([f"{', '.join(marked)}: as marked, leave them"] if marked else []))))
        if study.wiring:
            blocks.append(Items(study.wiring))
        blocks.append(Text("Readings count only if one end of the part was lifted.", "quiet"))
    return Section("condition", "Condition", tuple(blocks))


def _parts(study: ConditionStudy) -> Block:
    rows = [_row(part) for part in study.parts]
    columns = ["part", "kind", "as marked", "as found", "drift", "verdict"]
    return table("Parts, as marked and as found", columns, rows, numbers=(4,))


def _row(part: PartCondition) -> list[str | Cell]:
    drift = "-" if part.drift is None else f"{100.0 * part.drift:+.0f} %"
    verdict = PASS if part.verdict in _SOUND else UNKNOWN if part.verdict is Verdict.UNKNOWN else MARGINAL
    kind = f"{part.kind}{' (assumed)' if part.kind_assumed else ''}"
    return [part.name, kind, part.shown_original, part.shown_found, drift, Cell(str(part.verdict), verdict)]
