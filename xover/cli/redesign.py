"""xover redesign: new values, better sum, real parts."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from xover.cli.complete import acoustic_slopes, circuits_to_try, network_names
from xover.cli.options import Force, Jobs, Json, NetworkName, Plot, SpeakerPath, Strict
from xover.cli.progress import ProgressBar
from xover.cli.show import show_json, show_text, show_warnings
from xover.cli.show_redesign import show_redesign
from xover.cli.wish_options import make_wish
from xover.errors import OptionError

if TYPE_CHECKING:
    from xover.parts.catalogue import Catalogue
    from xover.speaker import Speaker
    from xover.studies.change.redesign.replacement import ReplacementStudy
    from xover.studies.change.redesign.result import Proposal, RedesignStudy

MOST_STARTS = 64
MOST_PROPOSALS = 9


def redesign(
    speaker: SpeakerPath,
    network: NetworkName = None,
    circuit: Annotated[
        list[str] | None,
        typer.Option(
            "--circuit",
            metavar="NAME",
            help="Network to try: 'present', or one of 'xover new --list'; may be repeated [default: the present one "
            "and the most promising].",
            autocompletion=circuits_to_try,
        ),
    ] = None,
    stock: Annotated[
        Path | None,
        typer.Option("--stock", metavar="FILE", help="Price list or parts bin (CSV), then the only source."),
    ] = None,
    slope: Annotated[
        str,
        typer.Option(
            "--slope",
            metavar="NAME",
            help="Acoustic slopes, such as LR4, LR2 or B3, or none.",
            autocompletion=acoustic_slopes,
        ),
    ] = "LR4",
    crossover: Annotated[
        str | None,
        typer.Option("--crossover", metavar="HZ[,HZ]", help="Crossover, the lowest first [default: near today's]."),
    ] = None,
    tilt: Annotated[
        str, typer.Option("--tilt", metavar="DB", help="Of the target, each octave; -0.3 falls to the treble.")
    ] = "0",
    voicing: Annotated[
        str | None,
        typer.Option(
            "--voicing",
            metavar="NAME",
            help="Network whose sum is the target [default: a straight line].",
            autocompletion=network_names,
        ),
    ] = None,
    band: Annotated[str, typer.Option("--band", metavar="HZ:HZ", help="Where the sum counts.")] = "200:18k",
    minimum_load: Annotated[
        str | None,
        typer.Option("--minimum-load", metavar="OHM", help="Lowest load allowed [default: the amplifier's]."),
    ] = None,
    most_parts: Annotated[
        int | None, typer.Option("--most-parts", metavar="N", help="Most parts of a network.")
    ] = None,
    most_cost: Annotated[
        str | None, typer.Option("--most-cost", metavar="X", help="Most that its parts may cost, for one speaker.")
    ] = None,
    largest_coil: Annotated[
        str | None, typer.Option("--largest-coil", metavar="H", help="Largest coil, such as 3mH.")
    ] = None,
    weights: Annotated[
        str | None,
        typer.Option(
            "--weights",
            metavar="NAME=W,...",
            help="What counts: total=1,together=0.4,slopes=0.1,off_axis=0.1,level=1,load=1,below_resonance=1.",
        ),
    ] = None,
    starts: Annotated[
        int, typer.Option("--starts", metavar="N", help="Random starts of each search; more take longer.")
    ] = 4,
    seed: Annotated[int, typer.Option("--seed", metavar="N", help="The same seed finds the same answer.")] = 1,
    jobs: Jobs = 1,
    replace: Annotated[
        list[str] | None,
        typer.Option(
            "--replace",
            metavar="DRIVER=SOURCE",
            help="Another driver: SOURCE is a speaker's FOLDER, FOLDER:NAME, or impedance.csv,response.csv; may be "
            "repeated.",
        ),
    ] = None,
    write: Annotated[
        str | None, typer.Option("--write", metavar="NAME", help="Add a proposal to the folder as a network.")
    ] = None,
    pick: Annotated[
        int | None, typer.Option("--pick", metavar="K", help="Which proposal, as numbered [default: the first].")
    ] = None,
    plot: Plot = None,
    force: Force = False,
    strict: Strict = False,
    as_json: Json = False,
) -> int:
    """New values or another network, in parts that exist.

    Up to five proposals: least change, flattest, easiest load, cheapest, and the present circuit at its best.
    Ctrl-C ends the search with the best so far.

    With --replace it tells what the network makes of another driver, and which parts to change for it, if it
    suits at all.

    With --strict the exit status is 1 if no proposal is better, or if the one picked breaks a limit.

    Example: xover redesign examples/attic-two-way/left --stock examples/stock.csv --crossover 2.7k --write better
    """
    from xover.parts.catalogue import Catalogue
    from xover.parts.stock import open_stock
    from xover.speaker import open_speaker
    from xover.speaker.swap import parse_replacement, with_driver
    from xover.studies.change.redesign.study import redesign as study_redesign
    from xover.studies.change.redesign.topologies import PRESENT

    wish = make_wish(
        slope=slope,
        crossover=crossover,
        tilt=tilt,
        voicing=voicing,
        band=band,
        minimum_load=minimum_load,
        most_parts=most_parts,
        most_cost=most_cost,
        largest_coil=largest_coil,
        weights=weights,
    )
    if not 0 <= starts <= MOST_STARTS:
        raise OptionError(f"--starts is {starts}", f"give 0 to {MOST_STARTS}")
    if seed < 0:
        raise OptionError(f"--seed is {seed}", "give 0 or more")
    if pick is not None and not 1 <= pick <= MOST_PROPOSALS:
        raise OptionError(f"--pick is {pick}", "give the number of a proposal, from 1")
    opened = open_speaker(speaker)
    catalogue = Catalogue(open_stock(stock) if stock is not None else None)
    _check_before_the_search(opened, catalogue, wish.most_cost, write, plot, force)
    sources = [parse_replacement(text) for text in replace or []]
    if sources and voicing is not None:
        raise OptionError(
            "--voicing takes the sum of a network with the drivers it is played on, and --replace exchanges them",
            "leave one of them out; --tilt bends the target",
        )
    changed = opened
    for name, source in sources:
        changed = with_driver(changed, name, source)
    present = network if network is not None else opened.default_network()
    before = opened.network(present)
    _check_used(sources, before.driver_names)
    replacement = None
    with ProgressBar(0.0) as bar:
        study = study_redesign(
            changed,
            catalogue,
            wish,
            present=present,
            circuits=circuit or ((PRESENT,) if sources else ()),
            starts=starts,
            seed=seed,
            jobs=jobs,
            progress=bar,
        )
        if sources:
            from xover.studies.change.redesign.replacement import study_replacement

            bar(0.95, "the fewest changed parts")
            replacement, study = study_replacement(opened, changed, sources, before, catalogue, study)
    number = pick if pick is not None else _first_within(study)
    chosen = study.proposals[number - 1] if number <= len(study.proposals) else None
    if chosen is not None and plot is not None:
        _draw(study, changed, number, plot, force)
    written = None
    if chosen is not None and write is not None:
        from xover.files.add_network import add_network

        written = add_network(opened.file.path, write, chosen.netlist, opened.network_names, force)
    if as_json:
        show_json({**study.plain(), "picked": None if chosen is None else chosen.name, "replacement": replacement})
    else:
        show_redesign(study, before, number, replacement)
        if written is not None:
            show_text(f"Network '{write}' written to {written}; try 'xover predict {speaker} --network {write}'.", "")
        if chosen is not None and plot is not None:
            show_text(f"Figure written to {plot}.", "")
        show_warnings([*(() if replacement is None else replacement.notes), *study.warnings])
    if chosen is None:
        raise OptionError(
            f"--pick is {number}, and there are {len(study.proposals)} proposals; nothing was written",
            "give the number of one of them",
        )
    return 1 if strict and _broken(study, chosen, replacement) else 0


def _check_before_the_search(
    speaker: Speaker, catalogue: Catalogue, most_cost: float | None, write: str | None, plot: Path | None, force: bool
) -> None:
    """What would be refused at the end is refused before the search has taken its time."""
    from xover.drawing.save import METADATA

    if most_cost is not None and not catalogue.priced:
        raise OptionError("--most-cost has no prices to go by", "give --stock with a price for every part")
    if write is not None and not force and write in speaker.network_names:
        raise OptionError(f"{speaker.file.path} has a network '{write}' already", "give --force, or another name")
    if write is not None and not (write.replace("-", "a").replace("_", "a").isalnum() and write.isascii()):
        raise OptionError(f"'{write[:40]}' is no name for a network", "use letters, digits, - and _, at most 64")
    if plot is not None:
        if plot.suffix.lower().removeprefix(".") not in METADATA:
            raise OptionError(f"a figure cannot be written as '{plot.name}'", "end the name in .png, .svg or .pdf")
        if plot.exists() and not force:
            raise OptionError(f"{plot} is there already", "give --force, or another name")


def _check_used(sources: list[tuple[str, str]], used: tuple[str, ...]) -> None:
    names = [name for name, _ in sources]
    for name in names:
        if names.count(name) > 1:
            raise OptionError(f"--replace names {name} twice", "give each driver one source")
        if name not in used:
            raise OptionError(f"the network does not use the driver '{name}'", f"it uses {', '.join(used)}")


def _within(study: RedesignStudy, proposal: Proposal) -> bool:
    """Whether a proposal keeps the bounds on cost and parts."""
    wish = study.wish
    cheap = wish.most_cost is None or (proposal.cost or 0.0) <= wish.most_cost
    return cheap and (wish.most_parts is None or proposal.parts <= wish.most_parts)


def _first_within(study: RedesignStudy) -> int:
    """Number of the first proposal that keeps the bounds; the first of all where none does."""
    return next((k for k, p in enumerate(study.proposals, 1) if _within(study, p)), 1)


def _broken(study: RedesignStudy, chosen: Proposal, replacement: ReplacementStudy | None) -> bool:
    """Whether nothing better was found, or the choice breaks a limit on load, cost or parts."""
    limit = study.wish.minimum_load_ohm
    overloaded = limit is not None and not chosen.judged.lowest_ohm >= limit
    unsuited = replacement is not None and replacement.suitable is False
    return not study.suitable or overloaded or unsuited or not _within(study, chosen)


def _draw(study: RedesignStudy, speaker: Speaker, number: int, plot: Path, force: bool) -> None:
    from xover.drawing.redesign import draw_redesign
    from xover.drawing.save import save_figure
    from xover.studies.change.redesign.curves import redesign_curves

    save_figure(draw_redesign(study, redesign_curves(study, speaker), number), plot, force)
