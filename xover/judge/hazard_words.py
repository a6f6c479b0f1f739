"""What is unsafe, broken or turned round, in the trade's words."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from xover.figures import written
from xover.judge.kinds import Fault
from xover.quantity import QuantityKind, format_quantity, hertz, ohms


def of_safety(fault: Fault, f: Any) -> tuple[str, str] | None:
    """Power, load, ratings, drivers unplugged."""
    match fault:
        case Fault.BELOW_RESONANCE:
            return (
                f"{f['key']} gets {_watts(f['watts'])} below its resonance of "
                f"{written('resonance', f['resonance_hz'])} ({f['level']}), where "
                f"{_watts(f['limit_w'])} is safe",
                _doubt(f, f"play {math.ceil(f['quieter_db'])} dB quieter, or move the corner up"),
            )
        case Fault.NEAR_RESONANCE:
            ask = (
                "measure the responses, so that its watts at the listening level can be told"
                if f["level_given"]
                else "say how loud you listen (level_db, distance_m under [listening]), so that its watts can be told"
            )
            return (
                f"{f['key']} is crossed over at {hertz(f['at_hz'])}, near its resonance of "
                f"{written('resonance', f['resonance_hz'])}: loud, that tears or burns it",
                ask,
            )
        case Fault.LOW_LOAD:
            found = f"lowest impedance {written('lowest load', f['lowest_ohm'])} ohm at {hertz(f['at_hz'])}"
            if f["low"]:
                return (
                    f"{found}: too low for an amplifier that allows {ohms(f['limit_ohm'])}",
                    _doubt(f, "use another amplifier, or raise the load"),
                )
            return (
                f"{found}: below the {ohms(f['limit_ohm'])} that the amplifier allows, by less than the 20 % that IEC "
                "60268-5 lets a rated speaker dip",
                _doubt(f, "ask the amplifier's maker; do not play it loud without need"),
            )
        case Fault.BURNS | Fault.OVER_RATING | Fault.THIN_RATING:
            remedy = "put in one of a higher rating"
            if f["usual"] is not None:
                remedy = f"put in one of {f['usual']:g} {f['unit']} or more"
            if fault is Fault.BURNS:
                remedy += f", or play {math.ceil(f['quieter_db'])} dB quieter"
            return f"{f['rating']} ({f['level']})", _doubt(f, remedy)
        case Fault.OPEN_DRIVER:
            return (
                "; ".join(one.words for one in f["cases"]),
                "switch off before a driver is unplugged; sweep without it at low level only",
            )
    return None


@dataclass(frozen=True)
class Unplugged:
    """What one driver's absence does.

    Attributes
    ----------
    key : the driver. left_ohm : lowest load that is left, NaN where there is none or it is not known; at_hz : where.
    low : whether that is a short. capacitor : name, peak and rated volts of one that a full sine would overload.
    """

    key: str
    left_ohm: float
    at_hz: float | None
    low: bool
    capacitor: tuple[str, float | None, float | None] | None

    @property
    def words(self) -> str:
        """The same as a sentence."""
        said = []
        if self.low:
            low = "next to nothing" if self.left_ohm == 0 else ohms(self.left_ohm)
            said.append(f"the load falls to {low}" + ("" if self.at_hz is None else f" at {hertz(self.at_hz)}"))
        if self.capacitor is not None:
            name, peak_v, rated_v = self.capacitor
            peak = "volts without limit" if peak_v is None or math.isinf(peak_v) else f"{peak_v:.0f} V"
            said.append(f"a full sine would put {peak} on {name}, rated {rated_v or math.nan:g} V")
        return f"without {self.key} {' and '.join(said)}"


def of_condition(fault: Fault, f: Any) -> tuple[str, str] | None:
    """Dead drivers and parts, and turned wires, against the original."""
    match fault:
        case Fault.DEAD_OPEN:
            return (
                f"{f['driver']} is open: its impedance is {_about(f['ohm'])}, no voice coil's",
                f"find another {f['driver']} or have it rebuilt; check its capacitor first, which may have let it burn",
            )
        case Fault.DEAD_SHORTED:
            return (
                f"{f['driver']} is shorted: its impedance is {_about(f['ohm'])}, no voice coil's",
                f"look for a bridge at its terminals first; else find another {f['driver']} or have it rebuilt",
            )
        case Fault.NO_DRIVER:
            return (
                f"{f['driver']} is in {f['network']} but not in {f['other']}",
                f"connect it again, or write its card into {f['other']} (X... plus minus {f['driver']})",
            )
        case Fault.PART_SHORTED:
            if f["reads_high"]:
                said = f"{f['part']} reads {f['now']}, {f['was']} in the original: shorted, another part, or a slip"
                return said, f"read {f['part']} again; if it is so, replace it: {f['good']}"
            said = f"{f['part']} is shorted: {f['now']}, {f['was']} in the original"
            return said, f"replace {f['part']}: {f['good']}"
        case Fault.PART_OPEN:
            return f"{f['part']} is open: {f['now']}, {f['was']} in the original", f"replace {f['part']}: {f['good']}"
        case Fault.PART_MISSING:
            return f"{f['part']} ({f['was']}) of the original is missing", f"put {f['part']} back: {f['good']}"
        case Fault.LAMP_GONE:
            return (
                f"{f['part']} is a lamp in the original, and {f['now']} today: what protected a driver is gone",
                f"put a lamp back for {f['part']}, {f['good']} cold",
            )
        case Fault.PART_ADDED:
            does = f"moves the sound by {f['moves_db']:.1f} dB" if f["moves_db"] < math.inf else "silences a driver"
            return (
                f"{f['added']} of today's board is not in the original, and {does}",
                f"take {f['added']} out and wire the rest as the original is",
            )
        case Fault.EXCHANGED:
            return (
                f"{f['part']} reads what {f['other']} is marked with, and the other way round",
                f"swap {f['part']} and {f['other']}, or their readings if they were noted so by mistake",
            )
        case Fault.WORN:
            off = f"{f['moved_db']:.1f} dB off the original's" if f["moved_db"] < math.inf else "none in the original"
            return (
                f"the voltage at {f['key']} is {off} at {hertz(f['at_hz'])}",
                "'xover condition' tells which part did it, 'xover decide' what to do",
            )
        case Fault.NO_SIGNAL:
            less = f": {f['drop_db']:.0f} dB less than from the original" if math.isfinite(f["drop_db"]) else ""
            return (
                f"{f['key']} gets nothing{less}",
                f"look for a broken wire, joint or part on the way to {f['key']}",
            )
        case Fault.SWAPPED:
            gain = f["gain_db"]
            heard = ""
            if not math.isnan(gain):
                heard = f"; turned back, the sum round {hertz(f['at_hz'])} changes by {gain:+.1f} dB"
            return (
                f"{f['key']} is wired the other way round than in the original{heard}",
                f"swap the two wires at {f['key']}, unless its plus is marked the other way round",
            )
        case Fault.ALL_SWAPPED:
            return (
                "every driver is wired the other way round than in the original",
                "swap the two wires at the speaker's terminals if the other speaker is not turned too",
            )
    return None


def _doubt(f: Any, remedy: str) -> str:
    """The remedy; first the measurement that settles it where it is a doubt."""
    return f"{f['unsure']} to be sure; until then {remedy}" if f["unsure"] else remedy


def _about(ohm: float) -> str:
    return "not to be read" if not math.isfinite(ohm) else f"about {format_quantity(ohm, QuantityKind.RESISTANCE, 2)}"


def _watts(value: float) -> str:
    return f"{value:.2g} W"
