"""A matcher for regular expressions that counts its steps: it backtracks as Python's own does, and tells how often.

It follows the parsed pattern of the standard library, for those pieces that the project's patterns are made of.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Sequence
from re import _constants as C  # type: ignore[attr-defined]
from re import _parser  # type: ignore[attr-defined]
from typing import Any

Then = Callable[[int], int | None]
_CATEGORIES: dict[Any, Callable[[str], bool]] = {
    C.CATEGORY_DIGIT: str.isdecimal,
    C.CATEGORY_SPACE: str.isspace,
    C.CATEGORY_WORD: lambda sign: sign.isalnum() or sign == "_",
}
_OPPOSITES = {
    C.CATEGORY_NOT_DIGIT: C.CATEGORY_DIGIT,
    C.CATEGORY_NOT_SPACE: C.CATEGORY_SPACE,
    C.CATEGORY_NOT_WORD: C.CATEGORY_WORD,
}
MOST_STEPS = 8_000
_SINGLE = (C.LITERAL, C.NOT_LITERAL, C.ANY, C.IN)


class TooManyStepsError(Exception):
    """More than `MOST_STEPS`."""


class Matcher:
    """Matches one pattern; `steps` counts the pieces that were tried."""

    def __init__(self, pattern: re.Pattern[str]) -> None:
        self.tree = _parser.parse(pattern.pattern, pattern.flags)
        self.ignore_case = bool(pattern.flags & re.IGNORECASE)
        self.dot_all = bool(pattern.flags & re.DOTALL)
        self.lines = bool(pattern.flags & re.MULTILINE)
        self.steps = 0
        self.text = ""
        self.groups: dict[int, str] = {}

    @property
    def has_no_end(self) -> bool:
        """Whether any of its repeats has no bound; else its steps at one place have one."""
        return "MAXREPEAT" in repr(self.tree)

    def match(self, text: str, at: int = 0, whole: bool = False) -> int | None:
        """Where a match that begins at a place ends."""
        self.text, self.groups = text, {}
        return self._all(list(self.tree), 0, at, lambda end: end if not whole or end == len(text) else None)

    def search(self, text: str) -> list[tuple[int, int]]:
        """Begin and end of every match, as `finditer` finds them."""
        found, at = [], 0
        while at <= len(text):
            end = self.match(text, at)
            if end is not None:
                found.append((at, end))
            at = at + 1 if end is None or end == at else end
        return found

    def _all(self, pieces: Sequence[Any], number: int, at: int, then: Then) -> int | None:
        self.steps += 1
        if self.steps > MOST_STEPS:
            raise TooManyStepsError
        if number == len(pieces):
            return then(at)
        kind, given = pieces[number]

        def go_on(end: int) -> int | None:
            return self._all(pieces, number + 1, end, then)

        if kind in _SINGLE:
            return go_on(at + 1) if at < len(self.text) and self._is(kind, given, self.text[at]) else None
        if kind is C.BRANCH:
            for branch in given[1]:
                end = self._all(list(branch), 0, at, go_on)
                if end is not None:
                    return end
            return None
        if kind is C.SUBPATTERN:
            return self._group(given, at, go_on)
        if kind is C.MAX_REPEAT or kind is C.MIN_REPEAT:
            return self._repeat(kind is C.MAX_REPEAT, given, at, go_on)
        if kind is C.POSSESSIVE_REPEAT:
            least, most, inner = given
            for count in range(_times(most)):
                end = self._all(list(inner), 0, at, lambda e: e)
                if end is None or (end == at and count >= least):
                    return go_on(at) if count >= least else None
                at = end
            return go_on(at)
        if kind is C.ATOMIC_GROUP:
            end = self._all(list(given), 0, at, lambda e: e)
            return None if end is None else go_on(end)
        if kind is C.ASSERT or kind is C.ASSERT_NOT:
            direction, inner = given
            begin = at - inner.getwidth()[0] if direction < 0 else at
            end = self._all(list(inner), 0, begin, lambda e: e) if begin >= 0 else None
            return go_on(at) if (end is None) is (kind is C.ASSERT_NOT) else None
        if kind is C.GROUPREF:
            said = self.groups[given]
            return go_on(at + len(said)) if self.text.startswith(said, at) else None
        assert kind is C.AT, f"{kind} is not known here"
        return go_on(at) if self._stands(given, at) else None

    def _group(self, given: Any, at: int, go_on: Then) -> int | None:
        number, _, _, inner = given

        def closed(end: int) -> int | None:
            if number is not None:
                self.groups[number] = self.text[at:end]
            return go_on(end)

        return self._all(list(inner), 0, at, closed)

    def _repeat(self, greedy: bool, given: Any, at: int, go_on: Then) -> int | None:
        least, most, inner = given
        pieces = list(inner)
        if len(pieces) == 1 and pieces[0][0] in _SINGLE:  # as Python does it, without recursion
            ends = [at]
            while len(ends) <= _times(most) and ends[-1] < len(self.text) and self._is(*pieces[0], self.text[ends[-1]]):
                self.steps += 1
                ends.append(ends[-1] + 1)
            tried = ends[least:]
            return next((end for e in (reversed(tried) if greedy else tried) if (end := go_on(e)) is not None), None)

        def again(count: int, place: int) -> int | None:
            def more() -> int | None:
                if count >= _times(most):
                    return None
                return self._all(
                    pieces, 0, place, lambda e: again(count + 1, e) if e > place or count < least else None
                )

            if count < least:
                return more()
            first, second = (more, lambda: go_on(place)) if greedy else (lambda: go_on(place), more)
            end = first()
            return second() if end is None else end

        return again(0, at)

    def _is(self, kind: Any, given: Any, sign: str) -> bool:
        if kind is C.ANY:
            return self.dot_all or sign != "\n"
        signs = {sign, sign.lower(), sign.upper()} if self.ignore_case else {sign}
        if kind is C.LITERAL:
            return chr(given) in signs
        if kind is C.NOT_LITERAL:
            return chr(given) not in signs
        negated = given[0][0] is C.NEGATE
        return negated != any(_holds(*piece, sign) for piece in given[negated:] for sign in signs if len(sign) == 1)

    def _stands(self, given: Any, at: int) -> bool:
        text = self.text
        if given in (C.AT_BEGINNING, C.AT_BEGINNING_STRING):
            return at == 0 or (self.lines and given is C.AT_BEGINNING and text[at - 1] == "\n")
        if given is C.AT_END_STRING:
            return at == len(text)
        if given is C.AT_END:
            return at == len(text) or text[at:] == "\n" or (self.lines and text[at] == "\n")
        is_word = _CATEGORIES[C.CATEGORY_WORD]
        before, after = at > 0 and is_word(text[at - 1]), at < len(text) and is_word(text[at])
        assert given in (C.AT_BOUNDARY, C.AT_NON_BOUNDARY)
        return (before != after) is (given is C.AT_BOUNDARY)


def _times(most: Any) -> int:
    return sys.maxsize if most is C.MAXREPEAT else int(most)


def _holds(kind: Any, given: Any, sign: str) -> bool:
    if kind is C.LITERAL:
        return ord(sign) == given
    if kind is C.RANGE:
        return bool(given[0] <= ord(sign) <= given[1])
    assert kind is C.CATEGORY
    return not _CATEGORIES[_OPPOSITES[given]](sign) if given in _OPPOSITES else _CATEGORIES[given](sign)


def samples(tree: Any) -> list[str]:
    """Short texts that a parsed pattern may begin with, and those that each of its repeats may hold."""
    found: list[str] = [""]
    for kind, given in tree:
        if kind is C.LITERAL:
            here = [chr(given)]
        elif kind is C.IN:
            here = [
                sign for sign in "0a .,e-+(=_@:" if given[0][0] is not C.NEGATE and any(_holds(*p, sign) for p in given)
            ]
            here = here[:3] or [chr(v if k is C.LITERAL else v[0]) for k, v in given if k in (C.LITERAL, C.RANGE)][:2]
            here = ["x"] if given[0][0] is C.NEGATE else here
        elif kind in (C.ANY, C.NOT_LITERAL):
            here = ["x"]
        elif kind is C.SUBPATTERN:
            here = samples(given[3])[:4]
        elif kind is C.BRANCH:
            here = [sample for branch in given[1] for sample in samples(branch)[:2]][:5]
        elif kind in (C.MAX_REPEAT, C.MIN_REPEAT, C.POSSESSIVE_REPEAT):
            here = [sample * max(1, given[0]) for sample in samples(given[2])[:3]]
        else:
            here = [""]
        found = [old + new for old in found[:3] for new in here] or found
    return found
