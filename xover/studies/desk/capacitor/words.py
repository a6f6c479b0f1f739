"""A capacitor in words: its loss, what the meter means, the voltage, a small one across it."""

from __future__ import annotations

import math
from collections.abc import Iterator

from xover.blocks import Block, Gap, Head, Text, fact, plain_table, sentence
from xover.figures import db, hertz
from xover.parts.capacitor_loss import CapacitorLoss, constant_capacitance_words
from xover.parts.capacitor_pairs import Bypass
from xover.parts.meter import LossRange
from xover.quantity import QuantityKind, format_quantity
from xover.studies.desk.capacitor.study import TABLE_HZ, CapacitorStudy


def tell(study: CapacitorStudy) -> Iterator[Block]:
    """What was asked for, each under its head."""
    yield Head(f"Capacitor {_farad(study.capacitance_f)}")
    yield fact("loss", study.evidence)
    if study.loss is not None:
        yield from _loss(study, study.loss)
    if study.believable is not None:
        found = study.believable
        yield Head("What the reading means")
        yield sentence(found.sentence)
        low, high = (f"{factor:.3f} times" for factor in found.reading_over_1khz)
        wide = found.reading_over_1khz[1] - found.reading_over_1khz[0] > 5e-4
        yield fact("shows", f"{low} to {high} its capacitance at 1 kHz" if wide else low)
        yield from _behind(found.meter, found.loss)
        yield sentence(found.against(study.capacitance_f))
    if study.expected is not None:
        yield Head("What the meter should show")
        low, high = _farad(study.expected.lowest_f), _farad(study.expected.highest_f)
        yield fact("reading", low if low == high else f"{low} to {high}")
        yield from _behind(study.expected.meter, study.expected.loss)
    if study.voltage is not None:
        yield Head("Voltage")
        yield sentence(study.voltage.sentence)
        yield Text(
            "That is with every driver in place: an unplugged one can raise it many times, which xover load tells. "
            "100 V is the usual least (common practice)."
        )
    if study.bypass is not None:
        yield from _bypass(study.bypass)


def _loss(study: CapacitorStudy, loss: CapacitorLoss) -> Iterator[Block]:
    yield fact("fixed", f"{loss.fixed_ohm:.3g} ohm")
    yield fact("constant angle", f"df {loss.dissipation_factor:.3g}")
    if loss.worst_ohm > 1e-9:
        yield fact("furthest reading", f"{loss.worst_ohm:.2g} ohm from the fit")
    yield fact("netlist", study.card)
    yield Gap()
    rows = [
        [hertz(f), f"{r:.3g}", f"{d:.3g}", _q(d), f"{math.degrees(math.atan(d)):.2f}"]
        for f, r, d in zip(TABLE_HZ, loss.esr_ohm(TABLE_HZ), loss.total_df(TABLE_HZ), strict=True)
    ]
    yield plain_table(["at", "ESR ohm", "df", "Q", "loss angle deg"], rows)
    yield Gap()
    if study.single is not None:
        yield sentence(study.single.sentence)
    yield sentence(constant_capacitance_words(loss.dissipation_factor))


def _behind(meter: str, loss: LossRange) -> Iterator[Block]:
    """What an answer about a meter rests on."""
    yield fact("meter", meter)
    yield fact("df at 1 kHz", _span(loss.total_df))
    yield fact("of it constant", f"{_span(loss.constant_phase_df)}: from {loss.because}")


def _bypass(found: Bypass) -> Iterator[Block]:
    yield Head("With the small film capacitor across it")
    rows = [
        [hertz(f), f"{a:.4g}", f"{b:.4g}", db(change, 3, True), f"{ra:.3g}", f"{rb:.3g}"]
        for f, a, b, change, ra, rb in zip(
            found.frequency_hz,
            found.alone_ohm,
            found.bypassed_ohm,
            found.change_db,
            found.alone_esr_ohm,
            found.bypassed_esr_ohm,
            strict=True,
        )
    ]
    yield plain_table(["at", "alone ohm", "bypassed", "dB", "ESR alone", "bypassed"], rows)
    yield sentence(found.sentence)


def _span(values: tuple[float, float]) -> str:
    low, high = (f"{v:.3g}" for v in values)
    return low if low == high else f"{low} to {high}"


def _q(dissipation_factor: float) -> str:
    if dissipation_factor == 0:
        return "-"
    return f"{1 / dissipation_factor:.3g}" if dissipation_factor > 1e-3 else f"{1 / dissipation_factor:.0f}"


def _farad(value: float) -> str:
    return format_quantity(value, QuantityKind.CAPACITANCE)
