"""A method made of a question that was declared: the same options by their Python names, read and bounded alike."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from functools import wraps
from typing import TYPE_CHECKING, Any, Concatenate, ParamSpec, TypeVar, cast

from xover.declare import Ask, asked_of, checked
from xover.errors import OptionError

if TYPE_CHECKING:
    from xover.api.opened import Opened
    from xover.speaker import Speaker

P = ParamSpec("P")
R = TypeVar("R")


def asks(function: Callable[Concatenate[Speaker, P], R]) -> Callable[Concatenate[Opened, P], R]:
    """A method that asks a question of the opened speaker."""

    whole: Callable[..., Any] = function

    @wraps(whole)
    def ask(self: Opened, *places: Any, **given: Any) -> Any:
        bound = dict(signature.bind(self, *places, **given).arguments)
        del bound["self"]
        return whole(self.speaker, **checked(function, bound))

    signature = _documented(ask, function, inspect.Parameter("self", inspect.Parameter.POSITIONAL_OR_KEYWORD))
    return cast("Callable[Concatenate[Opened, P], R]", ask)


def asks_alone(function: Callable[P, R]) -> Callable[P, R]:
    """A function that asks a question without a speaker."""

    whole: Callable[..., Any] = function

    @wraps(whole)
    def ask(*places: Any, **given: Any) -> Any:
        return whole(**checked(function, signature.bind(*places, **given).arguments))

    signature = _documented(ask, function)
    return cast("Callable[P, R]", ask)


def asked(function: Callable[..., R], given: Mapping[str, Any], **names: str) -> R:
    """Ask a question under other names than were declared; what is given is read and bounded alike.

    Parameters
    ----------
    given : by the declared names. names : how a refusal spells those that the face calls otherwise.
    """
    try:
        return function(**checked(function, given))
    except OptionError as error:
        raise error.spelled_by(lambda name: names.get(name, name)) from None


def _documented(ask: Any, function: Callable[..., Any], *first: inspect.Parameter) -> inspect.Signature:
    """Give it the signature and the docstring that were declared."""
    asked = asked_of(function)
    declared = inspect.signature(function)
    ask.__signature__ = declared.replace(parameters=[*first, *(declared.parameters[a.name] for a in asked)])
    rows = []
    for a in asked:
        words = a.ask.help if isinstance(a.ask, Ask) else _SPECIAL.get(a.name, "")
        rows.append(f"{a.name} : {words}")
    text, _, example = inspect.cleandoc(function.__doc__ or "").partition("\n>>>")
    text = text.partition("\nExample:")[0].rstrip()
    table = "\n\nParameters\n----------\n" + "\n".join(rows) if rows else ""
    raises = "\n\nRaises\n------\nOptionError, InputError, NoSolutionError.\n"
    ask.__doc__ = text + table + raises + (f"\nExample\n-------\n>>>{example}" if example else "")
    signature: inspect.Signature = ask.__signature__
    return signature


_SPECIAL = {
    "frequency_hz": "(n,) rising, Hz; by default 20 Hz to 20 kHz on equal steps of an octave.",
    "progress": "Is told the share done, 0 to 1, and what is going on.",
}
