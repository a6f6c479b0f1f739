"""The exact transfer functions as formulas, and what can be read off them, the nearest textbook alignment too."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any, Final

import numpy as np

from xover.curve import Complex, Float, log_grid
from xover.driver.model import DriverModel, impedance_polynomials
from xover.network import Capacitor, Inductor, Network
from xover.network.rational import Rational, numeric_polynomials, plus, times
from xover.network.symbolic import SymbolicSolution, count_terms, load_text, ratio_text, solve_symbolic
from xover.readable import Readable
from xover.studies.does.formula.terminated import TerminatedNetwork

# Coefficients of the low-pass denominators, highest power first; s -> 1/s gives the high-pass.
# Butterworth and Linkwitz-Riley (its square) by their definitions; Bessel 2 as Q = 1/sqrt 3, Chebyshev 2
# as Q = 1 by the usual crossover tables (see tests/outside/test_textbook_networks.py for sources).
ALIGNMENTS: Final[dict[str, tuple[float, ...]]] = {
    "B1": (1.0, 1.0),
    "B2": (1.0, math.sqrt(2.0), 1.0),
    "LR2": (1.0, 2.0, 1.0),
    "Bessel 2": (1.0, math.sqrt(3.0), 1.0),
    "Chebyshev 2 (Q = 1)": (1.0, 1.0, 1.0),
    "B3": (1.0, 2.0, 2.0, 1.0),
    "B4": (1.0, math.sqrt(4 + 2 * math.sqrt(2)), 2 + math.sqrt(2), math.sqrt(4 + 2 * math.sqrt(2)), 1.0),
    "LR4": (1.0, 2 * math.sqrt(2), 4.0, 2 * math.sqrt(2), 1.0),
}
# Compared down to here: below, losses and cone break-up decide, not the alignment.
FLOOR_DB: Final = -24.0


@dataclass(frozen=True)
class Nearest:
    """The nearest textbook alignment.

    Attributes
    ----------
    name : such as "LR2"; low_pass : which half of it.
    frequency_hz : its corner, fitted.
    rms_db, worst_db : distance of the level from it, where the alignment is above -24 dB.
    """

    name: str
    low_pass: bool
    frequency_hz: float
    rms_db: float
    worst_db: float


def nearest_alignment(frequency_hz: Float, level_db: Float, order: int, low_pass: bool) -> Nearest | None:
    """Find the alignment of an order that a branch's level is nearest to.

    Parameters
    ----------
    frequency_hz : (n,) evenly spaced in log; level_db : (n,) re the pass band.
    order : asymptotic order, 1 to 4; None comes back for others.
    """
    fits = [
        _fitted(name, denominator, frequency_hz, level_db, low_pass)
        for name, denominator in ALIGNMENTS.items()
        if len(denominator) == order + 1
    ]
    return min(fits, key=lambda fit: fit.rms_db, default=None)


def _fitted(name: str, denominator: tuple[float, ...], f: Float, level: Float, low_pass: bool) -> Nearest:
    """Move the corner over the grid, then between its rows, to the least rms distance."""
    centres = np.log(f)
    width = float(np.median(np.diff(centres)))
    best = min(centres, key=lambda c: _distance(denominator, f, level, c, low_pass)[0])
    for _ in range(12):
        trial = best + width * np.linspace(-1, 1, 9)
        best = min(trial, key=lambda c: _distance(denominator, f, level, c, low_pass)[0])
        width /= 4
    rms, worst = _distance(denominator, f, level, best, low_pass)
    return Nearest(name, low_pass, float(np.exp(best)), rms, worst)


def _distance(
    denominator: tuple[float, ...], f: Float, level: Float, centre: float, low_pass: bool
) -> tuple[float, float]:
    ratio = f / np.exp(centre)
    s = 1j * (ratio if low_pass else 1.0 / ratio)
    wanted = -20.0 * np.log10(np.abs(np.polyval(denominator, s)))
    near = wanted >= FLOOR_DB
    miss = (level - wanted)[near]
    # A corner at the end of the grid would be compared over its pass band alone.
    if near.all() or near.sum() < 8:
        return math.inf, math.inf
    return float(np.sqrt(np.mean(miss**2))), float(np.max(np.abs(miss)))


DECIBEL_PER_ORDER: Final = 20.0 * math.log10(2.0)
"""Slope of one power of s, dB per octave."""
LOSS_HZ: Final = 1000.0
"""Where a constant loss angle counts as a fixed resistance, for poles and zeros."""


@dataclass(frozen=True)
class Root:
    """A pole or zero, or a pair of them.

    Attributes
    ----------
    frequency_hz : |s|/(2 pi).
    q : of a complex pair; None for a real one.
    right_half : it lies in the right half plane.
    """

    frequency_hz: float
    q: float | None
    right_half: bool


@dataclass(frozen=True, eq=False, repr=False)
class Shape(Readable):
    """A function of s alone: numbers for all parts and drivers.

    Attributes
    ----------
    driver : what stood in for the drivers, in words.
    numerator, denominator : coefficients, highest power of s first, the denominator's last non-zero one made 1.
    zeros, poles : away from s = 0, lowest first.
    at_zero : power of s at low frequencies; at_infinity : at high ones. 6.02 dB an octave each.
    low_gain, high_gain : what multiplies that power of s.
    """

    driver: str
    numerator: tuple[float, ...]
    denominator: tuple[float, ...]
    zeros: tuple[Root, ...]
    poles: tuple[Root, ...]
    at_zero: int
    at_infinity: int
    low_gain: float
    high_gain: float

    def value(self, frequency_hz: Float) -> Complex:
        """(n,) the function at j 2 pi f."""
        s = 2j * np.pi * frequency_hz
        return np.asarray(np.polyval(self.numerator, s) / np.polyval(self.denominator, s), dtype=complex)


@dataclass(frozen=True, eq=False, repr=False)
class Formula(Readable):
    """One function of the network.

    Attributes
    ----------
    name : a driver's key, or "load" (with several channels "load.CHANNEL").
    expression : exact text with every loss, readable by sympy; terms : how many it has.
    ideal : the same with losses left out, as a ratio; ideal_text, ideal_terms. None for a load of several sections.
    resistive : with each driver taken as its DC resistance; losses left out.
    modelled : with the fitted models; losses kept (a loss angle as the resistance that it is at 1 kHz). None
        without a model.
    nearest : the textbook alignment that the branch is nearest to, with DC resistances; None where none applies.
    """

    name: str
    expression: str
    terms: int
    ideal: Rational | None = field(repr=False)
    ideal_text: str
    ideal_terms: int
    resistive: Shape | None
    modelled: Shape | None
    nearest: Nearest | None
    notes: tuple[str, ...]

    def plain(self) -> dict[str, Any]:
        """All but the polynomials."""
        return {k: v for k, v in vars(self).items() if k != "ideal"}


@dataclass(frozen=True)
class Showing:
    """Which formulas are told and how: one by name, with numbers filled in, as LaTeX alone."""

    of: str | None = None
    numbers: bool = False
    latex: bool = False


@dataclass(frozen=True, eq=False, repr=False)
class FormulaStudy(Readable):
    """The formulas of one network.

    Attributes
    ----------
    transfer : by driver's key; load : by channel.
    numbers : value of every letter in SI units, driver impedances left open.
    resistance_ohm : what each driver was taken as, by name.
    altered : letters that are not the part's own name, by that name.
    """

    title: str
    network: str
    transfer: Mapping[str, Formula]
    load: Mapping[str, Formula]
    numbers: Mapping[str, float]
    resistance_ohm: Mapping[str, float]
    altered: Mapping[str, str]
    warnings: tuple[str, ...]
    showing: Showing = Showing()

    @property
    def shown(self) -> tuple[Formula, ...]:
        """The formulas that are asked for."""
        return tuple(f for name, f in self.formulas.items() if self.showing.of in (None, name))

    @property
    def formulas(self) -> dict[str, Formula]:
        """Everything by name: drivers, then loads."""
        return {f.name: f for f in (*self.transfer.values(), *self.load.values())}

    def plain(self) -> dict[str, Any]:
        """The blueprint's shape, the readings under `functions`."""
        loads = {name: f.expression for name, f in self.load.items()}
        return {
            "title": self.title,
            "network": self.network,
            "transfer": {key: f.expression for key, f in self.transfer.items()},
            "load": next(iter(loads.values())) if len(loads) == 1 else loads,
            "numbers": self.numbers,
            "functions": self.formulas,
            "resistance_ohm": self.resistance_ohm,
            "altered_names": self.altered,
            "warnings": self.warnings,
        }


