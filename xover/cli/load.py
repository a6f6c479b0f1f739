"""xover load: what does the amplifier see?"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

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
    Strict,
    To,
    chosen_network,
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

if TYPE_CHECKING:
    from xover.amplifier.faults import CapacitorStress
    from xover.studies.does.load.study import ChannelLoad, LoadStudy


def load(
    speaker: SpeakerPath,
    network: NetworkName = None,
    from_hz: From = "20",
    to_hz: To = "20k",
    per_octave: PerOctave = 48,
    output_ohm: OutputOhm = None,
    plot: Plot = None,
    force: Force = False,
    strict: Strict = False,
    as_json: Json = False,
) -> int:
    """What does the amplifier see, and may it?

    Example: xover load examples/attic-two-way/left --network found --strict
    """
    from xover.speaker import open_speaker
    from xover.studies.does.load.study import study_load

    opened = open_speaker(speaker)
    name = chosen_network(opened, network)
    source = resistance(output_ohm, "--output-ohm") if output_ohm is not None else None
    result = study_load(opened, name, grid(from_hz, to_hz, per_octave), output_ohm=source)
    write_plot(result, plot, force)
    status = 1 if strict and result.limits_broken else 0
    if as_json:
        show_json(result)
        return status
    _show(result)
    if plot is not None:
        show_text(f"Figure written to {plot}.", "")
    show_warnings(result.warnings)
    return status


def _show(study: LoadStudy) -> None:
    show_heading(f"{study.title}: network '{study.network}', load of the amplifier")
    for channel in study.channels.values():
        _show_channel(channel, len(study.channels) > 1)
    show_heading("Each driver open, then shorted")
    rows = [
        [
            case.driver,
            str(case.kind),
            "none" if case.minimum_ohm is None else ohm(case.minimum_ohm, 2),
            hertz(case.at_hz),
            *_worst(case.capacitors),
        ]
        for case in study.faults
    ]
    show_table(["driver", "fault", "lowest ohm", "at", "capacitor", "x drive", "V peak", "rated V"], rows)
    show_text(
        "x drive: the capacitor's highest voltage over the amplifier's; V peak: at its rated power; ! over the rating. "
        "An unplugged driver can leave a series-resonant short, and its capacitor far over the amplifier's voltage: "
        "never play loud with a driver disconnected, and switch off before you unplug one."
    )
    if study.listening is not None:
        show_heading("Power for the listening level")
        show_text(study.listening.sentence)
        need = study.listening
        if need.power_into_rated_w is not None:
            show_text(
                f"{need.power_into_rated_w:.0f} W into the rated load on peaks, "
                f"{need.average_power_into_rated_w:.2g} W on average."
            )
        show_text(f"Assumed: {need.assumption}.")


def _worst(capacitors: tuple[CapacitorStress, ...]) -> list[str]:
    known = [c for c in capacitors if not math.isnan(c.magnification)]
    if not known:
        return ["-", "-", "-", "-"]
    worst = max(known, key=lambda c: c.magnification)
    return [
        worst.name,
        f"{worst.magnification:.1f}" if worst.bounded else "unbounded",
        "-" if worst.peak_v is None or not np.isfinite(worst.peak_v) else f"{worst.peak_v:.0f}",
        "-" if worst.rating_v is None else f"{worst.rating_v:g}" + ("!" if worst.over_rating else ""),
    ]


def _show_channel(channel: ChannelLoad, several: bool) -> None:
    r = channel.reading
    if several:
        show_heading(f"Channel {channel.channel}: {', '.join(channel.drivers)}")
    rows = []
    for f in octave_centres(float(r.frequency_hz[0]), float(r.frequency_hz[-1])):
        i = int(np.argmin(np.abs(np.log(r.frequency_hz / f))))
        rows.append([f"{f:g}", ohm(r.impedance_ohm[i]), degrees(r.phase_deg[i]), ohm(r.epdr_ohm[i])])
    show_table(["Hz", "ohm", "deg", "EPDR ohm"], rows)
    typer.echo()
    show_item("lowest", f"{ohm(r.minimum_ohm, 2)} ohm at {hertz(r.minimum_at_hz)}")
    show_item("highest", f"{ohm(r.maximum_ohm)} ohm at {hertz(r.maximum_at_hz)}")
    show_item(
        "phase",
        f"{degrees(r.most_capacitive_deg)} deg at {hertz(r.most_capacitive_at_hz)}, "
        f"{degrees(r.most_inductive_deg)} deg at {hertz(r.most_inductive_at_hz)}",
    )
    show_item("lowest EPDR", f"{ohm(r.lowest_epdr_ohm, 2)} ohm at {hertz(r.lowest_epdr_at_hz)}")
    rating = "none of the usual ratings" if r.usual_rating_ohm is None else f"{r.usual_rating_ohm:g} ohm"
    show_item("may be rated", f"{rating} (IEC 60268-5: the lowest impedance is at least 80 % of the rating)")
    show_item("verdict", channel.verdict.sentence)
    show_item("", channel.verdict.epdr_sentence)
    if channel.demand is not None:
        d = channel.demand
        show_item(
            "at rated voltage",
            f"{d.rated_voltage_v:.1f} V rms: {d.current_rms_a:.1f} A rms, {d.current_peak_a:.1f} A peak at "
            f"{hertz(d.current_at_hz)} (a sine; the rated load draws {d.rated_current_rms_a:.1f} A rms); "
            f"{d.true_power_w:.0f} W at {hertz(d.true_power_at_hz)}",
        )
    if channel.source is not None:
        e = channel.source
        show_item(
            "output resistance",
            f"{e.output_ohm:g} ohm turns the impedance into response: {db(e.highest_db, 2, True)} dB at "
            f"{hertz(e.highest_at_hz)}, {db(e.lowest_db, 2, True)} dB at {hertz(e.lowest_at_hz)}",
        )
