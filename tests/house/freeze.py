"""Records what a user sees of every command on the examples, so that a rebuilt house can be held to the old one.

    python tests/house/freeze.py record OUT_DIR [--only predict,load] [--jobs 2]
    python tests/house/freeze.py compare OLD_DIR NEW_DIR [--only predict,load] [--rtol 1e-9]

Run it in the root of the tree to be recorded, or with that on PYTHONPATH: it calls `xover.cli.main.main` and nothing
else, one forked child a run, each in a folder of its own that holds a copy of `examples/` and a few made files. A run
gives one text (arguments, status, both streams, the files that it wrote) and, where standard output is JSON, the
parsed data beside it. `compare` shows each difference and ends with status 1 if there is any. What is recorded is for
one machine and one day: it is never committed. Pytest does not collect this file.
"""

from __future__ import annotations

import argparse
import difflib
import gc
import json
import math
import os
import pkgutil
import re
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

LEFT, RIGHT = "examples/attic-two-way/left", "examples/attic-two-way/right"
HALL, STUDIO = "examples/hall-horn-two-way", "examples/studio-three-way"
SPEAKERS = (LEFT, RIGHT, HALL, STUDIO)
SWEEP = {
    LEFT: f"{LEFT}/terminals-found.csv",
    RIGHT: f"{RIGHT}/terminals-found.csv",
    HALL: f"{HALL}/terminals-found.csv",
    STUDIO: f"{STUDIO}/terminals-found.txt",
}
STOCK = "--stock examples/stock.csv"
LONGEST_S = 900
RENAMED = {
    ("refresh", "--tolerance"): "--within",
    ("jig", "--reference"): "--resistor",
    ("tolerance", "--match"): "--paired-to",
    ("infer", "--gain"): "--gain-error",
    ("compare", "--of"): "--quantity",
    ("refresh", "--replace"): "--renew",
}
"""Options that meant two things: in a tree that declares its questions they are asked by their new name."""


@dataclass(frozen=True)
class Run:
    family: str
    arguments: tuple[str, ...]
    environment: tuple[tuple[str, str], ...] = ()

    @property
    def name(self) -> str:
        """Name of its file: the arguments, in letters that any file system takes."""
        words = " ".join((*self.arguments, *(v for k, v in self.environment if k == "COMP_WORDS")))
        for long, short in ((LEFT, "LEFT"), (RIGHT, "RIGHT"), (HALL, "HALL"), (STUDIO, "STUDIO")):
            words = words.replace(long, short)
        return re.sub(r"[^A-Za-z0-9.,=@+-]+", "_", words).strip("_")[:150] or "nothing"


# What every command on a speaker is asked, `{}` standing for the folder. A line with `|json` is asked for JSON as well.
PLAIN: dict[str, tuple[str, ...]] = {
    "check": ("check {} |json", "check {} --strict"),
    "predict": (
        "predict {} |json",
        "predict {} --network original |json",
        "predict {} --band 200..10k",
        "predict {} --output-ohm 1.6 --from 100 --to 10k --per-octave 12 |json",
        "predict {} --plot sum.svg",
    ),
    "load": (
        "load {} |json",
        "load {} --network original --strict",
        "load {} --output-ohm 2 --from 50 --to 5k --per-octave 6 |json",
        "load {} --plot load.svg",
    ),
    "schematic": (
        "schematic {} --json",
        "schematic {} --network found --against original -o drawn.svg",
        "schematic {} -n original",
    ),
    "angles": (
        "angles {} |json",
        "angles {} --vertical -20,-10,0,10,20 --plot angles.svg",
        "angles {} --horizontal 0,20 --distance 2.5 --per-octave 12 |json",
    ),
    "formula": ("formula {} |json", "formula {} --numbers -n original"),
    "sensitivity": ("sensitivity {} |json", "sensitivity {} --network original --plot parts.svg"),
    "condition": (
        "condition {} |json",
        "condition {} --assume |json",
        "condition {} --strict --limit 0.5",
        "condition {} --plot condition.svg",
    ),
    "stress": (
        "stress {} |json",
        "stress {} --network original --power 60W@8 --strict",
        "stress {} --volts 10 --crest 2 --spectrum pink |json",
        "stress {} --plot stress.svg",
    ),
    "lamps": ("lamps {} |json", "lamps {} --volts 1 --volts 10 --spectrum pink"),
    "tolerance": (
        "tolerance {} --builds 2000 |json",
        "tolerance {} --network original --limit 1 --yield 90% --strict --builds 1000",
        "tolerance {} --builds 500 --seed 7 --distribution normal --match 2% --plot builds.svg",
    ),
    "crosstalk": ("crosstalk {} |json", "crosstalk {} --limit 0.2 --plot coupling.svg"),
    "refresh": (
        "refresh {} |json",
        f"refresh {{}} {STOCK} |json",
        f"refresh {{}} {STOCK} --replace all --capacitors any --tolerance 0.3 --plot refresh.svg",
        "refresh {} --replace needed --write refreshed",
    ),
    "redesign": ("redesign {} --starts 1 --circuit present |json",),
    "bypass": ("bypass {} |json", "bypass {} --plot bypass.svg --strict"),
    "decide": (f"decide {{}} {STOCK} |json", "decide {} --skip redesign"),
    "report": ("report {} --processes 1 -o page.html --json",),
    "spice": ("spice {} |json", "spice {} --network original --output left.cir --loss-at 1k"),
}

