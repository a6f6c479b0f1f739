"""What may be wrong or doubtful: each kind of finding by name, and how much it matters."""

from __future__ import annotations

from enum import StrEnum
from typing import Final

from xover.rules.severity import Severity


class Fault(StrEnum):
    """What may be wrong or doubtful."""

    NO_NETWORK = "no network"
    UNUSED_DRIVER = "unused driver"
    # Drivers.
    PHASE_REBUILT = "phase rebuilt"
    FROM_DATASHEET = "from datasheet"
    NO_SOUND = "no sound"
    DOUBTFUL_FILE = "doubtful file"
    NO_MODEL = "no model"
    TWO_RESONANCES = "two resonances"
    DOUBTFUL_SWEEP = "doubtful sweep"
    COARSE_SWEEP = "coarse sweep"
    SHORT_SWEEP = "short sweep"
    DC_ABOVE_SWEEP = "DC resistance above sweep"
    DC_BELOW_SWEEP = "DC resistance below sweep"
    NO_OVERLAP = "no overlap"
    LITTLE_OVERLAP = "little overlap"
    RELATIVE_LEVEL = "relative level"
    NO_PLACE = "no place"
    UNSOUND = "unsound driver"
    DENIED_TIMING = "timing denied"
    PLACE_OF_ANGLES = "place tells angles only"
    DELAY_UNUSED = "delay of no use"
    # Networks.
    LOOSE_NODE = "loose node"
    ODD_VALUE = "odd value"
    IDLE_PARTS = "idle parts"
    NO_CIRCUIT = "no circuit"
    NO_VOLTAGE = "no voltage"
    DRIVER_COUNT = "driver count"
    BARE_TWEETER = "bare tweeter"
    COIL_PROTECTS = "coil protects"
    BLOCKED_WOOFER = "blocked woofer"
    OIL_FILLED = "oil-filled"
    OVER_RATING = "over rating"
    BURNS = "burns"
    THIN_RATING = "thin rating"
    BELOW_RESONANCE = "power below resonance"
    NEAR_RESONANCE = "corner near resonance"
    OPEN_DRIVER = "driver unplugged"
    LAMP = "lamp"
    ENVELOPE = "envelope"
    NO_CROSSOVER = "no crossover"
    POLARITY = "polarity"
    REVERSED = "reversed"
    # Found against the original.
    DEAD_OPEN = "dead driver, open"
    DEAD_SHORTED = "dead driver, shorted"
    NO_DRIVER = "driver missing"
    PART_SHORTED = "part shorted"
    PART_OPEN = "part open"
    PART_MISSING = "part missing"
    LAMP_GONE = "lamp gone"
    PART_ADDED = "part added"
    EXCHANGED = "parts exchanged"
    WORN = "worn"
    NO_SIGNAL = "driver gets nothing"
    SWAPPED = "polarity against the original"
    ALL_SWAPPED = "polarity of the whole speaker"
    # Amplifier.
    BRIDGED_JOINED = "bridged outputs joined"
    PERHAPS_BRIDGED = "perhaps bridged outputs joined"
    LOW_LOAD = "low load"
    UNRATED = "unrated amplifier"

    @property
    def severity(self) -> Severity:
        """How much it matters, where nothing more is known of the case."""
        return Severity.STOP if self in _STOPS else Severity.NOTE if self in _NOTES else Severity.CAUTION


_STOPS: Final = frozenset(
    {Fault.BARE_TWEETER, Fault.BRIDGED_JOINED, Fault.BURNS, Fault.BELOW_RESONANCE, Fault.LOW_LOAD}
)
_NOTES: Final = frozenset(
    {
        *(
            Fault.UNUSED_DRIVER,
            Fault.PHASE_REBUILT,
            Fault.FROM_DATASHEET,
            Fault.NO_SOUND,
            Fault.TWO_RESONANCES,
            Fault.COARSE_SWEEP,
        ),
        *(Fault.SHORT_SWEEP, Fault.COIL_PROTECTS, Fault.LAMP, Fault.REVERSED, Fault.UNRATED),
        *(Fault.DRIVER_COUNT, Fault.THIN_RATING, Fault.ALL_SWAPPED, Fault.WORN, Fault.PLACE_OF_ANGLES),
    }
)
