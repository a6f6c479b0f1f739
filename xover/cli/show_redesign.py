"""A redesign on 80 columns: the proposals beside the present network, then each one's parts."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import typer

from xover.cli.show import db, hertz, ohm, show_heading, show_item, show_table, show_text
from xover.quantity import Kind, format_quantity, ohms

if TYPE_CHECKING:
    from xover.network import Network, Part
    from xover.studies.change.redesign.replacement import ReplacementStudy
    from xover.studies.change.redesign.result import Judged, Proposal, RedesignStudy
    from xover.studies.change.redesign.suitability import SwapFinding

_NAME = 9


def show_redesign(
    study: RedesignStudy, present: Network, number: int, replacement: ReplacementStudy | None = None
) -> None:
    """Show all of it.

    Parameters
    ----------
    present : the network that is there. number : of the proposal that is picked, from 1; its netlist is shown.
    """
    show_heading(f"{study.title}: redesign of '{study.present}'")
    if replacement is not None:
        _show_replacement(replacement, study.present)
    show_text(_sentence(study.headline))
    if study.stopped:
        show_text("Stopped before the end: these are the best found until then.")
    _show_wish(study)
    _show_table(study, number)
    for k, proposal in enumerate(study.proposals, 1):
        _show_proposal(k, proposal, study, present)
    if number <= len(study.proposals):
        picked = study.proposals[number - 1]
        show_heading(f"Netlist of {number} {picked.name}")
        for line in picked.netlist.splitlines():
            typer.echo(f"  {line}")


def _show_wish(study: RedesignStudy) -> None:
    wish = study.wish
    target = f"the sum of '{wish.voicing}'" if wish.voicing is not None else "flat"
    if wish.tilt_db_per_octave:
        tilt = f"{wish.tilt_db_per_octave:+g} dB per octave"
        target = f"{target}, tilted {tilt}" if wish.voicing is not None else tilt
    slopes = "slopes free" if wish.slope is None else f"slopes {wish.slope}"
    if wish.crossover_hz is not None and wish.slope is not None:
        slopes += " at " + " and ".join(hertz(f) for f in wish.crossover_hz)
    show_item("target", f"{target}, {hertz(wish.band_hz[0])} to {hertz(wish.band_hz[1])}; {slopes}", _NAME)
    if wish.minimum_load_ohm is not None:
        show_item("load", f"{ohms(wish.minimum_load_ohm)} or more", _NAME)
    show_item("tried", ", ".join(study.tried), _NAME)
    show_item("parts", study.source, _NAME)


def _show_table(study: RedesignStudy, number: int) -> None:
    show_heading("Side by side")
    known = math.isfinite(study.before.deviation_db)
    sound = ["+-dB", "rms", "null", "level"] if known else ["distance"]
    header = ["", *sound, "ohm", "EPDR", "parts", "cost", "yield"]
    rows = [[f"  {_short(study.present)}, now", *_figures(study.before, known), "", "", ""]]
    for k, p in enumerate(study.proposals, 1):
        share = "-" if math.isnan(p.yield_share) else f"{100 * p.yield_share:.0f} %"
        cost = "-" if p.cost is None else f"{p.cost:.2f}"
        mark = "*" if k == number else " "
        rows.append([f"{mark}{k} {_short(p.name)}", *_figures(p.judged, known), str(p.parts), cost, share])
    wide = max(len(row[0]) for row in rows)
    show_table(header, [[row[0].ljust(wide), *row[1:]] for row in rows])
    said = "+-dB, rms: of the sum about its target, level fitted. null: depth of the reversed one."
    if not known:
        said = "distance: from the slopes and limits asked for, in weighted dB squared, less is better."
    said += " ohm, EPDR: lowest."
    if math.isfinite(study.yield_limit_db):
        said += f" yield: builds within tolerance that stay within +-{study.yield_limit_db:.1f} dB."
    if number <= len(study.proposals):
        said += " *: picked."
    show_text(said)
    wish = study.wish
    dear = [p for p in study.proposals if wish.most_cost is not None and not (p.cost or 0.0) <= wish.most_cost]
    large = [p for p in study.proposals if wish.most_parts is not None and p.parts > wish.most_parts]
    for bound, over in ((f"--most-cost {wish.most_cost or 0.0:.2f}", dear), (f"--most-parts {wish.most_parts}", large)):
        if over:
            every = len(over) == len(study.proposals)
            names = "every proposal" if every else " and ".join(f"'{p.name}'" for p in over)
            show_text(f"Over {bound}: {names}.")


def _figures(judged: Judged, known: bool) -> list[str]:
    sound = [db(judged.deviation_db), db(judged.rms_db, 2), db(judged.null_depth_db, 0), db(judged.level_db)]
    return [*(sound if known else [db(judged.score, 2)]), ohm(judged.lowest_ohm, 2), ohm(judged.lowest_epdr_ohm, 2)]


def _show_proposal(number: int, proposal: Proposal, study: RedesignStudy, present: Network) -> None:
    from xover.studies.change.redesign.topologies import PRESENT

    own = proposal.circuit == PRESENT
    where = "as it is wired now" if own else f"circuit '{proposal.circuit}'"
    show_heading(f"{number} {proposal.name}: {where}")
    for word, said in (("better", proposal.better), ("worse", proposal.worse)):
        if said:
            show_item(word, "; ".join(said), _NAME)
    if not proposal.better and not proposal.worse:
        nearer = proposal.judged.score < study.before.score
        what = "no figure of the table moves far, all in all it is"
        show_item("", f"{what} {'nearer to' if nearer else 'farther from'} the target", _NAME)
    if proposal.crossover_hz and study.wish.slope is not None:
        corners = " and ".join(hertz(f) for f in proposal.crossover_hz)
        show_item("slopes", f"{study.wish.slope} at {corners}", _NAME)
    _show_polarity(proposal, own)
    _show_parts(proposal, present if own else None)


def _show_polarity(proposal: Proposal, own: bool) -> None:
    if own and proposal.reversed:
        show_item("polarity", f"turn over {' and '.join(proposal.reversed)}, against today", _NAME)
    elif not own:
        turned = [d.key for d in proposal.network.drivers if d.plus == "0"]
        if turned:
            show_item("polarity", f"{' and '.join(turned)} reversed (plus to the amplifier's minus)", _NAME)


def _show_parts(proposal: Proposal, present: Network | None) -> None:
    """What is bought, old -> new, and what stays."""
    from xover.studies.change.redesign.replacement import bought

    words = {name: line.what for line in proposal.bill.lines for name in line.names}
    new = bought(proposal)
    for name in new:
        old = "" if present is None else f"{_value(present.part(name))} -> "
        show_item(name, f"{old}{words[name]}", _NAME)
    rest = ", ".join(f"{p.name} {_value(p)}" for p in proposal.network.parts if p.name not in words)
    if rest:
        # Nothing of another circuit is there yet: what the list cannot give is to be had besides.
        show_item("stay" if present is not None else "besides", rest + ("" if present else " (not in the cost)"), _NAME)


def _value(part: Part) -> str:
    from xover.network import value_of

    kind = {"R": Kind.RESISTANCE, "L": Kind.INDUCTANCE, "C": Kind.CAPACITANCE}[part.name[0].upper()]
    return format_quantity(value_of(part), kind)


def _show_replacement(study: ReplacementStudy, present: str) -> None:
    for name, source in zip(study.drivers, study.sources, strict=True):
        show_item(f"new {name}", source, _NAME)
    show_text(_sentence(study.verdict))
    typer.echo()
    header = [f"'{_short(present)}' as it is", "sum +-dB", "lowest ohm"]
    rows = [
        ["with the old driver", db(study.deviation_before_db), ohm(study.lowest_before_ohm, 2)],
        ["with the new one", db(study.deviation_after_db), ohm(study.lowest_after_ohm, 2)],
    ]
    wide = max(len(cell) for cell in (header[0], *(row[0] for row in rows)))
    show_table([header[0].ljust(wide), *header[1:]], [[row[0].ljust(wide), *row[1:]] for row in rows])
    show_heading("Does it suit?")
    for finding in study.findings:
        show_item(finding.fit, _finding(finding, len(study.drivers) > 1), _NAME)
    show_heading("Redesign for it")


def _finding(finding: SwapFinding, several: bool) -> str:
    of = f"{finding.driver}, " if several else ""
    return f"{of}{finding.what}: {finding.text}"


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


def _short(name: str) -> str:
    return name if len(name) <= 16 else f"{name[:15]}~"
