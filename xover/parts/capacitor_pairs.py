"""Two capacitors together, with their losses; and the voltage that a capacitor must stand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Complex, Float
from xover.errors import InputError
from xover.network.parts import Capacitor
from xover.quantity import QuantityKind, format_quantity, hertz
from xover.rules.margins import CAPACITOR_MARGIN, USUAL_VOLTS

BYPASS_HZ: Final = (1000.0, 10_000.0, 20_000.0)


@dataclass(frozen=True, eq=False)
class CombinedCapacitor:
    """Two capacitors seen as one, frequency by frequency.

    Attributes
    ----------
    frequency_hz : (n,). impedance_ohm : (n,) complex.
    farad : (n,) series capacitance -1/(w Im Z). esr_ohm : (n,) Re Z. dissipation_factor : (n,) their w C ESR.
    """

    frequency_hz: Float
    impedance_ohm: Complex
    farad: Float
    esr_ohm: Float
    dissipation_factor: Float


def in_parallel(first: Capacitor, second: Capacitor, frequency_hz: ArrayLike) -> CombinedCapacitor:
    """Side by side: admittances add, exactly."""
    omega = 2 * np.pi * np.atleast_1d(np.asarray(frequency_hz, dtype=float))
    return _seen(omega, 1.0 / (1.0 / first.impedance_ohm(omega) + 1.0 / second.impedance_ohm(omega)))


def in_series(first: Capacitor, second: Capacitor, frequency_hz: ArrayLike) -> CombinedCapacitor:
    """One behind the other: impedances add, exactly."""
    omega = 2 * np.pi * np.atleast_1d(np.asarray(frequency_hz, dtype=float))
    return _seen(omega, first.impedance_ohm(omega) + second.impedance_ohm(omega))


def _seen(omega: Float, z: Complex) -> CombinedCapacitor:
    return CombinedCapacitor(omega / (2 * np.pi), z, -1.0 / (omega * z.imag), z.real, -z.real / z.imag)


@dataclass(frozen=True)
class Bypass:
    """What a small capacitor across a large one changes.

    Attributes
    ----------
    frequency_hz : (n,). alone_ohm, bypassed_ohm : (n,) magnitude of the impedance.
    alone_esr_ohm, bypassed_esr_ohm : (n,) series resistance. change_db : (n,) of the magnitude.
    by_value_db : change that the added capacitance alone makes, at every frequency: 20 lg(C / (C + c)).
    """

    frequency_hz: tuple[float, ...]
    alone_ohm: tuple[float, ...]
    bypassed_ohm: tuple[float, ...]
    alone_esr_ohm: tuple[float, ...]
    bypassed_esr_ohm: tuple[float, ...]
    change_db: tuple[float, ...]
    by_value_db: float

    @property
    def sentence(self) -> str:
        """In words, with what is said of it in the trade."""
        worst = max(self.change_db, key=abs)
        at = self.frequency_hz[self.change_db.index(worst)]
        return (
            f"the small capacitor changes the impedance by at most {worst:+.2f} dB, at {hertz(at)}; "
            f"its value alone, were both lossless, would make {self.by_value_db:+.2f} dB. "
            "Builders have found no agreed benefit (common practice)"
        )


def bypass(large: Capacitor, small: Capacitor, frequency_hz: Sequence[float] = BYPASS_HZ) -> Bypass:
    """Compare a capacitor alone with the same one bypassed by a small one."""
    f = np.array(frequency_hz, dtype=float)
    alone = large.impedance_ohm(2 * np.pi * f)
    both = in_parallel(large, small, f)
    return Bypass(
        tuple(f.tolist()),
        tuple(np.abs(alone).tolist()),
        tuple(np.abs(both.impedance_ohm).tolist()),
        tuple(alone.real.tolist()),
        tuple(both.esr_ohm.tolist()),
        tuple((20 * np.log10(np.abs(both.impedance_ohm / alone))).tolist()),
        20 * math.log10(large.farad / (large.farad + small.farad)),
    )


@dataclass(frozen=True)
class VoltageNeeded:
    """The voltage that a capacitor must be rated for.

    Attributes
    ----------
    rms_v, peak_v : of the amplifier at its rated power, a sine. needed_v : peak x magnification x margin.
    rating_v : next usual rating, or None above the highest.
    """

    rms_v: float
    peak_v: float
    magnification: float
    margin: float
    needed_v: float
    rating_v: float | None

    @property
    def sentence(self) -> str:
        """In words."""
        rating = (
            f"take {self.rating_v:g} V" if self.rating_v else f"above {USUAL_VOLTS[-1]:g} V nothing usual is on sale"
        )
        rms, peak, needed = (format_quantity(v, QuantityKind.VOLTAGE) for v in (self.rms_v, self.peak_v, self.needed_v))
        times = "" if self.magnification == 1 else f", {self.magnification:g} times that in the network"
        return f"{rms} rms is {peak} peak{times}: with a margin of {100 * (self.margin - 1):.0f} % {needed}, {rating}"


def voltage_needed(
    rated_power_w: float, rated_load_ohm: float, margin: float = CAPACITOR_MARGIN, magnification: float = 1.0
) -> VoltageNeeded:
    """From the amplifier's rating: its peak voltage is sqrt(2 P R); sqrt(P R) would be rms, and too low by 3 dB.

    Parameters
    ----------
    margin : rating over peak, 1 or more.
    magnification : capacitor's voltage over the amplifier's; above 1 in a resonance, as with a driver unplugged.

    Raises InputError: power or load not above zero, a margin below 1, a magnification not above zero.
    """
    for name, value in (
        ("rated power", rated_power_w),
        ("rated load", rated_load_ohm),
        ("magnification", magnification),
    ):
        if not (math.isfinite(value) and value > 0):
            raise InputError(f"the {name} is {value:g}", "give a value above zero")
    if not 1 <= margin < math.inf:
        raise InputError(f"the margin is {margin:g}", "give 1.3 for 30 % over the peak")
    rms = math.sqrt(rated_power_w * rated_load_ohm)
    peak = math.sqrt(2.0) * rms
    needed = peak * magnification * margin
    rating = next((v for v in USUAL_VOLTS if v >= needed), None)
    return VoltageNeeded(rms, peak, magnification, margin, needed, rating)
