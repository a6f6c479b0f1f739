"""The impedance that a sweep at the terminals must show at a few telling frequencies, with what parts may spread it."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.amplifier.extremum import Sweep, has_load, with_connected_channels
from xover.bench.words import number, ohm_range
from xover.curve import Evidence, Float
from xover.errors import NoSolutionError
from xover.judge.safety import is_short
from xover.network import Capacitor, Inductor, Network, solve
from xover.network.parts import value_of
from xover.parts.kinds import tolerance_of
from xover.quantity import hertz, ohms
from xover.rules.likeness import DATASHEET_SHARE, DCR_SHARE, LOSS_SHARE, SWEEP_SHARE
from xover.rules.margins import RAISED_VOLTAGE
from xover.sentences import and_words
from xover.sound.load import amplifier_of
from xover.sound.resonance import impedance_peak_hz
from xover.speaker import Speaker

NEAR_OCTAVES: Final = 0.6
_STEPS: Final = 241
QUIETLY: Final = "low level only, through the jig's resistor"


class Landmark(StrEnum):
    """What a sweep is looked at for."""

    LOWEST = "lowest"
    PEAK = "peak"
    CROSSOVER = "crossover"


@dataclass(frozen=True)
class SweepPoint:
    """One telling point.

    Attributes
    ----------
    landmark : which. frequency_hz, impedance_ohm : as calculated; `low_..`, `high_..` : what the
        parts' tolerances, the driver's evidence and the sweep may make of them; NaN where that is not known. At a
        crossover the frequency is fixed. at_end : where the extreme lies at an end of the sweep.
    """

    landmark: Landmark
    frequency_hz: float
    low_hz: float
    high_hz: float
    impedance_ohm: float
    low_ohm: float
    high_ohm: float
    at_end: bool = False

    @property
    def words(self) -> str:
        """The point in a sentence."""
        size = ohm_range(self.impedance_ohm, self.low_ohm, self.high_ohm)
        if self.impedance_ohm == 0:
            size = "next to nothing (the parts' losses are not given)"
        if self.landmark is Landmark.CROSSOVER:
            return f"at the crossover, {hertz(self.frequency_hz)}, {size}"
        where = "at the end of the sweep," if self.at_end else "near"
        return f"{self.landmark} {size} {where} {hertz(self.frequency_hz)}"


@dataclass(frozen=True)
class SweepCheck:
    """A sweep of one channel's terminals.

    Attributes
    ----------
    plugged, unplugged : drivers by key, those of the part of the network that is built. points : where to look; none
        where no current flows or nothing is known.
    caution : what to heed, or "". sentence : the check in words.
    """

    channel: str
    plugged: tuple[str, ...]
    unplugged: tuple[str, ...]
    points: tuple[SweepPoint, ...]
    caution: str
    sentence: str


def sweep_check(
    network: Network,
    speaker: Speaker,
    channel: str,
    frequency_hz: Float,
    *,
    without: Sequence[str] = (),
    crossovers_hz: Sequence[float] = (),
) -> SweepCheck:
    """What a sweep of one channel must show.

    Parameters
    ----------
    network : as far as it is built, with the drivers that belong to it.
    frequency_hz : (n,) rising: the span of the sweep.
    without : cards of drivers that are unplugged. crossovers_hz : where the sum crosses over.

    Raises
    ------
    OptionError, NoSolutionError : as `solve`.
    """
    part = network
    for card in without:
        part = part.without(card)
    keys = {d.name: d.key for d in network.drivers}
    out = tuple(keys[card] for card in without)
    plugged = tuple(d.key for d in part.drivers)
    state = ", ".join(
        f"{and_words(some)} {what}" for some, what in ((plugged, "plugged in"), (out, "unplugged")) if some
    )
    state = state or "no driver"
    wanted = next(c for c in network.channels if c.name == channel)
    if not has_load(part, wanted):
        return SweepCheck(channel, plugged, out, (), "", f"{state}: no current flows, the sweep shows an open circuit")
    sweep = Sweep(with_connected_channels(part), frequency_hz, lambda f: speaker.impedances_ohm(part, f))
    spread = _Spread(sweep, speaker, channel)
    found = [spread.lowest(), *([] if out else spread.peak()), *(spread.at(f) for f in crossovers_hz if not out)]
    points = tuple(p for p in found if math.isfinite(p.impedance_ohm))
    if not points:
        return SweepCheck(channel, plugged, out, (), "", f"{state}: not known, as the driver's impedance is not")
    what = _resonance(network, sweep, speaker, channel, points[0], out)
    sentence = f"{state}: " + "; ".join(p.words for p in points)
    if not what:
        return SweepCheck(channel, plugged, out, points, "", sentence)
    lowest = f"{ohms(points[0].impedance_ohm)} at {hertz(points[0].frequency_hz)}"
    caution = f"without {and_words(out)} the load is {what} ({lowest}): {QUIETLY}"
    return SweepCheck(channel, plugged, out, points, caution, f"{sentence}: {what}; {QUIETLY}")


class _Spread:
    """The sweep of one channel, and what tolerances make of it."""

    def __init__(self, sweep: Sweep, speaker: Speaker, channel: str) -> None:
        self.sweep, self.channel = sweep, channel
        self.values = _candidates(sweep.network)
        weak = [
            name
            for name in sweep.network.driver_names
            if speaker.drivers[name].impedance_evidence is not Evidence.MEASURED
        ]
        self.share = DATASHEET_SHARE if weak else SWEEP_SHARE

    def lowest(self) -> SweepPoint:
        """Where the load is lowest."""
        least = self.sweep.lowest_impedance(self.channel)
        if least.runaway:
            return SweepPoint(Landmark.LOWEST, least.at_hz, math.nan, math.nan, 0.0, 0.0, math.nan)
        return self._extreme(Landmark.LOWEST, least.at_hz, least.value, np.argmin)

    def peak(self) -> list[SweepPoint]:
        """The highest clear peak, if there is one."""
        f = self.sweep.frequency_hz
        z = self.sweep.impedance(self.channel, f).astype(complex)
        at_hz = impedance_peak_hz(f, z, lambda x: self.sweep.impedance(self.channel, x).astype(complex))
        if math.isnan(at_hz):
            return []
        value = float(self.sweep.impedance(self.channel, np.array([at_hz]))[0])
        return [self._extreme(Landmark.PEAK, at_hz, value, np.argmax)]

    def at(self, frequency_hz: float) -> SweepPoint:
        """At one frequency."""
        sizes = self._sizes(np.array([frequency_hz]))
        value = float(self.sweep.impedance(self.channel, np.array([frequency_hz]))[0])
        low, high = (math.nan, math.nan) if sizes is None else _product(sizes[:, 0] / sizes[0, 0])
        low, high = value * low * (1.0 - self.share), value * high * (1.0 + self.share)
        return SweepPoint(Landmark.CROSSOVER, frequency_hz, frequency_hz, frequency_hz, value, low, high)

    def _extreme(
        self, landmark: Landmark, at_hz: float, value: float, find: Callable[..., NDArray[np.intp]]
    ) -> SweepPoint:
        """An extreme and its spread: each tolerance taken by itself, then all their effects multiplied."""
        nothing = SweepPoint(landmark, at_hz, math.nan, math.nan, value, math.nan, math.nan)
        if math.isnan(value):
            return nothing
        span = self.sweep.frequency_hz
        near = at_hz * 2.0 ** np.linspace(-NEAR_OCTAVES, NEAR_OCTAVES, _STEPS)
        near = near[(near >= span[0]) & (near <= span[-1])]
        sizes = self._sizes(near)
        if sizes is None:
            return nothing
        known = np.isfinite(sizes).all(axis=0)
        near, sizes = near[known], sizes[:, known]
        if not near.size:
            return nothing
        rows = find(sizes, axis=1)
        each = sizes[np.arange(rows.size), rows]
        low, high = _product(each / each[0])
        low_hz, high_hz = _product(near[rows] / near[rows[0]])
        return SweepPoint(
            landmark=landmark,
            frequency_hz=at_hz,
            low_hz=at_hz * low_hz,
            high_hz=at_hz * high_hz,
            impedance_ohm=value,
            low_ohm=value * low * (1.0 - self.share),
            high_ohm=value * high * (1.0 + self.share),
            at_end=at_hz in (span[0], span[-1]),
        )

    def _sizes(self, frequency_hz: Float) -> Float | None:
        """(k, n) modulus: as stated, then each tolerance down and up; None where it cannot be solved."""
        network = self.sweep.network
        ohm = self.sweep.driver_impedance_at(frequency_hz)
        try:
            solution = solve(network, frequency_hz, ohm, self.values)
        except NoSolutionError:
            return None
        return np.atleast_2d(np.abs(solution.impedance_ohm[self.channel]))


def _candidates(network: Network) -> Mapping[str, Float]:
    """Values with every tolerance taken by itself: row 0 as stated, then down and up, one after the other."""
    shares: list[tuple[str, float, float]] = []
    for part in network.parts:
        shares.append((part.name, value_of(part), min(tolerance_of(part), 0.99)))
        if isinstance(part, Inductor):
            shares.append((f"{part.name}_dcr", part.dcr_ohm, DCR_SHARE))
        elif isinstance(part, Capacitor):
            shares.append((f"{part.name}_esr", part.esr_ohm, LOSS_SHARE))
            shares.append((f"{part.name}_df", part.dissipation_factor, LOSS_SHARE))
    varied = [s for s in shares if s[1] > 0 and s[2] > 0]
    values = {name: np.full(2 * len(varied) + 1, value) for name, value, _ in varied}
    for row, (name, value, share) in enumerate(varied):
        values[name][2 * row + 1] = value * (1.0 - share)
        values[name][2 * row + 2] = value * (1.0 + share)
    return values


def _product(ratio: NDArray[np.float64]) -> tuple[float, float]:
    """All effects that lower, and all that raise: (1 + 2p,) ratios to the first, down and up in turn."""
    pairs = ratio[1:].reshape(-1, 2)
    low, high = np.minimum(pairs.min(axis=1), 1.0), np.maximum(pairs.max(axis=1), 1.0)
    return float(np.prod(low)), float(np.prod(high))


def leaves_short(network: Network, speaker: Speaker, channel: str, card: str, frequency_hz: Float) -> bool:
    """Whether a driver that is unplugged leaves a load to warn of (see `is_short`)."""
    part = network.without(card)
    if not has_load(part, next(c for c in network.channels if c.name == channel)):
        return False
    sweep = Sweep(with_connected_channels(part), frequency_hz, lambda f: speaker.impedances_ohm(part, f))
    whole = Sweep(network, frequency_hz, lambda f: speaker.impedances_ohm(network, f))
    lowest, usual = sweep.lowest_impedance(channel), whole.lowest_impedance(channel).value
    return is_short(0.0 if lowest.runaway else lowest.value, usual, _limit_ohm(speaker, network, channel))


def _resonance(
    network: Network, sweep: Sweep, speaker: Speaker, channel: str, lowest: SweepPoint, out: tuple[str, ...]
) -> str:
    """What the load is without a driver, where it may harm amplifier or capacitors; else empty."""
    if not out:
        return ""
    healthy = Sweep(network, sweep.frequency_hz, lambda f: speaker.impedances_ohm(network, f))
    usual = healthy.lowest_impedance(channel).value
    if not is_short(lowest.impedance_ohm, usual, _limit_ohm(speaker, network, channel)):
        return ""
    highest = sweep.highest_voltages([c.name for c in sweep.network.capacitors])
    worst = max(highest, key=lambda name: highest[name].value, default=None)
    if worst is None or highest[worst].runaway or not highest[worst].value > RAISED_VOLTAGE:
        return "a series resonance"
    return f"a series resonance that puts {number(highest[worst].value)} times the voltage on {worst}"


def _limit_ohm(speaker: Speaker, network: Network, channel: str) -> float | None:
    amplifier = amplifier_of(speaker, network, channel)
    return None if amplifier is None else amplifier.minimum_load_ohm
