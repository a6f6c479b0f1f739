"""Which answers are worth showing: the pick first, none that another beats in all, each named by what is true."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from xover.network import Network
from xover.parts.stock import Bill, make_bill
from xover.rules.audibility import REPEATS_DB, UNHEARD_DB
from xover.rules.margins import AS_FLAT_DB, CLEAR_SHARE, YIELD_LEAST_DB, YIELD_SHARE
from xover.studies.change.redesign.design import PRESENT
from xover.studies.change.redesign.judge import Judge, Strength
from xover.studies.change.redesign.result import BestAt, Judged, Proposal
from xover.studies.change.redesign.shelf import AS_FITTED, Answer, fixed_item

MOST_SHOWN: Final = 5
# Two frequencies tell any two parts apart.
_AT: Final = np.array([1e3, 1e5])


@dataclass(frozen=True, eq=False)
class _Candidate:
    """One answer with all that it is weighed by; smaller is better throughout."""

    answer: Answer
    judged: Judged
    strength: Strength
    bill: Bill
    changed: tuple[str, ...]
    strays_db: float
    parts: int
    cost: float
    changes: int
    over: bool

    @property
    def figures(self) -> tuple[float, ...]:
        """What one may be better at than another."""
        return self.strays_db, self.parts, self.cost, -self.judged.lowest_ohm, self.strength.share, self.changes


def frontier(
    judge: Judge, before: Judged, reference: Network, answers: Sequence[Answer], seed: int
) -> tuple[tuple[Proposal, ...], float]:
    """Proposals, the pick first, then by how flat they are; and the deviation that a build must keep.

    The pick has the fewest parts of all that come within 0.2 dB of the flattest, and breaks no limit. What breaks a
    limit is shown only where nothing else was found.
    """
    found = [_candidate(judge, reference, a) for a in answers]
    found = [c for c in found if not c.strength.breaks] or found
    found = [c for c in found if not c.over] or found
    # To mend what is broken now may cost what is not heard.
    most_db = judge.strays_db(before) + (UNHEARD_DB if judge.present_breaks else 0.0)
    better = [c for c in found if c.strays_db < most_db]
    shown = _shown(better or [min(found, key=lambda c: c.strays_db)])
    deviations = [c.judged.deviation_db for c in shown]
    limit = max(YIELD_LEAST_DB, YIELD_SHARE * min(deviations)) if np.isfinite(deviations).all() else math.nan
    names = _names(shown, judge.goal.has_sum)
    return tuple(_proposal(judge, c, held, before, limit, seed) for c, held in zip(shown, names, strict=True)), limit


def _candidate(judge: Judge, reference: Network, answer: Answer) -> _Candidate:
    network, shape = answer.network, answer.best.topology
    judged, bill = judge.judged(network), bill_of(answer)
    changed = changed_parts(reference, network) if shape.name == PRESENT else ()
    wish = judge.wish
    dear = wish.most_cost is not None and not (bill.cost or 0.0) <= wish.most_cost
    large = wish.most_parts is not None and len(network.parts) > wish.most_parts
    own = len(changed) + len(shape.moves) + len(shape.reversed)
    return _Candidate(
        answer=answer,
        judged=judged,
        strength=judge.strength(network),
        bill=bill,
        changed=changed,
        strays_db=judge.strays_db(judged),
        parts=len(network.parts),
        cost=math.inf if bill.cost is None else bill.cost,
        changes=own if shape.name == PRESENT else len(network.parts) + len(reference.parts),
        over=dear or large,
    )


def _shown(found: Sequence[_Candidate]) -> list[_Candidate]:
    """The pick, then those that are clearly better at something; what another beats in everything is left out."""
    kept = [c for c in found if not any(_beats(other, c) for other in found)]
    kept = list({c.figures: c for c in reversed(kept)}.values())
    least = min(c.strays_db for c in kept)
    # Of as few parts, the cheapest.
    pick = min((c for c in kept if c.strays_db <= least + AS_FLAT_DB), key=lambda c: (c.parts, c.cost, c.strays_db))
    shown = [pick]

    def add(one: _Candidate, clearly: bool) -> None:
        if clearly and one not in shown and len(shown) < MOST_SHOWN:
            shown.append(one)

    flattest = min(kept, key=lambda c: c.strays_db)
    add(flattest, True)
    own = min((c for c in kept if c.answer.best.topology.name == PRESENT), key=lambda c: c.strays_db, default=pick)
    add(own, True)
    fewest = min(kept, key=lambda c: (c.parts, c.strays_db))
    add(fewest, fewest.parts < pick.parts)
    cheapest = min(kept, key=lambda c: (c.cost, c.strays_db))
    add(cheapest, cheapest.cost < (1.0 - CLEAR_SHARE) * pick.cost)
    easiest = max(kept, key=lambda c: (c.judged.lowest_ohm, -c.strays_db))
    add(easiest, easiest.judged.lowest_ohm > (1.0 + CLEAR_SHARE) * pick.judged.lowest_ohm)
    least_work = min(kept, key=lambda c: (c.changes, c.strays_db))
    add(least_work, least_work.changes < pick.changes)
    return [pick, *sorted(shown[1:], key=lambda c: c.strays_db)]


def _beats(one: _Candidate, other: _Candidate) -> bool:
    """Whether one is nowhere worse than another, and somewhere better; a tenth of a decibel is not worth a word."""
    (mine, *own), (its, *others) = one.figures, other.figures
    better = mine < its if own == others else mine <= its + REPEATS_DB
    return one is not other and better and all(map(_no_worse, own, others))


def _no_worse(one: float, other: float) -> bool:
    return one <= other or math.isnan(one) or math.isnan(other)


def _names(shown: Sequence[_Candidate], has_sum: bool) -> list[tuple[BestAt, ...]]:
    """What each is best at of those shown; the first of a proposal is its name."""
    measures: list[tuple[BestAt, Callable[[_Candidate], float]]] = [
        (BestAt.FLATTEST if has_sum else BestAt.NEAREST, lambda c: c.strays_db),
        (BestAt.FEWEST_PARTS, lambda c: c.parts),
        (BestAt.CHEAPEST, lambda c: c.cost),
        (BestAt.EASIEST_LOAD, lambda c: -c.judged.lowest_ohm),
        (BestAt.LEAST_CHANGE, lambda c: c.changes),
    ]
    held: list[list[BestAt]] = [[] for _ in shown]
    for label, measure in measures:
        figures = [measure(c) for c in shown]
        if math.isfinite(min(figures)) and (len(shown) == 1 or min(figures) < max(figures)):
            held[int(np.argmin(figures))].append(label)
    own = [n for n, c in enumerate(shown) if c.answer.best.topology.name == PRESENT]
    if own and len(own) < len(shown):
        held[min(own, key=lambda n: shown[n].strays_db)].append(BestAt.PRESENT)
    return [tuple(labels) or (BestAt.BALANCE,) for labels in held]


def _proposal(
    judge: Judge, one: _Candidate, labels: tuple[BestAt, ...], before: Judged, limit_db: float, seed: int
) -> Proposal:
    shape = one.answer.best.topology
    made = judge.proposal(
        str(labels[0]),
        shape.name,
        one.answer.network,
        before,
        one.bill,
        note="Found by xover redesign; check and measure after building",
        limit_db=limit_db,
        seed=seed,
        changed=one.changed,
        turned=shape.reversed,
        corners_hz=one.answer.best.design.corners_hz,
        proved=one.answer.chosen.proved,
    )
    return replace(made, best_at=labels, moves=shape.moves)


def changed_parts(reference: Network, network: Network) -> tuple[str, ...]:
    """Names of parts that differ from what is fitted now."""
    old = {p.name: p for p in reference.parts}
    return tuple(
        p.name
        for p in network.parts
        if p.name not in old or not np.allclose(p.impedance_ohm(_AT), old[p.name].impedance_ohm(_AT), rtol=1e-9)
    )


def bill_of(answer: Answer) -> Bill:
    """What is bought: nothing for parts that stay as fitted."""
    bought = [
        (name, answer.shelf.lists[name].items[at])
        for name, at in answer.chosen.index.items()
        if answer.shelf.lists[name].items[at].maker_code != AS_FITTED
    ]
    if answer.best.topology.name != PRESENT:
        # An autotransformer or a lamp of another circuit is not chosen by value, but must be bought all the same.
        fixed = [p for p in answer.network.parts if p.name not in answer.chosen.index]
        bought += [(p.name, replace(fixed_item(p, None), maker_code="as in the circuit")) for p in fixed]
    return make_bill(bought)
