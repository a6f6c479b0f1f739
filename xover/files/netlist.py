"""Netlist files and the topologies that ship with the package: SPICE3 cards in, split; their values plain arithmetic.

What the cards mean is the network layer's business. The arithmetic has a parser of our own on purpose: nothing typed by
a user is ever evaluated as code.
"""

from __future__ import annotations

import math
import os
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from xover.errors import InputError, OptionError, nearest_word
from xover.files.atomic import read_text
from xover.files.budget import LONGEST_LINE, MOST_CARDS, MOST_FIELDS, MOST_PARAMETERS, MOST_PARTS, NETLIST_FILE
from xover.quantity import QuantityKind, computed_value, parse_quantity

_PIECE = re.compile(r"\s*+(?:\.?\d[\w.]*+(?:(?<=[eE])[+-]\d++)?|[A-Za-z_]\w*+|[-+*/()])")
_DEEPEST = 40


def compute(text: str, look_up: Callable[[str], float]) -> float:
    """Compute an expression.

    Parameters
    ----------
    text : such as "8/(2*pi*f0)"; numbers may carry SPICE scale factors; `pi` is known.
    look_up : gives the value of a parameter name, or raises InputError.

    Raises InputError: for anything but plain arithmetic, a division by zero, or a result that is not finite.
    """
    tokens = _pieces(text)
    value, rest = _sum(tokens, 0, look_up, 0, text)
    if rest != len(tokens):
        raise _fault(text, f"cannot use '{tokens[rest]}' there")
    if not math.isfinite(value):
        raise _fault(text, "gives a number that is not finite")
    return value


def _fault(text: str, what: str) -> InputError:
    shown = text.strip() if len(text) <= 40 else text.strip()[:37] + "..."
    return InputError(f"'{shown}' {what}", "use only numbers, parameter names, + - * / and round brackets")


def _pieces(text: str) -> list[str]:
    tokens: list[str] = []
    position = 0
    stripped = text.rstrip()
    while position < len(stripped):
        match = _PIECE.match(stripped, position)
        if match is None:
            raise _fault(text, f"has the character '{stripped[position]}'")
        tokens.append(match[0].strip())
        position = match.end()
    if not tokens:
        raise _fault(text, "is empty")
    return tokens


def _names_in(text: str) -> list[str]:
    return [token for token in _pieces(text) if _PARAM_NAME.match(token) and token.lower() != "pi"]


def _sum(tokens: list[str], at: int, look_up: Callable[[str], float], depth: int, text: str) -> tuple[float, int]:
    value, at = _product(tokens, at, look_up, depth, text)
    while at < len(tokens) and tokens[at] in "+-":
        right, after = _product(tokens, at + 1, look_up, depth, text)
        value = value + right if tokens[at] == "+" else value - right
        at = after
    return value, at


def _product(tokens: list[str], at: int, look_up: Callable[[str], float], depth: int, text: str) -> tuple[float, int]:
    value, at = _factor(tokens, at, look_up, depth, text)
    while at < len(tokens) and tokens[at] in "*/":
        right, after = _factor(tokens, at + 1, look_up, depth, text)
        if tokens[at] == "/" and right == 0:
            raise _fault(text, "divides by zero")
        value = value * right if tokens[at] == "*" else value / right
        at = after
    return value, at


def _factor(tokens: list[str], at: int, look_up: Callable[[str], float], depth: int, text: str) -> tuple[float, int]:
    if depth > _DEEPEST:
        raise _fault(text, "is nested too deeply")
    if at >= len(tokens):
        raise _fault(text, "ends too early")
    token = tokens[at]
    if token in "+-":
        value, at = _factor(tokens, at + 1, look_up, depth + 1, text)
        return (value if token == "+" else -value), at
    if token == "(":
        value, at = _sum(tokens, at + 1, look_up, depth + 1, text)
        if at >= len(tokens) or tokens[at] != ")":
            raise _fault(text, "has a bracket that is not closed")
        return value, at + 1
    if token[0].isdigit() or token[0] == ".":
        return parse_quantity(token, QuantityKind.PLAIN), at + 1
    if token[0].isalpha() or token[0] == "_":
        return (math.pi if token.lower() == "pi" else look_up(token)), at + 1
    raise _fault(text, f"cannot use '{token}' there")


LETTERS = "RLCKXV"
LONGEST_NAME = 64

