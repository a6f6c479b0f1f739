"""What reaches each driver in time, after a step or an impulse at the amplifier: closed form and numbers."""

from __future__ import annotations

import cmath
import math
from collections.abc import Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any, Final, Literal

import numpy as np

from xover.curve import Float
from xover.errors import OptionError
from xover.quantity import hertz
from xover.readable import Readable
from xover.studies.does.formula.by_lcapy import LIMIT_S, LcapyGaveUp, circuit_cards, inverse_transform
from xover.studies.does.formula.study import drive_polynomials, rough_roots, trimmed
from xover.studies.does.formula.terminated import TerminatedNetwork

Stimulus = Literal["step", "impulse"]

FIRST_S: Final = 1e-6
PER_DECADE: Final = 48
STEP_S: Final = 50e-6
"""Times stand even in log until they would stand wider apart than this."""
LAST_S: Final = 20e-3
TOLD_S: Final = (1e-6, 1e-5, 1e-4, 2e-4, 5e-4, 1e-3, 2e-3, 5e-3, 10e-3, 20e-3)
"""Times whose values are written out."""
SETTLED: Final = 0.02
"""A response has settled when it stays within 2 % of its largest value (the usual band of control engineering)."""
SAME: Final = 1e-6
"""A closed form farther from the numeric inverse transform than this is not given."""
NUMERIC_ERROR: Final = 1e-10
"""Two contours of the numeric inverse transform agree to this share of the largest value, or more points are taken."""
MOST_POINTS: Final = 2000
DEAD: Final = 32.0
"""Time constants after which a pole counts for nothing: e^-32 is 1e-14."""


@dataclass(frozen=True)
class Term:
    """One term of a closed form: amplitude t^power e^(-t/time_constant) cos(2 pi frequency t + phase).

    Attributes
    ----------
    amplitude : per volt at the amplifier; of an impulse response per second, too; with a power, per second to it.
    time_constant_s : None where the term does not decay. frequency_hz, phase_deg : None where it does not ring.
    """

    amplitude: float
    power: int = 0
    time_constant_s: float | None = None
    frequency_hz: float | None = None
    phase_deg: float | None = None

    def value(self, time_s: Float) -> Float:
        """(n,) the term at times > 0."""
        found = self.amplitude * time_s**self.power
        if self.time_constant_s is not None:
            found = found * np.exp(-time_s / self.time_constant_s)
        if self.frequency_hz is not None and self.phase_deg is not None:
            found = found * np.cos(2.0 * np.pi * self.frequency_hz * time_s + np.radians(self.phase_deg))
        return np.asarray(found, dtype=float)

    @property
    def text(self) -> str:
        """Rounded, for reading: 0.31 e^(-t/1.59 ms) cos(2 pi t 694 Hz + 34 deg)."""
        factors = [f"{self.amplitude:.4g}"]
        if self.power:
            factors.append("t" if self.power == 1 else f"t^{self.power}")
        if self.time_constant_s is not None:
            sign, size = ("-", self.time_constant_s) if self.time_constant_s > 0 else ("", -self.time_constant_s)
            factors.append(f"e^({sign}t/{seconds(size)})")
        if self.frequency_hz is not None and self.phase_deg is not None:
            side = "+" if self.phase_deg >= 0 else "-"
            factors.append(f"cos(2 pi t {hertz(self.frequency_hz)} {side} {abs(self.phase_deg):.1f} deg)")
        return " ".join(factors)


