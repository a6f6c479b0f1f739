"""Answers that are best at something else than the goal as a whole, and the fewest changes that bring a sum back."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import combinations
from typing import Final

import numpy as np

from xover.network import Network, solve
from xover.parts.catalogue import Catalogue
from xover.parts.stock import make_bill
from xover.rules.margins import NEAR_LIMIT
from xover.search.descent import best_entries, improve, least_change
from xover.sound.meeting import present_crossovers, ways
from xover.speaker import Speaker
from xover.studies.change.redesign.design import PRESENT, Design, openable
from xover.studies.change.redesign.judge import Judge
from xover.studies.change.redesign.result import Judged, Proposal, RedesignStudy
from xover.studies.change.redesign.shelf import Answer, Shelf, part_lists
from xover.studies.change.redesign.wish import Wish, grid, prepare_goal
from xover.studies.change.refresh.places import needed_ratings


def more_answers(catalogue: Catalogue, usable: Sequence[Answer]) -> list[Answer]:
    """Answers that may be best at something else than the goal: the easiest load, the cheapest.

    Parameters
    ----------
    usable : the answers without what they do not need.
    """
    least = min(usable, key=lambda a: a.chosen.merit)
    out = [_easier_load(least)]
    if catalogue.priced:
        out.append(_cheaper(least))
    return out


def least_changed(reference: Network, answers: Sequence[Answer]) -> list[Answer]:
    """The present circuit with one part or two exchanged, where that betters it: one answer, or none."""
    fitted = {p.name for p in reference.parts}
    present = next(
        (
            a
            for a in answers
            if a.best.topology.name == PRESENT and not a.best.topology.moves and set(a.shelf.lists) <= fitted
        ),
        None,
    )
    if present is None or present.best.topology.reversed:
        return []
    own = present.shelf.with_fitted(reference)
    change = least_change(own, own.fitted)
    return [] if change is None else [Answer(present.best, own, change)]


def _easier_load(flat: Answer) -> Answer:
    """The same pressed to a load a third higher than it has."""
    design = flat.best.design
    network = flat.network
    solution = solve(network, design.goal.frequency_hz, design.goal.driver_ohm)
    load = solution.impedance_ohm[network.channels[0].name]
    lowest = float(np.nanmin(np.abs(load)))
    goal = replace(design.goal, least_ohm=1.33 * lowest, least_epdr_ohm=math.nan)
    shelf = replace(flat.shelf, design=replace(design, goal=goal))
    return Answer(flat.best, shelf, improve(shelf, flat.chosen.index))


def _cheaper(flat: Answer) -> Answer:
    """All the money counts as much as twice what is left of the score."""
    shelf, chosen = flat.shelf, flat.chosen
    price = max(shelf.price(chosen.index), 1e-9)
    shelf = replace(shelf, price_weight=2.0 * max(chosen.merit, 0.25) / price)
    return Answer(flat.best, shelf, improve(shelf, chosen.index))


NAME: Final = "fewest changes"
_MOST_LOOKED_AT: Final = 6
"""Sets of as many parts, the best by the search's own measure, that are judged in full."""
_PAIRS_TAKEN_ON: Final = 2
"""Best pairs that a third part is added to."""


