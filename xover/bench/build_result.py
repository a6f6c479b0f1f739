"""A build order as a result: steps, sections, and the whole."""

from __future__ import annotations

from dataclasses import dataclass

from xover.bench.dc_checks import DcCheck
from xover.bench.power_up import PowerUpStep
from xover.bench.sweep_checks import SweepCheck
from xover.readable import Readable


@dataclass(frozen=True)
class BuildStep:
    """One thing to solder or to plug in.

    Attributes
    ----------
    parts : their names; empty for a driver. action : what to do. before : what to measure first, or "".
    checks : with the ohmmeter, on everything that is soldered by then. note : where a check cannot tell, or "".
    """

    number: int
    parts: tuple[str, ...]
    action: str
    before: str
    checks: tuple[DcCheck, ...]
    note: str


@dataclass(frozen=True)
class SectionBuild:
    """One section.

    Attributes
    ----------
    number : from 1. name : after its drivers. reason : why in this order.
    sweeps : at the end, with the drivers of the sections so far, then with this section's drivers unplugged.
    """

    number: int
    name: str
    parts: tuple[str, ...]
    drivers: tuple[str, ...]
    reason: str
    steps: tuple[BuildStep, ...]
    sweeps: tuple[SweepCheck, ...]


@dataclass(frozen=True, repr=False)
class BuildOrder(Readable):
    """The whole build.

    Attributes
    ----------
    whole_dc : ohmmeter at the terminals and at every driver, all in place. whole : sweeps of every channel, then with
        each driver unplugged whose absence makes a short. power_up : the first time with an amplifier.
    unknown : what could not be worked out, one sentence each.
    """

    title: str
    sections: tuple[SectionBuild, ...]
    whole_dc: tuple[DcCheck, ...]
    whole: tuple[SweepCheck, ...]
    power_up: tuple[PowerUpStep, ...]
    assumptions: tuple[str, ...]
    unknown: tuple[str, ...]

    @property
    def cautions(self) -> tuple[str, ...]:
        """What the sweeps say to heed, once for each set of unplugged drivers; of the whole network where it tells."""
        found: dict[frozenset[str], str] = {}
        for sweep in (*self.whole, *(s for one in self.sections for s in one.sweeps)):
            if sweep.caution:
                found.setdefault(frozenset(sweep.unplugged), sweep.caution)
        return tuple(found.values())
