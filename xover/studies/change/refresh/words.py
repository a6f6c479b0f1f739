"""A refresh in sentences: what to do with each part, the verdict, and the cautions."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from xover.blocks import Block, Facts, Head, Listing, Text, fact, plain_table
from xover.declare import figures_of
from xover.figures import db, hertz, money, written
from xover.files.stock import ItemKind
from xover.network import Network, Part
from xover.parts.kinds import FACTS, PartKind, kind_of
from xover.parts.stock import Bill
from xover.rules.audibility import MATCHED_DB, audibility
from xover.studies.change.refresh.choice import Choice
from xover.studies.change.refresh.places import same_part
from xover.studies.change.refresh.result import Difference, RefreshStudy


def place_words(part: Part, choice: Choice, effect: float, at_hz: float, on: str, measured: bool) -> tuple[str, bool]:
    """What is done at one place and why, and whether the words name the part."""
    stays = choice.keeps
    if math.isnan(effect):
        why = "its effect is not known" if measured else "not measured"
        return (f"{part.name} stays: {why}", True) if stays else (f"{choice.words}; the old part was {why}", False)
    where = f"{effect:.2f} dB on {on} at {hertz(at_hz)}" if effect >= 0.005 else "no change of any drive"
    if stays:
        more = f"; {choice.beside_old}" if choice.items else ""
        return f"leave {part.name}: by itself {where} ({audibility(effect)}){more}", True
    if effect <= MATCHED_DB:
        ages = ", but its kind goes on ageing" if FACTS[kind_of(part)].wears_out else ""
        return f"{choice.words}; the old part could stay by what it does today ({where}){ages}", False
    return f"{choice.words}; the old part does {where} ({audibility(effect)})", False


def headline(study: RefreshStudy) -> str:
    fitted = study.refreshed
    bought = [e for e in study.exchanged if not e.stays]
    if not bought:
        return (
            f"leave it: as it is, every drive lies within {written('drive moved', fitted.worst_db, 'refreshed')} "
            f"dB of '{study.reference}' "
            f"({audibility(fitted.worst_db)})"
        )
    kept = len(study.exchanged) - len(bought)
    text = (
        f"{len(bought)} of {len(study.exchanged)} parts replaced, {kept} stay: every drive within "
        f"{written('drive moved', fitted.worst_db, 'refreshed')} dB of '{study.reference}' from "
        f"{hertz(study.band_hz[0])} to {hertz(study.band_hz[1])}"
    )
    if not study.held:
        text += f"; {study.tolerance_db:g} dB was asked, this is the nearest that these parts can give"
    if study.before is not None and study.before.worst_db <= MATCHED_DB:
        text += (
            f". As it is, it is {written('drive moved', study.before.worst_db, 'as it is now')} dB off "
            f"({audibility(study.before.worst_db)}): "
        )
        text += "to leave it is a good answer too"
    return text


OIL: Final = (
    "paper and oil-filled capacitors from before 1980 may hold PCBs: gloves, do not open them, and take them to the "
    "hazardous-waste service that your local code names"
)
BARE_TWEETER: Final = (
    "never try the tweeter without its capacitor, not even to see whether it lives; switch off before soldering"
)


def refresh_warnings(study: RefreshStudy, design: Network, today: Network | None) -> list[str]:
    said: list[str] = []
    if today is None:
        said.append(
            "no network 'found': no old part was measured. What wears out is replaced, the rest is taken as marked"
        )
    else:
        extra = [p.name for p in today.parts if all(p.name.lower() != q.name.lower() for q in design.parts)]
        lost = [p.name for p in design.parts if same_part(today, p) is None]
        if extra or lost:
            said.append(
                f"'{study.found}' and '{study.reference}' differ in their parts ({', '.join(extra + lost)}): "
                "the refresh builds the reference"
            )
    if any(e.kind is PartKind.PAPER and not e.stays for e in study.exchanged):
        said.append(OIL)
    if any(e.part[:1].upper() == "C" and not e.stays for e in study.exchanged):
        said.append(BARE_TWEETER)
    lines = study.bill.lines
    for kind, rating in ((ItemKind.CAPACITOR, "voltage"), (ItemKind.RESISTOR, "power")):
        silent = [n for line in lines if line.kind is kind and line.rating is None for n in line.names]
        if silent:
            said.append(f"{', '.join(silent)}: no {rating} rating is stated; 'xover stress' shows what they must stand")
    for change in study.damping:
        if change.worth_saying:
            said.append(change.sentence)
    return said


def tell(study: RefreshStudy) -> Iterator[Block]:
    """The refresh as a person reads it."""
    found = f"'{study.found}'" if study.found else "nothing measured"
    yield Head(f"{study.title}: refresh of {found} to '{study.reference}'")
    yield Text(study.headline + ".")
    yield fact("parts from", study.source)
    yield Facts(tuple(figures_of(study)))
    yield Head("Part by part")
    for part in study.exchanged:
        yield fact(f"{part.part} {part.design}", part.told, 16)
    yield Head(f"Against '{study.reference}', {hertz(study.band_hz[0])} to {hertz(study.band_hz[1])}")
    yield plain_table(["", "drive dB", "at", "on", "its drive dB", "sum dB", "cost"], _rows(study))
    yield Text(
        "drive dB: largest change of any driver's level, and how far down that driver is there. naive swap: every part "
        "by the nearest value, the cheapest coil, nothing made up for."
    )
    if study.simple is not None:
        yield fact("series only", "; ".join(f"{name}: {words}" for name, words in study.simple.fitted.items()))
    yield Head("To buy")
    if not study.bill.lines:
        yield Text("Nothing.")
        return
    yield plain_table(
        ["one", "pair", "part", "as", "each"],
        [
            [str(i.quantity), str(i.quantity_for_pair), i.what, ", ".join(i.names), money(i.price)]
            for i in study.bill.lines
        ],
    )
    if study.bill.cost is not None and study.bill.cost_for_pair is not None:
        more = f", {study.bill.without_price} without a price" if study.bill.without_price else ""
        yield fact(
            "cost",
            f"{written('cost', study.bill.cost, 'refreshed')}, for a pair alike "
            f"{written('cost of a pair', study.bill.cost_for_pair, 'refreshed')}{more}",
        )
    yield Listing("Netlist", study.netlist)


def _rows(study: RefreshStudy) -> list[list[str]]:
    rows = [] if study.before is None else [_row("as it is now", study.before, None)]
    rows.append(_row("refreshed", study.refreshed, study.bill))
    if study.simple is not None:
        rows.append(_row("series resistors only", study.simple.difference, study.simple.bill))
    return [*rows, _row("naive swap", study.naive, study.naive_bill)]


def _row(name: str, moved: Difference, bill: Bill | None) -> list[str]:
    drive = [written("drive moved", moved.worst_db, name), hertz(moved.at_hz), moved.on, db(moved.level_there_db, 0)]
    return [name, *drive, db(moved.worst_sum_db, 2), written("cost", bill.cost if bill is not None else None, name)]
