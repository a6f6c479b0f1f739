"""xover verify: does the build do what was predicted, and if not, which part?"""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from xover.cli.compare import Channel, band
from xover.cli.options import Force, Json, NetworkName, Plot, SpeakerPath, Strict, chosen_network
from xover.cli.plot import write_plot
from xover.cli.show import db, hertz, show_heading, show_item, show_json, show_table, show_text, show_warnings
from xover.errors import InputError, OptionError
from xover.quantity import parse_fraction

if TYPE_CHECKING:
    import numpy as np

    from xover.curve import Float
    from xover.speaker import Speaker
    from xover.studies.aged.verify.pair_result import PairStudy
    from xover.studies.aged.verify.result import VerifyStudy

MOST_GROUPS = 4
"""Ranks that are shown; what was measured cannot tell apart what shares one."""
FAR_BEHIND = 12.0
"""Tenfold odds beyond which a fault is not worth a line."""


def verify(
    speaker: SpeakerPath,
    impedance: Annotated[
        Path, typer.Option("--impedance", metavar="FILE", help="Sweep at the speaker's terminals, ohm.")
    ],
    network: NetworkName = None,
    response: Annotated[
        Path | None, typer.Option("--response", metavar="FILE", help="Level of the whole speaker, dB.")
    ] = None,
    third_octaves: Annotated[
        bool, typer.Option("--third-octaves", help="The response is a level for each third octave.")
    ] = False,
    against: Annotated[
        Path | None,
        typer.Option("--against", metavar="FILE", help="Sweep of the other speaker of the pair: what differs?"),
    ] = None,
    noise: Annotated[
        str | None, typer.Option("--noise", metavar="SHARE", help="Noise of the sweep [default: from the sweep].")
    ] = None,
    response_noise: Annotated[
        float | None,
        typer.Option("--response-noise", metavar="DB", help="Of a third octave [default: 0.5, with averages 1]."),
    ] = None,
    impedance_band: Annotated[
        str, typer.Option("--band", metavar="HZ..HZ", help="Where the impedance counts.")
    ] = "20..20k",
    response_band: Annotated[
        str, typer.Option("--response-band", metavar="HZ..HZ", help="Where the response counts.")
    ] = "200..15k",
    channel: Channel = None,
    plot: Plot = None,
    force: Force = False,
    strict: Strict = False,
    as_json: Json = False,
) -> int:
    """Does the build do what was predicted? Which part, if not?

    Holds the sweep of a finished speaker, and its sound if given, against the prediction of a network, allowing for
    the tolerance of every part, for the noise of the sweep, for the gain and the leads of the jig, and for drivers that
    have changed a little since they were measured. If that does not explain it, every single fault is tried: open,
    shorted, wrong by a decade, another value, swapped, a driver dead or reversed.

    With --against it asks of a pair what differs between the two: parts, or a driver.

    Example: xover verify examples/attic-two-way/left --network original --impedance
    examples/attic-two-way/left/terminals-rebuilt.csv
    """
    from xover.curve import Evidence
    from xover.files.tables import read_impedance, read_response
    from xover.speaker import open_speaker

    if third_octaves and response is None:
        raise OptionError("--third-octaves has no response to speak of", "add --response FILE")
    if response_noise is not None and not (math.isfinite(response_noise) and 0.0 < response_noise <= 20.0):
        raise OptionError(f"--response-noise is {response_noise:g}", "give decibels above 0, up to 20")
    opened = open_speaker(speaker)
    name = chosen_network(opened, network)
    share = None if noise is None else _fraction(noise)
    swept, said = read_impedance(impedance, Evidence.MEASURED)
    notes = [f"{impedance.name}: {w}" for w in said]
    if against is not None:
        return _pair(
            opened, name, impedance, against, response, share, impedance_band, channel, plot, force, strict, as_json
        )
    from xover.studies.aged.verify.study import verify as study

    heard = None
    if response is not None:
        heard, said = read_response(response, Evidence.MEASURED)
        notes += [f"{response.name}: {w}" for w in said]
    result = study(
        opened,
        name,
        swept,
        response=heard,
        third_octaves=third_octaves,
        channel=channel,
        noise=share,
        response_sigma_db=response_noise,
        band_hz=band(impedance_band, "--band"),
        response_band_hz=band(response_band, "--response-band"),
    )
    write_plot(result, plot, force)
    status = 1 if strict and not result.agrees else 0
    if as_json:
        show_json(result)
        return status
    _show(result, impedance.name)
    if plot is not None:
        show_text(f"Figure written to {plot}.", "")
    show_warnings([*notes, *result.warnings])
    return status


