"""Left against right: the smallest set of changes that explains how two sweeps of like speakers differ.

The network's values are fitted to the first sweep; from there on only the ratio of the two sweeps counts, so that
what the drivers' own sweeps and the model miss, and both speakers share, drops out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np

from xover.curve import Complex, Curve, Unit
from xover.errors import InputError
from xover.explain.fault_fit import (
    FLOOR,
    FaultSetup,
    Fits,
    Sweep,
    apart,
    fit_states,
    foresee,
    log_miss,
    make_bench,
    noise_of,
)
from xover.explain.pair_changes import (
    AGED,
    AgedDriver,
    Change,
    ChangeKind,
    ChangeState,
    aged_drivers,
    freed,
    may_join,
    single_changes,
    to_join,
    together,
)
from xover.explain.terminals import KnobKind, MeasuredDriver, State, Terminals
from xover.network import Network
from xover.rules.bands import AUDIO_BAND_HZ
from xover.speaker import Speaker
from xover.studies.aged.verify.result import ChangedValue, Explanation, PairStudy
from xover.studies.aged.verify.weigh import CLEAR, LN10, MISFIT, TIE_ODDS, beyond, number_ties
from xover.studies.aged.verify.words import change_words, difference_headline, pair_test

ALIKE: Final = {KnobKind.PART: 0.01, KnobKind.LOSS: 0.1, KnobKind.LEAKAGE: 0.1, KnobKind.DRIVER: 0.01}
"""Standard deviation by which like parts and drivers of a pair differ, nothing wrong. Common practice, no source."""
AGED_SPREADS: Final = {KnobKind.PART: 0.3, KnobKind.LOSS: 1.0, KnobKind.LEAKAGE: 0.5}
"""How far the first speaker's own values may lie from the netlist."""
CHANGE_COST: Final = math.log(20.0)
"""A second change must be so many times likelier than one, before its own freedom is counted."""
LEADERS: Final = 3
MOST_PAIRS: Final = 14
MOST_SHOWN: Final = 10
MOST_TURNED: Final = 1.5
HIDDEN: Final = {
    ChangeKind.MAGNET: math.log(1.1),
    ChangeKind.SUSPENSION: math.log(1.25),
    ChangeKind.DAMPING: math.log(1.4),
    ChangeKind.COIL: math.log(1.1),
}
"""A 95 % interval wider than this hides what a listener or a meter would find: about 1 dB, a tenth of a resonance."""


def explain_pair(
    speaker: Speaker,
    network_name: str,
    first: Curve,
    second: Curve,
    *,
    channel: str | None = None,
    band_hz: tuple[float, float] = AUDIO_BAND_HZ,
    noise: float | None = None,
) -> PairStudy:
    """Explain how a second sweep differs from the first.

    Parameters
    ----------
    speaker, network_name : wiring and drivers of the first speaker; the second is taken to be built alike.
    first, second : sweeps at the terminals. noise : relative, of each; estimated if None.

    Raises
    ------
    InputError : the two share too few rows, or are no impedances. OptionError, NoSolutionError : as `verify`.
    """
    network = speaker.network(network_name)
    shared = _shared(first, second)
    shaper = aged_drivers(speaker, network)
    bench = make_bench(speaker, network, shared, channel=channel, band_hz=band_hz, noise=noise, shaper=shaper)
    if second.unit is not Unit.OHM:
        raise InputError("is not an impedance", "name the sweep at the terminals, in ohm", second.source or None)
    other_noise, _ = noise_of(second, noise)
    terminals, fitted = _as_first(bench)
    log_ohm, _ = terminals.look([State({}, {}, {}, {})], np.zeros((1, len(terminals.knobs))))
    has_phase = first.has_phase and second.has_phase
    ratio = np.log(second.at(bench.frequency_hz)) - np.log(bench.measured_ohm)
    sigma = math.sqrt(bench.noise**2 + other_noise**2 + FLOOR**2)
    sweep = Sweep(log_ohm[0] + ratio, np.full(ratio.size, sigma), has_phase)
    singles = single_changes(network, terminals)
    fits = fit_states(terminals, [s.state for s in singles], sweep)
    tried = {s.changes for s in singles}
    pairs = _pairs(terminals, singles, fits, sweep)
    states = [*singles, *pairs]
    if pairs:
        fits = _joined(fits, fit_states(terminals, [s.state for s in pairs], sweep))
    miss = log_miss(sweep, log_ohm)[0]
    agrees = _explains(terminals, states, fits, 0) and not _certain(fits, states)
    ranked, first_row = ((), 0) if agrees else _rank(network, terminals, states, fits, sweep)
    left = None
    if ranked:
        left = 100.0 * np.expm1(log_miss(sweep, fits.log_ohm[first_row][None, :])[0].real)
    change = np.exp(miss if has_phase else miss.real)
    return PairStudy(
        title=speaker.title,
        network=network_name,
        sweeps=(first.source, second.source),
        agrees=agrees,
        headline=difference_headline(agrees, ranked, math.hypot(bench.noise, other_noise)),
        frequency_hz=bench.frequency_hz,
        percent=100.0 * np.expm1(miss.real),
        phase_deg=np.degrees(miss.imag) if has_phase else None,
        left_percent=left,
        residual=float(np.sqrt(np.mean(np.abs(change - 1.0) ** 2))),
        noise=(bench.noise, other_noise),
        first_residual=fitted,
        explanations=ranked,
        tried=len(tried) + len(pairs),
        hidden=_hidden(terminals, singles, fits),
        warnings=tuple(dict.fromkeys((*bench.warnings, *_warnings(bench, fitted)))),
    )


