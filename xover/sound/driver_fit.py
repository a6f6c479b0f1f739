"""What a driver's sweep says of it: its fitted model, where there is one that holds."""

from __future__ import annotations

from functools import lru_cache

from xover.curve import Curve
from xover.driver.fit import DriverFit, fit_driver
from xover.driver.model import DriverModel
from xover.errors import InputError
from xover.speaker import SpeakerDriver


def fit_sweep(driver: SpeakerDriver) -> DriverFit | None:
    """The electrical model of a measured driver, which may fail; None without a sweep, or one too short to fit."""
    return None if driver.impedance is None else _fitted_once(driver.impedance, driver.metered_re_ohm)


@lru_cache(maxsize=64)
def _fitted_once(curve: Curve, re_ohm: float | None) -> DriverFit | None:
    """A curve never changes, and several readings of one answer ask for its fit."""
    try:
        return fit_driver(curve, re_ohm=re_ohm)
    except InputError:
        return None


def circuit_of(driver: SpeakerDriver) -> DriverModel | None:
    """The circuit that may stand for a driver: fitted to its sweep, if it holds, or of its values; None without."""
    if driver.impedance is None:
        return None if driver.datasheet is None else driver.datasheet.model
    fit = fit_sweep(driver)
    return fit.model if fit is not None and fit.holds else None
