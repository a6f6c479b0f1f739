"""The network as a general circuit simulator sees it: runs `ngspice -b` and reads the numbers back.

Nothing here uses xover's solver. Losses become resistors of their own, drivers become lumped parts, a
zero-ohm link becomes a voltage source of 0 V (ngspice turns a resistor of 0 ohm into one of 1 mohm).
A dissipation factor is a series resistance that falls as 1/f: ngspice takes it as an expression of its
own variable `hertz`, so it is judged at every frequency and needs no rounding to one number.
"""

from __future__ import annotations

import math
import os
import shutil
import subprocess
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from xover.network import Capacitor, Inductor, Network

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

# ngspice prints these and goes on with wrong or missing numbers.
_FATAL = (
    "singular matrix",
    "no such vector",
    "unknown parameter",
    "simulation interrupted",
    "syntax error",
    "undefined",
)


@dataclass(frozen=True)
class LumpedDriver:
    """Re + Le + (Res || Lces || Cmes), the classical electrical circuit of a driver in its box."""

    re_ohm: float
    le_h: float
    res_ohm: float
    lces_h: float
    cmes_f: float

    def impedance_ohm(self, frequency_hz: Real) -> Complex:
        """Impedance (n,) at `frequency_hz` (n,)."""
        jw = 2j * math.pi * frequency_hz
        motion = 1 / (1 / self.res_ohm + 1 / (jw * self.lces_h) + jw * self.cmes_f)
        return np.asarray(self.re_ohm + jw * self.le_h + motion)

    def cards(self, name: str, plus: str, minus: str) -> list[str]:
        """SPICE cards of the driver between two nodes."""
        coil, motion = f"{name}_coil", f"{name}_motion"
        return [
            f"R{name}e {plus} {coil} {self.re_ohm!r}",
            f"L{name}e {coil} {motion} {self.le_h!r}",
            f"R{name}m {motion} {minus} {self.res_ohm!r}",
            f"L{name}m {motion} {minus} {self.lces_h!r}",
            f"C{name}m {motion} {minus} {self.cmes_f!r}",
        ]


def lumped(re: float, le: float, fs: float, qms: float, qes: float) -> LumpedDriver:
    """Driver from Re, Le, fs, Qms, Qes: Res = Re Qms/Qes, Cmes = Qes/(ws Re), Lces = 1/(ws^2 Cmes)."""
    ws = 2 * math.pi * fs
    cmes = qes / (ws * re)
    return LumpedDriver(re, le, re * qms / qes, 1 / (ws * ws * cmes), cmes)


@dataclass(frozen=True)
class Deck:
    """Cards for ngspice and the expressions to ask for.

    Attributes
    ----------
    cards : SPICE cards without title and `.end`.
    drive : expression of the driver's voltage, keyed as xover keys it.
    current : expression of the current that a channel delivers, keyed by the channel's name.
    """

    cards: list[str]
    drive: dict[str, str]
    current: dict[str, str]


def to_ngspice(network: Network, drivers: Mapping[str, LumpedDriver]) -> Deck:
    """Spell a network out in plain R, L, C, K and V cards.

    Nodes get numbers of their own, as a netlist may name them with characters that ngspice computes with.

    Parameters
    ----------
    network : as built from its netlist; only its values and losses are read here.
    drivers : lumped model by driver's name.
    """
    numbers: dict[str, str] = {"0": "0"}

    def node(name: str) -> str:
        return numbers.setdefault(name, f"n{len(numbers)}")

    cards = [f"Vchannel{k} {node(c.plus)} {node(c.minus)} DC 0 AC 1" for k, c in enumerate(network.channels)]
    own_name = {}
    for k, part in enumerate(network.parts):
        a, b = node(part.a), node(part.b)
        if isinstance(part, Inductor):
            own_name[part.name.lower()] = f"L{k}"
            cards += _in_series(f"L{k}", a, b, part.henry, part.dcr_ohm)
        elif isinstance(part, Capacitor):
            loss: float | str = part.esr_ohm
            if part.dissipation_factor:
                # At 0 Hz, which the operating point asks for, the term only needs to be finite: C lets nothing through.
                falling = part.dissipation_factor / (2 * math.pi * part.farad)
                loss = f"r='{part.esr_ohm!r} + {falling!r}/(hertz + 1e-99)'"
            cards += _in_series(f"C{k}", a, b, part.farad, loss)
        else:
            cards.append(f"R{k} {a} {b} {part.ohm!r}" if part.ohm else f"Vlink{k} {a} {b} DC 0")
    for k, coupling in enumerate(network.couplings):
        cards.append(f"K{k} {own_name[coupling.first.lower()]} {own_name[coupling.second.lower()]} {coupling.k!r}")
    drive = {}
    for k, card in enumerate(network.drivers):
        plus, minus = node(card.plus), node(card.minus)
        cards += drivers[card.driver].cards(f"driver{k}", plus, minus)
        drive[card.key] = "-".join(f"v({n})" if n != "0" else "0" for n in (plus, minus))
    current = {c.name: f"-i(vchannel{k})" for k, c in enumerate(network.channels)}
    return Deck(cards, drive, current)