@dataclass(frozen=True, eq=False, repr=False)
class DriveResponse(Readable):
    """What reaches one driver in time.

    Attributes
    ----------
    name : the driver's key.
    terms : the closed form by lcapy, largest time constant first; None where lcapy gave none, `gave_up` says why.
    impulse : weight of the impulse at time zero, of an impulse response; what comes after it are the values.
    values : (n,) by lcapy where it gave the closed form, else by the numeric inverse transform; V for 1 V (for 1 V s).
    largest_difference : of the values from the numeric inverse transform, re the largest value; None without lcapy.
    numeric_error : by how much two contours of the numeric inverse transform differ, re the largest value.
    final : what the values go to.
    largest, largest_at_s : the value farthest from zero on the grid, with its sign, and where.
    settled_s : from here on within 2 % of the largest value from the final one; None where not within the grid.
    """

    name: str
    terms: tuple[Term, ...] | None
    impulse: float
    values: Float
    largest_difference: float | None
    numeric_error: float
    final: float
    largest: float
    largest_at_s: float
    settled_s: float | None
    gave_up: str = ""

    @property
    def pieces(self) -> tuple[str, ...]:
        """The closed form term by term, each with its sign, rounded for reading; empty without."""
        if self.terms is None:
            return ()
        pieces = [f"{self.impulse:.4g} delta(t)"] if self.impulse else []
        pieces += [term.text for term in self.terms]
        signed = [f"- {piece[1:]}" if piece.startswith("-") else f"+ {piece}" for piece in pieces]
        return tuple(signed) or ("0",)

    @property
    def closed_form(self) -> str:
        """The pieces as one sum."""
        return " ".join(self.pieces).removeprefix("+ ")

    @property
    def check(self) -> str:
        """How far lcapy and the numeric inverse transform lie apart, or why there is no closed form."""
        if self.largest_difference is None:
            return f"{self.gave_up}; by numeric inverse transform, right to {self.numeric_error:.1g} of the largest"
        return (
            f"lcapy and a numeric inverse transform differ by {self.largest_difference:.1g} of the largest at most, "
            f"over {self.values.size} times from {seconds(FIRST_S)} to {seconds(LAST_S)}"
        )


@dataclass(frozen=True, eq=False, repr=False)
class ResponseStudy(Readable):
    """Responses of a network's drives in time.

    Attributes
    ----------
    stimulus : "step" of 1 V, or "impulse" of 1 V s, at all channels.
    time_s : (n,) after it.
    drives : by driver's key.
    """

    title: str
    network: str
    stimulus: Stimulus
    time_s: Float
    drives: Mapping[str, DriveResponse]
    warnings: tuple[str, ...] = field(default=())

    @property
    def unit(self) -> str:
        """Of the values: per volt at the amplifier, or per second."""
        return "V for 1 V" if self.stimulus == "step" else "V for 1 V s"

    @property
    def heading(self) -> str:
        """What is shown, with its unit."""
        after = "a step" if self.stimulus == "step" else "an impulse"
        return f"{self.title or self.network}: drives after {after}, {self.unit}"

    def items(self, drive: DriveResponse) -> list[tuple[str, str]]:
        """What is told of a drive, label and text."""
        told = [("" if number else "closed form", piece) for number, piece in enumerate(drive.pieces)]
        told.append(("largest", f"{drive.largest:.4g} V at {seconds(drive.largest_at_s)}"))
        near = f"within {SETTLED:.0%} of the largest from {drive.final:.4g} V"
        if drive.settled_s is None:
            told.append(("settles", f"later than {seconds(LAST_S)}: until then not {near}"))
        else:
            told.append(("settles", f"at {seconds(drive.settled_s)}: from there on {near}"))
        return [*told, ("check", drive.check)]

    def table(self) -> tuple[list[str], list[list[str]]]:
        """Head and rows: some times, and each drive then."""
        rows = []
        for wanted in TOLD_S:
            at = int(np.argmin(np.abs(self.time_s - wanted)))
            rows.append([seconds(float(self.time_s[at])), *(f"{d.values[at]:.4g} V" for d in self.drives.values())])
        return ["time", *self.drives], rows

    def plain(self) -> dict[str, Any]:
        """With the closed form as text, rounded, too."""
        drives = {key: {**vars(d), "closed_form": d.closed_form or None} for key, d in self.drives.items()}
        return {**vars(self), "drives": drives}


def times() -> Float:
    """(n,) from 1 us to 20 ms: 48 a decade, then every 50 us."""
    early = FIRST_S * 10.0 ** (np.arange(3 * PER_DECADE + 1) / PER_DECADE)
    return np.concatenate([early, np.arange(early[-1] + STEP_S, LAST_S + STEP_S / 2.0, STEP_S)])


def study_response(
    terminated: TerminatedNetwork, after: Stimulus, only: str | None = None, *, limit_s: float = LIMIT_S
) -> ResponseStudy:
    """Work out each drive's response by lcapy, and by a numeric inverse transform that knows no poles.

    Parameters
    ----------
    after : what the amplifier gives. only : key of one driver. limit_s : how long lcapy may take for each drive.

    Raises OptionError: no such driver, or a formula of too many terms. NoSolutionError.
    """
    found = drive_polynomials(terminated)
    if only is not None and only not in found:
        raise OptionError(f"there is no drive of '{only[:40]}'", "name one of " + ", ".join(found))
    grid = times()
    chosen = {key: ratio for key, ratio in found.items() if only is None or key == only}
    with ThreadPoolExecutor(1) as lcapy:  # one process after the other, beside our own sums
        asked = {}
        for key, (top, bottom) in chosen.items():
            transform = _transform(key, top, bottom, after)
            asked[key] = transform, lcapy.submit(inverse_transform, *transform.ratio, grid, limit_s)
        drives = {key: _response(key, transform, grid, answer) for key, (transform, answer) in asked.items()}
    title = terminated.title or terminated.network.title
    left_out = circuit_cards(terminated).left_out
    return ResponseStudy(title, terminated.name, after, grid, drives, (*terminated.warnings, *left_out))