# Runs that stand alone.
SINGLE: dict[str, tuple[str, ...]] = {
    "root": ("", "--help", "--version", "-h", "nosuch", "predikt", "--nosuch"),
    "predict": (
        f"predict {LEFT}/speaker.toml",
        f"predict {LEFT} --plot sum.png",
        f"predict {LEFT} --plot examples/stock.csv",
        f"predict {LEFT} --band 200..10k --json",
    ),
    "lamps": ("lamps made/lamp |json", "lamps made/lamp --volts 3"),
    "check": ("check made/started |json", "check made/twisted |json", "check made/bridged --strict"),
    "bypass": (
        f"bypass {LEFT} --frequency 3k --slope LR4 |json",
        f"bypass {STUDIO} --frequency 400,3k --slope B3 --gain woofer=-2 --sample-rate 96k |json",
        "bypass made/bridged --strict",
    ),
    "crosstalk": (f"crosstalk {STUDIO} --couple L3:L4=2% |json", f"crosstalk {LEFT} --couple L1:L2=0.05"),
    "schematic": (
        "schematic two-way-second-order -o drawn.svg",
        "schematic three-way-third-order --json",
        f"schematic {LEFT} --against examples/attic-two-way/original.cir -o drawn.svg",
    ),
    "formula": (
        "formula two-way-second-order |json",
        "formula two-way-second-order --of woofer",
        "formula two-way-second-order --of load --numbers",
        "formula two-way-second-order --latex",
        "formula two-way-horn-autotransformer",
        "formula two-way-series-first-order |json",
        "formula examples/attic-two-way/original.cir",
    ),
    "infer": (
        *(f"infer {s} --impedance {SWEEP[s]} |json" for s in SPEAKERS),
        f"infer {LEFT} --impedance {SWEEP[LEFT]} --write inferred",
        f"infer {LEFT} --impedance {SWEEP[LEFT]} --prior usual --noise 0.5% --gain 2% --scale 1% --lead-ohm 0.1",
        f"infer {LEFT} --impedance {SWEEP[LEFT]} --no-prior |json",
        f"infer {LEFT} --impedance {LEFT}/terminals-rebuilt.csv --strict",
        f"infer {LEFT} --impedance {LEFT}/terminals-rebuilt.csv --try --force-numbers --json",
    ),
    "verify": (
        *(f"verify {s} --network original --impedance {SWEEP[s]} |json" for s in SPEAKERS),
        f"verify {LEFT} --network original --impedance {LEFT}/terminals-rebuilt.csv |json",
        f"verify {LEFT} --impedance {SWEEP[LEFT]} --response {LEFT}/whole-found.csv --strict",
        f"verify {LEFT} --impedance {SWEEP[LEFT]} --response {LEFT}/whole-found.csv --response-band 300..10k --json",
        f"verify {LEFT} --impedance {SWEEP[LEFT]} --against {SWEEP[RIGHT]} |json",
        f"verify {LEFT} --impedance {SWEEP[LEFT]} --band 50..10k --noise 1% --plot verify.svg",
    ),
    "compare": (
        f"compare {LEFT}:found {LEFT}:original |json",
        f"compare {LEFT}:found {LEFT}:original --of impedance |json",
        f"compare {LEFT} {RIGHT} --match none --threshold 1 --strict",
        f"compare {LEFT}/woofer-response.csv {RIGHT}/woofer-response.txt |json",
        f"compare {LEFT}/woofer-impedance.csv {RIGHT}/woofer-impedance.txt |json",
        f"compare {LEFT}/whole-found.csv {LEFT}:found --match 500..5k --plot both.svg",
        f"compare {HALL} {STUDIO}",
        f"compare {SWEEP[STUDIO]} {STUDIO}:found --json",
    ),
    "pad": (
        f"pad {LEFT} tweeter --down 4 |json",
        f"pad {HALL} horn --down 6 --watts 20 |json",
        f"pad {STUDIO} mid --down 3 -n original --from 500 --to 4k",
        "pad --control rheostat --track 16 --setting 0.4 --ohm 8 |json",
        "pad --control potentiometer --track 20 --setting 0.5 --ohm 8 --watts 10 |json",
        "pad --control l-pad --track 8 --setting 0.7 --ohm 8",
        f"pad {LEFT} tweeter --control potentiometer --read-series 6 --read-other 9 |json",
        "pad --down 3 --ohm 8",
    ),
    "coil": (
        "coil 1.8mH |json",
        "coil 1.8mH --wire 1.0mm |json",
        "coil 0.33mH --wire AWG18 --inner 25mm --length 20mm",
        "coil 2.2mH --dcr 0.5",
        "coil --inner 25mm --outer 50mm --length 20mm --turns 200 --wire 1mm |json",
        "coil --inner 25mm --outer 50mm --length 20mm --wire 0.8mm --dcr 0.6",
        "coil 1.8mH --beside 0.33mH --distance 80mm |json",
        "coil 1.8mH --wire 1.0mm --beside 0.33mH --distance 60mm --angle 90 --raised 10mm",
        "coil 1mH --beside 1mH |json",
    ),
    "values": (
        "values 4.73uF |json",
        "values 4.73uF --series E12 --pairs --tolerance 5% |json",
        f"values 13uF {STOCK} --pairs --needed 2 --volts 250 |json",
        f"values 6.8ohm {STOCK} --watts 10",
        f"values 1.8mH {STOCK} --core air --most 3",
        f"values 10uF {STOCK} --dielectric electrolytic --pairs",
        "values 4R7 --series E24 |json",
        "values 1.83mH --series E96 --max-error 0.1% --strict",
        "values 4.7 --kind resistor",
    ),
    "capacitor": (
        "capacitor 4.7uF |json",
        "capacitor 4.77uF --esr 1.7@1kHz --esr 0.28@10kHz --meter constant-current --reading 5.41uF |json",
        "capacitor 10uF --df 5%@1kHz --kind electrolytic --amplifier 60W@8 --bypass 0.1uF |json",
        "capacitor 10uF --q 20@1k --meter rc --through 10k",
        "capacitor 22uF --df 0.1@100 --meter lcr-parallel --meter-hz 100 --kind paper",
        "capacitor 4.7uF --meter lcr --reading 4.9uF --kind film",
    ),
    "jig": (
        "jig made/ratio.csv --reference 10 |json",
        "jig made/ratio.csv --reference 9.96 --leads 0.2 --both made/both.csv --known made/known.csv=22.1 -o z.csv",
        "jig made/across.csv --reference 10 --across resistor --both made/both.csv |json",
        "jig made/ratio.csv --reference 10 --known made/known.csv=30 --json",
    ),
    "new": (
        "new my-speaker |json",
        "new --list |json",
        "new my-speaker --circuit three-way-second-order",
        "new my-speaker --circuit two-way-horn-autotransformer",
        "new examples",
    ),
    "redesign": (
        f"redesign {LEFT} {STOCK} --starts 1 --circuit two-way-second-order-zobel --write better --band 300:15k",
        f"redesign {LEFT} --starts 1 --circuit present --replace tweeter={RIGHT} --slope LR2 --crossover 2.5k --json",
        f"redesign {STUDIO} --starts 1 --circuit present --tilt -0.3 --weights slopes=0.3 --most-cost 100 --plot r.svg",
    ),
    "decide": (f"decide {LEFT} --seed 2 --most-cost 20 --skip redesign --plot decide.svg --strict",),
    "report": (
        f"report {LEFT} {STOCK} --mate {RIGHT} --processes 1",
        f"report {HALL} -n original -n found --processes 1 -o page.html",
        "report made/started --processes 1 -o page.html",
    ),
    "spice": ("spice made/lamp",),
}

