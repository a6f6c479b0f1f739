"""Which drawing function draws which kind of result."""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

from xover.declare import question_of
from xover.errors import OptionError
from xover.studies import HOMES, question

if TYPE_CHECKING:
    from xover.drawing.save import Figure
    from xover.speaker import Speaker

_REDESIGN: Final = "studies.change.redesign.result.RedesignStudy"


def draw(result: object, *, number: int | None = None, speaker: Speaker | None = None) -> Figure:
    """Draw a result, whichever it is.

    Parameters
    ----------
    result : of `predict`, `load`, `response`, `sensitivity`, `angles`, `condition`, `stress`, `tolerance`, `crosstalk`,
        `refresh`, `redesign`, `bypass`, `decide`, `compare`, `verify`, `pair` or `sweep`.
    number : of a redesign, the proposal that stands out, from 1; by default the one picked.
    speaker : what a redesign was made of; `speaker.draw(result)` of an opened folder gives it by itself.

    Raises
    ------
    OptionError : there is no figure of such a result, or no proposal of that number.

    Example
    -------
    >>> xover.draw(speaker.predict("found")).save("sum.svg")
    """
    from xover.drawing.save import Figure

    kind = f"{type(result).__module__}.{type(result).__qualname__}".removeprefix("xover.")
    if kind == _REDESIGN:
        return Figure(_redesign(result, number, speaker), type(result).__name__)
    declared = _declared().get(type(result).__name__)
    if declared is not None:
        module, _, name = declared.partition(".")
        drawn: Callable[[Any], Any] = getattr(import_module(f"xover.drawing.{module}"), name)
        return Figure(drawn(result), type(result).__name__)
    raise OptionError(
        f"there is no figure of a {type(result).__name__}",
        "give the result of predict, load, response, sensitivity, angles, condition, stress, tolerance, crosstalk, "
        "refresh, redesign, bypass, decide, compare, verify, pair or sweep; of a network there is a schematic",
    )


def _declared() -> dict[str, str]:
    """What draws an answer, by the name of its class."""
    plots: dict[str, str] = {}
    for name in HOMES:
        plots |= question_of(question(name)).plots
    return plots


def _redesign(result: Any, number: int | None, speaker: Speaker | None) -> Any:
    from xover.drawing.change import draw_redesign
    from xover.studies.change.redesign.result import redesign_curves

    number = result.number if number is None else number
    curves = result.curves
    if not curves:
        if speaker is None:
            raise OptionError("the figure of a redesign needs its speaker", "draw it with speaker.draw(result)")
        curves = redesign_curves(result, speaker)
    if not 1 <= number <= len(result.proposals):
        raise OptionError(f"number is {number}, and there are {len(result.proposals)} proposals", "give one of them")
    return draw_redesign(result, curves, number)
