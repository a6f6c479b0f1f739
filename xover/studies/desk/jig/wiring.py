"""What a ratio of two channels says of how the jig was wired, where it gives no driver's impedance."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.curve import Complex, Float
from xover.driver.jig import Across, impedance_of_ratio
from xover.errors import InputError, named
from xover.quantity import ohms
from xover.rules.likeness import VOICE_COIL_OHM
from xover.rules.recordings import RESISTOR_WRONG
from xover.studies.desk.jig.ratios import ChannelRatio

_ALIKE: Final = 0.02
"""Two channels that differ by less show one point."""
_MOST: Final = 0.9
"""Share of the rows that must be passive once the ratio is turned back."""
_TOP_HZ: Final = (2000.0, 10_000.0)
_CAPACITANCE_DEG: Final = -15.0
_TOP_SHARE: Final = 0.75


class Miswired(StrEnum):
    """What was found."""

    ONE_POINT = "one-point"
    SWAPPED = "swapped"
    TURNED = "turned"
    BOTH = "swapped-and-turned"


@dataclass(frozen=True)
class Mending:
    """What is wrong, and what to do."""

    problem: str
    remedy: str


def passive(z: Complex) -> NDArray[np.bool_]:
    """(n,) whether an impedance takes power."""
    finite = np.isfinite(z.real) & np.isfinite(z.imag)
    return finite & (np.where(finite, z.real, -1.0) > 0.0)


def miswired(ratio: Complex, reference_ohm: float, across: Across) -> Miswired | None:
    """Why most rows make no passive impedance, where one mistake alone explains it; None else.

    Derived: with the driver Z behind R, read by swapped channels it comes out as -(Z + R), and by one channel turned
    round as -R Z/(2 Z + R): each is passive after its own mending only.
    """
    if float(np.median(np.abs(ratio - 1.0))) < _ALIKE:
        return Miswired.ONE_POINT
    with np.errstate(divide="ignore", invalid="ignore"):
        mended = {Miswired.SWAPPED: 1.0 / ratio, Miswired.TURNED: -ratio, Miswired.BOTH: -1.0 / ratio}
        good = [m for m, h in mended.items() if passive(impedance_of_ratio(h, reference_ohm, across)).mean() >= _MOST]
    return good[0] if len(good) == 1 else None


def mending_of(found: Miswired | None, across: Across) -> Mending:
    """In words; with what is known to be wrong, or with what it may be."""
    other = Across.RESISTOR if across is Across.DRIVER else Across.DRIVER
    match found:
        case Miswired.ONE_POINT:
            what = "the driver is not connected, or the resistor is bridged" if across is Across.DRIVER else "a short"
            return Mending(
                "both channels read the same", f"{what}, or both inputs are on one point: look at the wiring again"
            )
        case Miswired.SWAPPED:
            return Mending(
                "the channels are swapped: the first reads less than the second wherever it should read more",
                "swap the channels (the table must be second over first) and record again",
            )
        case Miswired.TURNED:
            return Mending(
                "one channel is turned round: its plus is on the other's minus",
                "turn that input's leads round and record again; minus of both inputs belongs on one point",
            )
        case Miswired.BOTH:
            return Mending(
                "the channels are swapped and one of them is turned round",
                "swap the channels, turn one input's leads round, and record again",
            )
        case None:
            return Mending(
                f"most rows give no passive impedance with the second channel across the {across}",
                f"look at the wiring, that nothing clips or is open, or say that it is across the {other}",
            )


def oddities(f: Float, z: Complex, reference_ohm: float, across: Across) -> Iterator[str]:
    """What no voice coil shows; nothing is refused for it, as the jig measures what it is given."""
    size = np.abs(z)
    least, at = float(size.min()), float(f[int(np.argmin(size))])
    said = f"is the jig's resistor {ohms(reference_ohm)}, and the driver sound?"
    if least < VOICE_COIL_OHM[0]:
        yield f"falls to {ohms(least)} at {at:.0f} Hz, below any common voice coil: {said}"
    elif least > VOICE_COIL_OHM[1]:
        yield f"is above {ohms(VOICE_COIL_OHM[1])} everywhere, above any common voice coil: {said}"
    top = (f >= _TOP_HZ[0]) & (f <= _TOP_HZ[1])
    if top.sum() < 4 or np.mean(np.degrees(np.angle(z[top])) < _CAPACITANCE_DEG) < _TOP_SHARE:
        return
    # Read across the wrong part, an impedance comes out as R^2/Z.
    if float((reference_ohm**2 / size).min()) >= 2.0 * VOICE_COIL_OHM[0]:
        other = Across.RESISTOR if across is Across.DRIVER else Across.DRIVER
        yield (
            f"reads as a capacitance from {_TOP_HZ[0] / 1000:g} to {_TOP_HZ[1] / 1000:g} kHz, where a voice coil is "
            f"none: if the second channel is across the {other}, say so"
        )


def refuse_interchanged(opened: ChannelRatio, shorted: ChannelRatio, across: Across, path: Path | str) -> None:
    """Open and short in each other's place would turn every impedance over."""
    sizes = [float(np.median(np.abs(one.curve.value))) for one in (opened, shorted)]
    if (sizes[0] < sizes[1]) is (across is Across.DRIVER):
        raise InputError(
            f"the open reads {'less' if across is Across.DRIVER else 'more'} than the short across the {across}",
            f"{named('open_file')} and {named('short_file')} may stand in each other's place, the channels be swapped, "
            f"or {named('across')} be wrong",
            path,
        )


def other_resistor(
    opened: ChannelRatio, shorted: ChannelRatio, known: ChannelRatio, known_ohm: float, reference_ohm: float
) -> Iterator[str]:
    """Where the jig's own resistor cannot be what it is said to be: the known one reads it, in mid band."""
    at = np.array([float(np.sqrt(known.curve.frequency_hz[0] * known.curve.frequency_hz[-1]))])
    o, s, k = (complex(r.at(at)[0][0]) for r in (opened, shorted, known))
    reads = known_ohm * abs((o - k) / (k - s))
    if not abs(reads / reference_ohm - 1.0) < RESISTOR_WRONG:
        yield (
            f"the jig's resistor reads {ohms(reads)} by the known one, and {ohms(reference_ohm)} was said: measure "
            "both again"
        )
