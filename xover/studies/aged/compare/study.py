"""Where do two curves, networks or speakers differ, and is it audible?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from xover.acoustic.audibility import SOURCE, audibility
from xover.acoustic.level import band_level
from xover.acoustic.octave_bands import bands_touched, mean_over_bands, nominal_hz
from xover.curve import Float
from xover.errors import OptionError
from xover.quantity import hertz
from xover.readable import Readable
from xover.studies.aged.compare.curves import Operand, Predicted, Shown, What, natural, show

MATCH_BAND_HZ: Final = (200.0, 15_000.0)
THRESHOLD_DB: Final = 0.5
"""Up to this a change of an octave or more is not heard with music (xover/acoustic/audibility.py)."""
LEAST_OCTAVES: Final = 1.0 / 3.0
"""A stretch narrower than this is told with the largest difference only."""


@dataclass(frozen=True)
class OctaveDifference:
    """Mean difference over one octave band.

    Attributes
    ----------
    centre_hz : nominal, as IEC 61260-1 names it. difference_db : NaN where less than half of the band is known.
    audible : beyond the threshold; None for an impedance, which nobody hears, and where nothing is known.
    """

    centre_hz: float
    difference_db: float
    audible: bool | None
    words: str


@dataclass(frozen=True)
class Stretch:
    """A stretch of frequencies over which the difference stays beyond the threshold, on one side.

    Attributes
    ----------
    octaves : its width. worst_db, at_hz : its largest difference.
    """

    from_hz: float
    to_hz: float
    octaves: float
    worst_db: float
    at_hz: float
    words: str


@dataclass(frozen=True, eq=False, repr=False)
class Comparison(Readable):
    """The first less the second.

    Attributes
    ----------
    what : sum or impedance (a level or an impedance, for tables).
    difference_db : (n,) 20 lg of the ratio, `offset_db` taken off; NaN where one of the two is not known.
    percent : (n,) difference of the ohms in per cent of the second's, of an impedance; None of a level.
    phase_difference_deg : (n,) -180..180, or None where one has no phase.
    offset_db : log-frequency weighted mean over `match_band_hz`; 0 where the levels were not matched.
    match_band_hz : None where the levels were not matched.
    known_hz : lowest and highest frequency at which both are known.
    rms_db : log-frequency weighted, over what is known of `judged_hz`.
    octaves : IEC 61260-1 bands that reach into the grid. stretches : wider than a third of an octave, largest first.
    """

    title: str
    first: Shown
    second: Shown
    what: What
    frequency_hz: Float
    difference_db: Float
    percent: Float | None
    phase_difference_deg: Float | None
    offset_db: float
    match_band_hz: tuple[float, float] | None
    known_hz: tuple[float, float]
    judged_hz: tuple[float, float]
    rms_db: float
    worst_db: float
    worst_at_hz: float
    octaves: tuple[OctaveDifference, ...]
    stretches: tuple[Stretch, ...]
    threshold_db: float
    warnings: tuple[str, ...]

    @property
    def audible(self) -> bool | None:
        """Whether an octave or a stretch lies beyond the threshold; None for an impedance."""
        if self.what is What.IMPEDANCE:
            return None
        return bool(self.stretches) or any(o.audible for o in self.octaves)

    def plain(self) -> dict[str, Any]:
        """The shape that the blueprint fixes, with what else is known."""
        return {
            "title": self.title,
            "first": {"name": self.first.name, "evidence": self.first.evidence},
            "second": {"name": self.second.name, "evidence": self.second.evidence},
            "what": self.what,
            "frequency_hz": self.frequency_hz,
            "difference_db": self.difference_db,
            "difference_percent": self.percent,
            "phase_difference_deg": self.phase_difference_deg,
            "offset_db": self.offset_db,
            "match_band_hz": self.match_band_hz,
            "known_hz": self.known_hz,
            "judged_hz": self.judged_hz,
            "octaves": self.octaves,
            "rms_db": self.rms_db,
            "worst_db": self.worst_db,
            "worst_at_hz": self.worst_at_hz,
            "stretches": self.stretches,
            "threshold_db": self.threshold_db,
            "threshold_source": SOURCE,
            "audible": self.audible,
            "warnings": self.warnings,
        }


def compare(
    first: Operand,
    second: Operand,
    frequency_hz: Float,
    *,
    what: What | None = None,
    match_band_hz: tuple[float, float] | None = MATCH_BAND_HZ,
    threshold_db: float = THRESHOLD_DB,
) -> Comparison:
    """Compare two curves: the first less the second.

    Parameters
    ----------
    frequency_hz : (n,) rising grid of the result.
    what : by default what the two have in common (`natural`).
    match_band_hz : where the levels are matched; None takes them as they are. An impedance has no level that is
        free, so it is never matched.

    Raises
    ------
    OptionError : nothing in common: no frequency, or not the same quantity. InputError, NoSolutionError.
    """
    kind = what or natural(first, second)
    one, other = show(first, kind, frequency_hz), show(second, kind, frequency_hz)
    raw = one.level_db - other.level_db
    known = np.flatnonzero(np.isfinite(raw))
    if known.size < 2:
        raise OptionError(
            f"{one.name} and {other.name} are not both known at two frequencies or more",
            "choose a range (--from, --to) that both reach",
        )
    reach = (float(frequency_hz[known[0]]), float(frequency_hz[known[-1]]))
    warnings = [*one.notes, *other.notes]
    matched = None if kind is What.IMPEDANCE else match_band_hz
    offset = 0.0
    if matched is not None:
        band = band_level(frequency_hz, raw, *matched)
        if math.isnan(band.mean_db):
            raise OptionError(
                f"the two are not both known between {hertz(matched[0])} and {hertz(matched[1])}",
                "match them elsewhere, such as --match 100..1k, or not at all: --match none",
            )
        offset = band.mean_db
        if band.known_share < 0.9:
            warnings.append(
                f"levels matched over what both know of {hertz(matched[0])} to {hertz(matched[1])}: "
                f"{hertz(band.known_from_hz)} to {hertz(band.known_to_hz)}"
            )
    difference = raw - offset
    judged = matched or reach
    over = band_level(frequency_hz, difference, *judged)
    octaves = _octaves(frequency_hz, difference, kind, threshold_db)
    worst = int(known[np.argmax(np.abs(difference[known]))])
    return Comparison(
        title=_title(first, second),
        first=one,
        second=other,
        what=kind,
        frequency_hz=frequency_hz,
        difference_db=difference,
        percent=100.0 * np.expm1(raw * math.log(10.0) / 20.0) if kind is What.IMPEDANCE else None,
        phase_difference_deg=_phase_difference(one, other),
        offset_db=offset,
        match_band_hz=matched,
        known_hz=reach,
        judged_hz=judged,
        rms_db=math.hypot(over.mean_db, over.rms_deviation_db),
        worst_db=float(difference[worst]),
        worst_at_hz=float(frequency_hz[worst]),
        octaves=octaves,
        stretches=() if kind is What.IMPEDANCE else _stretches(frequency_hz, difference, threshold_db),
        threshold_db=threshold_db,
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _title(first: Operand, second: Operand) -> str:
    """Both by name; the speaker once where it is the same."""
    if isinstance(first, Predicted) and isinstance(second, Predicted) and first.speaker.title == second.speaker.title:
        return f"{first.speaker.title}: network '{first.network}' less '{second.network}'"
    return f"{first.name} less {second.name}"


def _phase_difference(one: Shown, other: Shown) -> Float | None:
    if one.phase_deg is None or other.phase_deg is None:
        return None
    return (one.phase_deg - other.phase_deg + 180.0) % 360.0 - 180.0


def _octaves(frequency_hz: Float, difference: Float, kind: What, threshold_db: float) -> tuple[OctaveDifference, ...]:
    centres = bands_touched(float(frequency_hz[0]), float(frequency_hz[-1]), 1)
    found = []
    for centre, mean in zip(centres, mean_over_bands(frequency_hz, difference, centres, 1), strict=True):
        heard = None if kind is What.IMPEDANCE or math.isnan(mean) else bool(abs(mean) > threshold_db)
        words = "" if kind is What.IMPEDANCE else audibility(float(mean))
        found.append(OctaveDifference(nominal_hz(float(centre)), float(mean), heard, words))
    return tuple(found)


def _stretches(frequency_hz: Float, difference: Float, threshold_db: float) -> tuple[Stretch, ...]:
    """Runs of rows on one side beyond the threshold, at least a third of an octave wide."""
    with np.errstate(invalid="ignore"):
        side = np.where(difference > threshold_db, 1, np.where(difference < -threshold_db, -1, 0))
    found = []
    for rows in _runs(side):
        low, high = float(frequency_hz[rows[0]]), float(frequency_hz[rows[-1]])
        if side[rows[0]] == 0 or math.log2(high / low) < LEAST_OCTAVES:
            continue
        worst = rows[int(np.argmax(np.abs(difference[rows])))]
        size = float(difference[worst])
        found.append(Stretch(low, high, math.log2(high / low), size, float(frequency_hz[worst]), audibility(size)))
    return tuple(sorted(found, key=lambda s: -abs(s.worst_db)))


def _runs(side: np.ndarray[Any, Any]) -> Sequence[np.ndarray[Any, Any]]:
    return np.split(np.arange(side.size), np.flatnonzero(np.diff(side)) + 1)
