"""What a sweep must be before anything is calculated from it; the same for tables and Touchstone files.

Is a phase column in degrees or radians? The magnitude's slope tells.

Bode's relation in its usual approximation: where a network is of minimum phase and its slope does
not change fast, phase in degrees = 90 * dln|Z| / dln f (6 dB an octave and 90 degrees go together).
Source: H. W. Bode, "Network Analysis and Feedback Amplifier Design", 1945, ch. XIV. An impedance
is always of minimum phase; a driver's response is so apart from its delay.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from xover.curve import Float, window_mean
from xover.errors import InputError
from xover.files.table_header import Quantity

# Slope and phase are both averaged over this width, so that noise from row to row does not count.
WINDOW_OCTAVES = 0.5
_GRID_PER_OCTAVE = 12
# Below this the magnitude is too flat to say anything of the phase.
LEAST_SLOPE_DEG = 4.0
# Between degrees (ratio about 1) and radians (about pi/180 = 0.017) on a log scale.
RADIAN_RATIO = float(np.sqrt(np.pi / 180.0))
LEAST_CORRELATION = 0.5


@dataclass(frozen=True)
class PhaseFit:
    """How a phase column compares with the one that the magnitude's slope implies.

    Attributes
    ----------
    ratio : least-squares factor from the implied phase in degrees to the column; 1 for degrees.
    correlation : -1..1 between the two, about zero; NaN where one of them is zero throughout.
    implied_deg : rms of the implied phase.
    """

    ratio: float
    correlation: float
    implied_deg: float

    @property
    def looks_radian(self) -> bool:
        """The column follows the slope, but is some 57 times too small for degrees."""
        return self.implied_deg >= LEAST_SLOPE_DEG and self._follows and 0.0 < self.ratio < RADIAN_RATIO

    @property
    def looks_reversed(self) -> bool:
        """The column follows the slope with the wrong sign."""
        return self.implied_deg >= LEAST_SLOPE_DEG and self.correlation <= -LEAST_CORRELATION

    @property
    def _follows(self) -> bool:
        return self.correlation >= LEAST_CORRELATION


def compare_with_slope(
    frequency_hz: Float, log_magnitude: Float, phase: Float, most_deg: float = np.inf
) -> PhaseFit | None:
    """Compare a phase column with the slope of the magnitude.

    Parameters
    ----------
    frequency_hz : (n,) rising, > 0.
    log_magnitude : (n,) natural logarithm of the magnitude.
    phase : (n,) in the column's own unit, unwrapped.
    most_deg : bound of the implied phase: 90 for an impedance, whose phase a sharp resonance
        drives to +-90 degrees while the slope goes far beyond.

    Returns
    -------
    None where the sweep is narrower than two windows.
    """
    u = np.log(frequency_hz)
    half = 0.5 * WINDOW_OCTAVES * np.log(2.0)
    if u[-1] - u[0] < 4.0 * half:
        return None
    count = int(np.ceil((u[-1] - u[0] - 2.0 * half) / np.log(2.0) * _GRID_PER_OCTAVE)) + 1
    centre = np.linspace(u[0] + half, u[-1] - half, count)
    slope = np.interp(centre + half, u, log_magnitude) - np.interp(centre - half, u, log_magnitude)
    implied = np.clip(90.0 * slope / (2.0 * half), -most_deg, most_deg)
    mean = window_mean(u, phase, centre - half, centre + half)
    energy = float(np.sum(implied**2))
    together = float(np.sum(implied * mean))
    own = float(np.sum(mean**2))
    nothing = energy == 0.0 or own == 0.0
    return PhaseFit(
        ratio=float("nan") if energy == 0.0 else together / energy,
        correlation=float("nan") if nothing else together / float(np.sqrt(energy * own)),
        implied_deg=float(np.sqrt(np.mean(implied**2))),
    )


def fills_a_radian_turn(phase: Float) -> bool:
    """Say whether a column is wrapped to -pi..pi or 0..2 pi: it fills that range, and jumps across it."""
    low, high = float(phase.min()), float(phase.max())
    jumps = bool(np.any(np.abs(np.diff(phase)) > np.pi))
    limit = 1.002 * np.pi  # rounding of the file
    about_zero = -limit <= low < -0.9 * np.pi and 0.9 * np.pi < high <= limit
    from_zero = -0.001 <= low < 0.1 * np.pi and 1.9 * np.pi < high <= 2.0 * limit
    return jumps and (about_zero or from_zero)


LEAST_ROWS = 8
# A hole is more than an octave wide; so many are named.
LARGEST_GAP, MOST_HOLES = 2.0, 3
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

    def take(self, keep: NDArray[np.bool_] | slice) -> Sweep:
        """Some of the rows, or all in another order."""
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
    The sweep, rising, without its rows at 0 Hz and without repeated rows, and the warnings.

    Raises InputError: with file and line. Not finite, frequency below 0 or neither rising nor falling,
    one frequency with two values, fewer than 8 rows, frequencies in kHz, impedance at or below 0, a magnitude or phase
    out of all range, phase in radians.
    """
    warnings: list[str] = []
    sweep = _drop_zero_hertz(sweep, warnings)
    _check_finite(sweep)
    sweep = _merge_repeated(_rising(sweep, warnings), warnings)
    if sweep.line.size < LEAST_ROWS:
        last = int(np.argmax(sweep.line)) if sweep.line.size else None
        raise sweep.fault(
            f"has {sweep.line.size} usable row{'' if sweep.line.size == 1 else 's'}, where {LEAST_ROWS} are the least",
            "measure at more frequencies",
            last,
        )
    _check_hertz(sweep, warnings)
    _check_magnitude(sweep)
    _check_phase(sweep, warnings)
    _name_holes(sweep, warnings)
    return sweep, tuple(warnings)