def without_losses(network: Network) -> Network:
    """The network with ideal coils and capacitors; 0 ohm links and resistors stay."""

    def ideal(part: Any) -> Any:
        if isinstance(part, Inductor):
            return replace(part, dcr_ohm=0.0)
        if isinstance(part, Capacitor):
            return replace(part, esr_ohm=0.0, dissipation_factor=0.0)
        return part

    return replace(network, parts=tuple(ideal(p) for p in network.parts))


def study_formula(terminated: TerminatedNetwork) -> FormulaStudy:
    """Work out every formula of a network; a formula gets its `modelled` shape where all drivers have a model.

    Raises NoSolutionError, OptionError (a formula with too many terms).
    """
    network, resistance_ohm, models = terminated.network, terminated.resistance_ohm, terminated.models
    exact, ideal = solve_symbolic(network), solve_symbolic(without_losses(network))
    known = models if models and all(n in models for n in network.driver_names) else None
    transfer = {
        key: _formula(key, rational, exact, ideal.drive[key], ideal, resistance_ohm, known)
        for key, rational in exact.drive.items()
    }
    several = len(network.channels) > 1
    load = {}
    for channel, found in exact.load.items():
        label = f"load.{channel}" if several else "load"
        simple = ideal.load[channel]
        one = simple.admittance[0][1] if len(simple.admittance) == 1 else None
        load[channel] = Formula(
            name=label,
            expression=load_text(found),
            terms=sum(count_terms(y) for _, y in found.admittance),
            ideal=None if one is None else Rational(one.denominator, one.numerator, one.table),
            ideal_text=load_text(simple),
            ideal_terms=sum(count_terms(y) for _, y in simple.admittance),
            resistive=_load_shape(simple, ideal, resistance_ohm, None),
            modelled=None if known is None else _load_shape(found, exact, resistance_ohm, known),
            nearest=None,
            notes=("every section adds its admittance",) if len(found.admittance) > 1 else (),
        )
    return FormulaStudy(
        title=terminated.title or network.title,
        network=terminated.name,
        transfer=transfer,
        load=load,
        numbers=dict(exact.table.value),
        resistance_ohm=dict(resistance_ohm),
        altered=dict(exact.table.altered),
        warnings=tuple(terminated.warnings),
    )


