"""Where do two curves, networks or speakers differ, and is it audible?

What is compared is a table as it is, or what a network of a speaker folder is predicted to do.
"""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any

import numpy as np

from xover.acoustic.level import band_level, bands_touched, level_db, mean_over_bands, nominal_hz, phase_deg
from xover.curve import Curve, Evidence, Float
from xover.errors import InputError, OptionError, named
from xover.explain.sweeps import channel_of
from xover.files.atomic import read_text
from xover.files.budget import TABLE_FILE
from xover.files.table_dialect import split_table
from xover.files.table_header import Quantity, read_header
from xover.files.tables import holds_touchstone, read_impedance, read_response
from xover.judge.odd import OddDriver, odd_drivers
from xover.judge.odd_words import USUAL
from xover.plain import fields_of
from xover.quantity import hertz
from xover.readable import Readable
from xover.rules.audibility import SOURCE, UNHEARD_DB, audibility
from xover.rules.bands import JUDGED_HZ, LEAST_STRETCH_OCTAVES
from xover.sound.beyond import solved
from xover.sound.prediction import sound_of
from xover.sound.sums import known_level_db
from xover.speaker import Speaker, open_speaker
from xover.studies.aged.phone.result import Change
from xover.studies.aged.phone.study import change_heard


class What(StrEnum):
    """What of a network is compared."""

    SUM = "sum"
    IMPEDANCE = "impedance"


@dataclass(frozen=True, eq=False)
class Table:
    """A measured table. `quantity` is ohm or dB."""

    curve: Curve
    quantity: Quantity
    name: str
    warnings: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Predicted:
    """A network of a speaker folder."""

    speaker: Speaker
    network: str
    channel: str | None

    @property
    def name(self) -> str:
        """Speaker and network."""
        return f"{self.speaker.title}, network '{self.network}'"


Operand = Table | Predicted


@dataclass(frozen=True, eq=False, repr=False)
class Shown(Readable):
    """One of the two curves on the common grid.

    Attributes
    ----------
    level_db : (n,) dB, of an impedance re 1 ohm; NaN where it is not known.
    phase_deg : (n,) -180..180, or None where there is none.
    """

    name: str
    evidence: str
    level_db: Float
    phase_deg: Float | None
    notes: tuple[str, ...]

    def plain(self) -> dict[str, Any]:
        """What it is, without its curve."""
        return {"name": self.name, "evidence": self.evidence}


def open_operand(text: str, unit: Quantity | None = None, channel: str | None = None) -> Operand:
    """Open what was typed: a table, a speaker folder (its default network), or SPEAKER:NETWORK.

    Parameters
    ----------
    unit : of a table whose header names none.

    Raises
    ------
    InputError, OptionError : nothing of that name, or a fault in what it holds.
    """
    path = Path(text)
    if os.path.isdir(path) or path.name == "speaker.toml":
        speaker = open_speaker(path)
        return Predicted(speaker, speaker.default_network(), channel)
    folder, colon, network = text.rpartition(":")
    if colon and folder and network and not os.path.exists(path):
        speaker = open_speaker(folder)
        speaker.network(network)
        return Predicted(speaker, network, channel)
    return read_any_table(path, unit)


def read_any_table(path: Path, unit: Quantity | None = None) -> Table:
    """Read an impedance or a level, whichever the header says.

    Raises
    ------
    InputError : a fault in the table. OptionError : its header names no unit, and none was stated.
    """
    quantity = unit or _quantity_of(path)
    curve, warnings = (read_impedance if quantity == "ohm" else read_response)(path, Evidence.MEASURED)
    return Table(curve, quantity, path.name, tuple(f"{path.name}: {w}" for w in warnings))


def _quantity_of(path: Path) -> Quantity:
    if holds_touchstone(path):
        return "ohm"
    found: list[Quantity] = []
    fault: InputError | None = None
    try:
        raw = split_table(read_text(path, TABLE_FILE))
    except InputError as error:
        raise error.at(path, None) from None
    wanted: tuple[Quantity, ...] = ("dB", "ohm")
    for quantity in wanted:
        try:
            read_header(raw, quantity)
            found.append(quantity)
        except InputError as error:
            fault = fault or error.at(path, None)
    if len(found) == 2:
        raise OptionError(f"{path}: its header does not say whether it holds dB or ohm", f"say so by {named('unit')}")
    if not found:
        assert fault is not None  # neither could be read
        raise fault
    return found[0]


def show(operand: Operand, what: What, frequency_hz: Float) -> Shown:
    """One curve on the common grid, NaN where it does not reach.

    Raises
    ------
    OptionError : a table of the other quantity. InputError, NoSolutionError.
    """
    if isinstance(operand, Table):
        return _show_table(operand, what, frequency_hz)
    if what is What.IMPEDANCE:
        return _show_impedance(operand, frequency_hz)
    sound = sound_of(operand.speaker, operand.network, frequency_hz)
    notes: list[str] = [note for name in sound.network.driver_names for note in operand.speaker.drivers[name].notes]
    notes += [*(bound.of_sum for bound in sound.bounds), *(gap.note for gap in sound.total.gaps)]
    if not sound.total.coherent:
        notes.append(f"{operand.name}: the sum is the highest that any timing allows: {sound.timing_reason}")
    level = np.where(np.isfinite(known_level_db(sound)), known_level_db(sound), np.nan)
    phase = phase_deg(sound.total.pressure) if sound.total.coherent else None
    return Shown(operand.name, "predicted", level, phase, tuple(dict.fromkeys(notes)))


