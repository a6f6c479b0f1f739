"""New values or another network for a speaker, in parts that exist."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from xover.declare import Ask, Unit, question
from xover.errors import OptionError, named
from xover.rules.bands import JUDGED_HZ
from xover.studies.options import Jobs, MostCost, Network, Progress, Seed, Stock, catalogue, chosen, quiet
from xover.units import BAND, COUNT, DB, HENRY, HZ, NETWORK, NUMBER, OHM, YES, by_name, listed, or_none, rising

if TYPE_CHECKING:
    from xover.speaker import Speaker
    from xover.studies.change.redesign.result import RedesignStudy
    from xover.studies.change.redesign.wish import Weights


ALL = Ask("The parts of every proposal, what was asked for, and the netlist.", YES, "--all")


@question(
    strict="unbroken",
    plots={"RedesignStudy": "change.draw_redesign"},
    write="netlist",
    shows={"whole": (ALL, False)},
)
def redesign(
    speaker: "Speaker",
    network: Network = None,
    *,
    circuits: Annotated[
        Sequence[str],
        Ask(
            "Network to try: 'present', or one of 'xover new --list'; may be repeated [default: the present one and "
            "the most promising].",
            Unit("NAME", str, offers="circuits to try", exact=True),
            "--circuit",
            many=True,
        ),
    ] = (),
    stock: Stock = None,
    slope: Annotated[
        str | None,
        Ask("Acoustic slopes, such as LR4, LR2 or B3, or none.", or_none(Unit("NAME", str, offers="acoustic slopes"))),
    ] = "LR4",
    crossover_hz: Annotated[
        Sequence[float] | None, Ask("Crossover, the lowest first [default: the best that is safe].", rising(HZ))
    ] = None,
    tilt_db_per_octave: Annotated[
        float, Ask("Of the target, each octave; -0.3 falls to the treble.", DB, "--tilt", low=-6, high=6)
    ] = 0.0,
    voicing: Annotated[str | None, Ask("Network whose sum is the target [default: a straight line].", NETWORK)] = None,
    band_hz: Annotated[tuple[float, float], Ask("Where the sum counts.", BAND)] = JUDGED_HZ,
    minimum_load_ohm: Annotated[
        float | None, Ask("Lowest load allowed [default: the amplifier's].", OHM, above=0)
    ] = None,
    most_parts: Annotated[int | None, Ask("Most parts of a network.", COUNT, low=1)] = None,
    most_cost: MostCost = None,
    largest_coil_h: Annotated[float | None, Ask("Largest coil, such as 3mH.", HENRY, low=1e-6, high=1.0)] = None,
    weights: Annotated[
        "Weights | Mapping[str, float] | None",
        Ask(
            "What counts: total=1,together=0.4,slopes=0.1,off_axis=0.1,level=1,load=1,below_resonance=1.",
            listed(by_name(NUMBER), "NAME=W,..."),
        ),
    ] = None,
    alternatives: bool = True,
    starts: Annotated[int, Ask("Random starts of each search; more take longer.", COUNT, low=0, high=64)] = 4,
    seed: Seed = 1,
    jobs: Jobs = 1,
    replace: Annotated[
        Mapping[str, str | Path] | None,
        Ask(
            "Another driver: SOURCE is a speaker's FOLDER, FOLDER:NAME, or impedance.csv,response.csv; may be "
            "repeated.",
            by_name(Unit("SOURCE", str), "DRIVER"),
            many=True,
        ),
    ] = None,
    pick: Annotated[int | None, Ask("Which proposal, as numbered [default: the first].", COUNT, low=1, high=9)] = None,
    progress: Progress = quiet,
) -> "RedesignStudy":
    """New values or another network, in parts that exist.

    Up to five proposals. The first breaks no limit and has the fewest parts of all that are as flat as any, within
    0.2 dB; each other is better at something: flattest, fewest parts, cheapest, easiest load, least change, the
    circuit as it is wired now. Where no crossover is named it is found, as high as is safe for the tweeter and as the
    woofer plays. Ctrl-C ends the search with the best so far.

    With another driver it tells what the network makes of it, and which parts to change for it, if it suits at all.

    With --strict the exit status is 1 if no proposal is better, or if the one picked breaks a limit.

    Example: xover redesign examples/attic-two-way/left --stock examples/stock.csv --crossover 2.7k --write better

    >>> speaker.redesign(circuits=["present"], starts=1).proposals[0].deviation_db
    """
    from xover.electronic.biquad import parse_slope
    from xover.judge.safety import warned
    from xover.studies.change.redesign.study import redesign as study
    from xover.studies.change.redesign.wish import Wish, weights_of

    if slope is not None:
        parse_slope(slope)
    source = catalogue(stock)
    if most_cost is not None and not source.priced:
        raise OptionError(
            f"{named('most_cost')} has no prices to go by", f"give {named('stock')} with a price for every part"
        )
    wish = Wish(
        band_hz=band_hz,
        tilt_db_per_octave=tilt_db_per_octave,
        voicing=voicing,
        slope=slope,
        crossover_hz=None if crossover_hz is None else tuple(crossover_hz),
        minimum_load_ohm=minimum_load_ohm,
        most_parts=most_parts,
        most_cost=most_cost,
        largest_coil_h=largest_coil_h,
        weights=weights_of(weights),
    )
    present = chosen(speaker, network)
    fitted = speaker.network(present)
    sources = {name: str(given) for name, given in (replace or {}).items()}
    played = speaker
    if sources:
        from xover.studies.change.redesign.replacement import with_drivers

        played = with_drivers(speaker, sources, fitted, voicing)
    found = study(
        played,
        source,
        wish,
        present=present,
        circuits=tuple(circuits) or (("present",) if sources else ()),
        starts=starts,
        seed=seed,
        jobs=jobs,
        alternatives=alternatives,
        progress=progress,
    )
    replacement = None
    if sources:
        from xover.studies.change.redesign.replacement import study_replacement

        progress(0.95, "the fewest changed parts")
        replacement, found = study_replacement(speaker, played, tuple(sources.items()), fitted, source, found)
    return warned(found.picked(pick, played, fitted, replacement), speaker, present)
