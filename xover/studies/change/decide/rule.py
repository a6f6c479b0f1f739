"""The rule that recommends one of leave, refresh, redesign and bypass, the least intervention first.

An option is out where it is none here or one of its criteria fails. Of the others:

1. leave it, where age has changed the voicing by no more than 0.5 dB (not heard with music) and no part's rating is
   broken, its margin included;
2. refresh, where that brings the voicing back to within 0.5 dB, and its sum deviates by no more than 1 dB more than
   the redesign's; where one of the two is not known, or redesign is out, nothing speaks against the refresh;
3. redesign, where its sum is known and deviates by over 1 dB less than leave's and refresh's, as far as they are not
   out and known, which one at least must be; or where both are out;
4. bypass, where all three are out, speaker.toml has an amplifier channel for each driver, and each allows its load;
5. leave or refresh, whichever is not out and nearer to the design's voicing; one that is known goes before one that is
   not, and leave before refresh: nothing that is known speaks for more;
6. redesign, where it is all that is left;
7. none.

No criterion is weighed against another. All limits stand in `decide_criteria`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from xover.rules.audibility import HARD_DB
from xover.studies.change.decide.criteria import Aspect, Verdict
from xover.studies.change.decide.option import Name, Option

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
