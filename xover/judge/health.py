"""What ails each driver of a speaker, as its sweep shows it beside its mate's, its twins' and its datasheet."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any, Final

from xover.curve import log_grid
from xover.errors import NoSolutionError
from xover.judge.beside import (
    HARMLESS,
    Against,
    Held,
    Ratios,
    Trouble,
    against_sheet,
    away_from,
    beside,
    dc_ohm,
    irregular,
    is_high,
    leaks,
    other_sweep,
    sweep_of,
)
from xover.network import Network
from xover.plain import fields_of
from xover.rules import health as rules
from xover.rules.bands import AUDIO_BAND_HZ
from xover.rules.likeness import DATASHEET_RE
from xover.sound.driver_fit import fit_sweep
from xover.sound.meeting import ways
from xover.sound.motion import motion_of
from xover.speaker import Speaker, SpeakerDriver
from xover.speaker.instruments import is_printed

_PER_OCTAVE: Final = 24


class Side(StrEnum):
    """Which of the drivers that were compared is meant."""

    NONE = "none"
    OWN = "this one"
    OTHER = "the other one"
    EITHER = "one of the two"


@dataclass(frozen=True, eq=False)
class DriverHealth:
    """One driver. NaN where a figure is not known.

    Attributes
    ----------
    fs_hz, qms, rise, re_ohm : of its fitted model, NaN where none follows its sweep; `rise` is Zmax/Re.
    peaks : that stand clear.
    high : a tweeter or horn, by its resonance. held : what it was held against.
    side : whose trouble it is; OWN and OTHER only where the readings tell. trouble : the possible ones of that side;
        of EITHER this driver's. other : the other driver's. by : what told.
    """

    driver: str
    fs_hz: float
    qms: float
    rise: float
    re_ohm: float
    peaks: int
    high: bool
    held: tuple[Held, ...]
    side: Side
    trouble: tuple[Trouble, ...] = ()
    other: tuple[Trouble, ...] = ()
    by: Held | None = None

    def plain(self) -> dict[str, Any]:
        """Its figures, and what may ail it."""
        return fields_of(self, by=None if self.by is None else self.by.against)


def driver_health(
    driver: SpeakerDriver, mate: SpeakerDriver | None = None, twins: Sequence[SpeakerDriver] = ()
) -> DriverHealth | None:
    """Hold one driver against what is known of its like; None without a sweep of its own, and of a dead one.

    Parameters
    ----------
    mate : the same driver of the other cabinet. twins : those of its way in this one.
    """
    sweep = sweep_of(driver)
    if sweep is None:
        return None
    own = motion_of(sweep)
    held = [beside(driver, other, Against.TWIN) for other in twins if other_sweep(driver, other)]
    if mate is not None and other_sweep(driver, mate):
        held.append(beside(driver, mate, Against.MATE))
    sheet = against_sheet(driver, driver.datasheet)
    side, trouble, other, by = _verdict(held, sheet, None if mate is None else against_sheet(mate, driver.datasheet))
    if side is Side.NONE and not set(trouble) - HARMLESS:
        alone = [t for t, shows in ((Trouble.SCATTER, irregular(own)), (Trouble.LEAKS, leaks(own))) if shows]
        side, trouble = (Side.OWN, tuple(alone)) if alone else (side, trouble)
    return DriverHealth(
        driver=driver.name,
        fs_hz=own.fs_hz,
        qms=own.qms,
        rise=own.rise,
        re_ohm=dc_ohm(driver, own),
        peaks=own.terms,
        high=is_high(own),
        held=(*held, *([sheet] if sheet is not None else [])),
        side=side,
        trouble=trouble,
        other=other,
        by=by,
    )


def speaker_health(
    speaker: Speaker, network: Network | None, mate: Speaker | None = None
) -> Mapping[str, DriverHealth]:
    """Each driver that has a sweep, by name: beside those of its way, by the network, and its namesake in the mate."""
    swept = [name for name, d in speaker.drivers.items() if sweep_of(d) is not None]
    way: dict[str, tuple[str, ...]] = {}
    if network is not None and len(swept) > 1:
        with suppress(NoSolutionError):
            found = ways(speaker, network, log_grid(*AUDIO_BAND_HZ, _PER_OCTAVE))
            way = {name: w.names for w in found for name in w.names}
    theirs = {} if mate is None else {name.lower(): _as_read(mate, name) for name in mate.drivers}
    health = {}
    for name in swept:
        twins = [_as_read(speaker, other) for other in way.get(name, ()) if other != name]
        read = driver_health(_as_read(speaker, name), theirs.get(name.lower()), twins)
        if read is not None:
            health[name] = _told(read, speaker, mate)
    return health


def _told(read: DriverHealth, speaker: Speaker, mate: Speaker | None) -> DriverHealth:
    """With the figures of the fitted models, as every other answer has them; without any where no model follows."""
    others = {} if mate is None else {name.lower(): d for name, d in mate.drivers.items()}

    def figures(h: DriverHealth | Held, driver: SpeakerDriver) -> tuple[float, float, float, float]:
        fit = fit_sweep(driver)
        if fit is None:
            return h.fs_hz, h.qms, h.rise, h.re_ohm
        if not fit.holds:
            return (math.nan,) * 4
        re = driver.metered_re_ohm or fit.model.re_ohm
        return _known(fit.fs_hz, h.fs_hz), _known(fit.qms, h.qms), h.rise * h.re_ohm / re, re

    def held_told(held: Held) -> Held:
        if held.against is Against.SHEET:
            return held
        fs, qms, rise, re = figures(
            held, speaker.drivers[held.name] if held.against is Against.TWIN else others[held.name.lower()]
        )
        return replace(held, fs_hz=fs, qms=qms, rise=rise, re_ohm=re)

    held = {id(h): held_told(h) for h in read.held}
    failing = math.isnan(figures(read, speaker.drivers[read.driver])[3])
    if failing or (read.by is not None and math.isnan(held.get(id(read.by), read.by).re_ohm)):
        # What no model follows is no reading; that rows jump about is seen on the rows themselves.
        kept = tuple(t for t in read.trouble if t is Trouble.SCATTER and read.by is None)
        read = replace(read, side=Side.OWN if kept else Side.NONE, trouble=kept, other=(), by=None)
    by = None if read.by is None else held.get(id(read.by), read.by)
    fs, qms, rise, re = figures(read, speaker.drivers[read.driver])
    return replace(read, fs_hz=fs, qms=qms, rise=rise, re_ohm=re, held=tuple(held.values()), by=by)


def _known(one: float, other: float) -> float:
    return one if math.isfinite(one) else other


def _as_read(speaker: Speaker, name: str) -> SpeakerDriver:
    """Without a phase that was rebuilt, and without a template's values."""
    entry, driver = speaker.file.speaker.drivers[name], speaker.drivers[name]
    curve = None if driver.impedance is None else driver.impedance.as_swept
    sheet = driver.datasheet if is_printed(entry) else None
    return replace(driver, impedance=curve, datasheet=sheet)