def drive_polynomials(terminated: TerminatedNetwork) -> dict[str, tuple[list[Fraction], list[Fraction]]]:
    """Each driver's drive by its key: numerator and denominator in s, highest power first.

    A driver is its model where it has one, else its resistance; a loss angle the resistance that it is at `LOSS_HZ`.
    Raises as `study_formula`.
    """
    solution = solve_symbolic(terminated.network)
    drivers: dict[str, Any] = {
        letter: impedance_polynomials(terminated.models[n]) if n in terminated.models else terminated.resistor_of(n)
        for n, letter in solution.table.driver_names.items()
    }
    values = solution.table.value
    return {key: numeric_polynomials(r, values, drivers, LOSS_HZ) for key, r in solution.drive.items()}


def _formula(
    key: str,
    rational: Rational,
    exact: SymbolicSolution,
    simple: Rational,
    ideal: SymbolicSolution,
    resistance_ohm: Mapping[str, float],
    models: Mapping[str, DriverModel] | None,
) -> Formula:
    resistive = _shape(simple, ideal, resistance_ohm, None)
    modelled = None if models is None else _shape(rational, exact, resistance_ohm, models)
    nearest, why = (None, "") if resistive is None else _nearest(resistive)
    return Formula(
        name=key,
        expression=ratio_text(rational),
        terms=count_terms(rational),
        ideal=simple,
        ideal_text=ratio_text(simple),
        ideal_terms=count_terms(simple),
        resistive=resistive,
        modelled=modelled,
        nearest=nearest,
        notes=(why,) if why else (),
    )


