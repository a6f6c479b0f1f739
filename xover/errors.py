"""Every error that xover raises on purpose, in one tree.

    XoverError
    ├── InputError       a file that the user wrote or measured is at fault
    ├── OptionError      an argument is at fault, on the command line or in Python
    └── NoSolutionError  the network has no unique solution

The branch says who must act. All of them end a command with exit status 2 and one line.
Anything else that escapes is a fault of xover itself.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, Final

_NAMED: Final = re.compile("\u27e6([a-z_0-9]+)\u27e7")


class XoverError(Exception):
    """Root of the errors that are meant for the user."""


def _one_line(text: str) -> str:
    """Fold control characters, so that a hostile name cannot break the one-line promise."""
    return "".join(c if c.isprintable() else " " for c in text)


class InputError(XoverError):
    """A fault in a file: where it is, what is wrong, what would be right.

    Parameters
    ----------
    problem : what is wrong, in one sentence part without a full stop.
    remedy : what would be right, or what to do next.
    path : the file, or None when the text did not come from a file.
    line : line number in that file, from 1, or None when the whole file is meant.
    """

    def __init__(
        self,
        problem: str,
        remedy: str,
        path: Path | str | None = None,
        line: int | None = None,
    ) -> None:
        self.problem = problem
        self.remedy = remedy
        self.path = None if path is None else Path(path)
        self.line = line
        super().__init__(str(self))

    def __str__(self) -> str:
        where = "" if self.path is None else f"{self.path}:"
        where += "" if self.line is None else f"{self.line}:"
        text = f"{where} {self.problem}; {self.remedy}" if where else f"{self.problem}; {self.remedy}"
        return _one_line(_spell(text, str))

    def spelled_by(self, spell: Callable[[str], str]) -> InputError:
        """The same fault in the words of one face."""
        return InputError(_spell(self.problem, spell), _spell(self.remedy, spell), self.path, self.line)

    def __reduce__(self) -> tuple[Any, ...]:
        """So that it can travel between processes."""
        return type(self), (self.problem, self.remedy, self.path, self.line)

    def at(self, path: Path | str | None, line: int | None) -> InputError:
        """Give the same fault with its place filled in, keeping what is already known."""
        return type(self)(self.problem, self.remedy, self.path or path, self.line or line)


class OptionError(XoverError):
    """A fault in what was asked: what is wrong and what would be right.

    A parameter stands in both, as in an InputError, as `named(parameter)`: each face spells it its own way,
    `--limit` or `limit_db`.
    """

    def __init__(self, problem: str, remedy: str) -> None:
        self.problem = problem
        self.remedy = remedy
        super().__init__(self.spelled(str))

    def spelled(self, spell: Callable[[str], str]) -> str:
        """One line, with every parameter as `spell` writes it."""
        return _one_line(_spell(f"{self.problem}; {self.remedy}", spell))

    def spelled_by(self, spell: Callable[[str], str]) -> OptionError:
        """The same fault in the words of one face."""
        return OptionError(_spell(self.problem, spell), _spell(self.remedy, spell))

    def __reduce__(self) -> tuple[Any, ...]:
        """So that it can travel between processes."""
        return type(self), (self.problem, self.remedy)


def _spell(text: str, spell: Callable[[str], str]) -> str:
    return _NAMED.sub(lambda found: spell(found[1]), text)


def named(parameter: str) -> str:
    """A parameter within the words of an OptionError, for the face to spell."""
    return f"\u27e6{parameter}\u27e7"


class NoSolutionError(XoverError):
    """The network has no unique solution: which node or part, and what would mend it."""

    def __init__(self, problem: str, remedy: str) -> None:
        self.problem = problem
        self.remedy = remedy
        super().__init__(_one_line(f"{problem}; {remedy}"))

    def __reduce__(self) -> tuple[Any, ...]:
        """So that it can travel between processes."""
        return type(self), (self.problem, self.remedy)


class PartlyToldError(Exception):
    """An answer was told, but for what these words name: a fault of xover itself."""


def nearest_word(word: str, known: Iterable[str]) -> str | None:
    """The known word that was probably meant, whatever its case, or None; for remedies."""
    lower = {name.lower(): name for name in known}
    near = difflib.get_close_matches(word[:64].lower(), list(lower), n=1, cutoff=0.5)
    return lower[near[0]] if near else None
