"""A small speaker with a hostile word in every place that its files have for words, as far as the readers let it in."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Final

import numpy as np

SCRIPT: Final = "<script>alert(1)</script>"
IMAGE: Final = "'\"><img src=x onerror=alert(1)>"
STYLE: Final = "</style><b>bold</b>"
DRAWING: Final = "</svg><iframe src=javascript:alert(1)></iframe>"
BRACES: Final = "{{7*7}}"
ADDRESS: Final = "javascript:alert(1)"
ENTITY: Final = "&lt;b&gt;"
FORMULA: Final = "=1+cmd|'/C x'!A1"
MATHS: Final = "$\\frac{1$"
LONG: Final = "x" * 10_000
TURNED: Final = "\u202egnp.exe"
ALL: Final = (SCRIPT, IMAGE, STYLE, DRAWING, BRACES, ADDRESS, ENTITY, FORMULA, MATHS, LONG, TURNED)

LOW: Final = SCRIPT
"""Driver of the card Xlow: a card's word has no blank, no brace, no '=' and no ';'."""
HIGH: Final = "</svg></style><b>"
UNUSED: Final = IMAGE
PART: Final = "C" + "/#+-." * 12 + "zz"
NODE: Final = "in/#" + "_." * 30
TITLE: Final = f"{IMAGE} {BRACES} {MATHS} {ADDRESS}"
NETWORK: Final = DRAWING
CIRCUIT: Final = "<u>{%x%}.cir"
FOLDER: Final = "<img src=x onerror=alert(1)>"
CODE: Final = f"{IMAGE}{STYLE}"

SPEAKER: Final = f"""
title = {json.dumps(TITLE)}
[amplifier]
minimum_load_ohm = 4
rated_power_w = 50
rated_load_ohm = 8
[drivers.{json.dumps(LOW)}]
impedance = "woofer.csv"
[drivers.{json.dumps(HIGH)}.datasheet]
re_ohm = 5.4
fs_hz = 1010
qms = 2.2
qes = 1.1
le_mh = 0.03
sensitivity_db = 90
[drivers.{json.dumps(UNUSED)}.datasheet]
re_ohm = 5.4
fs_hz = 1010
qms = 2.2
qes = 1.1
[networks.found]
circuit = {json.dumps(CIRCUIT)}
[networks.original]
circuit = "original.cir"
[networks.{json.dumps(NETWORK)}]
circuit = "original.cir"
"""
_CIRCUIT: Final = f"""* {TURNED} {" ".join(ALL)}
* {SCRIPT} {LONG}
L1 in w 1.0mH dcr=0.4 core=iron note={SCRIPT}
Xlow w 0 {LOW}
{PART} in {NODE} FARAD kind=KIND ; {SCRIPT}
L2 {NODE} 0 0.5mH dcr=0.3
Xhigh 0 {NODE} {HIGH}
K{SCRIPT.count("x")}/#+-. L1 L2 0.02
.end
"""
AS_FOUND: Final = _CIRCUIT.replace("FARAD", "5.6uF esr=1.5").replace("KIND", "electrolytic")
AS_MARKED: Final = _CIRCUIT.replace("FARAD", "3.9uF").replace("KIND", "paper")
_STOCK: Final = f"""# {SCRIPT}
kind;value;tolerance;price;volts;maker_code
film;3.9uF;5%;5,10;250;"{CODE.replace('"', '""')}"
film;4.7uF;5%;4,10;250;{LONG}
"""


def write_hostile(parent: Path) -> Path:
    """The folder, with stock.csv in it."""
    folder = parent / FOLDER
    folder.mkdir()
    texts = {
        "speaker.toml": SPEAKER,
        CIRCUIT: AS_FOUND,
        "original.cir": AS_MARKED,
        "stock.csv": _STOCK,
        "woofer.csv": f"# {SCRIPT} {IMAGE}\n# {LONG}\nHz,ohm,deg,{STYLE}\n{_sweep()}",
    }
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def _sweep() -> str:
    """An invented woofer: 6 ohm, 0.3 mH, a resonance of 30 ohm at 50 Hz."""
    f = np.geomspace(15.0, 22_000.0, 60)
    z = 6.0 + 2j * np.pi * f * 3e-4 + 30.0 / (1.0 + 5j * (f / 50.0 - 50.0 / f))
    rows = zip(f, np.abs(z), np.angle(z, deg=True), strict=True)
    return "".join(f"{a:.2f},{b:.4f},{c:.3f},0\n" for a, b, c in rows)