def _shared(first: Curve, second: Curve) -> Curve:
    """The first sweep where the second reaches too. Raises InputError where that is nowhere."""
    inside = (first.frequency_hz >= second.lowest_hz) & (first.frequency_hz <= second.highest_hz)
    if np.count_nonzero(inside) < 2:
        raise InputError("shares no frequencies with the other sweep", "sweep both alike", second.source or None)
    return replace(first, frequency_hz=first.frequency_hz[inside], value=first.value[inside])


def _as_first(bench: FaultSetup) -> tuple[Terminals, float]:
    """The network with the values that fit the first sweep, its knobs now meaning a difference from that."""
    terminals = bench.terminals
    wide = {k.name: max(k.spread, AGED_SPREADS.get(k.kind, 0.0)) for k in terminals.knobs if k.kind in AGED_SPREADS}
    state = State({}, wide, {}, {})
    fits = fit_states(terminals, [state], bench.sweep)
    turned = fits.turned
    values = {n: float(v[0]) for n, v in terminals.values([state], turned).items()}
    index = {k.name: i for i, k in enumerate(terminals.knobs)}
    shapes = {}
    for key, shape in terminals.shapes.items():
        columns = [index[f"{key}:{what}"] for what in shape.knobs]
        ohm: Complex = shape.at(turned[:, columns])[0][0]
        moved = MeasuredDriver(ohm, shape.measured.slope if isinstance(shape, AgedDriver) else _slope(shape))
        shapes[key] = replace(shape, measured=moved) if isinstance(shape, AgedDriver) else moved
    knobs = tuple(replace(k, spread=0.0 if k.spread == 0.0 else ALIKE.get(k.kind, k.spread)) for k in terminals.knobs)
    return replace(terminals, shapes=shapes, knobs=knobs, nominal=values), float(fits.residual[0])


def _slope(shape: Any) -> Complex:
    assert isinstance(shape, MeasuredDriver)  # there are only two kinds
    return shape.slope


def _pairs(terminals: Terminals, singles: Sequence[ChangeState], fits: Fits, sweep: Sweep) -> list[ChangeState]:
    """The pairs of changes that promise most, to first order about no change and about the best single ones."""
    join = to_join(singles)
    order = sorted(range(1, len(singles)), key=lambda i: float(fits.cost[i]))
    leaders = [i for n, i in enumerate(order) if singles[i].changes not in [singles[j].changes for j in order[:n]]]
    promised: dict[tuple[Change, ...], tuple[float, ChangeState]] = {}
    index = {k.name: i for i, k in enumerate(terminals.knobs)}
    for start in (0, *leaders[:LEADERS]):
        begun = singles[start]
        if start == 0:
            trials = [together(a, b) for n, a in enumerate(join) for b in join[n + 1 :] if may_join(a, b)]
        else:
            trials = [together(begun, b) for b in join if may_join(begun, b)]
        if not trials:
            continue
        cost, turned = foresee(
            terminals, begun.state, fits.turned[start], sweep, terminals.spreads([t.state for t in trials])
        )
        for trial, each, knobs in zip(trials, cost, turned, strict=True):
            begin = {
                name: float(np.clip(knobs[index[name]], -MOST_TURNED, MOST_TURNED))
                for name in freed(trial.state, terminals)
            }
            key = tuple(sorted(trial.changes, key=lambda c: (c.subject, c.kind)))
            if key not in promised or each < promised[key][0]:
                promised[key] = (float(each), replace(trial, state=replace(trial.state, begin=begin)))
    best = sorted(promised.values(), key=lambda p: p[0])[:MOST_PAIRS]
    return [state for _, state in best]


def _joined(one: Fits, other: Fits) -> Fits:
    return Fits(**{name: np.concatenate([value, getattr(other, name)]) for name, value in vars(one).items()})


