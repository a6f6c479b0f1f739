"""From an opened speaker to a few truly different proposals, each of parts that exist."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import Final

import numpy as np

from xover.curve import Float
from xover.errors import OptionError
from xover.judge.network import dc_drive
from xover.network import Network, solve
from xover.parts.catalogue import Catalogue
from xover.parts.coil_design import dcr_of_air_coil
from xover.pool import each
from xover.rules.audibility import REPEATS_DB, UNHEARD_DB
from xover.rules.margins import AS_FLAT_DB, BARE_SHARE, WOOFER_LOSS_DB
from xover.search.descent import Chosen, StoppedError, descend, find_optima, improve, merit_of
from xover.sound.meeting import WayOfDrivers, present_crossovers, ways
from xover.speaker import Speaker
from xover.studies.change.redesign.alternatives import more_answers
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
from xover.studies.change.redesign.frontier import frontier
from xover.studies.change.redesign.goal import broken_by, read
from xover.studies.change.redesign.judge import Judge, bass_loss_db
from xover.studies.change.redesign.result import Limit, RedesignStudy
from xover.studies.change.redesign.shelf import AS_FITTED, WIRE_MM, Answer, Best, PartList, Shelf, part_lists
from xover.studies.change.redesign.structure import Simpler, merged, simpler, without_part
from xover.studies.change.redesign.wish import Ground, Wish, grid, prepare_goal, slopes_of
from xover.studies.change.redesign.words import headline, redesign_warnings
from xover.studies.change.refresh.places import needed_ratings

STARTS: Final = 4
"""Random starts for each topology and polarity, beside the network's own values."""
MOST_TOPOLOGIES: Final = 3
MORE_PARTS: Final = 4
"""A circuit that is tried unasked has at most so many parts more than the present one."""
_RATING_ROUNDS: Final = 3
_COST_ROUNDS: Final = 8
_CARRIED: Final = 3
"""Optima of a topology that parts are searched from."""
_WITHOUT: Final = 5
"""Parts whose place is tried empty, the least needed first."""
_SAMPLED: Final = 150
"""Random values that show what a circuit is worth."""
_SHORT: Final = 8
"""Evaluations that show whether a circuit can do without a part."""
_MEND_ROUNDS: Final = 3
_HEAVIER: Final = 10.0
"""What a limit counts more for each time that an answer in real parts still breaks it."""
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
    task = replace(make_task(speaker, catalogue, wish, reference, starts=starts, seed=seed), brief=not alternatives)
    shapes = _topologies(task, circuits)
    stopped = False
    bests: list[tuple[Best, ...]] = []
    answers: list[Answer] = []
    try:
        progress(0.0, f"{shapes[0].name}, any value")
        for found in each(partial(continuous, task), shapes, jobs):
            bests.append(found)
            least = min(b.score for some in bests for b in some)
            progress(0.5 * len(bests) / len(shapes), f"best {least:.3g}; {found[0].topology.name}, any value")
        for number, built in enumerate(each(partial(_discrete, task), bests, jobs), 1):
            answers += built
            least = min(a.chosen.merit for a in answers)
            words = f"best {least:.3g}; {built[0].best.topology.name}, parts that exist"
            progress(0.5 + 0.4 * number / len(bests), words)
    except KeyboardInterrupt as stop:
        stopped = True
        unfinished = stop.partial if isinstance(stop, StoppedError) else ()
        bests += [some for some in (unfinished,) if some and isinstance(some[0], Best)]
        answers += [one for one in unfinished if isinstance(one, Answer)]
        if not answers and bests:
            answers = [_rounded(task, some[0]) for some in bests]
    if not answers:
        raise OptionError("the search was stopped before it had found anything", "let it run longer")
    if not stopped:
        progress(0.9, "judging the proposals")
    judge = Judge(speaker, reference, wish, task.corners_hz, grid())
    usable = [_usable(judge, a) for a in answers]
    try:
        if alternatives and not stopped:
            usable += [_usable(judge, a) for a in more_answers(reference, catalogue, answers, usable)]
    except KeyboardInterrupt:
        stopped = True
    before = judge.judged(reference)
    proposals, limit = frontier(judge, before, reference, usable, seed)
    study = RedesignStudy(
        title=speaker.title,
        present=name,
        wish=wish,
        source=catalogue.source,
        frequency_hz=judge.frequency_hz,
        target_db=judge.goal.shape_db,
        before=before,
        proposals=proposals,
        tried=tuple(s.name for s in shapes),
        yield_limit_db=limit,
        seed=seed,
        stopped=stopped,
        suitable=judge.worth_it(before, proposals),
        headline="",
        warnings=(),
    )
    return replace(study, headline=headline(study), warnings=redesign_warnings(study, speaker, judge.goal, reference))


