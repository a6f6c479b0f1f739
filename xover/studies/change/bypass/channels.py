"""Each driver on a channel of its own: how it is wired, what it sees, and what all add up to behind any filters."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from xover.acoustic.level import BandLevel, level_db
from xover.acoustic.summing import AcousticSum, Branch, missing_bound, sum_branches
from xover.amplifier.load import LoadReading, LoadVerdict, judge_load, read_load, where_known
from xover.curve import Complex, Float
from xover.electronic.biquad import Slope, band_pass
from xover.errors import InputError
from xover.files.speaker import Amplifier
from xover.network import Channel, DriverCard, Network, solve
from xover.network.network import GROUND, fixed_nodes
from xover.readable import Readable
from xover.rules.bands import AUDIO_BAND_HZ, JUDGED_HZ, LEAST_KNOWN_OF_CHANGE
from xover.sentences import and_words
from xover.sound.deviation import sum_deviation
from xover.sound.load import channel_impedance
from xover.sound.meeting import WayOfDrivers, lowest_first
from xover.sound.prediction import Sound, sound_of_network
from xover.speaker import Speaker


@dataclass(frozen=True)
class Wiring:
    """The drivers of one way and how they hang on their channel.

    Attributes
    ----------
    driver : the way's name, which is the channel's too: "woofer", or "woofer+woofer2" where they bear two names.
    names : of the drivers. keys : of their cards.
    how : "alone", "in parallel", "in series", "in series and parallel".
    assumed : True where the network feeds them through parts of their own, so that the wiring is a guess.
    """

    driver: str
    names: tuple[str, ...]
    keys: tuple[str, ...]
    how: str
    assumed: bool

    @property
    def words(self) -> str:
        """The wiring in words."""
        if len(self.keys) == 1:
            return "alone"
        return f"{' and '.join(self.keys)} {self.how}"


@dataclass(frozen=True, eq=False)
class BareDrivers:
    """The drivers without the passive network: one amplifier channel for each way, lowest first.

    Attributes
    ----------
    network : of the driver cards alone; its channels bear the ways' names.
    wirings : by channel, in the same order.
    sound : that network solved on the grid, one volt on every channel, and the sound of each card.
    """

    network: Network
    wirings: tuple[Wiring, ...]
    sound: Sound

    @property
    def names(self) -> tuple[str, ...]:
        """The channels, lowest first."""
        return tuple(w.driver for w in self.wirings)

    def drivers_of(self, channel: str) -> tuple[str, ...]:
        """The names of the drivers on a channel."""
        return next(w.names for w in self.wirings if w.driver == channel)

    def channel_of(self, name: str) -> str:
        """The channel that a driver hangs on; the name itself where there is none."""
        return next((w.driver for w in self.wirings if name in w.names), name)


@dataclass(frozen=True, eq=False, repr=False)
class BareLoad(Readable):
    """What one channel sees.

    Attributes
    ----------
    impedance_ohm : (n,) complex.
    reading, verdict : its extremes, and how they stand against the channel's rating.
    rating_from : where that rating stands; empty without one.
    """

    impedance_ohm: Complex
    reading: LoadReading
    verdict: LoadVerdict
    rating_from: str


def bare_drivers(speaker: Speaker, passive: Sound, network_name: str) -> BareDrivers:
    """Take the network out and give each way a channel.

    Parameters
    ----------
    passive : the network solved, whose drives and sounds tell which driver is the lowest.

    Raises
    ------
    InputError : the speaker has one way only, so there is nothing to split.
    """
    ordered = lowest_first(speaker, passive)
    if len(ordered) < 2:
        has = "driver" if len(ordered[0].names) == 1 else "way"
        raise InputError(
            f"network '{network_name}' has the {has} {ordered[0].name} only: an electronic crossover has nothing to "
            "split",
            "name the drivers of each way differently",
            passive.network.path,
        )
    cards: list[DriverCard] = []
    wirings = []
    for way in ordered:
        wired, wiring = _wire(passive.network, way)
        cards += wired
        wirings.append(wiring)
    bare = Network(
        title=passive.network.title,
        parts=(),
        drivers=tuple(cards),
        channels=tuple(Channel(way.name, _plus(way.name), GROUND) for way in ordered),
        path=passive.network.path,
    )
    f = passive.solution.frequency_hz
    return BareDrivers(bare, tuple(wirings), sound_of_network(speaker, bare, f))


def _plus(name: str) -> str:
    return f"{name} plus"


def _wire(network: Network, way: WayOfDrivers) -> tuple[list[DriverCard], Wiring]:
    """Hang the cards of a way between their channel's plus and ground as the network joins them."""
    name = way.name
    cards = [c for c in network.drivers if c.key in way.keys]
    keys = tuple(c.key for c in cards)
    ends = _ends(network, cards)
    if ends is None:  # each is fed through parts of its own
        wired = [replace(c, plus=_plus(name), minus=GROUND) for c in cards]
        return wired, Wiring(name, way.names, keys, "in parallel", True)
    wired = _place(name, cards, *ends)
    if not _first_is_normal(name, wired):
        wired = _place(name, cards, *reversed(ends))
    return wired, Wiring(name, way.names, keys, _how(cards), False)


