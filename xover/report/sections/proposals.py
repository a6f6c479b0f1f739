"""The ways to change it with their parts or settings, and what to buy."""

from __future__ import annotations

import math
from collections.abc import Iterable

from xover.amplifier.stress import PartRating
from xover.blocks import FAIL, Block, Cell, Head, Listing, Text, table
from xover.electronic.biquad import Band
from xover.figures import db, money, written
from xover.judge.odd import OddDriver
from xover.judge.odd_words import cost_words, differs_words, remedy_words
from xover.network import Network
from xover.network.cards import netlist_text
from xover.network.parts import shown_value, value_of
from xover.parts.stock import Bill
from xover.quantity import hertz
from xover.report.answers import Answers, Build
from xover.rules.triage import Rung
from xover.sentences import sentence
from xover.studies.bears.stress.study import StressStudy
from xover.studies.change.bypass.crossover import ChannelSetting, corners_words
from xover.studies.change.bypass.result import BypassStudy
from xover.studies.change.decide.option import Option
from xover.studies.change.redesign.result import RedesignStudy
from xover.studies.change.refresh.result import RefreshStudy

MOST_PROPOSALS = 3


def proposals(answers: Answers) -> Iterable[Block]:
    """The steps that change something, the recommended one first."""
    d = answers.decision
    order = sorted((n for n in d.options if n is not Rung.LEAVE), key=lambda n: n is not d.recommendation)
    blocks: list[Block] = []
    for name in order:
        option = d.options[name]
        if not option.available:
            continue
        blocks.append(Head(f"{str(name).capitalize()}{' (recommended)' if name is d.recommendation else ''}"))
        blocks += _of(option, answers)
    return blocks


def _of(option: Option, answers: Answers) -> Iterable[Block]:
    if isinstance(option.study, RefreshStudy):
        yield from _refresh(option.study)
    elif isinstance(option.study, RedesignStudy):
        yield from _redesign(option.study, option.name is Rung.REVALUE)
    elif isinstance(option.study, BypassStudy):
        yield from _bypass(option.study)
        yield from answers.bypassed
        yield from answers.gone("bypassed", "the figures of the bypass") + answers.failed("bypassed")
    elif isinstance(option.study, OddDriver):
        yield from _odd(option.study)
    else:
        yield Text(sentence(option.what))


def _odd(odd: OddDriver) -> Iterable[Block]:
    yield Text(differs_words(odd))
    rows = [[remedy_words(odd, r), db(r.left_db), cost_words(r)] for r in odd.remedies]
    yield table(
        "What to do, and what is left between left and right", ["what", "left, dB", "costs"], rows, numbers=(1,)
    )


def _refresh(study: RefreshStudy) -> Iterable[Block]:
    yield Text(sentence(study.headline))
    rows = [
        [e.part, e.design, e.old or "not measured", "stays" if e.stays else e.fitted, db(e.old_effect_db, 2)]
        for e in study.exchanged
    ]
    yield table(
        f"Part by part, to keep the voicing of {study.reference}",
        ["part", "design", "as found", "what to do", "if it stayed, dB"],
        rows,
        numbers=(4,),
    )
    kinds = [("as it is now", study.before), ("refreshed", study.refreshed), ("plain swap", study.naive)]
    told = [
        f"{name} {written('drive moved', d.worst_db, name, unit=True)}"
        + (f" at {hertz(d.at_hz)} on {d.on}" if math.isfinite(d.at_hz) else "")
        for name, d in kinds
        if d is not None
    ]
    low, high = study.band_hz
    yield Text(
        f"Largest change of any driver's level against {study.reference}, {hertz(low)} to {hertz(high)}: "
        f"{'; '.join(told)}. Plain swap: worn parts by the nearest value, all else kept.",
        "quiet",
    )


def _redesign(study: RedesignStudy, same_circuit: bool) -> Iterable[Block]:
    yield Text(sentence(study.headline))
    known = math.isfinite(study.before.deviation_db)
    rows: list[list[str | Cell]] = [[f"{study.present}, now", *study.before.figures(study.present), "-", "-"]]
    for p in study.proposals[:MOST_PROPOSALS]:
        cost = written("cost", p.cost, study.of(p))
        share = "-" if math.isnan(p.yield_share) else f"{100.0 * p.yield_share:.0f} %"
        rows.append([p.name, *p.judged.figures(study.of(p)), cost, share])
    columns = ["proposal", "sum, \u00b1 dB", "null, dB", "lowest, ohm", "EPDR, ohm", "cost", "builds that keep it"]
    caption = "New values for the present circuit" if same_circuit else "Other circuits, and this one with new values"
    yield table(caption, columns, rows, numbers=(1, 2, 3, 4, 5, 6))
    if study.proposals:
        pick = study.proposals[0]
        said = [*pick.better, *(f"worse: {w}" for w in pick.worse)]
        if said:
            yield Text(sentence(f"{pick.name}: {'; '.join(said)}"))
        words = {n: line.what for line in pick.bill.lines for n in line.names}
        if words:
            yield Text("Parts: " + "; ".join(f"{name} {what}" for name, what in words.items()) + ".")
    if not known:
        yield Text("The sum is not known here: slopes and loads were searched for, not a flat response.", "quiet")
    yield Text(f"A short search{' of this circuit' if same_circuit else ''}; 'xover redesign' takes its time.", "quiet")


