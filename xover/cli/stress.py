"""xover stress: what heats the parts at full level, and which ratings do they need?"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated

import typer

from xover.cli.complete import one_of
from xover.cli.options import Force, Json, NetworkName, Plot, SpeakerPath, Strict, chosen_network, quantity
from xover.cli.plot import write_plot
from xover.cli.show import hertz, show_heading, show_item, show_json, show_table, show_text, show_warnings
from xover.errors import OptionError
from xover.quantity import Kind

if TYPE_CHECKING:
    from xover.amplifier.part_rating import PartRating
    from xover.amplifier.programme import Spectrum
    from xover.amplifier.stress import ElementStress
    from xover.studies.bears.stress.study import StressStudy

CLIPPED_CREST = 2.0

SpectrumName = Annotated[
    str,
    typer.Option(
        "--spectrum",
        metavar="NAME",
        help="Noise that stands for music: programme or pink.",
        autocompletion=one_of("programme", "pink"),
    ),
]


def stress(
    speaker: SpeakerPath,
    network: NetworkName = None,
    power: Annotated[
        str | None,
        typer.Option("--power", metavar="W@OHM", help="Amplifier's rating, such as 60W@8 [default: speaker.toml's]."),
    ] = None,
    volts: Annotated[
        str | None, typer.Option("--volts", metavar="V", help="Rms of the programme instead, such as 10.")
    ] = None,
    crest: Annotated[
        float, typer.Option("--crest", metavar="N", help="Peak over rms of the programme; clipped music has 2.")
    ] = 4.0,
    spectrum: SpectrumName = "programme",
    plot: Plot = None,
    force: Force = False,
    strict: Strict = False,
    as_json: Json = False,
) -> int:
    """Watts, volts and amperes in every part: which ratings?

    Example: xover stress examples/attic-two-way/left --network found --power 60W@8 --strict
    """
    from xover.speaker import open_speaker
    from xover.studies.bears.stress.study import study_stress

    noise = spectrum_of(spectrum)
    watts, load = _rating(power) if power is not None else (None, None)
    rms = voltage(volts, "--volts") if volts is not None else None
    opened = open_speaker(speaker)
    result = study_stress(
        opened,
        chosen_network(opened, network),
        power_w=watts,
        load_ohm=load,
        rms_v=rms,
        crest=crest,
        spectrum=noise,
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


def spectrum_of(text: str) -> Spectrum:
    """The noise of that name. Raises OptionError."""
    from xover.amplifier.programme import Spectrum

    try:
        return Spectrum(text.strip().lower())
    except ValueError:
        raise OptionError(f"--spectrum is {text}", "give programme or pink") from None


def voltage(text: str, option: str) -> float:
    """Volts from 1 mV to 1 kV. Raises OptionError."""
    value = quantity(text, Kind.VOLTAGE, option)
    if not 1e-3 <= value <= 1e3:
        raise OptionError(f"{option} is {text}", "give volts rms from 0.001 to 1000")
    return value


def _rating(text: str) -> tuple[float, float | None]:
    """Watts and the ohm they are rated into; the latter None where it is not said."""
    watts, at, ohms = text.partition("@")
    power = quantity(watts, Kind.POWER, "--power")
    if not 1e-3 <= power <= 1e5:
        raise OptionError(f"--power is {text}", "give watts from 0.001 to 100000, such as 60W@8")
    if not at:
        return power, None
    load = quantity(ohms, Kind.RESISTANCE, "--power")
    if not 0.1 <= load <= 1e4:
        raise OptionError(f"--power is {text}", "give the load in ohm behind the @, such as 60W@8")
    return power, load


def _show(study: StressStudy) -> None:
    from xover.amplifier.stress import ElementKind

    show_heading(f"{study.title}: network '{study.network}', stress on its parts")
    for level in study.levels:
        show_item("listening" if level.name == "listening" else "full level", level.sentence, 10)
    show_item("programme", study.spectrum_words, 10)
    full, quiet = study.full.stress, study.quiet
    _show_drivers(study, full.of_kind(ElementKind.DRIVER))
    resistors = full.of_kind(ElementKind.RESISTOR, ElementKind.LAMP)
    if resistors:
        show_heading("Resistors: watts of heat")
        show_table(
            ["part", "W", *(["listening"] if quiet else []), "full sine", "at", "needed", "usual", "card", "verdict"],
            [
                [
                    e.name,
                    amount(e.power_w),
                    *([amount(quiet.stress.of(e.name).power_w)] if quiet else []),
                    amount(e.sine_power_w),
                    hertz(e.sine_power_at_hz),
                    *_rated(study.ratings.get(e.name)),
                ]
                for e in resistors
            ],
        )
    capacitors = full.of_kind(ElementKind.CAPACITOR)
    if capacitors:
        show_heading("Capacitors: volts")
        show_table(
            ["part", "rms", "peak", "full sine", "at", "needed", "usual", "card", "verdict", "W"],
            [
                [
                    e.name,
                    amount(e.voltage_rms_v),
                    amount(e.crest_voltage_peak_v),
                    amount(e.sine_voltage_peak_v),
                    hertz(e.sine_voltage_at_hz),
                    *_rated(study.ratings.get(e.name)),
                    amount(e.power_w),
                ]
                for e in capacitors
            ],
        )
    coils = full.of_kind(ElementKind.COIL)
    if coils:
        show_heading("Coils: amperes")
        show_table(
            ["part", "rms", "peak", "full sine", "at", "card", "verdict", "W in DCR"],
            [
                [
                    e.name,
                    amount(e.current_rms_a),
                    amount(e.crest_current_peak_a),
                    amount(e.sine_current_peak_a),
                    hertz(e.sine_current_at_hz),
                    *_rated(study.ratings.get(e.name))[2:],
                    amount(e.power_w),
                ]
                for e in coils
            ],
        )
    _show_words(study)


def _show_drivers(study: StressStudy, drivers: tuple[ElementStress, ...]) -> None:
    quiet, full = study.quiet, study.full.stress
    show_heading("Drivers: watts of the programme")
    show_table(
        ["driver", "W", *(["listening"] if quiet else []), "share %", "V rms", "A rms"],
        [
            [
                e.key,
                amount(e.power_w),
                *([amount(quiet.stress.of(e.name).power_w)] if quiet else []),
                _percent(e.power_share),
                amount(e.voltage_rms_v),
                amount(e.current_rms_a),
            ]
            for e in drivers
        ],
    )
    lost = full.power_w - sum(e.power_w for e in drivers if not math.isnan(e.power_w))
    show_text(f"{amount(full.power_w)} W in all, {amount(lost)} W of them in the network's parts.")


def _show_words(study: StressStudy) -> None:
    from xover.amplifier.part_rating import CAPACITOR_MARGIN, RESISTOR_MARGIN

    show_heading("Verdict")
    for sentence in study.limits_broken:
        show_text(sentence + ".")
    if not study.limits_broken:
        stated = any(r.said is not None for r in study.ratings.values())
        show_text("Every rating that a card states is high enough." if stated else "No card states a rating.")
    for caution in study.cautions:
        show_text(caution[0].upper() + caution[1:] + ".")
    crest = study.full.crest
    if crest > CLIPPED_CREST:
        show_text(
            f"Driven into clipping (crest factor {CLIPPED_CREST:g}), all watts are {(crest / CLIPPED_CREST) ** 2:.2g} "
            "times these."
        )
    show_heading("How to read it")
    show_text(
        f"needed: {RESISTOR_MARGIN:g} times the watts, {CAPACITOR_MARGIN:g} times the volts of the full sine (common "
        f"practice); usual: the next rating on sale. {study.outside_share:.1%} of the programme lies outside "
        f"{hertz(study.frequency_hz[0])} to {hertz(study.frequency_hz[-1])} and is not counted."
    )
    for words in study.assumptions[1:]:
        show_text(words[0].upper() + words[1:] + ".")


def _rated(rating: PartRating | None) -> list[str]:
    """Needed, usual, card and verdict."""
    if rating is None:
        return ["-", "-", "-", "-"]
    usual = "-" if math.isnan(rating.needed) else "none"
    return [
        amount(rating.needed),
        f"{rating.usual:g}" if rating.usual is not None else usual,
        "-" if rating.said is None else f"{rating.said:g}",
        "-" if rating.said is None else str(rating.verdict),
    ]


def amount(value: float) -> str:
    """A figure of a table, three digits at most."""
    if math.isnan(value):
        return "-"
    if math.isinf(value):
        return "no limit"
    if value == 0.0:
        return "0"
    return f"{value:.0f}" if abs(value) >= 99.5 else f"{value:#.3g}" if abs(value) >= 9.95 else f"{value:#.2g}"


def _percent(share: float) -> str:
    return "-" if math.isnan(share) else f"{100.0 * share:.1f}"
