"""One driver's sweep beside another's, or beside a datasheet: by what they differ, and what of either would do that.

What age leaves alone is told from what it moves. A suspension moves the resonance and the Q of the losses together, and
leaves DC resistance, the coil's rise and the moving mass over the square of the magnet's pull where they were; so does
a closed box. Another driver moves those. Thresholds: `rules.health`. Words: `health_words`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from xover.curve import Curve
from xover.driver.datasheet import DatasheetValues
from xover.judge.dead import is_open, is_shorted
from xover.plain import fields_of
from xover.rules import health as rules
from xover.rules.instruments import IMPEDANCE_SPREADS, SWEPT
from xover.rules.likeness import DATASHEET_RE, PAIR_FS, PAIR_RE
from xover.rules.margins import TWEETER_FS_HZ
from xover.sound.motion import Motion, coil_ratio, motion_of
from xover.speaker import SpeakerDriver


class Trouble(StrEnum):
    """What a driver's sweep may show beside another's."""

    AGED = "suspension aged"
    SUSPENSION = "another suspension"
    STIFF_FLUID = "stiff fluid"
    LOST_FLUID = "lost fluid"
    RUBS = "rubbing coil"
    LEAKS = "leak or other loss of the box"
    SEIZED = "seized coil"
    SERIES = "resistance in series"
    SHORTED_TURNS = "shorted turns"
    MAGNET = "weak magnet"
    MOVING = "another moving mass or pull"
    REPLACED = "another driver"
    MOUNTING = "another mounting"
    SCATTER = "irregular peak"


HARMLESS: Final = frozenset({Trouble.AGED})
"""What age and samples explain."""
_SERIES: Final = (Trouble.SERIES, Trouble.REPLACED)
"""More DC resistance and nothing else: a joint, or another coil."""
_PLAIN: Final = frozenset({Trouble.SERIES, Trouble.SHORTED_TURNS, Trouble.SEIZED, Trouble.RUBS})
"""What shows on the driver that has it, so that nothing of the other needs to explain it."""


class Against(StrEnum):
    """What a driver was held against."""

    MATE = "mate"
    TWIN = "twin"
    SHEET = "datasheet"


@dataclass(frozen=True)
class Ratios:
    """This driver's reading over another's. NaN where it is not known.

    Attributes
    ----------
    fs : resonance. peak : Zmax/Re - 1. re : DC resistance. mass : moving mass times Re over the square of the pull.
    coil : the coil's rise over Re.
    """

    fs: float = math.nan
    peak: float = math.nan
    re: float = math.nan
    mass: float = math.nan
    coil: float = math.nan

    @property
    def turned(self) -> Ratios:
        """The other's over this one's."""
        return Ratios(1.0 / self.fs, 1.0 / self.peak, 1.0 / self.re, 1.0 / self.mass, 1.0 / self.coil)


@dataclass(frozen=True, eq=False)
class Held:
    """A driver beside one other reading: `own` may explain the difference, or `other` of the other driver."""

    against: Against
    name: str
    fs_hz: float
    qms: float
    rise: float
    re_ohm: float
    ratios: Ratios
    own: tuple[Trouble, ...]
    other: tuple[Trouble, ...]

    @property
    def differs(self) -> bool:
        """By more than age and samples explain."""
        return bool({*self.own, *self.other} - HARMLESS)

    def plain(self) -> dict[str, Any]:
        """Its fields."""
        return fields_of(self)


def sweep_of(driver: SpeakerDriver) -> Curve | None:
    """Its sweep, where it was measured on this driver and the driver is alive."""
    alive = driver.impedance_instrument in SWEPT and not is_open(driver) and not is_shorted(driver)
    return driver.impedance if alive else None


def other_sweep(one: SpeakerDriver, other: SpeakerDriver) -> bool:
    """Whether the other has a sweep of its own: one file typed twice says nothing."""
    first, second = sweep_of(one), sweep_of(other)
    if first is None or second is None or first is second:
        return False
    return first.value.shape != second.value.shape or bool((first.value != second.value).any())


def dc_ohm(driver: SpeakerDriver, read: Motion) -> float:
    """As read with a meter, else by the sweep."""
    return driver.metered_re_ohm or read.re_ohm


def beside(driver: SpeakerDriver, other: SpeakerDriver, against: Against) -> Held:
    """Hold one driver against another of its kind, both with a sweep: by what they differ, and what would do that."""
    assert driver.impedance is not None
    assert other.impedance is not None
    one, two = motion_of(driver.impedance), motion_of(other.impedance)
    shown, unlike = two, one.terms != two.terms
    if one.terms and two.terms and unlike:
        one, two = _nearest(one, two), _nearest(two, one)
    if bool(one.poles_hz) != bool(two.poles_hz) and not (irregular(one) or irregular(two)):
        one, two = motion_of(one.curve, plain=True), motion_of(two.curve, plain=True)
    meters = driver.metered_re_ohm, other.metered_re_ohm
    ohms = one.level_ohm, two.level_ohm
    if one.direct == two.direct:
        ohms = one.re_ohm, two.re_ohm
    swept = ohms[0] / ohms[1] if one.direct or one.poles_hz else math.nan
    re, limit = swept, rules.LIKE_RE_SWEPT
    if meters[0] is not None and meters[1] is not None:
        re, limit = meters[0] / meters[1], 1.0 + PAIR_RE
    else:
        jigs = {d.impedance_instrument for d in (driver, other)}
        limit = max(limit, *(1.0 + math.sqrt(2.0) * IMPEDANCE_SPREADS[jig].share for jig in jigs))
    ratios = Ratios(
        fs=one.fs_hz / two.fs_hz,
        peak=(one.rise * one.re_ohm / ohms[0] - 1.0) / (two.rise * two.re_ohm / ohms[1] - 1.0),
        re=re,
        mass=math.nan if unlike else one.mass_f / two.mass_f * swept,
        coil=coil_ratio(one, two) / swept,
    )
    own, theirs = (_explain(a, b, r, limit) for a, b, r in ((one, two, ratios), (two, one, ratios.turned)))
    if unlike and one.terms and two.terms and {*own, *theirs} - HARMLESS and not one.fs_hz > TWEETER_FS_HZ:
        own = theirs = (Trouble.MOUNTING,)
    if own and own[0] in _PLAIN:
        theirs = ()
    elif theirs and theirs[0] in _PLAIN:
        own = ()
    return Held(against, other.name, shown.fs_hz, shown.qms, shown.rise, dc_ohm(other, shown), ratios, own, theirs)


def _nearest(one: Motion, other: Motion) -> Motion:
    """The same sweep read with the one peak that lies nearest to the other's."""
    return one if one.terms == 1 else motion_of(one.curve, 1, other.fs_hz)