def _drivers(
    solution: SymbolicSolution,
    used: Sequence[str],
    resistance_ohm: Mapping[str, float],
    models: Mapping[str, DriverModel] | None,
) -> tuple[str, dict[str, Any]] | None:
    """What stands in for the drivers that occur: in words, and by letter; None where nothing may stand for one."""
    shown = solution.table.driver_names
    if models is None:
        if any(letter in used and n not in resistance_ohm for n, letter in shown.items()):
            return None
        words = ", ".join(f"{n} {resistance_ohm[n]:.3g} ohm" for n, letter in shown.items() if letter in used)
        return f"each driver a resistor ({words})", {
            display: resistance_ohm[n] for n, display in shown.items() if n in resistance_ohm
        }
    return "fitted model", {display: impedance_polynomials(models[n]) for n, display in shown.items()}


def _shape(
    rational: Rational,
    solution: SymbolicSolution,
    resistance_ohm: Mapping[str, float],
    models: Mapping[str, DriverModel] | None,
) -> Shape | None:
    taken = _drivers(solution, rational.names, resistance_ohm, models)
    if taken is None:
        return None
    words, drivers = taken
    top, bottom = numeric_polynomials(rational, solution.table.value, drivers, LOSS_HZ)
    return _from_polynomials(words, top, bottom)


def _load_shape(
    load: Any,
    solution: SymbolicSolution,
    resistance_ohm: Mapping[str, float],
    models: Mapping[str, DriverModel] | None,
) -> Shape | None:
    """Impedance of a channel: one over the sum of the sections' admittances, over a common denominator."""
    if not load.admittance:
        return None
    used = [name for _, y in load.admittance for name in y.names]
    taken = _drivers(solution, used, resistance_ohm, models)
    if taken is None:
        return None
    words, drivers = taken
    top, bottom = [Fraction(0)], [Fraction(1)]
    for _, y in load.admittance:
        p, q = numeric_polynomials(y, solution.table.value, drivers, LOSS_HZ)
        top, bottom = plus(times(top, q), times(p, bottom)), times(bottom, q)
    return _from_polynomials(words, bottom, top)


def _from_polynomials(words: str, top: Sequence[Fraction], bottom: Sequence[Fraction]) -> Shape:
    """Read roots and asymptotes; the scaling is exact, the roots are floats."""
    top, bottom = trimmed(top), trimmed(bottom)
    low_top, low_bottom = _lowest(top), _lowest(bottom)
    unit = bottom[len(bottom) - 1 - low_bottom]
    top, bottom = [c / unit for c in top], [c / unit for c in bottom]
    low = top[len(top) - 1 - low_top] / bottom[len(bottom) - 1 - low_bottom]
    zeros, poles = _without_common(_roots(top), _roots(bottom))
    return Shape(
        driver=words,
        numerator=tuple(float(c) for c in top),
        denominator=tuple(float(c) for c in bottom),
        zeros=zeros,
        poles=poles,
        at_zero=low_top - low_bottom,
        at_infinity=len(top) - len(bottom),
        low_gain=float(low),
        high_gain=float(top[0] / bottom[0]),
    )