@dataclass(frozen=True)
class _Transform:
    """What is to be transformed back.

    Attributes
    ----------
    ratio : numerator and denominator. after : the numerator without the impulse at time zero.
    final : what the response goes to. impulse : weight of the impulse at time zero.
    """

    ratio: tuple[list[Fraction], list[Fraction]]
    after: list[Fraction]
    final: float
    impulse: float


def _transform(key: str, top: Sequence[Fraction], bottom: Sequence[Fraction], after: Stimulus) -> _Transform:
    top, bottom = trimmed(top), trimmed(bottom)
    if len(top) > len(bottom):
        raise OptionError(f"the drive of {key} grows with frequency without limit", "look at the netlist's wiring")
    if after == "step":
        return _Transform((top, [*bottom, Fraction(0)]), top, _at_zero(top, bottom), 0.0)
    padded = [Fraction(0)] * (len(bottom) - len(top)) + top
    at_once = padded[0] / bottom[0]
    rest = [a - at_once * b for a, b in zip(padded, bottom, strict=True)]
    return _Transform((top, bottom), rest, 0.0, float(at_once))


def _response(key: str, transform: _Transform, time_s: Float, answer: Future[dict[str, Any]]) -> DriveResponse:
    numeric, error = numeric_inverse(transform.after, transform.ratio[1], time_s)
    size = float(np.max(np.abs(numeric))) or 1.0
    terms, difference, values, gave_up = None, None, numeric, ""
    try:
        found = answer.result()
        apart = float(np.max(np.abs(np.array(found["values"]) - numeric))) / size
        if not apart <= SAME:
            raise LcapyGaveUp(f"lcapy's closed form is off by {apart:.1g} of the largest value")
        terms = tuple(sorted(map(_term, found["terms"]), key=lambda t: -(t.time_constant_s or math.inf)))
        difference, values = apart, np.array(found["values"])
    except LcapyGaveUp as reason:
        gave_up = str(reason)
    farthest = int(np.argmax(np.abs(values)))
    return DriveResponse(
        name=key,
        terms=terms,
        impulse=transform.impulse,
        values=values,
        largest_difference=difference,
        numeric_error=error / size,
        final=transform.final,
        largest=float(values[farthest]),
        largest_at_s=float(time_s[farthest]),
        settled_s=_settled(time_s, values, transform.final),
        gave_up=gave_up,
    )


def _term(row: Sequence[float]) -> Term:
    """A residue, its pole and its order as a term."""
    residue, pole, order = complex(*row[:2]), complex(*row[2:4]), int(row[4])
    share = 1.0 / math.factorial(order - 1)
    decay = None if pole.real == 0 else -1.0 / pole.real
    if pole.imag == 0:
        return Term(residue.real * share, order - 1, decay)
    phase = math.degrees(cmath.phase(residue))
    return Term(2.0 * abs(residue) * share, order - 1, decay, pole.imag / (2.0 * math.pi), phase)


def _at_zero(top: Sequence[Fraction], bottom: Sequence[Fraction]) -> float:
    """The ratio at s = 0, a common factor of s left out."""
    low = next(i for i, c in enumerate(reversed(bottom)) if c != 0)
    return float(top[-1 - low] / bottom[-1 - low]) if len(top) > low else 0.0


def _settled(time_s: Float, values: Float, final: float) -> float | None:
    outside = np.flatnonzero(np.abs(values - final) > SETTLED * np.max(np.abs(values)))
    if not outside.size:
        return float(time_s[0])
    return None if outside[-1] + 1 == time_s.size else float(time_s[outside[-1] + 1])