_TOKEN = re.compile(r"(?:\{[^{}]*+\}|[^\s{}]++)++")
_BRACED = re.compile(r"\{([^{}]*+)\}")
_NAME = re.compile(r"[\w.+\-/#]+")
_FIRST_PART = re.compile(r"[RLCKXVrlckxv]\d")
_PARAM_NAME = re.compile(r"[A-Za-z_]\w*")
_PARAM_SET = re.compile(r"(?:^| )([A-Za-z_]\w*+)=")


@dataclass(frozen=True)
class Card:
    """One line of the netlist, split but not yet understood.

    Attributes
    ----------
    name : as written, such as "Xlow"; its first letter says what it is.
    nodes : lower case, ground is "0"; for a K card the two coils' names as written.
    value : text of the value, braces already computed; for an X card the driver's name; "" if none.
    fields : `key=value` texts, keys in lower case, braces already computed.
    line : line number in the file, from 1.
    """

    name: str
    nodes: tuple[str, ...]
    value: str
    fields: Mapping[str, str]
    line: int

    @property
    def letter(self) -> str:
        """R, L, C, K, X or V."""
        return self.name[0].upper()


@dataclass(frozen=True)
class Netlist:
    """A netlist as read: its title, notes (comment lines) and cards."""

    title: str
    notes: tuple[str, ...]
    cards: tuple[Card, ...]
    path: Path | None = None


@dataclass(frozen=True)
class _Line:
    number: int
    text: str


def read_netlist(path: Path | str) -> Netlist:
    """Read a `.cir` file. Raises InputError with file and line."""
    return parse_netlist(read_text(path, NETLIST_FILE), Path(path))


def parse_netlist(text: str, path: Path | None = None) -> Netlist:
    """Split the text of a netlist into cards.

    The first line is a title unless it is a part: a simulator would swallow it, we read it.
    Raises InputError with `path` and the line.
    """
    try:
        title, notes, lines = _logical_lines(text)
        if lines and not title and not _is_part(lines[0], lines[1:]):
            title = lines.pop(0).text
        return _assemble(title, notes, lines, path)
    except InputError as error:
        raise error.at(path, None) from None


def _logical_lines(text: str) -> tuple[str, list[str], list[_Line]]:
    """Drop comments, join `+` continuations, stop at `.end`; the first comment is the title."""
    title = ""
    notes: list[str] = []
    lines: list[tuple[int, list[str], int]] = []  # number, what it and its continuations say, letters in all
    for number, raw in enumerate(text.splitlines(), start=1):
        stripped = raw.split(";", 1)[0].strip() if not raw.lstrip().startswith("*") else raw.strip()
        if not stripped:
            continue
        if stripped.startswith("*"):
            words = stripped.lstrip("*").strip()
            if not title and not lines and not notes:
                title = words
            elif words:
                notes.append(words)
        elif stripped.startswith("+"):
            if not lines:
                raise InputError("'+' continues a line, but there is none before it", "remove the '+'", line=number)
            first, pieces, letters = lines[-1]
            pieces.append(stripped[1:].strip())
            lines[-1] = first, pieces, letters + 1 + len(pieces[-1])
            if lines[-1][2] > LONGEST_LINE:
                raise InputError(
                    f"the line and its continuations have more than {LONGEST_LINE} letters", "shorten them", line=first
                )
        elif stripped.lower() == ".end":
            break
        else:
            lines.append((number, [stripped], len(stripped)))
    return title, notes, [_Line(number, " ".join(pieces)) for number, pieces, _ in lines]


def _is_part(first: _Line, others: list[_Line]) -> bool:
    """Tell a part from a title on the first line."""
    tokens = first.text.split()
    if first.text.startswith("."):
        return True
    if tokens[0][0].upper() not in LETTERS or len(tokens) < (3 if tokens[0][0].upper() == "V" else 4):
        return False
    if _FIRST_PART.match(tokens[0]):
        return True
    if tokens[0][0].upper() == "K":
        return any(line.text.split()[0].lower() == tokens[1].lower() for line in others)
    known = {"0", "in"} | {t.lower() for line in others for t in line.text.split()[1:3]}
    return tokens[1].lower() in known and tokens[2].lower() in known


