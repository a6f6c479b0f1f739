"""From an opened speaker to a few truly different proposals, each of parts that exist."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Final

import numpy as np

from xover.curve import Float
from xover.errors import OptionError
from xover.network import Network, solve, value_of
from xover.parts.catalogue import Catalogue
from xover.parts.coil_design import dcr_of_air_coil
from xover.parts.stock import Bill, make_bill
from xover.pool import each
from xover.search.descent import Chosen, StoppedError, find_optima, improve
from xover.sound.meeting import WayOfDrivers, present_crossovers, ways
from xover.speaker import Speaker
from xover.studies.change.redesign.alternatives import pick
from xover.studies.change.redesign.design import (
    PRESENT,
    Design,
    SolvedCloud,
    Topology,
    fitting,
    openable,
    polarities,
    topology,
)
from xover.studies.change.redesign.goal import score
from xover.studies.change.redesign.judge import Judge, yield_limit
from xover.studies.change.redesign.result import Judged, Proposal, RedesignStudy
from xover.studies.change.redesign.shelf import (
    AS_FITTED,
    WIRE_MM,
    Answer,
    Best,
    PartList,
    Shelf,
    fixed_item,
    part_lists,
)
from xover.studies.change.redesign.wish import CORNER_STEPS, Wish, grid, prepare_goal
from xover.studies.change.redesign.words import headline, redesign_warnings
from xover.studies.change.refresh.places import needed_ratings

STARTS: Final = 4
"""Random starts for each topology, polarity and corner frequency, beside the network's own values."""
MOST_TOPOLOGIES: Final = 3
MORE_PARTS: Final = 4
"""A circuit that is tried unasked has at most so many parts more than the present one."""
_RATING_ROUNDS: Final = 3
_COST_ROUNDS: Final = 8
# Two frequencies tell any two parts apart.
_AT: Final = np.array([1e3, 1e5])
_DISCRETE_FROM: Final = 2
"""Optima of a topology that parts are searched from."""
_FINE: Final = 400


def redesign(
    speaker: Speaker,
    catalogue: Catalogue,
    wish: Wish,
    *,
    present: str | None = None,
    circuits: Sequence[str] = (),
    starts: int = STARTS,
    seed: int = 1,
    jobs: int = 1,
    alternatives: bool = True,
    progress: Callable[[float, str], None] = lambda _done, _words: None,
) -> RedesignStudy:
    """Search for better values, and better networks, in parts that exist; parameters and errors as declared.

    Same speaker, wish and seed, same answer, whatever `jobs`. A KeyboardInterrupt, from `progress` or from the
    keyboard, ends the search with what was found.
    """
    name = present if present is not None else speaker.default_network()
    reference = speaker.network(name)
    wish = _with_limits(speaker, wish)
    f = grid()
    order = ways(speaker, reference, f)
    corners = _corners(speaker, reference, wish, order)
    task = _Task(speaker, catalogue, wish, reference, order, corners, starts, seed)
    shapes = _topologies(task, circuits)
    stopped = False
    bests: list[Best] = []
    answers: list[Answer] = []
    try:
        progress(0.0, f"{shapes[0].name}, any value")
        for best in each(partial(_continuous, task), shapes, jobs):
            bests.append(best)
            least = min(b.optima[0].score for b in bests)
            progress(0.5 * len(bests) / len(shapes), f"best {least:.3g}; {best.topology.name}, any value")
        for answer in each(partial(_discrete, task), bests, jobs):
            answers.append(answer)
            least = min(a.chosen.merit for a in answers)
            words = f"best {least:.3g}; {answer.best.topology.name}, parts that exist"
            progress(0.5 + 0.4 * len(answers) / len(bests), words)
    except KeyboardInterrupt as stop:
        stopped = True
        unfinished = stop.partial if isinstance(stop, StoppedError) else None
        if isinstance(unfinished, Best):
            bests.append(unfinished)
        elif isinstance(unfinished, Answer):
            answers.append(unfinished)
        if not answers and bests:
            answers = [_rounded(task, best) for best in bests]
    if not answers:
        raise OptionError("the search was stopped before it had found anything", "let it run longer")
    if not stopped:
        progress(0.9, "judging the proposals")
    judge = Judge(speaker, reference, wish, corners, f)
    before = judge.judged(reference)
    try:
        picked = pick(reference, catalogue, answers, stopped or not alternatives)
    except KeyboardInterrupt:
        stopped = True
        picked = pick(reference, catalogue, answers, True)
    limit = yield_limit(judge, picked)
    proposals = [_proposal(judge, kind, answer, before, reference, limit, seed) for kind, answer in picked]
    proposals = _different(proposals)
    proposals.sort(key=lambda p: (-_known(p.yield_share), p.judged.score))
    study = RedesignStudy(
        title=speaker.title,
        present=name,
        wish=wish,
        source=catalogue.source,
        frequency_hz=judge.frequency_hz,
        target_db=judge.goal.shape_db,
        before=before,
        proposals=tuple(proposals),
        tried=tuple(s.name for s in shapes),
        yield_limit_db=limit,
        seed=seed,
        stopped=stopped,
        suitable=any(p.judged.score < before.score for p in proposals),
        headline="",
        warnings=(),
    )
    return replace(study, headline=headline(study), warnings=redesign_warnings(study, speaker, judge.goal, reference))


