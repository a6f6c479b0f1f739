"""A driver for which only a data sheet is at hand: impedance and response from its small-signal values."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Curve, Evidence, Unit
from xover.driver.model import DriverModel
from xover.errors import InputError
from xover.remark import About, Remark

SOURCE: Final = "data sheet values"
NOT_IN_IMPEDANCE: Final = Remark(
    "impedance from the data sheet: the cabinet, the leads, the spread between samples and the losses of the "
    "coil's inductance are not in it",
    About.DATASHEET_IMPEDANCE,
)
NO_INDUCTANCE: Final = Remark(
    "no inductance was given, so the impedance does not rise towards high frequencies as a real one does",
    About.IMPEDANCE,
)
NOT_IN_RESPONSE: Final = Remark(
    "response from the data sheet: flat above the resonance; the cabinet, the baffle step, beaming, break-up, "
    "the upper roll-off and the acoustic centre are not in it",
    About.DATASHEET_RESPONSE,
)


@dataclass(frozen=True)
class DatasheetValues:
    """Small-signal values as printed.

    Attributes
    ----------
    re_ohm : DC resistance.
    fs_hz : resonance.
    qms, qes : mechanical and electrical Q.
    le_mh : inductance in millihenry, or None where none is printed.
    sensitivity_db : dB re 20 uPa for 2.83 V at 1 m, or None.
    """

    re_ohm: float
    fs_hz: float
    qms: float
    qes: float
    le_mh: float | None = None
    sensitivity_db: float | None = None

    def __post_init__(self) -> None:
        DriverModel.from_thiele_small(self.re_ohm, self.fs_hz, self.qms, self.qes, (self.le_mh or 0.0) * 1e-3)
        if self.sensitivity_db is not None and not math.isfinite(self.sensitivity_db):
            raise InputError("the sensitivity is not a finite number", "give dB for 2.83 V at 1 m, or leave it out")

    @property
    def notes(self) -> tuple[Remark, ...]:
        """What curves made from these values do not hold, one sentence each."""
        notes = [NOT_IN_IMPEDANCE]
        if self.le_mh is None:
            notes.append(NO_INDUCTANCE)
        if self.sensitivity_db is not None:
            notes.append(NOT_IN_RESPONSE)
        return tuple(notes)

    @property
    def qts(self) -> float:
        """Total Q, Qms Qes/(Qms + Qes)."""
        return self.model.qts

    @property
    def model(self) -> DriverModel:
        """Equivalent circuit: Re + Le + one resonance."""
        return DriverModel.from_thiele_small(self.re_ohm, self.fs_hz, self.qms, self.qes, (self.le_mh or 0.0) * 1e-3)


def datasheet_response(values: DatasheetValues, frequency_hz: ArrayLike) -> Curve:
    """Response of an ideal flat driver: its sensitivity, and a second-order high-pass at fs with Qts.

        p = 10^(sensitivity/20) s^2/(s^2 + s ws/Qts + ws^2)

    That is the driver on an ideal voltage source in an infinite baffle (Small 1972, from memory), with
    its own minimum phase and no delay.

    Parameters
    ----------
    frequency_hz : (n,) Hz, rising, above 0.

    Returns
    -------
    Curve re 20 uPa, evidence `assumed`; `values.notes` says what is not in it.

    Raises InputError: no sensitivity is given.
    """
    if values.sensitivity_db is None:
        raise InputError(
            "the data sheet gives no sensitivity, so there is no response", "give sensitivity_db for 2.83 V at 1 m"
        )
    f = np.asarray(frequency_hz, dtype=float)
    s = 1j * f / values.fs_hz
    high_pass = s * s / (s * s + s / values.qts + 1.0)
    pressure = 10.0 ** (values.sensitivity_db / 20.0) * high_pass
    return Curve(f, pressure, Unit.PASCAL_20U, Evidence.ASSUMED, source=SOURCE)
