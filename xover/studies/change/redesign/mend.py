"""Answers in real parts made fit to be proposed: without idle parts, and within the limits as far as parts allow."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from xover.search.descent import Chosen, improve, merit_of
from xover.studies.change.redesign.judge import Judge
from xover.studies.change.redesign.result import Limit
from xover.studies.change.redesign.shelf import AS_FITTED, Answer
from xover.studies.change.redesign.structure import without_part

_MEND_ROUNDS: Final = 3
_HEAVIER: Final = 10.0
"""What a limit counts more for each time that an answer in real parts still breaks it."""


def usable(judge: Judge, answer: Answer) -> Answer:
    """Without parts that do nothing, and within the limits as far as other parts of the lists bring it there."""
    for _ in range(_MEND_ROUNDS):
        mended = _mended(judge, answer)
        lean = _lean(judge, mended or answer)
        if mended is None and lean is answer:
            break
        answer = lean
    return answer


def _lean(judge: Judge, answer: Answer) -> Answer:
    """Without each part that does nothing for the goal."""
    while True:
        shelf, index = answer.shelf, answer.chosen.index
        idle = judge.idle_part(shelf.network(index), tuple(index))
        if idle is None:
            return answer
        gone = {m.part for m in idle.moves}
        design, best = shelf.design, answer.best
        for move in idle.moves[:1]:
            smaller = without_part(design.network, move.part, move.kind)
            assert smaller is not None
            design = replace(design, network=smaller.network)
        design = replace(design, open_parts=tuple(n for n in design.open_parts if n not in gone))
        shelf = replace(shelf, design=design, lists={n: one for n, one in shelf.lists.items() if n not in gone})
        shape = replace(best.topology, network=design.network, moves=(*best.topology.moves, *idle.moves))
        left = {n: at for n, at in index.items() if n not in gone}
        stays = any(shelf.lists[n].items[at].maker_code == AS_FITTED for n, at in left.items())
        # What stays as it is fitted was the point of that answer.
        chosen = Chosen(left, merit_of(shelf, left), False) if stays else improve(shelf, left, pairs=False)
        answer = Answer(replace(best, topology=shape, design=design), shelf, chosen)


def _mended(judge: Judge, answer: Answer) -> Answer | None:
    """With limits that count more, or stronger parts, where a limit is broken; None where that is of no use."""
    network = answer.network
    strength = judge.strength(network)
    if not strength.breaks and not strength.weak:
        return None
    shelf, index, goal = answer.shelf, answer.chosen.index, answer.shelf.design.goal
    if not set(strength.breaks) - {Limit.RATING}:
        # Only what is overloaded is exchanged: all else may stay as it is fitted.
        found = {n: shelf.lists[n].stronger(index[n]) for n in strength.weak if n in index}
        lists = {n: one for n, one in found.items() if one is not None}
        if not lists:
            return None
        own = replace(shelf, design=replace(shelf.design, network=network), lists=lists)
        better = improve(own, {n: one.nearest(float(shelf.lists[n].value[index[n]])) for n, one in lists.items()})
        chosen = Chosen({**index, **better.index}, better.merit, False)
        return Answer(answer.best, replace(shelf, lists={**shelf.lists, **lists}), chosen)
    if Limit.BASS in strength.breaks:
        lighter = {n: shelf.lists[n].lighter(index[n]) for n in judge.bass_coils(network) if n in index}
        shelf = replace(shelf, lists={n: lighter.get(n) or one for n, one in shelf.lists.items()})
    counts = {n: w * (_HEAVIER if n in ("load", "below_resonance") else 1.0) for n, w in goal.weights.items()}
    shelf = replace(shelf, design=replace(shelf.design, goal=replace(goal, weights=counts)))
    start = {n: shelf.lists[n].nearest(float(answer.shelf.lists[n].value[at])) for n, at in index.items()}
    mended = Answer(answer.best, shelf, improve(shelf, start, pairs=False))
    return None if mended.network.parts == network.parts else mended
