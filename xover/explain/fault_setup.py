"""A measured sweep and the network that it is held against, made ready: rows, noise, drivers."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.curve import Complex, Curve, Float, Unit
from xover.errors import InputError, OptionError
from xover.explain.driver_drift import DriverShape, driver_noise, measured_driver
from xover.explain.fault_fit import Sweep
from xover.explain.noise import smoothness_noise
from xover.explain.terminals import NOMINAL, Terminals, make_terminals
from xover.network import Network
from xover.quantity import hertz
from xover.speaker import Speaker, SpeakerDriver

BAND_HZ: Final = (20.0, 20_000.0)
ROWS_PER_OCTAVE: Final = 24
FEWEST_ROWS: Final = 12
FLOOR: Final = 0.002
"""Relative: interpolation, rounding in files and what else no noise figure knows. Common practice, no source."""

Shaper = Callable[[str, SpeakerDriver, Float], DriverShape]
"""Makes the driver on a card from the card's key, the driver and the frequencies."""


def _measured(key: str, driver: SpeakerDriver, frequency_hz: Float) -> DriverShape:
    del key
    return measured_driver(driver, frequency_hz)


@dataclass(frozen=True, eq=False)
class Bench:
    """Everything at the frequencies of the sweep.

    Attributes
    ----------
    measured_ohm : (n,). noise : relative, of the sweep. predicted_log_ohm : (n,) of the network as it is.
    """

    speaker: Speaker
    network: Network
    terminals: Terminals
    sweep: Sweep
    measured_ohm: Complex
    noise: float
    noise_source: str
    predicted_log_ohm: Complex
    warnings: tuple[str, ...]

    @property
    def frequency_hz(self) -> Float:
        """(n,) the rows that count."""
        return self.terminals.frequency_hz


def make_bench(
    speaker: Speaker,
    network: Network,
    curve: Curve,
    *,
    channel: str | None = None,
    band_hz: tuple[float, float] = BAND_HZ,
    noise: float | None = None,
    shaper: Shaper = _measured,
) -> Bench:
    """Lay out a sweep: rows inside the band where every driver is known, 24 in an octave at most.

    Parameters
    ----------
    noise : relative standard deviation of a row; estimated from the sweep's smoothness if None.

    Raises
    ------
    InputError : not an impedance, or too few rows that count. OptionError, NoSolutionError : as make_terminals.
    """
    where = curve.source or None
    if curve.unit is not Unit.OHM:
        raise InputError("is not an impedance", "name the sweep at the terminals, in ohm", where)
    level, source = noise_of(curve, noise)
    frequency, measured = _thinned(curve, band_hz)
    shapes = {c.key: shaper(c.key, speaker.drivers[c.driver], frequency) for c in network.drivers}
    known = np.ones(frequency.size, dtype=bool)
    for shape in shapes.values():
        known &= np.isfinite(shape.at(np.zeros((1, len(shape.knobs))))[0][0])
    if np.count_nonzero(known) < FEWEST_ROWS:
        raise InputError(
            f"has only {np.count_nonzero(known)} rows between {hertz(band_hz[0])} and {hertz(band_hz[1])} at which "
            "every driver's impedance is known",
            f"sweep finer and wider, {FEWEST_ROWS} rows or more; 24 in an octave are good",
            where,
        )
    warnings = _reach_note(frequency, known)
    frequency, measured = frequency[known], measured[known]
    shapes = {c.key: shaper(c.key, speaker.drivers[c.driver], frequency) for c in network.drivers}
    terminals = make_terminals(network, channel, frequency, shapes)
    log_ohm, slopes = terminals.look([NOMINAL], terminals.begin([NOMINAL]))
    variance = np.full(frequency.size, level**2 + FLOOR**2)
    for name in network.driver_names:  # cards of one driver share its sweep, and so its noise
        cards = {c.key for c in network.drivers if c.driver == name}
        scales = [i for i, k in enumerate(terminals.knobs) if k.name.endswith(":scale") and k.acts_on[0] in cards]
        total = slopes[0][:, scales].sum(axis=1)
        variance += np.abs(total) ** 2 * driver_noise(speaker.drivers[name]) ** 2
    sweep = Sweep(np.log(measured), np.sqrt(variance), curve.has_phase)
    return Bench(speaker, network, terminals, sweep, measured, level, source, log_ohm[0], warnings)


def noise_of(curve: Curve, stated: float | None) -> tuple[float, str]:
    """Relative noise of a row of a sweep, and where the figure comes from. Raises OptionError."""
    if stated is not None:
        if not 0 < stated < 1:
            raise OptionError(f"a noise of {stated:g} was stated", "give a share above 0 and below 1, such as 0.5%")
        return stated, "as stated"
    found = smoothness_noise(curve)
    if not math.isfinite(found.either):
        return 0.01, "assumed, the sweep has too few rows to tell"
    return found.either, f"estimated from {found.source}"


def _thinned(curve: Curve, band_hz: tuple[float, float]) -> tuple[Float, Complex]:
    """Rows inside a band, each at least a 24th of an octave from the last."""
    inside = np.flatnonzero((curve.frequency_hz >= band_hz[0] * 0.999) & (curve.frequency_hz <= band_hz[1] * 1.001))
    kept: list[int] = []
    for row in inside:
        if not kept or np.log2(curve.frequency_hz[row] / curve.frequency_hz[kept[-1]]) >= 0.98 / ROWS_PER_OCTAVE:
            kept.append(int(row))
    return curve.frequency_hz[kept], curve.value[kept]


def _reach_note(frequency: Float, known: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> tuple[str, ...]:
    if known.all():
        return ()
    reach = frequency[known]
    return (
        f"the sweep counts from {hertz(float(reach[0]))} to {hertz(float(reach[-1]))} only: beyond, a driver's "
        "impedance is not known",
    )
