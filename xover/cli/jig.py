"""xover jig: an impedance from a resistor and two channels of a sound card."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from xover.cli.complete import one_of
from xover.cli.options import Force, Json, resistance
from xover.cli.show import hertz, ohm, show_heading, show_item, show_json, show_table, show_text, show_warnings
from xover.errors import OptionError

if TYPE_CHECKING:
    from xover.studies.desk.jig.study import JigStudy


def jig(
    ratio: Annotated[Path, typer.Argument(metavar="TABLE", help="Second channel over first: frequency, dB, degrees.")],
    reference: Annotated[
        str, typer.Option("--reference", metavar="OHM", help="The resistor, as a meter reads it, such as 10.")
    ],
    across: Annotated[
        str,
        typer.Option(
            "--across",
            metavar="WHAT",
            help="What the second channel is across: driver or resistor.",
            autocompletion=one_of("driver", "resistor"),
        ),
    ] = "driver",
    leads: Annotated[str, typer.Option("--leads", metavar="OHM", help="Resistance of the leads, taken off.")] = "0",
    both: Annotated[
        Path | None, typer.Option("--both", metavar="TABLE", help="The same with both channels on one point.")
    ] = None,
    known: Annotated[
        str | None,
        typer.Option("--known", metavar="TABLE=OHM", help="The same with a known resistor in the driver's place."),
    ] = None,
    output: Annotated[
        Path | None, typer.Option("--output", "-o", metavar="FILE", help="Write the impedance table (CSV).")
    ] = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """An impedance from a resistor and two sound card channels.

    The first channel measures across resistor and driver together, the second across one of them. Start at low level:
    a sweep is loud where you do not expect it, and a tweeter wants little.

    Example: xover jig ratio.csv --reference 10 --both both.csv --known ten.csv=10 -o woofer-impedance.csv
    """
    from xover.driver.jig import Across
    from xover.files.atomic import check_target, write_text
    from xover.studies.desk.jig.study import study_jig

    if across not in tuple(Across):
        raise OptionError(f"--across is '{across[:40]}'", "give driver or resistor")
    if output is not None:
        check_target(output, force)
    known_file, known_ohm = _known(known)
    study = study_jig(
        ratio,
        resistance(reference, "--reference"),
        across=Across(across),
        leads_ohm=resistance(leads, "--leads"),
        both_file=both,
        known_file=known_file,
        known_ohm=known_ohm,
    )
    if output is not None:
        write_text(output, study.table, force)
    if as_json:
        show_json(study)
        return
    _show(study)
    if output is not None:
        show_text(f"Impedance written to {output}: name it as impedance = of a driver in speaker.toml.", "")
    show_warnings(study.warnings)


def _known(text: str | None) -> tuple[Path | None, float | None]:
    if text is None:
        return None, None
    name, equals, value = text.rpartition("=")
    if not equals or not name:
        raise OptionError(f"--known is '{text[:60]}'", "give a table and its ohms, such as ten.csv=10")
    return Path(name), resistance(value, "--known")


def _show(study: JigStudy) -> None:
    import numpy as np

    show_heading(f"{Path(study.source).name}: impedance by a resistor of {study.reference_ohm:g} ohm")
    size = np.abs(study.impedance_ohm)
    low, high = int(np.argmin(size)), int(np.argmax(size))
    f = study.frequency_hz
    show_item("rows", f"{len(f)}, {hertz(f[0])} to {hertz(f[-1])}")
    show_item("lowest", f"{ohm(float(size[low]), 2)} ohm at {hertz(f[low])}")
    show_item("highest", f"{ohm(float(size[high]), 1)} ohm at {hertz(f[high])}")
    show_item("sure to", f"{100.0 * study.worst_share:.1f} % at worst, at {hertz(study.worst_at_hz)}")
    if study.check is not None:
        c = study.check
        show_item(
            "known resistor",
            f"{c.known_ohm:g} ohm reads {c.read_ohm:.4g}; off by {100.0 * c.worst_share:.1f} % at worst, at "
            f"{hertz(c.worst_at_hz)}, and {c.worst_deg:.1f} deg",
        )
    rows = []
    for i in np.unique(np.linspace(0, len(f) - 1, 11).astype(int)):
        z = study.impedance_ohm[i]
        rows.append(
            [
                f"{f[i]:.4g}",
                ohm(float(abs(z)), 2),
                f"{np.degrees(np.angle(z)):.0f}",
                f"{100 * study.error_share[i]:.1f}",
            ]
        )
    show_table(["Hz", "ohm", "deg", "sure to %"], rows)
