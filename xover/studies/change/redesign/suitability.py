"""Does another driver suit the place: its resonance, its level, its impedance, and the load that comes of it?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.acoustic.decibel import level_db
from xover.amplifier.load import LoadLevel, load_level
from xover.curve import Complex, Float, log_grid
from xover.errors import OptionError
from xover.figures import written
from xover.network import DriverCard, Network, Solution, solve
from xover.quantity import hertz, ohms
from xover.rules.audibility import UNHEARD_DB
from xover.rules.bands import JUDGED_HZ, OWN_BAND_DB
from xover.rules.likeness import LIKE_IMPEDANCE, SAMPLES
from xover.rules.margins import LOWEST_LACK_DB, RESONANCE_RATIO, UPPER_LACK_DB
from xover.sound.meeting import present_crossovers, ways
from xover.sound.prediction import card_response
from xover.sound.resonance import driver_resonance_hz
from xover.speaker import Speaker

_PER_OCTAVE: Final = 48

Rows = NDArray[np.bool_]


class Fit(StrEnum):
    """How the driver meets one criterion."""

    PASS = "pass"
    MARGINAL = "marginal"
    FAIL = "fail"
    UNKNOWN = "not known"


@dataclass(frozen=True)
class SwapFinding:
    """One criterion of a driver that takes another's place.

    Attributes
    ----------
    driver : its name in the network. what : the criterion.
    value, limit : in `unit`; NaN where not known, or where there is no limit.
    mended_by_parts : whether other parts in the network may mend a failure.
    """

    driver: str
    what: str
    value: float
    limit: float
    unit: str
    fit: Fit
    mended_by_parts: bool
    text: str


def suitability(
    old: Speaker,
    new: Speaker,
    name: str,
    network: Network,
    *,
    minimum_load_ohm: float | None = None,
    crossover_hz: Sequence[float] | None = None,
) -> tuple[SwapFinding, ...]:
    """Hold a driver that takes another's place against what the network asks of it.

    Parameters
    ----------
    old, new : the speaker with the old and with the new driver.
    name : the driver. network : what it is to be played through, as it is.
    minimum_load_ohm : of the amplifier; by default what speaker.toml says.
    crossover_hz : corner frequencies that are wanted, rising; by default those of the old drivers.

    Raises
    ------
    OptionError : the network has no such driver. NoSolutionError.
    """
    cards = [c for c in network.drivers if c.driver == name]
    if not cards:
        raise OptionError(f"the network does not use the driver '{name}'", "replace one that it has")
    f = log_grid(20.0, 20_000.0, _PER_OCTAVE)
    before = solve(network, f, old.impedances_ohm(network, f))
    after = solve(network, f, new.impedances_ohm(network, f))
    limit = minimum_load_ohm
    if limit is None and old.amplifier is not None:
        limit = old.amplifier.minimum_load_ohm
    plays = _plays(before.drive[cards[0].key])
    order = ways(old, network, f)
    found = [
        _resonance(old, new, name, network, order, crossover_hz, f),
        _level(old, new, cards[0], before, plays, lowest=name == order[0]),
        _impedance(old, new, name, f, plays),
        _load(network, name, before, after, limit),
    ]
    return tuple(finding for finding in found if finding is not None)


def _plays(drive: Complex) -> Rows:
    level = level_db(drive)
    with np.errstate(invalid="ignore"):
        return np.asarray(level >= np.fmax.reduce(level) - OWN_BAND_DB)


def _resonance(
    old: Speaker,
    new: Speaker,
    name: str,
    network: Network,
    order: Sequence[str],
    wanted_hz: Sequence[float] | None,
    f: Float,
) -> SwapFinding | None:
    """The crossover below the driver over its resonance; nothing for the lowest way."""
    way = order.index(name)
    if way == 0:
        return None
    corners = tuple(wanted_hz) if wanted_hz is not None else present_crossovers(old, network, f)
    what = "crossover over resonance"
    if len(corners) != len(order) - 1:
        text = f"where {name} takes over is not known, so neither is how far its resonance lies below"
        return SwapFinding(name, what, math.nan, RESONANCE_RATIO, "", Fit.UNKNOWN, False, text)
    corner = corners[way - 1]
    peak, was = driver_resonance_hz(new.drivers[name]), driver_resonance_hz(old.drivers[name])
    if math.isnan(peak):
        text = (
            f"the impedance of the new {name} shows no resonance: ask its data sheet for one below {hertz(corner / 2)}"
        )
        return SwapFinding(name, what, math.nan, RESONANCE_RATIO, "", Fit.UNKNOWN, False, text)
    ratio = corner / peak
    before = "" if math.isnan(was) else f" (the old one: {written('resonance', was, name)})"
    text = f"resonance {written('resonance', peak, f'new {name}')}{before}, crossover {hertz(corner)}"
    if ratio >= RESONANCE_RATIO:
        return SwapFinding(name, what, ratio, RESONANCE_RATIO, "", Fit.PASS, False, f"{text}: far enough below")
    if not math.isnan(was) and peak <= was:
        text += ": above half of it, but no higher than the old one's"
        return SwapFinding(name, what, ratio, RESONANCE_RATIO, "", Fit.MARGINAL, False, text)
    text += f": above half of it, so it must cross at {hertz(RESONANCE_RATIO * peak)} or higher"
    fit = Fit.MARGINAL if ratio * SAMPLES >= RESONANCE_RATIO else Fit.FAIL
    return SwapFinding(name, what, ratio, RESONANCE_RATIO, "", fit, False, text)


def _level(old: Speaker, new: Speaker, card: DriverCard, before: Solution, plays: Rows, *, lowest: bool) -> SwapFinding:
    """Drive that the new driver needs to be as loud as the old one: a passive network gives 0 dB at most."""
    f, name = before.frequency_hz, card.driver
    was, now = level_db(card_response(old, card, f)), level_db(card_response(new, card, f))
    drive = level_db(before.drive[card.key])
    needed = drive + was - now
    counted = plays & np.isfinite(needed) & (f >= JUDGED_HZ[0]) & (f <= JUDGED_HZ[1])
    most = LOWEST_LACK_DB if lowest else UPPER_LACK_DB
    what = "level without a pad"
    if not counted.any():
        text = f"the sound of the old or of the new {name} is not known, so neither is whether it is loud enough"
        return SwapFinding(name, what, math.nan, 0.0, "dB", Fit.UNKNOWN, False, text)
    spare = -float(np.median(needed[counted]))
    given = float(np.median(drive[counted]))
    text = f"needs {-spare:+.1f} dB of drive to be as loud as the old one, which gets {given:+.1f} dB"
    if spare >= -UNHEARD_DB:
        return SwapFinding(name, what, spare, 0.0, "dB", Fit.PASS, False, text)
    if spare >= -most:
        who = "the other drivers must come down by that" if lowest else "it will be a little faint"
        return SwapFinding(name, what, spare, 0.0, "dB", Fit.MARGINAL, False, f"{text}; without any pad {who}")
    return SwapFinding(name, what, spare, 0.0, "dB", Fit.FAIL, False, f"{text}: too faint even without any pad")


def _impedance(old: Speaker, new: Speaker, name: str, f: Float, plays: Rows) -> SwapFinding:
    """|Z| of the new driver over the old one's where it plays: the corners of the network move with it."""
    with np.errstate(invalid="ignore"):
        ratio = np.abs(new.drivers[name].impedance_ohm(f)) / np.abs(old.drivers[name].impedance_ohm(f))
    counted = plays & np.isfinite(ratio)
    what = "impedance over the old one's"
    if not counted.any():
        text = f"the impedances of the old and the new {name} have no band in common"
        return SwapFinding(name, what, math.nan, LIKE_IMPEDANCE, "", Fit.UNKNOWN, True, text)
    middle = float(np.exp(np.median(np.log(ratio[counted]))))
    if 1.0 / LIKE_IMPEDANCE <= middle <= LIKE_IMPEDANCE:
        text = f"{middle:.2f} times the old one's where it plays: the network meets much the same"
        return SwapFinding(name, what, middle, LIKE_IMPEDANCE, "", Fit.PASS, True, text)
    text = f"{middle:.2f} times the old one's where it plays: corners and pad of the network move"
    return SwapFinding(name, what, middle, LIKE_IMPEDANCE, "", Fit.MARGINAL, True, text)


