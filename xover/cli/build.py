"""A command made of a question that was declared: its options, its run, and its three ways to show an answer."""

from __future__ import annotations

import inspect
import shlex
from collections.abc import Callable, Mapping
from dataclasses import replace
from importlib import import_module
from pathlib import Path
from typing import Annotated, Any, Final, Literal

import typer

from xover.cli import complete
from xover.cli.progress import ProgressBar
from xover.cli.show import render, show_json, show_text, show_warnings
from xover.declare import Ask, Asked, Grid, asked_of, question_of
from xover.errors import InputError, OptionError, PartlyToldError, XoverError, named
from xover.figures import place
from xover.remark import pressing
from xover.units import COUNT, DRIVER, FILE, FOLDER, HZ, NETWORK, TEXT, YES

OFFERS: Final = {
    "networks": complete.network_names,
    "drivers": complete.driver_names,
    "circuits": complete.circuit_names,
    "circuits to try": complete.circuits_to_try,
    "slopes": complete.slope_names,
    "acoustic slopes": complete.acoustic_slopes,
    "series": complete.series_names,
}
SPEAKER: Final = Annotated[Path, typer.Argument(metavar="SPEAKER", help="Speaker folder, or its speaker.toml.")]
Common = tuple[str, Ask, Any]
"""What many commands do alike: name, what is asked, default."""
JSON: Final[Common] = ("as_json", Ask("One JSON object on standard output, nothing else.", YES, "--json"), False)
STRICT: Final[Common] = (
    "strict",
    Ask("Exit with status 1 if a limit is broken.", YES, "--strict"),
    False,
)
PLOT: Final[Common] = ("plot", Ask("Draw the result into a .png, .svg or .pdf file.", FILE, "--plot"), None)
WRITE: Final[Common] = ("write", Ask("Add the result to the folder as a network.", TEXT, "--write"), None)
WRITE_NUMBERS: Final[Common] = ("write_numbers", Ask("Put the result into speaker.toml.", YES, "--write"), False)
INTO: Final = (
    ("into", Ask("Put it into this speaker folder, named in speaker.toml.", FOLDER, "--into"), None),
    ("driver", Ask("Whose it is; without, the whole speaker's.", DRIVER, "--driver"), None),
    ("network", Ask("What the whole speaker has in it [default: found].", NETWORK, "--network", "-n"), None),
)
OUTPUT: Final[Common] = ("output", Ask("Write it into a file.", FILE, "--output", "-o"), None)
FORCE: Final[Common] = ("force", Ask("Overwrite a file that is there already.", YES, "--force"), False)
GRID: Final = (
    ("from_hz", Ask("Lowest frequency.", HZ, "--from")),
    ("to_hz", Ask("Highest frequency.", HZ, "--to")),
    ("per_octave", Ask("Points in each octave, 1 to 960.", COUNT, "--per-octave", low=1, high=960)),
)


def command(function: Callable[..., Any]) -> Callable[..., int]:
    """The function that typer makes a command of."""
    q, parameters, flags = question_of(function), [], {}
    own = list(asked_of(function))
    if q.instead:
        own += [replace(a, required=False, default=None) for a in asked_of(q.instead[1]) if a.name == q.instead[0]]
    own += [Asked(name, ask, default, False) for name, (ask, default) in q.shows.items()]
    own += [Asked(n, a, d, False) for n, a, d in _common(function)]
    if q.opens:
        parameters.append(_parameter("speaker", SPEAKER))
    for asked in own:
        for name, ask, default in _typed(asked):
            flags[name] = ask.flag_of(name)
            parameters.append(
                _parameter(name, _annotation(name, ask, default, asked.required), asked.required, default)
            )
        if isinstance(asked.ask, Grid):
            flags[asked.name] = "--from"
    parameters.sort(key=lambda p: p.default is not inspect.Parameter.empty)

    def run(**typed: Any) -> int:
        try:
            return _run(function, typed)
        except (OptionError, InputError) as error:
            raise error.spelled_by(lambda n: flags.get(n, n)) from None

    run.__doc__ = inspect.cleandoc(function.__doc__ or "").partition("\n>>>")[0].rstrip()
    run.__name__ = q.name
    run.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
    return run


def _common(function: Callable[..., Any]) -> list[Common]:
    """What the question's declaration adds: in the order of the help."""
    q = question_of(function)
    found = [WRITE] if q.write else [WRITE_NUMBERS] if q.numbers else []
    found += INTO if q.curve else ()
    found += [OUTPUT] if q.output else []
    found += [PLOT] if q.plots else []
    found += [FORCE] if q.write or q.numbers or q.output or q.plots else []
    found += [STRICT] if q.strict else []
    return [*found, JSON]


