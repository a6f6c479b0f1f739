"""Several faults of one file, raised together, still told in one line; and the words for those of a speaker file."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from xover.errors import InputError, nearest_word
from xover.files.toml_lines import KeyLines, KeyPath

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


LONGEST_NAME = 64


def nearest(word: str, known: Sequence[str], what: str) -> str:
    """Name the one of the known words that is nearest, or all of them."""
    near = nearest_word(word, known)
    if near:
        return f"did you mean '{near}'?"
    return f"the {what} here are " + ", ".join(known) if known else f"there are no {what} here"


def dotted(path: Sequence[str]) -> str:
    """Write a key path as TOML does."""
    parts = [p[:LONGEST_NAME] if re.fullmatch(r"[A-Za-z0-9_-]+", p) else f'"{p[:LONGEST_NAME]}"' for p in path]
    return ".".join(parts)


def finding_to_fault(
    detail: Mapping[str, Any], known_keys: Callable[[KeyPath], Sequence[str]], lines: KeyLines, path: Path
) -> InputError:
    """Put one finding into words: key, what stands there, what belongs there.

    Parameters
    ----------
    detail : a finding as the validator gives it: `loc`, `type`, `msg`, `input` and `ctx`.
    known_keys : gives the keys that the table at a key path may have.
    lines, path : where the keys stand.
    """
    # "[key]" marks the name of a table as the culprit; positions in an array say nothing of the line.
    keys = tuple(str(part) for part in detail["loc"] if not isinstance(part, int) and part != "[key]")
    kind, context = detail["type"], detail.get("ctx", {})
    line = lines[keys]
    if kind == "extra_forbidden":
        where = f" in [{dotted(keys[:-1])}]" if keys[:-1] else ""
        remedy = nearest(keys[-1], known_keys(keys[:-1]), "known keys")
        return InputError(f"unknown key '{keys[-1][:LONGEST_NAME]}'{where}", remedy, path, line)
    if kind == "missing" and not isinstance(detail["loc"][-1], int):
        return _missing(keys, path, line)
    if kind == "impedance":
        remedy = f"name its impedance table, give [{dotted((*keys, 'datasheet'))}], or re_ohm as read with a meter"
        return InputError(f"driver '{keys[-1][:LONGEST_NAME]}' {detail['msg']}", remedy, path, line)
    if kind == "position":
        remedy = "keep position_mm for one card, positions_mm for several"
        return InputError(f"driver '{keys[-1][:LONGEST_NAME]}' {detail['msg']}", remedy, path, line)
    if kind == "delay":
        remedy = "give delay_us too, or delete its uncertainty"
        return InputError(f"driver '{keys[-1][:LONGEST_NAME]}' {detail['msg']}", remedy, path, line)
    if kind == "too_short" and keys == ("drivers",):
        return _missing(keys, path, line)
    shown = _shown(detail["input"])
    return InputError(f"{dotted(keys)} {_problem(kind, shown, detail)}", _remedy(keys, kind, context), path, line)


def _missing(keys: KeyPath, path: Path, line: int | None) -> InputError:
    if keys == ("drivers",):
        return InputError("there is no driver", "add a table such as [drivers.woofer]", path, line)
    return InputError(f"[{dotted(keys[:-1])}] lacks '{keys[-1]}'", "add that key", path, line)


def _problem(kind: str, shown: str, detail: Mapping[str, Any]) -> str:
    if kind in ("name", "title", "rising"):
        return str(detail["msg"])
    return f"is {shown}"


def _remedy(keys: KeyPath, kind: str, context: Mapping[str, Any]) -> str:
    """Say what belongs there, from the kind of finding."""
    if kind in _COMPARISONS:
        word, name = _COMPARISONS[kind]
        return f"it must be {word} {context[name]:g}"
    if kind == "string_pattern_mismatch":
        return "write LR2, LR4, LR6, LR8 or B1 to B8"
    if kind in ("literal_error", "enum"):
        return f"write {context['expected']}"
    if kind == "name":
        return "give it a shorter or plainer name"
    if kind == "rising":
        return "write them from low to high"
    if keys[-1:] == ("frequency_hz",):
        return "write a number, or an array of one to four numbers"
    if kind.startswith("tuple") or kind in ("missing", "too_long"):
        return "write three numbers such as [0, 120, 0]"
    return _KINDS.get(kind, "compare it with an example")


_COMPARISONS = {
    "greater_than_equal": ("at least", "ge"),
    "less_than_equal": ("at most", "le"),
}
_KINDS = {
    "tiny": "write 0, or at least 1e-9 in size",
    "int_type": "write a whole number, without quotes",
    "int_from_float": "write a whole number",
    "float_type": "write a plain number, without quotes or unit",
    "finite_number": "write a finite number",
    "bool_type": "write true or false",
    "string_type": "write text in double quotes",
    "title": "shorten it",
    "model_type": "write a table",
    "dict_type": "write a table",
}


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f"the text '{value if len(value) <= 30 else value[:27] + '...'}'"
    if isinstance(value, int | float):
        return f"{value:g}" if isinstance(value, float) or abs(value) < 10**15 else "a huge number"
    if isinstance(value, dict):
        return "a table"
    return "an array" if isinstance(value, list | tuple) else "a value of another kind"
