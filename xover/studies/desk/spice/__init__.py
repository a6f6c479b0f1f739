"""The network with its drivers as a netlist for any SPICE: measured drivers as the circuits fitted to them."""

from typing import TYPE_CHECKING, Annotated

from xover.declare import Ask, question
from xover.studies.options import Network
from xover.units import HZ

if TYPE_CHECKING:
    from xover.speaker import Speaker
    from xover.studies.desk.spice.study import SpiceNetlist


@question(output="netlist", written="Network '{result.network}' written to {path}.", piped=True, told_in="study")
def spice(
    speaker: "Speaker",
    network: Network = None,
    *,
    loss_at_hz: Annotated[
        float | None,
        Ask(
            "Write dissipation factors as fixed resistors, right at this frequency, for analysis in time.",
            HZ,
            low=20,
            high=20e3,
        ),
    ] = None,
) -> "SpiceNetlist":
    """The network with its drivers, for any SPICE.

    Measured drivers become the circuits fitted to their impedance. Without a file to write into the netlist goes to
    standard output.

    Example: xover spice examples/attic-two-way/left --network found --output left.cir

    >>> Path("left.cir").write_text(speaker.spice("found").netlist)
    """
    from xover.studies.desk.spice.study import study_spice

    return study_spice(speaker, speaker.network_or_default(network), loss_at_hz=loss_at_hz)
