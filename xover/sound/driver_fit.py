"""What a driver's sweep says of it: its fitted model, where there is one that holds."""

from __future__ import annotations

from xover.driver.fit import DriverFit, fit_driver
from xover.driver.model import DriverModel
from xover.errors import InputError
from xover.speaker import SpeakerDriver


def fit_sweep(driver: SpeakerDriver) -> DriverFit | None:
    """The electrical model of a measured driver, which may fail; None without a sweep, or one too short to fit."""
    if driver.impedance is None:
        return None
    try:
        return fit_driver(driver.impedance, re_ohm=driver.metered_re_ohm)
    except InputError:
        return None


def circuit_of(driver: SpeakerDriver) -> DriverModel | None:
    """The circuit that may stand for a driver: fitted to its sweep, if it holds, or of its values; None without."""
    if driver.impedance is None:
        return None if driver.datasheet is None else driver.datasheet.model
    fit = fit_sweep(driver)
    return fit.model if fit is not None and fit.holds else None