# What every command on a speaker is given that is wrong.
WRONG_SPEAKER = (
    "{} nowhere",
    "{}",
    "{} made/nothing",
    "{} made/broken",
    "{} made/unread",
    "{} made/netless",
    "{} examples/stock.csv",
    "{} LEFT --frobnicate",
    "{} LEFT extra",
)
WRONG_NETWORK = ("{} LEFT --network nosuch", "{} LEFT -n fund", "{} LEFT --network")
WRONG_RANGE = (
    "{} LEFT --from 0",
    "{} LEFT --from ten",
    "{} LEFT --from 5k --to 1k",
    "{} LEFT --to -3",
    "{} LEFT --per-octave 0",
    "{} LEFT --per-octave 961",
    "{} LEFT --per-octave many",
)
WRONG_PLOT = ("{} LEFT --plot sum.gif", "{} LEFT --plot nowhere/sum.svg", "{} LEFT --plot made/plot.svg")
WITH_NETWORK = (
    *("predict", "load", "schematic", "angles", "formula", "sensitivity", "stress", "lamps", "tolerance"),
    *("crosstalk", "refresh", "redesign", "bypass", "decide", "report", "spice", "infer", "verify"),
)
WITH_RANGE = ("predict", "load", "angles", "sensitivity", "condition", "tolerance", "crosstalk", "refresh", "compare")
WITH_PLOT = (*("predict", "load", "angles", "sensitivity", "condition", "stress", "tolerance", "crosstalk", "bypass"),)
NEEDED = {"infer": f" --impedance {SWEEP[LEFT]}", "verify": f" --impedance {SWEEP[LEFT]}"}

