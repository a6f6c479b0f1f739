"""The odd driver: which one differs from its like, by what, and what each remedy leaves between left and right.

The like are the drivers of one way in this cabinet and, where its mate is known, in the mate. The commonest kind among
them is taken for the original. Remedies are worked out with curves exchanged: a driver's impedance and response are
put in the place of another's, and both cabinets are solved anew. Two of a kind count as equal there, and are not.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any, Final

import numpy as np

from xover.acoustic.level import bands_touched, level_db, mean_over_bands
from xover.curve import Float, log_grid
from xover.network import Network, Resistor
from xover.network.network import GROUND
from xover.parts.preferred import series_values
from xover.plain import fields_of
from xover.rules.audibility import DIRECT_DB, HARD_DB, REPEATS_DB
from xover.rules.bands import AUDIO_BAND_HZ, JUDGED_HZ, PLAYS_WITHIN_DB
from xover.rules.instruments import IMPEDANCE_SPREADS, RESPONSE_SPREADS
from xover.rules.likeness import METER_SHARE, PAIR_FS, PAIR_RE
from xover.sound.change import Rows, band_rows
from xover.sound.deviation import sum_deviation
from xover.sound.meeting import WayOfDrivers, lowest_first
from xover.sound.prediction import sound_of_network
from xover.sound.resonance import driver_resonance_hz
from xover.sound.sums import known_level_db
from xover.speaker import Speaker, SpeakerDriver

_PER_OCTAVE: Final = 24
_THIRDS: Final = 3
_PAD_OHM: Final = (0.33, 22.0)
"""Resistors that are tried in front of a driver: below, nothing moves; above, a pad of two does it better."""


class Trait(StrEnum):
    """By what drivers differ more than like ones do, and more than is not known of them."""

    LEVEL = "level"
    SHAPE = "shape"
    RESONANCE = "resonance"
    DC_RESISTANCE = "DC resistance"


class OddRemedyKind(StrEnum):
    """What can be done about an odd driver."""

    ACCEPT = "accept it"
    BALANCE = "set the balance"
    PAD = "pad it"
    MOVE = "move one to the other cabinet"
    MATE = "find its mate"
    SECOND = "fit the other cabinet alike"


@dataclass(frozen=True, eq=False)
class OddRemedy:
    """One remedy and what it leaves. NaN where it is not known.

    Attributes
    ----------
    left_db : largest difference left between the two cabinets in a third of an octave of the judged band.
    own_db : half the range of the odd cabinet's own sum in that band.
    parts, drivers : how many are bought.
    gain_db : by which the odd cabinet is turned, of BALANCE. pad_ohm : of PAD, in the lead of each of `at`
        alone. at : keys of the drivers that it concerns. in_mate : these stand in the mate.
    network : that cabinet's, with the resistor; None where the network stays.
    """

    kind: OddRemedyKind
    left_db: float
    own_db: float
    parts: int = 0
    drivers: int = 0
    gain_db: float = math.nan
    pad_ohm: float = math.nan
    at: tuple[str, ...] = ()
    in_mate: bool = False
    network: Network | None = None

    def plain(self) -> dict[str, Any]:
        """Its figures, without the network."""
        return fields_of(self, network=None)


@dataclass(frozen=True, eq=False)
class OddDriver:
    """The odd driver of one way, or several of one kind, in one cabinet. NaN where a figure is not known.

    Attributes
    ----------
    way : the way's name. keys : of the odd drivers. like : the key of one that they are held against.
    in_mate : they stand in the mate. like_in_mate : the like one does.
    sure : False where as many are of one kind as of the other, so that which is the original is not known.
    traits : by what they differ.
    level_db : how much louder where the network plays it; level_uncertainty_db : +- of that, 95 %.
    resonance_hz, like_resonance_hz; dc_ohm, like_dc_ohm : as read with a meter, else the sweeps' lowest.
    mate_known : False: the other cabinet is taken to have originals only.
    remedies : the cheapest first: free ones, parts, drivers; the best of each first. ACCEPT is the first.
    """

    way: str
    keys: tuple[str, ...]
    like: str
    in_mate: bool
    like_in_mate: bool
    sure: bool
    traits: tuple[Trait, ...]
    level_db: float
    level_uncertainty_db: float
    resonance_hz: float
    like_resonance_hz: float
    dc_ohm: float
    like_dc_ohm: float
    mate_known: bool
    remedies: tuple[OddRemedy, ...]

    @property
    def driver(self) -> str:
        """The odd drivers by key: "woofer2"."""
        return "+".join(self.keys)

    def remedy(self, kind: OddRemedyKind) -> OddRemedy | None:
        """One of the remedies, None where it is none here."""
        return next((r for r in self.remedies if r.kind is kind), None)

    def plain(self) -> dict[str, Any]:
        """Its fields, with its name first."""
        return {"driver": self.driver} | fields_of(self)


@dataclass(frozen=True, eq=False)
class _Cabinet:
    """A speaker with one network, of which single drivers may have been exchanged."""

    speaker: Speaker
    network: Network

    def driver(self, key: str) -> SpeakerDriver:
        return self.speaker.drivers[self.network.driver_card(key).driver]

    def exchanged(self, new: Mapping[str, SpeakerDriver]) -> _Cabinet:
        """With other drivers on some cards, by key, each in the old one's place."""
        drivers, cards = dict(self.speaker.drivers), []
        for card in self.network.drivers:
            if card.key in new:
                name = f"{card.key} exchanged"
                place = drivers[card.driver].place_mm(card.name[1:])
                drivers[name] = replace(new[card.key], name=name, position_mm=place, card_positions_mm={})
                card = replace(card, driver=name)
            cards.append(card)
        return _Cabinet(replace(self.speaker, drivers=drivers), replace(self.network, drivers=tuple(cards)))

    def padded(self, keys: Sequence[str], ohm: float) -> _Cabinet:
        """With a resistor in the live lead of each of some drivers."""
        parts, cards = list(self.network.parts), []
        for card in self.network.drivers:
            if card.key in keys:
                taken = {p.name.lower() for p in parts}
                name = next(n for i in range(1, len(taken) + 2) if (n := f"Rpad{i}").lower() not in taken)
                node, reversed_ = f"{name}_{card.key}", card.plus == GROUND
                parts.append(Resistor(name, card.minus if reversed_ else card.plus, node, ohm))
                card = replace(card, minus=node) if reversed_ else replace(card, plus=node)
            cards.append(card)
        return replace(self, network=replace(self.network, parts=tuple(parts), drivers=tuple(cards)))