def _load(network: Network, name: str, before: Solution, after: Solution, limit: float | None) -> SwapFinding:
    """Lowest load of the network as it is."""
    was, now = lowest_load_ohm(network, before), lowest_load_ohm(network, after)
    if math.isnan(now):
        return SwapFinding(
            name, "lowest load", now, math.nan, "ohm", Fit.UNKNOWN, True, "the load is not known: sweep its impedance"
        )
    text = f"{ohms(now)} through the present network"
    if not math.isnan(was):
        text += f", {ohms(was)} with the old driver"
    if limit is None:
        text += "; no lowest load of the amplifier is known"
        return SwapFinding(name, "lowest load", now, math.nan, "ohm", Fit.UNKNOWN, True, text)
    level = load_level(now, limit)
    if level is LoadLevel.FITS:
        return SwapFinding(name, "lowest load", now, limit, "ohm", Fit.PASS, True, text)
    text += f"; the amplifier asks for {ohms(limit)}"
    fit = Fit.FAIL if level is LoadLevel.TOO_LOW else Fit.MARGINAL
    return SwapFinding(name, "lowest load", now, limit, "ohm", fit, True, text)


def lowest_load_ohm(network: Network, solution: Solution) -> float:
    """Over all channels and the frequencies that are known; NaN where none is."""
    lowest = [float(np.fmin.reduce(np.abs(solution.impedance_ohm[c.name]))) for c in network.channels]
    return min((z for z in lowest if not math.isnan(z)), default=math.nan)
