"""What the load asks of the amplifier at its rated voltage, and what the output resistance does to the response."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from xover.amplifier.extremum import highest, lowest
from xover.amplifier.load import LoadReading, check_grid
from xover.curve import Complex, Float
from xover.errors import InputError
from xover.readable import Readable
from xover.rules.bands import AUDIO_BAND_HZ

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

    Raises InputError: one of them is not above 0.
    """
    for name, value in (("rated_power_w", rated_power_w), ("rated_load_ohm", rated_load_ohm)):
        if not (math.isfinite(value) and value > 0):
            raise InputError(f"[amplifier] {name} is {value:g}", "give a number above 0")
    return math.sqrt(rated_power_w * rated_load_ohm)


def read_demand(reading: LoadReading, rated_power_w: float, rated_load_ohm: float) -> Demand:
    """Tell what the load draws at the amplifier's rated voltage.

    The peak current is sqrt 2 times the rms current. A load that is not known gives NaN; one that
    falls to 0 ohm gives infinity, as no finite current would do.

    Raises InputError: rated power or load is not above 0.
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


# Sensitivity is stated for this voltage at 1 m: near 1 W into 8 ohm (1.0011 W).
SENSITIVITY_VOLTAGE_V: Final = 2.83
# A margin of this much is called ample: half the power lies idle on the loudest peak.
AMPLE_DB: Final = 3.0

ASSUMPTION: Final = (
    "one loudspeaker in a free field, on its axis, level falling by 20 lg of the distance; a second loudspeaker "
    "and the room give more, by habit 3 to 6 dB (common practice, no published source), which is not counted here"
)


class Supply(StrEnum):
    """How the amplifier's rated power compares with what the listening level needs."""

    AMPLE = "ample"
    ENOUGH = "enough"
    SHORT = "short"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class ListeningNeed:
    """What a listening level asks of the amplifier.

    Attributes
    ----------
    level_db : average level wanted at the listener, dB re 20 uPa.
    headroom_db : how far peaks stand above it.
    distance_m : to the loudspeaker.
    voltage_rms_v : rms of the sine that reaches level + headroom.
    voltage_peak_v : sqrt 2 times that: what the amplifier must swing.
    power_into_rated_w : that voltage squared over the rated load; None if that is not given.
    power_into_minimum_w : the same over the lowest modulus (volt-amperes); NaN if that is not known.
    average_power_into_rated_w : without the headroom; None if the rated load is not given.
    margin_db : rated power over need, dB; above 0 there is some left. None if there is no rating.
    highest_level_db : average level that the rated power allows with this headroom, or None.
    supply : the verdict in one word.
    sentence : the verdict in one sentence.
    assumption : what it rests on.
    """

    level_db: float
    headroom_db: float
    distance_m: float
    voltage_rms_v: float
    voltage_peak_v: float
    power_into_rated_w: float | None
    power_into_minimum_w: float
    average_power_into_rated_w: float | None
    margin_db: float | None
    highest_level_db: float | None
    supply: Supply
    sentence: str
    assumption: str = ASSUMPTION


def voltage_for_level(level_db: float, sensitivity_db: float, distance_m: float) -> float:
    """Rms volts for a level: 2.83 x 10^((level - sensitivity + 20 lg r)/20), free field.

    Parameters
    ----------
    level_db : level at the listener, dB re 20 uPa.
    sensitivity_db : level at 1 m for 2.83 V.
    distance_m : above 0; each doubling costs 6.02 dB, hence twice the volts.

    Raises InputError: the distance is not above 0, or a level is not finite.
    """
    if not (math.isfinite(distance_m) and distance_m > 0):
        raise InputError(f"[listening] distance_m is {distance_m:g}", "give metres above 0")
    for name, value in (("level_db", level_db), ("sensitivity_db", sensitivity_db)):
        if not math.isfinite(value):
            raise InputError(f"{name} is {value:g}", "give a level in dB")
    return float(SENSITIVITY_VOLTAGE_V * 10.0 ** ((level_db - sensitivity_db) / 20.0) * distance_m)


