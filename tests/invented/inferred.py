"""What `infer` makes of an invented board, kind of trouble by kind of trouble, beside what is true of it."""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np

from invented.boards import FEWEST, MOST, Ageing
from invented.terminals import Jig, Measured, measured
from xover.explain.problem import Jig as Believed
from xover.explain.topology import Fault
from xover.network import value_of
from xover.studies.aged.infer.study import infer_network

SEED = 14_000


@dataclass(frozen=True)
class Circumstance:
    """One kind of trouble."""

    words: str
    ageing: Ageing
    jig: Jig
    scale_sd: float = 0.0  # what the owner states by --scale


KINDS = {
    "control": Circumstance("nothing that the fit does not know", Ageing(), Jig()),
    "esr": Circumstance("stated ESR, grown 1 to 10 times", Ageing("esr", "esr"), Jig()),
    "constant": Circumstance("constant ESR, nothing stated", Ageing("nothing", "esr"), Jig()),
    "phase": Circumstance("loss of constant phase", Ageing("df", "phase"), Jig()),
    "core": Circumstance("coils whose core loses", Ageing("df", "df", core=True), Jig()),
    "leads": Circumstance("leads 0 to 0.15 ohm, gain +-1.5 %", Ageing(), Jig(gain=0.015, lead_ohm=0.15)),
    "scale": Circumstance("scale of all sweeps +-1.5 %, stated", Ageing(), Jig(scale=0.015), 0.0087),
    "drift": Circumstance("drivers' fs, Q, Re drifted 3 %", Ageing(), Jig(drift=0.03)),
    "all": Circumstance(
        "all of these at once",
        Ageing("any", "any", core=True),
        Jig(gain=0.015, lead_ohm=0.15, drift=0.03),
    ),
}


@dataclass(frozen=True)
class Value:
    """One value that is called seen."""

    part: str
    truth: float
    low: float
    high: float

    @property
    def holds(self) -> bool:
        return self.low <= self.truth <= self.high


@dataclass(frozen=True)
class Outcome:
    """One board. told : the boards that are offered in its place, fault and parts as the JSON has them."""

    number: int
    case: Measured
    fits: bool
    told: tuple[tuple[str, ...], ...]
    values: tuple[Value, ...]
    wires: tuple[Value, ...]
    parts: int
    seconds: float


def draw(kind: str, number: int, wrong: bool = False, parts: tuple[int, int] = (FEWEST, MOST)) -> Measured:
    """A board by its number."""
    of = KINDS[kind]
    random = np.random.default_rng([SEED, list(KINDS).index(kind), number, wrong])
    return measured(random, of.ageing, of.jig, wrong, parts)


def run(kind: str, number: int, wrong: bool = False, parts: tuple[int, int] = (FEWEST, MOST)) -> Outcome:
    """Draw and infer one board."""
    case = draw(kind, number, wrong, parts)
    began = time.process_time()
    study = infer_network(case.board.drawn, case.curves, [case.sweep], jig=Believed(scale_sd=KINDS[kind].scale_sd))
    seconds = time.process_time() - began
    values, wires = [], []
    for part in study.parts if study.numbers_given and not wrong else ():
        true = case.board.true.part(part.name)
        if part.own.seen:
            values.append(Value(part.name, value_of(true), part.own.low, part.own.high))
        wire = part.losses.get("dcr")
        if wire is not None and wire.seen:
            wires.append(Value(f"{part.name}_dcr", true.dcr_ohm, wire.low, wire.high))
    rivals = () if study.topology_fits else study.plain()["rivals"]
    best = [r.plain() for r in rivals if r.tied]
    told = tuple((str(r["fault"]), *r["parts"]) for r in best if r["fits"] and str(r["fault"]) != Fault.NONE)
    return Outcome(number, case, study.topology_fits, told, tuple(values), tuple(wires), len(study.parts), seconds)
