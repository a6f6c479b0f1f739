"""What a face needs to know of a question: its options, its figures, and what may be done with its answer.

A question is a plain function whose parameters are `Annotated[type, Ask(...)]`. The command line, its help and
completion, the Python face with its types and docstrings, and the refusals of both follow from that. A figure of a
result is a field made by `figure(...)`: JSON and the words of terminal and page follow from it. This loads no numpy.
"""

from __future__ import annotations

import dataclasses
import inspect
import math
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from numbers import Integral, Real
from os import PathLike
from typing import Annotated, Any, Final, Literal, TypeVar, get_args, get_origin

from xover.errors import InputError, OptionError, named

Function = TypeVar("Function", bound=Callable[..., Any])
_FIGURE: Final = "figure"
LONGEST_TEXT: Final = 4096
"""Letters of what is given for one parameter: the longest path that systems know."""
_UNITS: Final = ("db", "hz", "ohm", "f", "h", "v", "w", "m", "s", "deg", "mm")
"""Units that end a parameter's name and not its flag: limit_db is --limit."""


@dataclass(frozen=True)
class Unit:
    """One kind of quantity: how it is typed, and how it is written.

    Attributes
    ----------
    metavar : what stands for it in the help. read : text to value; raises InputError, which the faces put behind the
        parameter's name. show : value to text, as it would be typed. unit : behind a bound, such as dB.
    words : the only words that it may be, offered by completion. offers : what else completion may offer: networks,
        drivers, circuits, slopes or series. exact : whether a text given in Python is taken as it is.
    several : whether a text is read as a tuple of such; given many times, all stand in one.
    least, most : size of a number that is not 0. above : a bound that is not allowed itself.
    of : the unit of each of many values, or those of a pair, None for a name; of a mapping the key's comes first, or
        last where `key_last`.
    """

    metavar: str
    read: Callable[[str], Any]
    show: Callable[[Any], str] = str
    unit: str = ""
    words: tuple[str, ...] = ()
    offers: str = ""
    exact: bool = False
    several: bool = False
    least: float = 0.0
    most: float = math.inf
    above: float = -math.inf
    of: tuple[Unit | None, ...] = ()
    key_last: bool = False

    def take(self, text: str) -> Any:
        """What a text says. Raises InputError, for a number out of range too."""
        return self.held(self.read(text))

    def held(self, value: Any) -> Any:
        """The value, where each of its numbers is finite and 0 or of a size that is used. Raises InputError."""
        if isinstance(value, bool | str | PathLike) or value is None:
            return value
        if isinstance(value, Mapping):
            pair = (self.of[0].of if len(self.of) == 1 and self.of[0] else self.of) or (None, self)
            key, number = reversed(pair) if self.key_last else pair
            return {_held(key, k): _held(number, v) for k, v in value.items()}
        if isinstance(value, Real):
            return _held(self.of[0], value) if self.of else self._sized(value)
        if isinstance(value, Iterable) and self.of:
            each = tuple(value)
            units = self.of * len(each) if len(self.of) == 1 else self.of
            return tuple(map(_held, units, each)) if len(each) == len(units) else each
        return value

    def _sized(self, value: Any) -> Any:
        number: Any = value if isinstance(value, Integral) else float(value) + 0.0  # -0 is 0
        size = abs(number)
        if not (size == 0 or self.least <= size <= self.most) or size == math.inf or not number > self.above:
            shown = f"{number:g}" if size < 1e300 or isinstance(number, float) else "a number of many digits"
            zero = "0, or " if self.above < 0 else ""
            raise InputError(
                f"{shown} is out of range", f"give {zero}{self.least:g} to {self.most:g} {self.unit}".rstrip()
            )
        return number


def _held(unit: Unit | None, value: Any) -> Any:
    return value if unit is None else unit.held(value)