def fewest_changes(
    old: Speaker,
    new: Speaker,
    network: Network,
    catalogue: Catalogue,
    study: RedesignStudy,
    before: Judged,
    within_db: float,
) -> Proposal | None:
    """The proposal of the fewest exchanged parts whose sum deviates by no more than `within_db`.

    The load is held to the amplifier's limit, or to what it was with the old driver where that was lower. All values
    of one part and of each pair are tried; a third part is added to the best pairs.

    Parameters
    ----------
    old, new : the speaker with the old and with the new driver.
    network : the present one. before : as judged with the old driver. study : the redesign of `new`.

    Returns
    -------
    None where no three parts do it, or where no one sum is right.
    """
    limit = study.wish.minimum_load_ohm
    wish = replace(study.wish, minimum_load_ohm=None if limit is None else min(limit, before.lowest_ohm))
    shelf = _shelf(old, new, network, catalogue, wish)
    if shelf is None:
        return None
    judge = Judge(new, network, wish, wish.crossover_hz, grid())
    index = shelf.fitted
    for found in _by_count(shelf, index):
        for _, chosen in sorted(found, key=lambda pair: pair[0]):
            names = [name for name, at in chosen.items() if at != index[name]]
            built = shelf.network(chosen)
            proposal = judge.proposal(
                NAME,
                PRESENT,
                # What stays keeps all that its card says.
                replace(network, parts=tuple(built.part(p.name) if p.name in names else p for p in network.parts)),
                study.before,
                make_bill([(name, shelf.lists[name].items[chosen[name]]) for name in names]),
                note="Found by xover redesign for another driver; check, and measure after building",
                limit_db=study.yield_limit_db,
                seed=study.seed,
                changed=names,
            )
            if proposal.judged.deviation_db <= within_db and bears(
                proposal.judged.lowest_ohm, limit, before.lowest_ohm
            ):
                return proposal
    return None


def bears(lowest_ohm: float, limit_ohm: float | None, before_ohm: float) -> bool:
    """The load fits the amplifier, or is no worse than what it drives today."""
    return limit_ohm is None or lowest_ohm >= min(limit_ohm, before_ohm) * (1.0 - NEAR_LIMIT)


_Found = list[tuple[float, Mapping[str, int]]]


def _by_count(shelf: Shelf, index: Mapping[str, int]) -> Iterator[_Found]:
    """The best exchanges of one part, of two, and of three that hold a good two; each with its merit."""
    yield _best_of(shelf, index, ((name,) for name in index))
    pairs = _best_of(shelf, index, combinations(index, 2))
    yield pairs
    triples: _Found = []
    for _, chosen in pairs[:_PAIRS_TAKEN_ON]:
        moved = [name for name, at in chosen.items() if at != index[name]]
        if len(moved) < 2:
            continue
        _, three = _best_of(shelf, chosen, ((name,) for name in index if name not in moved))[0]
        names = [name for name, at in three.items() if at != index[name]]
        # Of the three alone: what else is on the shelf stays as it is fitted.
        design = replace(shelf.design, network=shelf.network(three))
        own = replace(shelf, design=design, lists={n: shelf.lists[n] for n in names})
        better = improve(own, {n: three[n] for n in names})
        triples.append((better.merit, {**three, **better.index}))
    yield triples


def _best_of(shelf: Shelf, index: Mapping[str, int], sets: Iterable[tuple[str, ...]]) -> _Found:
    """The few sets of parts whose exchange betters most, the best first, each at its best values."""
    found: _Found = []
    for names in sets:
        best = best_entries(shelf, index, names, found[-1][0] if len(found) == _MOST_LOOKED_AT else np.inf)
        if np.isfinite(best[0]):
            found = sorted([*found, best], key=lambda pair: pair[0])[:_MOST_LOOKED_AT]
    return found


def _shelf(old: Speaker, new: Speaker, network: Network, catalogue: Catalogue, wish: Wish) -> Shelf | None:
    """What each part may become, what is fitted now last in its list; None where no one sum is right."""
    f = grid()
    corners = wish.crossover_hz or present_crossovers(old, network, f)
    if len(corners) != len(ways(new, network, f)) - 1:
        corners = ()
    goal = prepare_goal(new, network.drivers, wish, network, corners or None, f, network)
    names = openable(network)
    if not goal.has_sum or not names:
        return None
    needed = needed_ratings(new, solve(network, f, goal.driver_ohm))
    lists = part_lists(network, names, catalogue, needed, wish.largest_coil_h)
    return Shelf(Design(network, goal, names, {}), lists).with_fitted(network)
