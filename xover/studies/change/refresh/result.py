"""What a refresh tells: the parts, the differences from the design, and the bill."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from xover.curve import Float
from xover.network import Network
from xover.network.cards import netlist_text
from xover.parts.kinds import PartKind
from xover.parts.stock import Bill
from xover.plain import some_of
from xover.readable import Readable
from xover.studies.change.refresh.compare import Difference
from xover.studies.change.refresh.damping import DampingChange


class Policy(StrEnum):
    """Which old parts must go whatever they measure."""

    WORN = "worn"
    """Kinds that wear out: electrolytic and paper capacitors."""
    ALL = "all"
    NEEDED = "needed"
    """None: only what the tolerance asks for."""


@dataclass(frozen=True, eq=False)
class Exchanged:
    """One place of the network: the old part, what stands there afterwards, and why.

    Attributes
    ----------
    part : the old part's name. old, design, fitted : in words; old is None where it was not measured.
    stays : whether the old part remains.
    old_effect_db : largest change of any driver's level, where its drive lies within 20 dB of its highest, if this
        old part alone stays and all else is as in the reference; NaN where it was not measured.
    old_effect_at_hz : where. old_effect_on : driver's key.
    sentence : the verdict.
    """

    part: str
    kind: PartKind
    design: str
    old: str | None
    fitted: str
    stays: bool
    old_effect_db: float
    old_effect_at_hz: float
    old_effect_on: str
    sentence: str


@dataclass(frozen=True, eq=False, repr=False)
class Simple(Readable):
    """The nearest that one series resistor for each capacitor can give; no second, lossy leg anywhere.

    Attributes
    ----------
    fitted : in words, by old part. difference : from the reference.
    """

    network: Network
    fitted: Mapping[str, str]
    difference: Difference
    bill: Bill

    @property
    def netlist(self) -> str:
        """As the text of a netlist."""
        return netlist_text(self.network)


@dataclass(frozen=True, eq=False, repr=False)
class RefreshStudy(Readable):
    """A like-for-like refresh of one network.

    Attributes
    ----------
    found : name of the network as it is, None if there is none. reference : name of the one whose voicing is kept.
    frequency_hz : (n,). band_hz : where the difference counts, as far as the drivers are known.
    refreshed, naive, before : differences from the reference; before is None without `found`.
    network, naive_network : what is built, and what one buys without calculating.
    exchanged : in the order of the reference's cards.
    simple : the same with nothing but series resistors, where `network` has a lossy leg somewhere.
    held : whether the tolerance is kept.
    """

    title: str
    found: str | None
    reference: str
    policy: Policy
    source: str
    tolerance_db: float
    band_hz: tuple[float, float]
    frequency_hz: Float
    refreshed: Difference
    naive: Difference
    before: Difference | None
    network: Network
    naive_network: Network
    exchanged: tuple[Exchanged, ...]
    bill: Bill
    naive_bill: Bill
    simple: Simple | None
    damping: tuple[DampingChange, ...]
    headline: str
    warnings: tuple[str, ...]

    @property
    def held(self) -> bool:
        """Whether every drive stays within the tolerance."""
        return self.refreshed.worst_db <= self.tolerance_db

    @property
    def netlist(self) -> str:
        """The refreshed network as the text of a netlist."""
        return netlist_text(self.network)

    def plain(self) -> dict[str, Any]:
        """The shape that the blueprint fixes, with more under names of its own."""
        return some_of(
            self,
            "title found reference headline netlist tolerance_db band_hz damping source frequency_hz warnings",
            tolerance_held=self.held,
            worst_drive_difference_db=self.refreshed.worst_db,
            worst_drive_at_hz=self.refreshed.at_hz,
            naive_drive_difference_db=self.naive.worst_db,
            naive_netlist=netlist_text(self.naive_network),
            simple_drive_difference_db=None if self.simple is None else self.simple.difference.worst_db,
            simple_netlist=None if self.simple is None else self.simple.netlist,
            simple_cost=None if self.simple is None else self.simple.bill.cost,
            before_drive_difference_db=None if self.before is None else self.before.worst_db,
            bill=self.bill.lines,
            cost=self.bill.cost,
            cost_for_pair=self.bill.cost_for_pair,
            naive_cost=self.naive_bill.cost,
            parts=self.exchanged,
            differences={
                "before": self.before,
                "refreshed": self.refreshed,
                "simple": None if self.simple is None else self.simple.difference,
                "naive": self.naive,
            },
        )
