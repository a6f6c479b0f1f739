"""The rule: which step is taken, and what stands against the others."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from xover.rules.audibility import HARD_DB
from xover.rules.margins import DEVIATION_DB
from xover.rules.triage import (
    CHEAP,
    FEW_PARTS,
    KEEPS_VOICING,
    SOUND_STEP_DB,
    STEPS,
    VOICING_STEP_DB,
    Rung,
    Wants,
    step_db,
)
from xover.sound.doubt import Known
from xover.studies.change.decide.criteria import Aspect, Verdict
from xover.studies.change.decide.option import Bar, DecisionCase, Option

Options = Mapping[Rung, Option]


class Why(StrEnum):
    """What decided."""

    PLACEHOLDERS = "placeholders"
    FAULTS = "faults"
    UNSAFE = "unsafe"
    ALL_READ_OFF = "all read off"
    NOT_MEASURED = "not measured"
    NOTHING_LEFT = "nothing left"
    BETTER = "better"
    SAFER = "safer"


@dataclass(frozen=True)
class Picked:
    """The step that is taken.

    Attributes
    ----------
    target : what the steps were held against. said : whether the owner asked for it.
    bars : what keeps each step from being taken.
    """

    rung: Rung
    why: Why
    target: Wants
    said: bool
    bars: Mapping[Rung, Bar]


def pick(case: DecisionCase, options: Options) -> Picked:
    """Go through the steps by `rules.triage.RULE`."""
    bars = {name: bar_of(case, option) for name, option in options.items()}
    said = case.wants is not None
    target = case.wants or target_of(case, options, bars)
    rung, why = _rung(case, options, bars, target, said)
    return Picked(rung, why, target, said, bars)


def _rung(
    case: DecisionCase, options: Options, bars: Mapping[Rung, Bar], target: Wants, said: bool
) -> tuple[Rung, Why]:
    if case.faults:
        return Rung.MEND, Why.FAULTS
    if case.unready:
        return Rung.NONE_YET, Why.PLACEHOLDERS
    if not math.isnan(case.all_read_off):
        return Rung.NONE_YET, Why.ALL_READ_OFF
    odd = options.get(Rung.DRIVER)
    if odd is not None and bars[Rung.DRIVER] is Bar.NONE and _is_worth_it(odd.gain(target)):
        return Rung.DRIVER, Why.BETTER
    steps = sorted((options[n] for n in STEPS if n in options and bars[n] is Bar.NONE), key=_rank)
    safe_now = bars.get(Rung.LEAVE) is Bar.NONE
    if safe_now and not (leave_is_known(case, options, target) or _is_read(options, target)):
        return Rung.NONE_YET, Why.NOT_MEASURED
    if safe_now:
        steps = [o for o in steps if o.name is Rung.LEAVE or not math.isnan(o.gain(target).value_db)]
        if target is Wants.VOICING:
            steps = [o for o in steps if o.name in KEEPS_VOICING]
        first, *others = steps
        steps = [first, *(o for o in others if betters(o, first, target, said))]
    else:
        # What makes it safe need not better it, but it may not spoil it.
        steps = [o for o in steps if not (o.gain(Wants.SOUND).value_db < -SOUND_STEP_DB or _is_blind(o))]
    for index, option in enumerate(steps):
        given = option.gain(target).value_db
        if any(given <= before.gain(target).value_db for before in steps[:index]):
            continue  # what was passed over for a better one is not passed over for a worse one
        if not any(betters(later, option, target, said) for later in steps[index + 1 :]):
            if option.name is Rung.LEAVE and not (case.read_off and leave_is_known(case, options, target)):
                # What age has done to its parts, or how even it sounds, nobody knows.
                return Rung.NONE_YET, Why.NOT_MEASURED
            why = Why.NOTHING_LEFT if option.name is Rung.LEAVE else Why.BETTER if safe_now else Why.SAFER
            return option.name, why
    return Rung.MEND, Why.UNSAFE


def _is_blind(option: Option) -> bool:
    """Whether it builds anew for a sum that nobody knows."""
    return option.name in (Rung.REVALUE, Rung.REDESIGN) and math.isnan(option.gain(Wants.SOUND).value_db)


def _is_worth_it(gain: Known) -> bool:
    """Whether an odd driver's remedy brings left and right nearer by what is heard, and known."""
    return gain.sure and gain.value_db > VOICING_STEP_DB