@dataclass(frozen=True, eq=False)
class Task:
    """What every search is told.

    Attributes
    ----------
    order : of the ways, lowest first. corners_hz : where the slopes meet today.
    brief : no more is wanted than the best, and the fewest parts that are as good.
    """

    speaker: Speaker
    catalogue: Catalogue
    wish: Wish
    reference: Network
    order: Sequence[WayOfDrivers]
    corners_hz: tuple[float, ...] | None
    starts: int
    seed: int
    brief: bool = False

    def design(self, network: Network) -> Design:
        """A network with its values open, and its corners where none are named; coils keep their proportions."""
        named = self.wish.crossover_hz
        goal = prepare_goal(
            self.speaker, network.drivers, self.wish, self.reference, named, grid(), network, self.ground
        )
        names = openable(network)
        coils = [c for c in network.coils if c.name in names]
        at = {c.name: (c.henry, c.dcr_ohm or dcr_of_air_coil(c.henry, WIRE_MM * 1e-3)) for c in coils}
        slopes, corners = None, named or ()
        if named is None:
            reach = (goal.magnitude > 0) & (True if goal.heard is None else goal.heard)
            free = slopes_of(self.ground, network.drivers, reach)
            if free is not None:
                slopes = free.around(self.corners_hz, goal.has_sum)
                corners = () if slopes is None else slopes.nearest(self.corners_hz)
        return Design(network, goal, names, at, slopes, tuple(corners))

    def lists(self, design: Design, network: Network, values: Mapping[str, Float] | None = None) -> dict[str, PartList]:
        """Parts that stand what they get in a network, or with other values in it."""
        solution = solve(network, design.goal.frequency_hz, design.goal.driver_ohm, values)
        needed = needed_ratings(self.speaker, solution)
        return part_lists(network, design.open_parts, self.catalogue, needed, self.wish.largest_coil_h)

    @cached_property
    def ground(self) -> Ground:
        """What all goals have in common."""
        return Ground(self.speaker, self.wish, self.reference, grid())

    @cached_property
    def bare(self) -> float:
        """The share of a DC voltage that the highest driver may get: as good as none, or what it gets today."""
        return max(BARE_SHARE, self._direct(self.reference))

    def keeps_off(self, network: Network) -> bool:
        """Whether the highest way's driver is kept from DC, where there are several."""
        return len(self.order) < 2 or self._direct(network) <= self.bare

    def _direct(self, network: Network) -> float:
        shares = dc_drive(self.speaker, network, {})
        return max(shares[d.key] for d in network.drivers if d.driver in self.order[-1].names)


def make_task(
    speaker: Speaker, catalogue: Catalogue, wish: Wish, reference: Network, *, starts: int = STARTS, seed: int = 1
) -> Task:
    """What the searches are told of a speaker. Raises OptionError: the wish does not fit it."""
    order = ways(speaker, reference, grid())
    return Task(speaker, catalogue, wish, reference, order, _corners(speaker, reference, wish, order), starts, seed)


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


def _topologies(task: Task, circuits: Sequence[str]) -> list[Topology]:
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
        best: tuple[float, Design, Float] | None = None
        cloud = SolvedCloud()
        for turned in polarities(shape, order):
            design = task.design(turned.network)
            rng = np.random.default_rng(7)
            tried = design.start * np.exp(0.7 * rng.standard_normal((_SAMPLED, design.start.size)))
            scores = cloud.scores(design, tried)
            at = int(np.argmin(scores))
            if best is None or scores[at] < best[0]:
                best = float(scores[at]), design, tried[at]
        assert best is not None
        worth.append((descend(best[1], best[1].settled(best[2]), _SHORT).score, number))
    ranked = list(dict.fromkeys(number for _, number in sorted(worth)))
    kept = [number for number in ranked if found[number].name != PRESENT][: MOST_TOPOLOGIES - 1]
    first = [number for number in ranked if found[number].name == PRESENT]
    return [found[number] for number in (*first, *kept)]


