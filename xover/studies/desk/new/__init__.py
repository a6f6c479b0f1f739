"""Start a speaker folder from a ready topology."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from xover.declare import Ask, Unit, question
from xover.errors import OptionError
from xover.units import CIRCUIT, YES

if TYPE_CHECKING:
    from xover.studies.desk.new.study import ReadyCircuits, StartedFolder


@question(told_in="study")
def new(
    folder: Annotated[Path | None, Ask("Folder to start.", Unit("DIR", Path), place=True)] = None,
    *,
    circuit: Annotated[str, Ask("Topology to start from.", CIRCUIT, short="-c")] = "two-way-second-order",
    list_all: Annotated[bool, Ask("List the topologies and stop.", YES, "--list")] = False,
    force: Annotated[bool, Ask("Overwrite a file that is there already.", YES)] = False,
) -> "StartedFolder | ReadyCircuits":
    """Start a speaker folder from a ready topology.

    Example: xover new my-speaker --circuit two-way-second-order
    """
    from xover.studies.desk.new.study import ready_circuits, start_folder

    if list_all:
        return ready_circuits()
    if folder is None:
        raise OptionError("no folder is named", "write 'xover new my-speaker', or 'xover new --list'")
    return start_folder(folder, circuit, force)