def _pair(
    opened: Speaker,
    name: str,
    impedance: Path,
    against: Path,
    response: Path | None,
    noise: float | None,
    impedance_band: str,
    channel: str | None,
    plot: Path | None,
    force: bool,
    strict: bool,
    as_json: bool,
) -> int:
    from xover.curve import Evidence
    from xover.files.tables import read_impedance
    from xover.studies.aged.verify.pair import explain_pair

    if response is not None:
        raise OptionError("--against compares impedances", "leave out --response, or compare levels: xover compare A B")
    first, said = read_impedance(impedance, Evidence.MEASURED)
    second, more = read_impedance(against, Evidence.MEASURED)
    notes = [f"{impedance.name}: {w}" for w in said] + [f"{against.name}: {w}" for w in more]
    result = explain_pair(
        opened, name, first, second, channel=channel, band_hz=band(impedance_band, "--band"), noise=noise
    )
    write_plot(result, plot, force)
    status = 1 if strict and not result.agrees else 0
    if as_json:
        show_json(result)
        return status
    _show_pair(result, impedance, against)
    if plot is not None:
        show_text(f"Figure written to {plot}.", "")
    show_warnings([*notes, *result.warnings])
    return status


def _fraction(text: str) -> float:
    try:
        return parse_fraction(text)
    except InputError as error:
        raise OptionError(f"--noise: {error.problem}", error.remedy) from None


def _show(v: VerifyStudy, sweep: str) -> None:
    z, sound = v.terminals, v.sound
    show_heading(f"{v.title}: {sweep} against network '{v.network}'")
    show_text(v.headline[0].upper() + v.headline[1:] + ".")
    if v.reasons and not v.faults:
        return
    show_heading("Measured less predicted")
    show_item(
        "impedance",
        f"rms {100 * z.residual:.1f} %, largest {z.worst_percent:+.1f} % at {hertz(z.worst_at_hz)}; noise "
        f"{100 * z.noise:.2f} % ({z.noise_source})",
    )
    if sound is not None:
        show_item(
            "sound",
            f"rms {db(sound.rms_db, 1)} dB, largest {db(sound.worst_db, 1, True)} dB near {hertz(sound.worst_at_hz)}, "
            f"third octaves, level matched; {sound.sigma_db:g} dB of each is taken as noise",
        )
    _show_octaves(v)
    if v.agrees:
        if v.not_excluded:
            show_heading("Would not show in what was measured")
            for words in v.not_excluded:
                show_text(words)
        return
    show_heading("Why it does not agree")
    for reason in v.reasons:
        show_text(reason[0].upper() + reason[1:] + ".")
    show_heading(f"Single faults, likeliest first, of {v.tried} tried")
    rows, tests = [], []
    for fault in v.faults:
        if fault.tie >= MOST_GROUPS or (fault.tie and -fault.odds_log10 > FAR_BEHIND):
            continue
        told = fault.fault.told if fault.value is None else fault.words.removeprefix(f"{fault.fault.part} ")
        cells = [str(fault.tie + 1), fault.fault.part, told.partition(" in place")[0], f"{100 * fault.residual:.1f}"]
        cells += [db(fault.sound_db, 1)] if sound is not None else []
        rows.append([*cells, _odds(fault.odds_log10), "yes" if fault.explains else "no"])
        if fault.tie == 0:
            tests.append((fault.words, fault.needs, fault.next_test))
    head = ["", "part", "fault", "leaves %", *(["dB"] if sound is not None else []), "odds", "explains"]
    show_table(head, rows)
    show_text(
        "leaves: rms of the impedance; odds: against the first; explains: what is left is noise, and all other parts "
        "keep within tolerance. Faults of one number cannot be told apart by what was measured."
    )
    show_heading("Next")
    for words, needs, test in tests:
        beside = f"; needs {', '.join(needs)} besides" if needs else ""
        show_text(f"{words}{beside}:")
        show_text(test + ".", "    ")
    if "no single fault" in v.headline:
        show_text(f"More than one thing is off: 'xover infer' gives the value of each part from {sweep}.")