def _assemble(title: str, notes: list[str], lines: list[_Line], path: Path | None) -> Netlist:
    params = _Params()
    cards: list[tuple[_Line, list[str]]] = []
    for line in lines:
        tokens = _tokens(line)
        if tokens[0].startswith("."):
            if tokens[0].lower() != ".param":
                raise InputError(
                    f"'{_short(tokens[0])}' is not understood", "use only part cards, .param and .end", line=line.number
                )
            params.add(line)
        else:
            cards.append((line, tokens))
    if not cards:
        raise InputError("the netlist holds no part", "add a card such as 'C1 in t 4.7uF'", path, None)
    _check_count("cards", MOST_CARDS, cards)
    _check_count("parts", MOST_PARTS, [card for card in cards if card[1][0][0].upper() in "RLC"])
    built: list[Card] = []
    seen: dict[str, int] = {}
    for line, tokens in cards:
        try:
            card = _card(line, tokens, params)
        except InputError as error:
            raise error.at(None, line.number) from None
        twin = seen.setdefault(card.name.lower(), line.number)
        if twin != line.number:
            raise InputError(
                f"the name {card.name} stands already on line {twin}",
                "give each part a name of its own",
                line=line.number,
            )
        built.append(card)
    params.check_all()
    return Netlist(title, tuple(notes), tuple(built), path)


def _check_count(what: str, most: int, cards: list[tuple[_Line, list[str]]]) -> None:
    if len(cards) > most:
        raise InputError(
            f"the netlist holds more than {most} {what}",
            "keep one loudspeaker's network, and join parts that act as one",
            line=cards[most][0].number,
        )


def _short(text: str) -> str:
    return text if len(text) <= 40 else text[:37] + "..."


def _tokens(line: _Line) -> list[str]:
    """Blank-separated words; blanks round '=' and inside braces do not separate."""
    text = _without_blanks_round_equals(line.text)
    tokens = _TOKEN.findall(text)
    if sum(text.count(c) for c in "{}") != sum(t.count(c) for t in tokens for c in "{}"):
        raise InputError("a brace is not closed", "write {expression} with both braces on one line", line=line.number)
    if len(tokens) > MOST_FIELDS:
        raise InputError(
            f"has more than {MOST_FIELDS} words", "write one part, or one .param, a line", line=line.number
        )
    return tokens


def _without_blanks_round_equals(text: str) -> str:
    return "=".join(piece.strip() for piece in text.split("="))


class _Params:
    """`.param` values, each computed once, after those that it needs, so that their order does not matter."""

    def __init__(self) -> None:
        self._text: dict[str, tuple[str, int]] = {}
        self._computed: dict[str, float] = {}

    def add(self, line: _Line) -> None:
        pieces = _PARAM_SET.split(" ".join(_without_blanks_round_equals(line.text).split()[1:]))
        if len(pieces) < 3 or pieces[0].strip():
            raise InputError("a .param line names no value", "write .param name=value", line=line.number)
        for name, value in zip(pieces[1::2], pieces[2::2], strict=True):
            if name.lower() in self._text or name.lower() == "pi":
                raise InputError(f"the parameter {_short(name)} is set twice", "keep one of the two", line=line.number)
            if len(self._text) == MOST_PARAMETERS:
                raise InputError(f"sets more than {MOST_PARAMETERS} parameters", "write plain values", line=line.number)
            inner = value.strip()
            if inner.startswith("{") and inner.endswith("}"):
                inner = inner[1:-1]
            self._text[name.lower()] = (inner, line.number)

    def __contains__(self, name: str) -> bool:
        return name.lower() in self._text

    def value(self, name: str) -> float:
        waiting = [name.lower()]
        self._check_defined(name)
        while waiting:
            low = waiting[-1]
            text, line = self._text[low]
            try:
                needed = next((n for n in _names_in(text) if n.lower() not in self._computed), None)
                if needed is None:
                    self._computed[low] = compute(text, lambda known: self._computed[known.lower()])
                    waiting.pop()
                    continue
                self._check_defined(needed)
                if needed.lower() in waiting:
                    raise InputError(f"the parameter {_short(needed)} is defined by way of itself", "break the circle")
                waiting.append(needed.lower())
            except InputError as error:
                raise error.at(None, line) from None
        return self._computed[name.lower()]

    def _check_defined(self, name: str) -> None:
        if name not in self:
            raise InputError(
                f"the parameter '{_short(name)}' is not defined", f"add a line .param {_short(name)}=value"
            )

    def check_all(self) -> None:
        for name in self._text:
            self.value(name)

    def fill(self, text: str) -> str:
        """Compute a {brace} or a bare parameter name; anything else stays as it is."""
        if text.startswith("{") and text.endswith("}"):
            return computed_value(compute(text[1:-1], self.value))
        if "{" in text:
            return _BRACED.sub(lambda m: repr(compute(m[1], self.value)), text)
        if _PARAM_NAME.fullmatch(text) and text in self:
            return computed_value(self.value(text))
        return text


