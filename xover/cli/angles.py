"""xover angles: what is heard above, below and beside the axis?"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated

import numpy as np
import typer

from xover.cli.options import (
    Force,
    From,
    Json,
    NetworkName,
    PerOctave,
    Plot,
    SpeakerPath,
    To,
    chosen_network,
    grid,
    quantity,
)
from xover.cli.plot import write_plot
from xover.cli.show import (
    db,
    hertz,
    octave_centres,
    show_heading,
    show_item,
    show_json,
    show_table,
    show_text,
    show_warnings,
)
from xover.errors import InputError, OptionError
from xover.quantity import Kind, parse_quantity

if TYPE_CHECKING:
    from xover.acoustic.off_axis import VerticalNulls
    from xover.curve import Float
    from xover.studies.does.angles.study import AngleLevels, OffAxisStudy


def angles(
    speaker: SpeakerPath,
    network: NetworkName = None,
    vertical: Annotated[
        str, typer.Option("--vertical", metavar="DEG,..", help="Angles above (+) and below (-) the axis.")
    ] = "-30,-15,-10,0,10,15,30",
    horizontal: Annotated[
        str, typer.Option("--horizontal", metavar="DEG,..", help="Angles to the right (+) and left (-).")
    ] = "0,15,30,45,60",
    distance: Annotated[
        str | None,
        typer.Option("--distance", metavar="M", help="To the microphone, metres [default: speaker.toml, else 1 m]."),
    ] = None,
    from_hz: From = "20",
    to_hz: To = "20k",
    per_octave: PerOctave = 48,
    plot: Plot = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """What is heard above, below and beside the axis?

    Needs position_mm and diameter_mm of every driver. Each is a flat piston in an infinite baffle; a real cabinet does
    otherwise, the more the farther off the axis.

    Example: xover angles examples/attic-two-way/left --vertical -20,-10,0,10,20 --plot angles.svg
    """
    up, aside = _degrees(vertical, "--vertical"), _degrees(horizontal, "--horizontal")
    away = None if distance is None else quantity(distance, Kind.LENGTH, "--distance")
    from xover.speaker import open_speaker
    from xover.studies.does.angles.study import study_off_axis

    opened = open_speaker(speaker)
    result = study_off_axis(
        opened,
        chosen_network(opened, network),
        grid(from_hz, to_hz, per_octave),
        vertical_deg=up,
        horizontal_deg=aside,
        distance_m=away,
    )
    write_plot(result, plot, force)
    if as_json:
        show_json(result)
        return
    _show(result)
    if plot is not None:
        show_text(f"Figure written to {plot}.", "")
    show_warnings(result.warnings)


def _degrees(text: str, option: str) -> list[float]:
    """Angles such as -10,0,10. Raises OptionError."""
    out = []
    for part in text.split(","):
        plain = part.strip().lower().removesuffix("°").removesuffix("deg")
        try:
            out.append(parse_quantity(plain, Kind.PLAIN))
        except InputError as error:
            raise OptionError(f"{option}: {error.problem}", "give degrees with commas between, as -10,0,10") from None
    return out


def _show(study: OffAxisStudy) -> None:
    show_heading(f"{study.title}: network '{study.network}', off the axis")
    show_text(
        f"The {study.of_sum}, {study.distance_m:g} m away; dB less that on the axis, which is in dB re 20 uPa at the "
        "level of 1 m.",
        "",
    )
    for driver in study.drivers:
        show_item(driver.key, driver.sentence)
    show_item("timing", study.timing_reason)
    for words in study.unknown:
        show_item("not known", words)
    if study.known:
        _show_plane("Above (+) and below (-), degrees", study, study.vertical)
        _show_plane("To the right (+) and left (-), degrees", study, study.horizontal)
    if study.lobes:
        show_heading("The lobe at each crossover")
        rows = [_lobe(lobe) for lobe in study.lobes]
        show_table(["crossover", "leans deg", "by dB", "min. above", "dB", "min. below", "dB"], rows)
        show_text("leans: where the sum is loudest between the minima, and how much louder than on the axis.")
        for lobe in study.lobes:
            if lobe.reason:
                show_item(hertz(lobe.crossover_hz), lobe.reason)


def _show_plane(heading: str, study: OffAxisStudy, plane: AngleLevels) -> None:
    f = study.frequency_hz
    show_heading(heading)
    rows = []
    for hz in octave_centres(float(f[0]), float(f[-1])):
        row = int(np.argmin(np.abs(np.log(f / hz))))
        off = [db(float(level[row]), 1, True) for a, level in _beside(plane)]
        rows.append([f"{hz:g}", db(float(study.axis_db[row])), *off])
    show_table(["Hz", "axis dB", *(f"{a:+g}" for a, _ in _beside(plane))], rows)


def _beside(plane: AngleLevels) -> list[tuple[float, Float]]:
    """Angles other than the axis, with their levels against it."""
    return [(float(a), level) for a, level in zip(plane.angle_deg, plane.relative_db, strict=True) if a]


def _lobe(lobe: VerticalNulls) -> list[str]:
    return [
        hertz(lobe.crossover_hz),
        _angle(lobe.lobe_deg),
        db(lobe.lobe_db, 1, True),
        _angle(lobe.above_deg),
        _depth(lobe.above_depth_db),
        _angle(lobe.below_deg),
        _depth(lobe.below_depth_db),
    ]


def _angle(degrees: float | None) -> str:
    """An angle for a column; a dash where there is none."""
    if degrees is None:
        return "-"
    return f"{round(degrees):+d}" if round(degrees) else "0"


def _depth(depth_db: float | None) -> str:
    """How far below the axis."""
    if depth_db is None:
        return "-"
    return "silent" if math.isinf(depth_db) else db(-depth_db, 0, True)
