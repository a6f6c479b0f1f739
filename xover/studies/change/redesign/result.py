"""What a redesign tells."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING, Any

import numpy as np

from xover.curve import Float
from xover.errors import OptionError, named
from xover.figures import written
from xover.network import Network, solve
from xover.network.cards import netlist_text
from xover.parts.stock import Bill
from xover.plain import some_of
from xover.readable import Readable, Warned
from xover.sound.doubt import NOT_KNOWN, Known
from xover.sound.prediction import make_branches
from xover.speaker import Speaker
from xover.studies.change.redesign.structure import Move
from xover.studies.change.redesign.wish import Wish

if TYPE_CHECKING:
    from xover.studies.change.redesign.replacement import ReplacementStudy


class Limit(StrEnum):
    """What a network may not break."""

    LOAD = "the load is below the amplifier's limit"
    TWEETER = "the tweeter gets too much below its resonance"
    RATING = "a part gets more than it is rated for"
    DIRECT = "the tweeter has no capacitor before it"
    BASS = "the woofer plays through a resistance that bends its bass"


class BestAt(StrEnum):
    """What a proposal is best at of all that are shown; its name."""

    FLATTEST = "flattest"
    NEAREST = "nearest slopes"
    FEWEST_PARTS = "fewest parts"
    CHEAPEST = "cheapest"
    EASIEST_LOAD = "easiest load"
    LEAST_CHANGE = "least change"
    PRESENT = "present circuit"
    BALANCE = "balanced"


@dataclass(frozen=True, eq=False, repr=False)
class Judged(Readable):
    """A network judged by the same readings as the others; NaN where the sum is not known.

    Attributes
    ----------
    score : distance from the goal, smaller is better.
    deviation_db : half of the sum's range in the band, target taken off. rms_db : root mean square.
    null_depth_db : of the reversed sum at the crossover, the shallowest where there are several.
    lowest_ohm, lowest_epdr_ohm : of the load. level_db : mean level of the sum in the band.
    level_curve_db : (n,) the sum over frequency.
    """

    score: float
    deviation_db: float
    rms_db: float
    null_depth_db: float
    lowest_ohm: float
    lowest_epdr_ohm: float
    level_db: float
    level_curve_db: Float

    def figures(self, of: str) -> list[str]:
        """Deviation, null, lowest load and EPDR, as every table has them."""
        return [
            written("sum deviation", self.deviation_db, of),
            written("null depth", self.null_depth_db, of),
            written("lowest load", self.lowest_ohm, of),
            written("lowest EPDR", self.lowest_epdr_ohm, of),
        ]


@dataclass(frozen=True, eq=False, repr=False)
class Proposal(Readable):
    """One way to rebuild the network.

    Attributes
    ----------
    name : what it is best at. circuit : its topology.
    changed : names of parts that differ from what is fitted now; empty where the topology is another one.
    yield_share : share of builds within `RedesignStudy.yield_limit_db`; NaN where the sum is not known.
    best_at : all that it is best at of those shown; its name is the first.
    breaks : limits that it breaks. rating_share : highest share of a rating that a part needs; NaN where not known.
    moves : what was taken out of its circuit.
    proved : no exchange of one or of two parts by others of their lists betters its merit.
    better, worse : against the present network, in words.
    """

    name: str
    circuit: str
    reversed: tuple[str, ...]
    crossover_hz: tuple[float, ...]
    network: Network
    judged: Judged
    changed: tuple[str, ...]
    parts: int
    bill: Bill
    yield_share: float
    proved: bool
    better: tuple[str, ...]
    worse: tuple[str, ...]
    best_at: tuple[BestAt, ...] = ()
    breaks: tuple[Limit, ...] = ()
    rating_share: float = math.nan
    moves: tuple[Move, ...] = ()

    @property
    def netlist(self) -> str:
        """As text."""
        return netlist_text(self.network)

    @property
    def bought(self) -> tuple[str, ...]:
        """The parts of the netlist that are bought: all but those that stay as fitted."""
        names = {name for line in self.bill.lines for name in line.names}
        return tuple(p.name for p in self.network.parts if p.name in names)

    @property
    def cost(self) -> float | None:
        """Of the parts to buy; None without prices."""
        return self.bill.cost

    def plain(self) -> dict[str, Any]:
        """The shape that the blueprint fixes, and more."""
        return some_of(
            self,
            "name circuit reversed crossover_hz netlist parts changed cost better worse best_at breaks rating_share",
            left_out=tuple(m.part for m in self.moves),
            deviation_db=self.judged.deviation_db,
            rms_db=self.judged.rms_db,
            null_depth_db=self.judged.null_depth_db,
            minimum_load_ohm=self.judged.lowest_ohm,
            minimum_epdr_ohm=self.judged.lowest_epdr_ohm,
            level_db=self.judged.level_db,
            sum_level_db=self.judged.level_curve_db,
            bill=self.bill.lines,
            exchange_proved=self.proved,
            **{"yield": self.yield_share},
        )


@dataclass(frozen=True, eq=False, repr=False)
class RedesignStudy(Warned):
    """Proposals for a network: first the pick, which breaks no limit and has the fewest parts of those as flat as any.

    Attributes
    ----------
    present : name of the network that is there. before : how it is judged.
    tried : names of the topologies that were searched.
    yield_limit_db : deviation of the sum that a build must keep.
    gain : how much more even the pick's sum is, and how sure; not known of a target that is not flat.
    unsure : drivers whose response no calibrated microphone has measured.
    stopped : the search was cut short; what it had found stands.
    number : of the proposal that is picked, from 1. fitted : the network that is there. replacement : what came of
        other drivers, None where none was exchanged. curves : loads and drivers' own sound, the present network first.
    """

    title: str
    present: str
    wish: Wish
    source: str
    frequency_hz: Float
    target_db: Float
    before: Judged
    proposals: tuple[Proposal, ...]
    tried: tuple[str, ...]
    yield_limit_db: float
    seed: int
    stopped: bool
    suitable: bool
    headline: str
    warnings: tuple[str, ...]
    gain: Known = NOT_KNOWN
    unsure: tuple[str, ...] = ()
    number: int = 1
    fitted: Network | None = None
    replacement: ReplacementStudy | None = None
    curves: tuple[NetworkCurves, ...] = ()

    def picked(
        self, number: int | None, speaker: Speaker, fitted: Network, replacement: ReplacementStudy | None
    ) -> RedesignStudy:
        """The same with one proposal picked: by default the first that keeps the bounds on cost and parts."""
        notes = () if replacement is None else replacement.notes
        if number is None:
            number = next((k for k, p in enumerate(self.proposals, 1) if self.keeps(p)), 1)
        elif number > len(self.proposals):
            notes = (*notes, f"there are {len(self.proposals)} proposals: number {number} is none of them")
        return replace(
            self,
            number=number,
            fitted=fitted,
            replacement=replacement,
            curves=redesign_curves(self, speaker),
            warnings=(*notes, *self.warnings),
        )

    @property
    def choice(self) -> Proposal | None:
        """The proposal that is picked; None where there is none of its number."""
        return self.proposals[self.number - 1] if self.number <= len(self.proposals) else None

    @property
    def netlist(self) -> str:
        """Of the proposal that is picked. Raises OptionError where there is none of its number."""
        if self.choice is None:
            raise OptionError(
                f"{named('pick')} is {self.number}, and there are {len(self.proposals)} proposals; nothing was written",
                "give the number of one of them",
            )
        return self.choice.netlist

    def keeps(self, proposal: Proposal) -> bool:
        """Whether a proposal keeps the bounds on cost and parts."""
        return not self.too_dear(proposal) and not self.too_large(proposal)

    def too_dear(self, proposal: Proposal) -> bool:
        """Whether it costs more than it may."""
        return self.wish.most_cost is not None and not (proposal.cost or 0.0) <= self.wish.most_cost

    def too_large(self, proposal: Proposal) -> bool:
        """Whether it has more parts than it may."""
        return self.wish.most_parts is not None and proposal.parts > self.wish.most_parts

    @property
    def unbroken(self) -> bool:
        """Whether something better was found, and the choice breaks no limit."""
        limit, one = self.wish.minimum_load_ohm, self.choice
        suits = self.replacement is None or self.replacement.suitable is not False
        bears = one is not None and not one.breaks and (limit is None or one.judged.lowest_ohm >= limit)
        return self.suitable and suits and bears and one is not None and self.keeps(one)

    def of(self, proposal: Proposal) -> str:
        """What a proposal's figures are of."""
        return f"{proposal.name} {proposal.circuit} of {len(self.tried)} tried"

    def plain(self) -> dict[str, Any]:
        """The shape that the blueprint fixes, and more."""
        return some_of(
            self,
            "replacement title present headline suitable source before tried wish yield_limit_db seed "
            "stopped frequency_hz target_db warnings",
            proposals=[p.plain() for p in self.proposals],
            gain_db=self.gain.value_db,
            gain_uncertainty_db=self.gain.uncertainty_db,
            picked=None if self.choice is None else self.choice.name,
        )


@dataclass(frozen=True, eq=False, repr=False)
class NetworkCurves(Readable):
    """One network on the frequencies of the study.

    Attributes
    ----------
    name : of the proposal, or of the present network.
    load_ohm : (n,) modulus. driver_level_db : (n,) by key, each driver's own sound.
    """

    name: str
    load_ohm: Float
    driver_level_db: Mapping[str, Float]


def redesign_curves(study: RedesignStudy, speaker: Speaker) -> tuple[NetworkCurves, ...]:
    """The present network first, then the proposals in their order.

    Parameters
    ----------
    speaker : the one that the study was made of.
    """
    networks = [(study.present, speaker.network(study.present))]
    networks += [(p.name, p.network) for p in study.proposals]
    return tuple(_curves(name, network, speaker, study.frequency_hz) for name, network in networks)


def _curves(name: str, network: Network, speaker: Speaker, frequency_hz: Float) -> NetworkCurves:
    solution = solve(network, frequency_hz, speaker.impedances_ohm(network, frequency_hz))
    known, _ = speaker.timing_is_known(network)
    branches = make_branches(speaker, network, solution, known)
    load = np.abs(solution.impedance_ohm[network.channels[0].name])
    return NetworkCurves(name, load, {b.key: b.level_db for b in branches})
