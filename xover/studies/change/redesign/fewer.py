"""Circuits with fewer parts that do as well: parts left out, bridged or made one, and all other values found anew."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from xover.curve import Float
from xover.rules.audibility import REPEATS_DB, UNHEARD_DB
from xover.rules.margins import AS_FLAT_DB, WOOFER_LOSS_DB
from xover.search.descent import descend
from xover.studies.change.redesign.design import Design, Topology, openable
from xover.studies.change.redesign.goal import broken_by, read
from xover.studies.change.redesign.judge import bass_loss_db
from xover.studies.change.redesign.shelf import Best
from xover.studies.change.redesign.structure import Simpler, merged, simpler
from xover.studies.change.redesign.task import Task

_WITHOUT: Final = 5
"""Parts whose place is tried empty, the least needed first."""
SHORT: Final = 8
"""Evaluations that show what a circuit is worth."""


def best_of(shape: Topology, design: Design, values: Float, merit: float) -> Best:
    """A local optimum, its corners fixed where they were found."""
    return Best(shape, design, *design.at_corners(values), merit)


def with_fewer_parts(task: Task, best: Best) -> Iterator[Best]:
    """The fewest parts that are as good as all, and the fewest that are not heard to be worse."""
    steps = [AS_FLAT_DB] if task.brief else [AS_FLAT_DB, UNHEARD_DB]
    now, kept = best, best
    while steps:
        fewer = _one_fewer(task, now, strays(best) + steps[0])
        if fewer is None:
            steps.pop(0)
            if now is not kept:
                yield now
            kept = now
        else:
            now = fewer


def strays(best: Best) -> float:
    """Half the range of the sum; where no one sum is right, what all that is asked for is missed by."""
    drive, load = best.design.solve(best.values[None])
    goal = best.design.goal
    return float(read(goal, drive, load).deviation_db[0]) if goal.has_sum else math.sqrt(best.score)


def _one_fewer(task: Task, now: Best, most_db: float) -> Best | None:
    """The best circuit of one part fewer that strays no farther than that, and is as safe; None where there is none."""
    design, network = now.design, now.network
    joint = merged(network, design.open_parts)
    options = [joint] if joint.moves else list(simpler(network, design.open_parts))
    rough: list[tuple[float, int, Design]] = []
    for number, option in enumerate(options):
        smaller = _smaller(task, now, option)
        if smaller is not None:
            rough.append((float(smaller.scores(smaller.start[None])[0]), number, smaller))
    tried: list[Best] = []
    for _, number, smaller in sorted(rough, key=lambda r: r[:2])[:_WITHOUT]:
        shape = replace(
            now.topology, network=options[number].network, moves=(*now.topology.moves, *options[number].moves)
        )
        optimum = descend(smaller, smaller.settled(smaller.start), SHORT)
        tried.append(Best(shape, smaller, smaller, optimum.values, optimum.score))
    for one in sorted(tried, key=lambda b: b.score)[:2]:
        optimum = descend(one.free, one.values)
        fewer = best_of(one.topology, one.free, optimum.values, optimum.score)
        if strays(fewer) <= most_db and _as_safe(task, fewer, now):
            return fewer
    return None


def _smaller(task: Task, now: Best, option: Simpler) -> Design | None:
    """The design of a simpler circuit, its corners open as they were before."""
    names = openable(option.network)
    if not names:
        return None
    corners = now.design.corners_hz
    if now.design.goal.heard is not None:
        return replace(task.design(option.network), corners_hz=corners)
    return replace(now.free, network=option.network, open_parts=names, corners_hz=corners)


def _as_safe(task: Task, fewer: Best, now: Best) -> bool:
    """Whether a simpler circuit breaks no limit further than the one that it came from, and keeps DC off."""
    worst = [broken_by(b.design.goal, *b.design.solve(b.values[None])) for b in (fewer, now)]
    bass = [bass_loss_db(task.speaker, b.network, task.order[0].names) for b in (fewer, now)]
    if bass[0] > max(WOOFER_LOSS_DB, bass[1] + REPEATS_DB):
        return False
    return all(one <= other for one, other in zip(*worst, strict=True)) and task.keeps_off(fewer.network)
