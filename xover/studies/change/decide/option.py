"""One option of the decision, and the rule that recommends one of them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any, Final

import numpy as np

from xover.curve import Evidence, Float
from xover.network import Network
from xover.parts.catalogue import Catalogue
from xover.plain import some_of
from xover.readable import Readable
from xover.rules.audibility import HARD_DB, UNHEARD_DB
from xover.speaker import Speaker
from xover.studies.change.decide import criteria as judge
from xover.studies.change.decide.criteria import Aspect, Criterion, Verdict
from xover.studies.change.decide.setup import ReadingSetup


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
class DecisionCase:
    """What the options are worked out from.

    Attributes
    ----------
    found : network that is there as measured, or None. present : it, else the design as marked.
    """

    bench: ReadingSetup
    catalogue: Catalogue
    found: str | None
    present: str
    most_cost: float | None
    progress: Callable[[float, str], None]

    @property
    def speaker(self) -> Speaker:
        """The speaker."""
        return self.bench.speaker


def no_option(bench: ReadingSetup, name: Name, why: str, *, asked: bool = True) -> Option:
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


RULES: Final = (
    "an option is out where it is none here or one of its criteria fails",
    "leave it, where the voicing has moved by no more than 0.5 dB and no part's rating is broken, margin included",
    "else refresh, where it brings the voicing back to within 0.5 dB and its sum deviates by no more than 1 dB more "
    "than the redesign's, as far as both are known",
    "else redesign, where its sum is known and deviates by over 1 dB less than leave's and refresh's, as far as they "
    "are known and not out, or where both are out",
    "else bypass, where the three others are out and speaker.toml has a channel for each driver that allows its load",
    "else leave or refresh, whichever is not out and nearer to the design's voicing, as nothing known speaks for more",
    "else redesign, where it is all that is left",
    "else none",
)


@dataclass(frozen=True)
class Ruling:
    """What the rule says: the option, or None, and the number of the line of `RULES` that decided."""

    name: Name | None
    rule: int


def recommend(options: Mapping[Name, Option]) -> Ruling:
    """Go through the rule."""
    left = {name: o for name, o in options.items() if not is_out(o)}
    if Name.LEAVE in left and _can_stay(left[Name.LEAVE]):
        return Ruling(Name.LEAVE, 1)
    redesign = left.get(Name.REDESIGN)
    if Name.REFRESH in left and _restores(left[Name.REFRESH]) and not _flatter(redesign, left[Name.REFRESH]):
        return Ruling(Name.REFRESH, 2)
    both = [left[n] for n in (Name.LEAVE, Name.REFRESH) if n in left]
    if redesign is not None and redesign.of(Aspect.DEVIATION).known:
        known = [o for o in both if o.of(Aspect.DEVIATION).known]
        if not both or (known and all(_flatter(redesign, o) for o in known)):
            return Ruling(Name.REDESIGN, 3)
    if not both and redesign is None and Name.BYPASS in left and _drives(left[Name.BYPASS]):
        return Ruling(Name.BYPASS, 4)
    if both:
        return Ruling(min(both, key=_moved_db).name, 5)  # the first of equals
    return Ruling(None, 7) if redesign is None else Ruling(Name.REDESIGN, 6)


def is_out(option: Option) -> bool:
    """Whether an option is none here, or fails."""
    return not option.available or bool(option.failing)


def flatter_db(redesign: Option, other: Option) -> float | None:
    """By how much less the redesign's sum deviates; None where one of them has no verdict."""
    mine, its = redesign.of(Aspect.DEVIATION), other.of(Aspect.DEVIATION)
    return its.number - mine.number if mine.known and its.known else None


def _flatter(redesign: Option | None, other: Option) -> bool:
    if redesign is None:
        return False
    gain = flatter_db(redesign, other)
    return gain is not None and gain > HARD_DB


def _can_stay(leave: Option) -> bool:
    return leave.of(Aspect.VOICING).verdict is Verdict.PASS and leave.of(Aspect.RATINGS).verdict is not Verdict.MARGINAL


def _restores(refresh: Option) -> bool:
    return refresh.of(Aspect.VOICING).verdict is Verdict.PASS


def _moved_db(option: Option) -> float:
    change = option.of(Aspect.VOICING)
    return change.number if change.known else math.inf


def _drives(bypass: Option) -> bool:
    return all(bypass.of(a).verdict is Verdict.PASS for a in (Aspect.CHANNELS, Aspect.LOAD, Aspect.STOPS))


Options = Mapping[Name, Option]
MOST_CHANGES: Final = 8
AS_WORDS: Final = {
    Name.LEAVE: "as it is",
    Name.REFRESH: "refreshed",
    Name.REDESIGN: "redesigned",
    Name.BYPASS: "bypassed",
}


def would_change(options: Options, ruling: Ruling) -> tuple[str, ...]:
    """What would change the recommendation: every sentence is the rule gone through again with that changed."""
    said = []
    for words, changed in _suppositions(options):
        other = recommend({**options, **{o.name: o for o in changed}})
        if other.name is not ruling.name:
            said.append(f"if {words}: {other.name or 'none of them'}")
    said += _bypass_beside(options, ruling)
    return tuple(dict.fromkeys(said))[:MOST_CHANGES]


