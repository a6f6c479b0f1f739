"""The builds as a person reads them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from xover.blocks import Block, Gap, Head, Text, fact, plain_table, sentence
from xover.curve import Evidence
from xover.figures import at_octaves, db, hertz, ohm
from xover.parts.kinds import PartKind
from xover.quantity import QuantityKind, format_quantity
from xover.rules.audibility import audibility
from xover.search.builds import PartSpread
from xover.studies.bears.tolerance.bands import PairDifference, Share
from xover.studies.bears.tolerance.study import ToleranceStudy
from xover.terms import explained

MOST_PARTS: Final = 6
"""Told where not all is asked for, the largest share first."""


def tell(study: ToleranceStudy, everything: bool = False) -> Iterator[Block]:
    low, high = study.band_hz
    yield Head(f"{study.title}: network '{study.network}', {study.builds:,} builds within tolerance")
    if study.total_known:
        yield Text(_answer(study))
    else:
        yield Text("The sum is not known there: only the drives and the load are shown.")
    yield sentence(study.shares.sentence)
    if everything:
        yield Text(f"Values {study.distribution.words}; seed {study.seed}. Judged from {hertz(low)} to {hertz(high)}.")
    if study.total_known:
        yield from _sum(study, everything)
        yield Gap()
        yield fact(f"within {study.limit_db:g} dB", _passing(study))
        yield from _pairs(study)
    for name, load in study.load.items():
        several = f" {name}" if len(study.load) > 1 else ""
        q = load.quantile_ohm
        text = f"{ohm(q[0], 2)} to {ohm(q[-1], 2)} ohm in 95 % of builds, {ohm(load.lowest_ohm, 2)} ohm at worst"
        if load.below is not None:
            text += f"; below the amplifier's {load.limit_ohm:g} ohm: {_per_cent(load.below)}"
        yield fact(f"lowest load{several}", text)
    yield from _parts(study, everything)
    if everything or not study.total_known:
        yield from _drives(study)


def _answer(study: ToleranceStudy) -> str:
    """The spread of the builds where it is widest."""
    wide = study.widest_sum
    return (
        f"95 % of builds lie between {db(wide.low_db, 2, True)} and {db(wide.high_db, 2, True)} dB of the "
        f"{study.of_sum} as designed, at {hertz(wide.at_hz)} where they spread most."
    )


def _sum(study: ToleranceStudy, everything: bool) -> Iterator[Block]:
    yield Head(f"The {study.of_sum}, and how far builds lie from it, dB")
    total, corner = study.total, study.corners.total
    header = ["Hz", "nominal", "2.5 %", "16 %", "median", "84 %", "97.5 %"]
    header += [] if corner is None else ["corners", "to"]
    rows = []
    for centre, i in at_octaves(study.frequency_hz):
        row = [f"{centre:g}", db(total.nominal_db[i]), *(db(c[i], 2, True) for c in total.change_db)]
        row += [] if corner is None else [db(corner.lowest_db[i], 2, True), db(corner.highest_db[i], 2, True)]
        rows.append(row)
    yield plain_table(header, rows)
    if not everything:
        return
    if math.isfinite(study.sum_doubt_db):
        yield Text(
            f"So many builds place the 2.5 % and 97.5 % lines to +-{study.sum_doubt_db:.2g} dB or better "
            "(95 % sure, order statistics)."
        )
    if corner is not None:
        farthest = study.widest_corner
        assert farthest is not None
        yield Text(
            f"Worst corners, every part at an end of its tolerance: farthest apart at {hertz(farthest.at_hz)}, "
            f"{db(farthest.low_db, 2, True)} to {db(farthest.high_db, 2, True)} dB. {_excess(study)}"
        )


def _excess(study: ToleranceStudy) -> str:
    corner = study.corners.total
    assert corner is not None
    if corner.excess_db == 0.0:
        return f"None of the {study.builds:,} builds lay outside."
    size = f"{corner.excess_db:.2g}" if corner.excess_db >= 0.001 else "less than 0.001"
    return (
        f"The worst of the {study.builds:,} builds lay {size} dB outside, at {hertz(corner.at_hz)}: an extreme "
        "lies between the ends there."
    )


def _passing(study: ToleranceStudy) -> str:
    passing, wanted = study.passing, study.wanted
    text = f"all through the band: {_per_cent(passing)} of the builds"
    if wanted is None:
        return text
    text += f"; {100 * wanted:g} % is asked for: " + ("reached" if study.reached else "not reached")
    if passing.low < wanted < passing.high:
        text += ", but so few builds cannot tell for certain"
    return text


def _per_cent(share: Share) -> str:
    if math.isnan(share.share):
        return "not known"
    if share.count == 0:
        return f"none (under {100 * share.high:.2g} %, 95 % sure)"
    if share.count == share.of:
        return f"all (over {100 * share.low:.4g} %, 95 % sure)"
    return f"{100 * share.share:.1f} % ({100 * share.low:.1f} to {100 * share.high:.1f} %, 95 % sure)"


def _pairs(study: ToleranceStudy) -> Iterator[Block]:
    yield fact("left against right", f"any two builds: {_pair(study.independent)}")
    yield fact("", f"parts paired to {100 * study.match:g} %: {_pair(study.matched)}")


def _pair(pair: PairDifference) -> str:
    return (
        f"usually {pair.usual_db:.2f} dB apart where it is most, {pair.rarely_over_db:.2f} dB in one pair of 40 "
        f"({audibility(pair.rarely_over_db)})"
    )


def _parts(study: ToleranceStudy, everything: bool) -> Iterator[Block]:
    yield Head("Which part to buy tighter")
    rows = []
    shown = study.shares.parts if everything else study.shares.parts[:MOST_PARTS]
    for ranked in shown:
        own = [s for s in study.spreads if s.part in ranked.name.split(" + ")]
        per_cent = "-" if math.isnan(ranked.share) else f"{100 * ranked.share:.1f}"
        row = [ranked.name, ", ".join(_value(s) for s in own), f"+-{100 * ranked.tolerance:g} %"]
        rows.append([*row, str(own[0].kind), _from(own), per_cent, db(ranked.spread_db, 3)])
    yield plain_table(["part", "value", "tolerance", "kind", "from", "share %", "alone dB"], rows)
    left = study.shares.parts[len(shown) :]
    if left:
        yield Text(f"... and {len(left)} more, smaller.")
    if study.total_known:
        yield Text(
            f"share: of the variance of the {study.of_sum}; {100 * study.shares.rest:.1f} % is of no part by itself. "
            "alone: what the part by itself would leave, dB rms."
        )


def _value(spread: PartSpread) -> str:

    kinds = {
        PartKind.RESISTOR: QuantityKind.RESISTANCE,
        PartKind.LAMP: QuantityKind.RESISTANCE,
        PartKind.AIR_COIL: QuantityKind.INDUCTANCE,
        PartKind.CORED_COIL: QuantityKind.INDUCTANCE,
    }
    return format_quantity(spread.value, kinds.get(spread.kind, QuantityKind.CAPACITANCE))


def _from(spreads: list[PartSpread]) -> str:
    return "assumed" if any(s.evidence is Evidence.ASSUMED for s in spreads) else "card"


def _drives(study: ToleranceStudy) -> Iterator[Block]:
    yield Head(f"Where 95 % of builds lie at the widest: each driver's {explained('drive')}")
    rows = []
    for key in study.drive:
        wide, corner = study.widest_drive(key), study.corners.drive.get(key)
        row = [key, db(wide.low_db, 2, True), db(wide.high_db, 2, True), hertz(wide.at_hz)]
        rows.append([*row, "-" if corner is None else f"{corner.excess_db:.2g}"])
    yield plain_table(["driver", "from dB", "to dB", "at", "beyond corners dB"], rows)
    yield Text(
        "Within 20 dB of the drive's highest. beyond corners: how far the worst build lies outside the worst corners, "
        "anywhere."
    )