WRONG: dict[str, tuple[str, ...]] = {
    "predict": (
        "predict LEFT --band 200",
        "predict LEFT --band 10k..200",
        "predict LEFT --band low..high",
        "predict LEFT --band 200:10k",
        "predict LEFT --output-ohm -1",
        "predict LEFT --output-ohm 1.6uF",
    ),
    "load": ("load LEFT --output-ohm many", "load LEFT --output-ohm -2"),
    "schematic": (
        "schematic LEFT --against nosuch",
        "schematic LEFT -o drawn.gif",
        "schematic nosuch-circuit",
        "schematic two-way-second-ordr",
    ),
    "angles": (
        "angles LEFT --vertical up",
        "angles LEFT --vertical 120",
        "angles LEFT --horizontal 0,,10",
        "angles LEFT --distance 0",
        "angles LEFT --distance 3mm",
        "angles made/started",
    ),
    "formula": ("formula two-way-second-order --of horn", "formula LEFT --of nosuch", "formula nosuch"),
    "condition": (
        "condition LEFT --found nosuch",
        "condition LEFT --original nosuch",
        "condition LEFT --limit -1",
        "condition LEFT --limit 0.1dB",
        "condition LEFT --limit many",
    ),
    "stress": (
        "stress LEFT --power 60",
        "stress LEFT --power 60W",
        "stress LEFT --power 0W@8",
        "stress LEFT --volts 0",
        "stress LEFT --volts 10V",
        "stress LEFT --volts ten",
        "stress LEFT --crest 0.5",
        "stress LEFT --spectrum white",
        "stress LEFT --volts 3 --power 60W@8",
    ),
    "lamps": ("lamps LEFT --volts 0", "lamps LEFT --volts x", "lamps LEFT --spectrum white"),
    "tolerance": (
        "tolerance LEFT --builds 0",
        "tolerance LEFT --builds many",
        "tolerance LEFT --seed x",
        "tolerance LEFT --distribution flat",
        "tolerance LEFT --limit 0",
        "tolerance LEFT --limit 1dB --builds 200",
        "tolerance LEFT --match 200%",
        "tolerance LEFT --yield 120%",
        "tolerance LEFT --yield most",
        "tolerance LEFT --jobs 0",
    ),
    "crosstalk": (
        "crosstalk LEFT --couple L1:L9=2%",
        "crosstalk LEFT --couple L1=2%",
        "crosstalk LEFT --couple L1:L2=2",
        "crosstalk LEFT --couple L1:L1=0.1",
        "crosstalk LEFT --couple C1:L1=0.1",
        "crosstalk LEFT --limit 0",
        "crosstalk LEFT --limit 0.1dB",
    ),
    "refresh": (
        "refresh LEFT --reference nosuch",
        "refresh LEFT --stock nowhere.csv",
        "refresh LEFT --stock made/stock.csv",
        f"refresh LEFT --stock {LEFT}/speaker.toml",
        "refresh LEFT --replace some",
        "refresh LEFT --capacitors paper",
        "refresh LEFT --tolerance -1",
        "refresh LEFT --tolerance 0.1dB",
        "refresh LEFT --tolerance 50",
        "refresh LEFT --write found",
        "refresh LEFT --write 'two words'",
    ),
    "redesign": (
        "redesign LEFT --circuit nosuch",
        "redesign LEFT --slope LR5",
        "redesign LEFT --slope steep",
        "redesign LEFT --crossover 3k,1k,9k",
        "redesign LEFT --crossover x",
        "redesign LEFT --tilt steep",
        "redesign LEFT --tilt 9",
        "redesign LEFT --voicing nosuch",
        "redesign LEFT --band 200..18k --starts 0",
        "redesign LEFT --band 18k:200",
        "redesign LEFT --minimum-load 0",
        "redesign LEFT --minimum-load x",
        "redesign LEFT --most-parts 0",
        "redesign LEFT --most-cost free",
        "redesign LEFT --largest-coil 3uF",
        "redesign LEFT --weights beauty=1",
        "redesign LEFT --weights total",
        "redesign LEFT --weights total=-1",
        "redesign LEFT --starts 0",
        "redesign LEFT --starts x",
        "redesign LEFT --replace horn=RIGHT",
        "redesign LEFT --replace tweeter",
        "redesign LEFT --replace tweeter=nowhere",
        "redesign LEFT --stock nowhere.csv",
        "redesign LEFT --pick 0 --starts 1 --circuit present",
    ),
    "bypass": (
        "bypass LEFT --frequency 0",
        "bypass LEFT --frequency high",
        "bypass LEFT --frequency 1k,3k",
        "bypass LEFT --slope LR3",
        "bypass LEFT --slope steep",
        "bypass LEFT --sample-rate 10",
        "bypass LEFT --sample-rate fast",
        "bypass LEFT --gain woofer",
        "bypass LEFT --gain horn=3",
        "bypass LEFT --gain woofer=loud",
        "bypass LEFT --gain woofer=3dB",
    ),
    "decide": (
        "decide LEFT --reference nosuch",
        "decide LEFT --stock nowhere.csv",
        "decide LEFT --skip nothing",
        "decide LEFT --most-cost free --skip redesign",
        "decide LEFT --most-cost -3 --skip redesign",
        "decide LEFT --seed x",
    ),
    "infer": (
        "infer LEFT",
        "infer LEFT --impedance nowhere.csv",
        "infer LEFT --impedance made/short.csv",
        "infer LEFT --impedance made/words.csv",
        f"infer LEFT --impedance {SWEEP[LEFT]} --prior wild",
        f"infer LEFT --impedance {SWEEP[LEFT]} --noise 0",
        f"infer LEFT --impedance {SWEEP[LEFT]} --noise loud",
        f"infer LEFT --impedance {SWEEP[LEFT]} --gain -1%",
        f"infer LEFT --impedance {SWEEP[LEFT]} --scale 300%",
        f"infer LEFT --impedance {SWEEP[LEFT]} --lead-ohm x",
        f"infer LEFT --impedance {SWEEP[LEFT]} --disconnected horn={SWEEP[LEFT]}",
        f"infer LEFT --impedance {SWEEP[LEFT]} --disconnected tweeter",
        f"infer LEFT --impedance {SWEEP[LEFT]} --shorted tweeter=nowhere.csv",
        f"infer LEFT --impedance {SWEEP[LEFT]} --channel nosuch",
        f"infer LEFT --impedance {SWEEP[LEFT]} --write found",
        f"infer LEFT --impedance {LEFT}/whole-found.csv",
    ),
    "verify": (
        "verify LEFT",
        "verify LEFT --impedance nowhere.csv",
        "verify LEFT --impedance made/words.csv",
        f"verify LEFT --impedance {SWEEP[LEFT]} --response nowhere.csv",
        f"verify LEFT --impedance {SWEEP[LEFT]} --response-noise 0.5",
        f"verify LEFT --impedance {SWEEP[LEFT]} --response {LEFT}/whole-found.csv --response-noise 0.5dB",
        f"verify LEFT --impedance {SWEEP[LEFT]} --third-octaves",
        f"verify LEFT --impedance {SWEEP[LEFT]} --against nowhere.csv",
        f"verify LEFT --impedance {SWEEP[LEFT]} --noise 0",
        f"verify LEFT --impedance {SWEEP[LEFT]} --noise x",
        f"verify LEFT --impedance {SWEEP[LEFT]} --band 20k..20",
        f"verify LEFT --impedance {SWEEP[LEFT]} --band 20",
        f"verify LEFT --impedance {SWEEP[LEFT]} --response-band x..y",
        f"verify LEFT --impedance {SWEEP[LEFT]} --channel nosuch",
    ),
    "compare": (
        "compare LEFT",
        "compare LEFT nowhere",
        "compare LEFT:nosuch RIGHT",
        f"compare LEFT/woofer-impedance.csv {LEFT}/woofer-response.csv",
        "compare LEFT RIGHT --of power",
        "compare LEFT RIGHT --match 200",
        "compare LEFT RIGHT --match 15k..200",
        "compare LEFT RIGHT --threshold -1",
        "compare LEFT RIGHT --threshold 1dB",
        "compare LEFT RIGHT --threshold x",
        "compare LEFT RIGHT --unit volts",
        "compare LEFT RIGHT --channel nosuch",
        "compare made/words.csv LEFT",
    ),
    "pad": (
        "pad",
        "pad LEFT",
        "pad LEFT tweeter",
        "pad LEFT horn --down 4",
        "pad LEFT tweeter --down x",
        "pad LEFT tweeter --down -3",
        "pad LEFT tweeter --down 4dB",
        "pad --down 3",
        "pad --down 3 --ohm 0",
        "pad --control fader --track 16 --setting 0.4 --ohm 8",
        "pad --control rheostat --track 16 --ohm 8",
        "pad --control rheostat --track 16 --setting 4 --ohm 8",
        "pad --control rheostat --track 0 --setting 0.4 --ohm 8",
        "pad LEFT tweeter --down 4 --watts -1",
        "pad LEFT tweeter --down 4 --from 5k --to 1k",
        "pad LEFT tweeter --down 4 --network nosuch",
    ),
    "coil": (
        "coil",
        "coil 4.7uF",
        "coil 1.8",
        "coil 0mH",
        "coil 1.8mH --wire thick",
        "coil 1.8mH --wire AWG99",
        "coil 1.8mH --dcr 0",
        "coil 1.8mH --wire 1mm --dcr 0.5",
        "coil 1.8mH --inner 25",
        "coil 1.8mH --length 0mm",
        "coil --inner 50mm --outer 25mm --length 20mm --turns 200",
        "coil --inner 25mm --length 20mm --turns 200",
        "coil 1.8mH --outer 50mm",
        "coil 1.8mH --beside x",
        "coil 1.8mH --beside 1mH --distance 5mm",
        "coil 1.8mH --distance 50mm",
        "coil 1.8mH --beside 1mH --distance 80mm --angle x",
    ),
    "values": (
        "values",
        "values 4.73",
        "values much",
        "values -3uF",
        "values 4.73uF --series E7",
        "values 4.73uF --kind resistor",
        "values 4.73uF --kind lamp",
        "values 4.73uF --tolerance x",
        "values 4.73uF --tolerance 500%",
        "values 4.73uF --stock nowhere.csv",
        "values 4.73uF --volts 100",
        "values 4.73uF --needed 0",
        "values 4.73uF --most 99",
        "values 4.73uF --max-error x",
        f"values 4.73uF {STOCK} --dielectric paper",
        f"values 4.73uF {STOCK} --core air",
        f"values 4.73uF {STOCK} --volts 99999",
    ),
    "capacitor": (
        "capacitor",
        "capacitor 4.7",
        "capacitor 4.7mH",
        "capacitor 4.7uF --esr 1.7",
        "capacitor 4.7uF --esr x@1k",
        "capacitor 4.7uF --esr -1@1k",
        "capacitor 4.7uF --df 0.1",
        "capacitor 4.7uF --q 0@1k",
        "capacitor 4.7uF --kind mica",
        "capacitor 4.7uF --meter bridge",
        "capacitor 4.7uF --reading x",
        "capacitor 4.7uF --reading 5uF",
        "capacitor 4.7uF --meter-hz 0 --meter lcr",
        "capacitor 4.7uF --through 0 --meter rc",
        "capacitor 4.7uF --amplifier 60",
        "capacitor 4.7uF --bypass x",
    ),
    "jig": (
        "jig",
        "jig made/ratio.csv",
        "jig nowhere.csv --reference 10",
        "jig made/ratio.csv --reference 0",
        "jig made/ratio.csv --reference x",
        "jig made/ratio.csv --reference 10 --across speaker",
        "jig made/ratio.csv --reference 10 --leads -1",
        "jig made/ratio.csv --reference 10 --known made/known.csv",
        "jig made/ratio.csv --reference 10 --known made/known.csv=x",
        "jig made/ratio.csv --reference 10 --both nowhere.csv",
        "jig made/words.csv --reference 10",
        "jig made/ratio.csv --reference 10 -o made/ratio.csv",
        "jig made/ratio.csv --reference 10 -o nowhere/z.csv",
    ),
    "new": (
        "new",
        "new my-speaker --circuit nosuch",
        "new my-speaker --circuit two-way-second-ordr",
        "new examples/stock.csv",
        f"new {LEFT}",
        "new nowhere/deeper/my-speaker",
        "new my-speaker --frobnicate",
    ),
    "report": (
        "report LEFT -o nowhere/page.html",
        "report LEFT -o page.txt",
        "report LEFT --stock nowhere.csv",
        "report LEFT --mate nowhere",
        "report LEFT --most-cost free",
        "report LEFT --processes 0",
        "report LEFT --seed x",
        "report LEFT -o examples/stock.csv",
    ),
    "spice": (
        "spice LEFT -o nowhere/left.cir",
        f"spice LEFT -o {LEFT}/found.cir",
        "spice LEFT --loss-at 0",
        "spice LEFT --loss-at x",
    ),
}
COMPLETED = (
    "xover ",
    "xover re",
    f"xover predict {LEFT} --network ",
    f"xover pad {LEFT} ",
    "xover new --circuit two-way-s",
    "xover values 1uF --series ",
    "xover capacitor 1uF --kind ",
    f"xover infer {LEFT} --prior ",
    f"xover redesign {LEFT} --circuit ",
    f"xover decide {LEFT} --skip ",
    f"xover stress {LEFT} --spectrum ",
    f"xover refresh {LEFT} --renew ",
)
COMMANDS = tuple(dict.fromkeys((*PLAIN, *SINGLE, *WRONG)))