def unsound(health: Mapping[str, DriverHealth]) -> Iterator[DriverHealth]:
    """Those of which there is something to say; of two twins the one that it is about, or the first."""
    told: set[str] = set()
    for name, h in health.items():
        twin = health.get(h.by.name) if h.by is not None and h.by.against is Against.TWIN else None
        by_twin = twin is not None and (h.side is Side.OTHER or twin.side is Side.OWN or twin.driver in told)
        if h.side is Side.OWN or not (h.side is Side.NONE or by_twin):
            told.add(name)
            yield h


_Verdict = tuple[Side, tuple[Trouble, ...], tuple[Trouble, ...], Held | None]


def _verdict(likes: Sequence[Held], sheet: Held | None, their_sheet: Held | None) -> _Verdict:
    """Whose trouble it is: the odd one's among several; of two the one whose fault it can only be, or that the
    datasheet does not know."""
    differ = [h for h in likes if h.differs]
    if not likes:
        own = () if sheet is None else sheet.own
        return (Side.OWN, own, (), sheet) if own else (Side.NONE, (), (), None)
    if not differ:
        aged = next((h for h in likes if h.own), None)
        return Side.NONE, () if aged is None else aged.own, (), aged
    first = differ[0]
    if len(differ) < len(likes):
        # Another of its kind is as it is: where most differ from it, these two are the odd ones.
        return (Side.NONE, (), (), None) if 2 * len(differ) <= len(likes) else (Side.OWN, first.own, (), first)
    if len(differ) > 1:
        named = next((h for h in differ if h.own), None)
        return (Side.NONE, (), (), None) if named is None else (Side.OWN, named.own, (), named)
    own, other = first.own, first.other
    if not own or not other:
        return (Side.OTHER, other, other, first) if other else (Side.OWN, own, (), first)
    if first.against is Against.MATE and sheet is not None and their_sheet is not None:
        away = [_distance(h.ratios) for h in (sheet, their_sheet)]
        if away[0] > rules.FARTHER * away[1]:
            return Side.OWN, own, (), first
        if away[1] > rules.FARTHER * away[0]:
            return Side.OTHER, other, other, first
    return Side.EITHER, own, other, first


def _distance(r: Ratios) -> float:
    """How far from a datasheet, each reading by what a sound one may stray."""
    limits = [(r.peak, rules.SHEET_PEAK), (r.re, 1.0 + DATASHEET_RE), (r.mass, rules.SHEET_MASS)]
    # A box raises the resonance; nothing but the driver lowers it.
    limits.append((min(r.fs, 1.0), rules.SHEET_FS))
    return math.hypot(*(away_from(x, limit) for x, limit in limits))
