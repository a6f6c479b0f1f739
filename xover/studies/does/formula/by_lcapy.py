"""lcapy's part: a network as its Circuit, its transfer functions derived anew, its inverse transforms.

lcapy reads its input as expressions, so only generated names and exact fractions reach it. It may work for hours, and
it changes sympy for everyone when it is loaded: what is asked of it here it does in a process of its own that is ended
in time. Only `lcapy_circuit` loads it where it is called, as the Circuit is then the caller's.
"""

from __future__ import annotations

import contextlib
import json
import math
import os
import subprocess
import sys
import time
import warnings
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from importlib import import_module
from typing import Any, Final

import numpy as np

from xover.curve import Complex, Float, log_grid
from xover.figures import hertz
from xover.network import Capacitor, Inductor, Resistor
from xover.network.network import GROUND, Groups, find_sections
from xover.pool.ends import guarded, scratch_folder
from xover.quantity import ohms
from xover.readable import Readable
from xover.studies.does.formula.study import LOSS_HZ, drive_polynomials, trimmed
from xover.studies.does.formula.terminated import TerminatedNetwork

LIMIT_S: Final = 20.0
"""Longer than this lcapy is not waited for."""
DIGITS: Final = 30
"""Of poles and residues where they stand as roots; lcapy itself gives 15 above the fourth order."""


@dataclass(frozen=True, eq=False, repr=False)
class CircuitCards(Readable):
    """A network with its drivers as lcapy's cards.

    Attributes
    ----------
    cards : one element each. Names and nodes are generated; values are exact fractions in SI units.
    elements : what each element is, by its name: "L1", "L1 resistance", "woofer Re".
    nodes : lcapy's node by the network's. Nodes within a part or driver have none.
    channels, drives : nodes of plus and minus, by the channel's name and by the driver's key.
    left_out : what the circuit does not hold, one sentence each.
    """

    cards: tuple[str, ...]
    elements: Mapping[str, str]
    nodes: Mapping[str, str]
    channels: Mapping[str, tuple[str, str]]
    drives: Mapping[str, tuple[str, str]]
    left_out: tuple[str, ...]


def circuit_cards(
    terminated: TerminatedNetwork, only: Collection[str] | None = None, *, sources: bool = False
) -> CircuitCards:
    """Write a network with its drivers: each model as its R, L and C, a driver without a model as its resistance.

    Parameters
    ----------
    only : names of parts and driver cards to write; by default all.
    sources : with one volt (in s: an impulse) at every channel.

    A dissipation factor is the fixed resistor that it is at `LOSS_HZ`: a constant loss angle has no circuit of finitely
    many parts.
    """
    return _Cards(terminated, only, sources).write()


