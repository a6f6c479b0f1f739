"""The best set of parts that exist: exchanges of one and of two parts until none betters the answer.

Each exchange of two is tried with every value of both lists at once: the closed form of the network in those two
values makes a candidate cost a few microseconds for each hundred frequencies.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from xover.curve import Float
from xover.network import Capacitor, Inductor, Network, Part, Resistor
from xover.studies.change.redesign.design import Design
from xover.studies.change.redesign.lists import AS_FITTED, PartList
from xover.studies.change.redesign.score import least_score, score
from xover.studies.change.redesign.stopped import StoppedError
from xover.studies.change.refresh.choice import new_part

# (k,) indices into a part's list.
Places = NDArray[np.integer[Any]]
# Smaller gains are rounding.
_GAIN: Final = 1e-9
_MOST_ROUNDS: Final = 200


@dataclass(frozen=True, eq=False)
class Chosen:
    """An answer in parts that exist.

    Attributes
    ----------
    index : place in each part's list.
    merit : score plus what the parts' price counts; smaller is better.
    proved : whether no exchange of one part, nor of two, by any values of their lists betters it.
    """

    index: Mapping[str, int]
    merit: float
    proved: bool


@dataclass(frozen=True, eq=False)
class Shelf:
    """A design and the lists of its parts.

    Attributes
    ----------
    price_weight : merit for each unit of money.
    """

    design: Design
    lists: Mapping[str, PartList]
    price_weight: float = 0.0

    def network(self, index: Mapping[str, int]) -> Network:
        """The design with the chosen parts in it."""
        return replace(
            self.design.network,
            parts=tuple(self._fitted(p, index) if p.name in index else p for p in self.design.network.parts),
        )

    def _fitted(self, part: Part, index: Mapping[str, int]) -> Part:
        listed, at = self.lists[part.name], index[part.name]
        value = float(listed.value[at])
        loss = {suffix: float(ohm[at]) for suffix, ohm in listed.losses.items()}
        item = listed.items[at]
        said = part.fields if item.maker_code == AS_FITTED else new_part(item).fields
        if isinstance(part, Resistor):
            return replace(part, ohm=value, fields=said)
        if isinstance(part, Inductor):
            return replace(part, henry=value, dcr_ohm=loss.get("_dcr", 0.0), fields=said)
        assert isinstance(part, Capacitor)
        return replace(
            part,
            farad=value,
            esr_ohm=loss.get("_esr", 0.0),
            dissipation_factor=loss.get("_df", 0.0),
            fields=said,
        )

    def price(self, index: Mapping[str, int]) -> float:
        """Of all parts that have a price."""
        return float(sum(np.nan_to_num(self.lists[n].price[i]) for n, i in index.items()))

    def merits(self, index: Mapping[str, int], varied: Mapping[str, Places], below: float = np.inf) -> Float:
        """(k,) merit of the chosen set with some parts exchanged.

        Parameters
        ----------
        varied : (k,) places in the lists of the parts exchanged.
        below : what does not get below this is told as infinite, once a part of its score shows it.
        """
        values: dict[str, Float] = {}
        price = np.full(next(iter(varied.values())).shape, self.price(index))
        for name, places in varied.items():
            listed = self.lists[name]
            values[name] = listed.value[places]
            for suffix, loss in listed.losses.items():
                if np.ptp(loss) > 0 or loss[0] != 0:
                    values[f"{name}{suffix}"] = loss[places]
            price = price + np.nan_to_num(listed.price[places]) - np.nan_to_num(listed.price[index[name]])
        variants = self.design.variants(self.network(index), values)
        cost = self.price_weight * price
        merit = np.full(cost.shape, np.inf)
        some = np.flatnonzero(least_score(self.design.goal, variants.drive) + cost < below)
        if some.size:
            merit[some] = score(self.design.goal, variants.drive[some], variants.load(some)) + cost[some]
        return merit


def improve(
    shelf: Shelf,
    start: Mapping[str, int],
    *,
    pairs: bool = True,
    progress: Callable[[float], None] = lambda _merit: None,
) -> Chosen:
    """Exchange parts, always by what betters most, until nothing does.

    Parameters
    ----------
    pairs : exchanges of two as well; without them the answer is a start for those.
    progress : told the merit after each exchange; may raise KeyboardInterrupt.

    Raises
    ------
    StoppedError : stopped by the user; holds the best so far.
    """
    index = dict(start)
    merit = float(shelf.merits(index, {name: np.array([at]) for name, at in list(index.items())[:1]})[0])
    proved = False
    names = list(index)
    try:
        for _ in range(_MOST_ROUNDS):
            better = _best_single(shelf, index, merit, names)
            if better is None and pairs:
                better = _first_pair(shelf, index, merit, names)
            if better is None:
                proved = pairs
                break
            index, merit = better
            progress(merit)
    except KeyboardInterrupt:
        raise StoppedError(Chosen(index, merit, False)) from None
    return Chosen(index, merit, proved)


def _best_single(
    shelf: Shelf, index: Mapping[str, int], merit: float, names: list[str]
) -> tuple[dict[str, int], float] | None:
    best: tuple[dict[str, int], float] | None = None
    for name in names:
        places = np.arange(shelf.lists[name].value.size)
        merits = shelf.merits(index, {name: places}, best[1] if best is not None else merit)
        at = int(np.argmin(merits))
        if merits[at] < (best[1] if best is not None else merit) - _GAIN:
            best = ({**index, name: at}, float(merits[at]))
    return best


def _first_pair(
    shelf: Shelf, index: Mapping[str, int], merit: float, names: list[str]
) -> tuple[dict[str, int], float] | None:
    """The best exchange of the first pair that has one: waiting for the best of all pairs costs more than it gains."""
    for one, other in combinations(names, 2):
        first, second = np.meshgrid(
            np.arange(shelf.lists[one].value.size), np.arange(shelf.lists[other].value.size), indexing="ij"
        )
        merits = shelf.merits(index, {one: first.ravel(), other: second.ravel()}, merit)
        at = int(np.argmin(merits))
        if merits[at] < merit - _GAIN:
            return {**index, one: int(first.ravel()[at]), other: int(second.ravel()[at])}, float(merits[at])
    return None
