"""The criteria that every step is held against: each with its figure, limit and verdict.

No criterion is weighed against another. Where a limit is not the user's own, `source` tells whose it is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from xover.amplifier.load import LoadLevel
from xover.curve import Evidence
from xover.figures import written
from xover.plain import some_of
from xover.quantity import QuantityKind, format_quantity
from xover.rules.audibility import DIRECT_DB, HARD_DB, PRACTICE, UNHEARD_DB
from xover.rules.bands import LEAST_KNOWN
from xover.rules.margins import (
    DEVIATION_DB,
    DEVIATION_MOST_DB,
    EPDR_CAUTION_SHARE,
    IEC_LEAST_SHARE,
    NULL_DB,
    ROUNDING,
    TWEETER_MOST,
    TWEETER_W,
)


class Verdict(StrEnum):
    """How a figure stands against its limit."""

    PASS = "pass"
    MARGINAL = "marginal"
    FAIL = "fail"
    UNKNOWN = "unknown"


class Aspect(StrEnum):
    """What is judged; the order is that of the table."""

    DEVIATION = "sum deviation"
    NULL = "reversed null"
    VOICING = "change of voicing"
    LOAD = "lowest load"
    EPDR = "lowest EPDR"
    TWEETER = "tweeter below resonance"
    RATINGS = "part ratings"
    STOPS = "stop findings"
    PAIR = "left against right"
    COST = "cost"
    BUY = "parts to buy"
    CHANNELS = "amplifier channels"
    UNDO = "reversible"
    EVIDENCE = "evidence"


UNITS: Final = {
    Aspect.DEVIATION: "dB",
    Aspect.NULL: "dB",
    Aspect.VOICING: "dB",
    Aspect.LOAD: "ohm",
    Aspect.EPDR: "ohm",
    Aspect.TWEETER: "W",
    Aspect.RATINGS: "of rating",
    Aspect.STOPS: "",
    Aspect.PAIR: "dB",
    Aspect.COST: "money",
    Aspect.BUY: "parts",
    Aspect.CHANNELS: "channels",
    Aspect.UNDO: "",
    Aspect.EVIDENCE: "",
}

_NAMES: Final = {
    Aspect.DEVIATION: "sum deviation",
    Aspect.NULL: "null depth",
    Aspect.VOICING: "voicing moved",
    Aspect.LOAD: "lowest load",
    Aspect.EPDR: "lowest EPDR",
    Aspect.PAIR: "pair apart",
    Aspect.COST: "cost",
}


@dataclass(frozen=True)
class Criterion:
    """One criterion of one option.

    Attributes
    ----------
    value : a figure in `unit`, or a word; None where it is not known.
    limit : up to (or down to) which it passes; None where there is none.
    marginal_limit : up to which it is marginal; None: nothing beyond `limit` fails.
    source : where the limit comes from. note : what the figure is, or why it is not known.
    of : what it is of, for its figure.
    """

    name: Aspect
    value: float | str | None
    verdict: Verdict
    limit: float | str | None = None
    marginal_limit: float | None = None
    source: str = ""
    note: str = ""
    of: str = ""

    @property
    def unit(self) -> str:
        """Unit of value and limits; empty for counts of findings and for words."""
        return UNITS[self.name]

    @property
    def number(self) -> float:
        """The value as a figure; NaN where it is not known or a word."""
        return float(self.value) if isinstance(self.value, int | float) else math.nan

    @property
    def known(self) -> bool:
        """Whether there is a verdict."""
        return self.verdict is not Verdict.UNKNOWN

    @property
    def figure(self) -> str:
        """The value in words: "2.5 dB", "5.7 ohm", "yes"; "not known"."""
        return figure(self.name, self.value, of=self.of)

    def plain(self) -> dict[str, Any]:
        """The shape that the blueprint fixes, and more."""
        return some_of(self, "name value unit limit marginal_limit verdict source note")


def figure(name: Aspect, value: float | str | None, short: bool = False, of: str = "") -> str:
    """A value in words; `short` leaves the unit out, as in a table."""
    if value is None:
        return "not known" if not short else "-"
    if isinstance(value, str):
        return value
    unit = UNITS[name]
    if name is Aspect.TWEETER:
        # A resonance far below the crossover gets microwatts: all the same nothing.
        least = "<0.01" if short else "under 0.01"
        words, unit = least if value < 1e-5 else format_quantity(1e3 * value, QuantityKind.PLAIN, 2), "mW"
    elif name in (Aspect.STOPS, Aspect.BUY, Aspect.CHANNELS):
        words = f"{value:.0f}"
    elif name is Aspect.RATINGS:
        words, unit = f"{100.0 * value:.0f}", "% of rating"
    else:
        words, unit = written(_NAMES[name], value, of), "" if name is Aspect.COST else unit
    return words if short or not unit else f"{words} {unit}"


def unknown(name: Aspect, why: str, value: float | str | None = None) -> Criterion:
    """A criterion without a verdict, and why."""
    return Criterion(name, _told(value), Verdict.UNKNOWN, note=why)


def at_most(value: float, limit: float, marginal: float | None) -> Verdict:
    """Pass up to a limit, marginal up to another one (without one: ever), fail beyond; unknown for NaN."""
    if math.isnan(value):
        return Verdict.UNKNOWN
    if value <= limit * (1.0 + ROUNDING):
        return Verdict.PASS
    return Verdict.MARGINAL if marginal is None or value <= marginal * (1.0 + ROUNDING) else Verdict.FAIL


def deviation(half_range_db: float, *, assumed: bool, known_share: float = 1.0, note: str = "") -> Criterion:
    """Half of the sum's range in the band; no verdict where a response is assumed or a tenth of the band is missing."""
    verdict = at_most(half_range_db, DEVIATION_DB, DEVIATION_MOST_DB)
    if assumed or known_share < LEAST_KNOWN:
        verdict = Verdict.UNKNOWN
    return Criterion(Aspect.DEVIATION, _told(half_range_db), verdict, DEVIATION_DB, DEVIATION_MOST_DB, PRACTICE, note)