class _Cards:
    """Collects the cards of a network."""

    def __init__(self, terminated: TerminatedNetwork, only: Collection[str] | None, sources: bool) -> None:
        self.of, self.network, self.sources = terminated, terminated.network, sources
        self.chosen = [x for x in (*self.network.parts, *self.network.drivers) if only is None or x.name in only]
        self.nodes = {GROUND: "0"}
        self.inner = 1000
        self.cards: list[str] = []
        self.elements: dict[str, str] = {}
        self.left_out: list[str] = []

    def node(self, name: str) -> str:
        return self.nodes.setdefault(name, str(len(self.nodes)))

    def between(self) -> str:
        """A node of our own."""
        self.inner += 1
        return str(self.inner)

    def add(self, letter: str, meaning: str, a: str, b: str, value: str) -> str:
        name = f"{letter}{len(self.elements) + 1}"
        self.elements[name] = meaning
        self.cards.append(f"{name} {a} {b} {value}")
        return name

    def write(self) -> CircuitCards:
        channels = {c.name: (self.node(c.plus), self.node(c.minus)) for c in self.network.channels}
        if self.sources:
            for name, (plus, minus) in channels.items():
                self.add("V", f"channel {name}", plus, minus, "s 1")
        coils: dict[str, tuple[str, float]] = {}
        for x in self.chosen:
            if isinstance(x, Inductor):
                coils[x.name.lower()] = (self._coil(x), x.henry)
            elif isinstance(x, Capacitor):
                self._capacitor(x)
            elif isinstance(x, Resistor):
                self._resistor(x)
        for coupling in self.network.couplings:
            if coupling.first.lower() in coils and coupling.k != 0:
                (one, henry), (other, henries) = coils[coupling.first.lower()], coils[coupling.second.lower()]
                mutual = coupling.k * math.sqrt(henry * henries)
                # So written, lcapy's M = k sqrt(L1 L2) is a fraction, and no root enters its equations.
                value = f"{{({exact(mutual)})/sqrt(({exact(henry)})*({exact(henries)}))}}"
                self.add("K", coupling.name, one, other, value)
        drives = {}
        for card in self.network.drivers:
            if card in self.chosen:
                drives[card.key] = (self.node(card.plus), self.node(card.minus))
                self._driver(card.driver, card.key, *drives[card.key])
        self._ground()
        return CircuitCards(tuple(self.cards), self.elements, self.nodes, channels, drives, tuple(self.left_out))

    def _resistor(self, part: Resistor) -> None:
        a, b = self.node(part.a), self.node(part.b)
        if part.ohm == 0:
            self.cards.append(f"W {a} {b}")
        else:
            self.add("R", part.name, a, b, braced(part.ohm))
        if part.is_lamp:
            self.left_out.append(f"{part.name} is a lamp or resettable fuse, taken cold ({ohms(part.ohm)})")

    def _coil(self, part: Inductor) -> str:
        a, b = self.node(part.a), self.node(part.b)
        after = self.between() if part.dcr_ohm else b
        name = self.add("L", part.name, a, after, braced(part.henry))
        if part.dcr_ohm:
            self.add("R", f"{part.name} resistance", after, b, braced(part.dcr_ohm))
        return name

    def _capacitor(self, part: Capacitor) -> None:
        a, b = self.node(part.a), self.node(part.b)
        fixed = part.dissipation_factor / (2.0 * math.pi * LOSS_HZ * part.farad)
        after = self.between() if part.esr_ohm or fixed else b
        self.add("C", part.name, a, after, braced(part.farad))
        if after != b:
            self.add("R", f"{part.name} resistance", after, b, braced(part.esr_ohm + fixed))
        if fixed:
            self.left_out.append(
                f"the dissipation factor of {part.name} is the {ohms(fixed)} that it is at {hertz(LOSS_HZ)}"
            )

    def _driver(self, name: str, key: str, plus: str, minus: str) -> None:
        model = self.of.models.get(name)
        if model is None:
            ohm = self.of.resistor_of(name)
            self.add("R", f"{key} resistance", plus, minus, braced(ohm))
            self.left_out.append(f"{key} is a resistor of {ohms(ohm)}")
            return
        for element, a, b in model.wired(plus, minus, lambda _: self.between()):
            self.add(element.kind, f"{key} {element.name}", a, b, braced(element.value))

    def _ground(self) -> None:
        """lcapy needs node 0: what nothing joins to it gets a wire."""
        joined = Groups([GROUND])
        for channel in self.network.channels:
            joined.join(channel.plus, channel.minus)
        for x in self.chosen:
            joined.join(x.a, x.b)
        for channel in self.network.channels:
            if joined.join(GROUND, channel.minus):
                self.cards.append(f"W {self.node(channel.minus)} 0")


def exact(value: float | Fraction) -> str:
    """A number as the fraction that it is."""
    found = Fraction(value)
    return f"{found.numerator}/{found.denominator}"


def braced(value: float) -> str:
    """A number as lcapy's cards take it."""
    return f"{{{exact(value)}}}"


