"""What the searches hand on: a topology's optima, and an answer in parts that exist."""

from __future__ import annotations

from dataclasses import dataclass

from xover.network import Network
from xover.studies.change.redesign.continuous import Optimum
from xover.studies.change.redesign.design import Design
from xover.studies.change.redesign.discrete import Chosen, Shelf
from xover.studies.change.redesign.topologies import Topology


@dataclass(frozen=True, eq=False)
class Best:
    """The best of one topology so far."""

    topology: Topology
    design: Design
    crossover_hz: tuple[float, ...]
    optima: tuple[Optimum, ...]


@dataclass(frozen=True, eq=False)
class Answer:
    """One discrete answer."""

    best: Best
    shelf: Shelf
    chosen: Chosen

    @property
    def network(self) -> Network:
        return self.shelf.network(self.chosen.index)
