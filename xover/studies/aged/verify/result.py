"""What `verify` found, in frozen results."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from xover.curve import Float
from xover.explain.faults import Fault
from xover.readable import Readable


@dataclass(frozen=True, eq=False, repr=False)
class TerminalDifference(Readable):
    """Measured impedance against the prediction.

    Attributes
    ----------
    frequency_hz : (n,) the rows of the sweep that count.
    percent : (n,) of the magnitude, measured over predicted less one; band_percent : (n,) what tolerances and noise
        explain, two standard deviations to either side.
    phase_deg, band_deg : the same of the phase; None where the sweep has none.
    left_percent : (n,) what the fault ranked first leaves; None where the build agrees.
    noise : of the sweep, relative. residual : rms relative difference. worst_percent, worst_at_hz : largest.
    """

    frequency_hz: Float
    percent: Float
    band_percent: Float
    phase_deg: Float | None
    band_deg: Float | None
    left_percent: Float | None
    noise: float
    noise_source: str
    residual: float
    worst_percent: float
    worst_at_hz: float


@dataclass(frozen=True, eq=False, repr=False)
class SoundDifference(Readable):
    """Measured response against the predicted sum, third octaves, level matched.

    Attributes
    ----------
    centre_hz : (b,) nominal. difference_db, band_db : (b,) as for the impedance; left_db : what the first fault leaves.
    offset_db : level taken off. rms_db, worst_db, worst_at_hz : of the difference.
    """

    centre_hz: Float
    difference_db: Float
    band_db: Float
    left_db: Float | None
    offset_db: float
    sigma_db: float
    rms_db: float
    worst_db: float
    worst_at_hz: float


@dataclass(frozen=True)
class RankedFault:
    """A single fault, weighed.

    Attributes
    ----------
    residual : rms relative difference of the impedance that it leaves. sound_db : rms of the third octaves, or None.
    explains : whether what it leaves is noise and every other part keeps within its tolerance.
    tie : faults of one number cannot be told apart by what was measured; 0 stands first.
    odds_log10 : tenfold odds against the fault ranked first, 0 or below.
    value, low, high : fitted value and its 95 % interval, where the value is free.
    needs : what else would have to be off, in words. words, next_test : for the bench.
    """

    fault: Fault
    residual: float
    sound_db: float | None
    explains: bool
    tie: int
    odds_log10: float
    value: float | None
    low: float | None
    high: float | None
    needs: tuple[str, ...]
    words: str
    next_test: str

    def plain(self) -> dict[str, Any]:
        """The shape that the blueprint fixes, and more."""
        return {
            "part": self.fault.part,
            "fault": self.fault.told,
            "residual": self.residual,
            "other": self.fault.other,
            "is_driver": self.fault.is_driver,
            "sound_db": self.sound_db,
            "explains": self.explains,
            "tie": self.tie,
            "odds_log10": self.odds_log10,
            "value": self.value,
            "low": self.low,
            "high": self.high,
            "needs": self.needs,
            "words": self.words,
            "next_test": self.next_test,
        }


@dataclass(frozen=True, eq=False, repr=False)
class VerifyStudy(Readable):
    """Does the build do what was predicted, and if not, which part is to blame?

    Attributes
    ----------
    agrees : within tolerances and noise, and no single fault explains it far better.
    headline : the verdict in a sentence. reasons : why it does not agree, in words.
    faults : most likely first; none where the build agrees.
    tried : how many single faults were tried.
    not_excluded : faults that what was measured would not show, in words.
    """

    title: str
    network: str
    channel: str
    agrees: bool
    headline: str
    reasons: tuple[str, ...]
    terminals: TerminalDifference
    sound: SoundDifference | None
    faults: tuple[RankedFault, ...]
    tried: int
    not_excluded: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def tied(self) -> tuple[RankedFault, ...]:
        """The faults that stand first together."""
        return tuple(f for f in self.faults if f.tie == 0)

    def plain(self) -> dict[str, Any]:
        """The shape that the blueprint fixes, with what else is known."""
        return {
            "title": self.title,
            "network": self.network,
            "channel": self.channel,
            "agrees": self.agrees,
            "headline": self.headline,
            "reasons": self.reasons,
            "faults": self.faults,
            "tried": self.tried,
            "not_excluded": self.not_excluded,
            "impedance": self.terminals,
            "response": self.sound,
            "warnings": self.warnings,
        }
