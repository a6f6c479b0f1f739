"""xover predict: what reaches each driver, and what is the sum?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import numpy as np
import typer

from xover.cli.options import (
    Force,
    From,
    Json,
    NetworkName,
    OutputOhm,
    PerOctave,
    Plot,
    SpeakerPath,
    To,
    chosen_network,
    frequency,
    grid,
    resistance,
)
from xover.cli.plot import write_plot
from xover.cli.show import (
    db,
    degrees,
    hertz,
    octave_centres,
    ohm,
    show_heading,
    show_item,
    show_json,
    show_table,
    show_text,
    show_warnings,
)
from xover.errors import OptionError

if TYPE_CHECKING:
    from xover.sound.prediction import Prediction


def predict(
    speaker: SpeakerPath,
    network: NetworkName = None,
    from_hz: From = "20",
    to_hz: To = "20k",
    per_octave: PerOctave = 48,
    band: Annotated[
        str | None, typer.Option("--band", metavar="HZ..HZ", help="Band of level and deviation [default: 200..15k].")
    ] = None,
    output_ohm: OutputOhm = None,
    plot: Plot = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """What reaches each driver, and what is the sum?

    Example: xover predict examples/attic-two-way/left --network found --plot sum.png
    """
    from xover.sound.prediction import predict as study
    from xover.speaker import open_speaker

    opened = open_speaker(speaker)
    name = chosen_network(opened, network)
    source = resistance(output_ohm, "--output-ohm") if output_ohm is not None else 0.0
    result = study(opened, name, grid(from_hz, to_hz, per_octave), band_hz=_band(band), output_ohm=source)
    write_plot(result, plot, force)
    if as_json:
        show_json(result)
        return
    _show(result)
    if plot is not None:
        show_text(f"Figure written to {plot}.", "")
    show_warnings(result.warnings)


def _band(text: str | None) -> tuple[float, float] | None:
    if text is None:
        return None
    low, dots, high = text.partition("..")
    if not dots:
        raise OptionError(f"--band is {text}", "write it as 200..15k")
    ends = (frequency(low, "--band"), frequency(high, "--band"))
    if not ends[0] < ends[1]:
        raise OptionError(f"--band is {text}", "write the lower frequency first")
    return ends


def _show(p: Prediction) -> None:
    show_heading(f"{p.title}: network '{p.network}'")
    show_text("Levels in dB re 20 uPa for 2.83 V at 1 m on the design axis.", "")
    for name, evidence in p.evidence.items():
        show_item(name, f"impedance {evidence['impedance']}, response {evidence['response']}")
    show_item("timing", p.timing_reason)
    rows = {
        f: int(np.argmin(np.abs(np.log(p.frequency_hz / f))))
        for f in octave_centres(float(p.frequency_hz[0]), float(p.frequency_hz[-1]))
    }
    _show_sound(p, rows)
    _show_drive(p, rows)
    show_heading("The sum")
    _show_sum(p)


def _show_sound(p: Prediction, rows: dict[float, int]) -> None:
    total = p.total
    show_heading("Sound, dB")
    columns = {"sum": total.level_db}
    if not total.coherent:
        columns |= {"best": total.best_level_db, "worst": total.worst_level_db}
    columns |= {b.key: b.level_db for b in p.branches}
    if total.reversed_keys:
        columns["reversed"] = total.reversed_level_db
    show_table(["Hz", *columns], [[f"{f:g}", *(db(c[i]) for c in columns.values())] for f, i in rows.items()])
    if total.reversed_keys:
        show_text(f"reversed: the sum with the wires of {', '.join(total.reversed_keys)} swapped.")


def _show_drive(p: Prediction, rows: dict[float, int]) -> None:
    show_heading("Drive: voltage at each driver over the amplifier's, dB; and the load")
    with np.errstate(divide="ignore"):
        columns = {key: 20 * np.log10(np.abs(value)) for key, value in p.drive.items()}
    only = next(iter(p.impedance_ohm.values())) if len(p.impedance_ohm) == 1 else None
    header = ["Hz", *columns] if only is None else ["Hz", *columns, "ohm", "deg"]
    lines = []
    for f, i in rows.items():
        line = [f"{f:g}", *(db(c[i]) for c in columns.values())]
        if only is not None:
            line += [ohm(abs(only[i])), degrees(float(np.degrees(np.angle(only[i]))))]
        lines.append(line)
    show_table(header, lines)


def _show_sum(p: Prediction) -> None:
    band = p.band
    show_item(
        "level",
        f"{db(band.mean_db)} dB from {hertz(band.known_from_hz)} to {hertz(band.known_to_hz)}, "
        f"{db(band.highest_deviation_db, signed=True)} dB at {hertz(band.highest_at_hz)}, "
        f"{db(band.lowest_deviation_db, signed=True)} dB at {hertz(band.lowest_at_hz)}, "
        f"rms {db(band.rms_deviation_db)} dB",
    )
    s = p.sensitivity
    one_watt = (
        f", {db(s.level_1w_db)} dB for 1 W into {s.resistance_ohm:g} ohm"
        if s.level_1w_db is not None and s.resistance_ohm is not None
        else ""
    )
    show_item(
        "sensitivity",
        f"{db(s.level_db)} dB for 2.83 V{one_watt} (pink noise {hertz(s.known_from_hz)} to {hertz(s.known_to_hz)})",
    )
    for corner in p.corners:
        low = hertz(corner.low_hz) if corner.low_hz is not None else corner.low_note
        high = hertz(corner.high_hz) if corner.high_hz is not None else corner.high_note
        show_item(f"-{corner.drop_db:g} dB", f"{low} and {high}")
    for c in p.crossovers:
        pair = f"{'+'.join(c.lower)} / {'+'.join(c.upper)}"
        if c.frequency_hz is None:
            show_item("crossover", f"{pair}: none, {c.reason}")
            continue
        words = f"{pair} at {hertz(c.frequency_hz)}"
        if c.level_re_sum_db is not None:
            words += f", each {db(c.level_re_sum_db, signed=True)} dB re sum"
        fall, rise = c.lower_slope_db_per_octave, c.upper_slope_db_per_octave
        if fall is not None and rise is not None:
            words += f", slopes {db(fall, 0)} and {db(rise, 0, True)} dB/octave"
        if c.phase_difference_deg is not None:
            words += f", phases {degrees(c.phase_difference_deg)} deg apart"
        if c.null_depth_db is not None:
            words += f", reversed null {db(c.null_depth_db)} dB deep at {hertz(c.null_at_hz)}"
        show_item("crossover", words)
    if p.off_axis is not None:
        off = p.off_axis
        inside = (p.frequency_hz >= band.from_hz) & (p.frequency_hz <= band.to_hz)
        with np.errstate(invalid="ignore"):  # silence less silence is not known
            changes = off.level_db[:, inside] - p.total.level_db[inside]
        words = ", ".join(
            f"{a:+g} deg {db(float(np.nanmin(row)), signed=True)} dB"
            for a, row in zip(off.vertical_deg, changes, strict=True)
            if np.isfinite(row).any()
        )
        show_item("off axis", f"deepest change in that band, {off.distance_m:g} m away (+ is up): {words}")
    for null in p.nulls:
        above = "none" if null.above_deg is None else f"{null.above_deg:+.0f} deg"
        below = "none" if null.below_deg is None else f"{null.below_deg:+.0f} deg"
        show_item("vertical nulls", f"at {hertz(null.crossover_hz)}: above {above}, below {below}")
    if p.output_ohm:
        show_item("amplifier", f"levels behind an output resistance of {p.output_ohm:g} ohm; V is at its terminals")