def continuous(task: Task, shape: Topology) -> tuple[Best, ...]:
    """The best optima of a topology over all polarities, the best first; then what does as well with fewer parts."""
    found: list[Best] = []
    cloud = SolvedCloud()
    try:
        for turned in polarities(shape, task.order):
            design = task.design(turned.network)
            try:
                optima = find_optima(
                    design,
                    [design.start],
                    starts=task.starts,
                    seed=task.seed,
                    scores=partial(cloud.scores, design),
                    settled=design.settled,
                )
            except StoppedError as stop:
                found += [_best(turned, design, o.values, o.score) for o in stop.partial]
                raise
            found += [_best(turned, design, o.values, o.score) for o in optima]
        found.sort(key=lambda b: b.score)
        return (*found[: 1 if task.brief else _CARRIED], *_with_fewer_parts(task, found[0]))
    except KeyboardInterrupt:
        if not found:
            raise
        raise StoppedError(tuple(sorted(found, key=lambda b: b.score))) from None


def _best(shape: Topology, design: Design, values: Float, merit: float) -> Best:
    return Best(shape, design, *design.at_corners(values), merit)


def _with_fewer_parts(task: Task, best: Best) -> Iterator[Best]:
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
        optimum = descend(smaller, smaller.settled(smaller.start), _SHORT)
        tried.append(Best(shape, smaller, smaller, optimum.values, optimum.score))
    for one in sorted(tried, key=lambda b: b.score)[:2]:
        optimum = descend(one.free, one.values)
        fewer = _best(one.topology, one.free, optimum.values, optimum.score)
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


def _discrete(task: Task, bests: tuple[Best, ...]) -> tuple[Answer, ...]:
    """Answers in parts that exist: of the whole circuit the best of several starts, and one of each simpler circuit."""
    done: list[Answer] = []
    whole = [b for b in bests if not b.topology.moves]
    try:
        rough = []
        for best in whole:
            shelf = _shelf(task, best)
            rough.append(Answer(best, shelf, improve(shelf, _nearest(shelf, best.values), pairs=False)))
        starts = [min(rough, key=lambda a: a.chosen.merit)] if rough else []
        for best in bests:
            if best.topology.moves:
                shelf = _shelf(task, best)
                starts.append(Answer(best, shelf, improve(shelf, _nearest(shelf, best.values), pairs=False)))
        for start in starts:
            # In brief, what is as good with fewer parts is looked at closely, what it came from is not.
            pairs = not task.brief or start is starts[-1]
            done.append(_finished(task, start, pairs))
    except StoppedError as stop:
        if not done and isinstance(stop.partial, Chosen):
            done = [Answer(best, shelf, stop.partial)]
        raise StoppedError(tuple(done)) from None
    return tuple(done)


def _finished(task: Task, start: Answer, pairs: bool) -> Answer:
    """Exchanged until nothing betters; within the bound on cost, and of parts that stand what they get."""
    shelf, chosen = start.shelf, improve(start.shelf, start.chosen.index) if pairs else start.chosen
    shelf, chosen = _within_cost(shelf, chosen, task.wish.most_cost)
    for _ in range(_RATING_ROUNDS):
        shelf, chosen, strong = _strengthened(task, shelf, chosen)
        if strong:
            break
    return Answer(start.best, shelf, chosen)


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


def _strengthened(task: Task, shelf: Shelf, chosen: Chosen) -> tuple[Shelf, Chosen, bool]:
    """Whether the chosen parts stand what they get in the chosen network; if not, lists of those that do."""
    lists = task.lists(shelf.design, shelf.network(chosen.index))
    if all(shelf.lists[n].items[at] in lists[n].items for n, at in chosen.index.items()):
        return shelf, chosen, True
    stronger = replace(shelf, lists=lists)
    start = {n: lists[n].nearest(float(shelf.lists[n].value[at])) for n, at in chosen.index.items()}
    return stronger, improve(stronger, start), False


def _rounded(task: Task, best: Best) -> Answer:
    """Stopped early: the nearest parts to the best continuous values."""
    shelf = _shelf(task, best)
    return Answer(best, shelf, improve(shelf, _nearest(shelf, best.values), pairs=False))


def _shelf(task: Task, best: Best) -> Shelf:
    # What the parts must stand is that of the design's own continuous values.
    values = dict(zip(best.design.open_parts, best.values, strict=True))
    return Shelf(best.design, task.lists(best.design, best.design.network, values))


def _usable(judge: Judge, answer: Answer) -> Answer:
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
        chosen = Chosen(left, merit_of(shelf, left), False) if stays else improve(shelf, left)
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
    counts = {n: w * (_HEAVIER if n in ("load", "below_resonance") else 1.0) for n, w in goal.weights.items()}
    shelf = replace(shelf, design=replace(shelf.design, goal=replace(goal, weights=counts)))
    mended = Answer(answer.best, shelf, improve(shelf, index, pairs=False))
    return None if mended.network.parts == network.parts else mended
