"""A sweep at the terminals of an invented board, and those of its drivers, with what a jig does to them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from invented.boards import Ageing, Board, Random, draw_board
from xover.curve import Curve, Unit, log_grid
from xover.explain.sweeps import Sweep, SweepPlace, smoothness_noise
from xover.network import Network, Resistor, solve, value_of

Float = NDArray[np.float64]
# Parts are only swapped whose values lie further apart than this: a smaller step could be drift, and infer then tells
# the values that stand in either place, rightly. A fault is only taken if it moves the sweep by MOVES (rms).
APART, MOVES = 3.0, 0.03
OPEN_OHM, SHORT_OHM = 1e7, 0.01


@dataclass(frozen=True)
class Jig:
    """How it was measured; each figure the limit of an even draw either way.

    gain : of the terminals' sweep over the drivers'. lead_ohm : leads in the terminals' sweep, from zero up.
    scale : of all sweeps. drift : of each driver's fs, Q and Re since its own sweep, each by itself.
    """

    gain: float = 0.005
    lead_ohm: float = 0.03
    scale: float = 0.0
    drift: float = 0.0


@dataclass(frozen=True)
class Measured:
    """A board and its sweeps. fault : kind and parts, empty for a right board."""

    board: Board
    curves: Mapping[str, Curve]
    sweep: Sweep
    fault: tuple[str, ...] = ()


def measured(
    random: Random, ageing: Ageing, jig: Jig, wrong: bool = False, parts: tuple[int, int] = (5, 14)
) -> Measured:
    """Draw a board, give it a fault where it is to be wrong, and take the sweeps."""
    while True:
        board = draw_board(random, ageing, parts)
        fault, true, odd = (), board.true, set(board.odd)
        if wrong:
            fault, true = _fault(random, board.true)
            odd -= set(fault) if fault[0] in ("open", "shorted") else set()
            if fault[0] == "swapped":
                odd.clear()
        one = _swept(random, replace(board, true=true, odd={n: board.odd[n] for n in odd}), jig, fault)
        if not wrong or _moves(board, one.board):
            return one


def _swept(random: Random, board: Board, jig: Jig, fault: tuple[str, ...]) -> Measured:
    per_octave = int(random.choice([24, 48, 48, 96]))
    f = log_grid(float(random.choice([10.0, 20.0])), 20000.0, per_octave)
    alike = random.random() < 0.6
    scale = 1.0 + random.uniform(-jig.scale, jig.scale)
    curves, now = {}, {}
    for name, driver in board.drivers.items():
        own = f if alike else log_grid(10.0, 20000.0, int(random.choice([36, 48, 72])))
        if name == "tweeter" and random.random() < 0.3:
            own = own[own > random.uniform(60.0, 250.0)]
        z = _noisy(random, driver.impedance_ohm(own)) * scale
        curves[name] = Curve(own, z, Unit.OHM, source=f"{name}.csv")
        fs, re, quality = random.uniform(-jig.drift, jig.drift, 3)
        now[name] = driver.drifted(fs, re, quality).impedance_ohm(f)
    z = _solved(board, f, now) + random.uniform(0.0, jig.lead_ohm)
    z = _noisy(random, z) * scale * (1.0 + random.uniform(-jig.gain, jig.gain))
    curve = Curve(f, z, Unit.OHM, source="terminals.csv")
    return Measured(board, curves, Sweep(SweepPlace.TERMINALS, "", curve, smoothness_noise(curve)), fault)


def _solved(board: Board, f: Float, drivers: Mapping[str, NDArray[np.complex128]]) -> NDArray[np.complex128]:
    solution = solve(board.true, f, drivers, impedance_ohm=board.odd_ohm(f))
    return np.asarray(solution.impedance_ohm[board.true.channels[0].name]).reshape(-1)


def _noisy(random: Random, z: NDArray[np.complex128]) -> NDArray[np.complex128]:
    share = random.uniform(0.001, 0.004) / np.sqrt(2.0)
    return np.asarray(z * (1.0 + share * (random.standard_normal(z.size) + 1j * random.standard_normal(z.size))))


def _fault(random: Random, network: Network) -> tuple[tuple[str, ...], Network]:
    """Two parts of a kind swapped, one open, or one shorted."""
    parts = list(network.parts)
    what = random.choice(["swapped", "swapped", "open", "shorted"])
    if what == "swapped":
        pairs = [
            (a, b)
            for i, a in enumerate(parts)
            for b in parts[i + 1 :]
            if type(a) is type(b) and not 1 / APART < value_of(a) / value_of(b) < APART and {a.a, a.b} != {b.a, b.b}
        ]
        if pairs:
            a, b = pairs[random.choice(len(pairs))]
            moved = {a.name: replace(a, a=b.a, b=b.b), b.name: replace(b, a=a.a, b=a.b)}
            return ("swapped", a.name, b.name), replace(network, parts=tuple(moved.get(p.name, p) for p in parts))
        what = "open"
    part = parts[random.choice(len(parts))]
    stand_in = Resistor(part.name, part.a, part.b, OPEN_OHM if what == "open" else SHORT_OHM)
    return (what, part.name), replace(network, parts=tuple(stand_in if p is part else p for p in parts))


def _moves(right: Board, wrong: Board) -> bool:
    """Whether the fault shows at the terminals at all."""
    f = log_grid(20.0, 20000.0, 12)
    z = {name: driver.impedance_ohm(f) for name, driver in right.drivers.items()}
    moved = np.log(_solved(wrong, f, z) / _solved(right, f, z))
    return bool(np.sqrt(np.mean(np.abs(moved) ** 2)) > MOVES)