def _typed(asked: Asked) -> list[Common]:
    """The options of one parameter: three of a grid, none of what no person types."""
    if isinstance(asked.ask, Grid):
        usual = (asked.ask.from_hz, asked.ask.to_hz, asked.ask.per_octave)
        return [(name, ask, default) for (name, ask), default in zip(GRID, usual, strict=True)]
    return [(asked.name, asked.ask, asked.default)] if asked.ask is not None else []


def _parameter(name: str, annotation: Any, required: bool = True, default: Any = None) -> inspect.Parameter:
    switch = default if isinstance(default, bool) else None
    return inspect.Parameter(
        name,
        inspect.Parameter.KEYWORD_ONLY,
        default=inspect.Parameter.empty if required else switch,
        annotation=annotation,
    )


def _annotation(name: str, ask: Ask, default: Any, required: bool) -> Any:
    """Everything is typed as text, and read by its unit; a switch is there or not."""
    words: dict[str, Any] = {"metavar": ask.unit.metavar, "help": ask.help}
    offered = complete.one_of(*ask.unit.words) if ask.unit.words else OFFERS.get(ask.unit.offers)
    if offered is not None:
        words["autocompletion"] = offered
    if ask.place:
        kind: Any = str if required else str | None
        return Annotated[kind, typer.Argument(show_default=False, **words)]
    names = [ask.flag_of(name), *([ask.short] if ask.short else [])]
    if isinstance(default, bool):
        return Annotated[bool, typer.Option(*names, help=ask.help)]
    if ask.many:
        return Annotated[list[str] | None, typer.Option(*names, **words)]
    none = required or default in (None, ())
    usual = "" if none else default if isinstance(default, str) else ask.unit.show(default)
    if usual:
        words["help"] = f"{ask.help}  [default: {usual}]"
    return Annotated[str if required else str | None, typer.Option(*names, **words)]


def _run(function: Callable[..., Any], typed: Mapping[str, Any]) -> int:
    q = question_of(function)
    common = {name: ask.value(name, typed[name]) for name, ask, _ in _common(function)}
    shows = {name: ask.value(name, typed[name]) for name, (ask, _) in q.shows.items()}
    shows = {name: q.shows[name][1] if value is None else value for name, value in shows.items()}
    asks = function
    if q.instead and typed[q.instead[0]] is not None:
        asks = _instead(function, *q.instead, typed)
    if common.get("strict") and q.strict_needs and typed[q.strict_needs] is None:
        raise OptionError("--strict has no limit to hold it to", f"add {named(q.strict_needs)}")
    if common.get("plot") is not None and q.plot_needs and not typed[q.plot_needs]:
        raise OptionError(f"{named('plot')} has nothing to draw", f"give {named(q.plot_needs)}")
    given: dict[str, Any] = {}
    with ProgressBar(0.0 if q.watched else None) as bar:
        for asked in asked_of(asks):
            if isinstance(asked.ask, Grid):
                given[asked.name] = _frequencies(typed, asked.ask)
            elif asked.ask is not None and typed[asked.name] not in (None, []):
                given[asked.name] = asked.ask.value(asked.name, typed[asked.name])
            elif asked.name == "progress":
                given["progress"] = bar
            elif asked.name == "as_json":
                given["as_json"] = common["as_json"]
        if q.opens:
            from xover.speaker import open_speaker

            opened = open_speaker(typed["speaker"])
            _check_targets(common, opened)
            result = asks(opened, **given)
        else:
            _check_targets(common, None)
            if q.curve:
                common["into"] = _curve_place(common, q.curve)
            result = asks(**given)
    said, fault = [], None
    try:
        said = _write(function, result, common, opened if q.opens else None)
    except XoverError as error:  # what took long to find is shown all the same
        fault = error
    if common["as_json"]:
        show_json(result)
    elif q.piped and common["output"] is None:
        typer.echo(getattr(result, q.output), nl=False)
        show_warnings(getattr(result, "warnings", ()))
    else:
        home = import_module(function.__module__)
        tell = home.tell if hasattr(home, "tell") else import_module(f"{function.__module__}.{q.told_in}").tell
        if "strict" in inspect.signature(tell).parameters:
            shows["strict"] = common["strict"]
        from xover.judge.words import stops_of

        render(stops_of(result))
        render(tell(result, **shows))
        for words in said:
            show_text(words, "")
        warnings = getattr(result, "warnings", ())
        if not all(shows[name] for name, (ask, _) in q.shows.items() if ask.flag == "--all"):
            warnings = pressing(warnings)
        show_warnings(warnings)
    if fault is not None:
        raise fault
    if q.fault and getattr(result, q.fault):
        raise PartlyToldError(getattr(result, q.fault))
    return 1 if common.get("strict") and not getattr(result, q.strict) else 0


