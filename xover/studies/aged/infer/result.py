"""What an inference tells."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from xover.driver.kramers_kronig import CausalityCheck
from xover.explain.identify import Combination, NextSweep
from xover.explain.sweeps import Noise
from xover.explain.topology import Rival, TopologyTest
from xover.explain.unknowns import Prior
from xover.network.adjoint import ParameterKind
from xover.parts.kinds import PartKind
from xover.plain import fields_of
from xover.readable import Readable


@dataclass(frozen=True)
class Inferred:
    """One number of a part, in SI units; NaN where it is withheld.

    Attributes
    ----------
    kind : ohm, henry, farad, dcr, esr or df.
    value : most plausible. low, high : 95 % interval; 0 and infinite where nothing bounds it.
    marked : as the netlist has it; NaN where it says nothing.
    seen : the sweeps show it by themselves.
    """

    kind: ParameterKind
    value: float
    low: float
    high: float
    marked: float
    seen: bool

    def plain(self) -> dict[str, Any]:
        """Without its kind."""
        return fields_of(self, kind=None)


@dataclass(frozen=True)
class InferredPart:
    """One part. `own` is its value, `losses` its resistance or losses by the key of the netlist: dcr, esr, df."""

    name: str
    kind: PartKind
    own: Inferred
    losses: Mapping[str, Inferred]

    @property
    def drift(self) -> float:
        """Value over marked value, less one."""
        return self.own.value / self.own.marked - 1.0

    @property
    def evidence(self) -> str:
        """As a netlist says it."""
        return "inferred" if self.own.seen else "assumed"

    def plain(self) -> dict[str, Any]:
        """Those of its value, its losses, and more."""
        more = {"drift": self.drift, "kind": self.kind, "evidence": self.evidence, "losses": self.losses}
        return self.own.plain() | more


@dataclass(frozen=True)
class Measurement:
    """What the sweeps say of themselves.

    Attributes
    ----------
    noise : of one row of the first sweep. driver_noise : relative, of the drivers' own sweeps.
    gain, gain_error : of the sweep over the drivers' sweeps, and its standard deviation; NaN where it is not fitted.
    lead_ohm, lead_error_ohm : resistance of the leads; the error is 0 where it was stated.
    rows : that were fitted. band_hz : they reach from and to. outliers_hz : rows that stand apart from the others.
    bounded_rows : those of them where a driver's sweep does not reach; its bound widens their noise.
    causality : of the first sweep.
    moved : what a driver has moved by since its sweep, where that shows, and its standard deviation; both relative,
        by names such as "woofer fs" (fs, Qms, Bl, Re).
    stated_share : largest uncertainty that the first sweep's table states in the band; NaN where it states none. It
        says how sure the jig was, not how much its rows scatter: no row is weighed by it.
    """

    noise: Noise
    driver_noise: Mapping[str, float]
    gain: float
    gain_error: float
    lead_ohm: float
    lead_error_ohm: float
    rows: int
    band_hz: tuple[float, float]
    outliers_hz: tuple[float, ...]
    causality: CausalityCheck
    bounded_rows: int
    moved: Mapping[str, tuple[float, float]]
    stated_share: float = math.nan

    def plain(self) -> dict[str, Any]:
        """Its fields, those of the noise among them."""
        of = self.noise
        noise = {"noise_magnitude": of.magnitude, "noise_phase_rad": of.phase_rad, "noise_source": of.source}
        return noise | fields_of(self, noise=None)


@dataclass(frozen=True)
class Confusion:
    """Numbers that cannot be told apart, in a sentence; `known` is their sum or the like that shows, None for none."""

    names: tuple[str, ...]
    shown: int
    sentence: str
    known: Combination | None


@dataclass(frozen=True, eq=False, repr=False)
class InferStudy(Readable):
    """Part values from sweeps, and what they are worth.

    Attributes
    ----------
    network : name of the network whose topology was used.
    test : of the topology. residual : rms of |dZ/Z| that the fit leaves.
    numbers_given : False where the values are withheld, as the network does not fit.
    next_sweeps : that were not made, the most useful first.
    rivals : neighbours of the topology, best first; empty unless they were tried. tried : how many.
    headline, sentences : the answer, and what to know of it. netlist : with the values; None where withheld.
    """

    title: str
    network: str
    sweeps: tuple[str, ...]
    prior: Prior
    parts: tuple[InferredPart, ...]
    test: TopologyTest
    residual: float
    numbers_given: bool
    measurement: Measurement
    confusions: tuple[Confusion, ...]
    next_sweeps: tuple[NextSweep, ...]
    rivals: tuple[Rival, ...]
    tried: int
    headline: str
    sentences: tuple[str, ...]
    warnings: tuple[str, ...]
    netlist: str | None

    @property
    def topology_fits(self) -> bool:
        """The verdict."""
        return self.test.fits

    def part(self, name: str) -> InferredPart:
        """One part by its name. Raises KeyError."""
        for part in self.parts:
            if part.name == name:
                return part
        raise KeyError(name)

    def plain(self) -> dict[str, Any]:
        """Its fields, parts by name; the test of the topology as the fit that it judges."""
        shape = fields_of(self, test=None, residual=None, confusions="not_told_apart", tried="rivals_tried")
        return shape | {
            "parts": {part.name: part for part in self.parts},
            "topology_fits": self.topology_fits,
            "noise": self.measurement.noise.either,
            "fit": {"residual": self.residual} | fields_of(self.test),
        }


def withheld(of: Inferred) -> Inferred:
    """The same without its numbers."""
    return Inferred(of.kind, math.nan, math.nan, math.nan, of.marked, False)
