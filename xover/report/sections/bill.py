"""What to buy for one speaker and for the pair, with the ratings that the amplifier asks for."""

from __future__ import annotations

import math

from xover.amplifier.stress import PartRating
from xover.blocks import FAIL, Block, Cell, Listing, Section, Text, table
from xover.figures import written
from xover.network import Network
from xover.network.cards import netlist_text
from xover.network.parts import shown_value, value_of
from xover.parts.stock import Bill
from xover.report.answers import Answers, Build
from xover.report.sections.common import gone, pictures
from xover.studies.bears.stress.study import StressStudy
from xover.studies.change.decide.option import Name


def section(answers: Answers) -> Section:
    """The bill of materials, the ratings, and the netlist of what is built."""
    build = answers.build
    stress = answers.study("stress", StressStudy)
    blocks: list[Block] = []
    if not build.new:
        blocks.append(Text("Nothing is to be bought."))
        if answers.decision.recommendation is Name.BYPASS:
            blocks.append(Text("Amplifier channels, an electronic crossover and what Proposals names for a bypass."))
    elif build.bill is not None:
        blocks.append(_bill(build.bill, stress))
        blocks += _cost(build.bill)
    else:
        blocks.append(_by_hand(build, answers.present_network, stress))
    blocks += gone(answers, "stress", "which ratings the parts need")
    if stress is not None:
        blocks.append(
            Text(
                f"Needed: {stress.full.sentence}; twice the watts of the programme, 1.3 times the volts of a full sine "
                "(common practice, no published source). Where no amplifier is named in speaker.toml, none is told.",
                "quiet",
            )
        )
        blocks += [Text(words) for words in stress.limits_broken]
    blocks += pictures(answers, "stress")
    blocks.append(Listing(f"Netlist of '{build.name}'", netlist_text(build.network), f"{_file_name(build.name)}.cir"))
    return Section("bill", "Bill of materials", tuple(blocks))


def _file_name(name: str) -> str:
    kept = "".join(c if c.isascii() and (c.isalnum() or c in "-_") else "-" for c in name)
    return kept[:40] or "network"


def _bill(bill: Bill, stress: StressStudy | None) -> Block:
    rows: list[list[str | Cell]] = []
    for line in bill.lines:
        short = line.at_hand is not None and line.at_hand < line.quantity_for_pair
        pair = Cell(f"{line.quantity_for_pair}, at hand {line.at_hand}", FAIL) if short else str(line.quantity_for_pair)
        needs = [needed(stress.ratings.get(n)) for n in line.names] if stress is not None else []
        price = "-" if line.price is None else f"{line.price:.2f}"
        code = f" ({line.maker_code})" if line.maker_code else ""
        told = list(dict.fromkeys(n for n in needs if n))
        rows.append(
            [", ".join(line.names), f"{line.what}{code}", "; ".join(told) or "-", str(line.quantity), pair, price]
        )
    return table("To buy", ["as", "part", "rating needed", "for one", "for the pair", "each"], rows, numbers=(3, 4, 5))


def _cost(bill: Bill) -> list[Block]:
    if bill.cost is None or bill.cost_for_pair is None:
        return [Text("No prices are known: give a price list with --stock.", "quiet")] if bill.lines else []
    more = f", {bill.without_price} parts without a price" if bill.without_price else ""
    return [
        Text(
            f"Cost: {written('cost', bill.cost)} for one speaker, {written('cost of a pair', bill.cost_for_pair)} "
            f"for a pair alike{more}."
        )
    ]


def _by_hand(build: Build, present: Network, stress: StressStudy | None) -> Block:
    """The parts of a network that the user named: what differs from what is there is bought."""
    there = {p.name: p for p in present.parts}
    rows: list[list[str | Cell]] = []
    for part in build.network.parts:
        old = there.get(part.name)
        same = old is not None and type(old) is type(part) and math.isclose(value_of(old), value_of(part), rel_tol=1e-6)
        need = needed(stress.ratings.get(part.name)) if stress is not None else ""
        rows.append([part.name, shown_value(part), "is there" if same else "new", need or "-"])
    return table(f"Parts of '{build.name}'", ["as", "part", "from", "rating needed"], rows)


def needed(rating: PartRating | None) -> str:
    """The rating that a part needs, the usual one on sale."""
    if rating is None or math.isnan(rating.needed):
        return ""
    unit = {"power_w": "W", "voltage_v": "V", "current_a": "A peak"}.get(rating.quantity, "")
    if rating.usual is not None:
        return f"{rating.usual:g} {unit}"
    return f"over {rating.needed:.3g} {unit}" if rating.quantity != "current_a" else f"{rating.needed:.2g} {unit}"
