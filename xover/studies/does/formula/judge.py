"""lcapy derives the transfer functions anew, and is compared with the formulas."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Final

import numpy as np

from xover.curve import Complex, Float, log_grid
from xover.network.network import GROUND, find_sections
from xover.readable import Readable
from xover.rounded import hertz
from xover.studies.does.formula.by_lcapy import LIMIT_S, LcapyGaveUp, circuit_cards, derived_anew
from xover.studies.does.formula.study import drive_polynomials, trimmed
from xover.studies.does.formula.terminated import TerminatedNetwork

FROM_HZ: Final = 20.0
TO_HZ: Final = 20e3
PER_OCTAVE: Final = 48


@dataclass(frozen=True)
class Judged:
    """One drive, ours against lcapy's.

    Attributes
    ----------
    largest_difference : |lcapy's - ours|/|ours|, from 20 Hz to 20 kHz; None where lcapy gave up, `gave_up` says why.
    at_hz : where. order : of lcapy's denominator. seconds : that lcapy took for its section, its start included.
    """

    name: str
    largest_difference: float | None
    at_hz: float | None
    order: int | None
    seconds: float
    gave_up: str = ""

    @property
    def sentence(self) -> str:
        """The verdict."""
        if self.largest_difference is None or self.at_hz is None:
            return f"{self.gave_up}: not judged"
        return (
            f"lcapy's own analysis, of order {self.order}, differs by {self.largest_difference:.1g} of the value "
            f"at most (at {hertz(self.at_hz)})"
        )


@dataclass(frozen=True, eq=False, repr=False)
class JudgeStudy(Readable):
    """lcapy's judgement of a network's drives, by driver's key."""

    title: str
    network: str
    drives: Mapping[str, Judged]
    left_out: tuple[str, ...]
    warnings: tuple[str, ...] = field(default=())

    @property
    def heading(self) -> str:
        """What was done."""
        return f"{self.title or self.network}: drives derived anew by lcapy, {hertz(FROM_HZ)} to {hertz(TO_HZ)}"


def study_judge(terminated: TerminatedNetwork, *, limit_s: float = LIMIT_S) -> JudgeStudy:
    """Let lcapy analyse each section with its drivers as circuits, and compare with our formula along the j w axis.

    Both know a dissipation factor as the resistance that it is at 1 kHz, and a driver as its model.

    Parameters
    ----------
    limit_s : how long lcapy may take for each section.

    Raises
    ------
    NoSolutionError, OptionError (a formula of too many terms).
    """
    ours = drive_polynomials(terminated)
    network = terminated.network
    drives: dict[str, Judged] = {}
    # A section alone knows the potentials at its ends only where all channels stand on ground.
    grounded = all(c.minus == GROUND for c in network.channels)
    groups: list[tuple[str, ...] | None] = [None]
    if grounded:
        groups = [section.elements for section in find_sections(network) if section.reaches_driver]
    left_out: list[str] = []
    for elements in groups:
        cards = circuit_cards(terminated, elements, sources=True)
        left_out += cards.left_out
        start = time.monotonic()
        try:
            theirs = derived_anew(cards, limit_s)
        except LcapyGaveUp as reason:
            took = time.monotonic() - start
            drives |= {key: Judged(key, None, None, None, took, str(reason)) for key in cards.drives}
            continue
        took = time.monotonic() - start
        drives |= {key: _judged(key, ours[key], theirs[key], took) for key in cards.drives}
    ordered = {key: drives[key] for key in ours}
    title = terminated.title or network.title
    return JudgeStudy(title, terminated.name, ordered, tuple(left_out), terminated.warnings)


Ratio = tuple[Sequence[Fraction], Sequence[Fraction]]


def _judged(key: str, ours: Ratio, theirs: Ratio, took: float) -> Judged:
    f = log_grid(FROM_HZ, TO_HZ, PER_OCTAVE)
    own = _at(ours, f)
    apart = np.abs(_at(theirs, f) - own)
    with np.errstate(divide="ignore"):
        apart = np.divide(apart, np.abs(own), out=apart, where=apart > 0)
    worst = int(np.argmax(apart))
    return Judged(key, float(apart[worst]), float(f[worst]), len(theirs[1]) - 1, took)


def _at(ratio: Ratio, frequency_hz: Float) -> Complex:
    """(n,) a ratio along the j w axis, in units of 1e4 rad/s so that no coefficient overflows a float."""
    ratio = trimmed(ratio[0]), trimmed(ratio[1])
    s, unit = 2j * np.pi * frequency_hz / 1e4, 10_000
    lead = ratio[1][0] * unit ** (len(ratio[1]) - 1)
    top, bottom = ([float(c * unit ** (len(p) - 1 - i) / lead) for i, c in enumerate(p)] for p in ratio)
    return np.asarray(np.polyval(top, s) / np.polyval(bottom, s), dtype=complex)