def _show_octaves(v: VerifyStudy) -> None:
    """Mean and band of the impedance in each octave, and of the sound."""
    import numpy as np

    from xover.acoustic.octave_bands import bands_touched, mean_over_bands, nominal_hz

    z, sound = v.terminals, v.sound
    centres = bands_touched(float(z.frequency_hz[0]), float(z.frequency_hz[-1]), 1)

    def mean(curve: Float | None) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        values = np.full(centres.size, np.nan) if curve is None else mean_over_bands(z.frequency_hz, curve, centres, 1)
        return np.asarray(values)

    columns = [mean(c) for c in (z.percent, z.band_percent, z.phase_deg, z.band_deg)]
    rows = []
    for i, centre in enumerate(centres):
        percent, within, phase, phase_within = (float(c[i]) for c in columns)
        if math.isnan(percent):
            continue
        row = [f"{nominal_hz(float(centre)):g}", f"{percent:+.1f}", f"{within:.1f}"]
        row += [db(phase, 1, True), db(phase_within, 1)] if z.phase_deg is not None else []
        if sound is not None:
            near = np.abs(np.log2(sound.centre_hz / centre)) < 0.5
            heard = float(np.mean(sound.difference_db[near])) if near.any() else math.nan
            row += [db(heard, 1, True), db(float(np.mean(sound.band_db[near])) if near.any() else math.nan, 1)]
        rows.append(row)
    head = ["octave Hz", "ohms %", "band"]
    head += ["phase deg", "band"] if z.phase_deg is not None else []
    head += ["sound dB", "band"] if sound is not None else []
    show_table(head, rows)
    show_text("Means over octaves; band: what tolerances and noise explain, two standard deviations to either side.")


def _odds(log10: float) -> str:
    if log10 > -0.05:
        return "1"
    return f"1:{10**-log10:.0f}" if log10 > -4 else f"1:10^{-log10:.0f}"


def _show_pair(p: PairStudy, first: Path, second: Path) -> None:
    show_heading(f"{p.title}, network '{p.network}': {second} against {first}")
    show_text(p.headline[0].upper() + p.headline[1:] + ".")
    show_item(
        "difference",
        f"rms {100 * p.residual:.1f} % of the impedance; noise {100 * p.noise[1]:.2f} and {100 * p.noise[0]:.2f} %; "
        f"the network fits the first sweep to {100 * p.first_residual:.1f} %",
    )
    if not p.agrees:
        show_heading(f"What may have changed, likeliest first, of {p.tried} tried")
        shown = [e for e in p.explanations if e.tie < MOST_GROUPS and (e.tie == 0 or -e.odds_log10 < FAR_BEHIND)]
        for e in shown:
            verdict = "" if e.explains else ", does not explain it all"
            show_item(
                f"{e.tie + 1}.", f"{e.words} (leaves {100 * e.residual:.1f} %, odds {_odds(e.odds_log10)}{verdict})", 3
            )
        show_text("Explanations of one number cannot be told apart by the two sweeps.")
        show_heading("Next")
        for test in dict.fromkeys(e.next_test for e in shown if e.tie == 0):
            show_text(test + ".")
    if p.hidden:
        show_heading("Would not show in these sweeps")
        show_text("; ".join(p.hidden) + ". Sweep the driver alone to see it.")
