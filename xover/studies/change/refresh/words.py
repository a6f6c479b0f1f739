"""A refresh in sentences: what to do with each part, the verdict, and the cautions."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from xover.blocks import Block, Head, Listing, Text, fact, plain_table, sentence
from xover.figures import db, hertz, money, written
from xover.files.stock import QUANTITIES, ItemKind, StockItem
from xover.network import Network, Part
from xover.parts.kinds import FACTS, PartKind, kind_of
from xover.quantity import format_quantity
from xover.rules.audibility import BUILT_DB, MATCHED_DB, REPEATS_DB, UNHEARD_DB, audibility
from xover.rules.bands import CHANGES_HZ
from xover.rules.likeness import MATCH
from xover.sentences import and_words
from xover.studies.change.refresh.choice import Choice
from xover.studies.change.refresh.places import Effect, State, same_part
from xover.studies.change.refresh.result import Mate, RefreshStudy, Step

_NO_CHANGE_DB: Final = 0.005
"""What rounds to nothing."""


def place_words(part: Part, choice: Choice, effect: Effect, state: State, measured: bool) -> tuple[str, bool]:
    """What is done at one place and why, and whether the words name the part."""
    stays = choice.keeps
    if math.isnan(effect.db):
        if stays:
            return f"{part.name} stays: {'its effect is not known' if measured else 'not measured'}", True
        why = "what the old part does is not known" if measured else "the old part was not measured"
        return f"{choice.words}; {why}", False
    where = f"{effect.db:.2f} dB on {effect.on} at {hertz(effect.at_hz)}" if effect.db >= _NO_CHANGE_DB else "no change"
    if stays and state is State.AGEING:
        return f"leave {part.name}: it still measures well ({where}); its kind goes on ageing", True
    if stays:
        return f"leave {part.name}: {where}", True
    if effect.db <= MATCHED_DB:
        ages = ", but its kind goes on ageing" if FACTS[kind_of(part)].wears_out else ""
        return f"{choice.words}; the old part could stay by what it does today ({where}){ages}", False
    return f"{choice.words}; the old part does {where} ({audibility(effect.db)})", False


def headline(study: RefreshStudy) -> str:
    """The answer in one or two sentences."""
    fitted, pick = study.refreshed, study.picked
    worst = written("drive moved", fitted.worst_db, "refreshed")
    every = study.every_drive
    if not study.bill.lines:
        if study.rewired and study.held:
            return (
                f"no part has to be bought, but the board is wired otherwise than '{study.reference}': put back as "
                f"there, with its old parts, {every} lies within {worst} dB of it ({audibility(fitted.worst_db)})"
            )
        if study.held:
            return (
                f"leave it: as it is, {every} lies within {worst} dB of '{study.reference}' "
                f"({audibility(fitted.worst_db)})"
            )
        return f"nothing can be bought that brings it nearer: the drives lie up to {worst} dB off '{study.reference}'"
    places = [e.part for e in study.exchanged if not e.stays]
    cost = "" if study.bill.cost is None else f" for {written('cost', study.bill.cost, 'refreshed')}"
    text = (
        f"buy {pick.parts} part{'s' if pick.parts > 1 else ''}{cost}, in place of {', '.join(places)}: "
        f"{every} then lies within {worst} dB of '{study.reference}' ({audibility(fitted.worst_db)})"
    )
    if not study.held:
        text += f"; {study.tolerance_db:g} dB was wanted, this is the nearest that these parts can give"
    if study.rewired:
        text += f". The board is wired otherwise than '{study.reference}': put that right first"
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
    if study.thin:
        said.append(
            f"the drive of {and_words(study.thin)} is known in less than half of {hertz(CHANGES_HZ[0])} to "
            f"{hertz(CHANGES_HZ[1])}: what the parts do there is not seen; sweep the impedance over all of it first"
        )
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


def tell(study: RefreshStudy, *, everything: bool = False) -> Iterator[Block]:
    """The refresh as a person reads it: what to do, part by part, how much each more part buys, and the bill."""
    found = f"'{study.found}'" if study.found else "nothing measured"
    yield Head(f"{study.title}: refresh of {found} to '{study.reference}'")
    yield sentence(study.headline)
    if study.bill.lines:
        yield Text(built_words(study.picked))
    if study.mate is not None:
        yield Text(mate_words(study.mate))
    yield Head("Part by part")
    as_new = [e for e in study.exchanged if e.stays and e.old_effect_db < _NO_CHANGE_DB]
    unknown = [e for e in study.exchanged if e.stays and study.found is None]
    for part in study.exchanged:
        if part not in as_new and part not in unknown:
            yield fact(f"{part.part} {part.design}", part.told, 16)
    for parts, why in (
        (as_new, "no change in what is known" if study.thin else "measured as new"),
        (unknown, "not measured"),
    ):
        if parts:
            yield Text(f"{', '.join(e.part for e in parts)} {'stay' if len(parts) > 1 else 'stays'}: {why}.")
    if study.bill.lines or len(study.frontier) > 1:
        yield Head(f"Largest change of a drive, {hertz(study.band_hz[0])} to {hertz(study.band_hz[1])}")
        columns = ["bought parts", "as marked, dB", "picked, dB", "as bought, dB", "cost"]
        yield plain_table(columns, _rows(study))
        yield Text(BUILT_WORDS + ("" if study.asked else _RULE) + (" Of the pair, the worse." if study.mate else ""))
    yield from _to_buy(study)
    if everything:
        yield from _more(study)


BUILT_WORDS: Final = (
    "A drive is the voltage at a driver. As marked: parts exactly of their values. Picked, as bought: half of all "
    "builds keep to it, with new parts within 1 %, or as they come. Plain swap: worn parts by the nearest value, the "
    "rest kept."
)
_RULE: Final = (
    f" Chosen (<): the fewest parts that, picked, keep within {BUILT_DB:g} dB where few do that, else within "
    f"{UNHEARD_DB:g} dB."
)


def built_words(step: Step) -> str:
    """What the new parts' tolerances leave of it, and what to do about that."""
    if step.built_db - step.matched_db < REPEATS_DB:
        return f"With parts as they come, half of all builds keep within {db(step.built_db, 2)} dB."
    return (
        f"Measure the new parts and use those within {100 * MATCH:g} % of their value: half of all builds then keep "
        f"within {db(step.matched_db, 2)} dB; with parts as they come, within {db(step.built_db, 2)} dB."
    )