def _explain(one: Motion, two: Motion, r: Ratios, re_limit: float) -> tuple[Trouble, ...]:
    """What of the first driver alone would make it differ so from a sound one; more than one where these look alike."""
    if not one.terms:
        return _stuck(one, two.fs_hz, two.rise)
    if not two.terms:
        return ()
    if irregular(one) or irregular(two):
        # Such a peak says no more than that.
        lower = r.peak < 1.0 / rules.LIKE_PEAK
        return () if not irregular(one) else (Trouble.RUBS,) if lower else (Trouble.SCATTER,)
    same_fs = not _off(r.fs, 1.0 + PAIR_FS)
    # In ohms and farads: what the same moving part and coil keep where only the resistance before them differs.
    peak, mass, coil = r.peak * r.re, r.mass / r.re, r.coil * r.re
    marks = {
        "re": away_from(r.re, re_limit),
        "mass": away_from(mass, rules.LIKE_MASS),
        "coil": away_from(coil, rules.LIKE_COIL),
    }
    off = [name for name, away in marks.items() if away > 1.0]
    if off == ["re"] and same_fs and not _off(peak, rules.LIKE_PEAK):
        return _SERIES if r.re > 1.0 else ()
    if same_fs and r.re < 1.0 and coil < 1.0 / rules.LIKE_COIL and peak < 1.0 / rules.LIKE_PEAK:
        return (Trouble.SHORTED_TURNS,)
    if off == ["mass"] and same_fs and not _off(peak * mass, rules.LIKE_PEAK):
        return (Trouble.MAGNET,) if mass > 1.0 else ()
    together = math.hypot(*marks.values()) > rules.TOGETHER and sum(a > rules.COUNTS for a in marks.values()) > 1
    if together or max(marks.values()) > 2.0:
        return (Trouble.REPLACED,)
    if off == ["mass"]:
        return (Trouble.MOVING,)
    if _off(r.peak, rules.LIKE_PEAK if one.terms == 1 or same_fs else rules.VENTED_PEAK):
        return _loss(one, r)
    if not same_fs and min(one.rise, two.rise) > rules.DULL:
        return (Trouble.SUSPENSION if _off(r.fs, rules.AGED_FS) else Trouble.AGED,)
    return ()


