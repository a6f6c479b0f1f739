"""Names and comments that any SPICE reads as names and comments, whatever a user's file holds."""

from __future__ import annotations

import re
import textwrap
from typing import Final

COMMENT_WIDTH: Final = 78
_UNSAFE: Final = re.compile(r"[^A-Za-z0-9_]")
_PLAIN_NODE: Final = re.compile(r"[a-z][a-z0-9_]*|[1-9][0-9]*")


class Names:
    """One space of names: gives each wish a name of ASCII letters, digits and _ that nobody else has.

    Two names that differ in case only are one name to SPICE, and are told apart here.
    """

    def __init__(self) -> None:
        self._taken: set[str] = set()

    def give(self, wish: str, start: str = "") -> str:
        """A name as near to the wish as may be, beginning with `start`, whatever its case.

        Parameters
        ----------
        start : letters that must stand first; they are added where the wish does not begin with them. Empty: a
            letter, and an n is added where there is none.
        """
        name = _UNSAFE.sub("_", wish)
        if not name.lower().startswith(start.lower()):
            name = start + name
        if not start and not name[:1].isalpha():
            name = "n" + name
        free, number = name, 1
        while free.lower() in self._taken:
            number += 1
            free = f"{name}_{number}"
        self._taken.add(free.lower())
        return free


class Nodes:
    """Node names of one circuit: 0 stays ground, plain names stay as they are."""

    def __init__(self, wanted: list[str]) -> None:
        self._names = Names()
        plain = [n for n in dict.fromkeys(wanted) if n != "0" and _PLAIN_NODE.fullmatch(n)]
        self._given = {"0": "0"} | {n: self._keep(n) for n in plain}
        for node in wanted:
            if node not in self._given:
                self._given[node] = self._names.give(node)

    def __getitem__(self, node: str) -> str:
        return self._given[node]

    def new(self, wish: str) -> str:
        """A node of our own."""
        return self._names.give(wish)

    def renamed(self) -> dict[str, str]:
        """Nodes whose names had to change."""
        return {old: new for old, new in self._given.items() if old != new}

    def _keep(self, node: str) -> str:
        return self._names.give(node, node)  # a number stays a number


def comment(text: str = "", hang: str = "") -> list[str]:
    """Comment lines that hold a text and nothing else.

    A star, a blank, then printable ASCII alone: no line break can begin a card, and no text can follow the star
    directly, which some simulators would take for a command.

    Parameters
    ----------
    hang : what stands before the second and further lines of a long text.
    """
    words = one_line(text)
    lines = textwrap.wrap(words, COMMENT_WIDTH, subsequent_indent=hang, break_on_hyphens=False) or [""]
    return [f"* {line}".rstrip() for line in lines]


def one_line(text: str) -> str:
    """Printable ASCII on one line; what ASCII lacks becomes a question mark, control characters blanks."""
    shown = "".join(c if c.isprintable() else " " for c in text)
    return " ".join(shown.encode("ascii", "replace").decode("ascii").split())
