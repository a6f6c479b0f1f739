"""Coupling between the coils as a person reads it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from xover.blocks import Block, Head, Text, fact, plain_table
from xover.figures import db, hertz
from xover.sound.change import Worst, size_of
from xover.studies.bears.crosstalk.study import CoupledCase, Crosstalk, DriveEffect

MOST_SHOWN: Final = 4


def tell(study: Crosstalk, everything: bool = False) -> Iterator[Block]:
    yield Head(f"{study.title}: network '{study.network}', coupling between coils")
    yield Text(_answer(study))
    if len(study.cases) <= MOST_SHOWN:
        for case in study.cases:
            yield from _case(case, study.judged_by)
    else:
        worst = max(study.cases, key=lambda case: size_of(case.total))
        yield Text(f"The worst of {len(study.cases)} combinations of signs; --json gives them all.")
        yield from _case(worst, study.judged_by)
    if study.cases:
        yield Text(
            "pass band: where the drive lies within 20 dB of its highest; stop band: where it lies lower, and how far "
            "it rises there. Levels are re the amplifier. A winding sense that is not known can be either."
        )
    if study.pairs:
        yield from _limits(study, everything)
    if study.skipped:
        yield fact("coupled already", ", ".join(study.skipped) + ": their K cards stay as they are")


def _answer(study: Crosstalk) -> str:
    """What to keep apart, or what the given couplings do."""
    if study.cases:
        worst = max(study.cases, key=lambda case: size_of(case.total)).total
        if not math.isfinite(worst.change):
            return "What the couplings do to the sum is not known: see the drives."
        return f"These couplings move the sum by {_signed(worst)} dB at {hertz(worst.at_hz)} at most."
    closest = max((p for p in study.pairs if p.apart_m is not None), key=lambda p: p.apart_m or 0.0, default=None)
    what = "the drive" if study.judged_by == "drives" else f"the {study.judged_by}"
    if not study.pairs:
        return "There are no two coils whose coupling is open: nothing to keep apart."
    if closest is None and not all(pair.known for pair in study.pairs):
        return f"Not known: what is known of {what} moves by less than {study.limit_db:g} dB, and that is too little."
    if closest is None:
        return f"Any two coils may touch: {what} moves by less than {study.limit_db:g} dB."
    return (
        f"Keep {' and '.join(closest.name.split(':'))} {1e3 * (closest.apart_m or 0.0):.0f} mm apart, or at right "
        f"angles with one centre on the other's axis or mid-plane: then this pair moves {what} less than "
        f"{study.limit_db:g} dB."
    )


def _case(case: CoupledCase, judged_by: str) -> Iterator[Block]:
    yield Head("With " + ", ".join(f"k = {c.k:+.3g} of {c.name}" for c in case.couples))
    rows = [[d.key, _signed(d.pass_band), hertz(d.pass_band.at_hz), *_stop(d)] for d in case.drive]
    yield plain_table(["driver", "pass dB", "at", "stop dB", "at", "from dB", "to dB"], rows)
    if math.isfinite(case.total.change):
        what = "sum" if judged_by == "drives" else judged_by
        yield fact("sum", f"{_signed(case.total)} dB at {hertz(case.total.at_hz)} ({what}, 200 Hz to 20 kHz)")
    else:
        yield fact("sum", "not known")
    for name, load in case.load.items():
        label = "load" if len(case.load) == 1 else f"load of {name}"
        yield fact(label, f"{load.change:+.2g} % at {hertz(load.at_hz)}" if load.change else "unchanged")


def _stop(effect: DriveEffect) -> list[str]:
    rise = effect.stop_band
    if math.isnan(rise.change):
        return ["-", "-", "-", "-"]
    if rise.change == 0:
        return ["0", "-", "-", "-"]
    return [_signed(rise, 1), hertz(rise.at_hz), db(effect.stop_before_db), db(effect.stop_after_db)]


def _limits(study: Crosstalk, everything: bool) -> Iterator[Block]:
    what = "the drive that moves most" if study.judged_by == "drives" else f"the {study.judged_by}"
    yield Head(f"Coupling that moves {what} by {study.limit_db:g} dB")
    rows = [
        [
            pair.name,
            _k(pair.k_positive),
            _k(pair.k_negative),
            hertz(pair.at_hz),
            ("any" if pair.known else "-") if pair.apart_m is None else f"{1e3 * pair.apart_m:.0f}",
        ]
        for pair in study.pairs
    ]
    yield plain_table(["coils", "k above 0", "k below 0", "at", "apart mm"], rows)
    yield Text(
        "apart: from centre to centre, for two air coils of 25/55 x 20 mm flat side by side; larger coils need "
        "more, in proportion to their size. 'any' may touch. k: coupling factor, 0 to 1."
    )
    carried = [f"{p.name} reaches {', '.join(p.carried)} too" for p in study.pairs if p.carried]
    if carried:
        yield fact("tied by K cards", "; ".join(carried))
    if everything:
        yield Text(
            "To measure a pair where it stands: L of both in series, then with one reversed; k is the difference over "
            "4 sqrt(L1 L2)."
        )


def _k(value: float | None) -> str:
    """A coupling for a column; a dash where none up to 0.5 matters."""
    return "-" if value is None else f"{value:+.2g}"


def _signed(worst: Worst, digits: int = 2) -> str:
    return "0" if worst.change == 0 else db(worst.change, digits, True)