def _place(name: str, cards: Sequence[DriverCard], plus: str, minus: str) -> list[DriverCard]:
    """Put two nodes of the network on a channel's terminals; those between keep their names, with the driver's."""
    place = {plus: _plus(name), minus: GROUND}
    return [
        replace(c, plus=place.get(c.plus, f"{name} {c.plus}"), minus=place.get(c.minus, f"{name} {c.minus}"))
        for c in cards
    ]


def _first_is_normal(name: str, cards: Sequence[DriverCard]) -> bool:
    """Whether the first card's plus looks towards the channel's plus, with alike resistors in the drivers' places."""
    trial = Network("", (), tuple(cards), (Channel(name, _plus(name), GROUND),))
    drive = solve(trial, np.array([1000.0]), {c.driver: np.array([8.0 + 0j]) for c in cards}).drive[cards[0].key]
    return bool(drive[0].real >= 0)


def _ends(network: Network, cards: Sequence[DriverCard]) -> tuple[str, str] | None:
    """The two nodes at which the rest of the network holds these cards; None where there are more."""
    own = {c.name for c in cards}
    held = set(fixed_nodes(network))
    for element in (*network.parts, *network.drivers):
        if element.name not in own:
            held |= {element.a, element.b}
    ends = sorted({n for c in cards for n in (c.plus, c.minus) if n in held})
    if len(ends) != 2:
        return None
    return ends[0], ends[1]


def _how(cards: Sequence[DriverCard]) -> str:
    if len(cards) == 1:
        return "alone"
    pairs = {frozenset((c.plus, c.minus)) for c in cards}
    if len(pairs) == 1:
        return "in parallel"
    return "in series" if len(pairs) == len(cards) else "in series and parallel"


def amplifier_for(speaker: Speaker, drivers: Sequence[str]) -> tuple[Amplifier | None, str]:
    """The amplifier of the channel that these drivers hang on, and where it is told of; else the general one."""
    bypass = speaker.file.speaker.bypass
    for name in drivers:
        if bypass is not None and name in bypass.channels:
            return bypass.channels[name], f"[bypass.channels.{name}]"
    return speaker.amplifier, "[amplifier]" if speaker.amplifier is not None else ""


def minimum_load(speaker: Speaker, drivers: Sequence[str]) -> tuple[float | None, str]:
    """The lowest load that the amplifier of these drivers' channel allows, and where that stands."""
    own, where = amplifier_for(speaker, drivers)
    if own is not None and own.minimum_load_ohm is not None:
        return own.minimum_load_ohm, where
    general = speaker.amplifier
    if general is not None and general.minimum_load_ohm is not None:
        return general.minimum_load_ohm, "[amplifier]"
    return None, ""


def bare_loads(speaker: Speaker, bare: BareDrivers, corners_hz: Sequence[float]) -> Mapping[str, BareLoad]:
    """Read and judge the load of every channel over the audio band; none fits that is not known where it plays."""
    f = bare.sound.solution.frequency_hz
    edges = [AUDIO_BAND_HZ[0], *corners_hz, AUDIO_BAND_HZ[1]]
    loads = {}
    for i, name in enumerate(bare.names):
        z = bare.sound.solution.impedance_ohm[name]
        reading = read_load(f, z, channel_impedance(speaker, bare.network, name), AUDIO_BAND_HZ)
        limit, where = minimum_load(speaker, bare.drivers_of(name))
        verdict = where_known(judge_load(reading, limit), reading, (edges[i], edges[i + 1]))
        loads[name] = BareLoad(z, reading, verdict, where)
    return loads


