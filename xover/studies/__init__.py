"""The questions that a person asks, in the order of the job; each is declared in the folder that bears its name."""

import re
from collections.abc import Callable, Mapping
from importlib import import_module
from pathlib import Path
from typing import Any, Final

GROUPS: Final[Mapping[str, Mapping[str, str]]] = {
    "Start": {
        "new": "studies.desk.new",
        "sweep": "studies.desk.sweep",
        "record": "studies.desk.record",
        "jig": "studies.desk.jig",
        "response": "studies.desk.response",
        "check": "studies.desk.check",
        "undo": "studies.desk.undo",
    },
    "What it does": {
        "predict": "studies.does.predict",
        "load": "studies.does.load",
        "schematic": "drawing.question",
        "angles": "studies.does.angles",
        "delay": "studies.does.delay",
        "formula": "studies.does.formula",
        "sensitivity": "studies.does.sensitivity",
    },
    "What age has done": {"infer": "studies.aged.infer", "condition": "studies.aged.condition"},
    "What it bears": {
        "stress": "studies.bears.stress",
        "lamps": "studies.bears.lamps",
        "tolerance": "studies.bears.tolerance",
        "crosstalk": "studies.bears.crosstalk",
    },
    "What to do": {
        "refresh": "studies.change.refresh",
        "redesign": "studies.change.redesign",
        "bypass": "studies.change.bypass",
        "decide": "studies.change.decide",
    },
    "Parts to buy and wind": {
        "values": "studies.desk.values",
        "coil": "studies.desk.coil",
        "capacitor": "studies.desk.capacitor",
        "pad": "studies.desk.pad",
    },
    "Prove it": {
        "verify": "studies.aged.verify",
        "compare": "studies.aged.compare",
        "phone": "studies.aged.phone",
    },
    "Pass it on": {
        "report": "report.question",
        "spice": "studies.desk.spice",
    },
}
"""Name of the question, and the module that declares it."""
HOMES: Final = {name: home for group in GROUPS.values() for name, home in group.items()}


def question(name: str) -> Callable[..., Any]:
    """The function that was declared; loading it loads no numpy."""
    found: Callable[..., Any] = getattr(import_module(f"xover.{HOMES[name]}"), name)
    return found


def first_sentence(name: str) -> str:
    """What the help of the whole says of it: the first line of its docstring.

    Read from the text of its declaration: to load all of them takes longer than all else that the help does.
    """
    home = Path(__file__).parents[1].joinpath(*HOMES[name].split("."))
    file = home / "__init__.py" if home.is_dir() else home.with_suffix(".py")
    found = re.search(rf'^def {name}\(.*?"""([^\n"]+)', file.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL)
    return found[1] if found else ""
