"""The answer of `bypass`: everything that was found, and its shape in JSON."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from xover.acoustic.crossover import CrossoverReading
from xover.acoustic.level import BandLevel, level_db, phase_deg
from xover.acoustic.summing import AcousticSum
from xover.amplifier.load import LoadLevel
from xover.curve import Complex, Float
from xover.judge.findings import Finding
from xover.plain import some_of
from xover.readable import Readable
from xover.rules.instruments import Instrument
from xover.rules.severity import Severity
from xover.studies.change.bypass.capacitor import ProtectionCapacitor
from xover.studies.change.bypass.channels import BareLoad, Wiring
from xover.studies.change.bypass.crossover import ChannelSetting, Crossover, CrossoverMap, CrossoverSum
from xover.studies.change.bypass.fitness import DriverFitness
from xover.studies.change.bypass.known import BEAR_BANDS, HEARD
from xover.studies.change.bypass.power import ChannelPower, PowerSplit, Trim
from xover.studies.change.bypass.twin import ChannelTwin, Missing, TwinSum


@dataclass(frozen=True)
class BypassFinding:
    """One thing to heed.

    Attributes
    ----------
    about : in a word or two.
    text : one or two sentences, what and what to do. brief : the same in one short sentence; empty where the short
        answer says it anyhow.
    """

    severity: Severity
    about: str
    text: str
    brief: str = ""


@dataclass(frozen=True)
class Gap:
    """What is not known, in few words, and what to do about it."""

    words: str
    remedy: str


@dataclass(frozen=True, eq=False, repr=False)
class BypassChannel(Readable):
    """One amplifier channel and all that concerns it.

    Attributes
    ----------
    wiring : which drivers hang on it, and how. load : what it sees.
    twin : the passive network's twin. missing : what the network did beyond the slopes at hand.
    fitness : of the driver for its part of the band. power, trim : at the listening level.
    capacitor : in series for protection; None on all but the highest channel, or where it cannot be told.
    slope : (n,) complex, electronic slopes at hand, no gain, delay or polarity in them.
    """

    name: str
    wiring: Wiring
    load: BareLoad
    twin: ChannelTwin
    missing: Missing
    fitness: DriverFitness
    power: ChannelPower
    trim: Trim
    capacitor: ProtectionCapacitor | None
    slope: Complex


@dataclass(frozen=True, eq=False, repr=False)
class BypassStudy(Readable):
    """Each driver on its own channel: is it safe, and what does it need?

    Attributes
    ----------
    network : the passive network that is taken out.
    frequency_hz : (n,). band_hz : of all deviations. sample_rate_hz : of the electronic filters.
    crossover : at hand.
    channels : by name, lowest first.
    passive_total, passive, passive_crossovers : the sum behind the network, its deviation, where the ways cross; None
        and empty where a driver's sound is not known.
    twin_sum : behind its twin. reached : behind the crossover at hand, best gain, delay and polarity. better : the same
        with a few peaking bands, where any is worth it: what is proposed. Each None where a driver's sound is not
        known.
    maps : deviation round each corner.
    power : the split as a whole.
    coherent : whether the drivers share a time reference. timing_reason : why.
    evidence : by driver's name.
    instruments : by channel, what its response was got with, of several drivers the worst.
    templates : drivers whose values are a template's, so that nothing of them bears a verdict.
    unknown : what cannot be told, one sentence each. gaps : the same in brief, with what to do.
    lacking : channels without an amplifier in [bypass.channels].
    today : what forbids switching on the speaker as it is.
    findings : the gravest first. verdict : the answer in a sentence.
    remarks : what was said of the data on the way.
    """

    title: str
    network: str
    frequency_hz: Float
    band_hz: tuple[float, float]
    sample_rate_hz: float
    crossover: Crossover
    channels: Mapping[str, BypassChannel]
    passive_total: AcousticSum | None
    passive: BandLevel | None
    passive_crossovers: tuple[CrossoverReading, ...]
    twin_sum: TwinSum | None
    reached: CrossoverSum | None
    better: CrossoverSum | None
    maps: tuple[CrossoverMap, ...]
    power: PowerSplit
    coherent: bool
    timing_reason: str
    evidence: Mapping[str, Mapping[str, str]]
    instruments: Mapping[str, Instrument]
    templates: tuple[str, ...]
    unknown: tuple[str, ...]
    gaps: tuple[Gap, ...]
    lacking: tuple[str, ...]
    today: tuple[Finding, ...]
    findings: tuple[BypassFinding, ...]
    verdict: str
    remarks: tuple[str, ...]

    @property
    def stops(self) -> tuple[BypassFinding, ...]:
        """The findings that forbid switching on."""
        return tuple(f for f in self.findings if f.severity is Severity.STOP)

    @property
    def loads_broken(self) -> tuple[str, ...]:
        """Channels whose load lies below their amplifier's rating."""
        return tuple(n for n, c in self.channels.items() if c.load.verdict.limit_broken)

    @property
    def unbroken(self) -> bool:
        """Whether nothing forbids switching on and no load lies below a rating."""
        return not (self.stops or self.loads_broken)

    @property
    def settings(self) -> Mapping[str, ChannelSetting]:
        """What is proposed for each channel; without the sound, the gain that the old network left it."""
        if self.better is not None:
            return self.better.settings
        gains = {n: c.missing.gain_db for n, c in self.channels.items()}
        top = max((gain for gain in gains.values() if not math.isnan(gain)), default=math.nan)
        return {n: ChannelSetting(gain - top, math.nan, 1) for n, gain in gains.items()}

    @property
    def bears_bands(self) -> Mapping[str, bool]:
        """By channel, whether its response is known well enough to be corrected by bands."""
        return {n: i in BEAR_BANDS for n, i in self.instruments.items()}

    @property
    def heard(self) -> bool:
        """Whether the sum rests on something that was heard."""
        return all(i in HEARD for i in self.instruments.values())

    @property
    def delay_s(self) -> float:
        """The longest delay that is proposed; NaN where delays are not known."""
        return max(s.delay_s for s in self.settings.values()) if self.heard else math.nan

    @property
    def bands(self) -> int:
        """The most bands that are proposed for one channel."""
        return max(len(s.bands) for s in self.settings.values())

    def plain(self) -> dict[str, Any]:
        """The shape that the blueprint fixes, with more keys beside."""
        return some_of(
            self,
            "title network verdict unknown findings sample_rate_hz frequency_hz band_hz maps evidence templates",
            response_instruments=self.instruments,
            stops=self.today,
            warnings=self.remarks,
            needs={
                "channels": len(self.channels),
                "delay_s": self.delay_s,
                "bands": self.bands,
                "lacking": self.lacking,
            },
            channels={name: self._channel(c) for name, c in self.channels.items()},
            crossover={
                "frequency_hz": self.crossover.corners_hz,
                "slope": self.crossover.slope.name,
                "source": self.crossover.source,
                "assumed": self.crossover.assumed,
            },
            sums={
                "passive": _sum(self.passive_total, self.passive),
                "twin": _twin(self.twin_sum),
                "crossover": self.reached,
                "better": self.better,
            },
            listening=some_of(
                self.power,
                "level_db distance_m headroom_db sensitivity_db reference_v reason swapped_w swapped_peak_w",
            ),
            timing={"coherent": self.coherent, "reason": self.timing_reason},
        )

    def _channel(self, c: BypassChannel) -> dict[str, Any]:
        reading, level = c.load.reading, c.load.verdict.level
        return some_of(
            c,
            "twin missing fitness power trim",
            drivers=c.wiring,
            minimum_load_ohm=reading.minimum_ohm,
            at_hz=reading.minimum_at_hz,
            lowest_epdr_ohm=reading.lowest_epdr_ohm,
            lowest_epdr_at_hz=reading.lowest_epdr_at_hz,
            rating_ohm=c.load.verdict.minimum_load_ohm,
            load_verdict=None if level is LoadLevel.UNKNOWN else level,
            protection_capacitor_f=None if c.capacitor is None else c.capacitor.chosen.farad,
            power_w=c.power.power_w,
            crossover=None if self.reached is None else self.reached.settings[c.name],
            better=None if self.better is None else self.better.settings[c.name],
            capacitor=_capacitor(c.capacitor),
            **some_of(c.twin, "gain_db delay_s bands"),
            polarity=c.twin.polarity if c.twin.known else None,
        )


def _sum(total: AcousticSum | None, band: BandLevel | None) -> dict[str, Any] | None:
    if total is None:
        return None
    out: dict[str, Any] = {"band": band, "level_db": total.level_db}
    if not total.coherent:
        out |= {"best_level_db": total.best_level_db, "worst_level_db": total.worst_level_db}
    return out


def _twin(twin: TwinSum | None) -> dict[str, Any] | None:
    if twin is None:
        return None
    worst = {"worst_difference_db": twin.worst_db, "worst_difference_hz": twin.worst_at_hz}
    return {**(_sum(twin.total, twin.band) or {}), **worst}


def _capacitor(capacitor: ProtectionCapacitor | None) -> dict[str, Any] | None:
    if capacitor is None:
        return None
    shown = {f: getattr(capacitor, f) for f in capacitor.__dataclass_fields__ if f != "transfer"}
    shown["transfer"] = {
        "magnitude_db": level_db(capacitor.transfer),
        "phase_deg": phase_deg(capacitor.transfer),
    }
    return shown