def _drop_zero_hertz(sweep: Sweep, warnings: list[str]) -> Sweep:
    zero = sweep.frequency_hz == 0.0
    if zero.any():
        warnings.append(f"line {sweep.line[zero][0]}: the row at 0 Hz is left out (the frequency axis is logarithmic)")
    return sweep.take(~zero)


def _check_finite(sweep: Sweep) -> None:
    named = [("frequency", sweep.frequency_hz), ("magnitude", sweep.magnitude)]
    named += [] if sweep.phase is None else [("phase", sweep.phase)]
    bad = np.array([~np.isfinite(column) for _, column in named])
    if bad.any():
        row = int(np.argmax(bad.any(axis=0)))
        name = named[int(np.argmax(bad[:, row]))][0]
        raise sweep.fault(f"the {name} is not a finite number", "remove that row or measure it again", row)
    below = np.flatnonzero(sweep.frequency_hz < 0.0)
    if below.size:
        shown = f"{sweep.frequency_hz[below[0]]:g}"
        raise sweep.fault(f"the frequency {shown} Hz is below 0", "put frequency in Hz first in each row", below[0])


def _rising(sweep: Sweep, warnings: list[str]) -> Sweep:
    """The rows from low to high frequency where they run the other way throughout."""
    f = sweep.frequency_hz
    if f.size < 2 or f[0] <= f[-1] or np.any(np.diff(f) > 0.0):
        return sweep
    warnings.append(f"the rows run from {f[0]:g} down to {f[-1]:g} Hz and were turned round")
    return sweep.take(slice(None, None, -1))


def _name_holes(sweep: Sweep, warnings: list[str]) -> None:
    f = sweep.frequency_hz
    steps = np.diff(f)
    wide = f[1:] > LARGEST_GAP * f[:-1]
    # On an even grid from near 0 Hz the first step is an octave, and a little more where the file rounds.
    wide[0] &= steps[0] > 1.5 * steps[1]
    holes = [f"{f[i]:g} and {f[i + 1]:g} Hz" for i in np.flatnonzero(wide)]
    if holes:
        said = ", ".join(holes[:MOST_HOLES]) + (f" and {len(holes) - MOST_HOLES} more" * (len(holes) > MOST_HOLES))
        warnings.append(
            f"no row between {said}: a hole of more than an octave, bridged by a smooth curve that nobody measured"
        )


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
    unwrapped = p if sweep.quantity == "dB" else within_half_turn(p)
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


def within_half_turn(phase_deg: Float) -> Float:
    """The same angles within -180..180 degrees."""
    return np.asarray((phase_deg + 180.0) % 360.0 - 180.0, dtype=float)