@dataclass(frozen=True, eq=False)
class _Heard:
    level_db: Float
    coherent: bool
    own_db: float


class _Pair:
    """What two cabinets differ by, each solved once."""

    def __init__(self) -> None:
        self.frequency_hz = log_grid(*AUDIO_BAND_HZ, _PER_OCTAVE)
        centres = bands_touched(*JUDGED_HZ, _THIRDS)
        self.centres_hz = centres[(centres >= JUDGED_HZ[0] * 0.99) & (centres <= JUDGED_HZ[1])]

    def heard(self, cabinet: _Cabinet) -> _Heard:
        total = (sound := sound_of_network(cabinet.speaker, cabinet.network, self.frequency_hz)).total
        level = known_level_db(sound)
        own = sum_deviation(self.frequency_hz, level).half_range_db if total.coherent else math.nan
        return _Heard(level, total.coherent, own)

    def thirds(self, one: _Heard, other: _Heard) -> Float:
        """(b,) one less the other; NaN where the one is a sum and the other an envelope."""
        if one.coherent != other.coherent:
            return np.full(self.centres_hz.shape, np.nan)
        with np.errstate(invalid="ignore"):
            apart = np.asarray(one.level_db - other.level_db, dtype=float)
        return mean_over_bands(self.frequency_hz, apart, self.centres_hz, _THIRDS)

    def apart_db(self, one: _Heard, other: _Heard) -> float:
        thirds = self.thirds(one, other)
        return float(np.nanmax(np.abs(thirds))) if np.isfinite(thirds).any() else math.nan