def reversed_null(depth_db: float, *, assumed: bool, expected: bool = True, note: str = "") -> Criterion:
    """The shallowest reversed null; marginal at worst, as it harms nothing.

    expected : False for slopes that leave neighbours a quarter turn apart, which have none by design.
    """
    verdict = Verdict.UNKNOWN
    if expected and not assumed and not math.isnan(depth_db):
        verdict = Verdict.PASS if depth_db >= NULL_DB * (1.0 - ROUNDING) else Verdict.MARGINAL
    value = "full" if math.isinf(depth_db) else _told(depth_db)
    return Criterion(Aspect.NULL, value, verdict, NULL_DB, None, PRACTICE, note)


def voicing(change_db: float, *, can_fail: bool, note: str = "") -> Criterion:
    """Change of level against the design.

    can_fail : False, and it is marginal at worst, for an option that is there to change it, or for a change of a drive:
        whether that is heard depends on the other drivers.
    """
    most = DIRECT_DB if can_fail else None
    return Criterion(
        Aspect.VOICING,
        _told(change_db),
        at_most(change_db, UNHEARD_DB, most),
        UNHEARD_DB,
        most,
        f"not heard with music, obvious beyond {DIRECT_DB:g} dB ({PRACTICE})",
        note,
    )


def load(ohm: float, limit_ohm: float | None, level: LoadLevel, source: str, note: str = "") -> Criterion:
    """The lowest impedance against what the amplifier allows; marginal within the 20 % dip of IEC 60268-5."""
    verdict = {
        LoadLevel.FITS: Verdict.PASS,
        LoadLevel.EDGE: Verdict.MARGINAL,
        LoadLevel.TOO_LOW: Verdict.FAIL,
        LoadLevel.UNKNOWN: Verdict.UNKNOWN,
    }[level]
    if limit_ohm is None:
        return unknown(Aspect.LOAD, note or "no minimum_load_ohm in speaker.toml", ohm)
    return Criterion(
        Aspect.LOAD,
        _told(ohm),
        verdict,
        limit_ohm,
        IEC_LEAST_SHARE * limit_ohm,
        f"minimum_load_ohm of {source}; marginal within the 20 % dip of IEC 60268-5",
        note,
    )


def peak_load(epdr_ohm: float, limit_ohm: float | None, source: str, known: bool = True, note: str = "") -> Criterion:
    """Equivalent peak dissipation resistance against half of the lowest load allowed; marginal at worst.

    known : whether the load is known over enough of its band for it to pass.
    """
    if limit_ohm is None:
        return unknown(Aspect.EPDR, note or "no minimum_load_ohm in speaker.toml", epdr_ohm)
    least = EPDR_CAUTION_SHARE * limit_ohm
    verdict = Verdict.UNKNOWN
    if not math.isnan(epdr_ohm):
        fits = Verdict.PASS if known else Verdict.UNKNOWN
        verdict = fits if epdr_ohm >= least * (1.0 - ROUNDING) else Verdict.MARGINAL
    return Criterion(
        Aspect.EPDR, _told(epdr_ohm), verdict, least, None, f"half of minimum_load_ohm of {source} ({PRACTICE})", note
    )