def read_listening(
    level_db: float,
    distance_m: float,
    headroom_db: float,
    sensitivity_db: float,
    minimum_ohm: float,
    rated_power_w: float | None = None,
    rated_load_ohm: float | None = None,
) -> ListeningNeed:
    """Compare what a listening level needs with what the amplifier is rated for.

    Parameters
    ----------
    level_db : average level wanted at the listener, dB re 20 uPa.
    distance_m : to the loudspeaker, above 0.
    headroom_db : peaks over the average, >= 0.
    sensitivity_db : of the whole loudspeaker through its network, 2.83 V, 1 m.
    minimum_ohm : lowest modulus of the load, as `read_load` finds it; NaN if not known.
    rated_power_w, rated_load_ohm : the amplifier's rating; without both the verdict is "unknown".

    Raises InputError: a figure is out of its range.
    """
    if not (math.isfinite(headroom_db) and headroom_db >= 0):
        raise InputError(f"[listening] headroom_db is {headroom_db:g}", "give 0 or more; 10 to 20 is usual for music")
    if minimum_ohm < 0:
        raise InputError(f"the lowest impedance is {minimum_ohm:g} ohm", "give the modulus, 0 or more")
    v = voltage_for_level(level_db + headroom_db, sensitivity_db, distance_m)
    average_v = voltage_for_level(level_db, sensitivity_db, distance_m)
    margin = None
    if rated_power_w is not None and rated_load_ohm is not None:
        margin = 20.0 * math.log10(rated_voltage(rated_power_w, rated_load_ohm) / v)
    supply = _supply(margin)
    return ListeningNeed(
        level_db=level_db,
        headroom_db=headroom_db,
        distance_m=distance_m,
        voltage_rms_v=v,
        voltage_peak_v=math.sqrt(2.0) * v,
        power_into_rated_w=None if rated_load_ohm is None else v * v / rated_load_ohm,
        power_into_minimum_w=v * v / minimum_ohm if minimum_ohm != 0 else math.inf,
        average_power_into_rated_w=None if rated_load_ohm is None else average_v * average_v / rated_load_ohm,
        margin_db=margin,
        highest_level_db=None if margin is None else level_db + margin,
        supply=supply,
        sentence=_sentence(f"{level_db:g} dB at {distance_m:g} m with {headroom_db:g} dB of headroom", v, margin),
    )


def _supply(margin_db: float | None) -> Supply:
    if margin_db is None:
        return Supply.UNKNOWN
    if margin_db >= AMPLE_DB:
        return Supply.AMPLE
    return Supply.ENOUGH if margin_db >= 0 else Supply.SHORT


def _sentence(wish: str, voltage_rms_v: float, margin_db: float | None) -> str:
    need = f"{wish} needs {voltage_rms_v:.3g} V"
    if margin_db is None:
        return f"{need}; add rated_power_w and rated_load_ohm under [amplifier] to speaker.toml to compare"
    if margin_db < 0:
        return f"{need}: the amplifier is {-margin_db:.1f} dB short and clips on peaks"
    return f"{need}: the amplifier has {margin_db:.1f} dB to spare, {_supply(margin_db).value}"


REFERENCE: Final = "its own mean in dB over log frequency, in the part of the band where the load is known"


@dataclass(frozen=True, eq=False, repr=False)
class SourceEffect(Readable):
    """Response change by the output resistance, against an amplifier that has none.

    Attributes
    ----------
    output_ohm : the amplifier's output resistance, cable included if the user added it.
    frequency_hz : (n,) as given.
    response_db : (n,) 20 lg |Z/(Z + Ro)| less `mean_db`; NaN where the load is not known or is 0.
    mean_db : level lost on the whole, at or below 0: what the volume control takes back.
    highest_db, highest_at_hz : most lifted within the band.
    lowest_db, lowest_at_hz : most lowered within the band.
    swing_db : highest less lowest: this no volume control takes back.
    band_hz, covered_hz : band asked for, and where in it the load is known.
    reference : what 0 dB of `response_db` is, in words.
    """

    output_ohm: float
    frequency_hz: Float
    response_db: Float
    mean_db: float
    highest_db: float
    highest_at_hz: float
    lowest_db: float
    lowest_at_hz: float
    swing_db: float
    band_hz: tuple[float, float]
    covered_hz: tuple[float, float]
    reference: str = REFERENCE