@dataclass(frozen=True, eq=False)
class _Task:
    """What every search is told: `order` is that of the ways, `corners_hz` where the slopes meet."""

    speaker: Speaker
    catalogue: Catalogue
    wish: Wish
    reference: Network
    order: Sequence[WayOfDrivers]
    corners_hz: tuple[float, ...] | None
    starts: int
    seed: int

    def design(self, network: Network, corners_hz: tuple[float, ...] | None) -> Design:
        """A network with its values open; coils keep the proportions of those that it has."""
        goal = prepare_goal(self.speaker, network.drivers, self.wish, self.reference, corners_hz, grid())
        names = openable(network)
        coils = [c for c in network.coils if c.name in names]
        at = {c.name: (c.henry, c.dcr_ohm or dcr_of_air_coil(c.henry, WIRE_MM * 1e-3)) for c in coils}
        return Design(network, goal, names, at)

    def lists(self, design: Design, network: Network, values: Mapping[str, Float] | None = None) -> dict[str, PartList]:
        """Parts that stand what they get in a network, or with other values in it."""
        solution = solve(network, design.goal.frequency_hz, design.goal.driver_ohm, values)
        needed = needed_ratings(self.speaker, solution)
        return part_lists(network, design.open_parts, self.catalogue, needed, self.wish.largest_coil_h)


def _known(share: float) -> float:
    return share if math.isfinite(share) else 0.0


def _with_limits(speaker: Speaker, wish: Wish) -> Wish:
    """The amplifier's lowest load, where the wish does not say another."""
    if wish.minimum_load_ohm is not None or speaker.amplifier is None:
        return wish
    return replace(wish, minimum_load_ohm=speaker.amplifier.minimum_load_ohm)


def _corners(
    speaker: Speaker, reference: Network, wish: Wish, order: Sequence[WayOfDrivers]
) -> tuple[float, ...] | None:
    """Corner frequencies of the slopes; None where the drivers do not cross and none were given."""
    if wish.crossover_hz is not None:
        if len(wish.crossover_hz) != len(order) - 1:
            raise OptionError(
                f"{len(order)} ways have {len(order) - 1} crossover frequencies, {len(wish.crossover_hz)} were given",
                "give one for each neighbouring pair, rising",
            )
        return wish.crossover_hz
    found = present_crossovers(speaker, reference, np.geomspace(20.0, 20_000.0, _FINE))
    return found if len(found) == len(order) - 1 and found else None


def _topologies(task: _Task, circuits: Sequence[str]) -> list[Topology]:
    """Those asked for; else the present one and those that some random values of theirs speak for."""
    reference, order, wish = task.reference, task.order, task.wish
    if circuits:
        asked = [topology(name, reference, order) for name in dict.fromkeys(circuits)]
        few = [t for t in asked if wish.most_parts is None or len(t.network.parts) <= wish.most_parts]
        if not few:
            raise OptionError(
                f"none of these circuits has {wish.most_parts} parts or fewer", "allow more parts, or other circuits"
            )
        return few
    most = wish.most_parts if wish.most_parts is not None else len(reference.parts) + MORE_PARTS
    found = fitting(reference, order, most)
    if not found:
        raise OptionError(f"no circuit has {most} parts or fewer", "allow more parts")
    if len(found) <= MOST_TOPOLOGIES:
        return list(found)
    worth: list[tuple[float, int]] = []
    for number, shape in enumerate(found):
        if not openable(shape.network):
            continue
        for turned in polarities(shape, order):
            design = task.design(turned.network, task.corners_hz)
            rng = np.random.default_rng(7)
            tried = design.start * np.exp(0.7 * rng.standard_normal((300, design.start.size)))
            worth.append((float(np.min(score(design.goal, *design.solve(tried)))), number))
    ranked = list(dict.fromkeys(number for _, number in sorted(worth)))
    kept = [number for number in ranked if found[number].name != PRESENT][: MOST_TOPOLOGIES - 1]
    first = [number for number in ranked if found[number].name == PRESENT]
    return [found[number] for number in (*first, *kept)]


