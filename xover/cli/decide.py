"""xover decide: leave, refresh, redesign or bypass, side by side."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from xover.cli.complete import network_names, one_of
from xover.cli.options import Force, Json, NetworkName, Plot, SpeakerPath, Strict
from xover.cli.plot import write_plot
from xover.cli.progress import ProgressBar
from xover.cli.show import hertz, show_heading, show_item, show_json, show_table, show_text, show_warnings
from xover.errors import OptionError

if TYPE_CHECKING:
    from xover.studies.change.decide.criteria import Aspect, Criterion
    from xover.studies.change.decide.option import Option
    from xover.studies.change.decide.study import Decision

_LABEL = 12


def decide(
    speaker: SpeakerPath,
    network: NetworkName = None,
    reference: Annotated[
        str | None,
        typer.Option(
            "--reference",
            metavar="NAME",
            help="Network of the design [default: original].",
            autocompletion=network_names,
        ),
    ] = None,
    stock: Annotated[
        Path | None,
        typer.Option("--stock", metavar="FILE", help="Price list or parts bin (CSV), the only source then."),
    ] = None,
    skip: Annotated[
        list[str] | None,
        typer.Option(
            "--skip",
            metavar="OPTION",
            help="Leave out redesign, or another; may be repeated.",
            autocompletion=one_of("leave", "refresh", "redesign", "bypass"),
        ),
    ] = None,
    most_cost: Annotated[
        float | None, typer.Option("--most-cost", metavar="MONEY", help="What one speaker's parts may cost.")
    ] = None,
    seed: Annotated[int, typer.Option("--seed", metavar="N", help="The same seed gives the same answer.")] = 1,
    plot: Plot = None,
    force: Force = False,
    strict: Strict = False,
    as_json: Json = False,
) -> int:
    """Leave, refresh, redesign or bypass, side by side.

    Every criterion is shown with its figure and its limit; the rule that recommends is told, and what would change it.
    With --strict the exit status is 1 if the recommended option has a criterion that is marginal or fails.

    Example: xover decide examples/attic-two-way/left --stock examples/stock.csv
    """
    from xover.parts.catalogue import Catalogue
    from xover.parts.stock import open_stock
    from xover.speaker import open_speaker
    from xover.studies.change.decide.study import OPTIONS, study_decide

    if most_cost is not None and not (math.isfinite(most_cost) and most_cost >= 0):
        raise OptionError(f"--most-cost is {most_cost:g}", "give 0 or more")
    if seed < 0:
        raise OptionError(f"--seed is {seed}", "give 0 or more")
    opened = open_speaker(speaker)
    catalogue = Catalogue(open_stock(stock) if stock is not None else None)
    with ProgressBar(0.3) as bar:
        decision = study_decide(
            opened,
            catalogue,
            found=network,
            original=reference,
            seed=seed,
            options=_without(OPTIONS, skip or []),
            most_cost=most_cost,
            progress=bar,
        )
    write_plot(decision, plot, force)
    status = 1 if strict and not decision.clean else 0
    if as_json:
        show_json(decision)
        return status
    _show(decision, _next_step(decision, speaker, stock))
    if plot is not None:
        show_text(f"Figure written to {plot}.", "")
    show_warnings(decision.warnings)
    return status


def _without(names: tuple[str, ...], skip: list[str]) -> tuple[str, ...]:
    from xover.errors import nearest_word

    gone = [part.strip() for text in skip for part in text.split(",")]
    for name in gone:
        if name not in names:
            near = nearest_word(name, names)
            raise OptionError(
                f"--skip is '{name[:40]}'", f"did you mean {near}?" if near else f"give one of {', '.join(names)}"
            )
    return tuple(name for name in names if name not in gone)


def _next_step(decision: Decision, speaker: Path, stock: Path | None) -> str:
    if decision.recommendation in (None, "leave"):
        return ""
    listed = f" --stock {stock}" if stock is not None and decision.recommendation != "bypass" else ""
    write = "" if decision.recommendation == "bypass" else f" --write {decision.recommendation}ed"
    return f"xover {decision.recommendation} {speaker}{listed}{write}"


def _show(decision: Decision, following: str) -> None:
    from xover.studies.change.decide.rule import RULES

    show_heading(f"{decision.title}: leave, refresh, redesign or bypass?")
    if decision.rests_on:
        show_item("first", "this answer rests on what was not measured:", _LABEL)
        for words in decision.rests_on:
            show_item("", f"- {words}", _LABEL)
    else:
        show_item("rests on", "impedances, responses and parts that were measured", _LABEL)
    show_item("recommended", decision.answer, _LABEL)
    for label, words in zip(("because", "and"), decision.reasons, strict=False):
        show_item(label, words, _LABEL)
    show_item("by the rule", decision.rule, _LABEL)
    if following:
        show_item("next", following, _LABEL)
    _show_table(decision)
    _show_limits(decision)
    _show_notes(decision)
    if decision.would_change:
        show_heading("What would change it")
        for words in decision.would_change:
            show_item("-", words, 1)
    if decision.unknown:
        show_heading("What this cannot know")
        for words in decision.unknown:
            show_item("-", words, 1)
    if decision.cautions:
        show_heading(f"Cautions: {decision.answer}")
        for words in decision.cautions:
            show_item("-", words, 1)
    show_heading("The rule, and no other weighing")
    for number, words in enumerate(RULES):
        show_item(f"{number}." if number else "-", words, 2)


def _show_table(decision: Decision) -> None:
    from xover.studies.change.decide.criteria import Aspect

    low, high = decision.band_hz
    show_heading("Side by side")
    names = [f"> {n}" if n == decision.recommendation else str(n) for n in decision.options]
    rows = [[_row_head(a), *(_cell(o, a) for o in decision.options.values())] for a in Aspect]
    show_table(["", *names], rows)
    show_text(
        "+ passes, o marginal, x fails, ? no verdict; > recommended. Sum deviation: half of the range that the sum "
        f"covers from {hertz(low)} to {hertz(high)}. Left against right: 97.5 % of pairs keep to it. Cost and parts: "
        "of one speaker."
    )


def _row_head(aspect: Aspect) -> str:
    from xover.studies.change.decide.table import row_head

    # A terminal may not have the sign; the table's first column is the widest and says in full what is meant.
    return "below tweeter's fs, mW" if aspect == "tweeter below resonance" else row_head(aspect).replace("\u00b1", "+-")


def _cell(option: Option, aspect: Aspect) -> str:
    from xover.studies.change.decide.table import MARKS, cell

    words, verdict = cell(option, aspect)
    return f"{words} {MARKS[verdict]}".strip() if verdict is not None else f"{words}  "


def _show_limits(decision: Decision) -> None:
    """Each limit once, with the options that it holds for where they differ."""
    from xover.studies.change.decide.criteria import Aspect

    show_heading("Limits, and where they come from")
    for aspect in Aspect:
        told: dict[str, list[str]] = {}
        for name, option in decision.options.items():
            c = option.of(aspect)
            if option.available and c.source:
                told.setdefault(_limit(c), []).append(str(name))
        for words, names in told.items():
            whose = f"{', '.join(names)}: " if len(told) > 1 else ""
            show_item(str(aspect), f"{whose}{words}", 23)
    show_text("Common practice: what the trade does, no published source.")


def _limit(c: Criterion) -> str:
    from xover.studies.change.decide.criteria import PRACTICE, Aspect

    source = c.source.replace(PRACTICE, "common practice")
    if c.limit is None:
        return source
    if isinstance(c.limit, str) or c.name is Aspect.CHANNELS:
        return f"{c.limit} ({source})"
    falling = c.name in (Aspect.NULL, Aspect.LOAD, Aspect.EPDR)
    words = f"{'from' if falling else 'up to'} {_amount(c, c.limit)}"
    if c.marginal_limit is not None and c.marginal_limit != c.limit:
        words += f", marginal {'from' if falling else 'to'} {_amount(c, c.marginal_limit)}"
    return f"{words}: {source}"


def _amount(c: Criterion, value: float) -> str:
    from xover.studies.change.decide.criteria import Aspect, figure

    return f"{value:g} {c.unit}" if c.unit in ("dB", "ohm") and c.name is not Aspect.COST else figure(c.name, value)


def _show_notes(decision: Decision) -> None:
    """What is behind every figure that does not pass; the same words of several options once."""
    from xover.studies.change.decide.criteria import Aspect, Verdict

    heads: dict[tuple[str, str], list[str]] = {}
    for aspect in Aspect:
        for name, option in decision.options.items():
            c = option.of(aspect)
            if option.available and c.note and c.verdict is not Verdict.PASS:
                heads.setdefault((str(aspect), c.note), []).append(str(name))
    if not heads:
        return
    show_heading("Behind the figures that do not pass")
    every = sum(o.available for o in decision.options.values())
    for (aspect_name, note), names in heads.items():
        show_item(aspect_name, f"{'all' if len(names) == every else ', '.join(names)}: {note}", 23)