def _check_targets(common: Mapping[str, Any], speaker: Any) -> None:
    """What could not be written at the end is refused before anything takes its time."""
    force = bool(common.get("force"))
    if common.get("plot") is not None:
        from xover.drawing.save import check_figure

        check_figure(common["plot"], force)
    if common.get("write") is not None:
        from xover.files.toml_edit import check_name

        check_name(speaker.file.path, str(common["write"]), force)
    if common.get("output") is not None:
        from xover.files.atomic import check_target

        check_target(common["output"], force)


def _curve_place(common: Mapping[str, Any], curve: Literal["impedance", "response"]) -> Any:
    """Where a curve goes, refused as early; None where no folder is named."""
    if common["into"] is None:
        for name in ("driver", "network"):
            if common[name] is not None:
                raise OptionError(f"{named(name)} says whose it is, but not where", f"add {named('into')} and a folder")
        return None
    from xover.files.add_curve import find_place

    return find_place(common["into"], curve, common["driver"], common["network"], bool(common.get("force")))


def _instead(function: Callable[..., Any], parameter: str, other: Callable[..., Any], typed: Mapping[str, Any]) -> Any:
    """The other question. Raises OptionError where something is typed that it does not ask for."""
    known = {a.name for a in asked_of(other)}
    for asked in asked_of(function):
        if asked.name not in known and typed.get(asked.name) not in (None, False, []):
            raise OptionError(f"{named(asked.name)} does not go with {named(parameter)}", "leave one of them out")
    return other


def _frequencies(typed: Mapping[str, Any], grid: Grid) -> Any:
    from xover.curve import log_grid

    usual = (grid.from_hz, grid.to_hz, grid.per_octave)
    low, high, per_octave = (
        ask.value(name, default if typed[name] is None else typed[name])
        for (name, ask), default in zip(GRID, map(str, usual), strict=True)
    )
    if not low < high:
        ends = [given or usual[i] for i, given in enumerate((typed["from_hz"], typed["to_hz"]))]
        raise OptionError(f"{named('from_hz')} {ends[0]} is not below {named('to_hz')} {ends[1]}", "swap them")
    return log_grid(low, high, per_octave)


def _write(function: Callable[..., Any], result: Any, common: Mapping[str, Any], speaker: Any) -> list[str]:
    """Write what is asked for; what was written, in words."""
    q, force, said = question_of(function), bool(common.get("force")), []
    if common.get("plot") is not None:
        from xover.api.draw import draw

        draw(result, speaker=speaker).save(common["plot"], force=force)
        said.append(f"Figure written to {common['plot']}.")
    if common.get("write") is not None:
        from xover.files.toml_edit import add_network

        name = str(common["write"])
        if getattr(result, q.write) is None:
            raise OptionError(f"'{name[:40]}' was not written, as {q.withheld[0]}", q.withheld[1])
        path = add_network(speaker.file.path, name, getattr(result, q.write), force)
        folder = place(speaker.file.folder)
        again = "xover " + q.then.format(folder=shlex.quote(folder), name=shlex.quote(name))
        told = f": {again}" if "'" in again else f" '{again}'."
        said.insert(0, f"Network '{name}' written to {path}; try{told}")
    if common.get("write_numbers"):
        from xover.files.toml_edit import set_numbers

        numbers = getattr(result, q.numbers)
        if numbers is None:
            raise OptionError("nothing was written: the answer tells nothing that may be", "do first what it says")
        set_numbers(speaker.file.path, numbers, force)
        said.append(f"Written to {place(speaker.file.path)}: {', '.join(dict.fromkeys(key[-1] for key in numbers))}.")
    if common.get("into") is not None:
        from xover.files.add_curve import add_curve

        given, spot = result.for_folder, common["into"]
        add_curve(spot, given, force)
        folder = place(spot.speaker_toml.parent)
        what = f"Put into {folder}: {spot.file}, {given.why}"
        if spot.driver is None:
            again = q.then.format(folder=shlex.quote(folder), file=shlex.quote(f"{folder}/{spot.file}"))
            what += f"; try: xover {again}"
        elif spot.template:
            what += f". The template's values of {spot.driver} count no more"
        elif spot.stale:
            what += f". {' and '.join(spot.stale)} of {spot.driver} hold for the response before: find them anew"
        said.append(f"{what}.")
    if common.get("output") is not None:
        from xover.files.atomic import write_bytes, write_text

        what = getattr(result, q.output)
        (write_bytes if isinstance(what, bytes) else write_text)(common["output"], what, force)
        said.append(q.written.format(path=common["output"], result=result))
    return said