def mate_words(mate: Mate) -> str:
    """What the other speaker gets."""
    worst = written("drive moved", mate.refreshed.worst_db, mate.title)
    now = (
        "" if mate.before is None else f" (now {written('drive moved', mate.before.worst_db, f'{mate.title} now')} dB)"
    )
    text = f"{mate.title}: the same parts in the same places bring it within {worst} dB{now}. "
    if mate.pairs:
        text += "One of each two to either side: " + "; ".join(_pair_words(*pair) for pair in mate.pairs) + ". "
    else:
        text += "Put the two new parts that read most alike into the same place left and right. "
    return text + "To write its netlist, ask in its own folder with this one as the mate."


def _pair_words(name: str, pieces: tuple[StockItem, StockItem]) -> str:
    return f"{name} {' and '.join(format_quantity(i.value, QUANTITIES[i.kind], 4) for i in pieces)}"


def _rows(study: RefreshStudy) -> list[list[str]]:
    rows = []
    if study.before is not None and (study.frontier[0].parts > 0 or study.rewired):
        rows.append(["as it is now", written("drive moved", study.before.worst_db, "as it is now"), "-", "-", "-"])
    for at, step in enumerate(study.frontier):
        name = str(step.parts) if step.parts or study.rewired else "0, as it is now"
        mark = " <" if at == study.pick else ""
        of = "refreshed" if at == study.pick and study.mate is None else f"{step.parts} parts"
        figures = [written("drive moved", step.nominal_db, of), db(step.matched_db, 2), db(step.built_db, 2)]
        rows.append([name + mark, *figures, money(step.cost)])
    plain = written("drive moved", study.naive.worst_db, "plain swap")
    count = sum(line.quantity for line in study.naive_bill.lines)
    rows.append([f"plain swap: {count}", plain, "-", "-", money(study.naive_bill.cost)])
    return rows


def _to_buy(study: RefreshStudy) -> Iterator[Block]:
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


def _more(study: RefreshStudy) -> Iterator[Block]:
    yield Head("What each step fits")
    for step in study.frontier:
        yield fact(str(step.parts), step.words, 4)
    yield fact("parts from", study.source)
    yield Listing("Netlist", study.netlist)
    if study.mate is not None:
        yield Listing(f"Netlist of {study.mate.title}", study.mate.netlist)
