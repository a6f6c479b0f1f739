"""xover infer: part values from one sweep at the terminals."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from xover.cli.complete import network_names, one_of
from xover.cli.options import Force, Json, SpeakerPath, Strict, resistance
from xover.cli.progress import ProgressBar
from xover.cli.show import hertz, show_heading, show_item, show_json, show_table, show_text, show_warnings
from xover.errors import InputError, OptionError, nearest_word

if TYPE_CHECKING:
    from xover.explain.problem import Jig
    from xover.explain.sweeps import Sweep
    from xover.explain.unknowns import Prior
    from xover.speaker import Speaker
    from xover.studies.aged.infer.result import Inferred, InferStudy, Measurement

Impedance = Annotated[Path, typer.Option("--impedance", metavar="FILE", help="Sweep at the speaker's terminals.")]
Drawn = Annotated[
    str | None,
    typer.Option(
        "--network",
        "-n",
        metavar="NAME",
        help="Topology and marked values [default: original].",
        autocompletion=network_names,
    ),
]


def infer(
    speaker: SpeakerPath,
    impedance: Impedance,
    network: Drawn = None,
    repeat: Annotated[
        list[Path] | None, typer.Option("--repeat", metavar="FILE", help="The same sweep once more, for its noise.")
    ] = None,
    disconnected: Annotated[
        list[str] | None,
        typer.Option("--disconnected", metavar="DRIVER=FILE", help="Sweep with that driver unplugged."),
    ] = None,
    shorted: Annotated[
        list[str] | None, typer.Option("--shorted", metavar="DRIVER=FILE", help="Sweep with that driver shorted.")
    ] = None,
    ratio: Annotated[
        list[str] | None,
        typer.Option("--ratio", metavar="DRIVER=FILE", help="Voltage at that driver over the amplifier's, in dB."),
    ] = None,
    channel: Annotated[
        str | None, typer.Option("--channel", metavar="NAME", help="Where it was swept, if there are several.")
    ] = None,
    prior: Annotated[
        str,
        typer.Option(
            "--prior",
            metavar="WHAT",
            help="What is plausible beforehand: any (a factor of 1.8), usual (for the kind of part), or none.",
            autocompletion=one_of("any", "usual", "none"),
        ),
    ] = "any",
    no_prior: Annotated[bool, typer.Option("--no-prior", help="The same as --prior none.")] = False,
    noise: Annotated[
        str | None,
        typer.Option("--noise", metavar="SHARE", help="Noise of one row, such as 0.5% [default: estimated]."),
    ] = None,
    gain: Annotated[
        str, typer.Option("--gain", metavar="SHARE", help="Gain error between this sweep and the drivers', one sigma.")
    ] = "1.5%",
    scale: Annotated[
        str, typer.Option("--scale", metavar="SHARE", help="Error that all sweeps share, one sigma.")
    ] = "0",
    lead_ohm: Annotated[
        str | None, typer.Option("--lead-ohm", metavar="OHM", help="Resistance of the leads [default: fitted].")
    ] = None,
    try_neighbours: Annotated[
        bool, typer.Option("--try", help="Try networks that are one fault away; done anyway if this one does not fit.")
    ] = False,
    force_numbers: Annotated[
        bool, typer.Option("--force-numbers", help="Tell values even if the network does not fit.")
    ] = False,
    write: Annotated[
        str | None, typer.Option("--write", metavar="NAME", help="Add the values to the folder as a network.")
    ] = None,
    force: Force = False,
    strict: Strict = False,
    as_json: Json = False,
) -> int:
    """Part values from one sweep at the terminals.

    Needs the circuit, and an impedance sweep of each driver by itself. Tells each part's value today with its 95 %
    interval, which parts do not show from here, and what to measure next. If the network does not fit the sweep it
    says so, and tells no values. With --strict the status is then 1.

    Example: xover infer examples/attic-two-way/left --impedance
    examples/attic-two-way/left/terminals-found.csv --write inferred
    """
    from xover.speaker import open_speaker
    from xover.studies.aged.infer.study import infer as study_infer

    chosen = _prior("none" if no_prior else prior)
    jig = _jig(gain, scale, lead_ohm)
    stated = None if noise is None else _share("--noise", noise, 1e-5, 0.3)
    opened = open_speaker(speaker)
    sweeps = _sweeps(opened, impedance, repeat, {"disconnected": disconnected, "shorted": shorted, "ratio": ratio})
    with ProgressBar() as bar:
        study = study_infer(
            opened,
            sweeps,
            network=network,
            channel=channel,
            prior=chosen,
            jig=jig,
            noise=stated,
            try_neighbours=try_neighbours,
            force_numbers=force_numbers,
            progress=bar,
        )
    written = None
    if write is not None and study.netlist is not None:
        from xover.files.add_network import add_network

        written = add_network(opened.file.path, write, study.netlist, opened.network_names, force)
    status = 1 if strict and not study.topology_fits else 0
    if as_json:
        show_json(study)
    else:
        _show(study)
        if written is not None:
            show_text(f"Network '{write}' written to {written}; try 'xover condition {speaker} --found {write}'.", "")
        show_warnings(study.warnings)
    if write is not None and written is None:
        raise OptionError(
            f"'{write[:40]}' was not written, as the network does not fit", "mend the circuit, or give --force-numbers"
        )
    return status


def _sweeps(
    opened: Speaker, impedance: Path, repeat: list[Path] | None, others: dict[str, list[str] | None]
) -> list[Sweep]:
    from xover.explain.sweeps import Where, read_sweep

    sweeps = [read_sweep(Where.TERMINALS, "", impedance, tuple(repeat or ()))]
    for where, given in others.items():
        for text in given or ():
            driver, equals, file = text.partition("=")
            if not equals or not driver or not file:
                raise OptionError(f"--{where} is '{text[:60]}'", f"write it as --{where} {_some(opened)}=FILE")
            sweeps.append(read_sweep(Where(where), driver, Path(file)))
    return sweeps


def _some(opened: Speaker) -> str:
    return next(reversed(opened.drivers), "tweeter")


def _prior(text: str) -> Prior:
    from xover.explain.unknowns import Prior

    words = [str(p) for p in Prior]
    if text not in words:
        near = nearest_word(text, words)
        raise OptionError(
            f"--prior is '{text[:40]}'", f"did you mean {near}?" if near else "give one of " + ", ".join(words)
        )
    return Prior(text)


def _jig(gain: str, scale: str, lead_ohm: str | None) -> Jig:
    from xover.explain.problem import Jig

    lead = None if lead_ohm is None else resistance(lead_ohm, "--lead-ohm")
    return Jig(_share("--gain", gain, 0.0, 0.3), lead, _share("--scale", scale, 0.0, 0.3))


def _share(option: str, text: str, low: float, high: float) -> float:
    from xover.quantity import parse_fraction

    try:
        value = parse_fraction(text)
    except InputError as error:
        raise OptionError(f"{option}: {error.problem}", error.remedy) from None
    if not (math.isfinite(value) and low <= value <= high):
        raise OptionError(
            f"{option} is {text[:40]}", f"give a share from {100 * low:g} to {100 * high:g} %, such as 1%"
        )
    return value


def _show(study: InferStudy) -> None:
    from xover.explain.unknowns import PRIOR_WORDS

    show_heading(f"{study.title}: parts of '{study.network}', read from its terminals")
    show_text(study.headline + ".")
    if study.numbers_given:
        _show_parts(study)
    for sentence in study.sentences:
        show_text(sentence + ".")
    if study.rivals:
        _show_rivals(study)
    show_heading("The measurement")
    _show_measurement(study.measurement, study.residual)
    show_item("beforehand", PRIOR_WORDS[study.prior])


def _show_parts(study: InferStudy) -> None:
    from xover.studies.aged.infer.words import said_value

    show_heading("Parts, as marked and as they are now (95 % interval)")
    rows = []
    for part in study.parts:
        own = part.own
        rows.append(
            [
                part.name,
                str(part.kind),
                said_value(own.marked, own.kind),
                said_value(own.value, own.kind) if own.seen else f"({said_value(own.value, own.kind)})",
                said_value(own.low, own.kind),
                said_value(own.high, own.kind),
                f"{round(100 * part.drift) + 0:+d} %" if own.seen else "-",
                "yes" if own.seen else "no",
            ]
        )
    show_table(["part", "kind", "marked", "now", "from", "to", "drift", "seen"], rows)
    if not all(part.own.seen for part in study.parts):
        show_text("In brackets: not pinned down from here; such an interval rests on what was plausible beforehand.")
    rows = [
        _loss_row(f"{part.name} {key}", loss) for part in study.parts for key, loss in part.losses.items() if loss.seen
    ]
    hidden = [f"{part.name} {key}" for part in study.parts for key, loss in part.losses.items() if not loss.seen]
    if rows:
        show_heading("Losses that show: resistance of coils, loss of capacitors")
        show_table(["loss", "marked", "now", "from", "to"], rows)
    if hidden:
        show_item("losses not seen", ", ".join(hidden))
    if study.confusions:
        show_heading("What cannot be told apart from here")
        for confusion in study.confusions:
            text = confusion.sentence
            show_text(text[0].upper() + text[1:] + ".")
    show_heading("What next")


def _loss_row(name: str, loss: Inferred) -> list[str]:
    from xover.studies.aged.infer.words import said_value

    return [name, *(said_value(value, loss.kind, 2) for value in (loss.marked, loss.value, loss.low, loss.high))]


def _show_rivals(study: InferStudy) -> None:
    show_heading(f"Networks one fault away, {study.tried} tried, best first")
    rows = [
        [
            rival.neighbour.words,
            f"{100 * rival.residual:.2f}",
            "yes" if rival.test.fits else "no",
            f"{rival.log_evidence:.{0 if rival.log_evidence < -100 else 1}f}",
            "tie" if rival.tied and sum(r.tied for r in study.rivals) > 1 else "",
        ]
        for rival in study.rivals
    ]
    show_table(["network", "left over %", "fits", "ln evidence", ""], rows)
    show_text(
        "left over: rms of what the fit leaves of |Z|. ln evidence: against the best; less than 3 apart is a tie."
    )


def _show_measurement(measured: Measurement, residual: float) -> None:
    noise = measured.noise
    phase = "" if math.isnan(noise.phase_rad) else f", {math.degrees(noise.phase_rad):.2f} degrees"
    show_item("noise of a row", f"{100 * noise.magnitude:.2f} %{phase}, from {noise.source}")
    drivers = ", ".join(f"{name} {100 * sigma:.2f} %" for name, sigma in measured.driver_noise.items())
    show_item("drivers' sweeps", drivers)
    show_item("left over", f"{100 * residual:.2f} % of |Z|, rms, magnitude and phase together")
    if not math.isnan(measured.gain):
        show_item("gain", f"{measured.gain:.4f} +- {1.96 * measured.gain_error:.4f} of the drivers' sweeps")
    if measured.lead_error_ohm > 0:
        show_item("leads", f"{measured.lead_ohm:.3f} +- {1.96 * measured.lead_error_ohm:.3f} ohm, fitted")
    else:
        show_item("leads", f"{measured.lead_ohm:g} ohm, as stated")
    low, high = measured.band_hz
    show_item("rows", f"{measured.rows}, {hertz(low)} to {hertz(high)}, where every driver is known")
    check = measured.causality
    if check.causal is None:
        show_item("causal", f"cannot be judged: {check.reason}")
    else:
        verdict = "yes" if check.causal else "no"
        show_item(
            "causal", f"{verdict}: {100 * check.residual:.1f} % cannot be followed, {100 * check.tolerance:g} % may be"
        )