def _rank(option: Option) -> tuple[int, int]:
    """Its place among the steps; what renews worn parts as well comes after renewing them alone."""
    own = STEPS.index(option.name)
    after = STEPS.index(Rung.REFRESH)
    return (max(own, after), 1 + own) if option.renews else (own, 0)


def leave_is_known(case: DecisionCase, options: Options, target: Wants) -> bool:
    """Whether enough is known of what is there to say that nothing is left to be done."""
    leave = options[Rung.LEAVE]
    if target is Wants.VOICING:
        return case.found is not None and not math.isnan(case.aged.value_db)
    return leave.of(Aspect.DEVIATION).known and leave.doubt_db <= DEVIATION_DB


def _is_read(options: Options, target: Wants) -> bool:
    """Whether the sum as it is has a figure, however doubtful: how deep a hole is nobody knows to a decibel, and yet
    that it is filled may be sure."""
    leave = options[Rung.LEAVE]
    return target is Wants.SOUND and leave.of(Aspect.DEVIATION).known and math.isfinite(leave.doubt_db)


def betters(later: Option, option: Option, target: Wants, said: bool) -> bool:
    """Whether a later step gives something that is heard, and known, over an earlier one."""
    more, there = later.gain(target), option.gain(target)
    gain = more.value_db - (0.0 if math.isnan(there.value_db) else there.value_db)
    if target is Wants.VOICING and gain <= HARD_DB and later.parts - option.parts > FEW_PARTS:
        return False
    doubts = (more.uncertainty_db, 0.0 if math.isnan(there.uncertainty_db) else there.uncertainty_db)
    return gain > step_db(later.name, target, said) and all(gain > doubt for doubt in doubts)


def target_of(case: DecisionCase, options: Options, bars: Mapping[Rung, Bar]) -> Wants:
    """What to hold the steps against where nobody says: the old voicing, but where the design itself, as if new and
    with these drivers, is bettered by what is heard."""
    if case.found is None or math.isnan(case.aged.value_db) or options[Rung.LEAVE].danger is not Bar.NONE:
        return Wants.SOUND
    new = options.get(Rung.REFRESH)
    as_new = new.gain(Wants.SOUND).value_db if new is not None else math.nan
    base = max(0.0, as_new) if not math.isnan(as_new) else 0.0
    for name, option in options.items():
        gain = option.gain(Wants.SOUND)
        if name in (Rung.LEAVE, Rung.REFRESH) or bars[name] is not Bar.NONE or math.isnan(gain.value_db):
            continue
        more = gain.value_db - base
        if more > step_db(name, Wants.SOUND, name in CHEAP) and more > gain.uncertainty_db:
            return Wants.SOUND
    return Wants.VOICING


def bar_of(case: DecisionCase, option: Option) -> Bar:
    """What keeps a step from being taken."""
    if not option.available:
        return Bar.NO_OPTION
    if option.danger is not Bar.NONE:
        return option.danger
    if option.name is Rung.BYPASS and option.of(Aspect.CHANNELS).verdict is not Verdict.PASS:
        return Bar.CHANNELS
    if option.parts and math.isfinite(case.most_for_pair):
        if math.isnan(option.cost_for_pair):
            return Bar.PRICE
        if option.cost_for_pair > case.most_for_pair:
            return Bar.MONEY
    return Bar.NONE


def could_better(case: DecisionCase, options: Options, rung: Rung) -> bool:
    """Whether other values, or another circuit, could give over the other steps what is worth it: else they are not
    looked for."""
    picked = pick(case, options)
    if picked.why in (Why.FAULTS, Why.PLACEHOLDERS, Why.ALL_READ_OFF, Why.NOT_MEASURED):
        return False
    if picked.why is Why.UNSAFE:
        return True
    if picked.rung is Rung.DRIVER:
        return False  # a network for a driver that is to go is nobody's
    if picked.said and picked.target is Wants.VOICING:
        return False
    left = options[picked.rung].of(Aspect.DEVIATION)
    return left.known and left.number > step_db(rung, Wants.SOUND, picked.said)


def names_in_order(options: Options) -> Sequence[Rung]:
    """The steps that were looked at, in their order."""
    return [n for n in (Rung.MEND, *STEPS) if n in options]
