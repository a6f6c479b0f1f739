"""Measurement tables: rows of frequency, magnitude and phase; and either kind of sweep as a Curve."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from xover.curve import Complex, Curve, Evidence, Float, StatedError, Unit
from xover.errors import InputError
from xover.files.atomic import read_text
from xover.files.budget import TABLE_FILE
from xover.files.table_checks import Sweep, check_sweep
from xover.files.table_content import check_content
from xover.files.table_dialect import RawTable, split_table
from xover.files.table_header import Columns, Quantity, denied_reference, read_header, relative_level
from xover.files.table_lines import Line
from xover.files.touchstone import is_touchstone, read_touchstone
from xover.ledger import MOST_SPANS, Ledger, spans
from xover.remark import About, Remark

TOUCHSTONE_SUFFIXES = (".s1p", ".z1p", ".y1p")


@dataclass(frozen=True, eq=False)
class MeasurementTable:
    """A sweep as the file gives it, in Hz, ohm or dB, and degrees.

    Attributes
    ----------
    frequency_hz : (n,) rising, > 0; n >= 8.
    magnitude : (n,) in `quantity`.
    phase_deg : (n,) as in the file, unwrapped or not; None where it was not measured.
    quantity : "ohm" or "dB".
    ledger : what became of every line of the file.
    stated_share : (n,) bound of the relative error as the file states it; NaN where it does not; None without a column.
    warnings : what was mended or looks odd, one sentence each; a `Remark` where it is about something that others ask
        for: `About.NO_TIME_REFERENCE`, `About.RELATIVE_LEVEL`.
    """

    path: Path
    frequency_hz: Float
    magnitude: Float
    phase_deg: Float | None
    quantity: Quantity
    ledger: Ledger
    warnings: tuple[str, ...] = ()
    stated_share: Float | None = None

    def __post_init__(self) -> None:
        for array in (self.frequency_hz, self.magnitude, self.phase_deg):
            if array is not None:
                array.flags.writeable = False


def read_table(path: Path | str, quantity: Quantity, *, ratio: bool = False) -> MeasurementTable:
    """Read a measurement table.

    Parameters
    ----------
    path : text file; separators blank, tab, comma or semicolon; decimal comma where the separator is not a comma, or
        the numbers stand in quotes; magnitude and phase, or real and imaginary part by their heading; rows rising or
        falling. Lines of words are comments or a header.
    quantity : "ohm" where the magnitude must be an impedance, "dB" where it must be a level.
    ratio : the level may be one voltage over another, which may look like an impedance: its content is not judged.

    Raises InputError: with file and line; see split_table, read_header, check_sweep and check_content for the rules.
    """
    return parse_table(read_text(path, TABLE_FILE), Path(path), quantity, ratio=ratio)


def parse_table(text: str, path: Path, quantity: Quantity, *, ratio: bool = False) -> MeasurementTable:
    """Read the text of a measurement table; `path` serves messages only."""
    try:
        raw = split_table(text)
        columns = read_header(raw, quantity)
    except InputError as error:
        raise error.at(path, None) from None
    rows = np.array(raw.rows, dtype=float)
    with np.errstate(over="ignore"):  # what becomes infinite is refused below
        frequency_hz = rows[:, columns.frequency] * columns.frequency_scale
        magnitude = rows[:, columns.magnitude] * columns.magnitude_scale
        phase = None if columns.phase is None else rows[:, columns.phase] * columns.phase_scale
    if columns.parts and phase is not None:
        magnitude, phase = _polar(magnitude, phase, quantity)
    sweep = Sweep(
        frequency_hz=frequency_hz,
        magnitude=magnitude,
        phase=phase,
        line=np.array(raw.lines, dtype=np.int64),
        quantity=quantity,
        path=path,
        frequency_declared=columns.frequency_declared,
        phase_declared=columns.phase_declared,
    )
    sweep, found = check_sweep(sweep)
    warnings = (
        *columns.warnings,
        *_ignored_columns(raw, columns),
        *_left_out(raw.left_out),
        *_reference(raw, sweep),
        *_level(raw, quantity),
        *found,
    )
    warnings += () if ratio else check_content(sweep, columns.magnitude_declared)
    stated = None
    if columns.uncertainty is not None:
        stated = rows[np.searchsorted(raw.lines, sweep.line), columns.uncertainty] / 100.0
        stated[~(stated >= 0.0)] = np.nan
    return MeasurementTable(
        path, sweep.frequency_hz, sweep.magnitude, sweep.phase, quantity, raw.ledger, warnings, stated
    )


def _polar(real: Float, imaginary: Float, quantity: Quantity) -> tuple[Float, Float]:
    """(n,) ohm or dB, and degrees; NaN where a part is not finite."""
    with np.errstate(all="ignore"):  # what is not finite is refused below
        size = np.hypot(real, imaginary)
        size[~np.isfinite(real) | ~np.isfinite(imaginary)] = np.nan
        return size if quantity == "ohm" else 20.0 * np.log10(size), np.degrees(np.arctan2(imaginary, real))


def _reference(raw: RawTable, sweep: Sweep) -> tuple[Remark, ...]:
    line = denied_reference(raw) if sweep.quantity == "dB" and sweep.phase is not None else None
    if line is None:
        return ()
    words = f"line {line.number}: the header says that the sweep has no time reference, so its phase holds no delay"
    return (Remark(f"{words} that another sweep shares", About.NO_TIME_REFERENCE),)


def _level(raw: RawTable, quantity: Quantity) -> tuple[Remark, ...]:
    line = relative_level(raw) if quantity == "dB" else None
    if line is None:
        return ()
    words = f"line {line.number}: its level is relative, which serves beside drivers that were recorded alike"
    return (Remark(f"{words}; a sensitivity, or a level re 20 uPa, is not known by it", About.RELATIVE_LEVEL),)


def _left_out(lines: Sequence[Line]) -> tuple[str, ...]:
    if not lines:
        return ()
    first = lines[0].text
    shown = f"'{first if len(first) <= 40 else first[:37] + '...'}'"
    named = spans((line.number for line in lines), MOST_SPANS)
    if len(lines) == 1:
        return (f"line {named}: {shown} stands among the rows: it was left out as a comment",)
    return (f"lines {named}: {shown} and the like stand among the rows: they were left out as comments",)


def _ignored_columns(raw: RawTable, columns: Columns) -> tuple[str, ...]:
    if raw.columns <= 3 + (columns.uncertainty is not None) or columns.named:
        return ()
    which = "column 4 is" if raw.columns == 4 else f"columns 4 to {raw.columns} are"
    return (f"{which} ignored: frequency, magnitude and phase were read from the first three",)


def holds_touchstone(path: Path) -> bool:
    """Whether a file is in the Touchstone format, by its extension or by how it begins. Raises InputError."""
    return path.suffix.lower() in TOUCHSTONE_SUFFIXES or is_touchstone(read_text(path, TABLE_FILE))


def read_impedance(path: Path | str, evidence: Evidence) -> tuple[Curve, tuple[str, ...]]:
    """Read an impedance sweep from a table or from a one-port Touchstone file.

    Returns
    -------
    The curve in ohm, and the warnings. Without a phase column its values are real magnitudes and
    has_phase is False.

    Raises InputError: as read_table and read_touchstone.
    """
    path = Path(path)
    if holds_touchstone(path):
        return _touchstone(path, evidence)
    table = read_table(path, "ohm")
    return _curve(table, table.magnitude, Unit.OHM, evidence), table.warnings


def read_response(path: Path | str, evidence: Evidence, *, ratio: bool = False) -> tuple[Curve, tuple[str, ...]]:
    """Read a driver's response: dB re 20 uPa at 2.83 V and 1 m, or relative, and phase in degrees; or a voltage ratio.

    Returns
    -------
    The curve with value 10^(dB/20) e^{j phase}, and the warnings.

    Raises InputError: as read_table; also for a Touchstone file, which holds no sound pressure.
    """
    path = Path(path)
    if holds_touchstone(path):
        raise InputError(
            "a Touchstone file holds an impedance, not a response", "name a table in Hz, dB, degrees", path
        )
    table = read_table(path, "dB", ratio=ratio)
    return _curve(table, 10.0 ** (table.magnitude / 20.0), Unit.PASCAL_20U, evidence), table.warnings


def _curve(table: MeasurementTable, magnitude: Float, unit: Unit, evidence: Evidence) -> Curve:
    value: Complex = magnitude.astype(complex)
    if table.phase_deg is not None:
        value = value * np.exp(1j * np.radians(table.phase_deg))
    stated = None if table.stated_share is None else StatedError(table.frequency_hz, table.stated_share)
    return Curve(
        table.frequency_hz,
        value,
        unit,
        evidence,
        table.phase_deg is not None,
        str(table.path),
        ledger=table.ledger,
        stated=stated,
    )


def _touchstone(path: Path, evidence: Evidence) -> tuple[Curve, tuple[str, ...]]:
    """A Touchstone sweep under the same rules as a table; zero ohm is refused, as phase needs a magnitude."""
    data = read_touchstone(path)
    sweep = Sweep(
        frequency_hz=data.frequency_hz,
        magnitude=np.abs(data.impedance_ohm),
        phase=np.degrees(np.angle(data.impedance_ohm)),
        line=data.line,
        quantity="ohm",
        path=path,
        frequency_declared=True,
        phase_declared=True,
    )
    kept, warnings = check_sweep(sweep)
    ohm = data.impedance_ohm[np.searchsorted(data.line, kept.line)]
    curve = Curve(kept.frequency_hz, ohm, Unit.OHM, evidence, True, str(path), ledger=data.ledger)
    return curve, (*_left_out(data.left_out), *warnings)