@dataclass(frozen=True)
class _Difference:
    level_db: float
    level_uncertainty_db: float
    traits: tuple[Trait, ...]


_Place = tuple[int, str]
"""A driver: 0 in this cabinet, 1 in the mate; and its key."""


def odd_drivers(
    speaker: Speaker, network: Network, mate: Speaker | None = None, mate_network: Network | None = None
) -> tuple[OddDriver, ...]:
    """Find the drivers that differ from their like, and what can be done about each.

    Parameters
    ----------
    network : how the drivers are grouped, and what the sums are of; of one channel.
    mate, mate_network : the other cabinet of the pair; without them it is taken to have originals only.

    Returns one for each way and cabinet that has odd drivers, the lowest way first; none where all are alike, where
    their curves say nothing of them (placeholders), where a network has several channels, and where the two cabinets
    are no pair: with other ways, or without a driver in common.

    Raises
    ------
    NoSolutionError : a network has none.
    """
    cabinets = [_Cabinet(speaker, network)]
    if mate is not None and mate_network is not None:
        cabinets.append(_Cabinet(mate, mate_network))
    if any(len(c.network.channels) != 1 for c in cabinets):
        return ()
    pair = _Pair()
    f = pair.frequency_hz
    sounds = [sound_of_network(c.speaker, c.network, f) for c in cabinets]
    grouped = [lowest_first(c.speaker, s) for c, s in zip(cabinets, sounds, strict=True)]
    if len({len(g) for g in grouped}) > 1:
        return ()
    found: list[OddDriver] = []
    strangers = 0
    for at, way in enumerate(grouped[0]):
        drive = level_db(sounds[0].solution.drive[way.keys[0]])
        with np.errstate(invalid="ignore"):
            plays = (drive >= np.fmax.reduce(drive) - PLAYS_WITHIN_DB) & band_rows(f, JUDGED_HZ)
        places = [(side, key) for side, group in enumerate(grouped) for key in group[at].keys]
        kinds = _kinds(pair, cabinets, places, plays)
        strangers += not any(len({side for side, _ in kind}) == len(cabinets) for kind in kinds)
        found += _of_way(pair, cabinets, way, kinds, plays)
    return tuple(found) if strangers < len(grouped[0]) or len(grouped[0]) == 1 else ()


def _kinds(pair: _Pair, cabinets: Sequence[_Cabinet], places: Sequence[_Place], plays: Rows) -> list[list[_Place]]:
    """The drivers of a way, those that are alike together."""
    kinds: list[list[_Place]] = []
    for place in places:
        for kind in kinds:
            one, other = (cabinets[side].driver(key) for side, key in (place, kind[0]))
            if not _difference(one, other, pair, plays).traits:
                kind.append(place)
                break
        else:
            kinds.append([place])
    return kinds


def _of_way(
    pair: _Pair, cabinets: Sequence[_Cabinet], way: WayOfDrivers, kinds: Sequence[Sequence[_Place]], plays: Rows
) -> Iterator[OddDriver]:
    if len(kinds) < 2:
        return
    # The commonest kind; of two as common the mate's, or in one cabinet alone the first listed.
    most = max(len(k) for k in kinds)
    originals = max((k for k in kinds if len(k) == most), key=lambda k: sum(side for side, _ in k))
    sure = sum(len(k) == most for k in kinds) == 1
    for side in range(len(cabinets)):
        for kind in (k for k in kinds if k is not originals):
            own = [key for where, key in kind if where == side]
            other = [key for where, key in kind if where != side]
            if not own or len(other) > len(own) or (len(other) == len(own) and side == 1):
                continue  # told of the cabinet that has more of them, and once
            # Cards that bear an original in the mate, those of the same key as an odd one here first.
            free = [key for where, key in originals if where != side] if len(cabinets) == 2 else own
            free = sorted(free, key=lambda key: key not in own)
            like = next((p for p in originals if p[0] == side), originals[0])
            odd, usual = cabinets[side].driver(own[0]), cabinets[like[0]].driver(like[1])
            apart = _difference(odd, usual, pair, plays)
            yield OddDriver(
                way=way.name,
                keys=tuple(own),
                like=like[1],
                in_mate=side == 1,
                like_in_mate=like[0] == 1,
                sure=sure,
                traits=apart.traits,
                level_db=apart.level_db,
                level_uncertainty_db=apart.level_uncertainty_db,
                resonance_hz=driver_resonance_hz(odd),
                like_resonance_hz=driver_resonance_hz(usual),
                dc_ohm=_dc(odd)[0],
                like_dc_ohm=_dc(usual)[0],
                mate_known=len(cabinets) == 2,
                remedies=_remedies(pair, cabinets, side, own, other, free, odd, usual),
            )