def _in_series(name: str, a: str, b: str, value: float, loss: float | str) -> list[str]:
    """A part with its loss as a resistor of its own behind it, or without one."""
    if loss == 0:
        return [f"{name} {a} {b} {value!r}"]
    return [
        f"{name} {a} {name}loss {value!r}",
        f"R{name}loss {name}loss {b} {loss if isinstance(loss, str) else repr(loss)}",
    ]


def require_ngspice() -> str:
    """Path of ngspice; skips the test where it is not installed, but never on a build server."""
    found = shutil.which("ngspice")
    if found is None:
        if os.environ.get("CI"):
            raise RuntimeError("ngspice is not installed, and these checks may not be left out here")
        pytest.skip("ngspice is not installed")
    return found


def run(cards: Sequence[str], control: Sequence[str], folder: Path) -> str:
    """Run ngspice in batch mode in `folder` and return all it printed. Raises RuntimeError on a fault."""
    text = ["* judged by ngspice", *cards, ".control", "set numdgt=17", *control, "quit", ".endc", ".end", ""]
    (folder / "deck.cir").write_text("\n".join(text), encoding="ascii")
    done = subprocess.run(
        [require_ngspice(), "-b", "deck.cir"], cwd=folder, capture_output=True, text=True, timeout=120, check=False
    )
    printed = done.stdout + done.stderr
    faults = [line for line in printed.splitlines() if any(word in line.lower() for word in _FATAL)]
    if done.returncode != 0 or faults:
        raise RuntimeError(f"ngspice failed with status {done.returncode}: {faults or printed[-2000:]}")
    return printed


def ac(cards: Sequence[str], frequency_hz: Sequence[float] | Real, outputs: Sequence[str]) -> dict[str, Complex]:
    """Small-signal solution at exactly the frequencies asked for.

    Parameters
    ----------
    cards : SPICE cards with at least one source `V... AC 1`.
    frequency_hz : (n,) in hertz; each is an analysis of its own, so no grid is imposed.
    outputs : expressions such as "v(w)", "v(a)-v(b)", "-i(vin)".

    Returns
    -------
    One complex array (n,) for each expression.
    """
    wanted = np.asarray(frequency_hz, dtype=np.float64)
    control = ["set appendwrite", "set wr_singlescale"]
    names = " ".join(f"out{k}" for k in range(len(outputs)))
    for f in wanted.tolist():
        control.append(f"ac lin 1 {f!r} {f!r}")
        control += [f"let out{k} = {expression}" for k, expression in enumerate(outputs)]
        control.append(f"wrdata result {names}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        run(cards, control, folder)
        table = np.loadtxt(folder / "result", ndmin=2)
    if table.shape != (wanted.size, 1 + 2 * len(outputs)):
        raise RuntimeError(f"ngspice wrote a table of shape {table.shape} for {wanted.size} frequencies")
    np.testing.assert_allclose(table[:, 0], wanted, rtol=1e-12)
    return {e: table[:, 1 + 2 * k] + 1j * table[:, 2 + 2 * k] for k, e in enumerate(outputs)}


def ac_decades(
    cards: Sequence[str], per_decade: int, start_hz: float, stop_hz: float, outputs: Sequence[str]
) -> tuple[Real, dict[str, Complex]]:
    """One `ac dec` run on ngspice's own grid, which is returned first: the way a person would run it."""
    names = " ".join(f"out{k}" for k in range(len(outputs)))
    control = ["set wr_singlescale", f"ac dec {per_decade} {start_hz!r} {stop_hz!r}"]
    control += [f"let out{k} = {expression}" for k, expression in enumerate(outputs)]
    control.append(f"wrdata result {names}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        run(cards, control, folder)
        table = np.loadtxt(folder / "result", ndmin=2)
    return table[:, 0], {e: table[:, 1 + 2 * k] + 1j * table[:, 2 + 2 * k] for k, e in enumerate(outputs)}


def values_as_read(cards: Sequence[str]) -> dict[str, float]:
    """Values of R, L and C cards (name, two nodes, value) as ngspice reads their text, by name in lower case."""
    parameter = {"r": "resistance", "l": "inductance", "c": "capacitance"}
    words = [card.split() for card in cards]
    # Each part stands alone between a node of its own and ground, so that an operating point exists for all of them.
    alone = [f"{name} n{k} 0 {value}\nRfoot{k} n{k} 0 1" for k, (name, _, _, value) in enumerate(words)]
    names = [name.lower() for name, *_ in words]
    control = ["op", *[f"print @{n}[{parameter[n[0]]}]" for n in names]]
    with tempfile.TemporaryDirectory() as folder:
        printed = run(alone, control, Path(folder))
    read: dict[str, float] = {}
    for line in printed.splitlines():
        if line.startswith("@") and " = " in line:
            left, right = line.split(" = ")
            read[left[1:].split("[")[0]] = float(right)
    return read