def _cost(states: Sequence[ChangeState], fits: Fits, row: int) -> float:
    return float(fits.cost[row]) + CHANGE_COST * len(states[row].changes)


def _explains(terminals: Terminals, states: Sequence[ChangeState], fits: Fits, row: int) -> bool:
    """What is left is noise, and all that has not changed is alike."""
    return bool(fits.misfit[row] <= MISFIT) and not beyond(terminals, states[row].state, fits, row)


def _certain(fits: Fits, states: Sequence[ChangeState]) -> bool:
    """Whether some change is far likelier than none."""
    best = min(_cost(states, fits, i) for i in range(1, len(states)))
    return float(fits.cost[0]) - best > CLEAR


def _rank(
    network: Network, terminals: Terminals, states: Sequence[ChangeState], fits: Fits, sweep: Sweep
) -> tuple[tuple[Explanation, ...], int]:
    """The explanations, and the row of the first."""
    best: dict[tuple[Change, ...], int] = {}
    for row in sorted(range(1, len(states)), key=lambda i: _cost(states, fits, i)):
        best.setdefault(tuple(sorted(states[row].changes, key=lambda c: (c.subject, c.kind))), row)
    rows = _smallest(states, fits, list(best.values()))
    costs = {row: _cost(states, fits, row) for row in rows}
    squares = [apart(fits.log_ohm[row], fits.log_ohm[rows], sweep) for row in rows]
    ties = dict(zip(rows, number_ties([costs[row] for row in rows], squares), strict=True))
    found = []
    for row in rows[:MOST_SHOWN]:
        sized = tuple(_sized(network, terminals, c, fits, row) for c in states[row].changes)
        beside = [states[r].changes for r in rows if ties[r] == ties[row] and r != row]
        found.append(
            Explanation(
                changes=sized,
                residual=float(fits.residual[row]),
                explains=_explains(terminals, states, fits, row),
                tie=ties[row],
                odds_log10=(costs[rows[0]] - costs[row]) / LN10,
                words=", and ".join(s.words for s in sized),
                next_test=pair_test(network, states[row].changes, beside),
            )
        )
    return tuple(found), rows[0]


def _smallest(states: Sequence[ChangeState], fits: Fits, rows: Sequence[int]) -> list[int]:
    """Leave out every pair of changes of which one alone is not much less likely."""
    alone = {states[r].changes[0]: _cost(states, fits, r) for r in rows if len(states[r].changes) == 1}

    def needed(row: int) -> bool:
        limit = _cost(states, fits, row) + TIE_ODDS
        return len(states[row].changes) == 1 or all(alone.get(c, math.inf) > limit for c in states[row].changes)

    return [r for r in rows if needed(r)]


def _sized(network: Network, terminals: Terminals, change: Change, fits: Fits, row: int) -> ChangedValue:
    name = None
    if change.kind is ChangeKind.VALUE:
        name = change.subject
    elif change.kind in AGED:
        name = f"{change.subject}:{AGED[change.kind]}"
    if name is None:
        return ChangedValue(change, None, None, None, None, change_words(network, change, None, None))
    column = next(i for i, k in enumerate(terminals.knobs) if k.name == name)
    turned, doubt = float(fits.turned[row, column]), 1.96 * float(fits.doubt[row, column])
    factor = math.exp(turned)
    value = terminals.nominal.get(change.subject)
    sound = 20.0 * math.log10(factor) if change.kind is ChangeKind.MAGNET else None
    return ChangedValue(
        change,
        factor,
        math.exp(turned - doubt),
        math.exp(turned + doubt),
        sound,
        change_words(network, change, factor, value),
    )


def _hidden(terminals: Terminals, singles: Sequence[ChangeState], fits: Fits) -> tuple[str, ...]:
    """What age may do to a driver unseen: the network stands between it and the terminals."""
    said = []
    columns = {k.name: i for i, k in enumerate(terminals.knobs)}
    for row, single in enumerate(singles):
        kind = single.changes[0].kind if single.changes else None
        if kind not in AGED:
            continue
        key = single.changes[0].subject
        doubt = 1.96 * float(fits.doubt[row, columns[f"{key}:{AGED[kind]}"]])
        if doubt > HIDDEN[kind]:
            said.append(f"{AGED[kind]} of {key} within {100.0 * math.expm1(doubt):.0f} %")
    return tuple(said)


def _warnings(bench: FaultSetup, fitted: float) -> list[str]:
    said = []
    if fitted > 3.0 * bench.noise + 0.01:
        said.append(
            f"the network with other values does not fit the first sweep to better than {100 * fitted:.1f} %: "
            "is it the right network, and are its drivers those of this speaker?"
        )
    if len(bench.network.drivers) > 1:
        said.append("a driver's polarity does not show in the impedance: only a response tells")
    return said
