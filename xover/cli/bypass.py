"""xover bypass: each driver on its own amplifier channel, is it safe, and what does it need?"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated

import typer

from xover.cli.bypass_tables import (
    show_capacitor,
    show_channels,
    show_crossover,
    show_findings,
    show_map,
    show_missing,
    show_twin,
    show_watts,
)
from xover.cli.complete import slope_names
from xover.cli.options import Force, Json, NetworkName, Plot, SpeakerPath, Strict, frequency
from xover.cli.plot import write_plot
from xover.cli.show import show_heading, show_item, show_json, show_text, show_warnings
from xover.errors import OptionError

if TYPE_CHECKING:
    from xover.studies.change.bypass.result import BypassStudy


def bypass(
    speaker: SpeakerPath,
    network: NetworkName = None,
    frequency_hz: Annotated[
        str | None,
        typer.Option("--frequency", metavar="HZ[,HZ]", help="Corners, lowest first [default: speaker.toml's]."),
    ] = None,
    slope: Annotated[
        str | None,
        typer.Option(
            "--slope",
            metavar="NAME",
            help="Slope such as LR4 or B3 [default: speaker.toml's].",
            autocompletion=slope_names,
        ),
    ] = None,
    sample_rate: Annotated[
        str, typer.Option("--sample-rate", metavar="HZ", help="Sample rate of the electronic crossover.")
    ] = "48k",
    gain: Annotated[
        list[str] | None,
        typer.Option("--gain", metavar="CHANNEL=DB", help="Voltage gain of a channel's amplifier; may be repeated."),
    ] = None,
    plot: Plot = None,
    force: Force = False,
    strict: Strict = False,
    as_json: Json = False,
) -> int:
    """Each driver on its own channel: safe? What does it need?

    The network taken out is 'original' where there is one. With --strict the exit status is 1 if something forbids
    switching on, or a load lies below what its amplifier allows.

    Example: xover bypass examples/attic-two-way/left --frequency 3k --slope LR4 --plot bypass.png
    """
    from xover.speaker import open_speaker
    from xover.studies.change.bypass.study import study_bypass

    corners = None if frequency_hz is None else tuple(frequency(t, "--frequency") for t in frequency_hz.split(","))
    rate, gains = frequency(sample_rate, "--sample-rate"), _gains(gain or [])
    result = study_bypass(
        open_speaker(speaker),
        network,
        corners_hz=corners,
        slope=slope,
        sample_rate_hz=rate,
        amplifier_gain_db=gains,
    )
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


def _gains(given: list[str]) -> dict[str, float]:
    """Gains by channel from "woofer=26dB". Raises OptionError."""
    gains: dict[str, float] = {}
    for text in given:
        name, equals, value = text.partition("=")
        number = value.strip().lower().removesuffix("db").strip()
        try:
            gain = float(number)
        except ValueError:
            gain = math.nan
        if not (equals and name.strip() and math.isfinite(gain)):
            raise OptionError(f"--gain is {text}", "write it as --gain woofer=26dB")
        if name.strip() in gains:
            raise OptionError(f"--gain names {name.strip()} twice", "give each channel one gain")
        gains[name.strip()] = gain
    return gains


def _show(study: BypassStudy) -> None:
    from xover.studies.change.bypass.crossover import corners_words

    show_heading(f"{study.title}: each driver on its own channel")
    show_item("safe?", study.verdict, 9)
    show_item("crossover", f"{study.crossover.slope.name} at {corners_words(study.crossover.corners_hz)}", 9)
    show_item("", f"({study.crossover.slope.words}; {study.crossover.source})", 9)
    show_item("network", f"'{study.network}', to be taken out", 9)
    if study.unknown:
        show_heading("What this cannot know")
        for words in study.unknown:
            show_item("-", words, 1)
    show_findings(study, notes=False)
    show_channels(study)
    show_twin(study)
    show_crossover(study)
    show_map(study)
    show_missing(study)
    show_capacitor(study)
    show_watts(study)
    show_findings(study, notes=True)
