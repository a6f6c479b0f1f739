"""Formulas of a speaker's network: its drivers' own DC resistances and fitted models."""

from __future__ import annotations

import numpy as np

from xover.curve import log_grid
from xover.driver.model import DriverModel
from xover.speaker import Speaker
from xover.studies.desk.check.drivers import fit_sweep
from xover.studies.does.formula.study import FormulaStudy, study_formula


def study_speaker_formula(speaker: Speaker, network_name: str) -> FormulaStudy:
    """Work out the formulas of a named network; arguments and errors as for `study_formula`.

    A driver without a sweep is its datasheet's model. One whose sweep no model fits is taken as the lowest
    impedance that it shows, and said so.
    """
    network = speaker.network(network_name)
    resistance: dict[str, float] = {}
    models: dict[str, DriverModel] = {}
    warnings: list[str] = []
    for name in network.driver_names:
        driver = speaker.drivers[name]
        fit = fit_sweep(driver)
        if fit is not None:
            models[name] = fit.model
            resistance[name] = fit.model.re_ohm
            warnings.append(
                f"the model of {name} misses its sweep by {100 * fit.relative_rms:.1f} %; {fit.mounting_note}"
            )
        elif driver.datasheet is not None:
            models[name] = driver.datasheet.model
            resistance[name] = driver.datasheet.re_ohm
            warnings.append(f"{name} is its datasheet's model")
        else:
            lowest = float(np.nanmin(np.abs(driver.impedance_ohm(log_grid(20.0, 20e3, 24)))))
            resistance[name] = lowest
            warnings.append(f"no model fits the sweep of {name}: taken as its lowest impedance, {lowest:.3g} ohm")
    return study_formula(network, network_name, resistance, models, warnings, speaker.title)