def _difference(one: SpeakerDriver, other: SpeakerDriver, pair: _Pair, plays: Rows) -> _Difference:
    """The first less the second, and by what they differ more than like drivers and their instruments do."""
    traits = []
    level = doubt = math.nan
    heard = [RESPONSE_SPREADS.get(d.response_instrument) for d in (one, other)]
    if one is other:
        return _Difference(0.0, 0.0, ())
    if heard[0] is not None and heard[1] is not None:
        f = pair.frequency_hz
        with np.errstate(invalid="ignore"):
            apart = np.where(plays, level_db(one.pressure(f)) - level_db(other.pressure(f)), np.nan)
        thirds = mean_over_bands(f, apart, pair.centres_hz, _THIRDS)
        if np.isfinite(thirds).any():
            level = float(np.nanmean(thirds))
            same = one.response_instrument is other.response_instrument
            common = () if same else [h.common_db[0][1] for h in heard if h is not None]
            doubt = math.hypot(heard[0].own_level_db, heard[1].own_level_db, *common)
            if abs(level) > max(HARD_DB, doubt):
                traits.append(Trait.LEVEL)
            shape = float(np.nanmax(np.abs(thirds - level)))
            own = [max(db for _, db in h.own_shape_db) for h in heard if h is not None]
            if same and shape > max(DIRECT_DB, math.hypot(*own)):
                traits.append(Trait.SHAPE)
    ohms = [IMPEDANCE_SPREADS.get(d.impedance_instrument) for d in (one, other)]
    if ohms[0] is not None and ohms[1] is not None:
        ratio = driver_resonance_hz(one) / driver_resonance_hz(other)
        if abs(math.log(ratio)) > math.log(max(1.0 + PAIR_FS, ohms[0].factor * ohms[1].factor)):
            traits.append(Trait.RESONANCE)
        (first, share), (second, other_share) = _dc(one), _dc(other)
        if (
            first > 0
            and second > 0
            and abs(math.log(first / second)) > math.log1p(max(PAIR_RE, math.hypot(share, other_share)))
        ):
            traits.append(Trait.DC_RESISTANCE)
    return _Difference(level, doubt, tuple(traits))


def _dc(driver: SpeakerDriver) -> tuple[float, float]:
    """DC resistance, else the lowest impedance of the audio band, and the share of it that it may be off by."""
    spread = IMPEDANCE_SPREADS.get(driver.impedance_instrument)
    share = 0.0 if spread is None else spread.share
    if driver.re_ohm is not None:
        return driver.re_ohm, METER_SHARE if driver.impedance is not None else share
    size = np.abs(driver.impedance_ohm(log_grid(*AUDIO_BAND_HZ, _PER_OCTAVE)))
    return (float(np.nanmin(size)) if np.isfinite(size).any() else math.nan), share


