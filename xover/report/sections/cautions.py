"""The cautions of this case, the gravest first."""

from __future__ import annotations

from collections.abc import Sequence

from xover.bench.build_steps import BuildOrder
from xover.bench.case import CaseCaution
from xover.bench.case_cautions import case_cautions
from xover.bench.words import capital
from xover.blocks import Section, Warn
from xover.report.answers import Answers
from xover.report.sections.common import first_up
from xover.studies.bears.stress.study import StressStudy
from xover.studies.does.load.study import LoadStudy


def section(answers: Answers) -> Section:
    """Only those that apply."""
    names = list(dict.fromkeys((answers.present, answers.build.name)))
    loads = {s.network: s for s in (answers.study("load", LoadStudy), answers.study("built load", LoadStudy)) if s}
    stress = answers.study("stress", StressStudy)
    found: Sequence[CaseCaution] = case_cautions(
        answers.speaker,
        names,
        decision=answers.decision,
        build=answers.study("build", BuildOrder),
        loads=loads,
        stresses={} if stress is None else {stress.network: stress},
        frequency_hz=answers.decision.frequency_hz,
    )
    return Section(
        "cautions",
        "Cautions of this case",
        tuple(Warn(str(c.severity), capital(c.heading), _words(c)) for c in found),
    )


def _words(caution: CaseCaution) -> str:
    return " ".join(first_up(s) for s in (caution.text, caution.why) if s)