def asked(line: str) -> Iterator[tuple[str, ...]]:
    line, both, _ = line.partition("|json")
    words = tuple(w.strip("'") for w in re.findall(r"'[^']*'|\S+", line))
    yield words
    if both:
        yield (*words, "--json")


def runs() -> Iterator[Run]:
    """Every run, each once, those that take long first."""
    lines = [(f, line.format(s)) for f, many in PLAIN.items() for line in many for s in SPEAKERS]
    lines += [(f, line) for f, many in SINGLE.items() for line in many]
    lines += [(f, f"{f} --help") for f in COMMANDS if f != "root"]
    speakers = [f for f in PLAIN if f not in ("formula", "schematic")] + ["infer", "verify"]
    wrong = [
        (f, line.format(f) + (NEEDED.get(f, "") if line != "{}" else "")) for f in speakers for line in WRONG_SPEAKER
    ]
    wrong += [(f, line.format(f) + NEEDED.get(f, "")) for f in WITH_NETWORK for line in WRONG_NETWORK]
    wrong += [(f, line.format(f)) for f in WITH_RANGE for line in WRONG_RANGE if f != "compare"]
    wrong += [("compare", line.format("compare").replace("LEFT", "LEFT RIGHT")) for line in WRONG_RANGE]
    wrong += [(f, line.format(f)) for f in WITH_PLOT for line in WRONG_PLOT]
    wrong += [(f, line) for f, many in WRONG.items() for line in many]
    lines += [(f, line.replace("LEFT", LEFT).replace("RIGHT", RIGHT)) for f, line in wrong]
    every = [Run(f, words) for f, line in lines for words in asked(line)]
    every += [Run("complete", (), (("COMP_CWORD", str(len(w.split(" ")) - 1)), ("COMP_WORDS", w))) for w in COMPLETED]
    slow = ("report", "redesign", "decide")
    return iter(sorted(dict.fromkeys(every), key=lambda r: slow.index(r.family) if r.family in slow else 9))


