"""What the words of the trade mean: each explained once here, and told where an answer first needs it."""

from __future__ import annotations

from typing import Final

TERMS: Final = {
    "voicing": "the sound that it had when new",
    "drive": "voltage at a driver over the amplifier's",
    "EPDR": "the resistance that would heat the amplifier as much",
    "null": "how far the sum falls there with one driver's wires swapped",
    "DCR": "resistance of a coil's wire",
    "ESR": "a capacitor's resistance in series",
    "df": "dissipation factor, the loss of a capacitor",
    "full sine": "a steady tone of the amplifier's peak, where it is worst",
}


def explained(term: str) -> str:
    """A term with its meaning behind it, for where it stands first."""
    return f"{term} ({TERMS[term]})"


def legend(*terms: str) -> str:
    """Meanings of what heads a table, in one sentence."""
    return "; ".join(f"{term}: {TERMS[term]}" for term in terms) + "."
