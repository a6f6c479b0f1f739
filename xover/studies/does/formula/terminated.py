"""A network and what its drivers are taken as: of a speaker folder their own models, of a netlist alone 8 ohm."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from xover.driver.model import DriverModel
from xover.errors import OptionError
from xover.files.netlist import read_target
from xover.network import Network, build_network
from xover.quantity import hertz
from xover.readable import Readable
from xover.rules.bands import AUDIO_BAND_HZ
from xover.sound.driver_fit import fit_sweep
from xover.speaker import Speaker

ASSUMED_OHM: Final = 8.0


@dataclass(frozen=True, eq=False, repr=False)
class TerminatedNetwork(Readable):
    """A network with what stands for each driver.

    Attributes
    ----------
    resistance_ohm : DC resistance of each driver, by its name; none of a driver of which neither model nor meter tells.
    models : fitted models by name, of the drivers that have one.
    warnings : how well the drivers are known.
    """

    network: Network
    name: str
    resistance_ohm: Mapping[str, float]
    models: Mapping[str, DriverModel] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    title: str = ""

    def resistor_of(self, driver: str) -> float:
        """What stands for a driver without a model, ohm. Raises OptionError where nothing may."""
        if driver not in self.resistance_ohm:
            raise OptionError(
                f"no model follows the sweep of {driver}, so nothing can be told of what lies behind it",
                f"measure it again, or read its DC resistance with a meter: re_ohm in [drivers.{driver}]",
            )
        return self.resistance_ohm[driver]


def terminated_circuit(circuit: str | Path) -> TerminatedNetwork:
    """A .cir file, or a topology by its name. Every driver is taken as 8 ohm, and said so.

    Raises OptionError: neither a netlist nor a topology. InputError, NoSolutionError: a fault in the netlist.
    """
    built = build_network(read_target(circuit))
    assumed = f"every driver is taken as {ASSUMED_OHM:g} ohm (assumed): a speaker folder gives its own"
    ohms = dict.fromkeys(built.driver_names, ASSUMED_OHM)
    return TerminatedNetwork(built, Path(circuit).stem, ohms, warnings=(assumed,), title=built.title)


def terminated_speaker(speaker: Speaker, network_name: str) -> TerminatedNetwork:
    """A named network of a speaker.

    A driver without a sweep is the model of its values. One whose sweep no model fits is taken as the resistance that
    a meter read, and else as nothing: no poles, zeros or corners are told of what it ends.
    """
    network = speaker.network(network_name)
    resistance: dict[str, float] = {}
    models: dict[str, DriverModel] = {}
    warnings: list[str] = []
    for name in network.driver_names:
        driver = speaker.drivers[name]
        fit = fit_sweep(driver)
        if fit is not None and fit.holds:
            models[name] = fit.model
            resistance[name] = fit.model.re_ohm
            low, high = fit.band_hz
            short = low > AUDIO_BAND_HZ[0] * 1.001 or high < AUDIO_BAND_HZ[1] * 0.999
            guess = f"; beyond its sweep, {hertz(low)} to {hertz(high)}, it is a guess" if short else ""
            warnings.append(
                f"the model of {name} misses its sweep by {100 * fit.relative_rms:.1f} %{guess}; {fit.mounting_note}"
            )
        elif driver.datasheet is not None:
            models[name] = driver.datasheet.model
            resistance[name] = driver.datasheet.re_ohm
            warnings.append(f"{name} is the model of its {driver.impedance_instrument} values")
        else:
            why = "no model fits its sweep" if fit is None else fit.failure
            if driver.metered_re_ohm is not None:
                resistance[name] = driver.metered_re_ohm
                warnings.append(f"{name}: {why}: taken as its DC resistance, {resistance[name]:.3g} ohm")
            else:
                warnings.append(
                    f"{name}: {why}: no poles, zeros or corners can be told of what ends in it; measure it again, or "
                    "read its DC resistance with a meter (re_ohm)"
                )
    return TerminatedNetwork(network, network_name, resistance, models, tuple(warnings), speaker.title)