def _show_table(table: Table, what: What, frequency_hz: Float) -> Shown:
    if (table.quantity == "ohm") != (what is What.IMPEDANCE):
        raise OptionError(
            f"{table.name} is in {table.quantity}, and the {what} is to be compared",
            "compare like with like: an impedance with an impedance, a level with a level",
        )
    value = table.curve.at(frequency_hz)
    level = level_db(value)
    phase = phase_deg(value) if table.curve.has_phase else None
    return Shown(table.name, "measured", np.where(np.isfinite(level), level, np.nan), phase, table.warnings)


def _show_impedance(operand: Predicted, frequency_hz: Float) -> Shown:
    network = operand.speaker.network(operand.network)
    channel = channel_of(network, operand.channel)
    found = solved(operand.speaker, network, frequency_hz)
    load = found.solution.impedance_ohm[channel]
    level = level_db(load)
    notes = [n for name in network.driver_names for n in operand.speaker.drivers[name].notes]
    notes += [bound.of_load for bound in found.bounds]
    return Shown(operand.name, "predicted", np.where(np.isfinite(level), level, np.nan), phase_deg(load), tuple(notes))


def natural(first: Operand, second: Operand) -> What:
    """What two operands have in common: the quantity of the tables among them, else the sum."""
    quantities = {o.quantity for o in (first, second) if isinstance(o, Table)}
    return What.IMPEDANCE if "ohm" in quantities and "dB" not in quantities else What.SUM


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
    odd : drivers that differ from their like, of two sums; the first is this cabinet, the second its mate.
    cabinets : what these are called, by their folders.
    heard : what a phone heard of both networks, beside what is predicted; None where no levels were given.
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
    odd: tuple[OddDriver, ...] = ()
    cabinets: tuple[str, str] = USUAL
    heard: Change | None = None

    @property
    def audible(self) -> bool | None:
        """Whether an octave or a stretch lies beyond the threshold; None for an impedance."""
        if self.what is What.IMPEDANCE:
            return None
        return bool(self.stretches) or any(o.audible for o in self.octaves)

    @property
    def within_threshold(self) -> bool:
        """Whether nothing audible is known."""
        return not self.audible

    def plain(self) -> dict[str, Any]:
        """Its fields, and what the threshold rests on."""
        return fields_of(self, percent="difference_percent") | {"threshold_source": SOURCE, "audible": self.audible}


def compare(
    first: Operand,
    second: Operand,
    frequency_hz: Float,
    *,
    what: What | None = None,
    match_band_hz: tuple[float, float] | None = JUDGED_HZ,
    threshold_db: float = UNHEARD_DB,
    levels: Path | None = None,
) -> Comparison:
    """Compare two curves: the first less the second.

    Parameters
    ----------
    frequency_hz : (n,) rising grid of the result.
    what : by default what the two have in common (`natural`).
    match_band_hz : where the levels are matched; None takes them as they are. An impedance has no level that is
        free, so it is never matched.
    levels : of third octaves, a column for each of two networks of one speaker.

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
            f"choose a range that both reach, by {named('frequency_hz')}",
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
                f"match them elsewhere by {named('match_hz')}, such as 100..1k, or not at all: none",
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
        odd=_odd(first, second) if kind is What.SUM else (),
        cabinets=_cabinets(first, second),
        heard=None if levels is None else _heard(first, second, levels),
    )


def _heard(first: Operand, second: Operand, levels: Path) -> Change:
    if not (isinstance(first, Predicted) and isinstance(second, Predicted)) or (
        first.speaker.file.path != second.speaker.file.path
    ):
        raise OptionError(
            f"{named('levels')} tells two networks of one speaker apart, not {first.name} and {second.name}",
            "name two networks of one folder, such as FOLDER:found FOLDER:original",
        )
    return change_heard(first.speaker, levels, first.network, second.network)


def _odd(first: Operand, second: Operand) -> tuple[OddDriver, ...]:
    """Of two cabinets, or of the one that both are."""
    if not (isinstance(first, Predicted) and isinstance(second, Predicted)):
        return ()
    network = first.speaker.network(first.network)
    if first.speaker.file.path == second.speaker.file.path:
        return odd_drivers(first.speaker, network)
    return odd_drivers(first.speaker, network, second.speaker, second.speaker.network(second.network))


def _cabinets(first: Operand, second: Operand) -> tuple[str, str]:
    both = [o.speaker.file for o in (first, second) if isinstance(o, Predicted)]
    if len({file.path for file in both}) < 2:
        return USUAL
    one, other = (file.folder.name for file in both)
    return (one, other) if one != other else ("the first", "the second")


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
        if side[rows[0]] == 0 or math.log2(high / low) < LEAST_STRETCH_OCTAVES:
            continue
        worst = rows[int(np.argmax(np.abs(difference[rows])))]
        size = float(difference[worst])
        found.append(Stretch(low, high, math.log2(high / low), size, float(frequency_hz[worst]), audibility(size)))
    return tuple(sorted(found, key=lambda s: -abs(s.worst_db)))


def _runs(side: np.ndarray[Any, Any]) -> Sequence[np.ndarray[Any, Any]]:
    return np.split(np.arange(side.size), np.flatnonzero(np.diff(side)) + 1)
