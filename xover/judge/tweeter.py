"""A tweeter below its resonance: its watts against the limit, whatever feeds it, and what they rest on."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from xover.judge.findings import Finding, found
from xover.judge.kinds import Fault
from xover.judge.network import measured_impedance
from xover.network import DriverCard
from xover.rules.instruments import SWEPT
from xover.rules.likeness import DATASHEET_LEVEL_DB, DATASHEET_SHARE
from xover.rules.margins import TWEETER_MOST, TWEETER_W
from xover.rules.severity import Severity
from xover.sound.resonance import driver_resonance_hz
from xover.speaker import Speaker


def tweeter_finding(
    speaker: Speaker,
    where: str,
    card: DriverCard,
    drivers: Sequence[str],
    watts_below: Callable[[float], float],
    level: str,
) -> Finding | None:
    """Whether average watts below its resonance are too many for a tweeter; None where they are safe or not known.

    Parameters
    ----------
    drivers : all that play, whose responses tell the voltage for a level.
    watts_below : what it gets below a frequency, at that level.
    level : in words.
    """
    most, resonance = TWEETER_MOST * TWEETER_W, driver_resonance_hz(speaker.drivers[card.driver])
    watts = math.nan if math.isnan(resonance) else watts_below(resonance)
    if not watts > TWEETER_W:
        return None
    guessed = () if measured_impedance(speaker, card.driver) else (card.driver,)
    heard = unheard(speaker, drivers)
    # A resonance that is not measured may lie lower, so that less of the programme is below it.
    least = watts_below(resonance / (1.0 + DATASHEET_SHARE)) if guessed else watts
    doubt = least_watts(least, guessed, heard) <= (most if watts > most else TWEETER_W)
    return found(
        Fault.BELOW_RESONANCE,
        where,
        severity=Severity.STOP if watts > most else Severity.CAUTION,
        unsure=settle(guessed, heard) if doubt else "",
        about_driver=card.key,
        key=card.key,
        watts=watts,
        resonance_hz=resonance,
        level=level,
        limit_w=TWEETER_W,
        quieter_db=10.0 * math.log10(watts / TWEETER_W),
    )


def unheard(speaker: Speaker, drivers: Sequence[str]) -> tuple[str, ...]:
    """Drivers whose response was not measured by a sweep: the voltage for a level is then not well known."""
    return tuple(d for d in drivers if speaker.drivers[d].response_instrument not in SWEPT)


def settle(impedance_of: Sequence[str], response_of: Sequence[str]) -> str:
    """What to measure to be sure."""
    said = [f"the impedance of {', '.join(impedance_of)}"] if impedance_of else []
    said += [f"the response of {', '.join(response_of)}"] if response_of else []
    return f"measure {' and '.join(said)}" if said else ""


def least_watts(watts: float, impedance_of: Sequence[str], response_of: Sequence[str]) -> float:
    """The fewest watts that these may be in truth, where impedances or responses were not measured."""
    level = 10.0 ** (-DATASHEET_LEVEL_DB / 10.0) if response_of else 1.0
    return watts * level / (1.0 + DATASHEET_SHARE if impedance_of else 1.0)