def trimmed(coefficients: Sequence[Fraction]) -> list[Fraction]:
    """Without zeros before the highest power."""
    first = next((i for i, c in enumerate(coefficients) if c != 0), len(coefficients) - 1)
    return list(coefficients[first:])


def _lowest(coefficients: Sequence[Fraction]) -> int:
    """Lowest power of s that occurs."""
    return next((i for i, c in enumerate(reversed(coefficients)) if c != 0), 0)


def _roots(coefficients: Sequence[Fraction]) -> tuple[Root, ...]:
    """Roots away from zero, one of each pair."""
    found: list[Root] = []
    for root in rough_roots(coefficients):
        if root.imag < -1e-9 * abs(root):
            continue  # the other half of a pair
        real = abs(root.imag) <= 1e-9 * abs(root)
        q = None if real else float(abs(root) / (2 * abs(root.real))) if root.real != 0 else math.inf
        found.append(Root(float(abs(root) / (2 * np.pi)), q, bool(root.real > 1e-12 * abs(root))))
    return tuple(sorted(found, key=lambda r: r.frequency_hz))


def rough_roots(coefficients: Sequence[Fraction]) -> tuple[complex, ...]:
    """Roots away from zero, as good as floats find them. Scaled to the middle of their spread first."""
    kept = list(coefficients[: len(coefficients) - _lowest(coefficients)])
    degree = len(kept) - 1
    if degree < 1:
        return ()
    size = math.exp((_log(kept[-1]) - _log(kept[0])) / degree)
    logs = [_log(c) + (degree - i) * math.log(size) if c != 0 else -math.inf for i, c in enumerate(kept)]
    most = max(logs)
    scaled = [math.copysign(math.exp(v - most), c) for v, c in zip(logs, kept, strict=True)]
    return tuple(complex(root) for root in np.roots(scaled) * size)


def _without_common(zeros: tuple[Root, ...], poles: tuple[Root, ...]) -> tuple[tuple[Root, ...], tuple[Root, ...]]:
    """Leave out a zero and a pole at the same place: they cancel, and their formula need not show it."""
    left, rest = list(zeros), []
    for pole in poles:
        twin = next((z for z in left if _same(z, pole)), None)
        if twin is None:
            rest.append(pole)
        else:
            left.remove(twin)
    return tuple(left), tuple(rest)


def _same(a: Root, b: Root) -> bool:
    if a.right_half != b.right_half or (a.q is None) != (b.q is None):
        return False
    near = math.isclose(a.frequency_hz, b.frequency_hz, rel_tol=1e-6)
    return near and (a.q is None or b.q is None or math.isclose(a.q, b.q, rel_tol=1e-5))


def _log(value: Fraction) -> float:
    """Natural logarithm of |value| without overflow."""
    return math.log(abs(value.numerator)) - math.log(value.denominator)


def _nearest(shape: Shape) -> tuple[Nearest | None, str]:
    """Compare with the textbook where the branch is a plain low-pass or high-pass of order 1 to 4."""
    low_pass = shape.at_zero == 0 and shape.at_infinity < 0
    high_pass = shape.at_zero > 0 and shape.at_infinity == 0
    if not (low_pass or high_pass):
        kind = "passes all frequencies" if shape.at_zero == shape.at_infinity == 0 else "is a band-pass"
        return None, f"no textbook low-pass or high-pass to compare with: the branch {kind}"
    order = -shape.at_infinity if low_pass else shape.at_zero
    gain = abs(shape.low_gain if low_pass else shape.high_gain)
    grid = log_grid(2.0, 200e3, 12)
    with np.errstate(divide="ignore"):
        level = 20.0 * np.log10(np.abs(shape.value(grid)) / gain)
    found = nearest_alignment(grid, np.maximum(level, -300.0), order, low_pass)
    if found is None:
        return None, f"no textbook alignment of order {order} is kept here"
    return found, ""
