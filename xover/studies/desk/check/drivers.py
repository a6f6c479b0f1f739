"""Are the drivers' curves sound, and do they agree with what else is said of them?"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from xover.curve import Curve
from xover.driver.fit import DriverFit, fit_driver
from xover.errors import InputError
from xover.quantity import Kind, format_quantity
from xover.remark import About
from xover.rules.likeness import ABOVE_SWEEP, BELOW_SWEEP, COARSE_SWEEP, LEAST_OVERLAP_OCTAVES, PRESSURE_DB
from xover.speaker import PhaseSource, Speaker, SpeakerDriver
from xover.studies.desk.check.findings import Finding, note, warning


def fit_sweep(driver: SpeakerDriver) -> DriverFit | None:
    """The electrical model of a measured driver; None without a sweep, or where no model can be fitted."""
    if driver.impedance is None:
        return None
    try:
        return fit_driver(driver.impedance)
    except InputError:
        return None


def driver_findings(speaker: Speaker, fits: dict[str, DriverFit | None]) -> Iterator[Finding]:
    """Go through every driver of the folder."""
    for name, driver in speaker.drivers.items():
        yield from _notes(driver)
        yield from _sweep(driver, fits[name])
        yield from _dc_resistance(driver, fits[name])
        yield from _overlap(driver)
        yield from _place(driver)


def _notes(driver: SpeakerDriver) -> Iterator[Finding]:
    for said in driver.notes:
        text = said.bare
        if said.about is About.REBUILT_PHASE:
            yield note(driver.name, text, "measure the phase against one time reference to do without")
        elif said.about in (About.DATASHEET_IMPEDANCE, About.DATASHEET_RESPONSE):
            yield note(driver.name, text, "measure an impedance sweep and a response to do without")
        else:
            yield warning(driver.name, text, "look at the file, and measure again if it is not meant")


def _sweep(driver: SpeakerDriver, fit: DriverFit | None) -> Iterator[Finding]:
    curve = driver.impedance
    if curve is None:
        return
    if fit is None:
        yield warning(driver.name, "no electrical model fits the impedance sweep", "check the file's columns and units")
        return
    for text in fit.warnings:
        if text.about is About.TWO_RESONANCES:
            yield note(driver.name, text, "usual with a horn or a vented box; else look for a leak")
            continue
        yield warning(driver.name, text, "check the jig, its calibration and the file; then measure again")
    coarse = curve.interpolation_error()
    if np.isfinite(coarse) and coarse > COARSE_SWEEP:
        yield note(
            driver.name,
            f"the impedance sweep is coarse or noisy: between rows it is good to about {coarse:.0%} at worst",
            "measure 24 or more points in each octave",
        )
    lowest, highest = curve.lowest_hz, curve.highest_hz
    if lowest > 20.0 * 1.001 or highest < 20e3 * 0.999:
        yield note(
            driver.name,
            f"the impedance is known from {format_quantity(lowest, Kind.FREQUENCY)} to "
            f"{format_quantity(highest, Kind.FREQUENCY)} only: results outside of that are left out",
            "sweep from 10 Hz to 20 kHz or more",
        )


def _dc_resistance(driver: SpeakerDriver, fit: DriverFit | None) -> Iterator[Finding]:
    if driver.impedance is None or driver.re_ohm is None:
        return
    least = float(np.min(np.abs(driver.impedance.value)))
    where = float(driver.impedance.frequency_hz[int(np.argmin(np.abs(driver.impedance.value)))])
    read = driver.re_ohm
    remedy = "zero the meter's leads and read again; then check the jig's reference resistor and the scale of the file"
    if read > ABOVE_SWEEP * least:
        yield warning(
            driver.name,
            f"the DC resistance of {read:.3g} ohm is above the sweep's lowest impedance, {least:.3g} ohm at "
            f"{format_quantity(where, Kind.FREQUENCY)}: both cannot be true",
            remedy,
        )
        return
    believed = fit.model.re_ohm if fit is not None else least
    if read < BELOW_SWEEP * believed:
        yield warning(
            driver.name,
            f"the DC resistance of {read:.3g} ohm is far below what the sweep shows, {believed:.3g} ohm",
            remedy,
        )


def _overlap(driver: SpeakerDriver) -> Iterator[Finding]:
    if driver.impedance is None or driver.response is None:
        return
    low = max(driver.impedance.lowest_hz, driver.response.lowest_hz)
    high = min(driver.impedance.highest_hz, driver.response.highest_hz)
    if low >= high:
        yield warning(
            driver.name,
            f"impedance ({_band(driver.impedance)}) and response ({_band(driver.response)}) do not overlap: "
            "no sound can be predicted",
            "measure both over the same band, or check the units of the frequency column",
        )
    elif np.log2(high / low) < LEAST_OVERLAP_OCTAVES:
        yield warning(
            driver.name,
            f"impedance and response overlap only from {format_quantity(low, Kind.FREQUENCY)} to "
            f"{format_quantity(high, Kind.FREQUENCY)}",
            "measure both over the band that the driver plays",
        )
    level = float(np.nanmax(driver.response.level_db))
    if not PRESSURE_DB[0] < level < PRESSURE_DB[1]:
        yield warning(
            driver.name,
            f"the response peaks at {level:.0f} dB, no level of a driver at 2.83 V and 1 m: it looks relative",
            "add the level of 0 dB to the table; ratios between drivers are wrong until then",
        )


def _place(driver: SpeakerDriver) -> Iterator[Finding]:
    if driver.phase_source is PhaseSource.MINIMUM and driver.position_mm is None and not driver.card_positions_mm:
        yield warning(
            driver.name,
            "its phase is rebuilt, but its place is not known: the sum is an envelope only",
            "add position_mm = [right, up, forward] of the design axis' foot on the baffle",
        )


def _band(curve: Curve) -> str:
    low, high = format_quantity(curve.lowest_hz, Kind.FREQUENCY), format_quantity(curve.highest_hz, Kind.FREQUENCY)
    return f"{low} to {high}"
