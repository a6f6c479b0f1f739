"""Answers that are best at something else than the goal as a whole."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from xover.network import Network, solve
from xover.parts.catalogue import Catalogue
from xover.search.exchange import Chosen, improve, least_change
from xover.studies.change.redesign.design import PRESENT
from xover.studies.change.redesign.shelf import Answer, Shelf


def pick(
    reference: Network, catalogue: Catalogue, answers: Sequence[Answer], stopped: bool
) -> list[tuple[str, Answer]]:
    """Name answers by what they are best at, and search for those that are best at something else."""
    flattest = min(answers, key=lambda a: a.chosen.merit)
    out = [("flattest" if flattest.best.design.goal.has_sum else "nearest slopes", flattest)]
    present = next((a for a in answers if a.best.topology.name == PRESENT), None)
    if stopped:
        return out + [(a.best.topology.name, a) for a in answers if a is not flattest]
    if present is not None and not present.best.topology.reversed:
        own = present.shelf.with_fitted(reference)
        change = least_change(own, own.fitted)
        if change is not None:
            out.append(("least change", Answer(present.best, own, change)))
    out.append(("easiest load", _easiest_load(flattest)))
    cheap = _cheapest(answers, flattest, catalogue)
    if cheap is not None:
        out.append(("cheapest", cheap))
    if present is not None and present is not flattest:
        out.append(("present circuit", present))
    return out


def _easiest_load(flattest: Answer) -> Answer:
    """The flattest one pressed to a load a third higher than it has."""
    design = flattest.best.design
    network = flattest.network
    solution = solve(network, design.goal.frequency_hz, design.goal.driver_ohm)
    load = solution.impedance_ohm[network.channels[0].name]
    lowest = float(np.nanmin(np.abs(load)))
    goal = replace(design.goal, least_ohm=1.33 * lowest, least_epdr_ohm=math.nan)
    shelf = replace(flattest.shelf, design=replace(design, goal=goal))
    return Answer(flattest.best, shelf, improve(shelf, flattest.chosen.index))


def _cheapest(answers: Sequence[Answer], flattest: Answer, catalogue: Catalogue) -> Answer | None:
    """With prices: all the money counts as much as twice what is left of the score. Without: the fewest parts."""
    if catalogue.priced:

        def worth(a: Answer) -> tuple[Shelf, Chosen]:
            price = max(a.shelf.price(a.chosen.index), 1e-9)
            shelf = replace(a.shelf, price_weight=2.0 * max(a.chosen.merit, 0.25) / price)
            return shelf, improve(shelf, a.chosen.index)

        shelf, chosen = worth(flattest)
        return Answer(flattest.best, shelf, chosen)
    fewest = min(answers, key=lambda a: (len(a.best.design.network.parts), a.chosen.merit))
    return fewest if fewest is not flattest else None