@dataclass(frozen=True)
class Ask:
    """One parameter of a question.

    Attributes
    ----------
    help : one sentence. unit : of its value, or of each where it may be given `many` times.
    flag : on the command line; by default the parameter's name without its unit. short : such as -n.
    low, high : bounds, both allowed; `above` is a bound that is not. place : stands on the line without a flag.
    """

    help: str
    unit: Unit
    flag: str = ""
    short: str = ""
    low: float = -math.inf
    high: float = math.inf
    above: float = -math.inf
    many: bool = False
    place: bool = False

    def flag_of(self, name: str) -> str:
        """What it is called on the command line; its metavar where it has a place."""
        if self.place:
            return self.unit.metavar
        stem, _, unit = name.rpartition("_")
        return self.flag or "--" + (stem if stem and unit in _UNITS else name).replace("_", "-")

    def value(self, name: str, given: Any) -> Any:
        """What was given, read where it is a text, and within its bounds. Raises OptionError that names it."""
        if given is None:
            return None
        if self.many and isinstance(given, Mapping):
            read = {k: self._one(name, f"{k}={v}")[1] if isinstance(v, str) else v for k, v in given.items()}
            return self._taken(name, self.unit.held, read)
        if self.many:
            each = [self._one(name, one) for one in ([given] if isinstance(given, str | PathLike) else given)]
            if self.unit.several:
                each = [value for one in each for value in (one if isinstance(one, tuple) else (one,))]
            return merged(name, each)
        return self._one(name, given)

    def _one(self, name: str, given: Any) -> Any:
        if isinstance(given, str) and len(given) > LONGEST_TEXT:
            raise OptionError(f"{named(name)} has more than {LONGEST_TEXT} letters", "shorten it")
        if isinstance(given, str) and not self.unit.exact:
            value = self._taken(name, self.unit.read, given)
        elif self.unit.words and given not in self.unit.words:
            raise OptionError(f"{named(name)} is '{str(given)[:40]}'", "give " + " or ".join(self.unit.words))
        else:
            value = given
        self._bound(name, value, given)
        return self._taken(name, self.unit.held, value)

    def _bound(self, name: str, value: Any, given: Any) -> None:
        bounded = any(map(math.isfinite, (self.low, self.high, self.above)))
        if bounded and isinstance(value, Real) and not isinstance(value, bool) and not self._within(value):
            shown = "a number of many digits" if isinstance(given, int) and abs(given) > 10**40 else str(given)[:40]
            raise OptionError(f"{named(name)} is {shown}", self._bounds())

    def _taken(self, name: str, how: Callable[[Any], Any], given: Any) -> Any:
        try:
            return how(given)
        except InputError as error:
            raise OptionError(f"{named(name)}: {error.problem}", error.remedy) from None

    def _within(self, value: Any) -> bool:
        return bool(self.low <= value <= self.high and value > self.above)

    def _bounds(self) -> str:
        """In words: give 0 to 6 dB."""
        show, unit = self.unit.show, f" {self.unit.unit}" if self.unit.unit else ""
        top = show(self.high) if math.isfinite(self.high) else ""
        if math.isfinite(self.above):
            return f"give a value above {show(self.above)}{unit}" + (f", up to {top}{unit}" if top else "")
        if not math.isfinite(self.low):
            return f"give {top}{unit} or less"
        return f"give {show(self.low)} to {top}{unit}" if top else f"give {show(self.low)}{unit} or more"


def merged(name: str, each: list[Any]) -> Any:
    """Values given one by one: (name, value) pairs become a mapping, anything else a tuple. Raises OptionError."""
    if not each or not all(isinstance(one, tuple) and len(one) == 2 and isinstance(one[0], str) for one in each):
        return tuple(each)
    twice = [key for key, times in Counter(key for key, _ in each).items() if times > 1]
    if twice:
        raise OptionError(f"{named(name)} names {twice[0][:40]} twice", "give each once")
    return dict(each)


@dataclass(frozen=True)
class Grid:
    """Frequencies at which something is told: --from, --to and --per-octave, or an array in Python."""

    from_hz: str = "20"
    to_hz: str = "20k"
    per_octave: int = 48