@dataclass(frozen=True, eq=False)
class Voices:
    """The sound of each channel at one volt (2.83 V) on it.

    Attributes
    ----------
    frequency_hz : (n,).
    names : (k,) channels, lowest first.
    branches : of the driver cards; rows : (k,) which of them belong to each channel.
    pressure : (k, n) complex, of each channel; NaN where it is not known. bound : (k, n) what it is at most there.
    coherent : whether the drivers share a time reference; timing_reason : why.
    silent : channels of whose sound nothing is known, or too little for a sum.
    band_hz : in which deviations are taken.
    """

    frequency_hz: Float
    names: tuple[str, ...]
    branches: tuple[Branch, ...]
    rows: tuple[tuple[int, ...], ...]
    pressure: Complex
    bound: Float
    coherent: bool
    timing_reason: str
    silent: tuple[str, ...]
    band_hz: tuple[float, float]

    @property
    def known(self) -> bool:
        """Whether enough is known of the sound of every channel."""
        return not self.silent

    @property
    def silence(self) -> str:
        """What is not known, in words."""
        part = np.isfinite(self.pressure[[self.names.index(n) for n in self.silent]]).any()
        return f"{'too little' if part else 'no'} response of {and_words(self.silent)}"

    def behind(self, filters: Mapping[str, Complex]) -> tuple[Branch, ...]:
        """The branches behind one filter (n,) for each channel, gain, delay and polarity included."""
        out = []
        for name, rows in zip(self.names, self.rows, strict=True):
            for branch in (self.branches[row] for row in rows):
                drive = branch.drive_db
                out.append(
                    replace(
                        branch,
                        pressure=branch.pressure * filters[name],
                        drive_db=None if drive is None else drive + level_db(filters[name]),
                    )
                )
        return tuple(out)

    def total(self, filters: Mapping[str, Complex]) -> AcousticSum:
        """The sum behind one filter for each channel."""
        return sum_branches(self.frequency_hz, self.behind(filters), self.coherent)

    def deviation(self, total: AcousticSum) -> BandLevel:
        """Level and deviation of a sum in the band."""
        return sum_deviation(self.frequency_hz, total.level_db, self.band_hz)


def voices_of(bare: BareDrivers) -> Voices:
    """Gather the sounds of the bare drivers by channel."""
    sound = bare.sound
    f = sound.solution.frequency_hz
    cards = bare.network.drivers
    rows = tuple(tuple(i for i, c in enumerate(cards) if c.key in w.keys) for w in bare.wirings)
    bound = np.stack([missing_bound(f, b) for b in sound.branches])
    pressure = np.stack([b.pressure for b in sound.branches])
    return Voices(
        frequency_hz=f,
        names=bare.names,
        branches=sound.branches,
        rows=rows,
        pressure=np.stack([pressure[list(r)].sum(axis=0) for r in rows]),
        bound=np.stack([bound[list(r)].sum(axis=0) for r in rows]),
        coherent=sound.total.coherent,
        timing_reason=sound.timing_reason,
        silent=tuple(
            name
            for name, r in zip(bare.names, rows, strict=True)
            if not np.isfinite(pressure[list(r)]).all(axis=0).any()
        ),
        band_hz=JUDGED_HZ,
    )


def heard_where_they_play(voices: Voices, corners_hz: Sequence[float]) -> Voices:
    """The same; silent are those channels too whose sound is known in too little of their own part of the band.

    What a sum of the rest would be set to says nothing of the whole: the gain of such a channel is free.
    """
    f, silent = voices.frequency_hz, list(voices.silent)
    for name, edges, pressure in zip(
        voices.names, pairwise([voices.band_hz[0], *corners_hz, voices.band_hz[1]]), voices.pressure, strict=True
    ):
        known = np.isfinite(pressure[(f >= edges[0]) & (f <= edges[1])])
        if name not in silent and known.size and known.mean() < LEAST_KNOWN_OF_CHANGE:
            silent.append(name)
    return replace(voices, silent=tuple(n for n in voices.names if n in silent))


def crossover_filters(
    names: Sequence[str],
    slope: Slope,
    corners_hz: Sequence[float],
    frequency_hz: Float,
    sample_rate_hz: float | None,
) -> dict[str, Complex]:
    """(n,) response of an electronic crossover for each channel, lowest first; no gain, delay or polarity."""
    edges: list[float | None] = [None, *corners_hz, None]
    return {
        name: band_pass(slope, edges[i], edges[i + 1], frequency_hz, sample_rate_hz) for i, name in enumerate(names)
    }


def setting(gain_db: float, delay_s: float, polarity: int, frequency_hz: Float) -> Complex:
    """(n,) response of gain, delay and polarity."""
    turn = np.exp(-2j * math.pi * frequency_hz * delay_s)
    return np.asarray(polarity * 10.0 ** (gain_db / 20.0) * turn, dtype=complex)
