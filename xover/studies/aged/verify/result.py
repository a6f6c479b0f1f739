"""What a build or a pair was found to be, in frozen results."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from xover.curve import Float
from xover.explain.faults import Fault
from xover.explain.pair_changes import Change
from xover.plain import fields_of
from xover.readable import Readable
from xover.studies.aged.phone.result import Change as HeardChange


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


@dataclass(frozen=True)
class SoundShift:
    """How much later and louder a driver sounds against the first one than their records have it.

    Attributes
    ----------
    delay_doubt_s : standard deviation.
    """

    driver: str
    delay_s: float
    delay_doubt_s: float
    gain_db: float


@dataclass(frozen=True, eq=False, repr=False)
class SoundDifference(Readable):
    """Measured response against the predicted sum, third octaves, level matched.

    Attributes
    ----------
    centre_hz : (b,) nominal. difference_db, band_db : (b,) as for the impedance; left_db : what the first fault leaves.
    offset_db : level taken off. rms_db, worst_db, worst_at_hz : of the difference.
    left_rms_db : what is left with the parts as the impedance has them (or with the first fault), and with the shifts.
    drivers : how much later and louder each driver after the first then is against `first`.
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
    left_rms_db: float
    first: str
    drivers: tuple[SoundShift, ...]


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
    told : in as few words as a table has room for.
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
    told: str

    def plain(self) -> dict[str, Any]:
        """Its fields, the fault in its own words."""
        of = self.fault
        told = {"part": of.part, "fault": of.told, "other": of.other, "is_driver": of.is_driver}
        return told | fields_of(self, fault=None, told=None)


class Verdict(StrEnum):
    """What became of a build."""

    AGREES = "agrees"
    DRIVERS = "drivers or jig"
    ONE_FAULT = "one fault"
    SEVERAL = "several faults"
    RESPONSE = "response"
    """The impedance agrees, the sound does not, and no fault of the network explains it."""


@dataclass(frozen=True, eq=False, repr=False)
class VerifyStudy(Readable):
    """Does the build do what was predicted, and if not, which part is to blame?

    Attributes
    ----------
    sweep : what was swept, in words. verdict : it agrees within tolerances and noise, and no single fault explains it
        far better; or what seems to have become of it.
    headline : the verdict in a sentence. reasons : why it does not agree, in words.
    heard : what a phone heard of the change from another network, beside the prediction; None without levels.
    faults : most likely first; none where the build agrees.
    tried : how many single faults were tried.
    not_excluded : faults that what was measured would not show, in words.
    sweep_shows, response_shows : by part, the share that its value must be off by for each record alone to show it.
    """

    title: str
    network: str
    channel: str
    sweep: str
    verdict: Verdict
    headline: str
    reasons: tuple[str, ...]
    terminals: TerminalDifference
    sound: SoundDifference | None
    heard: HeardChange | None
    faults: tuple[RankedFault, ...]
    tried: int
    not_excluded: tuple[str, ...]
    sweep_shows: dict[str, float]
    response_shows: dict[str, float]
    warnings: tuple[str, ...]

    @property
    def agrees(self) -> bool:
        """Whether the build does what was predicted."""
        return self.verdict is Verdict.AGREES

    @property
    def tied(self) -> tuple[RankedFault, ...]:
        """The faults that stand first together."""
        return tuple(f for f in self.faults if f.tie == 0)

    def plain(self) -> dict[str, Any]:
        """Its fields."""
        shape = fields_of(self, sweep=None, verdict=None, terminals="impedance", sound="response")
        return shape | {"agrees": self.agrees, "verdict": str(self.verdict)}


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
        of = self.change
        return {"part": of.subject, "fault": of.kind, "is_driver": of.is_driver} | fields_of(self, change=None)


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
            **fields_of(self),
        }


@dataclass(frozen=True, eq=False, repr=False)
class PairStudy(Readable):
    """How the second speaker differs from the first.

    Attributes
    ----------
    sweeps : what was swept, in words. agrees : no difference beyond noise and what like parts differ by.
    percent, phase_deg : (n,) second over first, magnitude and phase; None without phase.
    left_percent : (n,) what the first explanation leaves; None where they agree.
    noise : (first, second) relative. first_residual : how well the network's values fit the first sweep.
    hidden : what of the drivers these sweeps would not show, in words.
    """

    title: str
    network: str
    sweeps: tuple[str, str]
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
        curves = ("frequency_hz", "percent", "phase_deg", "left_percent", "residual", "noise", "first_residual")
        shape = fields_of(self, sweeps=None, explanations="faults", **dict.fromkeys(curves))
        return shape | {"impedance": {name: getattr(self, name) for name in curves}}
