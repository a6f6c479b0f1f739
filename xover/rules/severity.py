"""How much a finding, a fault or a hazard matters."""

from __future__ import annotations

from enum import StrEnum


class Severity(StrEnum):
    """How much something that was found matters; the gravest first."""

    STOP = "stop"
    """Do not switch on: something or someone may come to harm."""
    CAUTION = "caution"
    """Can do harm, or makes a result wrong or doubtful, until it is heeded."""
    NOTE = "note"
    """Good to know."""

    @property
    def order(self) -> int:
        """0 for the gravest."""
        return list(Severity).index(self)
