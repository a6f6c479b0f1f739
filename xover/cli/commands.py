"""The commands in the order of the job: what the help of the whole says of each, known without loading any of them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

GROUPS: Final[Mapping[str, Mapping[str, str]]] = {
    "Start": {
        "new": "Start a speaker folder from a ready topology.",
        "jig": "An impedance from a resistor and two sound card channels.",
        "check": "Is what I typed and measured sound?",
    },
    "What it does": {
        "predict": "What reaches each driver, and what is the sum?",
        "load": "What does the amplifier see, and may it?",
        "schematic": "The network as a drawing: symbols, values, losses, polarity.",
        "angles": "What is heard above, below and beside the axis?",
        "formula": "The exact transfer functions, as formulas.",
        "sensitivity": "Which part matters, and where?",
    },
    "What age has done": {
        "infer": "Part values from one sweep at the terminals.",
        "condition": "How far has age moved it, and which part did it?",
    },
    "What it bears": {
        "stress": "Watts, volts and amperes in every part: which ratings?",
        "lamps": "When does a protection lamp bite? What if it goes?",
        "tolerance": "What do the parts' tolerances do to sum, load and pair?",
        "crosstalk": "Where do I mount the coils? What coupling does.",
    },
    "What to do": {
        "refresh": "Like-for-like parts that keep the voicing, and their bill.",
        "redesign": "New values or another network, in parts that exist.",
        "bypass": "Each driver on its own channel: safe? What does it need?",
        "decide": "Leave, refresh, redesign or bypass, side by side.",
    },
    "Parts to buy and wind": {
        "values": "The nearest values that exist, alone or two together.",
        "coil": "A coil to wind, or one taken apart: wire, size, weight.",
        "capacitor": "Loss over frequency, what a meter means, which voltage.",
        "pad": "Resistors that pad a driver, or replace its level control.",
    },
    "Prove it": {
        "verify": "Does the build do what was predicted? Which part, if not?",
        "compare": "Two curves, networks or speakers: the audible difference.",
    },
    "Pass it on": {
        "report": "One page for the bench: decision, figures, parts, wiring.",
        "spice": "The network with its drivers, for any SPICE.",
    },
}
"""Each command is a function of the module of its name; the words are the first sentence of its docstring."""

COMMANDS: Final[Mapping[str, str]] = {name: words for group in GROUPS.values() for name, words in group.items()}