def _continuous(task: _Task, shape: Topology) -> Best:
    """The best polarity and corner frequency of a topology, and its optima."""
    best: Best | None = None
    cloud = SolvedCloud()

    def attempt(turned: Topology, at: tuple[float, ...] | None, base: Float | None, count: int) -> Best:
        design = task.design(turned.network, at)
        try:
            bases = [design.start if base is None else base]
            optima = find_optima(design, bases, starts=count, seed=task.seed, scores=partial(cloud.scores, design))
        except StoppedError as stop:
            raise StoppedError(_better(best, Best(turned, design, at or (), stop.partial))) from None
        except KeyboardInterrupt:
            if best is None:
                raise
            raise StoppedError(best) from None
        return Best(turned, design, at or (), optima)

    corners = task.corners_hz
    for turned in polarities(shape, task.order):
        best = _better(best, attempt(turned, corners, None, task.starts))
    assert best is not None
    if corners is not None and task.wish.crossover_hz is None and task.wish.slope is not None:
        from_here = best.optima[0].values
        for step in CORNER_STEPS:
            best = _better(best, attempt(best.topology, tuple(c * step for c in corners), from_here, 1))
    return best


def _better(one: Best | None, other: Best) -> Best:
    return other if one is None or other.optima[0].score < one.optima[0].score else one


def _discrete(task: _Task, best: Best) -> Answer:
    shelf = _shelf(task, best)
    try:
        rough = [improve(shelf, _nearest(shelf, o.values), pairs=False) for o in best.optima[:_DISCRETE_FROM]]
        chosen = improve(shelf, min(rough, key=lambda c: c.merit).index)
        shelf, chosen = _within_cost(shelf, chosen, task.wish.most_cost)
        for _ in range(_RATING_ROUNDS):
            shelf, chosen, strong = _strengthened(task, shelf, chosen)
            if strong:
                break
    except StoppedError as stop:
        raise StoppedError(Answer(best, shelf, stop.partial)) from None
    return Answer(best, shelf, chosen)


def _nearest(shelf: Shelf, values: Float) -> dict[str, int]:
    names = shelf.design.open_parts
    return {n: shelf.lists[n].nearest(float(v)) for n, v in zip(names, values, strict=True)}


def _within_cost(shelf: Shelf, chosen: Chosen, most_cost: float | None) -> tuple[Shelf, Chosen]:
    """Let money count more and more until all parts together cost no more than the bound, or nothing is cheaper."""
    weight = max(chosen.merit, 0.1) / max(shelf.price(chosen.index), 1e-9)
    for _ in range(_COST_ROUNDS):
        if most_cost is None or shelf.price(chosen.index) <= most_cost:
            break
        shelf = replace(shelf, price_weight=weight)
        chosen = improve(shelf, chosen.index)
        weight *= 3.0
    return shelf, chosen


def _strengthened(task: _Task, shelf: Shelf, chosen: Chosen) -> tuple[Shelf, Chosen, bool]:
    """Whether the chosen parts stand what they get in the chosen network; if not, lists of those that do."""
    lists = task.lists(shelf.design, shelf.network(chosen.index))
    if all(shelf.lists[n].items[at] in lists[n].items for n, at in chosen.index.items()):
        return shelf, chosen, True
    stronger = replace(shelf, lists=lists)
    start = {n: lists[n].nearest(float(shelf.lists[n].value[at])) for n, at in chosen.index.items()}
    return stronger, improve(stronger, start), False


def _rounded(task: _Task, best: Best) -> Answer:
    """Stopped early: the nearest parts to the best continuous values."""
    shelf = _shelf(task, best)
    return Answer(best, shelf, improve(shelf, _nearest(shelf, best.optima[0].values), pairs=False))


def _shelf(task: _Task, best: Best) -> Shelf:
    # What the parts must stand is that of the design's own continuous values.
    values = dict(zip(best.design.open_parts, best.optima[0].values, strict=True))
    return Shelf(best.design, task.lists(best.design, best.design.network, values))


def _proposal(
    judge: Judge, kind: str, answer: Answer, before: Judged, reference: Network, limit_db: float, seed: int
) -> Proposal:
    shape, network = answer.best.topology, answer.network
    return judge.proposal(
        kind,
        shape.name,
        network,
        before,
        _bill(answer),
        note="Found by xover redesign; check and measure after building",
        limit_db=limit_db,
        seed=seed,
        changed=_changed(reference, network) if shape.name == PRESENT else (),
        turned=shape.reversed,
        corners_hz=answer.best.crossover_hz,
        proved=answer.chosen.proved,
    )


def _changed(reference: Network, network: Network) -> tuple[str, ...]:
    old = {p.name: p for p in reference.parts}
    return tuple(
        p.name
        for p in network.parts
        if p.name not in old or not np.allclose(p.impedance_ohm(_AT), old[p.name].impedance_ohm(_AT), rtol=1e-9)
    )


def _bill(answer: Answer) -> Bill:
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


def _different(proposals: Sequence[Proposal]) -> list[Proposal]:
    """Drop what is the same network under another name: the first name stays."""
    kept: dict[tuple[tuple[str, float], ...], Proposal] = {}
    for p in proposals:
        key = (("", float(hash((p.circuit, p.reversed)))), *((q.name, value_of(q)) for q in p.network.parts))
        kept.setdefault(key, p)
    return list(kept.values())
