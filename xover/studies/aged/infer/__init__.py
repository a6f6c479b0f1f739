"""Part values from sweeps at the terminals, what they are worth, and whether the network fits at all."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from xover.declare import Ask, question
from xover.errors import named
from xover.rules.likeness import DRIVER_DRIFT, JIG_GAIN
from xover.studies.options import EVERYTHING, Channel, Noise, Progress, quiet
from xover.units import BAND, FILE, NETWORK, OHM, SHARE, YES, by_name, one_of

if TYPE_CHECKING:
    from xover.speaker import Speaker
    from xover.studies.aged.infer.result import InferStudy

_BY_DRIVER = by_name(FILE, "DRIVER")
ByDriver = Mapping[str, str | Path] | None


@question(
    strict="topology_fits",
    shows=EVERYTHING,
    write="netlist",
    then="condition {folder} --found {name}",
    withheld=("the network does not fit", f"mend the circuit, or give {named('force_numbers')}"),
)
def infer(
    speaker: "Speaker",
    impedance: Annotated[str | Path, Ask("Sweep at the speaker's terminals.", FILE)],
    *,
    network: Annotated[
        str | None, Ask("Topology and marked values [default: original].", NETWORK, "--network", "-n")
    ] = None,
    repeats: Annotated[
        Sequence[str | Path], Ask("The same sweep once more, for its noise.", FILE, "--repeat", many=True)
    ] = (),
    disconnected: Annotated[ByDriver, Ask("Sweep with that driver unplugged.", _BY_DRIVER, many=True)] = None,
    shorted: Annotated[ByDriver, Ask("Sweep with that driver shorted.", _BY_DRIVER, many=True)] = None,
    ratio: Annotated[
        ByDriver, Ask("Voltage at that driver over the amplifier's, in dB.", _BY_DRIVER, many=True)
    ] = None,
    channel: Channel = None,
    prior: Annotated[
        Literal["any", "usual", "none"],
        Ask(
            "What is plausible beforehand: any (a factor of 1.8), usual (for the kind of part), or none.",
            one_of("any", "usual", "none"),
        ),
    ] = "any",
    no_prior: Annotated[bool, Ask("The same as the prior none.", YES)] = False,
    noise: Noise = None,
    gain_error: Annotated[
        float, Ask("Gain error between this sweep and the drivers', one sigma.", SHARE, "--gain-error", low=0, high=0.3)
    ] = JIG_GAIN,
    scale_error: Annotated[
        float, Ask("Error that all sweeps share, one sigma.", SHARE, "--scale", low=0, high=0.3)
    ] = 0.0,
    lead_ohm: Annotated[
        float | None, Ask("Resistance of the leads [default: fitted].", OHM, "--lead-ohm", low=0, high=1e4)
    ] = None,
    driver_drift: Annotated[
        float,
        Ask("What fs, Q, Bl and Re of a driver have moved by since its sweep, one sigma.", SHARE, low=0, high=0.3),
    ] = DRIVER_DRIFT,
    band_hz: Annotated[
        tuple[float, float] | None, Ask("Where the sweeps count [default: all].", BAND, "--band")
    ] = None,
    try_neighbours: Annotated[
        bool, Ask("Try networks that are one fault away; done anyway if this one does not fit.", YES, "--try")
    ] = False,
    force_numbers: Annotated[bool, Ask("Tell values even if the network does not fit.", YES)] = False,
    progress: Progress = quiet,
) -> "InferStudy":
    """Part values from one sweep at the terminals.

    Needs the circuit, and an impedance sweep of each driver by itself. Tells each part's value today with its 95 %
    interval, which parts do not show from here, and what to measure next. If the network does not fit the sweep it
    says so, and tells no values. With --strict the status is then 1.

    Example: xover infer examples/attic-two-way/left --impedance
    examples/attic-two-way/left/terminals-found.csv --write inferred

    >>> speaker.infer("examples/attic-two-way/left/terminals-found.csv").part("C1").own.value
    """
    from xover.explain.problem import Jig, driver_curves
    from xover.explain.sweeps import SweepPlace, read_sweep
    from xover.explain.unknowns import Prior
    from xover.studies.aged.infer.study import infer_network

    sweeps = [read_sweep(SweepPlace.TERMINALS, "", Path(impedance), tuple(map(Path, repeats)))]
    for where, given in (
        (SweepPlace.DISCONNECTED, disconnected),
        (SweepPlace.SHORTED, shorted),
        (SweepPlace.RATIO, ratio),
    ):
        sweeps += [read_sweep(where, driver, Path(file)) for driver, file in (given or {}).items()]
    if band_hz is not None:
        sweeps = [sweep.within(band_hz) for sweep in sweeps]
    usual = "original" if "original" in speaker.network_names else None
    name = network or usual or speaker.default_network()
    drawn = speaker.network(name)
    return infer_network(
        drawn,
        driver_curves(speaker, drawn),
        sweeps,
        title=speaker.title,
        name=name,
        channel=channel,
        prior=Prior.NONE if no_prior else Prior(prior),
        jig=Jig(gain_error, lead_ohm, scale_error, driver_drift),
        noise=noise,
        try_neighbours=try_neighbours,
        force_numbers=force_numbers,
        progress=progress,
    )