def _suppositions(options: Options) -> Iterator[tuple[str, list[Option]]]:
    leave, fresh, new, bypass = (options[n] for n in Name)
    yield from _suppose_leave(leave)
    if leave.available and not fresh.available and not leave.of(Aspect.VOICING).known:
        like = leave.with_verdict(Aspect.VOICING, Verdict.PASS, 0.0).with_verdict(Aspect.DEVIATION, Verdict.UNKNOWN)
        words = "the design were known (network 'original'), and a refresh brought it back"
        yield words, [replace(like, name=Name.REFRESH)]
    if new.available and (leave.available or fresh.available):
        yield from _suppose_sums(leave, fresh, new)
    for o in options.values():
        covered = o.name is Name.LEAVE and [c.name for c in o.failing] == [Aspect.VOICING]
        if o.available and o.failing and not covered:
            mended = o
            for c in o.failing:
                mended = mended.with_verdict(c.name, Verdict.PASS)
            yield f"{AS_WORDS[o.name]} it did not fail ({', '.join(_mend(c) for c in o.failing)})", [mended]
    for aspect, measure in ((Aspect.LOAD, "load"), (Aspect.RATINGS, "ratings"), (Aspect.TWEETER, "tweeter")):
        open_ = [o for o in (leave, fresh, new) if o.available and o.of(aspect).verdict is Verdict.UNKNOWN]
        if open_:
            yield _SUPPOSE[measure], [o.with_verdict(aspect, Verdict.FAIL) for o in open_]
    if bypass.available and bypass.of(Aspect.CHANNELS).verdict is not Verdict.PASS:
        yield (
            f"you had {bypass.of(Aspect.CHANNELS).figure} of amplifier for it ([bypass.channels])",
            [bypass.with_verdict(Aspect.CHANNELS, Verdict.PASS)],
        )


_SUPPOSE: Final = {
    "load": "you gave minimum_load_ohm, and every network's load lay far below it",
    "ratings": "all ratings were known, and every network had a part far too weak",
    "tweeter": "what reaches the tweeter below its resonance were known, and too much with every network",
}


def _suppose_leave(leave: Option) -> Iterator[tuple[str, list[Option]]]:
    change, rated = leave.of(Aspect.VOICING), leave.of(Aspect.RATINGS)
    still = leave.with_verdict(Aspect.VOICING, Verdict.PASS, min(change.number, UNHEARD_DB) if change.known else 0.0)
    margin = ""
    if rated.verdict is Verdict.MARGINAL:
        still = still.with_verdict(Aspect.RATINGS, Verdict.PASS)
        margin = " and every part's rating had its margin"
    if change.verdict is Verdict.UNKNOWN:
        yield (
            f"the voicing were known to have moved by {UNHEARD_DB:g} dB at most (measure the board, and know the "
            f"design){margin}",
            [still],
        )
    elif change.verdict is not Verdict.PASS:
        yield f"the voicing had moved by {UNHEARD_DB:g} dB at most (it is {change.figure}){margin}", [still]
    else:
        yield (
            f"it drifted on to more than {UNHEARD_DB:g} dB (now {change.figure})",
            [leave.with_verdict(Aspect.VOICING, Verdict.MARGINAL, 2 * UNHEARD_DB)],
        )
        if rated.verdict is Verdict.MARGINAL:
            yield "every part's rating had its margin", [leave.with_verdict(Aspect.RATINGS, Verdict.PASS)]


def _suppose_sums(leave: Option, fresh: Option, new: Option) -> Iterator[tuple[str, list[Option]]]:
    kept = [o for o in (leave, fresh) if o.available]
    nearest = kept[-1]  # the refresh, where it is an option
    gain = flatter_db(new, nearest)
    whose = "the refresh's" if nearest is fresh else "what there is"

    def with_gain(gain_db: float) -> list[Option]:
        base = nearest.of(Aspect.DEVIATION).number if gain is not None else 2.5
        known = [o for o in kept if gain is None or o.of(Aspect.DEVIATION).known]
        return [
            new.with_verdict(Aspect.DEVIATION, Verdict.PASS, base - gain_db),
            *(o.with_verdict(Aspect.DEVIATION, Verdict.PASS, base) for o in known),
        ]

    if gain is None:
        yield (
            f"you measured the responses, timed together, and a redesign's sum came out over {HARD_DB:g} dB flatter",
            with_gain(1.2 * HARD_DB),
        )
    elif gain > HARD_DB:
        yield (
            f"the redesign's sum were flatter than {whose} by {HARD_DB:g} dB at most (it is {gain:.1f} dB)",
            with_gain(HARD_DB),
        )
    else:
        yield (
            f"a wider search (xover redesign) made the sum over {HARD_DB:g} dB flatter than {whose} "
            f"(here {max(gain, 0.0):.1f} dB)",
            with_gain(1.2 * HARD_DB),
        )


def _mend(c: Criterion) -> str:
    if c.name is Aspect.LOAD and not math.isnan(c.number):
        return f"an amplifier that allows {c.figure}"
    return f"{c.name} {c.figure}" + (f", limit {c.limit:g} {c.unit}".rstrip() if isinstance(c.limit, float) else "")


def _bypass_beside(options: Options, ruling: Ruling) -> list[str]:
    """The bypass is an owner's choice before it is a need."""
    bypass = options[Name.BYPASS]
    if ruling.name is Name.BYPASS or not bypass.available or is_out(bypass):
        return []
    sum_ = bypass.of(Aspect.DEVIATION)
    needs = bypass.of(Aspect.CHANNELS)
    have = "are given" if needs.verdict is Verdict.PASS else "are wanted"
    figure = f"its sum would keep within +-{sum_.figure}" if sum_.known else "its sum is not known here"
    return [f"bypass comes up only where no network passes; as a wish of yours: {needs.figure} {have}, {figure}"]
