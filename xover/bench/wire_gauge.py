"""How thick the wires must be: the resistance that costs a tenth of a decibel, and the gauges that stay under it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.bench.words import number
from xover.curve import Complex, Float
from xover.network import Network, solve
from xover.parts.wire import area_m2, awg_diameter_m, resistance_ohm_per_m
from xover.quantity import hertz, ohms
from xover.rules.audibility import REPEATS_DB
from xover.sound.change import near_highest
from xover.speaker import Speaker

GAUGES: Final = (22, 20, 18, 16, 14, 12, 10)
"""American wire gauges that leads come in, the thinnest first; thinner ones break when they are pulled."""


@dataclass(frozen=True)
class Gauge:
    """One gauge as a pair of wires.

    Attributes
    ----------
    name : such as "AWG 18". area_mm2 : of the copper of one wire.
    pair_ohm_per_m : both wires of one metre, at 20 degC (IEC 60028). longest_m : pair that stays within the loss; NaN
        where the load is not known.
    """

    name: str
    area_mm2: float
    pair_ohm_per_m: float
    longest_m: float


@dataclass(frozen=True)
class WireAdvice:
    """What one pair of wires may have.

    Attributes
    ----------
    use : which pair. budget_ohm : resistance of both wires together that costs `loss_db` where it costs most.
    at_hz : where that is. gauges : thinnest first. thinnest : the first whose pair of one metre will do; None where
        none does. sentence : in words.
    """

    use: str
    loss_db: float
    budget_ohm: float
    at_hz: float
    gauges: tuple[Gauge, ...]
    thinnest: Gauge | None
    sentence: str


def loss_budget_ohm(impedance_ohm: Complex, loss_db: float = REPEATS_DB) -> Float:
    """(n,) series resistance that takes a loss off the voltage at a load fed from an ideal source.

    20 lg |1 + r/Z| = loss: with a = 1/|Z|^2 and b = Re(1/Z), a r^2 + 2 b r + 1 = 10^(loss/10) (derived). NaN where the
    load is not known, infinite where no current flows.
    """
    z = np.asarray(impedance_ohm, dtype=complex)
    with np.errstate(divide="ignore", invalid="ignore"):
        a, b = 1.0 / np.abs(z) ** 2, (1.0 / z).real
        more = 10.0 ** (loss_db / 10.0) - 1.0
        budget = (np.sqrt(b * b + a * more) - b) / a
    return np.where(np.isinf(z), np.inf, np.asarray(budget, dtype=float))


def wire_advice(network: Network, speaker: Speaker, frequency_hz: Float) -> tuple[WireAdvice, ...]:
    """The leads from the amplifier, then the pair of each driver.

    A driver's pair is judged where its drive lies within 20 dB of its highest, and as if the driver were fed straight:
    behind series parts it matters less.

    Parameters
    ----------
    frequency_hz : (n,) rising.

    Raises
    ------
    OptionError, NoSolutionError : as `solve`.
    """
    drivers = speaker.impedances_ohm(network, frequency_hz)
    solution = solve(network, frequency_hz, drivers)
    many = len(network.channels) > 1
    said = [
        _advice(f"{name} amplifier leads" if many else "amplifier leads", frequency_hz, z)
        for name, z in solution.impedance_ohm.items()
    ]
    for card in network.drivers:
        heard = near_highest(solution.drive[card.key])
        said.append(_advice(f"{card.key}'s pair", frequency_hz, np.where(heard, drivers[card.driver], np.nan)))
    return tuple(said)


def gauge(awg: int, budget_ohm: float) -> Gauge:
    """One gauge against a budget."""
    diameter = float(awg_diameter_m(awg))
    pair = 2.0 * float(resistance_ohm_per_m(diameter))
    return Gauge(f"AWG {awg}", float(area_m2(diameter)) * 1e6, pair, budget_ohm / pair)


def _advice(use: str, frequency_hz: Float, impedance_ohm: Complex) -> WireAdvice:
    budget = loss_budget_ohm(impedance_ohm)
    known = np.isfinite(budget)
    if not known.any():
        choices = tuple(gauge(n, math.nan) for n in GAUGES)
        text = f"{use}: the load is not known, so neither is what its wire may have"
        return WireAdvice(use, REPEATS_DB, math.nan, math.nan, choices, None, text)
    row = int(np.nanargmin(np.where(known, budget, np.nan)))
    least, at_hz = float(budget[row]), float(frequency_hz[row])
    choices = tuple(gauge(n, least) for n in GAUGES)
    fit = next((g for g in choices if g.longest_m >= 1.0), None)
    size = ohms(float(np.abs(impedance_ohm[row])))
    text = f"{use}: {number(least)} ohm in both wires together cost {REPEATS_DB:g} dB, at {hertz(at_hz)} into {size}"
    if fit is None:
        text += f"; keep it under {_metres(choices[-1].longest_m)} of {_named(choices[-1])}"
    else:
        text += f"; {_named(fit)} will do up to {_metres(fit.longest_m)}"
        thick = next((g for g in choices if g.longest_m >= 5.0), None)
        if thick is not None and thick is not fit:
            text += f", {_named(thick)} up to {_metres(thick.longest_m)}"
    return WireAdvice(use, REPEATS_DB, least, at_hz, choices, fit, text)


def _named(choice: Gauge) -> str:
    return f"{choice.name} ({number(choice.area_mm2)} mm2)"


def _metres(length: float) -> str:
    """Rounded down, so that it never says too much."""
    step = 0.1 if length < 10.0 else 1.0
    return f"{math.floor(length / step + 1e-9) * step:.{1 if step < 1 else 0}f} m"
