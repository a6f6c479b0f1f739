"""xover spice: the network with its drivers, for any SPICE."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from xover.cli.options import Force, Json, NetworkName, SpeakerPath, chosen_network, frequency
from xover.cli.show import hertz, show_json, show_table, show_text, show_warnings

if TYPE_CHECKING:
    from xover.studies.desk.spice.study import SpiceNetlist


def spice(
    speaker: SpeakerPath,
    network: NetworkName = None,
    output: Annotated[
        Path | None, typer.Option("--output", "-o", metavar="FILE", help="Write the netlist into a file.")
    ] = None,
    loss_at: Annotated[
        str | None,
        typer.Option(
            "--loss-at",
            metavar="HZ",
            help="Write dissipation factors as fixed resistors, right at this frequency, for analysis in time.",
        ),
    ] = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """The network with its drivers, for any SPICE.

    Measured drivers become the circuits fitted to their impedance. Without --output the netlist goes to standard
    output.

    Example: xover spice examples/attic-two-way/left --network found --output left.cir
    """
    from xover.files.atomic import write_text
    from xover.speaker import open_speaker
    from xover.studies.desk.spice.study import study_spice

    opened = open_speaker(speaker)
    at_hz = frequency(loss_at, "--loss-at") if loss_at is not None else None
    result = study_spice(opened, chosen_network(opened, network), loss_at_hz=at_hz)
    if output is not None:
        write_text(output, result.netlist, force)
    if as_json:
        show_json(result)
        return
    if output is None:
        typer.echo(result.netlist, nl=False)
    else:
        _show(result, output)
    show_warnings(result.warnings)


def _show(result: SpiceNetlist, output: Path) -> None:
    show_text(f"Network '{result.network}' written to {output}.", "")
    rows = []
    for name, driver in result.drivers.items():
        fit = driver.fit
        if fit is None:
            rows.append([name, "data sheet", "-", "-", "-"])
        else:
            rows.append([name, "fit", f"{fit.relative_rms:.2%}", f"{fit.worst_residual:.2%}", hertz(fit.worst_at_hz)])
    show_table(["driver", "circuit", "residual rms", "at most", "at"], rows)
