"""What the load asks of the amplifier at its rated voltage: current and power, steady sine."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from xover.amplifier.load import LoadReading
from xover.errors import InputError

NOTE: Final = (
    "a steady sine at the amplifier's rated voltage, at the frequency that asks for most: music asks for that "
    "only in short peaks, and a transient may ask for more than any sine"
)


@dataclass(frozen=True)
class Demand:
    """Current and power at the rated voltage.

    Attributes
    ----------
    rated_voltage_v : rms, sqrt(rated power x rated load).
    rated_voltage_peak_v : sqrt 2 times that.
    current_rms_a, current_peak_a, current_at_hz : highest current, at the lowest modulus.
    apparent_power_va : highest U^2/|Z|, at the same frequency.
    true_power_w, true_power_at_hz : highest U^2 Re(1/Z).
    rated_current_rms_a : what the rated load draws at the same voltage, to compare.
    note : what the figures hold for.
    """

    rated_voltage_v: float
    rated_voltage_peak_v: float
    current_rms_a: float
    current_peak_a: float
    current_at_hz: float
    apparent_power_va: float
    true_power_w: float
    true_power_at_hz: float
    rated_current_rms_a: float
    note: str = NOTE


def rated_voltage(rated_power_w: float, rated_load_ohm: float) -> float:
    """Rms volts of an amplifier that gives its rated power into its rated load: sqrt(P R).

    Raises
    ------
    InputError : one of them is not above 0.
    """
    for name, value in (("rated_power_w", rated_power_w), ("rated_load_ohm", rated_load_ohm)):
        if not (math.isfinite(value) and value > 0):
            raise InputError(f"[amplifier] {name} is {value:g}", "give a number above 0")
    return math.sqrt(rated_power_w * rated_load_ohm)


def read_demand(reading: LoadReading, rated_power_w: float, rated_load_ohm: float) -> Demand:
    """Tell what the load draws at the amplifier's rated voltage.

    The peak current is sqrt 2 times the rms current. A load that is not known gives NaN; one that
    falls to 0 ohm gives infinity, as no finite current would do.

    Raises
    ------
    InputError : rated power or load is not above 0.
    """
    u = rated_voltage(rated_power_w, rated_load_ohm)
    current = u / reading.minimum_ohm if reading.minimum_ohm != 0 else math.inf
    return Demand(
        rated_voltage_v=u,
        rated_voltage_peak_v=math.sqrt(2.0) * u,
        current_rms_a=current,
        current_peak_a=math.sqrt(2.0) * current,
        current_at_hz=reading.minimum_at_hz,
        apparent_power_va=u * current,
        true_power_w=u * u * reading.highest_conductance_s,
        true_power_at_hz=reading.highest_conductance_at_hz,
        rated_current_rms_a=u / rated_load_ohm,
    )