def _bypass(study: BypassStudy) -> Iterable[Block]:
    yield Text(sentence(study.verdict))
    rows: list[list[str | Cell]] = [
        [
            name,
            written("lowest load", c.load.reading.minimum_ohm, f"bare {name}"),
            *_set(ChannelSetting(c.twin.gain_db, c.twin.delay_s, c.twin.polarity)),
            _bands(c.twin.bands),
            f"{db(c.twin.worst_db, 2)} dB, {c.twin.worst_deg:.1f} deg" if c.twin.known else "-",
        ]
        for name, c in study.channels.items()
    ]
    yield table(
        f"The electronic twin of network {study.network}: dial this in to keep the voicing",
        ["channel", "lowest load, ohm", "gain, dB", "delay", "polarity", "bands", "off by"],
        rows,
        numbers=(1, 2, 3),
    )
    best = study.better or study.reached
    if best is not None:
        slope = f"{study.crossover.slope.name} at {corners_words(study.crossover.corners_hz)}"
        settings: list[list[str | Cell]] = [
            [name, *_set(s), _bands(s.bands) or "none"] for name, s in best.settings.items()
        ]
        yield table(
            f"Or {slope}, set for the flattest sum ({written('sum rms', best.band.rms_deviation_db)} dB rms)",
            ["channel", "gain, dB", "delay", "polarity", "bands"],
            settings,
            numbers=(1, 2),
        )
    for name, c in study.channels.items():
        if c.capacitor is not None:
            e = c.capacitor
            bends = f"{db(e.chosen.at_corner_db, 1, signed=True)} dB and {e.chosen.at_corner_deg:+.0f} deg"
            volts = "" if e.usual_volts is None else f", {e.usual_volts:g} V"
            yield Text(
                f"Protection capacitor in series with the {name}: {e.chosen.farad * 1e6:.3g} uF film{volts}; it "
                f"changes the channel by {bends} at the corner, with its correction by {db(e.left_db, 2)} dB at most."
            )


def _set(s: ChannelSetting) -> list[str | Cell]:
    delay = "not known" if math.isnan(s.delay_s) else f"{s.delay_s * 1e6:.0f} us"
    return [db(s.gain_db, signed=True), delay, "normal" if s.polarity > 0 else "reversed"]


def _bands(bands: Iterable[Band]) -> str:
    return "; ".join(_band(b) for b in bands)


def _band(b: Band) -> str:
    words = f"{b.kind.words} {hertz(b.frequency_hz)}"
    if b.kind.has_gain:
        words += f" {b.gain_db:+.1f} dB"
    return words if b.q is None else f"{words} Q {b.q:.2f}"


def bill(answers: Answers) -> Iterable[Block]:
    """The bill of materials, the ratings, and the netlist of what is built."""
    build = answers.build
    stress = answers.study("stress", StressStudy)
    blocks: list[Block] = []
    if not build.new or (build.bill is not None and not build.bill.lines):
        blocks.append(Text(f"Nothing is to be bought{_instead(answers)}."))
    elif build.bill is not None:
        blocks.append(_to_buy(build.bill, stress))
        blocks += _cost(build.bill)
    else:
        blocks.append(_by_hand(build, answers.present_network, stress))
    blocks += answers.gone("stress", "which ratings the parts need")
    if stress is not None:
        blocks.append(
            Text(
                f"Needed: {stress.full.sentence}; twice the watts of the programme, 1.3 times the volts of a full sine "
                "(common practice, no published source). Where no amplifier is named in speaker.toml, none is told.",
                "quiet",
            )
        )
        blocks += [Text(words) for words in stress.limits_broken]
    blocks += answers.pictures("stress")
    blocks.append(Listing(f"Netlist of '{build.name}'", netlist_text(build.network), f"{_file_name(build.name)}.cir"))
    return blocks


def _instead(answers: Answers) -> str:
    """What is to be found or bought in place of parts, as the end of a sentence; empty where that is nothing."""
    chosen = None if answers.decided_on is None else answers.decided_on.chosen
    if answers.build.new or answers.request.networks or chosen is None or chosen.name is Rung.LEAVE:
        return ""
    if chosen.name is Rung.BYPASS:
        return " for the network; a bypass needs channels, an electronic crossover and what Proposals names"
    return f" for the network: {chosen.what}"


def _file_name(name: str) -> str:
    kept = "".join(c if c.isascii() and (c.isalnum() or c in "-_") else "-" for c in name)
    return kept[:40] or "network"


def _to_buy(bill: Bill, stress: StressStudy | None) -> Block:
    rows: list[list[str | Cell]] = []
    for line in bill.lines:
        short = line.at_hand is not None and line.at_hand < line.quantity_for_pair
        pair = Cell(f"{line.quantity_for_pair}, at hand {line.at_hand}", FAIL) if short else str(line.quantity_for_pair)
        needs = [needed(stress.ratings.get(n)) for n in line.names] if stress is not None else []
        code = f" ({line.maker_code})" if line.maker_code else ""
        told = list(dict.fromkeys(n for n in needs if n))
        part = [", ".join(line.names), f"{line.what}{code}", "; ".join(told) or "-"]
        rows.append([*part, str(line.quantity), pair, money(line.price)])
    return table("To buy", ["as", "part", "rating needed", "for one", "for the pair", "each"], rows, numbers=(3, 4, 5))


def _cost(bill: Bill) -> list[Block]:
    if bill.cost is None or bill.cost_for_pair is None:
        return [Text("No prices are known: give a price list with --stock.", "quiet")] if bill.lines else []
    more = f", {bill.without_price} parts without a price" if bill.without_price else ""
    one, pair = written("cost", bill.cost), written("cost of a pair", bill.cost_for_pair)
    return [Text(f"Cost: {one} for one speaker, {pair} for a pair alike{more}.")]


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
