"""What a sweep must be before anything is calculated from it; the same for tables and Touchstone files."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from xover.curve import Float
from xover.errors import InputError
from xover.files.table_header import Quantity
from xover.files.table_phase import PhaseFit, compare_with_slope, fills_a_radian_turn

LEAST_ROWS = 8
# Beyond these a number is no impedance or level of a loudspeaker, but another column or unit.
IMPEDANCE_RANGE_OHM = (1e-3, 1e7)
LEVEL_RANGE_DB = (-300.0, 300.0)
LARGEST_PHASE_DEG = 1e6
# A sweep in kHz ends here or below: sound cards reach 96 kHz, hearing 20 kHz.
HIGHEST_KHZ, HIGHEST_KHZ_FROM_BELOW_1 = 48.0, 100.0
HIGHEST_START_HZ, HIGHEST_USUAL_HZ = 100e3, 1e6
# An impedance without sources inside stays within 90 degrees; the rest is measuring noise.
PASSIVE_PHASE_DEG, PHASE_NOISE_DEG = 90.0, 3.0


@dataclass(frozen=True, eq=False)
class Sweep:
    """Rows in Hz, ohm or dB, and the unit of the phase as read; `line` tells where each stands.

    phase_declared : the file names the unit of the phase, and it has been turned into degrees.
    """

    frequency_hz: Float
    magnitude: Float
    phase: Float | None
    line: NDArray[np.int64]
    quantity: Quantity
    path: Path
    frequency_declared: bool
    phase_declared: bool

    def take(self, keep: NDArray[np.bool_]) -> Sweep:
        """Keep some of the rows."""
        phase = None if self.phase is None else self.phase[keep]
        return replace(
            self,
            frequency_hz=self.frequency_hz[keep],
            magnitude=self.magnitude[keep],
            phase=phase,
            line=self.line[keep],
        )

    def fault(self, problem: str, remedy: str, row: int | None = None) -> InputError:
        """An InputError at a row, or at the file as a whole."""
        return InputError(problem, remedy, self.path, None if row is None else int(self.line[row]))


def check_sweep(sweep: Sweep) -> tuple[Sweep, tuple[str, ...]]:
    """Refuse what is wrong, mend what is harmless and say so.

    Returns
    -------
    The sweep without its rows at 0 Hz and without repeated rows, and the warnings.

    Raises
    ------
    InputError
        With file and line. Not finite, frequency below 0 or not rising, one frequency with two
        values, fewer than 8 rows, frequencies in kHz, impedance at or below 0, a magnitude or phase
        out of all range, phase in radians.
    """
    warnings: list[str] = []
    sweep = _drop_zero_hertz(sweep, warnings)
    _check_finite(sweep)
    sweep = _merge_repeated(sweep, warnings)
    if sweep.line.size < LEAST_ROWS:
        last = sweep.line.size - 1 if sweep.line.size else None
        raise sweep.fault(
            f"has {sweep.line.size} usable row{'' if sweep.line.size == 1 else 's'}, where {LEAST_ROWS} are the least",
            "measure at more frequencies",
            last,
        )
    _check_hertz(sweep, warnings)
    _check_magnitude(sweep)
    _check_phase(sweep, warnings)
    return sweep, tuple(warnings)


def _drop_zero_hertz(sweep: Sweep, warnings: list[str]) -> Sweep:
    zero = sweep.frequency_hz == 0.0
    if zero.any():
        warnings.append(f"line {sweep.line[zero][0]}: the row at 0 Hz is left out (the frequency axis is logarithmic)")
    return sweep.take(~zero)


def _check_finite(sweep: Sweep) -> None:
    named = [("frequency", sweep.frequency_hz), ("magnitude", sweep.magnitude)]
    named += [] if sweep.phase is None else [("phase", sweep.phase)]
    for i in range(sweep.line.size):
        for name, column in named:
            if not np.isfinite(column[i]):
                raise sweep.fault(f"the {name} is not a finite number", "remove that row or measure it again", i)
    below = np.flatnonzero(sweep.frequency_hz < 0.0)
    if below.size:
        shown = f"{sweep.frequency_hz[below[0]]:g}"
        raise sweep.fault(f"the frequency {shown} Hz is below 0", "put frequency in Hz first in each row", below[0])


def _merge_repeated(sweep: Sweep, warnings: list[str]) -> Sweep:
    f, m, p = sweep.frequency_hz, sweep.magnitude, sweep.phase
    if f.size < 2:
        return sweep
    falling = np.flatnonzero(f[1:] < f[:-1])
    equal = f[1:] == f[:-1]
    same = equal & (m[1:] == m[:-1]) & (True if p is None else p[1:] == p[:-1])
    differing = np.flatnonzero(equal & ~same)
    first = min([*falling[:1], *differing[:1]], default=None)
    if first is not None:
        row = int(first) + 1
        if f[row] == f[row - 1]:
            raise sweep.fault(
                f"{f[row]:g} Hz stands twice with different values", "keep one row for each frequency", row
            )
        raise sweep.fault(
            f"the frequency falls from {f[row - 1]:g} to {f[row]:g} Hz", "sort the rows so that frequency rises", row
        )
    if same.any():
        row = int(np.flatnonzero(same)[0]) + 1
        count = int(same.sum())
        rows = "1 repeated row is" if count == 1 else f"{count} repeated rows are"
        warnings.append(f"line {sweep.line[row]}: {rows} merged with the same row before")
    return sweep.take(np.concatenate([[True], ~same]))


def _check_hertz(sweep: Sweep, warnings: list[str]) -> None:
    low, high = float(sweep.frequency_hz[0]), float(sweep.frequency_hz[-1])
    if low > HIGHEST_START_HZ:
        raise sweep.fault(
            f"the sweep begins at {low:g} Hz, far above hearing",
            "check the unit of frequency (a Touchstone file that names none is in GHz)",
            0,
        )
    if high > HIGHEST_USUAL_HZ:
        warnings.append(f"the sweep ends at {high:g} Hz: check the unit of frequency")
    if high > HIGHEST_KHZ and not (low < 1.0 and high <= HIGHEST_KHZ_FROM_BELOW_1):
        return
    if sweep.frequency_declared:
        warnings.append(f"the sweep ends at {high:g} Hz, as its header says: check that it is not in kHz")
        return
    raise sweep.fault(
        f"the sweep runs from {low:g} to {high:g}, which looks like kHz",
        "give frequencies in Hz, or name the unit in a header such as 'kHz ohm deg'",
        0,
    )


def _check_magnitude(sweep: Sweep) -> None:
    m = sweep.magnitude
    if sweep.quantity == "ohm":
        low, high = IMPEDANCE_RANGE_OHM
        bad = np.flatnonzero(m <= 0.0)
        if bad.size:
            raise sweep.fault(
                f"the impedance {m[bad[0]]:g} ohm is not above 0",
                "give magnitude in ohm in the second column, or check that the right file is named",
                bad[0],
            )
    else:
        low, high = LEVEL_RANGE_DB
    bad = np.flatnonzero((m < low) | (m > high))
    if bad.size:
        what = "impedance" if sweep.quantity == "ohm" else "level"
        raise sweep.fault(
            f"the {what} {m[bad[0]]:g} {sweep.quantity} is outside {low:g}..{high:g} {sweep.quantity}",
            "check the unit and the order of the columns",
            bad[0],
        )


def _check_phase(sweep: Sweep, warnings: list[str]) -> None:
    p = sweep.phase
    if p is None:
        return
    wild = np.flatnonzero(np.abs(p) > LARGEST_PHASE_DEG)
    if wild.size:
        raise sweep.fault(
            f"the phase {p[wild[0]]:g} degrees is out of all range", "check the order of the columns", wild[0]
        )
    log_magnitude = np.log(sweep.magnitude) if sweep.quantity == "ohm" else sweep.magnitude * (np.log(10.0) / 20.0)
    unwrapped = p if sweep.quantity == "dB" else _within_half_turn(p)
    most_deg = PASSIVE_PHASE_DEG if sweep.quantity == "ohm" else np.inf
    fit = compare_with_slope(sweep.frequency_hz, log_magnitude, unwrapped, most_deg)
    if not sweep.phase_declared:
        _refuse_radians(sweep, p, fit)
    if fit is not None and fit.implied_deg > PASSIVE_PHASE_DEG / 9.0 and not np.any(p):
        warnings.append(
            "the phase column holds only zeros although the magnitude changes: remove it if it was not measured"
        )
    if sweep.quantity == "ohm":
        _warn_of_active_phase(sweep, unwrapped, fit, warnings)


def _refuse_radians(sweep: Sweep, p: Float, fit: PhaseFit | None) -> None:
    if float(np.abs(p).max()) > 2.0 * np.pi * 1.002:
        return
    wrapped = sweep.quantity == "dB" and fills_a_radian_turn(p)
    if wrapped or (fit is not None and fit.looks_radian):
        raise sweep.fault(
            f"the phase runs from {p.min():.3g} to {p.max():.3g}, which looks like radians",
            "give it in degrees, or name its unit in a header such as 'Hz dB rad' (or 'deg' if degrees it is)"
            if sweep.quantity == "dB"
            else "give it in degrees, or name its unit in a header such as 'Hz ohm rad' (or 'deg' if degrees it is)",
            0,
        )


def _warn_of_active_phase(sweep: Sweep, wrapped: Float, fit: PhaseFit | None, warnings: list[str]) -> None:
    beyond = np.flatnonzero(np.abs(wrapped) > PASSIVE_PHASE_DEG + PHASE_NOISE_DEG)
    if beyond.size:
        i = int(beyond[np.argmax(np.abs(wrapped[beyond]))])
        warnings.append(
            f"line {sweep.line[i]}: an impedance phase of {wrapped[i]:.1f} degrees is beyond 90:"
            " were the two channels of the measurement swapped, or its sign?"
        )
    if fit is not None and fit.looks_reversed:
        warnings.append("the phase runs against the slope of the magnitude: is its sign reversed?")


def _within_half_turn(phase_deg: Float) -> Float:
    """The same angles within -180..180 degrees."""
    return np.asarray((phase_deg + 180.0) % 360.0 - 180.0, dtype=float)