def numeric_inverse(top: Sequence[Fraction], bottom: Sequence[Fraction], time_s: Float) -> tuple[Float, float]:
    """Inverse Laplace transform by the fixed Talbot contour in many digits, a sum over values of the ratio alone.

    Parameters
    ----------
    top, bottom : of the ratio, highest power first, the numerator of lower order. time_s : (n,) rising, > 0.

    Returns (n,) values, and the largest difference between two numbers of points on the contour.

    One contour serves the times of an octave. It must pass round every pole that has not died away, so rough poles say
    how many points it needs at least; no value rests on them. Points are added until two contours agree to
    `NUMERIC_ERROR`. Source: J. Abate and P. P. Valko, Multi-precision Laplace transform inversion, Int. J. Numer. Meth.
    Engng 60 (2004) 979-993.
    """
    octave = np.floor(np.log2(time_s / time_s[0]) * (1 - 1e-12)).astype(int)
    poles = rough_roots(bottom)
    pieces, largest, worst = [], 0.0, 0.0
    for number in np.unique(octave):
        now = time_s[octave == number]
        points = _points_needed(poles, now)
        before = _talbot(top, bottom, now, points)
        while True:
            points += points // 4
            found = _talbot(top, bottom, now, points)
            largest = max(largest, float(np.max(np.abs(found))))
            apart = float(np.max(np.abs(found - before)))
            if apart <= NUMERIC_ERROR * largest or points > MOST_POINTS:
                break
            before = found
        worst = max(worst, apart)
        pieces.append(found)
    return np.concatenate(pieces), worst


def _points_needed(poles: Sequence[complex], time_s: Float) -> int:
    """Points with which the contour passes outside of every pole that counts at these times."""
    points = 32
    for pole in poles:
        if pole.imag <= 0 or pole.real * time_s[0] < -DEAD:
            continue
        # At an angle the contour stands at reach angle (cot angle + j): the pole lies inside from this angle on.
        angle = 0.9 * math.atan2(1.0, pole.real / pole.imag)
        points = max(points, math.ceil(2.5 * float(time_s[-1]) * pole.imag / angle))
    return min(points, MOST_POINTS)


def _talbot(top: Sequence[Fraction], bottom: Sequence[Fraction], time_s: Float, points: int) -> Float:
    """The sum over a contour made for the last of the times."""
    from mpmath import mp, mpf

    with mp.workdps(25 + points // 5):  # e^(s t) reaches 10^(0.174 points)
        upper, lower = ([mpf(c.numerator) / c.denominator for c in p] for p in (top, bottom))
        reach = mpf(2 * points) / (5 * mpf(float(time_s[-1])))
        nodes = [(reach, mp.mpc(0.5))]
        for k in range(1, points):
            angle = mp.pi * k / points
            slope = mp.cot(angle)
            nodes.append((reach * angle * mp.mpc(slope, 1), mp.mpc(1, angle + (angle * slope - 1) * slope)))
        weights = [(s, w * mp.polyval(upper, s) / mp.polyval(lower, s) * reach / points) for s, w in nodes]
        times_ = [mpf(float(t)) for t in time_s]
        even = len(times_) > 2 and np.allclose(np.diff(time_s), time_s[1] - time_s[0], rtol=1e-9, atol=0.0)
        if even:
            return _even_sum(mp, weights, times_)
        return np.array([float(mp.fsum((w * mp.exp(s * t)).real for s, w in weights)) for t in times_])


def _even_sum(mp: Any, weights: Sequence[tuple[Any, Any]], times_: Sequence[Any]) -> Float:
    """Sum of weight e^(s t) over even times: one exponential each, then products of whole numbers (fixed point)."""
    bits = int(mp.prec)
    step_s = (times_[-1] - times_[0]) / (len(times_) - 1)

    def fixed(number: Any) -> tuple[int, int]:
        return int(mp.ldexp(number.real, bits)), int(mp.ldexp(number.imag, bits))

    total = [0] * len(times_)
    for s, weight in weights:
        (re, im), (step_re, step_im) = fixed(weight * mp.exp(s * times_[0])), fixed(mp.exp(s * step_s))
        for i in range(len(total)):
            total[i] += re
            re, im = (re * step_re - im * step_im) >> bits, (re * step_im + im * step_re) >> bits
    return np.array([float(mp.ldexp(value, -bits)) for value in total])


def seconds(value: float) -> str:
    """A time with its unit: 23.3 us, 1.59 ms, 2 s."""
    for unit, size in (("s", 1.0), ("ms", 1e-3), ("us", 1e-6)):
        if value >= 0.9995 * size:
            return f"{value / size:.3g} {unit}"
    return f"{value / 1e-9:.3g} ns"
