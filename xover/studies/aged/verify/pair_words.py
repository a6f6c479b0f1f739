"""Changes between two like speakers in words, and the cheapest test that settles each."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from xover.explain.faults import Fault, FaultKind, shown_value
from xover.explain.pair_changes import Change, ChangeKind
from xover.network import Network
from xover.studies.aged.verify.words import next_test

if TYPE_CHECKING:
    from xover.studies.aged.verify.pair_result import Explanation


def change_words(network: Network, change: Change, factor: float | None, first: float | None) -> str:
    """A change as one says it. `factor` : second over first; `first` : the first speaker's value of a part."""
    name = change.subject
    size = "" if factor is None else f"{100.0 * (factor - 1.0):+.0f} %"
    up = factor is not None and factor > 1.0
    if change.kind is ChangeKind.VALUE and factor is not None and first is not None:
        part = network.part(name)
        return f"{name} {size}: about {shown_value(part, first * factor)} against {shown_value(part, first)}"
    if change.kind is ChangeKind.MAGNET and factor is not None:
        level = 20.0 * math.log10(factor)
        return f"{name}: {'stronger' if up else 'weaker'} magnet, Bl {size} ({level:+.1f} dB)"
    if change.kind is ChangeKind.SUSPENSION and factor is not None:
        moved = 100.0 * (math.sqrt(factor) - 1.0)
        return f"{name}: {'stiffer' if up else 'softer'} suspension or box, its resonance {moved:+.0f} %"
    if change.kind is ChangeKind.DAMPING:
        return f"{name}: {'more damped (dried fluid, rubbing coil)' if up else 'less damped'}, Rms {size}"
    if change.kind is ChangeKind.COIL:
        return f"{name}: voice coil's resistance off by {size} of its own"
    if change.kind is ChangeKind.OTHER_DRIVER:
        return f"{name}: another driver, or one changed in several ways"
    if change.is_driver:
        return f"{name} {'not connected or its coil open' if change.kind is ChangeKind.OPEN else 'shorted'}"
    return f"{name} {change.kind}"


def pair_test(network: Network, changes: Sequence[Change], rivals: Sequence[Sequence[Change]]) -> str:
    """The cheapest test that settles an explanation."""
    both = [*changes, *(c for r in rivals for c in r)]
    drivers = list(dict.fromkeys(c.subject for c in both if c.is_driver))
    if drivers and any(not c.is_driver for c in both):
        return f"take one wire off {drivers[0]} in both speakers and sweep them alone: alike, then it is the network"
    change = changes[0]
    if change.is_driver and change.kind not in (ChangeKind.OPEN, ChangeKind.SHORTED):
        return (
            f"take one wire off {change.subject} in both speakers and sweep it alone; listen to each alone at low level"
        )
    kind = {ChangeKind.OPEN: FaultKind.OPEN, ChangeKind.SHORTED: FaultKind.SHORTED}.get(
        change.kind, FaultKind.OTHER_VALUE
    )
    tied = [
        Fault(FaultKind(str(c.kind)), c.subject, is_driver=c.is_driver)
        for r in rivals
        for c in r
        if c.kind in (ChangeKind.OPEN, ChangeKind.SHORTED)
    ]
    return next_test(network, Fault(kind, change.subject, is_driver=change.is_driver), tied)


def difference_headline(agrees: bool, ranked: Sequence[Explanation], noise: float) -> str:
    """The verdict in a sentence."""
    if agrees:
        return (
            f"no difference beyond noise ({100 * noise:.1f} %) and what like parts differ by: cannot tell the two apart"
        )
    first = [e for e in ranked if e.tie == 0]
    if not any(e.explains for e in first):
        return f"more than two things differ; nearest: {first[0].words}"
    words = "; or ".join(e.words for e in first)
    sides = {e.is_driver for e in first}
    if sides == {True}:
        return f"a driver, not the network: {words}"
    if sides == {False}:
        return f"the network, not a driver: {words}"
    if len(first) == 1:
        return f"a driver and the network: {words}"
    return f"the sweeps cannot tell a driver from the network here: {words}"