def tweeter(power_w: float, note: str = "") -> Criterion:
    """Average watts that reach the highest driver below its resonance at the listening level."""
    most = TWEETER_MOST * TWEETER_W
    return Criterion(Aspect.TWEETER, _told(power_w), at_most(power_w, TWEETER_W, most), TWEETER_W, most, PRACTICE, note)


def ratings(needed_share: float, over: bool, unstated: int, note: str = "") -> Criterion:
    """The part that uses most of its rating, margin included, at the amplifier's full power.

    Parameters
    ----------
    needed_share : what it needs over what its card states; NaN where nothing was compared.
    over : whether a part's stress itself passes its rating. unstated : parts whose card states none.
    """
    verdict = at_most(needed_share, 1.0, None)
    if over:
        verdict = Verdict.FAIL
    elif unstated and verdict is Verdict.PASS:
        verdict = Verdict.UNKNOWN
    return Criterion(
        Aspect.RATINGS,
        _told(needed_share),
        verdict,
        1.0,
        None,
        f"the parts' own ratings, with the usual margins ({PRACTICE}); fails where the stress alone passes a rating",
        note,
    )


def stops(count: int, note: str = "") -> Criterion:
    """Findings that forbid switching on."""
    return Criterion(
        Aspect.STOPS,
        count,
        Verdict.PASS if count == 0 else Verdict.FAIL,
        0,
        0.0,
        "what `check` and `bypass` stop",
        note,
    )


def pair(rarely_over_db: float, *, assumed: bool = False, aged: bool = False, note: str = "") -> Criterion:
    """Largest difference of two builds' sums that 97.5 % of pairs keep to; marginal at worst.

    aged : the boards have aged each in its own way, so that the figure is the least it can be.
    """
    verdict = at_most(rarely_over_db, HARD_DB, None)
    if assumed or (aged and verdict is Verdict.PASS):
        verdict = Verdict.UNKNOWN
    return Criterion(
        Aspect.PAIR,
        _told(rarely_over_db),
        verdict,
        HARD_DB,
        None,
        f"hard to hear, in a direct comparison only ({PRACTICE})",
        note,
    )


def cost(money: float, most: float | None, note: str = "") -> Criterion:
    """What one speaker costs in parts; no verdict without a limit of the user's, but nothing always passes."""
    verdict = at_most(money, most, most) if most is not None else Verdict.PASS if money == 0.0 else Verdict.UNKNOWN
    return Criterion(Aspect.COST, _told(money), verdict, most, most, "as given" if most is not None else "", note)


def to_buy(count: int, listed: bool, note: str = "") -> Criterion:
    """Parts to buy for one speaker; no verdict where no list says that they are on sale.

    listed : all of them stand in a stock list, enough for a pair.
    """
    verdict = Verdict.PASS if count == 0 or listed else Verdict.UNKNOWN
    return Criterion(Aspect.BUY, count, verdict, None, None, "at hand for a pair, by the stock list", note)


def channels(needed: int, given: int | None, note: str = "") -> Criterion:
    """Amplifier channels for one speaker against those of speaker.toml; None given: not told."""
    if given is None:
        return Criterion(Aspect.CHANNELS, needed, Verdict.UNKNOWN, None, None, "", note)
    verdict = Verdict.PASS if given >= needed else Verdict.FAIL
    return Criterion(Aspect.CHANNELS, needed, verdict, given, float(given), "the amplifiers of speaker.toml", note)


def undo(words: str, whole: bool, note: str) -> Criterion:
    """Whether it can be taken back."""
    return Criterion(Aspect.UNDO, words, Verdict.PASS if whole else Verdict.MARGINAL, "yes", None, PRACTICE, note)


def evidence(kinds: tuple[Evidence | None, ...], note: str = "") -> Criterion:
    """The weakest of what an option rests on; None: not known at all."""
    if None in kinds:
        return Criterion(Aspect.EVIDENCE, "not known", Verdict.UNKNOWN, "measured", None, PRACTICE, note)
    order = (Evidence.ASSUMED, Evidence.DATASHEET, Evidence.MEASURED)
    weakest = next((kind for kind in order if kind in kinds), Evidence.MEASURED)
    verdict = Verdict.PASS if weakest is Evidence.MEASURED else Verdict.MARGINAL
    return Criterion(Aspect.EVIDENCE, str(weakest), verdict, "measured", None, PRACTICE, note)


def _told(value: float | str | None) -> float | str | None:
    return None if isinstance(value, float) and not math.isfinite(value) else value
