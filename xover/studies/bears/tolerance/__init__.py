"""What do the tolerances of the parts do: thousands of builds, the exact worst corner, left against right?"""

from typing import TYPE_CHECKING, Annotated, Literal

from xover.declare import Ask, question
from xover.rules.likeness import MATCH
from xover.studies.options import EVERYTHING, Frequencies24, Jobs, Network, Progress, Seed, frequencies, quiet
from xover.units import COUNT, DB, SHARE, one_of

if TYPE_CHECKING:
    from xover.speaker import Speaker
    from xover.studies.bears.tolerance.study import ToleranceStudy


@question(plots={"ToleranceStudy": "bears.draw_tolerance"}, strict="reached", strict_needs="wanted", shows=EVERYTHING)
def tolerance(
    speaker: "Speaker",
    network: Network = None,
    *,
    builds: Annotated[int, Ask("How many builds to draw.", COUNT, low=100, high=200_000)] = 10_000,
    seed: Seed = 1,
    jobs: Jobs = 1,
    distribution: Annotated[
        Literal["uniform", "normal"],
        Ask("uniform or normal, within the tolerance.", one_of("uniform", "normal", metavar="NAME")),
    ] = "uniform",
    limit_db: Annotated[
        float, Ask("How far the sum may stray from nominal, 200 Hz to 20 kHz.", DB, above=0, high=60)
    ] = 1.0,
    match: Annotated[
        float, Ask("How closely left and right parts could be paired.", SHARE, "--paired-to", low=0, high=1)
    ] = MATCH,
    wanted: Annotated[
        float | None, Ask("Share of builds that must keep within --limit.", SHARE, "--yield", above=0, high=1)
    ] = None,
    frequency_hz: Frequencies24 = None,
    progress: Progress = quiet,
) -> "ToleranceStudy":
    """What do the parts' tolerances do to sum, load and pair?

    Example: xover tolerance examples/attic-two-way/left --network original --limit 1 --yield 90% --strict

    >>> speaker.tolerance("original", builds=1000).passing.share
    """
    from xover.judge.safety import warned
    from xover.studies.bears.tolerance.study import study_tolerance

    answer = study_tolerance(
        speaker,
        speaker.network_or_default(network),
        frequencies(frequency_hz, 24),
        builds=builds,
        seed=seed,
        jobs=jobs,
        distribution=distribution,
        limit_db=limit_db,
        match=match,
        wanted=wanted,
        progress=progress,
    )
    return warned(answer, speaker, answer.network)
