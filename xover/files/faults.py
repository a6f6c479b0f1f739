"""Several faults of one file, raised together, still told in one line."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from xover.errors import InputError

_MOST_SHOWN = 3
_LONGEST = 80


class InputFaults(InputError):
    """All faults of one file; its text is the first of them and, in short, the others.

    Attributes
    ----------
    faults : every fault, in the order of the file.
    """

    def __init__(self, faults: Sequence[InputError]) -> None:
        self.faults = tuple(faults)
        first, others = self.faults[0], self.faults[1:]
        shown = "; ".join(_in_short(fault) for fault in others[:_MOST_SHOWN])
        rest = "; ..." if len(others) > _MOST_SHOWN else ""
        more = f" (and {len(others)} more: {shown}{rest})" if others else ""
        super().__init__(first.problem, first.remedy + more, first.path, first.line)

    def __reduce__(self) -> tuple[Any, ...]:
        """So that it can travel between processes."""
        return type(self), (self.faults,)

    def at(self, path: Path | str | None, line: int | None) -> InputFaults:
        """Give the same faults with their place filled in."""
        return InputFaults([fault.at(path, line) for fault in self.faults])


def combined(faults: Sequence[InputError]) -> InputError:
    """Make one error of one or more: a single one as it is, several in the order of their lines."""
    ordered = sorted(faults, key=lambda fault: fault.line or 0)
    return ordered[0] if len(ordered) == 1 else InputFaults(ordered)


def _in_short(fault: InputError) -> str:
    where = "" if fault.line is None else f"line {fault.line}: "
    problem = fault.problem if len(fault.problem) <= _LONGEST else fault.problem[: _LONGEST - 3] + "..."
    return where + problem
