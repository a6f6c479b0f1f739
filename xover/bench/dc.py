"""What an ohmmeter reads between two pads of a board that is half built, and what each reading proves."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from xover.bench.words import number, ohm_range
from xover.network import DriverCard, Inductor, Part, Resistor
from xover.network.network import Groups
from xover.parts.coil_design import dcr_of_air_coil
from xover.parts.kinds import tolerance_of
from xover.rules.instruments import Instrument
from xover.rules.likeness import DATASHEET_RE, DCR_SHARE, METER_OHM, METER_RE, METER_SHARE, SWEEP_RE, UNKNOWN_WIRE_M
from xover.rules.margins import ROUNDING
from xover.speaker import SpeakerDriver


@dataclass(frozen=True)
class Link:
    """One element as a resistor for direct current.

    Attributes
    ----------
    ohm, low_ohm, high_ohm : as stated and within its tolerance; infinite for a capacitor, 0 for a wire.
    known : False where the value itself is not stated. source : what the range rests on.
    """

    name: str
    a: str
    b: str
    ohm: float
    low_ohm: float
    high_ohm: float
    known: bool = True
    source: str = ""


def part_link(part: Part) -> Link:
    """A part for direct current."""
    if isinstance(part, Resistor):
        return _link(part.name, part.a, part.b, part.ohm, tolerance_of(part), "its tolerance")
    if isinstance(part, Inductor):
        if part.dcr_ohm == 0 and not part.losses_stated:
            most = dcr_of_air_coil(part.henry, UNKNOWN_WIRE_M)
            return Link(part.name, part.a, part.b, 0.0, 0.0, most, False, "no dcr= on its card")
        return _link(part.name, part.a, part.b, part.dcr_ohm, DCR_SHARE, "DCR within 10 %")
    return Link(part.name, part.a, part.b, math.inf, math.inf, math.inf)


def driver_link(card: DriverCard, driver: SpeakerDriver) -> Link | None:
    """A driver's voice coil for direct current; None where nothing is known of it."""
    if driver.impedance is not None and (driver.re_ohm is None or only_printed(driver)):
        least = float(np.min(driver.impedance.value.real))
        return _link(card.name, card.plus, card.minus, least, SWEEP_RE, "the sweep's lowest resistance")
    if driver.re_ohm is None:
        return None
    printed = only_printed(driver)
    share, source = (DATASHEET_RE, "the datasheet's Re") if printed else (METER_RE, "Re as read with a meter")
    return _link(card.name, card.plus, card.minus, driver.re_ohm, share, source)


def resistance_ohm(links: Iterable[tuple[str, str, float]], a: str, b: str) -> float:
    """Resistance between two nodes of a network of resistors.

    Parameters
    ----------
    links : (node, node, ohm); 0 joins its nodes, infinity is left out.

    Returns
    -------
    0 where wires alone join the two, infinite where nothing does.

    The node equations (Kirchhoff) with one node grounded: exact but for rounding.
    """
    wires, bodies = Groups([a, b]), []
    for one, other, ohm in links:
        if ohm == 0:
            wires.join(one, other)
        elif math.isfinite(ohm):
            bodies.append((one, other, ohm))
    start, end = wires.find(a), wires.find(b)
    if start == end:
        return 0.0
    reach = Groups([start, end])
    joined = [(wires.find(one), wires.find(other), ohm) for one, other, ohm in bodies]
    for one, other, _ in joined:
        reach.join(one, other)
    if reach.find(start) != reach.find(end):
        return math.inf
    nodes = [n for n in reach.with_(start) if n != end]
    index = {n: i for i, n in enumerate(nodes)}
    matrix = np.zeros((len(nodes), len(nodes)))
    for one, other, ohm in joined:
        for here, there in ((one, other), (other, one)):
            if one != other and here in index:
                matrix[index[here], index[here]] += 1.0 / ohm
                if there in index:
                    matrix[index[here], index[there]] -= 1.0 / ohm
    amps = np.zeros(len(nodes))
    amps[index[start]] = 1.0
    return float(np.linalg.solve(matrix, amps)[index[start]])


@dataclass(frozen=True)
class Between:
    """Resistance between two nodes: as stated, with every part at its lowest, and with every part at its highest.

    No larger resistor makes any reading smaller (Rayleigh), so all low and all high are the exact ends.
    """

    ohm: float
    low_ohm: float
    high_ohm: float