def furnish(place: Path, root: Path) -> None:
    """A folder to run in: the examples, and files made from formulas."""
    shutil.copytree(root / "examples", place / "examples", ignore=shutil.ignore_patterns("*.png", "__pycache__"))
    made = place / "made"
    made.mkdir()
    hertz = [20 * 2 ** (k / 6) for k in range(60)]

    def table(name: str, gain: complex | None = None, across: bool = False) -> None:
        rows = ["Hz,dB,deg"]
        for f in hertz:
            z = 6.0 + 2j * math.pi * f * 3e-4 + 30 / (1 + 4j * (f / 60 - 60 / f))
            h = gain if gain is not None else (10 if across else z) / (z + 10)
            h *= 1.01 * complex(math.cos(f * 1e-6), -math.sin(f * 1e-6))
            rows.append(f"{f:.9g},{20 * math.log10(abs(h)):.9f},{math.degrees(math.atan2(h.imag, h.real)):.9f}")
        (made / name).write_text("\n".join(rows) + "\n")

    table("ratio.csv")
    table("across.csv", across=True)
    table("both.csv", 1.0)
    table("known.csv", 22.1 / 32.1)
    (made / "plot.svg").write_text("mine\n")
    (made / "short.csv").write_text("Hz,ohm,deg\n100,8,0\n")
    (made / "words.csv").write_text("Hz,ohm,deg\nlow,much,some\n100,8,0\n200,x,0\n")
    (made / "stock.csv").write_text("kind,value,price\nfilm,4.7uF,cheap\nlamp,3,2\n")
    (made / "nothing").mkdir()
    for name in ("broken", "unread", "netless", "started", "bridged", "twisted", "lamp"):
        (made / name).mkdir()
        text = (place / LEFT / "speaker.toml").read_text().replace("../original.cir", "found.cir")
        circuit = (place / LEFT / "found.cir").read_text()
        for file in (place / LEFT).glob("*-*.csv"):
            shutil.copy(file, made / name)
        if name == "broken":
            text = text.replace("timing =", "timing")
        if name == "unread":
            text = text.replace("woofer-impedance.csv", "nosuch.csv")
        if name == "bridged":
            text = text.replace("rated_load_ohm = 8", "rated_load_ohm = 8\nbridged = true")
        if name == "netless":
            circuit = "* nothing but a title\nC1 in\n"
        if name == "twisted":
            circuit = re.sub(r"\bin\b", "inn", circuit, count=1)
        if name == "started":  # what `xover new` leaves: values of a datasheet, nothing measured
            text = 'title = "Started"\n[drivers.woofer]\nre_ohm = 5.8\n[drivers.tweeter]\nre_ohm = 5.1\n'
            text += '[networks.found]\ncircuit = "found.cir"\n'
        if name == "lamp":
            circuit = "* With a lamp, invented\nC1 in m 4.7uF\nR1 m t 1.5 kind=lamp cold=1 hot=10 watts=5\n"
            circuit += "L1 in w 0.5mH dcr=0.3\nXlow w 0 woofer\nXhigh t 0 tweeter\n"
        (made / name / "speaker.toml").write_text(text)
        (made / name / "found.cir").write_text(circuit)


