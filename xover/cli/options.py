"""Arguments that several commands share.

The command modules load the studies inside the commands: help and faults in what was typed come at once,
and no command waits for what another one needs.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from xover.cli.complete import network_names
from xover.errors import InputError, OptionError
from xover.quantity import Kind, parse_quantity

if TYPE_CHECKING:
    from xover.curve import Float
    from xover.speaker import Speaker

SpeakerPath = Annotated[Path, typer.Argument(metavar="SPEAKER", help="Speaker folder, or its speaker.toml.")]
NetworkName = Annotated[
    str | None,
    typer.Option(
        "--network",
        "-n",
        metavar="NAME",
        help="Named network of the folder [default: found].",
        autocompletion=network_names,
    ),
]
Json = Annotated[bool, typer.Option("--json", help="One JSON object on standard output, nothing else.")]
Jobs = Annotated[int, typer.Option("--jobs", metavar="N", help="Processes to spread the work over; -1: all cores.")]
Strict = Annotated[bool, typer.Option("--strict", help="Exit with status 1 if a limit that you gave is broken.")]
From = Annotated[str, typer.Option("--from", metavar="HZ", help="Lowest frequency.")]
To = Annotated[str, typer.Option("--to", metavar="HZ", help="Highest frequency.")]
PerOctave = Annotated[int, typer.Option("--per-octave", metavar="N", help="Points in each octave, 1 to 960.")]
Plot = Annotated[
    Path | None, typer.Option("--plot", metavar="FILE", help="Draw the result into a .png, .svg or .pdf file.")
]
Force = Annotated[bool, typer.Option("--force", help="Overwrite a file that is there already.")]
OutputOhm = Annotated[
    str | None, typer.Option("--output-ohm", metavar="OHM", help="Amplifier's output resistance, such as 1.6 (valves).")
]


def grid(from_hz: str, to_hz: str, per_octave: int) -> Float:
    """Frequencies from the three options. Raises OptionError."""
    from xover.curve import log_grid

    low, high = frequency(from_hz, "--from"), frequency(to_hz, "--to")
    if not low < high:
        raise OptionError(f"--from {from_hz} is not below --to {to_hz}", "swap them")
    if not 1 <= per_octave <= 960:
        raise OptionError(f"--per-octave is {per_octave}", "give a number from 1 to 960")
    return log_grid(low, high, per_octave)


def frequency(text: str, option: str) -> float:
    """One frequency from 0.1 Hz to 1 MHz. Raises OptionError."""
    value = quantity(text, Kind.FREQUENCY, option)
    if not 0.1 <= value <= 1e6:
        raise OptionError(f"{option} is {text}", "give a frequency from 0.1 to 1000000 Hz")
    return value


def resistance(text: str, option: str) -> float:
    """One resistance of zero or more. Raises OptionError."""
    value = quantity(text, Kind.RESISTANCE, option)
    if not (math.isfinite(value) and 0 <= value <= 1e4):
        raise OptionError(f"{option} is {text}", "give a resistance from 0 to 10000 ohm")
    return value


def quantity(text: str, kind: Kind, option: str) -> float:
    """A value with its unit as it was typed behind an option. Raises OptionError that names the option."""
    try:
        return parse_quantity(text, kind)
    except InputError as error:
        raise OptionError(f"{option}: {error.problem}", error.remedy) from None


def chosen_network(speaker: Speaker, name: str | None) -> str:
    """The network that was asked for, or the folder's own default."""
    return name if name is not None else speaker.default_network()
