"""What a redesign tells."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from xover.curve import Float
from xover.network import Network
from xover.network.netlist_text import netlist_text
from xover.parts.bill import Bill
from xover.readable import Readable
from xover.studies.change.redesign.wish import Wish


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


@dataclass(frozen=True, eq=False, repr=False)
class Proposal(Readable):
    """One way to rebuild the network.

    Attributes
    ----------
    name : what it is best at. circuit : its topology.
    changed : names of parts that differ from what is fitted now; empty where the topology is another one.
    yield_share : share of builds within `RedesignStudy.yield_limit_db`; NaN where the sum is not known.
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

    @property
    def netlist(self) -> str:
        """As text."""
        return netlist_text(self.network)

    @property
    def cost(self) -> float | None:
        """Of the parts to buy; None without prices."""
        return self.bill.cost

    def plain(self) -> dict[str, Any]:
        """The shape that the blueprint fixes, and more."""
        return {
            "name": self.name,
            "circuit": self.circuit,
            "reversed": self.reversed,
            "crossover_hz": self.crossover_hz,
            "netlist": self.netlist,
            "deviation_db": self.judged.deviation_db,
            "rms_db": self.judged.rms_db,
            "null_depth_db": self.judged.null_depth_db,
            "minimum_load_ohm": self.judged.lowest_ohm,
            "minimum_epdr_ohm": self.judged.lowest_epdr_ohm,
            "level_db": self.judged.level_db,
            "parts": self.parts,
            "changed": self.changed,
            "cost": self.cost,
            "bill": self.bill.lines,
            "yield": self.yield_share,
            "exchange_proved": self.proved,
            "better": self.better,
            "worse": self.worse,
            "sum_level_db": self.judged.level_curve_db,
        }


@dataclass(frozen=True, eq=False, repr=False)
class RedesignStudy(Readable):
    """Proposals for a network, the best by yield first.

    Attributes
    ----------
    present : name of the network that is there. before : how it is judged.
    tried : names of the topologies that were searched.
    yield_limit_db : deviation of the sum that a build must keep.
    stopped : the search was cut short; what it had found stands.
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

    def plain(self) -> dict[str, Any]:
        """The shape that the blueprint fixes, and more."""
        return {
            "title": self.title,
            "present": self.present,
            "headline": self.headline,
            "suitable": self.suitable,
            "source": self.source,
            "before": self.before,
            "proposals": [p.plain() for p in self.proposals],
            "tried": self.tried,
            "wish": self.wish,
            "yield_limit_db": self.yield_limit_db,
            "seed": self.seed,
            "stopped": self.stopped,
            "frequency_hz": self.frequency_hz,
            "target_db": self.target_db,
            "warnings": self.warnings,
        }