@dataclass(frozen=True)
class Question:
    """What a face may do with the answer, beyond showing it.

    Attributes
    ----------
    name : of the command. strict : attribute of the answer that is false where a limit is broken.
    strict_needs, plot_needs : parameter without which there is no limit, or nothing to draw.
    plots : what draws it, as module.function of `drawing`, by the name of the answer's class.
    write : attribute that holds a netlist for the folder. numbers : one that holds numbers for speaker.toml.
    curve : "impedance" or "response", where the answer's `for_folder` is one that a speaker folder takes; `then` is to
        try where it is the whole speaker's.
    output : attribute that holds the text of a file, or its bytes. fault : one that tells what in an answer that is
        whole otherwise is missing by a fault of xover itself; the command ends with status 3 then.
    written : what is said of that file, {path} and {result} filled in. piped : without one, its text alone is shown.
    watched : whether its progress is shown from the first moment on.
    told_in : module beside the question that has its `tell`.
    shows : options that only change what is shown; `tell` takes them by name, and `strict` if it has such a parameter.
    opens : whether its first parameter is an opened speaker.
    then : the command to try once the netlist is written. withheld : why there may be none, and the remedy.
    instead : a parameter of another question, which the command asks where that is given; and that question. What tells
        and draws its answer is declared here.
    """

    name: str
    strict: str = ""
    strict_needs: str = ""
    plot_needs: str = ""
    plots: Mapping[str, str] = dataclasses.field(default_factory=dict)
    write: str = ""
    numbers: str = ""
    curve: Literal["", "impedance", "response"] = ""
    output: str = ""
    fault: str = ""
    written: str = "Written to {path}."
    piped: bool = False
    watched: bool = False
    told_in: str = "words"
    shows: Mapping[str, tuple[Ask, Any]] = dataclasses.field(default_factory=dict)
    opens: bool = True
    then: str = "predict {folder} --network {name}"
    withheld: tuple[str, str] = ("there is none", "see what the answer says")
    instead: tuple[str, Callable[..., Any]] | None = None


@dataclass(frozen=True)
class Asked:
    """One parameter as a face sees it; `ask` is an Ask, a Grid, or None for what no person types."""

    name: str
    ask: Ask | Grid | None
    default: Any
    required: bool


def question(**given: Any) -> Callable[[Function], Function]:
    """Mark a function as a question; what is given is of `Question`."""

    def mark(function: Function) -> Function:
        first = next(iter(inspect.signature(function).parameters), "")
        given.setdefault("opens", first == "speaker")
        function.__question__ = Question(name=given.pop("name", function.__name__), **given)  # type: ignore[attr-defined]
        return function

    return mark


def question_of(function: Callable[..., Any]) -> Question:
    """What was declared of it."""
    found: Question = function.__question__  # type: ignore[attr-defined]
    return found


@cache
def asked_of(function: Callable[..., Any]) -> tuple[Asked, ...]:
    """The parameters of a question behind its speaker, in their order."""
    found = []
    for name, p in inspect.signature(function).parameters.items():
        if name == "speaker" and question_of(function).opens:
            continue
        marks = get_args(p.annotation)[1:] if get_origin(p.annotation) is Annotated else ()
        ask = next((m for m in marks if isinstance(m, Ask | Grid)), None)
        found.append(Asked(name, ask, p.default, p.default is inspect.Parameter.empty))
    return tuple(found)


def checked(function: Callable[..., Any], given: Mapping[str, Any]) -> dict[str, Any]:
    """What was given, each read and held to its bounds. Raises OptionError."""
    asks = {a.name: a.ask for a in asked_of(function)}
    return {n: a.value(n, v) if isinstance(a := asks.get(n), Ask) else v for n, v in given.items()}


@dataclass(frozen=True)
class Fig:
    """A figure of a result.

    Attributes
    ----------
    label : in words. unit : of its value. json : its key; "" is the field's name, None keeps it out of the JSON.
    """

    label: str
    unit: Unit
    json: str | None = ""


def figure(label: str, unit: Unit, json: str | None = "", **more: Any) -> Any:
    """A field of a result's dataclass that is a figure; `more` goes to `dataclasses.field`."""
    return dataclasses.field(metadata={_FIGURE: Fig(label, unit, json)}, **more)


def declared(result: Any) -> Iterator[tuple[str, Fig]]:
    """(field, figure) of all that a result's class declares."""
    for field in dataclasses.fields(result):
        if _FIGURE in field.metadata:
            yield field.name, field.metadata[_FIGURE]