def divider_db(impedance_ohm: Complex, output_ohm: float) -> Float:
    """Level at the load over the amplifier's open voltage, 20 lg |Z/(Z + Ro)|, dB.

    Parameters
    ----------
    impedance_ohm : (n,) complex. NaN gives NaN; so does 0 ohm, whose level is minus infinity, unless the output
        resistance is 0 as well: an ideal source gives 0 dB into anything. Infinite impedance, no load, gives 0 dB.
    output_ohm : >= 0.
    """
    z = np.asarray(impedance_ohm, dtype=complex)
    if output_ohm == 0:
        return np.where(np.isnan(z), np.nan, 0.0)
    magnitude = np.abs(z)
    total = np.abs(z + output_ohm)
    usable = np.isfinite(magnitude) & (magnitude > 0) & (total > 0)
    ratio = np.divide(magnitude, total, out=np.full(magnitude.shape, np.nan), where=usable)
    return np.where(np.isinf(z), 0.0, 20.0 * np.log10(ratio))


def source_effect(
    frequency_hz: Float,
    impedance_ohm: Complex,
    output_ohm: float,
    refine: Callable[[Float], Complex] | None = None,
    band_hz: tuple[float, float] = AUDIO_BAND_HZ,
) -> SourceEffect:
    """Tell how the amplifier's output resistance bends the response.

    Every drive of a channel scales by Z/(Z + Ro), so the whole acoustic response bends alike.

    Parameters
    ----------
    frequency_hz : (n,) Hz, rising, above 0.
    impedance_ohm : (n,) complex ohm, what the amplifier sees; NaN where it is not known.
    output_ohm : output resistance, ohm, the same at all frequencies.
    refine : gives the impedance between the grid's points, as in `read_load`, or None.
    band_hz : band of the mean and of the extremes.

    Raises InputError: the grid is faulty, or output_ohm is negative or not finite.
    """
    f = np.asarray(frequency_hz, dtype=float)
    z = np.asarray(impedance_ohm, dtype=complex)
    check_grid(f, z)
    if not (math.isfinite(output_ohm) and output_ohm >= 0):
        raise InputError(f"[amplifier] output_ohm is {output_ohm:g}", "give 0 or more; a valve amplifier has ohms")
    inside = (f >= band_hz[0]) & (f <= band_hz[1])
    level = divider_db(z, output_ohm)
    mean = _log_mean(f[inside], level[inside])
    between = None if refine is None else lambda x: divider_db(refine(x), output_ohm) - mean
    top = highest(f[inside], level[inside] - mean, between, scale=1.0)
    bottom = lowest(f[inside], level[inside] - mean, between, scale=1.0)
    known = f[inside][np.isfinite(level[inside])]
    return SourceEffect(
        output_ohm=float(output_ohm),
        frequency_hz=f,
        response_db=level - mean,
        mean_db=mean,
        highest_db=top.value,
        highest_at_hz=top.at_hz,
        lowest_db=bottom.value,
        lowest_at_hz=bottom.at_hz,
        swing_db=top.value - bottom.value,
        band_hz=band_hz,
        covered_hz=(float(known[0]), float(known[-1])) if known.size else (float("nan"), float("nan")),
    )


def _log_mean(frequency_hz: Float, level_db: Float) -> float:
    """Mean over ln f by trapezia, only between neighbours that are both known; NaN if there are none."""
    known = np.isfinite(level_db)
    if np.count_nonzero(known) == 1:
        return float(level_db[known][0])
    pair = known[:-1] & known[1:]
    width = np.diff(np.log(frequency_hz))[pair]
    if width.size == 0:
        return float("nan")
    height = (level_db[:-1][pair] + level_db[1:][pair]) / 2.0
    return float(np.sum(width * height) / np.sum(width))
