"""A driver of the speaker folder: its curves, or its datasheet where no curve is given."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from xover.curve import Complex, Curve, Evidence, Float
from xover.driver.model import DatasheetValues, datasheet_response
from xover.readable import Readable
from xover.remark import Remark

Position = tuple[float, float, float]


class PhaseSource(StrEnum):
    """Where the phase of a response comes from."""

    MEASURED = "measured"
    MINIMUM = "minimum"
    NONE = "none"


@dataclass(frozen=True, eq=False, repr=False)
class SpeakerDriver(Readable):
    """One driver: what was measured, what is assumed, and where it stands.

    Attributes
    ----------
    impedance : measured sweep, or None where the datasheet must serve.
    response : measured response with the phase that is to be used, or None.
    phase_source : whose phase that is. MINIMUM has no delay in it: the position gives the delay.
    datasheet : printed values, or None.
    position_mm : right, up, forward of the design axis' foot; None where it was not said.
    card_positions_mm : the same for each card, where the driver stands on several.
    re_ohm : DC resistance as read with a meter, or as printed; None where unknown.
    notes : what a reader must know, one sentence each.
    """

    name: str
    impedance: Curve | None
    response: Curve | None
    phase_source: PhaseSource
    datasheet: DatasheetValues | None
    position_mm: Position | None
    card_positions_mm: dict[str, Position]
    diameter_mm: float | None
    re_ohm: float | None
    notes: tuple[Remark, ...]

    def impedance_ohm(self, frequency_hz: Float) -> Complex:
        """(n,) impedance, NaN where the sweep does not reach."""
        if self.impedance is not None:
            return self.impedance.at(frequency_hz)
        if self.datasheet is None:
            return np.full(frequency_hz.shape, np.nan, dtype=complex)
        return np.asarray(self.datasheet.model.impedance_ohm(frequency_hz), dtype=complex)

    def pressure(self, frequency_hz: Float) -> Complex:
        """(n,) response re 20 uPa at 2.83 V and 1 m, without the delay of its place where its phase is rebuilt."""
        if self.response is not None:
            return self.response.at(frequency_hz)
        if self.datasheet is None or self.datasheet.sensitivity_db is None:
            return np.full(frequency_hz.shape, np.nan, dtype=complex)
        return np.asarray(datasheet_response(self.datasheet, frequency_hz).value, dtype=complex)

    @property
    def impedance_evidence(self) -> Evidence:
        """What the impedance rests on."""
        if self.impedance is not None:
            return self.impedance.evidence
        return Evidence.ASSUMED if self.datasheet is None or self.datasheet.le_mh is None else Evidence.DATASHEET

    @property
    def response_evidence(self) -> Evidence:
        """What the response rests on; assumed where a flat driver stands in for it."""
        return Evidence.ASSUMED if self.response is None else self.response.evidence

    @property
    def has_response(self) -> bool:
        """False where nothing at all is known of its sound."""
        return self.response is not None or (self.datasheet is not None and self.datasheet.sensitivity_db is not None)

    def place_mm(self, card: str) -> Position | None:
        """Where one card of this driver stands (card without its X), or None."""
        for name, position in self.card_positions_mm.items():
            if name.lower() == card.lower():
                return position
        return self.position_mm
