"""Leave, refresh, redesign or bypass, side by side from the same data."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from xover.curve import Float, log_grid
from xover.errors import OptionError
from xover.parts.catalogue import Catalogue
from xover.plain import some_of
from xover.readable import Readable
from xover.rules.bands import JUDGED_HZ
from xover.speaker import Speaker
from xover.studies.change.decide.criteria import Verdict
from xover.studies.change.decide.option import RULES, DecisionCase, Name, Option, no_option, recommend, would_change
from xover.studies.change.decide.setup import make_bench
from xover.studies.change.decide.words import answer, cannot_know, reasons, rests_on

PER_OCTAVE: Final = 48


@dataclass(frozen=True, eq=False, repr=False)
class Decision(Readable):
    """The four options side by side, and what the rule recommends.

    Attributes
    ----------
    found : network as measured, or None. reference : network of the design, or None.
    rests_on : what the answer rests on that is not measured; empty where all is.
    recommendation : None where every option is out. answer : the same in words.
    reasons : the two strongest. rule : the line of `decide_rule.RULES` that decided.
    would_change : each is the rule gone through again with that changed.
    unknown : what this cannot know. cautions : what to heed with the recommended option.
    design_level_db : (n,) of the design's sum; NaN where it is not known.
    folder, stock : the speaker's folder and the stock list, to go on with.
    """

    title: str
    found: str | None
    reference: str | None
    source: str
    band_hz: tuple[float, float]
    frequency_hz: Float
    rests_on: tuple[str, ...]
    options: Mapping[Name, Option]
    recommendation: Name | None
    answer: str
    reasons: tuple[str, ...]
    rule: str
    would_change: tuple[str, ...]
    unknown: tuple[str, ...]
    cautions: tuple[str, ...]
    warnings: tuple[str, ...]
    design_level_db: Float
    folder: Path = Path()
    stock: Path | None = None

    @property
    def chosen(self) -> Option | None:
        """The recommended option."""
        return None if self.recommendation is None else self.options[self.recommendation]

    @property
    def clean(self) -> bool:
        """Whether there is a recommendation and nothing of it is marginal or fails."""
        bad = (Verdict.MARGINAL, Verdict.FAIL)
        return self.chosen is not None and not any(c.verdict in bad for c in self.chosen.criteria)

    def plain(self) -> dict[str, Any]:
        """The shape that the blueprint fixes, and more."""
        return some_of(
            self,
            "title rests_on recommendation answer reasons rule would_change unknown cautions found reference source "
            "band_hz frequency_hz design_level_db warnings",
            rules=RULES,
            options=[o.plain() for o in self.options.values()],
        )


def study_decide(
    speaker: Speaker,
    catalogue: Catalogue,
    *,
    found: str | None = None,
    original: str | None = None,
    seed: int = 1,
    options: Sequence[str] = tuple(Name),
    most_cost: float | None = None,
    frequency_hz: Float | None = None,
    progress: Callable[[float, str], None] = lambda _done, _words: None,
) -> Decision:
    """Work the options out and hold them against each other; parameters and errors as declared.

    The redesign is a short one: new values for the present circuit, few starts. What is not among `options` gets no
    verdicts.
    """
    if not options:
        raise OptionError("no option is left to look at", f"skip fewer of {', '.join(Name)}")
    case = set_up(
        speaker,
        catalogue,
        found=found,
        original=original,
        seed=seed,
        most_cost=most_cost,
        frequency_hz=frequency_hz,
        progress=progress,
    )
    progress(0.0, "leave")
    worked = {name: work_out(case, name) if name in options else not_asked(case, name) for name in Name}
    progress(1.0, "comparing")
    return hold_against_each_other(case, worked)


def set_up(
    speaker: Speaker,
    catalogue: Catalogue,
    *,
    found: str | None = None,
    original: str | None = None,
    seed: int = 1,
    most_cost: float | None = None,
    frequency_hz: Float | None = None,
    progress: Callable[[float, str], None] = lambda _done, _words: None,
) -> DecisionCase:
    """What all options are worked out from; parameters and errors as for `study_decide`."""
    names = speaker.network_names
    for name in (found, original):
        if name is not None:
            speaker.network(name)  # told at once where there is none
    today = found if found is not None else ("found" if "found" in names else None)
    design = original if original is not None else ("original" if "original" in names else None)
    if today is None and design is None:
        today = speaker.default_network()
    f = log_grid(20.0, 20_000.0, PER_OCTAVE) if frequency_hz is None else frequency_hz
    bench = make_bench(speaker, design, f, seed)
    return DecisionCase(bench, catalogue, today, today or design or "", most_cost, progress)


def work_out(case: DecisionCase, name: Name) -> Option:
    """Work one option out; the options know nothing of each other."""
    # Each option loads a good part of the studies: a process that shares the work loads those of its own.
    from xover.studies.change.decide.options import bypassed, leave, redesigned, refreshed

    makers: dict[Name, Callable[[DecisionCase], Option]] = {
        Name.LEAVE: leave,
        Name.REFRESH: refreshed,
        Name.REDESIGN: redesigned,
        Name.BYPASS: bypassed,
    }
    return makers[name](case)


def not_asked(case: DecisionCase, name: Name) -> Option:
    """An option that is not looked at."""
    return no_option(case.bench, name, "not asked for", asked=False)


def hold_against_each_other(case: DecisionCase, worked: Mapping[Name, Option]) -> Decision:
    """Compare all four options by the rule."""
    bench, speaker = case.bench, case.bench.speaker
    ruling = recommend(worked)
    network = speaker.network(case.present)
    coherent, why = speaker.timing_is_known(network)
    chosen = None if ruling.name is None else worked[ruling.name]
    heard = bench.design is not None and bench.design.total.coherent
    f = bench.frequency_hz
    return Decision(
        title=speaker.title,
        found=case.found,
        reference=bench.reference,
        source=case.catalogue.source,
        band_hz=JUDGED_HZ,
        frequency_hz=f,
        rests_on=rests_on(speaker, network.driver_names, case.found, bench.reference),
        options=worked,
        recommendation=ruling.name,
        answer=answer(ruling.name),
        reasons=tuple(r for r in reasons(worked, ruling) if r),
        rule=RULES[ruling.rule],
        would_change=would_change(worked, ruling),
        unknown=cannot_know(speaker, worked, network.driver_names, coherent, why),
        cautions=() if chosen is None else chosen.cautions,
        warnings=tuple(dict.fromkeys(n for d in network.driver_names for n in speaker.drivers[d].notes)),
        design_level_db=bench.design.total.level_db if bench.design is not None and heard else np.full(f.shape, np.nan),
        folder=speaker.file.folder,
        stock=None if case.catalogue.stock is None else case.catalogue.stock.path,
    )
