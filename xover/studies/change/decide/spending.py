"""What building a network takes, as criteria: money, parts and amplifier channels."""

from __future__ import annotations

import math

from xover.figures import written
from xover.parts.catalogue import Catalogue
from xover.parts.stock import Bill
from xover.speaker import Speaker
from xover.studies.change.decide import criteria as judge
from xover.studies.change.decide.criteria import Criterion
from xover.studies.change.decide.option import DecisionCase


def cost_of(bill: Bill, case: DecisionCase) -> Criterion:
    """What one speaker costs, against what it may."""
    note = "" if bill.cost_for_pair is None else f"for a pair {written('cost of a pair', bill.cost_for_pair)}"
    if bill.cost is None:
        note = f"{case.catalogue.source}: no prices"
    elif bill.without_price:
        note += f"; {bill.without_price} parts have no price"
    if case.most_cost is None and bill.cost:
        note += "; no limit was given"
    money = math.nan if bill.cost is None else bill.cost
    return judge.cost(money, case.most_cost, note)


def parts_of(bill: Bill, catalogue: Catalogue, note: str) -> Criterion:
    """What is to be bought, and whether the list has enough of it for a pair."""
    count = sum(line.quantity for line in bill.lines)
    short = [line.what for line in bill.lines if line.at_hand is not None and line.at_hand < line.quantity_for_pair]
    listed = catalogue.stock is not None and not short
    notes = [note] if note else []
    if short:
        notes.append(f"too few for a pair: {', '.join(short)}")
    if catalogue.stock is None:
        notes.append("no stock list: whether they are on sale is not known")
    return judge.to_buy(count, listed, "; ".join(notes))


def channels_of(speaker: Speaker, needed: int) -> Criterion:
    """Channels of a network: one is what everybody has."""
    if needed == 1:
        return judge.channels(1, 1, "the amplifier that drives it now")
    bypass = speaker.file.speaker.bypass
    given = len(bypass.channels) if bypass is not None and bypass.channels else None
    return judge.channels(needed, given, "the network has several channels already")
