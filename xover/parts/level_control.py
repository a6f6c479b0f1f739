"""Old level controls as the fixed resistors they amount to at one setting.

At a setting that is not moved a control is its one or two pieces of track, and pieces of track are resistors: fixed
ones of the same values give the same level and the same load at every frequency, on any driver.
"""

from __future__ import annotations

import math
from enum import StrEnum

from xover.errors import InputError
from xover.parts.pad import PadResistors


class ControlKind(StrEnum):
    """How the control is wired."""

    RHEOSTAT = "rheostat"
    POTENTIOMETER = "potentiometer"
    L_PAD = "l-pad"


WORDS = {
    ControlKind.RHEOSTAT: "a rheostat: a piece of track in series, setting 0 none of it (loudest), 1 all of it",
    ControlKind.POTENTIOMETER: "a potentiometer whose wiper feeds the driver: setting 0 silent, 1 loudest",
    ControlKind.L_PAD: "a constant-impedance L-pad: setting 0 silent, 1 loudest, voltage on a resistance in proportion",
}
"""Which way round a setting counts, and that the track is linear."""


def fixed_equivalent(kind: ControlKind, track_ohm: float, setting: float) -> PadResistors:
    """The resistors that equal a control at a setting, on a linear track.

    Rheostat: s x track in series. Potentiometer: (1-s) x track in series, s x track across the driver. L-pad of rated
    impedance `track_ohm`: by K = 1/s, so (1-s) Z in series and Z s/(1-s) across.

    Parameters
    ----------
    setting : 0 to 1 of the track; `WORDS` says which end is loud.

    Raises
    ------
    InputError : a track not above zero, or a setting outside 0 to 1.
    """
    if not (math.isfinite(track_ohm) and track_ohm > 0):
        raise InputError(f"the track is {track_ohm:g} ohm", "give what an ohmmeter reads from end to end, such as 16")
    if not 0 <= setting <= 1:
        raise InputError(f"the setting is {setting:g}", "give a fraction of the track from 0 to 1")
    if kind is ControlKind.RHEOSTAT:
        return PadResistors(setting * track_ohm, math.inf)
    if kind is ControlKind.POTENTIOMETER:
        return PadResistors((1 - setting) * track_ohm, setting * track_ohm)
    across = math.inf if setting == 1 else track_ohm * setting / (1 - setting)
    return PadResistors((1 - setting) * track_ohm, across)


def measured_setting(kind: ControlKind, series_ohm: float, other_ohm: float) -> tuple[float, float]:
    """(track_ohm, setting) from two ohmmeter readings, driver and filter unsoldered, the meter's leads taken off.

    Parameters
    ----------
    series_ohm : between input and driver's plus: what stands in series at this setting.
    other_ohm : of a rheostat, the whole track from end to end; of a potentiometer or L-pad, from the driver's plus to
        its minus (infinite for an L-pad turned full up).

    Returns
    -------
    The track (the rated impedance of an L-pad; NaN where it is full up and nothing tells) and the setting. No track
    need be linear for this: the two readings are the resistors themselves.

    Raises
    ------
    InputError : readings below zero, both zero, or more in series than a rheostat's whole track.
    """
    if not (0 <= series_ohm < math.inf and other_ohm >= 0) or (series_ohm == 0 and other_ohm == 0):
        raise InputError(f"the readings are {series_ohm:g} and {other_ohm:g} ohm", "give two readings of zero or more")
    if kind is ControlKind.RHEOSTAT:
        if not series_ohm <= other_ohm < math.inf:
            raise InputError(
                f"{series_ohm:g} ohm in series is more than the whole track's {other_ohm:g} ohm",
                "read the whole track from end to end; a corroded wiper adds ohms, so turn it a few times first",
            )
        return other_ohm, series_ohm / other_ohm
    if kind is ControlKind.POTENTIOMETER:
        if math.isinf(other_ohm):
            raise InputError(
                "the wiper reads open to the driver's minus", "this is no whole potentiometer; try rheostat"
            )
        return series_ohm + other_ohm, other_ohm / (series_ohm + other_ohm)
    if series_ohm == 0 or math.isinf(other_ohm):
        if series_ohm == 0 and math.isinf(other_ohm):
            return math.nan, 1.0
        raise InputError(
            f"{series_ohm:g} ohm in series and {other_ohm:g} ohm across is no setting of an L-pad",
            "check the readings, or try potentiometer or rheostat",
        )
    if other_ohm == 0:
        return series_ohm, 0.0
    # Rs/Rp = (1-s)^2/s, and of its two roots the one below 1; written so that neither end cancels.
    half = 1 + series_ohm / other_ohm / 2
    setting = 1 / (half + math.sqrt(half * half - 1))
    return math.sqrt(series_ohm * other_ohm / setting), setting