def between(links: Sequence[Link], a: str, b: str) -> Between:
    """What lies between two nodes."""
    return Between(
        resistance_ohm(((k.a, k.b, k.ohm) for k in links), a, b),
        resistance_ohm(((k.a, k.b, k.low_ohm) for k in links), a, b),
        resistance_ohm(((k.a, k.b, k.high_ohm) for k in links), a, b),
    )


def only_printed(driver: SpeakerDriver) -> bool:
    """Whether the DC resistance is the datasheet's (a reading of the same value is taken for it too).

    Where all the rest is assumed, it was read: it is what the assumptions start from.
    """
    printed = driver.impedance_instrument is not Instrument.ASSUMED
    return printed and driver.datasheet is not None and driver.re_ohm == driver.datasheet.re_ohm


def _link(name: str, a: str, b: str, ohm: float, share: float, source: str) -> Link:
    return Link(name, a, b, ohm, ohm * (1.0 - share), ohm * (1.0 + share), True, source)


class Usual(StrEnum):
    """What a reading outside its range nearly always means."""

    OPEN = "open is a bad joint"
    SHORT = "near 0 is a short"
    STAYS_LOW = "a low reading that stays is a short"


@dataclass(frozen=True)
class DcCheck:
    """One reading between two pads, everything that is soldered so far in place.

    Attributes
    ----------
    between : the pads, in words. expected_ohm : infinite for open. low_ohm, high_ohm : what the meter may show, part
        tolerances and the meter's own error in it.
    known : False where the DCR of a coil in it is not stated, so that only `high_ohm` counts.
    proves : what other readings mean, in words; those that mean so nearly everywhere are `Usual`.
    """

    between: tuple[str, str]
    expected_ohm: float
    low_ohm: float
    high_ohm: float
    known: bool
    proves: tuple[str, ...]

    @property
    def shown(self) -> str:
        """What the meter shows."""
        if math.isinf(self.expected_ohm):
            return "open (above 1 Mohm)"
        if not self.known:
            return f"no more than {number(self.high_ohm)} ohm (a coil there states no DCR)"
        return ohm_range(self.expected_ohm, self.low_ohm, self.high_ohm)

    @property
    def reading(self) -> str:
        """Where to measure, and what the meter shows."""
        return f"{self.between[0]} to {self.between[1]}: {self.shown}"

    @property
    def sentence(self) -> str:
        """The same with what it proves."""
        return "; ".join((self.reading, ", ".join(self.proves))) if self.proves else self.reading


def dc_check(
    links: Sequence[Link], nodes: tuple[str, str], pads: tuple[str, str], proves: tuple[str, ...] = ()
) -> DcCheck:
    """The reading between two nodes. `pads` : how these are called; `proves` : see `DcCheck`."""
    found = between(links, *nodes)
    low, high = meter_range(found)
    known = all(k.known for k in links if _counts(links, k, nodes))
    return DcCheck(pads, found.ohm, low, high, known, proves)


def meter_range(found: Between) -> tuple[float, float]:
    """Lowest and highest that the meter may show."""
    low = max(0.0, found.low_ohm * (1.0 - METER_SHARE) - METER_OHM)
    return low, found.high_ohm * (1.0 + METER_SHARE) + METER_OHM


def sees(links: Sequence[Link], new: Link, nodes: tuple[str, str]) -> tuple[bool, bool]:
    """Whether the reading tells that a new part is missing, and that it is shorted, beyond all doubt."""
    others = [k for k in links if k is not new]
    low, high = meter_range(between(links, *nodes))
    without = meter_range(between(others, *nodes))
    shorted = meter_range(between([*others, replace(new, ohm=0.0, low_ohm=0.0, high_ohm=0.0)], *nodes))
    return without[0] > high, shorted[1] < low


def _counts(links: Sequence[Link], link: Link, nodes: tuple[str, str]) -> bool:
    """Whether a link moves the reading at all."""
    if math.isinf(link.ohm):
        return False
    with_it, without = (between(some, *nodes).high_ohm for some in (links, [k for k in links if k is not link]))
    return not math.isclose(with_it, without, rel_tol=ROUNDING, abs_tol=0.0)
