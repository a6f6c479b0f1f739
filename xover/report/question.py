"""One page for the bench, written and, if wanted, printed."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from xover.blocks import FAULT, Block, Text, fact
from xover.declare import Ask, question
from xover.errors import OptionError, PartlyToldError, XoverError, named
from xover.sentences import and_words
from xover.studies.options import MostCost, Progress, Seed, Stock, quiet
from xover.units import COUNT, FILE, FOLDER, NETWORK, YES

if TYPE_CHECKING:
    from xover.report.report import Report


@dataclass(frozen=True)
class WrittenReport:
    """A page and where it went; `printed` is None where no PDF was asked for."""

    page: "Report"
    path: Path
    size_bytes: int
    printed: Path | None

    def plain(self) -> dict[str, Any]:
        """What was written and decided."""
        made, decision = self.page, self.page.answers.decided_on
        return {
            "title": made.title,
            "standing": made.standing,
            "recommendation": None if decision is None else decision.recommendation,
            "answer": None if decision is None else decision.answer,
            "built": made.answers.build.name,
            "report": self.path,
            "bytes": self.size_bytes,
            "pdf": self.printed,
            "sections": [s.anchor for s in made.sections],
            "figures": [p.name for s in made.sections for p in s.pictures],
            "not_told": [
                {"section": s.anchor, "why": b.words, "fault": b.tone == FAULT}
                for s in made.sections
                for b in s.not_told
            ],
        }

    @property
    def fault(self) -> str:
        """What xover itself has failed in, in words; empty where it has not."""
        places = ", ".join(f"'{heading}'" for heading in self.page.faults)
        return "" if not places else f"the page is in {self.path}, with a box for what is missing in {places}"


@question(fault="fault")
def report(
    folder: Annotated[Path, Ask("Speaker folder, or its speaker.toml.", FOLDER, place=True)],
    *,
    networks: Annotated[
        Sequence[str],
        Ask(
            "Network to show; may be repeated, the last is built [default: what is decided].",
            NETWORK,
            "--network",
            "-n",
            many=True,
        ),
    ] = (),
    output: Annotated[Path, Ask("Where the page goes.", FILE, "--output", "-o")] = Path("report.html"),
    stock: Stock = None,
    mate: Annotated[Path | None, Ask("The other speaker of the pair: odd drivers, the match.", FOLDER)] = None,
    most_cost: MostCost = None,
    pdf: Annotated[bool, Ask("Print it to PDF as well (needs Chromium or a relative).", YES)] = False,
    seed: Seed = 1,
    processes: Annotated[
        int | None, Ask("Processes that share the work [default: 1 a core, up to 4].", COUNT, low=1, high=64)
    ] = None,
    force: Annotated[bool, Ask("Overwrite a file that is there already.", YES)] = False,
    progress: Progress = quiet,
) -> WrittenReport:
    """One page for the bench: decision, figures, parts, wiring.

    The page needs nothing beside it: mail it, print it, keep it with the speaker. Sections that the folder has no data
    for say so, and what would fill them.

    Example: xover report examples/attic-two-way/left --mate examples/attic-two-way/right -o attic.html

    >>> speaker.report().html
    """
    import os

    from xover.files.atomic import check_target
    from xover.report.report import make_report, write_report

    if output.suffix.lower() not in (".html", ".htm"):
        raise OptionError(f"{named('output')} is '{output.name[:60]}'", "end the name in .html")
    printed = output.with_suffix(".pdf") if pdf else None
    for target in (output, printed):
        if target is not None:
            check_target(target, force)
    made = make_report(
        folder,
        networks=tuple(networks),
        stock=None if stock is None else Path(stock),
        mate=mate,
        most_cost=most_cost,
        seed=seed,
        processes=processes if processes is not None else min(os.cpu_count() or 1, 4),
        progress=progress,
    )
    write_report(made, output, force)
    if printed is not None:
        _print(output, printed, force)
    return WrittenReport(made, output, output.stat().st_size, printed)


def _print(page: Path, printed: Path, force: bool) -> None:
    """Print the page; where that cannot be done the page is there all the same, and it is said how to print it."""
    from xover.report.printing import print_pdf

    try:
        print_pdf(page, printed, force)
    except OptionError as fault:
        raise OptionError(f"the page is in {page}, but it was not printed: {fault.problem}", fault.remedy) from None
    except XoverError:
        raise
    except Exception as fault:
        kind = f"{type(fault).__name__}: {fault}"
        raise PartlyToldError(f"the page is in {page}, but it was not printed: {kind}") from fault


def tell(written: WrittenReport) -> Iterator[Block]:
    """What was written, and the decision."""
    made = written.page
    size = written.size_bytes / 1e3
    yield Text(f"{made.title}: report written to {written.path} ({size:.0f} kB).", flush=True)
    yield Text(made.standing)
    decision = made.answers.decided_on
    yield fact("recommended", "not known, see the page" if decision is None else decision.answer, 12)
    lacking = [f"'{s.heading}'" for s in made.sections if s.mark]
    if lacking:
        yield fact("not told", f"something in {and_words(lacking)}: the page says what, and why", 12)
    yield fact("built", made.answers.build.name, 12)
    if written.printed is not None:
        yield Text(f"Printed to {written.printed}.", flush=True)
    else:
        yield Text("Open it in any browser; to print: A4, with background graphics.", flush=True)