# How many nodes stand before the value, and what the shape is called in a message.
_SHAPE = {
    "R": (2, "R1 node node 2.2"),
    "L": (2, "L1 node node 0.33mH"),
    "C": (2, "C1 node node 4.7uF"),
    "K": (2, "K1 L1 L2 0.02"),
    "X": (2, "Xhigh plus minus tweeter"),
    "V": (2, "Vbass plus minus"),
}


def _card(line: _Line, tokens: list[str], params: _Params) -> Card:
    name = tokens[0]
    letter = name[0].upper()
    if letter not in LETTERS:
        raise InputError(
            f"'{_short(name)}' begins no known part", "begin with R, L, C, K (coupling), X (driver) or V (channel)"
        )
    if not _NAME.fullmatch(name) or len(name) > LONGEST_NAME:
        raise InputError(
            f"'{_short(name)}' is not a usable name", f"use up to {LONGEST_NAME} letters, digits and _ . + - / #"
        )
    plain = [t for t in tokens[1:] if "=" not in t]
    fields = _fields(tokens[1:], params)
    count, shape = _SHAPE[letter]
    if len(plain) < count:
        raise InputError(f"{name} has too few nodes", f"write it as '{shape}'")
    for node in plain[:count]:
        if not _NAME.fullmatch(node) or len(node) > LONGEST_NAME:
            raise InputError(f"'{_short(node)}' is not a usable node name", "use letters, digits and _ . + - / #")
    nodes = tuple(plain[:count]) if letter == "K" else tuple(_node(n) for n in plain[:count])
    rest = plain[count:]
    if letter == "V":
        _check_channel(name, rest)
        return Card(name, nodes, "", fields, line.number)
    if len(rest) > 1:
        joined = f" ({_short(rest[0] + rest[1])})" if rest[1][0].isalpha() else ""
        raise InputError(
            f"{name} has the extra word '{_short(rest[1])}'",
            f"write it as '{shape}', a value without a blank{joined}",
        )
    value = rest[0] if rest else ""
    return Card(name, nodes, value if letter == "X" else params.fill(value), fields, line.number)


def _node(text: str) -> str:
    low = text.lower()
    return "0" if low == "gnd" else low


def _fields(tokens: list[str], params: _Params) -> dict[str, str]:
    fields: dict[str, str] = {}
    for token in tokens:
        if "=" not in token:
            continue
        key, _, value = token.partition("=")
        if not key or not value:
            raise InputError(f"'{_short(token)}' is half an assignment", "write key=value without blanks in the value")
        if key.lower() in fields:
            raise InputError(f"'{_short(key)}' is given twice", "keep one of the two")
        fields[key.lower()] = params.fill(value)
    return fields


def _check_channel(name: str, rest: list[str]) -> None:
    """A channel is one volt by definition; a simulator's `AC 1` may stand there, another size not."""
    words = [w.lower() for w in rest]
    if words not in ([], ["ac", "1"], ["1"], ["dc", "0", "ac", "1"]):
        raise InputError(f"{name} has the value '{_short(' '.join(rest))}'", "leave it out, or write 'AC 1'")


def circuits_folder() -> Path:
    """Where the topologies lie: inside the installed package, or beside it in a source checkout."""
    package = Path(__file__).resolve().parents[1]
    installed = package / "circuits"
    return installed if installed.is_dir() else package.parent / "circuits"


def circuit_names() -> tuple[str, ...]:
    """Names of all topologies, sorted."""
    return tuple(sorted(p.stem for p in circuits_folder().glob("*.cir")))


def read_target(target: str | Path) -> Netlist:
    """A netlist by its path, or a ready topology by its name. Raises OptionError when it is neither."""
    path = Path(target)
    if path.suffix == ".cir" or os.path.exists(path):
        return read_netlist(path)
    if str(target) in circuit_names():
        return read_circuit(str(target))
    raise OptionError(
        f"'{str(target)[:60]}' is no netlist, topology or speaker folder", "see 'xover new --list' for the topologies"
    )


def read_circuit(name: str) -> Netlist:
    """Read one topology by name. Raises OptionError when there is none of that name."""
    stem = name.removesuffix(".cir")
    names = circuit_names()
    if stem not in names:
        near = nearest_word(stem, names)
        raise OptionError(
            f"there is no circuit '{name[:60]}'",
            f"did you mean {near}?" if near else "list them with 'xover new --list'",
        )
    return read_netlist(circuits_folder() / f"{stem}.cir")
