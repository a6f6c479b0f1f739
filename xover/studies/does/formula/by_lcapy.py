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
import tempfile
import warnings
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from importlib import import_module
from typing import Any, Final

from xover.curve import Float
from xover.network import Capacitor, Inductor, Resistor
from xover.network.network import GROUND, Groups
from xover.quantity import hertz, ohms
from xover.readable import Readable
from xover.studies.does.formula.study import LOSS_HZ
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
            ohm = self.of.resistance_ohm[name]
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

    Raises
    ------
    LcapyGaveUp.
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

    Returns
    -------
    `impulse`, the weight at time zero; `terms`, rows of residue (real, imaginary), pole (real, imaginary) and order,
    one of a conjugate pair; `values`, as many as times.

    Raises
    ------
    LcapyGaveUp.
    """
    ratio = {"top": [exact(c) for c in top], "bottom": [exact(c) for c in bottom]}
    found: dict[str, Any] = _asked({"do": "invert", **ratio, "time_s": time_s.tolist()}, seconds)
    return found


class LcapyGaveUp(Exception):
    """lcapy took too long, or could not do it; the text says which."""


def _asked(job: Mapping[str, Any], seconds: float) -> Any:
    """What a process of its own answers. It runs in an empty folder: lcapy reads a file of settings where it starts."""
    paths = os.pathsep.join(os.path.abspath(p) for p in sys.path)
    environment = {**os.environ, "PYTHONPATH": paths, "MPLBACKEND": "agg"}
    with tempfile.TemporaryDirectory() as folder:
        try:
            done = subprocess.run(
                [sys.executable, "-m", __name__],
                input=json.dumps(job),
                capture_output=True,
                text=True,
                timeout=seconds,
                cwd=folder,
                env=environment,
                check=False,
            )
        except subprocess.TimeoutExpired:
            raise LcapyGaveUp(f"lcapy was not done after {seconds:g} s") from None
    if done.returncode:
        last = done.stderr.strip().splitlines()[-1:] or [f"status {done.returncode}"]
        raise LcapyGaveUp(f"lcapy could not do it ({last[0][:120]})")
    return json.loads(done.stdout)


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