def _stuck(read: Motion, fs_hz: float, rise: float) -> tuple[Trouble, ...]:
    """No peak, where one of this resonance and height should be."""
    if not (rise > rules.DULL and read.curve.lowest_hz < rules.SEEN_SHARE * fs_hz < fs_hz < read.curve.highest_hz):
        return ()
    return (Trouble.SEIZED, Trouble.STIFF_FLUID) if fs_hz > TWEETER_FS_HZ else (Trouble.SEIZED,)


def _loaded(r: Ratios, high: bool) -> bool:
    """Whether a horn's air is all that makes a driver's moving mass greater: its spring is the same."""
    return high and r.mass > 1.0 and not _off(r.mass * r.fs**2, rules.SHEET_MASS)


def is_high(read: Motion) -> bool:
    """A tweeter or horn, by its resonance."""
    return read.fs_hz > TWEETER_FS_HZ


def _loss(one: Motion, r: Ratios) -> tuple[Trouble, ...]:
    """Coil and mass are the same, and the peak is not: more losses, or fewer."""
    if r.peak > 1.0:
        return (Trouble.LOST_FLUID,) if is_high(one) else ()
    if irregular(one):
        return (Trouble.RUBS,)
    if is_high(one):
        return (Trouble.STIFF_FLUID, Trouble.RUBS)
    if leaks(one):
        return (Trouble.LEAKS,)
    # Where mass and coil are not seen, neither are these.
    magnet = (Trouble.MAGNET,) if math.isnan(r.mass) else ()
    turns = (Trouble.SHORTED_TURNS,) if math.isnan(r.mass) and math.isnan(r.coil) else ()
    return (Trouble.RUBS, Trouble.LEAKS, *magnet, *turns)


def away_from(ratio: float, limit: float) -> float:
    """How many limits a ratio lies off, either way; 0 where it is not known."""
    return abs(math.log(ratio)) / math.log(limit) if ratio > 0 else 0.0


def _off(ratio: float, limit: float) -> bool:
    return away_from(ratio, limit) > 1.0


def leaks(read: Motion) -> bool:
    """Whether the third pole that a leak makes shows in a woofer's sweep."""
    return not is_high(read) and read.leak > rules.LEAK


def irregular(read: Motion) -> bool:
    """Whether the rows on its peak follow no smooth curve, beyond what the other rows do."""
    return read.scatter > max(rules.SMOOTH, rules.SMOOTH_TIMES * read.grain)


def against_sheet(driver: SpeakerDriver, sheet: DatasheetValues | None) -> Held | None:
    """A datasheet's driver stands in free air: a box raises resonance and Q together, lining and leaks take Q."""
    sweep = sweep_of(driver)
    if sweep is None or sheet is None:
        return None
    read = motion_of(sweep)
    rise = 1.0 + sheet.qms / sheet.qes
    one_peak = read.terms == 1
    ratios = Ratios(
        fs=read.fs_hz / sheet.fs_hz,
        peak=(read.rise - 1.0) / (rise - 1.0) if one_peak else math.nan,
        re=dc_ohm(driver, read) / sheet.re_ohm,
        mass=read.mass_f * read.re_ohm * 2.0 * math.pi * sheet.fs_hz / sheet.qes,
    )
    high = sheet.fs_hz > TWEETER_FS_HZ
    known = driver.metered_re_ohm is not None or read.direct
    # Where only the resistance beneath the peak is known, the coil's losses are in it: it reads high.
    limit = 1.0 + DATASHEET_RE if known or ratios.re < 1.0 else rules.SHEET_LEVEL
    marks = away_from(ratios.re, limit), away_from(ratios.mass / ratios.re, rules.SHEET_MASS)
    lower = rules.SHEET_PEAK if high else rules.BOX_PEAK
    own: tuple[Trouble, ...] = ()
    if read.terms == 0:
        own = _stuck(read, sheet.fs_hz, rise)
    elif irregular(read):
        own = (Trouble.RUBS,) if ratios.peak < 1.0 / lower else (Trouble.SCATTER,)
    elif math.hypot(*marks) > rules.TOGETHER and min(marks) > rules.COUNTS and not _loaded(ratios, high):
        own = (Trouble.REPLACED,)
    elif (high and _off(ratios.peak, lower)) or ratios.peak < 1.0 / lower:
        own = _loss(read, ratios)
        if ratios.peak < 1.0 and ratios.re < 1.0 / rules.LIKE_RE_SWEPT:
            own = tuple(dict.fromkeys((Trouble.SHORTED_TURNS, *own)))
    elif known and ratios.re > limit:
        own = _SERIES
    return Held(Against.SHEET, driver.name, sheet.fs_hz, sheet.qms, rise, sheet.re_ohm, ratios, own, ())
