"""The fewest changed parts: one, then two, of those that are fitted now."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import combinations
from typing import Final

import numpy as np

from xover.curve import Float
from xover.network import Network, value_of
from xover.studies.change.redesign.discrete import Chosen, Shelf, improve
from xover.studies.change.redesign.lists import PartList, fixed_item

_WORTH: Final = 0.6
"""Share of what all changes together would gain, at which fewer are enough."""


def least_change(shelf: Shelf, present: Network) -> tuple[Shelf, Chosen] | None:
    """The shelf with what is fitted now on it, and the smallest change that is worth most of all.

    None where no change of one or two parts is better than what is there.
    """
    lists = {name: _with_present(listed, present, name) for name, listed in shelf.lists.items()}
    own = replace(shelf, lists=lists)
    index = {name: listed.value.size - 1 for name, listed in lists.items()}
    names = list(index)
    merit = float(own.merits(index, {names[0]: np.array([index[names[0]]])})[0])
    whole = merit - improve(own, index, pairs=False).merit
    best: tuple[float, Mapping[str, int]] = (merit, index)
    for count in (1, 2):
        for some in combinations(names, count):
            places = np.meshgrid(*(np.arange(lists[n].value.size) for n in some), indexing="ij")
            varied = {n: p.ravel() for n, p in zip(some, places, strict=True)}
            merits = own.merits(index, varied, best[0])
            at = int(np.argmin(merits))
            if merits[at] < best[0] - 1e-9:
                best = (float(merits[at]), {**index, **{n: int(v[at]) for n, v in varied.items()}})
        if merit - best[0] >= _WORTH * whole:
            break
    if best[1] is index:
        return None
    return own, Chosen(best[1], best[0], False)


def _with_present(listed: PartList, present: Network, name: str) -> PartList:
    part = present.part(name)
    item = fixed_item(part)
    losses: dict[str, Float] = {}
    for suffix, loss in listed.losses.items():
        fitted = {
            "_dcr": item.dcr_ohm,
            "_esr": item.esr_ohm,
            "_df": item.dissipation_factor,
        }[suffix]
        losses[suffix] = np.append(loss, fitted or 0.0)
    return replace(
        listed,
        value=np.append(listed.value, value_of(part)),
        losses=losses,
        price=np.append(listed.price, 0.0),
        items=(*listed.items, item),
    )
