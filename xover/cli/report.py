"""xover report: one page for the bench."""

from __future__ import annotations

import math
import os
from pathlib import Path
from typing import Annotated

import typer

from xover.cli.complete import network_names
from xover.cli.options import Force, SpeakerPath
from xover.cli.progress import ProgressBar
from xover.cli.show import show_item, show_json, show_text
from xover.errors import OptionError


def report(
    speaker: SpeakerPath,
    network: Annotated[
        list[str] | None,
        typer.Option(
            "--network",
            "-n",
            metavar="NAME",
            help="Network to show; may be repeated, the last is built [default: what is decided].",
            autocompletion=network_names,
        ),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", metavar="FILE", help="Where the page goes [default: report.html here]."),
    ] = None,
    stock: Annotated[
        Path | None,
        typer.Option("--stock", metavar="FILE", help="Price list or parts bin (CSV), the only source then."),
    ] = None,
    mate: Annotated[
        Path | None, typer.Option("--mate", metavar="SPEAKER", help="The other speaker of the pair, for the match.")
    ] = None,
    most_cost: Annotated[
        float | None, typer.Option("--most-cost", metavar="MONEY", help="What one speaker's parts may cost.")
    ] = None,
    pdf: Annotated[bool, typer.Option("--pdf", help="Print it to PDF as well (needs Chromium or a relative).")] = False,
    seed: Annotated[int, typer.Option("--seed", metavar="N", help="The same seed gives the same page.")] = 1,
    processes: Annotated[
        int | None,
        typer.Option("--processes", metavar="N", help="Processes that share the work [default: 1 a core, up to 4]."),
    ] = None,
    force: Force = False,
    as_json: Annotated[bool, typer.Option("--json", help="What was written and decided, as one JSON object.")] = False,
) -> int:
    """One page for the bench: decision, figures, parts, wiring.

    The page needs nothing beside it: mail it, print it, keep it with the speaker. Sections that the folder has no data
    for say so, and what would fill them.

    Example: xover report examples/attic-two-way/left --mate examples/attic-two-way/right -o attic.html
    """
    from xover.files.atomic import check_target
    from xover.report import make_report, write_report

    path = output if output is not None else Path("report.html")
    if path.suffix.lower() not in (".html", ".htm"):
        raise OptionError(f"--output is '{path.name[:60]}'", "end the name in .html")
    if most_cost is not None and not (math.isfinite(most_cost) and most_cost >= 0):
        raise OptionError(f"--most-cost is {most_cost:g}", "give 0 or more")
    if seed < 0:
        raise OptionError(f"--seed is {seed}", "give 0 or more")
    if processes is not None and not 1 <= processes <= 64:
        raise OptionError(f"--processes is {processes}", "give 1 to 64")
    printed = path.with_suffix(".pdf") if pdf else None
    for target in (path, printed):
        if target is not None:
            check_target(target, force)
    with ProgressBar(0.3) as bar:
        made = make_report(
            speaker,
            networks=tuple(network or ()),
            stock=stock,
            mate=mate,
            most_cost=most_cost,
            seed=seed,
            processes=processes if processes is not None else min(os.cpu_count() or 1, 4),
            progress=bar,
        )
    write_report(made, path, force)
    if printed is not None:
        _print(path, printed, force)
    d = made.answers.decision
    size = path.stat().st_size
    if as_json:
        show_json(
            {
                "title": made.title,
                "standing": made.standing,
                "recommendation": d.recommendation,
                "answer": d.answer,
                "built": made.answers.build.name,
                "report": path,
                "bytes": size,
                "pdf": printed,
                "sections": [s.anchor for s in made.sections],
                "figures": [p.name for s in made.sections for p in s.pictures],
            }
        )
        return 0
    show_text(f"{made.title}: report written to {path} ({size / 1e3:.0f} kB).", "")
    show_text(made.standing)
    show_item("recommended", d.answer, 12)
    show_item("built", made.answers.build.name, 12)
    if printed is not None:
        show_text(f"Printed to {printed}.", "")
    else:
        show_text("Open it in any browser; to print: A4, with background graphics.", "")
    return 0


def _print(page: Path, printed: Path, force: bool) -> None:
    """Print the page; where that cannot be done the page is there all the same, and it is said how to print it."""
    from xover.report.printing import print_pdf

    try:
        print_pdf(page, printed, force)
    except OptionError as fault:
        raise OptionError(f"the page is in {page}, but it was not printed: {fault.problem}", fault.remedy) from None
