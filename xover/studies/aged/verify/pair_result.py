"""What was found between two like speakers, in frozen results."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from xover.curve import Float
from xover.explain.pair_changes import Change
from xover.readable import Readable


@dataclass(frozen=True)
class ChangedValue:
    """One change with its size: the second speaker's over the first's.

    Attributes
    ----------
    factor, low, high : with its 95 % interval; None of what is open, shorted or another driver.
    sound_db : change of the driver's level above its resonance, of a magnet; else None.
    """

    change: Change
    factor: float | None
    low: float | None
    high: float | None
    sound_db: float | None
    words: str

    def plain(self) -> dict[str, Any]:
        """Part, fault and size."""
        return {
            "part": self.change.subject,
            "fault": str(self.change.kind),
            "is_driver": self.change.is_driver,
            "factor": self.factor,
            "low": self.low,
            "high": self.high,
            "sound_db": self.sound_db,
            "words": self.words,
        }


@dataclass(frozen=True)
class Explanation:
    """One or two changes that could explain the difference.

    Attributes
    ----------
    residual : rms relative difference that it leaves. explains : whether that is noise.
    tie : explanations of one number cannot be told apart by the sweeps; 0 stands first. odds_log10 : against the first.
    """

    changes: tuple[ChangedValue, ...]
    residual: float
    explains: bool
    tie: int
    odds_log10: float
    words: str
    next_test: str

    @property
    def is_driver(self) -> bool | None:
        """A driver alone, the network alone (False), or both (None)."""
        kinds = {c.change.is_driver for c in self.changes}
        return kinds.pop() if len(kinds) == 1 else None

    def plain(self) -> dict[str, Any]:
        """As a fault of `verify`, with its changes."""
        return {
            "part": "+".join(c.change.subject for c in self.changes),
            "fault": " and ".join(str(c.change.kind) for c in self.changes),
            "residual": self.residual,
            "changes": self.changes,
            "explains": self.explains,
            "tie": self.tie,
            "odds_log10": self.odds_log10,
            "words": self.words,
            "next_test": self.next_test,
        }


@dataclass(frozen=True, eq=False, repr=False)
class PairStudy(Readable):
    """How the second speaker differs from the first.

    Attributes
    ----------
    agrees : no difference beyond noise and what like parts differ by.
    percent, phase_deg : (n,) second over first, magnitude and phase; None without phase.
    left_percent : (n,) what the first explanation leaves; None where they agree.
    noise : (first, second) relative. first_residual : how well the network's values fit the first sweep.
    hidden : what of the drivers these sweeps would not show, in words.
    """

    title: str
    network: str
    agrees: bool
    headline: str
    frequency_hz: Float
    percent: Float
    phase_deg: Float | None
    left_percent: Float | None
    residual: float
    noise: tuple[float, float]
    first_residual: float
    explanations: tuple[Explanation, ...]
    tried: int
    hidden: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def tied(self) -> tuple[Explanation, ...]:
        """The explanations that stand first together."""
        return tuple(e for e in self.explanations if e.tie == 0)

    def plain(self) -> dict[str, Any]:
        """As `verify`: whether they agree, and the faults that would explain it."""
        return {
            "title": self.title,
            "network": self.network,
            "agrees": self.agrees,
            "headline": self.headline,
            "faults": self.explanations,
            "tried": self.tried,
            "hidden": self.hidden,
            "impedance": {
                "frequency_hz": self.frequency_hz,
                "percent": self.percent,
                "phase_deg": self.phase_deg,
                "left_percent": self.left_percent,
                "residual": self.residual,
                "noise": self.noise,
                "first_residual": self.first_residual,
            },
            "warnings": self.warnings,
        }