def lcapy_circuit(terminated: TerminatedNetwork) -> Any:
    """The network with its drivers as lcapy's own Circuit, loaded here: see `circuit_cards`. It has no source."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        lcapy = import_module("lcapy")
        return lcapy.Circuit("\n".join(circuit_cards(terminated).cards))


def derived_anew(cards: CircuitCards, seconds: float = LIMIT_S) -> dict[str, tuple[list[Fraction], list[Fraction]]]:
    """Each drive of a circuit with sources by lcapy's own analysis: numerator and denominator, highest power first.

    Raises LcapyGaveUp.
    """
    done = _asked({"do": "derive", "cards": cards.cards, "of": list(cards.drives.values())}, seconds)
    return {
        key: ([Fraction(c) for c in top], [Fraction(c) for c in bottom])
        for key, (top, bottom) in zip(cards.drives, done, strict=True)
    }


def inverse_transform(
    top: Sequence[Fraction], bottom: Sequence[Fraction], time_s: Float, seconds: float = LIMIT_S
) -> dict[str, Any]:
    """The inverse Laplace transform of a ratio by lcapy.

    Returns `impulse`, the weight at time zero; `terms`, rows of residue (real, imaginary), pole (real, imaginary) and
    order, one of a conjugate pair; `values`, as many as times.

    Raises LcapyGaveUp.
    """
    ratio = {"top": [exact(c) for c in top], "bottom": [exact(c) for c in bottom]}
    found: dict[str, Any] = _asked({"do": "invert", **ratio, "time_s": time_s.tolist()}, seconds)
    return found


class LcapyGaveUp(Exception):
    """lcapy took too long, or could not do it; the text says which."""


def _asked(job: Mapping[str, Any], seconds: float) -> Any:
    """What a process of its own answers. It runs in an empty folder: lcapy reads a file of settings where it starts."""
    here = [] if all(map(os.path.isabs, sys.path)) else [os.getcwd()]
    paths = os.pathsep.join([*here, *filter(os.path.isabs, sys.path)])
    environment = {**os.environ, "PYTHONPATH": paths, "MPLBACKEND": "agg"}
    with scratch_folder() as folder:
        command = [sys.executable, "-m", __name__]
        pipes = dict.fromkeys(("stdin", "stdout", "stderr"), subprocess.PIPE)
        with guarded(command, folder, text=True, cwd=folder, env=environment, **pipes) as process:
            try:
                told, said = process.communicate(json.dumps(job), seconds)
            except subprocess.TimeoutExpired:
                raise LcapyGaveUp(f"lcapy was not done after {seconds:g} s") from None
    if process.returncode:
        last = said.strip().splitlines()[-1:] or [f"status {process.returncode}"]
        raise LcapyGaveUp(f"lcapy could not do it ({last[0][:120]})")
    return json.loads(told)


def _work() -> None:
    """The process of its own: one job on standard input, its answer on standard output."""
    job = json.load(sys.stdin)
    warnings.simplefilter("ignore")
    with contextlib.redirect_stdout(sys.stderr):
        answer = {"derive": _derive, "invert": _invert}[job["do"]](job)
    json.dump(answer, sys.stdout)


def _derive(job: Mapping[str, Any]) -> list[list[list[str]]]:
    lcapy, sympy = import_module("lcapy"), import_module("sympy")
    circuit = lcapy.Circuit("\n".join(job["cards"]))
    found = []
    for plus, minus in job["of"]:
        ratio = sympy.cancel(circuit.get_Vd(int(plus), int(minus)).laplace().sympy)
        polynomials = [sympy.Poly(p, lcapy.s.sympy).all_coeffs() for p in sympy.fraction(ratio)]
        found.append([[f"{c.p}/{c.q}" for c in coefficients] for coefficients in polynomials])
    return found


def _invert(job: Mapping[str, Any]) -> dict[str, Any]:
    """lcapy's partial fractions, and its inverse transform of each of them."""
    import numpy as np

    lcapy, sympy = import_module("lcapy"), import_module("sympy")
    s = lcapy.s.sympy
    top, bottom = (sympy.Poly([sympy.Rational(c) for c in job[name]], s) for name in ("top", "bottom"))
    ratio = top.as_expr() / _without_radicals(sympy, bottom)
    whole, residues, poles, orders, *_ = lcapy.expr(ratio).as_QRPO()
    times = np.array(job["time_s"])
    terms, total = [], np.zeros(times.shape)
    for residue, pole, order in zip(residues, poles, orders, strict=True):
        (r, r_imag), (p, p_imag) = (_complex(sympy, x) for x in (residue, pole))
        if abs(p_imag) <= abs(p) / 10**12:
            r_imag = p_imag = sympy.S.Zero
        elif p_imag < 0:
            continue  # the other one of a pair
        one = (r + sympy.I * r_imag) / (s - p - sympy.I * p_imag) ** order
        response = np.broadcast_to(lcapy.expr(one).inverse_laplace(causal=True).evaluate(times), times.shape)
        total += np.real(response) if p_imag == 0 else 2.0 * np.real(response)
        terms.append([float(r), float(r_imag), float(p), float(p_imag), int(order)])
    return {"impulse": float(sympy.sympify(whole)), "terms": terms, "values": total.tolist()}


def _without_radicals(sympy: Any, polynomial: Any) -> Any:
    """A polynomial whose factors of third and fourth order are products of their roots to `DIGITS`.

    Written out exactly these roots fill pages, and lcapy works with them for minutes. Above, it takes numbers itself.
    """
    s = polynomial.gen
    lead, factors = polynomial.factor_list()
    whole = lead
    for factor, times in factors:
        plain = factor.as_expr()
        if 3 <= factor.degree() <= 4:
            plain = factor.LC()
            for root in factor.nroots(n=DIGITS, maxsteps=200):
                real, imag = _complex(sympy, root)
                if imag == 0:
                    plain *= s - real
                elif imag > 0:
                    plain *= (s - real) ** 2 + imag**2
        whole *= plain**times
    return whole


def _complex(sympy: Any, number: Any) -> tuple[Any, Any]:
    """Real and imaginary part of a root or residue as fractions, to `DIGITS`."""
    found = sympy.N(getattr(number, "sympy", number), DIGITS)
    return sympy.Rational(sympy.re(found)), sympy.Rational(sympy.im(found))


if __name__ == "__main__":
    _work()


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

    Raises NoSolutionError, OptionError (a formula of too many terms).
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
