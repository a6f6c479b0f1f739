"""One option of the decision, and what all of them are worked out from."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any

import numpy as np

from xover.curve import Evidence, Float
from xover.network import Network
from xover.parts.catalogue import Catalogue
from xover.plain import some_of
from xover.readable import Readable
from xover.speaker import Speaker
from xover.studies.change.decide import criteria as judge
from xover.studies.change.decide.criteria import Aspect, Criterion, Verdict
from xover.studies.change.decide.setup import Bench


class Name(StrEnum):
    """The options, in the order of intervention."""

    LEAVE = "leave"
    REFRESH = "refresh"
    REDESIGN = "redesign"
    BYPASS = "bypass"


@dataclass(frozen=True, eq=False, repr=False)
class Option(Readable):
    """One option.

    Attributes
    ----------
    why_not : why it is no option here; empty where it is one. asked : False where it was not to be looked at.
    criteria : one for each aspect, in their order.
    level_db : (n,) of its sum; NaN where that is not known.
    what : what it is, in words. cautions : what to heed if it is taken. netlist : what is built; empty for none.
    study : what it was worked out with: the RefreshStudy, the RedesignStudy (the proposal that was chosen comes
        first in it), the BypassStudy; None for leave and where it is no option. Not part of `plain`.
    network : as it was judged; None for bypass and where it is no option. Not part of `plain`.
    """

    name: Name
    why_not: str
    criteria: tuple[Criterion, ...]
    level_db: Float
    what: str = ""
    cautions: tuple[str, ...] = ()
    netlist: str = ""
    asked: bool = True
    study: Any = field(default=None, repr=False)
    network: Network | None = field(default=None, repr=False)

    @property
    def available(self) -> bool:
        """Whether it is an option here at all."""
        return not self.why_not

    def of(self, aspect: Aspect) -> Criterion:
        """The criterion of an aspect."""
        return next(c for c in self.criteria if c.name == aspect)

    def with_verdict(self, aspect: Aspect, verdict: Verdict, value: float | None = None) -> Option:
        """The same with another verdict, to see what would change a recommendation."""
        changed = tuple(
            replace(c, verdict=verdict, value=c.value if value is None else value) if c.name == aspect else c
            for c in self.criteria
        )
        return replace(self, criteria=changed)

    @property
    def failing(self) -> tuple[Criterion, ...]:
        """Criteria that fail."""
        return tuple(c for c in self.criteria if c.verdict is Verdict.FAIL)

    @property
    def marginal(self) -> tuple[Criterion, ...]:
        """Criteria that are marginal."""
        return tuple(c for c in self.criteria if c.verdict is Verdict.MARGINAL)

    def plain(self) -> dict[str, Any]:
        """The shape that the blueprint fixes, and more."""
        return some_of(self, "name available why_not what criteria netlist cautions", sum_level_db=self.level_db)


@dataclass(frozen=True, eq=False)
class Case:
    """What the options are worked out from.

    Attributes
    ----------
    found : network that is there as measured, or None. present : it, else the design as marked.
    """

    bench: Bench
    catalogue: Catalogue
    found: str | None
    present: str
    most_cost: float | None
    progress: Callable[[float, str], None]

    @property
    def speaker(self) -> Speaker:
        """The speaker."""
        return self.bench.speaker


def no_option(bench: Bench, name: Name, why: str, *, asked: bool = True) -> Option:
    """An option that is none here, every criterion without a verdict."""
    nothing = np.full(bench.frequency_hz.shape, np.nan)
    return Option(name, why, tuple(judge.unknown(a, why) for a in Aspect), nothing, asked=asked)


def all_criteria(of: str, read: Mapping[Aspect, Criterion], *more: Criterion) -> tuple[Criterion, ...]:
    """All criteria of an option in the order of the aspects; `of` names what their figures are of."""
    found = {**read, **{c.name: c for c in more}}
    return tuple(replace(found[a], of=of) for a in Aspect)


def evidence_of(speaker: Speaker, names: Sequence[str], measured: bool, parts: bool) -> Criterion:
    """What an option rests on: impedances, responses and, where old parts count, their values."""
    kinds: list[Evidence | None] = []
    notes = []
    for name in names:
        driver = speaker.drivers[name]
        response = driver.response_evidence if driver.has_response else None
        kinds += [driver.impedance_evidence, response]
        weak = [
            f"{what} {kind or 'not known'}"
            for what, kind in (("impedance", driver.impedance_evidence), ("response", response))
            if kind is not Evidence.MEASURED
        ]
        if weak:
            notes.append(f"{name}: {', '.join(weak)}")
    if parts and not measured:
        kinds.append(Evidence.ASSUMED)
        notes.append("parts taken as marked")
    return judge.evidence(tuple(kinds), "; ".join(notes))
