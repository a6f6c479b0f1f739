"""A tweeter below its resonance: its watts against the limit, whatever feeds it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from xover.curve import Evidence
from xover.judge.findings import Fault, Finding, found
from xover.judge.network import measured_impedance
from xover.network import DriverCard
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
    resonance = driver_resonance_hz(speaker.drivers[card.driver])
    guessed = [] if measured_impedance(speaker, card.driver) else [card.driver]
    unheard = [d for d in drivers if speaker.drivers[d].response_evidence is not Evidence.MEASURED]
    watts, most = watts_below(resonance), TWEETER_MOST * TWEETER_W
    if not watts > TWEETER_W:
        return None
    # A resonance that is not measured may lie lower, so that less of the programme is below it.
    least = watts_below(resonance / (1.0 + DATASHEET_SHARE)) / (1.0 + DATASHEET_SHARE) if guessed else watts
    least *= 10.0 ** (-DATASHEET_LEVEL_DB / 10.0) if unheard else 1.0
    settle = [f"the impedance of {', '.join(guessed)}"] if guessed else []
    settle += [f"the response of {', '.join(unheard)}"] if unheard else []
    doubt = least <= (most if watts > most else TWEETER_W)
    return found(
        Fault.BELOW_RESONANCE,
        where,
        severity=Severity.STOP if watts > most else Severity.CAUTION,
        unsure=f"measure {' and '.join(settle)}" if doubt else "",
        about_driver=card.key,
        key=card.key,
        watts=watts,
        resonance_hz=resonance,
        level=level,
        limit_w=TWEETER_W,
        quieter_db=10.0 * math.log10(watts / TWEETER_W),
    )
