"""From an opened speaker to a few truly different proposals, each of parts that exist."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import Final

import numpy as np

from xover.curve import Float, log_grid
from xover.errors import OptionError, named
from xover.network import Network, solve
from xover.network.tagged_equations import check_products
from xover.parts.catalogue import Catalogue
from xover.pool import each
from xover.quantity import hertz
from xover.rules.bands import LEAST_KNOWN_OF_CHANGE
from xover.rules.instruments import Instrument
from xover.search.descent import Chosen, StoppedError, descend, find_optima, improve
from xover.sound.doubt import NOT_KNOWN, Known, deviation_gain
from xover.sound.prediction import undriven
from xover.speaker import Speaker, SpeakerDriver
from xover.studies.change.redesign.alternatives import least_changed, more_answers
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
from xover.studies.change.redesign.fewer import SHORT, best_of, with_fewer_parts
from xover.studies.change.redesign.frontier import frontier
from xover.studies.change.redesign.judge import Judge
from xover.studies.change.redesign.mend import usable
from xover.studies.change.redesign.result import Proposal, RedesignStudy
from xover.studies.change.redesign.shelf import Answer, Best, Shelf
from xover.studies.change.redesign.task import STARTS, Task, make_task
from xover.studies.change.redesign.wish import Wish, grid, prepare_goal
from xover.studies.change.redesign.words import headline, redesign_warnings

MOST_TOPOLOGIES: Final = 3
MORE_PARTS: Final = 4
"""A circuit that is tried unasked has at most so many parts more than the present one."""
_RATING_ROUNDS: Final = 3
_COST_ROUNDS: Final = 8
_CARRIED: Final = 3
"""Optima of a topology that parts are searched from."""
_SAMPLED: Final = 150
"""Random values that show what a circuit is worth."""


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
    _check_reach(speaker, reference, wish)
    task = make_task(speaker, catalogue, wish, reference, starts=starts, seed=seed, brief=not alternatives)
    if not circuits or PRESENT in circuits:
        _check_size(name, reference)
    shapes = [shape for shape in _topologies(task, circuits) if _feeds(shape.network)]
    if not shapes:
        raise OptionError(f"no voltage reaches a driver in '{name}'", "'xover check' says where the circuit ends")
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
    fit = list(answers)
    try:
        fit = [usable(judge, a) for a in answers]
        if not stopped:
            more = least_changed(reference, answers)
            if alternatives:
                more += more_answers(catalogue, fit)
            fit += [usable(judge, a) for a in more]
    except KeyboardInterrupt:
        stopped = True
    before = judge.judged(reference)
    proposals, limit = frontier(judge, before, reference, fit, seed)
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
        gain=_gain(judge, reference, proposals),
        unsure=tuple(n for n in reference.driver_names if not _is_calibrated(speaker.drivers[n])),
        headline="",
        warnings=(),
    )
    return replace(study, headline=headline(study), warnings=redesign_warnings(study, speaker, judge.goal, reference))


def _check_size(name: str, network: Network) -> None:
    """Raise OptionError, before anything is sought, for a network that lists of parts cannot be tried in."""
    try:
        check_products(network)
    except OptionError:
        raise OptionError(
            f"'{name}' has too many parts in one section to try lists of parts in it",
            f"name the circuits to try by {named('circuits')}; 'xover new --list' shows them",
        ) from None


def _gain(judge: Judge, reference: Network, proposals: Sequence[Proposal]) -> Known:
    """How much more even the pick makes the sum, and how sure; known of a flat target only."""
    if not proposals or not judge.goal.has_sum or np.ptp(judge.goal.shape_db) > 0.0:
        return NOT_KNOWN
    return deviation_gain(judge.speaker, reference, proposals[0].network, judge.frequency_hz)


def _is_calibrated(driver: SpeakerDriver) -> bool:
    return driver.has_response and driver.response_instrument is Instrument.CALIBRATED


def _with_limits(speaker: Speaker, wish: Wish) -> Wish:
    """The amplifier's lowest load, where the wish does not say another."""
    if wish.minimum_load_ohm is not None or speaker.amplifier is None:
        return wish
    return replace(wish, minimum_load_ohm=speaker.amplifier.minimum_load_ohm)


def _feeds(network: Network) -> bool:
    """Whether a voltage reaches any of its drivers."""
    found = solve(network, np.array([1000.0]), dict.fromkeys(network.driver_names, np.array([8.0])))
    return len(undriven(found)) < len(found.drive)


def _check_reach(speaker: Speaker, reference: Network, wish: Wish) -> None:
    """Refuse drivers of which too little is known where they count to design for. Raises OptionError.

    One that lies far below the others where it was not swept counts as silent there, and does no harm.
    """
    f = log_grid(*wish.band_hz, 24)
    if prepare_goal(speaker, reference.drivers, wish, reference, None, grid(), reference).has_sum:
        return
    for name in reference.driver_names:
        driver = speaker.drivers[name]
        curve = driver.impedance
        if curve is None or np.mean(np.isfinite(driver.impedance_ohm(f))) >= LEAST_KNOWN_OF_CHANGE:
            continue
        low, high = (hertz(edge) for edge in wish.band_hz)
        raise OptionError(
            f"the impedance of {name} is known from {hertz(curve.lowest_hz)} to {hertz(curve.highest_hz)} only, less "
            f"than half of {low} to {high}: too little to design for",
            f"sweep it over 20 Hz to 20 kHz, or give a {named('band_hz')} that it reaches",
        )


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
        worth.append((descend(best[1], best[1].settled(best[2]), SHORT).score, number))
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
                found += [best_of(turned, design, o.values, o.score) for o in stop.partial]
                raise
            found += [best_of(turned, design, o.values, o.score) for o in optima]
        found.sort(key=lambda b: b.score)
        return (*found[: 1 if task.brief else _CARRIED], *with_fewer_parts(task, found[0]))
    except KeyboardInterrupt:
        if not found:
            raise
        raise StoppedError(tuple(sorted(found, key=lambda b: b.score))) from None


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