def child(run: Run, place: Path) -> int:
    """What the forked child does: the streams into files, then the command."""
    for number, name in ((1, "stdout"), (2, "stderr")):
        file = os.open(place.parent / name, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(file, number)
    sys.stdin = open(os.devnull, encoding="utf-8")  # noqa: SIM115 (as long as the child lives)
    sys.stdout, sys.stderr = (open(n, "w", encoding="utf-8", closefd=False) for n in (1, 2))  # noqa: SIM115
    signal.alarm(LONGEST_S)
    os.chdir(place)
    from xover.cli.main import main

    new = find_spec("xover.declare") is not None
    arguments = [RENAMED.get((run.family, a), a) if new else a for a in run.arguments]
    if run.family == "complete":
        os.environ.update(dict(run.environment), _XOVER_COMPLETE="complete_bash")
        arguments = []
    sys.argv = ["xover", *arguments]
    try:
        status = main(arguments)
    except SystemExit as stop:
        status = stop.code if isinstance(stop.code, int) else 99
    sys.stdout.flush()
    sys.stderr.flush()
    return status


def masked(text: str, place: Path) -> str:
    """Without what differs from run to run: the folder, times taken, and dates."""
    text = text.replace(str(place.resolve()), "PLACE").replace(str(place), "PLACE")
    text = re.sub(r"\b\d+(\.\d+)? (s|seconds|minutes)\b(?= (of|for) )", "TIME s", text)
    return re.sub(r"\b20\d\d-\d\d-\d\d(T[\d:.+Z-]+)?", "DATE", text)


def written(path: Path, place: Path) -> str:
    """A written file as text that can be held against another."""
    data = path.read_bytes()
    if path.suffix in (".png", ".pdf"):
        return f"({path.suffix} of more than nothing)" if data else "(empty)"
    text = masked(data.decode("utf-8", "replace"), place)
    if path.suffix == ".svg" and 'id="figure_1"' in text:
        return "\n".join(svg_words(text))
    if path.suffix == ".html":
        text = re.sub(r"<svg\b.*?</svg>", "SVG", text, flags=re.S)
        text = re.sub(r"<script\b.*?</script>", "SCRIPT", text, flags=re.S)
        text = re.sub(r"<style\b.*?</style>", "STYLE", text, flags=re.S)
        text = re.sub(r"data:[\w/+.-]+;base64,[A-Za-z0-9+/=]+", "DATA", text)
        text = re.sub(r"(<(?:p|li|tr|td|th|h\d|section|div|figure|table|dt|dd|summary|pre)\b)", r"\n\1", text)
    return text


def svg_words(text: str) -> list[str]:
    """What a drawn figure says, and of how many strokes it is made: not where each lies."""
    words = re.findall(r"<text[^>]*>(.*?)</text>", text, re.S)
    return [*words, f"{text.count('<path')} paths, {text.count('<use')} marks"]


def told(run: Run, place: Path, status: int, before: dict[str, tuple[int, int]], out: Path) -> None:
    """Write what a run left: one text, and JSON beside it."""
    streams = [masked((place.parent / n).read_bytes().decode("utf-8", "replace"), place) for n in ("stdout", "stderr")]
    target = out / run.family / run.name
    target.parent.mkdir(parents=True, exist_ok=True)
    words = " ".join((*run.arguments, *(f"{k}={v!r}" for k, v in run.environment)))
    try:
        data = json.loads(streams[0]) if streams[0].lstrip().startswith(("{", "[")) else None
    except ValueError:
        data = None
    if data is not None:
        Path(f"{target}.json").write_text(json.dumps(data, indent=1, sort_keys=True) + "\n")
        streams[0] = "(JSON, beside)\n"
    parts = [
        f"$ xover {words}",
        f"status {status}",
        "--- standard output",
        streams[0],
        "--- standard error",
        streams[1],
    ]
    for name, state in sorted(listed(place).items()):
        if before.get(name) != state:
            parts += [f"--- wrote {name}", written(place / name, place)]
    parts += [f"--- removed {name}" for name in sorted(before.keys() - listed(place).keys())]
    Path(f"{target}.txt").write_text("\n".join(parts) + "\n")


def listed(place: Path) -> dict[str, tuple[int, int]]:
    return {
        str(p.relative_to(place)): (p.stat().st_size, p.stat().st_mtime_ns)
        for p in sorted(place.rglob("*"))
        if p.is_file()
    }


def load_everything() -> None:
    """All of xover and of what it stands on, once for all children."""
    import importlib

    import matplotlib
    import numpy  # noqa: F401

    matplotlib.use("Agg")
    import xover

    for module in pkgutil.walk_packages(xover.__path__, "xover."):
        if "lcapy" not in module.name and not module.name.endswith("__main__"):
            importlib.import_module(module.name)
    import matplotlib.backends.backend_svg
    import scipy.linalg
    import scipy.optimize
    import scipy.signal  # noqa: F401


def record(out: Path, only: set[str], jobs: int) -> int:
    os.environ.update(
        COLUMNS="80", LINES="24", NO_COLOR="1", TERM="dumb", OPENBLAS_NUM_THREADS="1", OMP_NUM_THREADS="1"
    )
    for name in [n for n in os.environ if n.startswith(("XOVER_", "_XOVER", "FORCE_COLOR"))]:
        del os.environ[name]
    root = Path.cwd()
    if not (root / "examples").is_dir():
        print("no examples/ here: run it in the root of the tree", file=sys.stderr)
        return 2
    sys.path.insert(0, str(root))
    load_everything()
    import xover

    wanted = [r for r in runs() if not only or r.family in only]
    names = [(r.family, r.name) for r in wanted]
    if twice := {n for n in names if names.count(n) > 1}:
        print(f"two runs of one name: {sorted(twice)}", file=sys.stderr)
        return 2
    for family in {r.family for r in wanted}:
        shutil.rmtree(out / family, ignore_errors=True)
    print(f"{len(wanted)} runs of {Path(xover.__file__).parent}", file=sys.stderr)
    took: dict[str, float] = {}
    running: dict[int, tuple[Run, Path, dict[str, tuple[int, int]], float]] = {}
    gc.freeze()
    with tempfile.TemporaryDirectory(prefix="freeze-") as folder:
        master = Path(folder) / "master"
        furnish(master, root)
        count = 0
        while wanted or running:
            if wanted and len(running) < jobs:
                run = wanted.pop(0)
                count += 1
                place = Path(folder) / str(count) / "here"
                shutil.copytree(master, place)
                before = listed(place)
                pid = os.fork()
                if not pid:
                    status = 98
                    try:
                        status = child(run, place)
                    finally:
                        os._exit(status)
                running[pid] = (run, place, before, time.monotonic())
                continue
            pid, state = os.wait()
            run, place, before, start = running.pop(pid)
            took[run.family] = took.get(run.family, 0.0) + time.monotonic() - start
            told(run, place, os.waitstatus_to_exitcode(state), before, out)
            shutil.rmtree(place.parent)
    print(", ".join(f"{f} {t:.0f} s" for f, t in sorted(took.items())), file=sys.stderr)
    return 0


def paths(old: object, new: object, at: str, rtol: float) -> Iterator[str]:
    """Where two JSON values differ."""
    if isinstance(old, dict) and isinstance(new, dict):
        for key in sorted(old.keys() | new.keys()):
            if key not in old:
                yield f"{at}.{key}: only new, {short(new[key])}"
            elif key not in new:
                yield f"{at}.{key}: only old, {short(old[key])}"
            else:
                yield from paths(old[key], new[key], f"{at}.{key}", rtol)
    elif isinstance(old, list) and isinstance(new, list):
        if len(old) != len(new):
            yield f"{at}: {len(old)} entries, now {len(new)}"
        for k, (a, b) in enumerate(zip(old, new, strict=False)):
            yield from paths(a, b, f"{at}[{k}]", rtol)
    elif type(old) is not type(new) and not (is_number(old) and is_number(new)):
        yield f"{at}: {short(old)} -> {short(new)}"
    elif old != new:
        if is_number(old) and is_number(new):
            apart = abs(old - new) / max(abs(old), abs(new))
            if apart > rtol:
                yield f"{at}: {old!r} -> {new!r} ({apart:.1e})"
        else:
            yield f"{at}: {short(old)} -> {short(new)}"


def is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def short(value: object) -> str:
    text = json.dumps(value)
    return text if len(text) < 100 else text[:97] + "..."


def compare(old: Path, new: Path, only: set[str], rtol: float, most: int) -> int:
    def files(root: Path) -> dict[str, Path]:
        found = {str(p.relative_to(root)): p for p in root.rglob("*") if p.suffix in (".txt", ".json")}
        return {n: p for n, p in found.items() if not only or Path(n).parts[0] in only}

    a, b = files(old), files(new)
    families = {Path(n).parts[0] for n in b}  # a record of a few families is held to these only
    a = {n: p for n, p in a.items() if Path(n).parts[0] in families}
    bad = 0
    if not a or not b:
        print("nothing to compare", file=sys.stderr)
        return 2
    for name in sorted(a.keys() | b.keys()):
        if name not in a or name not in b:
            print(f"=== {name}: only in the {'new' if name in b else 'old'} record")
            bad += 1
            continue
        one, two = a[name].read_text(), b[name].read_text()
        if one == two:
            continue
        if name.endswith(".json"):
            lines = list(paths(json.loads(one), json.loads(two), "$", rtol))
        else:
            lines = list(difflib.unified_diff(one.splitlines(), two.splitlines(), "old", "new", n=2, lineterm=""))
        if lines:
            bad += 1
            print(f"=== {name}", *lines[:most], sep="\n")
            if len(lines) > most:
                print(f"... {len(lines) - most} lines more")
    print(f"{bad} of {len(a.keys() | b.keys())} files differ", file=sys.stderr)
    return int(bad > 0)


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    which = parser.add_subparsers(dest="task", required=True)
    one = which.add_parser("record")
    one.add_argument("out", type=Path)
    one.add_argument("--jobs", type=int, default=2)
    two = which.add_parser("compare")
    two.add_argument("old", type=Path)
    two.add_argument("new", type=Path)
    two.add_argument("--rtol", type=float, default=0.0, help="JSON numbers may differ by this share")
    two.add_argument("--most", type=int, default=60, help="lines to show of each file")
    for each in (one, two):
        each.add_argument("--only", default="", help="families of runs, with commas between")
    given = parser.parse_args()
    only = set(filter(None, given.only.split(",")))
    if given.task == "record":
        return record(given.out.resolve(), only, given.jobs)
    return compare(given.old, given.new, only, given.rtol, given.most)


if __name__ == "__main__":
    sys.exit(main())
