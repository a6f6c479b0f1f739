"""How large a fault of one part a record could show, all else within its usual spread."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from xover.curve import Float
from xover.explain.fault_fit import FaultSetup, Fits
from xover.explain.faults import FaultKind, FaultState
from xover.explain.terminals import NOMINAL, SIGMAS, KnobKind, State
from xover.rules.likeness import DRIVER_DELAY_S, DRIVER_GAIN_DB, DRIVER_RIPPLE_DB
from xover.studies.aged.verify.ear import Ear
from xover.studies.aged.verify.sound_fit import ANY_LEVEL_DB, SURE_OF_NOISE, covers, plain_level_db

SWEEP_DOUBTS: Final = 2.0
RESPONSE_DOUBTS: Final = 5.0
"""A part is told once it is out of tolerance by so many standard deviations of its value: of the sweep by the rule that
is applied to it, of a response by the odds that are asked for and by what a free value costs. Derived."""
_SMALL: Final = 1e-4


def sweep_shows(bench: FaultSetup, states: Sequence[FaultState], fits: Fits) -> dict[str, float]:
    """By part, the share that its value must be off by for the sweep to show it."""
    found = {}
    for row, each in enumerate(states):
        fault = each.fault
        if fault is not None and fault.kind is FaultKind.OTHER_VALUE and not each.state.begin:
            column, spread = _knob(bench, fault.part)
            found[fault.part] = _share(spread, SWEEP_DOUBTS * float(fits.doubt[row, column]))
    return found


def response_shows(bench: FaultSetup, ear: Ear) -> dict[str, float]:
    """The same of the response alone."""
    slopes, spreads, sure = _levels(bench, ear)
    whole = sure + (slopes * spreads**2) @ slopes.T
    found = {}
    for column, knob in enumerate(bench.terminals.knobs):
        if knob.kind is KnobKind.PART and spreads[column] > 0:
            own = slopes[:, column]
            rest = whole - spreads[column] ** 2 * np.outer(own, own)
            known = float(own @ np.linalg.solve(rest, own))
            found[knob.name] = _share(knob.spread, RESPONSE_DOUBTS / math.sqrt(known) if known > 0 else math.inf)
    return found


def sound_band_db(bench: FaultSetup, ear: Ear) -> Float:
    """(b,) two standard deviations of the level-matched difference: every knob, delay and gain, and the record."""
    slopes, spreads, sure = _levels(bench, ear)
    whole = sure + (slopes * spreads**2) @ slopes.T
    middle = np.eye(whole.shape[0]) - 1.0 / whole.shape[0]
    return np.asarray(2.0 * np.sqrt(np.diagonal(middle @ whole @ middle.T)))


def _levels(bench: FaultSetup, ear: Ear) -> tuple[Float, Float, Float]:
    """Slopes of the bands' levels to each knob (b, p), the knobs' spreads, and the covariance (b, b) of all else."""
    terminals, voices = bench.terminals, ear.voices
    spreads = terminals.spreads([NOMINAL])[0]
    turned = np.concatenate([np.zeros((1, spreads.size)), _SMALL * np.eye(spreads.size)])
    states: list[State] = [NOMINAL] * turned.shape[0]
    f = voices.frequency_hz
    parts = voices.parts(terminals.drive(states, turned, f.reshape(-1), voices.impedance_ohm), [None] * len(states))
    level = plain_level_db(parts)
    slopes = (level[1:] - level[:1]).T / _SMALL
    power = np.mean(np.abs(parts[0].sum(axis=0)) ** 2, axis=-1)
    ripple = DRIVER_RIPPLE_DB**2 * np.mean(np.abs(parts[0]) ** 2, axis=-1).sum(axis=0) / power
    # As rough as the record turned out to be beside the network as it is.
    scale = (SURE_OF_NOISE + float(ear.fits.square[0])) / (SURE_OF_NOISE + power.size)
    sure = min(scale, 1.0) * covers(ear.heard, ripple) + ANY_LEVEL_DB**2
    for i in range(1, parts.shape[1]):
        for factor in (
            10.0 ** (_SMALL * DRIVER_GAIN_DB / 20.0),
            np.exp(-2j * np.pi * f * DRIVER_DELAY_S * _SMALL),
        ):
            moved = parts[:1].copy()
            moved[:, i] *= factor
            change = (plain_level_db(moved)[0] - level[0]) / _SMALL
            sure = sure + np.outer(change, change)
    return slopes, spreads, sure


def _knob(bench: FaultSetup, name: str) -> tuple[int, float]:
    return next((i, k.spread) for i, k in enumerate(bench.terminals.knobs) if k.name == name)


def _share(spread: float, doubt: float) -> float:
    """Upwards, the tolerance and the doubt together."""
    return math.expm1(min(math.log1p(SIGMAS * spread) + doubt, 50.0))
