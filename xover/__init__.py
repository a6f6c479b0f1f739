"""xover: what the passive network of an old loudspeaker does, and what to do about it.

    import xover

    speaker = xover.open("examples/attic-two-way/left")
    sound = speaker.predict("found")
    speaker.draw(sound).save("sum.svg")

`import xover` loads nothing else: each name below is loaded when it is first used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from xover.api.bench import (
        capacitor,
        circuits,
        coil,
        compare,
        formula,
        jig,
        pad,
        record,
        response,
        sweep,
        to_json,
        values,
    )
    from xover.api.draw import draw
    from xover.api.loudspeaker import Loudspeaker, new, open
    from xover.curve import Curve, log_grid
    from xover.drawing.save import Figure, save
    from xover.errors import InputError, NoSolutionError, OptionError, XoverError

__all__ = [
    "Curve",
    "Figure",
    "InputError",
    "Loudspeaker",
    "NoSolutionError",
    "OptionError",
    "XoverError",
    "__version__",
    "capacitor",
    "circuits",
    "coil",
    "compare",
    "draw",
    "formula",
    "jig",
    "log_grid",
    "new",
    "open",
    "pad",
    "record",
    "response",
    "save",
    "sweep",
    "to_json",
    "values",
]

_HOMES = {
    "api.bench": (
        "capacitor",
        "circuits",
        "coil",
        "compare",
        "formula",
        "jig",
        "pad",
        "record",
        "response",
        "sweep",
        "to_json",
        "values",
    ),
    "api.draw": ("draw",),
    "api.loudspeaker": ("Loudspeaker", "new", "open"),
    "curve": ("Curve", "log_grid"),
    "drawing.save": ("Figure", "save"),
    "errors": ("InputError", "NoSolutionError", "OptionError", "XoverError"),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}

if not TYPE_CHECKING:  # a type checker shall know a wrong name when it sees one

    def __getattr__(name: str) -> Any:
        """Load a public name when it is first asked for."""
        if name not in _HOME_OF:
            raise AttributeError(f"module 'xover' has no attribute {name!r}")
        value = getattr(import_module(f"xover.{_HOME_OF[name]}"), name)
        globals()[name] = value
        return value

    def __dir__() -> list[str]:
        return __all__