def _remedies(
    pair: _Pair,
    cabinets: Sequence[_Cabinet],
    side: int,
    own: Sequence[str],
    other: Sequence[str],
    free: Sequence[str],
    odd: SpeakerDriver,
    usual: SpeakerDriver,
) -> tuple[OddRemedy, ...]:
    """Parameters: `own` and `other` are the keys of odd drivers here and in the mate, `free` of originals there."""
    here = cabinets[side]
    mended = here.exchanged(dict.fromkeys(own, usual))
    there = cabinets[1 - side] if len(cabinets) == 2 else mended
    now, beside = pair.heard(here), pair.heard(there)
    accept = OddRemedy(OddRemedyKind.ACCEPT, pair.apart_db(now, beside), now.own_db, at=tuple(own))
    found = [accept]
    balance = _balance(pair, now, beside)
    if balance is not None and accept.left_db - balance.left_db > REPEATS_DB:
        found.append(balance)
    more = len(own) - len(other)
    if len(cabinets) == 2 and more >= 2 and more % 2 == 0 and len(free) >= more // 2:
        stay, go = free[: more // 2], [k for k in own if k not in free[: more // 2]][: more // 2]
        mine = pair.heard(here.exchanged(dict.fromkeys(go, usual)))
        theirs = pair.heard(there.exchanged(dict.fromkeys(stay, odd)))
        found.append(OddRemedy(OddRemedyKind.MOVE, pair.apart_db(mine, theirs), mine.own_db, at=tuple(go)))
    pads = _pads(pair, here, own, now, beside, mate=False)
    if len(cabinets) == 2:
        pads += _pads(pair, there, free, now, beside, mate=True)
    best = min(pads, key=lambda r: r.left_db, default=None)
    if best is not None and accept.left_db - best.left_db > REPEATS_DB:
        found.append(best)
    like_mate = there.exchanged(dict.fromkeys(other, usual)) if other else there
    alone = pair.heard(mended)
    found.append(
        OddRemedy(
            OddRemedyKind.MATE,
            pair.apart_db(alone, pair.heard(like_mate)),
            alone.own_db,
            drivers=len(own) + len(other),
            at=tuple(own),
        )
    )
    if more > 0 and len(free) >= more:
        alike = pair.heard(there.exchanged(dict.fromkeys(free[:more], odd)))
        found.append(
            OddRemedy(
                OddRemedyKind.SECOND,
                pair.apart_db(now, alike),
                now.own_db,
                drivers=more,
                at=tuple(free[:more]),
                in_mate=True,
            )
        )
    first, *rest = found
    rest.sort(key=lambda r: (r.drivers, r.parts, math.inf if math.isnan(r.left_db) else r.left_db))
    return (first, *rest)


def _balance(pair: _Pair, now: _Heard, beside: _Heard) -> OddRemedy | None:
    """The odd cabinet turned as a whole so that what is left is as much above as below."""
    thirds = pair.thirds(now, beside)
    if not np.isfinite(thirds).any():
        return None
    gain = -round(float(np.nanmax(thirds) + np.nanmin(thirds)) / 2.0, 1)
    left = float(np.nanmax(np.abs(thirds + gain)))
    return OddRemedy(OddRemedyKind.BALANCE, left, now.own_db, gain_db=gain)


def _pads(
    pair: _Pair, cabinet: _Cabinet, keys: Sequence[str], now: _Heard, beside: _Heard, *, mate: bool
) -> list[OddRemedy]:
    """A resistor in the lead of each driver alone, or of each of all."""
    found = []
    sets = [(key,) for key in keys] + ([tuple(keys)] if len(keys) > 1 else [])
    for chosen in sets:
        for ohm in series_values("E12", *_PAD_OHM):
            padded = cabinet.padded(chosen, float(ohm))
            heard = pair.heard(padded)
            left = pair.apart_db(now, heard) if mate else pair.apart_db(heard, beside)
            if math.isfinite(left):
                found.append(
                    OddRemedy(
                        OddRemedyKind.PAD,
                        left,
                        now.own_db if mate else heard.own_db,
                        parts=len(chosen),
                        pad_ohm=float(ohm),
                        at=chosen,
                        in_mate=mate,
                        network=padded.network,
                    )
                )
    return found
