"""What `infer` makes of an invented board, kind of trouble by kind of trouble, beside what is true of it."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

import numpy as np

from invented.boards import FEWEST, MOST, Ageing
from invented.terminals import Jig, Measured, measured
from xover.explain.problem import Jig as Believed
from xover.explain.topology import Fault
from xover.network import Capacitor, Inductor, value_of
from xover.studies.aged.infer.study import infer_network

SEED = 14_000


@dataclass(frozen=True)
class Circumstance:
    """One kind of trouble."""

    words: str
    ageing: Ageing
    jig: Jig
    scale_sd: float = 0.0  # what the owner states by --scale


# Capacitors that lose by the law that any fit knows, and not much more than they once did.
PLAIN = Ageing("esr", "esr", grown=2.0)
KINDS = {
    "control": Circumstance("nothing that the fit does not know", PLAIN, Jig()),
    "esr": Circumstance("stated ESR, grown 1 to 10 times", Ageing("esr", "esr"), Jig()),
    "constant": Circumstance("constant ESR, nothing stated", Ageing("nothing", "esr"), Jig()),
    "phase": Circumstance("loss of constant phase, C as read at 1 kHz", Ageing("df", "phase"), Jig()),
    "df": Circumstance("constant dissipation factor, constant C", Ageing("df", "df"), Jig()),
    "core": Circumstance("coils whose core loses", replace(PLAIN, core=True), Jig()),
    "leads": Circumstance("leads 0 to 0.15 ohm, gain +-1.5 %", PLAIN, Jig(gain=0.015, lead_ohm=0.15)),
    "scale": Circumstance("scale of all sweeps +-1.5 %, stated", PLAIN, Jig(scale=0.015), 0.0087),
    "drift": Circumstance("each driver's fs, Q, Re moved by up to 3 %", PLAIN, Jig(drift=0.03)),
    "all": Circumstance(
        "all of these at once",
        Ageing("any", "any", core=True),
        Jig(gain=0.015, lead_ohm=0.15, drift=0.03),
    ),
}


@dataclass(frozen=True)
class Value:
    """One number that is called seen. kind : C, L or R, or dcr, esr of a loss."""

    part: str
    kind: str
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
    losses: tuple[Value, ...]
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
    values, losses = [], []
    for part in study.parts if study.numbers_given and not wrong else ():
        true = case.board.true.part(part.name)
        if part.own.seen:
            values.append(Value(part.name, part.name[0], value_of(true), part.own.low, part.own.high))
        for key, of in _truths(case, part.name).items():
            loss = part.losses.get(key)
            if loss is not None and loss.seen:
                losses.append(Value(part.name, key, of, loss.low, loss.high))
    rivals = () if study.topology_fits else study.plain()["rivals"]
    best = [r.plain() for r in rivals if r.tied]
    told = tuple((str(r["fault"]), *r["parts"]) for r in best if r["fits"] and str(r["fault"]) != Fault.NONE)
    return Outcome(number, case, study.topology_fits, told, tuple(values), tuple(losses), len(study.parts), seconds)


def _truths(case: Measured, name: str) -> dict[str, float]:
    """Losses of a part that are one number in truth, by the key of the netlist."""
    true = case.board.true.part(name)
    if isinstance(true, Inductor):
        return {"dcr": true.dcr_ohm}
    if isinstance(true, Capacitor) and not true.dissipation_factor:
        return {"esr": true.esr_ohm}
    return {}
